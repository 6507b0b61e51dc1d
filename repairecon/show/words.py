"""The owner's words for numbers: the only place where they are rounded and written."""

from __future__ import annotations

from decimal import Decimal
from math import floor, isfinite, log10

from repairecon.records import Ordered, Range

_MEASURED = {"metre": "m", "litre": "l", "kilogram": "kg"}


def money(amount: float, currency: str, se: float = 0.0) -> str:
    places = -max(0, floor(log10(3.0 * se))) if se > 1.0 / 3.0 else 0
    rounded = round(amount, places)
    sign = "-" if rounded < 0 else ""
    return f"{currency} {sign}{abs(rounded):,.0f}".strip()


def price(amount: float, currency: str) -> str:
    """A price as it stands in a list, small money shown below 100."""
    return f"{currency} {amount:z,.2f}".strip() if abs(amount) < 100 else money(amount, currency)


def chance_words(p: float) -> str:
    """A chance as so many in 100."""
    if 0.0 < p < 0.005:
        return "under 1 in 100"
    if 0.995 < p < 1.0:
        return "over 99 in 100"
    return f"{100.0 * p:.0f} in 100"


def whole(x: float) -> str:
    return f"{x:,.0f}"


def days_words(d: float) -> str:
    return f"{whole(d)} day{'' if whole(d) == '1' else 's'}"


def hours_words(h: float) -> str:
    """Hours, to the half hour below ten."""
    return f"{round(2.0 * h) / 2.0:.3g}" if abs(h) < 10 else whole(h)


def number(x: float) -> str:
    """A number to three figures."""
    if not isfinite(x):
        return "none"
    return whole(x) if abs(x) >= 100 else f"{x:.3g}"


def tenths(x: float) -> str:
    """A number to one decimal, none where it is whole."""
    return f"{round(x, 1) + 0.0:,.1f}".removesuffix(".0")


def measured(x: float, unit: str) -> str:
    """A number with its unit, money with its currency in front."""
    currency, _, rest = unit.partition(" ")
    in_money = len(currency) == 3 and currency.isupper()
    return (f"{currency} {number(x)} {rest}" if in_money else f"{number(x)} {unit}").strip()


def span(r: Range) -> str:
    """A range as low to high, or the sure number."""
    return number(r.likely) if r.sure else f"{number(r.low)} to {number(r.high)}, likely {number(r.likely)}"


def quantity(many: float | Decimal, measure: str = "piece") -> str:
    """So many of something as counted, with its measure unless it is pieces."""
    text = f"{Decimal(str(many)).normalize():f}"
    return f"{text} {_MEASURED[measure]}" if measure in _MEASURED else text


def cents(x: float) -> float:
    """Money to the cent, for what is written into a file."""
    return round(x, 2) + 0.0


def rate(x: float) -> str:
    return f"{100.0 * x:.3g} %"


def share(x: float) -> str:
    return f"{100.0 * x:.0f} %"


def order_words(o: Ordered, home: str, today: str = "") -> str:
    """An order with its lines; ``home`` is home money, ``today`` tells whether what is open is late."""
    late = o.late_days(today) if today else 0
    when = f", expected {o.expected_on}" if o.expected_on and o.open else ""
    when += f": {days_words(late)} late" if late > 0 else ""
    number = f"order {o.number}, " if o.number else ""
    lines = [f"{number}{o.on_date}, {o.supplier}, for {o.job}{when}"]
    for place, line in enumerate(o.lines, 1):
        size = f" ({line.designation})" if line.designation else ""
        card = f", {line.item} in the book" if line.item and line.item != line.part else ""
        still = "" if line.open else ", here"
        if line.open and line.received:
            still = f", {quantity(line.open)} to come"
        landed = f"{price(float(line.cost_unit), home)} each landed"
        lines.append(f"  {place}  {line.part}{size}: {quantity(line.pieces)} at {landed}{still}{card}")
    return "\n".join(lines)
