"""The years after the job in straightforward vectorised numpy: whole arrays of all draws, nothing clever.

Written for the lived case from its records: every later failure is answered by the same way at a drawn total of it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from plain_numpy import PlainNumpy

from repairecon.rebuild_or_buy.outcomes import Outcomes
from repairecon.rebuild_or_buy.years import Ledger
from repairecon.records import Case

Array = NDArray[np.float64]


def lives(plain: PlainNumpy, case: Case, way: str, step: NDArray[np.intp]) -> tuple[Array, Array]:
    """Scale of the two clocks of a way's unit [years, hours]; the median by eighths of its range."""
    w, ends = case.way(way), np.linspace(0, 1, 9)
    found = []
    for r in (w.life_years, w.life_hours):
        if r is None:
            found.append(np.full(len(step), np.inf))
            continue
        a = 1 + 4 * (r.likely - r.low) / (r.high - r.low)
        x = np.sort(r.low + (r.high - r.low) * plain.rng.beta(a, 6 - a, 40_000))
        parts = [p.mean() for p in np.array_split(x, len(ends) - 1)]
        found.append(np.array(parts)[step] / np.log(2) ** (1 / w.life_shape))
    return found[0], found[1]


def later(plain: PlainNumpy, ledger: Ledger, outcomes: Outcomes, i: int) -> Array:
    """Discounted cost of a way's later failures in each draw, what a bought spare fetches taken off."""
    case, years, n, rng = plain.case, ledger.years, plain.n, plain.rng
    way = case.ways[i]
    served = way.bought if way.bought and way.traits.in_service == "bought" else way.way
    own = case.way(served)
    years_scale, hours_scale = lives(plain, case, served, rng.integers(0, 8, n))
    age = own.wear_kept * (case.unit.age_years or 0.0) if way.traits.in_service == "rebuilt" else 0.0
    answered = ledger.plain(i)
    t, cost = np.zeros(n), np.zeros(n)
    while True:
        life = (
            years_scale * ((age / years_scale) ** own.life_shape + rng.standard_exponential(n)) ** (1 / own.life_shape)
            - age
        )
        if np.isfinite(hours_scale).all():
            run = age * years.hours_a_year
            hours = (
                hours_scale
                * ((run / hours_scale) ** own.life_shape + rng.standard_exponential(n)) ** (1 / own.life_shape)
                - run
            )
            life = np.minimum(life, hours / years.hours_a_year)
        t = t + np.where(rng.random(n) < own.p_early, 0.0, life)
        here = t <= years.horizon_years
        if not here.any():
            return cost - ledger.resale(i)
        each = outcomes.tallies[answered][3].quantile(rng.random(n))
        away = rng.random(n) < years.p_away
        each = each + away * (plain.pert(years.cost_away) + plain.pert(years.days_away) * ledger.day)
        if way.bought:
            each = np.where(rng.random(n) < ledger.p_spare[i], ledger.swapped[answered], each)
        cost = cost + np.where(here, each * (1 + ledger.rate) ** -t, 0.0)


def cheapest_over_years(case: Case, ledger: Ledger, outcomes: Outcomes, draws: int, seed: int) -> Array:
    """Share of draws in which each way has the least discounted cost."""
    plain = PlainNumpy(case, draws, seed)
    total = plain.totals() + np.array([later(plain, ledger, outcomes, i) for i in range(len(case.ways))])
    return np.bincount(total.argmin(axis=0), minlength=len(total)) / draws
