"""What a spare aboard is worth over the years, by combination, and how that hangs on the days it saves."""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from repairecon.buying.inputs import mean_of
from repairecon.rebuild_or_buy.years import Ledger, WayYears

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Combination:
    """What having a spare (or a kit) aboard is worth over the horizon, before and after what it costs."""

    combination: str
    worth: float
    cost: float
    net: float
    p_works: float
    present_cost: float


def spare_combinations(ledger: Ledger, horizon: list[WayYears], kit_cost: float) -> list[Combination]:
    """None, a kit alone, and every pair of the case, against the cheapest way without a spare."""
    plain = [i for i, w in enumerate(ledger.case.ways) if not w.bought and ledger.allowed[i]]
    if not plain:
        return []
    base = min(plain, key=lambda i: horizon[i].present_cost)
    found = [Combination("no spare", 0.0, 0.0, 0.0, 0.0, horizon[base].present_cost)]
    like = ledger.years.like_units
    helps = ledger.years.p_away * ledger.years.p_kit_fits * ledger.away
    kit = horizon[base].failures_discounted * like * helps
    if kit_cost > 0:
        present = horizon[base].present_cost + kit_cost - kit
        found.append(Combination("kit alone", kit, kit_cost, kit - kit_cost, ledger.years.p_kit_fits, present))
    for i, way in enumerate(ledger.case.ways):
        if way.bought and ledger.allowed[i]:
            found.append(_pair(ledger, horizon, i, base, like))
    return found


def _pair(ledger: Ledger, horizon: list[WayYears], i: int, base: int, like: int) -> Combination:
    plain = ledger.plain(i)
    saved_each = ledger.p_spare(i) * (ledger.unspared(plain) - ledger.swapped(plain))
    worth = horizon[i].failures_discounted * like * saved_each
    without = float(ledger.now[i]) - ledger.resale(i) + horizon[i].failures_discounted * ledger.unspared(plain)
    cost = without - horizon[base].present_cost
    return Combination(
        ledger.ways[i], worth, cost, worth - cost, ledger.p_spare(i), horizon[base].present_cost + cost - worth
    )


def worth_by_days(ledger: Ledger, horizon: list[WayYears], steps: int = 25) -> dict[str, tuple[Floats, Floats]]:
    """Net worth of each pair's spare against the days more that each failure away takes."""
    now = mean_of(ledger.years.days_away)
    days = np.linspace(0.0, max(2.0 * now, 10.0), steps)
    nets = [{c.combination: c.net for c in _with_days(ledger, horizon, float(d) - now)} for d in days]
    pairs = [w.way for w in ledger.case.ways if w.bought and w.way in nets[0]]
    return {name: (days, np.array([net[name] for net in nets])) for name in pairs}


def _with_days(ledger: Ledger, horizon: list[WayYears], more: float) -> list[Combination]:
    """The combinations if a failure away took so many more days."""
    other = copy(ledger)
    other.away = ledger.away + more * ledger.day
    rows = [
        replace(r, present_cost=r.present_cost + r.failures_discounted * (other.failure(i) - r.cost_failure))
        for i, r in enumerate(horizon)
    ]
    return spare_combinations(other, rows, 0.0)
