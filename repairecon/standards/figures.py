"""Sizes as exact decimals, so that 2.62 - 2.5 is 0.12 and no figure shows digits that no table printed."""

from __future__ import annotations

import math
import re
from decimal import Context, Decimal

INCH = Decimal("25.4")
NUMBER = r"\d+(?:\.\d+)?"
_SHOWN = Context(prec=2)
_PI_H = Context(prec=4)
_FRACTION = re.compile(r"(?:(\d+)[ -]+)?(\d+)/(\d+)")


def exact(value: float | str) -> Decimal:
    """A number as it is printed."""
    return Decimal(str(value))


def text(value: Decimal | float) -> str:
    """A size as it is written, without spare noughts."""
    number = exact(value) if isinstance(value, float) else Decimal(value)
    plain = str(int(number)) if "E" in str(number) else str(number)
    return plain.rstrip("0").rstrip(".") if "." in plain else plain


def share(part: Decimal, whole: Decimal) -> str:
    """A part of a whole in percent, two digits."""
    return "?" if not whole else text(_SHOWN.divide(abs(part) * 100, whole))


def around(height: Decimal) -> Decimal:
    """How much longer a closed belt is outside than inside: 2 x pi x its height."""
    return _PI_H.multiply(Decimal(2 * math.pi), height)


def inches(words: str) -> Decimal | None:
    """A number of inches: 1.25, 1 1/4, 1-1/4 or 3/16."""
    words = f"0{words}" if words.startswith(".") else words
    whole = _FRACTION.fullmatch(words)
    if whole:
        ones, top, bottom = whole.groups()
        return None if not int(bottom) else Decimal(ones or 0) + Decimal(top) / Decimal(bottom)
    return Decimal(words) if re.fullmatch(NUMBER, words) else None
