"""The owner's words for numbers: the only place where they are rounded and written."""

from __future__ import annotations

from decimal import Decimal
from math import floor, isfinite, log10

from repairecon.records import Ordered, Range

_MEASURED = {"metre": "m", "litre": "l", "kilogram": "kg"}


def money(amount: float, currency: str, se: float = 0.0) -> str:
    """An amount of money, with no more digits than its standard error supports.
    >>> money(1240.4, "EUR")
    'EUR 1,240'
    >>> money(1240.4, "EUR", se=40.0)
    'EUR 1,200'
    """
    places = -max(0, floor(log10(3.0 * se))) if se > 1.0 / 3.0 else 0
    rounded = round(amount, places)
    sign = "-" if rounded < 0 else ""
    return f"{currency} {sign}{abs(rounded):,.0f}".strip()


def price(amount: float, currency: str) -> str:
    """A price as it stands in a list, small money shown below 100.
    >>> price(7.5, "GBP"), price(1240.0, "EUR")
    ('GBP 7.50', 'EUR 1,240')
    """
    return f"{currency} {amount:,.2f}".strip() if abs(amount) < 100 else money(amount, currency)


def chance_words(p: float) -> str:
    """A chance as so many in 100.
    >>> chance_words(0.13)
    '13 in 100'
    """
    if 0.0 < p < 0.005:
        return "under 1 in 100"
    if 0.995 < p < 1.0:
        return "over 99 in 100"
    return f"{100.0 * p:.0f} in 100"


def times_words(p: float) -> str:
    """A chance as how often in 100 times.
    >>> times_words(0.13), times_words(0.01)
    ('13 times in 100', '1 time in 100')
    """
    words = chance_words(p)
    return words.replace(" in", " time in" if words.split()[-3] == "1" else " times in")


def days_words(d: float) -> str:
    """A number of days.
    >>> days_words(12.2)
    '12 days'
    """
    whole = f"{d:,.0f}"
    return f"{whole} day" if whole == "1" else f"{whole} days"


def whole(x: float) -> str:
    """A number without decimals.
    >>> whole(12.4)
    '12'
    """
    return f"{x:,.0f}"


def hours_words(h: float) -> str:
    """Hours, to the half hour below ten.
    >>> hours_words(5.3), hours_words(13.8)
    ('5.5', '14')
    """
    return f"{round(2.0 * h) / 2.0:.3g}" if abs(h) < 10 else f"{h:,.0f}"


def number(x: float) -> str:
    """A number to three figures.
    >>> number(0.12345), number(13.8125), number(761.42)
    ('0.123', '13.8', '761')
    """
    if not isfinite(x):
        return "none"
    return f"{x:,.0f}" if abs(x) >= 100 else f"{x:.3g}"


def tenths(x: float) -> str:
    """A number to one decimal, none where it is whole.
    >>> tenths(-0.422), tenths(12.54), tenths(14.0), tenths(-0.04)
    ('-0.4', '12.5', '14', '0')
    """
    return f"{round(x, 1) + 0.0:,.1f}".removesuffix(".0")


def measured(x: float, unit: str) -> str:
    """A number with its unit, money with its currency in front.
    >>> measured(761.4, "EUR"), measured(13.8, "days"), measured(12.0, "EUR a day")
    ('EUR 761', '13.8 days', 'EUR 12 a day')
    """
    currency, _, rest = unit.partition(" ")
    if len(currency) == 3 and currency.isupper():
        return f"{currency} {number(x)} {rest}".strip()
    return f"{number(x)} {unit}".strip()


def span(r: Range) -> str:
    """A range as low to high, or the sure number.
    >>> span(Range(1.0, 2.0, 5.0))
    '1 to 5, likely 2'
    """
    return number(r.likely) if r.sure else f"{number(r.low)} to {number(r.high)}, likely {number(r.likely)}"


def quantity(many: float | Decimal, measure: str = "piece") -> str:
    """So many of something as counted, with its measure unless it is pieces.
    >>> quantity(Decimal("1.250"), "metre"), quantity(12.0)
    ('1.25 m', '12')
    """
    text = f"{Decimal(str(many)).normalize():f}"
    return f"{text} {_MEASURED[measure]}" if measure in _MEASURED else text


def cents(x: float) -> float:
    """Money to the cent, for what is written into a file.
    >>> cents(71.0916)
    71.09
    """
    return round(x, 2) + 0.0


def rate(x: float) -> str:
    """A rate in per cent, to three figures.
    >>> rate(0.025), rate(0.21)
    ('2.5 %', '21 %')
    """
    return f"{100.0 * x:.3g} %"


def share(x: float) -> str:
    """A fraction in per cent.
    >>> share(0.5)
    '50 %'
    """
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
        still = f", {quantity(line.open)} to come" if line.open and line.received else "" if line.open else ", here"
        landed = f"{price(float(line.cost_unit), home)} each landed"
        lines.append(f"  {place}  {line.part}{size}: {quantity(line.pieces)} at {landed}{still}{card}")
    return "\n".join(lines)
