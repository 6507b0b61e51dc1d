"""Words of a file, and cells as others write them, to numbers, dates, yes or no; else what to write instead."""

from __future__ import annotations

import datetime
import math
import re
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import TypeAlias

from repairecon.read.problems import shown
from repairecon.records import Range, Shape, Source

_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,4})?")
_FORM = re.compile(r"[+-]?[0-9]+(?:[.,][0-9]+)*|[+-]?[.,][0-9]+")
_DOUBTFUL = re.compile(r"[+-]?[1-9][0-9]{0,2}[.,][0-9]{3}")
_BETWEEN_THOUSANDS = re.compile(r"(?<=[0-9])[ '’\u00a0\u202f](?=[0-9]{3}(?![0-9]))")
_OTHER_MARKS = re.compile(r"[^0-9.,+\- '’\u00a0\u202f]+")
A_DATE = "write a date as year-month-day, such as 2026-03-31"
_YES_NO = {**dict.fromkeys(("yes", "y", "true"), True), **dict.fromkeys(("no", "n", "false"), False)}
_MONEY_MARKS = {"€": "EUR", "£": "GBP"}
_MONEY = re.compile(r"(?:([A-Z]{3}|[€£])\s*)?([^A-Z€£]+?)(?:\s*([A-Z]{3}|[€£]))?", re.IGNORECASE)
_YEAR_FIRST = re.compile(r"([0-9]{4})-([0-9]{1,2})-([0-9]{1,2})(?:[T ].*)?")
_YEAR_LAST = re.compile(r"([0-9]{1,2})([./-])([0-9]{1,2})\2([0-9]{4})")
_SERIALS = range(20_000, 80_000)  # 1954 to 2119: what a date looks like in a cell that is not formatted as one
ZERO_DAY = datetime.date(1899, 12, 30)
"""From which day numbers of the 1900 date system count, from 61 on (1900-03-01): the system has a 29 February 1900 that
never was as day 60 (ECMA-376 part 1, 18.17.4.1, from memory)."""


@dataclass(frozen=True)
class Limits:
    low: float
    high: float
    whole: bool = False
    above: bool = False
    fraction: bool = False


LARGEST = 1e12
MONEY = Limits(0.0, LARGEST)
FRACTION = Limits(0.0, 1.0, fraction=True)
COUNT = Limits(1.0, 1e6, whole=True)


@dataclass(frozen=True)
class Misread:
    """A value that could not be taken: what to write instead, what was found, and of several which."""

    write: str
    found: str = ""
    which: str = ""


Cell: TypeAlias = str | int | float | bool | datetime.date | Misread | None
"""Text is clean and stripped; blank text is None."""


def figure(value: float) -> int | float:
    """A number without a needless point."""
    return int(value) if value == int(value) and abs(value) < 1e15 else value


def plain(value: float) -> str:
    """A number as an owner would type it."""
    return str(figure(value))


def text_of(cell: Cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, datetime.date):
        return cell.isoformat()
    if isinstance(cell, float):
        return plain(cell)
    return cell.found if isinstance(cell, Misread) else str(cell)


def as_written(value: float) -> str:
    """A figure as its owner wrote it; what tax or a rate has made of it is cut, not rounded, to what can be read."""
    text = plain(value)
    whole, _, rest = text.partition(".")
    if not rest or "e" in text:
        return text
    zeros = len(rest) - len(rest.lstrip("0"))
    return whole if abs(value) >= 100 else f"{whole}.{rest[: max(2, zeros + 2 if whole.lstrip('-') == '0' else 0)]}"


def within(value: float, limits: Limits) -> float | Misread:
    """The number, if it keeps its limits."""
    if not math.isfinite(value):
        return Misread("write a number such as 12.50")
    if limits.fraction and 2.0 <= value <= 100.0:
        return Misread(f"give {Decimal(plain(value)).scaleb(-2)} for {plain(value)} %")
    if limits.fraction and not 0.0 <= value <= 1.0:
        return Misread("write a fraction from 0 to 1 (0.20 for 20 %)")
    if value < limits.low or (limits.above and value == limits.low):
        return Misread(f"write {'more than' if limits.above else 'not less than'} {plain(limits.low)}")
    if value > limits.high:
        return Misread(f"write {plain(limits.high)} at most")
    return Misread("write a whole number such as 2") if limits.whole and value != int(value) else value


def bare(text: str) -> str:
    """A number without blanks and apostrophes between its thousands."""
    return _BETWEEN_THOUSANDS.sub("", text.strip())


def decimal_mark(text: str) -> str:
    """The decimal mark that a number gives away, else an empty string."""
    text = bare(text)
    if not _FORM.fullmatch(text) or _DOUBTFUL.fullmatch(text):
        return ""
    points, commas = text.count("."), text.count(",")
    last = max(".,", key=text.rfind)
    if not points and not commas:
        return ""
    return last if points + commas == 1 or (points and commas) else ".,".replace(last, "")


