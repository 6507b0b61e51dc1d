"""Words of a file to numbers, ranges, yes or no: the value, or what to write instead."""

from __future__ import annotations

import datetime
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import cast

from repairecon.read.problems import clean
from repairecon.records import SHAPES, Range, Shape, Source

_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,4})?")
_FORM = re.compile(r"[+-]?[0-9]+(?:[.,][0-9]+)*|[+-]?[.,][0-9]+")
_DOUBTFUL = re.compile(r"[+-]?[1-9][0-9]{0,2}[.,][0-9]{3}")
_BETWEEN_THOUSANDS = re.compile(r"(?<=[0-9])[ '’\u00a0\u202f](?=[0-9]{3}(?![0-9]))")
_OTHER_MARKS = re.compile(r"[^0-9.,+\- '’\u00a0\u202f]+")
A_DATE = "write a date as year-month-day, such as 2026-03-31"
_TRUE, _FALSE = ("yes", "y", "true"), ("no", "n", "false")


@dataclass(frozen=True)
class Limits:
    """Between what a number must lie."""

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


def figure(value: float) -> int | float:
    """A number without a needless point."""
    return int(value) if value == int(value) and abs(value) < 1e15 else value


def plain(value: float) -> str:
    """A number as an owner would type it."""
    return str(figure(value))


def within(value: float, limits: Limits) -> float | Misread:
    """The number, if it keeps its limits."""
    if not math.isfinite(value):
        return Misread("write a number such as 12.50")
    if limits.fraction and 2.0 <= value <= 100.0:
        return Misread(f"give {of_percent(plain(value))} for {plain(value)} %")
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
    """A number as others write it, with a decimal point and nothing between thousands; empty if it makes no sense.

    ``mark`` is the decimal mark where the number itself does not give it away.
    """
    text = bare(text)
    mark = decimal_mark(text) or mark
    if not _FORM.fullmatch(text):
        return ""
    other = "," if mark == "." else "."
    whole, _, decimals = text.partition(mark) if mark else (text, "", "")
    if mark and (mark in decimals or other in decimals):
        return ""
    groups = whole.lstrip("+-").split(other)
    if len(groups) > 1 and not (1 <= len(groups[0]) <= 3 and all(len(g) == 3 for g in groups[1:])):
        return ""
    joined = ("-" if whole.startswith("-") else "") + ("".join(groups) or "0")
    return f"{joined}.{decimals}" if decimals else joined


def of_percent(text: str) -> str:
    """A percentage as a fraction."""
    return str(Decimal(text) * Decimal("0.01"))


def _advice(text: str, limits: Limits) -> str:
    figure = _OTHER_MARKS.sub("", text).strip() if len(text) <= 60 else ""
    if _NUMBER.fullmatch(figure) and "%" in text:
        return f"give {of_percent(figure)} for {figure} %"
    if _NUMBER.fullmatch(figure) and figure != text:
        return f"write {figure} and nothing else"
    joined, point = both_readings(figure)
    if joined:
        return f"write {joined} or {point}, whichever is meant"
    meant = with_point(figure)
    if meant:
        decimals = "." in meant and decimal_mark(figure) == ","
        return f"write {meant}, with {'a point' if decimals else 'no mark between the thousands'}"
    return f"write a number such as {'2' if limits.whole else '0.20' if limits.fraction else '12.50'}"


def number(text: str, limits: Limits) -> float | Misread:
    """The number that ``text`` writes with a decimal point."""
    if _NUMBER.fullmatch(text):
        return within(float(text), limits)
    return Misread(_advice(text, limits))


def toml_number(value: object, limits: Limits) -> float | Misread:
    """The number of a TOML value."""
    if isinstance(value, str):
        read = number(value.strip(), limits)
        return read if isinstance(read, Misread) else Misread(f"write {value.strip()} without quote marks")
    if isinstance(value, bool) or not isinstance(value, int | float):
        return Misread("write a number such as 12.50")
    try:
        return within(float(value), limits)
    except OverflowError:
        return Misread(f"write {plain(limits.high)} at most")


def toml_yes(value: object) -> bool | Misread:
    """The yes or no of a TOML value."""
    return value if isinstance(value, bool) else Misread("write true or false")


def toml_words(value: object) -> str | Misread:
    """The words of a TOML value, clean and on one line."""
    return " ".join(clean(value).split()) if isinstance(value, str) else Misread("write words in double quotes")


def listed(text: str) -> list[str]:
    """Words with ; between them."""
    return [word.strip() for word in text.split(";") if word.strip()]


def yes_no(text: str) -> bool | Misread:
    """Yes or no."""
    word = text.casefold()
    if word in _TRUE:
        return True
    return False if word in _FALSE else Misread("write yes or no")


def date(value: object, between: Sequence[str] = ()) -> str | Misread:
    """A date as year-month-day; ``between`` are its first and last day."""
    day = value.isoformat()[:10] if isinstance(value, datetime.date) else value
    if not isinstance(day, str) or not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", day):
        return Misread(A_DATE)
    try:
        datetime.date.fromisoformat(day)
    except ValueError:
        return Misread(A_DATE)
    if between and not between[0] <= day <= between[1]:
        return Misread(f"write a day between {between[0]} and {between[1]}")
    return day


def shape(text: str) -> Shape | Misread:
    """The shape of an uncertain number."""
    word = text.casefold() or "pert"
    return cast(Shape, word) if word in SHAPES else Misread(f"write one of: {', '.join(SHAPES)}")


def in_order(
    low: float | None, likely: float | None, high: float | None, form: Shape, source: Source
) -> Range | Misread:
    """The range, if its three numbers make one; likely alone is a sure number."""
    if low is None and high is None and likely is not None:
        return Range(likely, likely, likely, form, source)
    if likely is None and form == "uniform" and low is not None and high is not None:
        likely = (low + high) / 2.0
    if low is None or likely is None or high is None:
        which = "likely" if likely is None else "low" if low is None else "high"
        return Misread("give low, likely and high, or likely alone", "nothing", which)
    found = f"low {plain(low)}, likely {plain(likely)}, high {plain(high)}"
    if not low <= likely <= high:
        return Misread("write them so that low <= likely <= high", found, "low" if low > likely else "high")
    # whether a lognormal starting at zero or later passes through all three
    fits = high - likely > likely - low > 0.0 and low * high - likely * likely >= -1e-12 * likely * likely
    if form == "lognormal" and low != high and not fits:
        write = "lognormal needs high - likely > likely - low > 0 and low * high >= likely * likely; or take pert"
        return Misread(write, found, "shape")
    return Range(low, likely, high, form, source)
