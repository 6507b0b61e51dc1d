"""Cells as others write them (a decimal comma, money beside a number, day before month) as a case folder has them.

What may be read two ways is left alone.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import replace

from repairecon.read.columns import NUMBERS, Column, column_of
from repairecon.read.problems import shown
from repairecon.read.sheets import Cell, Sheet, heading, left_out, text_of
from repairecon.read.values import A_DATE, Misread, both_readings, decimal_mark, of_percent, plain, with_point

SUPPLIERS_MONEY = "supplier's money"
"""Unit of the columns beside whose figures a currency may stand."""
_MONEY_MARKS = {"€": "EUR", "£": "GBP"}
_MONEY = re.compile(r"(?:([A-Z]{3}|[€£])\s*)?([^A-Z€£]+?)(?:\s*([A-Z]{3}|[€£]))?", re.IGNORECASE)
_YEAR_FIRST = re.compile(r"([0-9]{4})-([0-9]{1,2})-([0-9]{1,2})(?:[T ].*)?")
_YEAR_LAST = re.compile(r"([0-9]{1,2})([./-])([0-9]{1,2})\2([0-9]{4})")
_SERIALS = range(20_000, 80_000)
"""Day numbers from 1954 to 2119: what a date looks like in a cell that is not formatted as one."""
ZERO_DAY = datetime.date(1899, 12, 30)


def tidied(
    sheet: Sheet, declared: Mapping[str, Column], decimal: str = "", currency: str = ""
) -> tuple[Sheet, dict[str, str]]:
    """The sheet with numbers and dates as a case folder has them, a cell that is neither as a fault.

    ``declared`` are its columns, by name without the ends of a range; ``decimal`` is the decimal mark where a column
    does not give it away, ``currency`` that in which the supplier's money is. Gives the decimal marks by heading too.
    """
    head, *below = sheet.rows or (0,)
    names = [heading(text_of(c)) for c in sheet.rows.get(head, ())]
    rows = {n: list(sheet.rows[n]) for n in below if not left_out(sheet.rows[n])}
    marks: dict[str, str] = {}
    for k, name in enumerate(names):
        column, end = column_of(name, declared)
        cells = {n: row[k] for n, row in rows.items() if k < len(row) and row[k] is not None}
        if column and column.type in NUMBERS and end != "shape":
            mark = marks[name] = decimal or agreed_mark(c for c in cells.values() if isinstance(c, str))
            money = currency if column.unit == SUPPLIERS_MONEY else ""
            cells = {n: number_text(c, mark, money) for n, c in cells.items()}
        elif column and column.type == "date":
            cells = {n: date_text(c) for n, c in cells.items()}
        for n, cell in cells.items():
            rows[n][k] = cell
    return replace(sheet, rows={**sheet.rows, **{n: tuple(row) for n, row in rows.items()}}), marks


def agreed_mark(texts: Iterable[str]) -> str:
    """The decimal mark on which all numbers that give one away agree, else an empty string."""
    meant = {decimal_mark(_money(text)[1]) for text in texts} - {""}
    return meant.pop() if len(meant) == 1 else ""


def _money(text: str) -> tuple[str, str]:
    match = _MONEY.fullmatch(text.strip())
    if not match or (match[1] and match[3]):
        return "", text
    mark = (match[1] or match[3] or "").upper()
    return _MONEY_MARKS.get(mark, mark), match[2].strip()


def number_text(cell: Cell, mark: str, currency: str = "") -> str | Misread:
    """A number as a case folder has it; ``mark`` is the decimal mark, ``currency`` may stand beside it."""
    if isinstance(cell, Misread):
        return cell
    if isinstance(cell, int | float) and not isinstance(cell, bool):
        return plain(cell)
    text = text_of(cell)
    money, figure = _money(text)
    if money not in ("", currency):
        return Misread(f"write the number alone{f', in {currency}' if currency else ''}", shown(text))
    percent = figure.endswith("%")
    figure = figure.rstrip("% ") if percent else figure
    joined, point = both_readings(figure)
    if joined and not mark:
        return Misread(f"say which mark is the decimal one: it may be {joined} or {point}", shown(text))
    number = with_point(figure, mark)
    if not isinstance(cell, str) or not number:
        return Misread("write a number such as 12.50", shown(text))
    return of_percent(number) if percent else number


def date_of_serial(serial: int) -> datetime.date:
    """The date of a day number of the 1900 date system, from 61 on (1900-03-01).

    The system counts a 29 February 1900 that never was as day 60 (ECMA-376 part 1, 18.17.4.1, from memory).
    """
    return ZERO_DAY + datetime.timedelta(days=serial)


def date_text(cell: Cell) -> str | Misread:
    """A date as year-month-day; day.month.year has points (common practice, no source)."""
    if isinstance(cell, Misread):
        return cell
    if isinstance(cell, datetime.date):
        return cell.isoformat()
    text = text_of(cell)
    bad = Misread(A_DATE, shown(text))
    if isinstance(cell, int | float) and int(cell) in _SERIALS:
        return replace(bad, write=f"format the column as dates: it may be {date_of_serial(int(cell)).isoformat()}")
    if match := _YEAR_FIRST.fullmatch(text):
        return _date(*match.groups()) or bad
    if not (match := _YEAR_LAST.fullmatch(text)):
        return bad
    one, mark, two, year = match.groups()
    first, last = _date(year, two, one), _date(year, one, two)
    if mark == "." or not last or first == last:
        return first or bad
    return replace(bad, write=f"write {first} or {last}, whichever is meant") if first else last


def _date(year: str, month: str, day: str) -> str:
    with suppress(ValueError):
        return datetime.date(int(year), int(month), int(day)).isoformat()
    return ""
