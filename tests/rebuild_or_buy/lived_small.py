"""Small cases with lives and years, whose costs over the years can be added up by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
from reference_case import way
from scipy import stats
from small_case import small, sure

from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.tree import grow
from repairecon.rebuild_or_buy.years import Combination, Ledger, over_the_years, spare_combinations
from repairecon.records import Case, Range, Way, Years

# by hand, small_case with casings that are all sound: rebuild 100 and 15 days at 1; new 500 and 3 days
TOTAL = {"rebuild": 115.0, "new": 503.0}
UNDELAYED = {"rebuild": 100.0, "new": 500.0}
YEARS = Years(
    horizon_years=10.0,
    p_away=0.25,
    cost_away=sure(200),
    days_away=sure(4),
    swap_hours=sure(2),
    shelf_life_years=10.0,
    turned_every_years=10.0,
    p_kit_fits=0.5,
)
AWAY = 0.25 * (200 + 4 * 1)
WORKS = 1.0 - math.exp(-1.0)  # mean of exp(-t / 10) over 0..10


def lives(*, shape: float = 1.0, **changes: object) -> tuple[Way, ...]:
    """Ways of the small case with a sure median of 5 years, and both pairs."""
    both = (
        *small().ways,
        way("buy and rebuild", "buy and rebuild", bought="new", old_unit="spare"),
        way("rebuild and carry", "rebuild and spare", bought="new"),
    )
    return tuple(replace(w, life_years=sure(5), life_shape=shape, **changes) for w in both)  # type: ignore[arg-type]


def ledger_of(case: Case, **allowed: bool) -> Ledger:
    model = Model(case, grow(case), allowed)
    now = model.expected() @ np.array([1.0, model.own_hour, model.lost_day])
    return Ledger(model, case.years, now)


def cracked(share: float, years: Years = YEARS, **changes: object) -> Case:
    """The small case with so many casings cracked, which ends their rebuild."""
    case = small(ways=lives(**changes), years=years)  # type: ignore[arg-type]
    chances = zip(case.branches, (1.0 - share, share), strict=True)
    return replace(case, branches=tuple(replace(b, chance=p) for b, p in chances))


def simple(years: Years = YEARS, **changes: object) -> Ledger:
    return ledger_of(cracked(0.0, years, **changes))


def rows(ledger: Ledger) -> dict[str, Any]:
    return {r.way: r for r in over_the_years(ledger).itertuples()}


def combinations(ledger: Ledger, kit: float = 100.0) -> dict[str, Combination]:
    return {c.combination: c for c in spare_combinations(ledger, kit)}


def again(ledger: Ledger, **years: object) -> Ledger:
    """The same model with other years."""
    return Ledger(ledger.fresh, replace(ledger.years, **years), ledger.now)  # type: ignore[arg-type]


def pert_quantile(p, r: Range):
    wide = r.high - r.low
    return r.low + wide * stats.beta.ppf(p, 1 + 4 * (r.likely - r.low) / wide, 1 + 4 * (r.high - r.likely) / wide)
