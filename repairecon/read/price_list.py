"""A supplier's list as others write it: which heading is which column of quotes.csv, and its rows as cells of it.

Which heading is which column is kept in columns.csv of the case.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from repairecon.read.columns import FILES, Column
from repairecon.read.files import OBEYED, csv_text
from repairecon.read.loose_cells import SUPPLIERS_MONEY, tidied
from repairecon.read.problems import SURE, Problems, closest, key, shown
from repairecon.read.sheets import Cell, Sheet, column_letters, headed, heading, heading_row, text_of
from repairecon.read.tables import Table, read_table
from repairecon.read.values import Misread

COLUMNS_FILE = "columns.csv"
_QUOTES = FILES["quotes.csv"]
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


def saved_columns(folder: Path, supplier: str, problems: Problems) -> dict[str, str]:
    """Our column by the heading of a supplier's list, as kept in the case folder."""
    rows = _saved(folder, problems).rows
    return {r.text("heading"): r.text("column") for r in rows if key(r.text("supplier")) == key(supplier)}


def columns_with(folder: Path, supplier: str, columns: Mapping[str, str], problems: Problems) -> bytes:
    """columns.csv with these headings in place of those that the supplier had."""
    names = FILES[COLUMNS_FILE].columns
    others = [r for r in _saved(folder, problems).rows if key(r.text("supplier")) != key(supplier)]
    rows = [[r.text(c) for c in names] for r in others]
    rows += [[supplier, ours, theirs, "", ""] for theirs, ours in columns.items()]
    return csv_text([names, *rows]).encode("utf-8")


def _saved(folder: Path, problems: Problems) -> Table:
    path = folder / COLUMNS_FILE
    return read_table(path if path.exists() else None, COLUMNS_FILE, FILES[COLUMNS_FILE], problems)


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
    return [_row(n, cells, places) for n, cells in read.rows.items() if n != head], notes


def _row(number: int, row: tuple[Cell, ...], places: Mapping[int, str]) -> SheetRow:
    cells: dict[str, str] = {}
    breaks: dict[int, str] = {}
    wrong = ""
    for (k, column), cell in zip(places.items(), map(_safe, row), strict=False):
        if isinstance(cell, Misread):
            wrong = wrong or f"{column_letters(k)}{number}, {column}: found {cell.found}; {cell.write}"
        elif match := _BREAK.fullmatch(column) if cell else None:
            breaks[int(match[1])] = cell
        elif cell:
            cells[column] = cell
    if breaks:
        listed = [f"{packs} at {breaks[packs]}" for packs in sorted(breaks)]
        cells["breaks"] = "; ".join(filter(None, [cells.get("breaks", ""), *listed]))
    return SheetRow(number, cells, wrong)


def _safe(cell: Cell) -> str | Misread:
    text = cell if isinstance(cell, Misread) else " ".join(text_of(cell).split())
    if isinstance(text, str) and text.startswith(OBEYED) and not _PLAIN_SIGN.fullmatch(text):
        return Misread("text that a spreadsheet would obey: write it without the mark in front", shown(text))
    return text
