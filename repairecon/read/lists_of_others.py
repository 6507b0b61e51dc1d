"""Lists as others write them: a supplier's prices as cells of quotes.csv, an owner's list of units as units.csv."""

from __future__ import annotations

import datetime
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from repairecon.read import sheets
from repairecon.read.boat import units_of
from repairecon.read.columns import FILES, SUPPLIERS_MONEY, Column
from repairecon.read.files import OBEYED, csv_text
from repairecon.read.problems import SURE, Problems, closest, shown
from repairecon.read.sheets import Sheet, headed, heading, heading_row, tidied
from repairecon.read.tables import Row, Table, read_table, table_of
from repairecon.read.values import Cell, Misread, text_of
from repairecon.records import SheetError

COLUMNS_FILE = "columns.csv"
_QUOTES, _UNITS = FILES["quotes.csv"], FILES["units.csv"]
_SHORT = {heading(word): c.heading for c in _QUOTES.declared.values() for word in (*c.also, c.name)}
_SHORT["core"] = _SHORT["quoted_core"]
_BREAK = re.compile(r"price_from_([1-9][0-9]{0,5})")
_PLAIN_SIGN = re.compile(r"[+-][\w.,/ x-]*")


def known_columns(columns: Mapping[str, str], file: str, problems: Problems) -> dict[str, str]:
    """Our column by the owner's heading; what is unknown or double is a fault."""
    known: dict[str, str] = {}
    for theirs, ours in columns.items():
        column = heading(ours)
        column = _SHORT.get(column, column)
        if column not in _QUOTES.known and not _BREAK.fullmatch(column):
            options = [*_QUOTES.columns, *_SHORT, "price_from_10"]
            problems.add(file, None, theirs, f"an unknown column {shown(ours)}", problems.advice(column, options))
        elif column in known.values():
            problems.add(file, None, theirs, f"a second heading for {column}", "keep one of the two")
        elif not heading(theirs) or heading(theirs) in map(heading, known):
            problems.add(file, None, theirs, f"a heading {shown(theirs)} twice or blank", "name each heading once")
        else:
            known[theirs] = column
    if not known and not len(problems):
        problems.add(file, None, "", "no columns", "say which heading is which column, as in price=Unit price")
    return known


def saved_columns(folder: Path, problems: Problems) -> list[Row]:
    """Which heading is which column, by supplier, as kept in the case folder."""
    path = folder / COLUMNS_FILE
    return read_table(path if path.exists() else None, COLUMNS_FILE, FILES[COLUMNS_FILE], problems).rows


def find_headings(sheet: Sheet, known: Mapping[str, str], problems: Problems) -> tuple[int, dict[int, str]]:
    """The row of the headings, and our column by its place; what is missing or double is a fault."""
    plain = {heading(theirs) for theirs in known}

    def likeness(cells: tuple[Cell, ...]) -> int:
        return len(plain & {heading(text_of(c)) for c in cells})

    row = heading_row(sheet, likeness)
    cells = sheet.rows.get(row, ())
    names = [heading(text_of(c)) for c in cells]
    there = {heading(text_of(c)): text_of(c) for c in cells if c is not None}
    for theirs in known:
        if heading(theirs) not in names:
            near = there.get(closest(heading(theirs), there, cutoff=0.6 if likeness(cells) else SURE), "")
            others = ", ".join(shown(n) for n in list(there.values())[:12])
            write = f"did you mean {shown(near)}?" if near else f"name one of the headings: {others}"
            problems.add(sheet.file, row or None, theirs, "no such heading", write)
        elif names.count(heading(theirs)) > 1:
            problems.add(sheet.file, row, theirs, "the heading twice", "rename one of the two")
    return row, {names.index(heading(theirs)): ours for theirs, ours in known.items() if heading(theirs) in names}


@dataclass(frozen=True)
class SheetRow:
    """One row of the list: cells by our columns, and the first thing wrong with it."""

    row: int
    cells: Mapping[str, str]
    wrong: str = ""


def sheet_rows(
    sheet: Sheet, head: int, places: Mapping[int, str], decimal: str, currency: str
) -> tuple[list[SheetRow], list[str]]:
    """The rows below the headings that hold something under one of them, and how their numbers were read."""
    breaks = {c: Column(name=c, type="number", unit=SUPPLIERS_MONEY) for c in places.values() if _BREAK.fullmatch(c)}
    read, marks = tidied(headed(sheet, head, places), {**_QUOTES.declared, **breaks}, decimal, currency)
    words = {",": "comma", ".": "point"}
    notes = [f"{name}: numbers with a decimal {words[mark]}" for name, mark in marks.items() if mark]
    made = []
    for number, row in (item for item in read.rows.items() if item[0] != head):
        cells, prices, wrong = dict[str, str](), dict[int, str](), ""
        for (k, column), cell in zip(places.items(), row, strict=False):
            text, bad = " ".join(text_of(cell).split()), cell if isinstance(cell, Misread) else None
            if bad is None and text.startswith(OBEYED) and not _PLAIN_SIGN.fullmatch(text):
                bad = Misread("text that a spreadsheet would obey: write it without the mark in front", shown(text))
            if bad is not None:
                wrong = wrong or f"{sheets.column_letters(k)}{number}, {column}: found {bad.found}; {bad.write}"
            elif text and (match := _BREAK.fullmatch(column)):
                prices[int(match[1])] = text
            elif text:
                cells[column] = text
        if prices:
            listed = [f"{packs} at {prices[packs]}" for packs in sorted(prices)]
            cells["breaks"] = "; ".join(filter(None, [cells.get("breaks", ""), *listed]))
        made.append(SheetRow(number, cells, wrong))
    return made, notes


# ---- units -----------------------------------------------------------------------------------------
@dataclass(frozen=True)
class UnitsList:
    """The rows as units.csv has them, how many, and the headings of which nothing was taken."""

    data: bytes
    many: int
    left_out: tuple[str, ...]


def read_units_list(path: Path) -> UnitsList:
    """Read a list of units, headings taken for those that they surely mean; SheetError has every fault of it."""
    sheet, problems = sheets.read_sheet(path, "", _UNITS.known), Problems()
    words = {name: [name] for name in _UNITS.columns}
    for c in _UNITS.declared.values():
        words[c.heading] += [c.name, *c.also]
    head = heading_row(sheet, lambda cells: len(sheets.places_meant([text_of(c) for c in cells], words)))
    written = [text_of(c) for c in sheet.rows.get(head, ())]
    meant = sheets.places_meant(written, words)
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
