"""A supplier's list as others write it: which heading is which column of quotes.csv, and its rows as cells of it.

What may be read two ways is left alone. Which heading is which column is kept in columns.csv of the case.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from repairecon.read.columns import FILES
from repairecon.read.files import OBEYED, csv_text
from repairecon.read.problems import SURE, Problems, closest, key, shown
from repairecon.read.sheets import BadCell, Cell, Sheet, column_letters, heading, text_of
from repairecon.read.tables import Table, read_table
from repairecon.read.values import both_readings, decimal_mark, of_percent, plain, with_point

COLUMNS_FILE = "columns.csv"
_SHORT = {"price": "quoted_likely", "quoted": "quoted_likely", "lead_days": "lead_days_likely"}
_SHORT |= {"quoted_core": "quoted_core_likely", "core": "quoted_core_likely"}
_BREAK = re.compile(r"price_from_([1-9][0-9]{0,5})")
DATES = frozenset(c.name for c in FILES["quotes.csv"].declared.values() if c.type == "date")
_WORDY = [c.name for c in FILES["quotes.csv"].declared.values() if c.type in ("text", "choice")]
WORDS = frozenset({*_WORDY, *(c for c in FILES["quotes.csv"].columns if c.endswith("_shape"))})
LOOKED_THROUGH = 50
"""Rows among which the headings must stand."""
_PLAIN_SIGN = re.compile(r"[+-][\w.,/ x-]*")
_MONEY_MARKS = {"€": "EUR", "£": "GBP"}
_MONEY = re.compile(r"(?:([A-Z]{3}|[€£])\s*)?([^A-Z€£]+?)(?:\s*([A-Z]{3}|[€£]))?", re.IGNORECASE)
_SERIALS = range(20_000, 80_000)
"""Day numbers from 1954 to 2119: what a date looks like in a cell that is not formatted as one."""
_ZERO_DAY = datetime.date(1899, 12, 30)


def break_packs(column: str) -> int:
    """The packs of a column ``price_from_10``, else 0."""
    match = _BREAK.fullmatch(column)
    return int(match[1]) if match else 0


def is_money(column: str) -> bool:
    """True for a column in the supplier's money."""
    return (column.startswith("quoted_") and column not in DATES) or break_packs(column) > 0


def known_columns(columns: Mapping[str, str], file: str, problems: Problems) -> dict[str, str]:
    """Our column by the owner's heading (in plain form); what is unknown or double is a fault."""
    known: dict[str, str] = {}
    for theirs, ours in columns.items():
        column = heading(ours)
        column = _SHORT.get(column, column)
        if column not in FILES["quotes.csv"].known and not break_packs(column):
            options = [*FILES["quotes.csv"].columns, *_SHORT, "price_from_10"]
            problems.add(file, None, theirs, f"an unknown column {shown(ours)}", problems.advice(column, options))
        elif column in known.values():
            problems.add(file, None, theirs, f"a second heading for {column}", "keep one of the two")
        elif not heading(theirs) or heading(theirs) in known:
            problems.add(file, None, theirs, f"a heading {shown(theirs)} twice or blank", "name each heading once")
        else:
            known[heading(theirs)] = column
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
        k: decimal or agreed_mark(c for row in rows if k < len(row) and isinstance(c := row[k], str))
        for k, column in places.items()
        if column not in WORDS | DATES
    }


def sheet_rows(
    sheet: Sheet, head: int, places: Mapping[int, str], currency: str, marks: Mapping[int, str]
) -> list[SheetRow]:
    """The rows below the headings that hold something under one of them."""
    below = [(n, row) for n, row in sheet.rows.items() if n > head]
    held = [(n, row) for n, row in below if any(k < len(row) and row[k] is not None for k in places)]
    return [_row(n, row, places, marks, currency) for n, row in held]


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
        listed = [f"{packs} at {breaks[packs]}" for packs in sorted(breaks)]
        cells["breaks"] = "; ".join(filter(None, [cells.get("breaks", ""), *listed]))
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


def date_of_serial(serial: int) -> datetime.date:
    """The date of a day number of the 1900 date system, from 61 on (1900-03-01).

    The system counts a 29 February 1900 that never was as day 60 (ECMA-376 part 1, 18.17.4.1, from memory).
    """
    return _ZERO_DAY + datetime.timedelta(days=serial)


def agreed_mark(texts: Iterable[str]) -> str:
    """The decimal mark on which all numbers that give one away agree, else an empty string."""
    meant = {decimal_mark(_money(text)[1]) for text in texts} - {""}
    return meant.pop() if len(meant) == 1 else ""


def _money(text: str) -> tuple[str, str]:
    """The currency beside a figure, and the figure."""
    match = _MONEY.fullmatch(text.strip())
    if not match or (match[1] and match[3]):
        return "", text
    mark = (match[1] or match[3] or "").upper()
    return _MONEY_MARKS.get(mark, mark), match[2].strip()


def number_text(cell: Cell, mark: str, currency: str = "") -> str | BadCell:
    """A number as a case folder has it; ``mark`` is the decimal mark, ``currency`` may stand beside it."""
    if isinstance(cell, BadCell):
        return cell
    if isinstance(cell, bool | datetime.date):
        return BadCell(shown(text_of(cell)), "write a number such as 12.50")
    if isinstance(cell, int | float):
        return plain(cell)
    text = text_of(cell)
    money, figure = _money(text)
    if money and money != currency:
        instead = f", in {currency}" if currency else ""
        return BadCell(shown(text), f"write the number alone{instead}")
    percent = figure.endswith("%")
    figure = figure.rstrip("% ") if percent else figure
    joined, point = both_readings(figure)
    if joined and not mark:
        return BadCell(shown(text), f"say which mark is the decimal one: it may be {joined} or {point}")
    number = with_point(figure, mark)
    if not number:
        return BadCell(shown(text), "write a number such as 12.50")
    return of_percent(number) if percent else number


def date_text(cell: Cell) -> str | BadCell:
    """A date as year-month-day; day.month.year has points (common practice, no source)."""
    if isinstance(cell, BadCell):
        return cell
    if isinstance(cell, datetime.date):
        return cell.isoformat()
    text = text_of(cell)
    write = "write a date as year-month-day, such as 2026-03-31"
    if not isinstance(cell, str):
        if isinstance(cell, int | float) and not isinstance(cell, bool) and int(cell) in _SERIALS:
            write = f"format the column as dates: it may be {date_of_serial(int(cell)).isoformat()}"
        return BadCell(shown(text), write)
    iso = re.fullmatch(r"([0-9]{4})-([0-9]{1,2})-([0-9]{1,2})(?:[T ].*)?", text)
    if iso:
        return _date(iso[1], iso[2], iso[3]) or BadCell(shown(text), write)
    match = re.fullmatch(r"([0-9]{1,2})([./-])([0-9]{1,2})\2([0-9]{4})", text)
    if not match:
        return BadCell(shown(text), write)
    first, last = _date(match[4], match[3], match[1]), _date(match[4], match[1], match[3])
    if match[2] == "." or not last or first == last:
        return first or BadCell(shown(text), write)
    if first:
        return BadCell(shown(text), f"write {first} or {last}, whichever is meant")
    return last


def _date(year: str, month: str, day: str) -> str:
    with suppress(ValueError):
        return datetime.date(int(year), int(month), int(day)).isoformat()
    return ""
