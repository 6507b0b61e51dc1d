"""Quantities, money, hours, dates and words between an owner's hand and the book's whole numbers and plain text."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal, InvalidOperation
from typing import Any, overload

from repairecon.book import schema
from repairecon.read import values
from repairecon.read.problems import Problems, clean, shown
from repairecon.read.values import Limits, Misread
from repairecon.records import BookError

Amount = Decimal | int | float | str
When = datetime.date | str | None
LONGEST_TEXT = 2_000


@dataclass(frozen=True)
class Scale:
    """How many digits after the point the book keeps of a kind of number, and how large it may be."""

    digits: int
    largest: int
    rounds: bool = False
    """True where further digits are left out, to the nearest (the even one of two); else they are refused."""


QUANTITY = Scale(3, schema.LARGEST_QUANTITY)
MONEY = Scale(6, 1_000_000_000, rounds=True)
RATE = Scale(9, 1_000_000_000, rounds=True)
HOURS = Scale(3, 1_000_000, rounds=True)
COUNT = Scale(0, 1_000_000_000)
SCALES = {
    "minimum": QUANTITY, "quantity": QUANTITY, "pieces": QUANTITY, "received": QUANTITY, "hours": HOURS, "rate": RATE,
    **dict.fromkeys(("cost_unit", "quoted_unit", "quoted_pack", "carriage_unit", "duty_unit"), MONEY),
}  # fmt: skip
"""How the columns of the book are kept that hold a number of the owner's."""


def scaled(value: Amount, scale: Scale) -> int | Misread:
    """The whole number that the book keeps for an amount."""
    try:
        exact = Decimal(str(value).strip()) if not isinstance(value, bool) else Decimal("NaN")
    except InvalidOperation:
        exact = Decimal("NaN")
    if not exact.is_finite():
        return Misread("write a number such as 2 or 12.50")
    if exact < 0:
        return Misread("write not less than 0")
    if exact > scale.largest:
        return Misread(f"write {scale.largest} at most")
    moved = exact.scaleb(scale.digits)
    whole = moved.to_integral_value(ROUND_HALF_EVEN)
    if whole != moved and not scale.rounds:
        return Misread(f"write no more than {scale.digits} digits after the point")
    return int(whole)


def typed(text: str, scale: Scale) -> int | Misread:
    """The whole number for an amount in a cell, whatever a spreadsheet made of it."""
    read = values.number(text, Limits(0.0, scale.largest))
    return read if isinstance(read, Misread) else scaled(text, scale)


def kept(value: Amount | None, scale: Scale, what: str) -> int | None:
    """The whole number for an amount, None where nothing is said; a wrong one is refused in a sentence."""
    if value is None or value == "":
        return None
    found = scaled(value, scale)
    if isinstance(found, Misread):
        raise BookError(f"{what}: found {shown(str(value))}; {found.write}")
    return found


def pieces(value: Amount, measure: str, what: str = "quantity", above: bool = True) -> int:
    """A quantity in thousandths; pieces come whole."""
    found = kept(value, QUANTITY, what)
    if found is None:
        raise BookError(f"{what}: found nothing; write a number such as 2 or 12.50")
    if above and not found:
        raise BookError(f"{what}: found {shown(str(value))}; write more than 0")
    if measure == "piece" and found % 1000:
        raise BookError(f"{what}: found {shown(str(value))}; these come in whole pieces: write a whole number")
    return found


@overload
def amount(found: int, scale: Scale = QUANTITY) -> Decimal: ...
@overload
def amount(found: int | None, scale: Scale = QUANTITY) -> Decimal | None: ...
def amount(found: int | None, scale: Scale = QUANTITY) -> Decimal | None:
    """The number that the book means by its whole number, with no needless zeros; None where nothing is known."""
    return None if found is None else Decimal(found) / 10**scale.digits


def as_said(columns: Iterable[str], row: Iterable[Any]) -> dict[str, Any]:
    """A row of the book by column, its whole numbers as the numbers that they mean."""
    cells = zip(columns, row, strict=True)
    return {name: amount(value, SCALES[name]) if name in SCALES else value for name, value in cells}


def words(text: str, what: str = "text", required: bool = False) -> str:
    """Free words on one line, nothing in them that a terminal obeys."""
    line = " ".join(clean(str(text)).split()).encode("utf-8", "replace").decode("utf-8")
    if len(line) > LONGEST_TEXT:
        raise BookError(f"{what}: {len(line)} characters; write {LONGEST_TEXT} at most")
    if required and not line:
        raise BookError(f"{what}: found nothing; write a name")
    return line


def choice(value: str, options: tuple[str, ...], what: str) -> str:
    """One of some words, whatever its case."""
    word = str(value).strip()
    found = next((o for o in options if o.casefold() == word.casefold()), None)
    if found is None:
        raise BookError(f"{what}: found {shown(word)}; {Problems().advice(word, [o for o in options if o])}")
    return found


def day(value: When, today: datetime.date, what: str = "date") -> str:
    """A date as year-month-day, today by default; what lies ahead is a slip of the pen."""
    if value is None or value == "":
        return today.isoformat()
    found = values.date(value)
    if isinstance(found, Misread):
        raise BookError(f"{what}: found {shown(str(value))}; {found.write}")
    if found > (today + datetime.timedelta(days=1)).isoformat():
        raise BookError(f"{what}: found {found}, which is still to come; write the day on which it happened")
    return found


def month_or_day(value: datetime.date | str, what: str = "cure date") -> str:
    """A date, or nothing; the quarter that is moulded or printed on rubber ("2Q24") is its first day."""
    if isinstance(value, str):
        text = value.strip().upper()
        if not text:
            return ""
        if len(text) == 4 and text[1] == "Q" and text[0] in "1234" and text[2:].isdecimal():
            value = datetime.date(2000 + int(text[2:]), 3 * int(text[0]) - 2, 1)
    found = values.date(value)
    if isinstance(found, Misread):
        raise BookError(f"{what}: found {shown(str(value))}; write year-month-day, or a quarter such as 2Q24")
    return found


def now() -> str:
    """This moment, UTC."""
    return datetime.datetime.now(datetime.UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
