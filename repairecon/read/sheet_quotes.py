"""The rows of a supplier's list as cells of quotes.csv, each with what could not be taken from it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from repairecon.read.column_map import DATES, WORDS, break_packs, is_money
from repairecon.read.loose_values import date_text, decimal_mark, number_text
from repairecon.read.problems import SURE, Problems, closest, shown
from repairecon.read.sheet_writing import OBEYED
from repairecon.read.sheets import BadCell, Cell, Sheet, column_letters, text_of
from repairecon.read.tables import heading

LOOKED_THROUGH = 50
"""Rows among which the headings must stand."""

_PLAIN_SIGN = re.compile(r"[+-][\w.,/ x-]*")


@dataclass(frozen=True)
class SheetRow:
    """One row of the list: cells by our columns, and the first thing wrong with it."""

    row: int
    cells: Mapping[str, str]
    wrong: str = ""


def find_headings(
    sheet: Sheet, known: Mapping[str, str], spelt: Mapping[str, str], problems: Problems
) -> tuple[int, dict[int, str]]:
    """The row of the headings, and our column by its place; what is missing or double is a fault.

    ``known`` has headings in plain form, ``spelt`` each as the owner wrote it.
    """
    best, row = -1, 0
    for number in [n for n in sheet.rows if n <= next(iter(sheet.rows), 0) + LOOKED_THROUGH]:
        found = len(known.keys() & {heading(text_of(c)) for c in sheet.rows[number]})
        if found > best:
            best, row = found, number
    names = [heading(text_of(c)) for c in sheet.rows.get(row, ())]
    there = {heading(text_of(c)): text_of(c) for c in sheet.rows.get(row, ()) if c is not None}
    for theirs in known:
        word = spelt.get(theirs, theirs)
        if theirs not in names:
            near = there.get(closest(theirs, there, cutoff=SURE if best <= 0 else 0.6), "")
            others = ", ".join(shown(n) for n in list(there.values())[:12])
            write = f"did you mean {shown(near)}?" if near else f"name one of the headings: {others}"
            problems.add(sheet.file, row or None, word, "no such heading", write)
        elif names.count(theirs) > 1:
            problems.add(sheet.file, row, word, "the heading twice", "rename one of the two")
    return row, {names.index(theirs): ours for theirs, ours in known.items() if theirs in names}


def decimal_marks(sheet: Sheet, head: int, places: Mapping[int, str], decimal: str) -> dict[int, str]:
    """The decimal mark of each column of numbers: the one given, else the one that its own numbers give away."""
    rows = [row for n, row in sheet.rows.items() if n > head]
    return {
        k: decimal or decimal_mark(c for row in rows if k < len(row) and isinstance(c := row[k], str))
        for k, column in places.items()
        if column not in WORDS | DATES
    }


def sheet_rows(
    sheet: Sheet, head: int, places: Mapping[int, str], currency: str, marks: Mapping[int, str]
) -> list[SheetRow]:
    """The rows below the headings."""
    below = {n: row for n, row in sheet.rows.items() if n > head}
    return [_row(n, row, places, marks, currency) for n, row in below.items() if _any(row, places)]


def _any(row: tuple[Cell, ...], places: Mapping[int, str]) -> bool:
    return any(k < len(row) and row[k] is not None for k in places)


def _row(
    number: int, row: tuple[Cell, ...], places: Mapping[int, str], marks: Mapping[int, str], currency: str
) -> SheetRow:
    cells: dict[str, str] = {}
    breaks: dict[int, str] = {}
    wrong = ""
    for k, column in places.items():
        cell = row[k] if k < len(row) else None
        if cell is None:
            continue
        read = _value(cell, column, marks.get(k, ""), currency)
        if isinstance(read, BadCell):
            wrong = wrong or f"{column_letters(k)}{number}, {column}: found {read.found}; {read.write}"
        elif packs := break_packs(column):
            breaks[packs] = read
        else:
            cells[column] = read
    if breaks:
        told = [f"{packs} at {breaks[packs]}" for packs in sorted(breaks)]
        cells["breaks"] = "; ".join([cells["breaks"], *told] if cells.get("breaks") else told)
    return SheetRow(number, cells, wrong)


def _value(cell: Cell, column: str, mark: str, currency: str) -> str | BadCell:
    if column in DATES:
        return date_text(cell)
    if column not in WORDS:
        return number_text(cell, mark, currency if is_money(column) else "")
    if isinstance(cell, BadCell):
        return cell
    text = " ".join(text_of(cell).split())
    if text.startswith(OBEYED) and not _PLAIN_SIGN.fullmatch(text):
        return BadCell(shown(text), "text that a spreadsheet would obey: write it without the mark in front")
    return text
