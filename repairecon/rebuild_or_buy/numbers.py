"""The numbers of a case one by one: where each stands and how the expected totals follow it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from repairecon.rebuild_or_buy.model import Model
from repairecon.records import Range

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Number:
    """One number on which the choice may hang.

    ``totals(x)`` are the expected totals (W,) with the number's mean at x, ``at(x)`` with the number
    known to be x; both choose the buys after an ended rebuild anew. ``slopes`` of the totals now, None
    where they are not straight lines. ``most`` is a price at which another quote is taken, ``item``
    the part or way whose price it is, ``index`` its place among the inputs (-1: none of them).
    """

    name: str
    unit: str
    now: float
    low: float
    high: float
    source: str
    totals: Callable[[float], Floats]
    slopes: Floats | None
    most: float = np.inf
    item: str = ""
    index: int = -1
    range: Range | None = None
    known: Callable[[float], Floats] | None = None

    def at(self, x: float) -> Floats:
        """Expected totals with the number known to be x."""
        return self.totals(x) if self.known is None else self.known(x)


def choice_totals(model: Model, expected: Floats, hour: float, lost_day: float) -> Floats:
    """Expected totals (W,), ways not allowed at infinity."""
    total = expected[:, 0] + hour * expected[:, 1] + lost_day * expected[:, 2]
    return np.where(model.allowed, total, np.inf)


def lead_of(totals: Floats, best: int) -> float:
    """By how much the best way leads the next; below nought once another is cheaper."""
    others = np.delete(totals, best)
    return float(others.min() - totals[best]) if len(others) else np.inf


def numbers(model: Model) -> list[Number]:
    """Every uncertain or sure number of the case, then the worth of an own hour and of a lost day."""
    hour = model.own_hour
    choice, bent = model.choose(model.leaf_rows()), model.bent_inputs

    def held(factors: dict[int, float] | None) -> Floats:
        results = model.evaluate(model.leaf_rows(factors), choice)
        return np.asarray(np.array([np.array(r) for r in results]) @ model.world.chance)

    base = held(None)
    found = []
    for i, x in enumerate(model.inputs):
        if x.is_chance or x.mean <= 0 or x.key == "lost day":
            continue
        slopes = None
        if i not in bent:
            slopes = (held({i: 2.0}) - base) @ np.array([1.0, hour, model.lost_day]) / x.mean
        found.append(_input_number(model, i, hour, slopes))
    return [*found, *_worths(model, hour, base)]


def _input_number(model: Model, i: int, hour: float, slopes: Floats | None) -> Number:
    x = model.inputs[i]
    mean, r = x.mean, x.range

    def by_mean(value: float) -> Floats:
        return choice_totals(model, model.expected({i: value / mean}, hour), hour, model.lost_day)

    def known(value: float) -> Floats:
        return choice_totals(model, model.expected(None, hour, fixed={i: value}), hour, model.lost_day)

    return Number(
        x.label, x.unit, mean, r.low, r.high, str(r.source), by_mean, slopes,
        most=x.takeover, item=x.item, index=i, range=r, known=known if slopes is None else None,
    )  # fmt: skip


def _worths(model: Model, hour: float, base: Floats) -> tuple[Number, Number]:
    """What an own hour and a day out of service are worth: the owner's own figures."""
    home, day = model.case.terms.currency, model.case.terms.cost_lost_day

    def by_hour(v: float) -> Floats:
        return choice_totals(model, model.expected(None, v), v, model.lost_day)

    def by_day(v: float) -> Floats:
        return choice_totals(model, model.expected(None, hour, v), hour, v)

    return (
        Number("worth of an own hour", f"{home} an hour", hour, 0.0, 3.0 * hour, "", by_hour, base[:, 1]),
        Number(
            "cost of a day out of service", f"{home} a day", model.lost_day, day.low, day.high, str(day.source),
            by_day, base[:, 2], range=day,
        ),
    )  # fmt: skip