def both_readings(text: str) -> tuple[str, str]:
    """``1,250`` with its mark between thousands and as the decimal one; empty where there is no doubt."""
    text = bare(text).replace(",", ".")
    return (text.replace(".", ""), text) if _DOUBTFUL.fullmatch(text) else ("", "")


def with_point(text: str, mark: str = "") -> str:
    """A number with a point and nothing between thousands, empty if it is none; ``mark`` where it is in doubt."""
    text = bare(text)
    mark = decimal_mark(text) or mark or "."
    other = "," if mark == "." else "."
    form = rf"([+-]?)([0-9]*|[0-9]{{1,3}}(?:\{other}[0-9]{{3}})+)(?:\{mark}([0-9]*))?"
    match = re.fullmatch(form, text) if _FORM.fullmatch(text) else None
    if not match:
        return ""
    joined = match[1].strip("+") + (match[2].replace(other, "") or "0")
    return f"{joined}.{match[3]}" if match[3] else joined


def number(text: str, limits: Limits) -> float | Misread:
    """The number that ``text`` writes with a decimal point."""
    if _NUMBER.fullmatch(text):
        return within(float(text), limits)
    figure = _OTHER_MARKS.sub("", text).strip() if len(text) <= 60 else ""
    if _NUMBER.fullmatch(figure) and "%" in text:
        return Misread(f"give {Decimal(figure).scaleb(-2)} for {figure} %")
    if _NUMBER.fullmatch(figure) and figure != text:
        return Misread(f"write {figure} and nothing else")
    joined, point = both_readings(figure)
    if joined:
        return Misread(f"write {joined} or {point}, whichever is meant")
    if meant := with_point(figure):
        decimals = "." in meant and decimal_mark(figure) == ","
        return Misread(f"write {meant}, with {'a point' if decimals else 'no mark between the thousands'}")
    return Misread(f"write a number such as {'2' if limits.whole else '0.20' if limits.fraction else '12.50'}")


def listed(text: str) -> list[str]:
    return [word.strip() for word in text.split(";") if word.strip()]


def pair(text: str) -> tuple[str, str]:
    """What stands on either side of the first =."""
    name, _, value = text.partition("=")
    return name.strip(), value.strip()


def pieces(text: str) -> dict[str, str]:
    """``name=value`` pieces with ; between them; a piece without a value stands under its own words."""
    return dict(pair(piece) if "=" in piece else (piece, piece) for piece in listed(text))


def yes_no(text: str) -> bool | Misread:
    return _YES_NO.get(text.casefold(), Misread("write yes or no"))


def date(value: object, between: Sequence[str] = ()) -> str | Misread:
    """A date as year-month-day; ``between`` are its first and last day."""
    day = value.isoformat()[:10] if isinstance(value, datetime.date) else value
    if not isinstance(day, str) or not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", day) or not _date(*day.split("-")):
        return Misread(A_DATE)
    if between and not between[0] <= day <= between[1]:
        return Misread(f"write a day between {between[0]} and {between[1]}")
    return day


def in_order(
    low: float | None, likely: float | None, high: float | None, form: Shape, source: Source
) -> Range | Misread:
    """The range, if its three numbers make one; likely alone is a sure number."""
    known = {end: x for end, x in (("likely", likely), ("low", low), ("high", high)) if x is not None}
    if known.keys() == {"likely"}:
        known |= dict.fromkeys(("low", "high"), known["likely"])
    elif form == "uniform" and known.keys() == {"low", "high"}:
        known["likely"] = (known["low"] + known["high"]) / 2.0
    if lacking := [end for end in ("likely", "low", "high") if end not in known]:
        return Misread("give low, likely and high, or likely alone", "nothing", lacking[0])
    low, likely, high = known["low"], known["likely"], known["high"]
    found = f"low {plain(low)}, likely {plain(likely)}, high {plain(high)}"
    if not low <= likely <= high:
        return Misread("write them so that low <= likely <= high", found, "low" if low > likely else "high")
    # whether a lognormal starting at zero or later passes through all three
    fits = high - likely > likely - low > 0.0 and low * high - likely * likely >= -1e-12 * likely * likely
    if form == "lognormal" and low != high and not fits:
        write = "lognormal needs high - likely > likely - low > 0 and low * high >= likely * likely; or take pert"
        return Misread(write, found, "shape")
    return Range(low, likely, high, form, source)


# ---- cells as others write them; what may be read two ways is left alone ------------------------------
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
    return str(Decimal(number).scaleb(-2)) if percent else number


def date_text(cell: Cell) -> str | Misread:
    """A date as year-month-day; day.month.year has points (common practice, no source)."""
    if isinstance(cell, datetime.date):
        return cell.isoformat()
    text = text_of(cell)
    bad = Misread(A_DATE, shown(text))
    if isinstance(cell, int | float) and int(cell) in _SERIALS:
        day = ZERO_DAY + datetime.timedelta(days=int(cell))
        return replace(bad, write=f"format the column as dates: it may be {day.isoformat()}")
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
