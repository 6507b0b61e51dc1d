"""An owner's own list of the units of a boat, under whatever headings, as units.csv."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from repairecon.read.boat import units_of
from repairecon.read.case_workbook import tidied
from repairecon.read.columns import FILES
from repairecon.read.files import csv_text
from repairecon.read.price_list import LOOKED_THROUGH
from repairecon.read.problems import SURE, Problems, closest, printable
from repairecon.read.sheets import Cell, Sheet, heading, read_sheet, text_of
from repairecon.read.tables import table_of
from repairecon.records import SheetError

_UNITS = FILES["units.csv"]


@dataclass(frozen=True)
class UnitsList:
    """The rows as units.csv has them, how many, and the headings of which nothing was taken."""

    data: bytes
    many: int
    left_out: tuple[str, ...]


def read_units_list(path: Path) -> UnitsList:
    """Read a list of units.

    Parameters
    ----------
    path
        .xlsx, .csv, .txt or .tsv; headings are taken for those of units.csv that they surely mean.

    Returns
    -------
    UnitsList
        What units.csv is to hold.

    Raises
    ------
    SheetError
        With every fault of the list, by row and the owner's own heading.
    """
    sheet, problems = read_sheet(path, "", _UNITS.known), Problems()
    rows = [n for n in sheet.rows if n <= next(iter(sheet.rows)) + LOOKED_THROUGH]
    head = max(rows, key=lambda n: len(guessed(sheet.rows[n])))
    places = guessed(sheet.rows[head])
    theirs = {ours: text_of(sheet.rows[head][k]) for k, ours in places.items()}
    if "unit" not in theirs:
        words = ", ".join(("unit", *_UNITS.declared["unit"].also))
        problems.add(sheet.file, head, "unit", "no such column", f"head the column of their names one of: {words}")
    else:
        kept, _ = tidied(_with(sheet, head, places), _UNITS.declared)
        table = table_of(kept, _UNITS, problems)
        units_of(table, datetime.date.today().isoformat())
    if faults := tuple(replace(f, column=theirs.get(f.column, f.column)) for f in problems.faults):
        error = SheetError(faults)
        error.args = (printable(faults),)
        raise error
    made = [[row.cells.get(c, "") for c in _UNITS.columns] for row in table.rows]
    left_out = [text_of(c) for k, c in enumerate(sheet.rows[head]) if c is not None and k not in places]
    return UnitsList(csv_text([_UNITS.columns, *made]).encode("utf-8"), len(made), tuple(left_out))


def guessed(cells: Sequence[Cell]) -> dict[int, str]:
    """Our heading by the place of theirs, each once: what is written right comes before what is misspelt."""
    names = {heading(text_of(c)): k for k, c in reversed(list(enumerate(cells))) if c is not None}
    meant = {heading(word): column.headings[0] if len(column.headings) == 1 else f"{column.name}_likely"
             for column in _UNITS.declared.values() for word in (*column.also, column.name)}  # fmt: skip
    meant |= {name: name for name in _UNITS.columns}
    found: dict[int, str] = {}
    for cutoff in (1.0, SURE):
        for name, k in names.items():
            near = name if name in meant else closest(name, meant, cutoff) if cutoff < 1.0 else ""
            if near and k not in found and meant[near] not in found.values():
                found[k] = meant[near]
    return found


def _with(sheet: Sheet, head: int, places: dict[int, str]) -> Sheet:
    """The rows from the headings on, with our headings over the columns that are taken."""
    rows: dict[int, tuple[Cell, ...]] = {head: tuple(places.values())}
    for number, cells in sheet.rows.items():
        taken = tuple(cells[k] if k < len(cells) else None for k in places)
        if number > head and any(c is not None for c in taken):
            rows[number] = taken
    return replace(sheet, rows=rows, widths={})
