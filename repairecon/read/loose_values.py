"""Numbers and dates as others write them, to text as a case folder has it; what may be read two ways is left alone."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable
from contextlib import suppress
from decimal import Decimal

from repairecon.read.problems import shown
from repairecon.read.sheets import BadCell, Cell, text_of
from repairecon.read.values import plain

_BETWEEN_THOUSANDS = re.compile(r"(?<=[0-9])[ '’\u00a0\u202f](?=[0-9]{3}(?![0-9]))")
_FORM = re.compile(r"[+-]?[0-9]+(?:[.,][0-9]+)*|[+-]?[.,][0-9]+")
_DOUBTFUL = re.compile(r"[+-]?[1-9][0-9]{0,2}[.,][0-9]{3}")
_MONEY_MARKS = {"€": "EUR", "£": "GBP"}
_MONEY = re.compile(r"(?:([A-Z]{3}|[€£])\s*)?([^A-Z€£]+?)(?:\s*([A-Z]{3}|[€£]))?", re.IGNORECASE)
_SERIALS = range(20_000, 80_000)
"""Day numbers from 1954 to 2119: what a date looks like in a cell that is not formatted as one."""

_ZERO_DAY = datetime.date(1899, 12, 30)


def date_of_serial(serial: int) -> datetime.date:
    """The date of a day number of the 1900 date system, from 61 on (1900-03-01).

    The system counts a 29 February 1900 that never was as day 60 (ECMA-376 part 1, 18.17.4.1, from memory).
    """
    return _ZERO_DAY + datetime.timedelta(days=serial)


def _bare(text: str) -> str:
    return _BETWEEN_THOUSANDS.sub("", text.strip())


def _means(text: str) -> str:
    """The decimal mark that a number gives away, else an empty string."""
    text = _bare(text)
    if not _FORM.fullmatch(text) or _DOUBTFUL.fullmatch(text):
        return ""
    points, commas = text.count("."), text.count(",")
    if points and commas:
        return max(".,", key=text.rfind)
    mark = "." if points else "," if commas else ""
    if points + commas > 1:
        return "," if mark == "." else "."
    return mark


def decimal_mark(texts: Iterable[str]) -> str:
    """The decimal mark on which all numbers that give one away agree, else an empty string."""
    meant = {_means(_money(text)[1]) for text in texts} - {""}
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
    bare = _bare(figure.rstrip("% ")) if percent else _bare(figure)
    if not _FORM.fullmatch(bare):
        return BadCell(shown(text), "write a number such as 12.50")
    if _DOUBTFUL.fullmatch(bare) and not mark:
        joined = bare.replace(".", "").replace(",", "")
        point = bare.replace(",", ".")
        return BadCell(shown(text), f"say which mark is the decimal one: it may be {joined} or {point}")
    plainly = _with_point(bare, _means(bare) or mark)
    if plainly is None:
        return BadCell(shown(text), "write a number such as 12.50")
    return str(Decimal(plainly) * Decimal("0.01")) if percent else plainly


def _with_point(bare: str, mark: str) -> str | None:
    """The number with a decimal point and no mark between thousands; None if its marks make no sense."""
    other = "," if mark == "." else "."
    whole, _, decimals = bare.partition(mark) if mark else (bare, "", "")
    groups = whole.lstrip("+-").split(other)
    grouped = len(groups) > 1
    if mark and (mark in decimals or other in decimals):
        return None
    if grouped and not (1 <= len(groups[0]) <= 3 and all(len(g) == 3 for g in groups[1:])):
        return None
    sign = "-" if whole.startswith("-") else ""
    joined = "".join(groups) or "0"
    return f"{sign}{joined}.{decimals}" if decimals else f"{sign}{joined}"


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
