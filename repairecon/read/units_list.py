"""An owner's own list of the units of a boat, under whatever headings, as units.csv."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from pathlib import Path

from repairecon.read.boat import units_of
from repairecon.read.columns import FILES
from repairecon.read.files import csv_text
from repairecon.read.loose_cells import tidied
from repairecon.read.problems import Problems
from repairecon.read.sheets import headed, heading_row, places_meant, read_sheet, text_of
from repairecon.read.tables import Table, table_of
from repairecon.records import SheetError

_UNITS = FILES["units.csv"]


@dataclass(frozen=True)
class UnitsList:
    """The rows as units.csv has them, how many, and the headings of which nothing was taken."""

    data: bytes
    many: int
    left_out: tuple[str, ...]


def read_units_list(path: Path) -> UnitsList:
    """Read a list of units (.xlsx, .csv, .txt or .tsv); headings are taken for those that they surely mean.

    SheetError has every fault of the list, by row and the owner's own heading.
    """
    sheet, problems = read_sheet(path, "", _UNITS.known), Problems()
    words = {name: [name] for name in _UNITS.columns}
    for c in _UNITS.declared.values():
        words[c.heading] += [c.name, *c.also]
    head = heading_row(sheet, lambda cells: len(places_meant([text_of(c) for c in cells], words)))
    written = [text_of(c) for c in sheet.rows.get(head, ())]
    meant = places_meant(written, words)
    places, theirs = {k: ours for ours, k in meant.items()}, {ours: written[k] for ours, k in meant.items()}
    table = Table(sheet.file)
    if "unit" not in theirs:
        known = ", ".join(("unit", *_UNITS.declared["unit"].also))
        problems.add(sheet.file, head, "unit", "no such column", f"head the column of their names one of: {known}")
    else:
        kept, _ = tidied(headed(sheet, head, places), _UNITS.declared)
        table = table_of(kept, _UNITS, problems)
        units_of(table, datetime.date.today().isoformat())
    called = Problems()
    for f in problems.faults:
        called.add(f.file, f.row, theirs.get(f.column, f.column), f.found, f.write)
    called.stop_if_any(SheetError)
    made = [[row.cells.get(c, "") for c in _UNITS.columns] for row in table.rows]
    left_out = [text for k, text in enumerate(written) if text and k not in places]
    return UnitsList(csv_text([_UNITS.columns, *made]).encode("utf-8"), len(made), tuple(left_out))
