"""The life of the unit that a way puts into service, and the failures to come of it.

The median life is one number of this unit and not drawn anew at each failure: everything is reckoned for each of
some steps through its range and then averaged.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from repairecon.formulas import discount, lives, renewal
from repairecon.formulas.ranges import cell_means
from repairecon.records import Case, Range, RepaireconError, Way, Years

Floats = NDArray[np.float64]
MEDIANS = 8
STEPS = 400
MOST_STEPS = 51_200
KEPT_STEPS = 100
MOST_KEPT_STEPS = 3_200


@dataclass(frozen=True)
class Clocks:
    """Characteristic lives by step of the median's range (S,), equal weights, with the age kept at the start.

    Each rebuild to come leaves ``wear_kept`` of the wear since the one before.
    """

    life_years: Floats
    life_hours: Floats
    shape: float
    age_years: float
    p_early: float
    wear_kept: float = 0.0

    def cdf(self, t: Floats, hours_a_year: float) -> Floats:
        """Chance of failing by each time t (T, S)."""
        alive = lives.two_clock_survival(
            t[:, None], hours_a_year, self.life_hours, self.shape, self.life_years, self.shape, self.age_years
        )
        return np.asarray(1.0 - lives.early_failure_survival(t[:, None], alive, self.p_early))

    def life(self, hours_a_year: float) -> Floats:
        """Characteristic lives in years by both clocks."""
        return renewal.one_clock(self.life_years, self.life_hours, hours_a_year, self.shape)


def _characteristic(r: Range | None, shape: float, factor: float) -> Floats:
    if r is None:
        return np.full(MEDIANS, np.inf)
    steps = cell_means(np.linspace(0.0, 1.0, MEDIANS + 1), r.low, r.likely, r.high, r.shape)
    return np.asarray(lives.life_from_median(steps * factor, shape), dtype=float)


def clocks_of(case: Case, way: Way, factor: float = 1.0) -> Clocks:
    """The lives of the unit that a way puts into service; ``factor`` stretches its median."""
    bought = case.way(way.bought) if way.bought and way.traits.in_service == "bought" else way
    shape = bought.life_shape
    rebuilt = way.traits.in_service == "rebuilt"
    age = bought.wear_kept * (case.unit.age_years or 0.0) if rebuilt else 0.0
    return Clocks(
        _characteristic(bought.life_years, shape, factor),
        _characteristic(bought.life_hours, shape, factor),
        shape,
        age,
        bought.p_early,
        bought.wear_kept if rebuilt else 0.0,
    )


TOO_SHORT = (
    "a life is far too short for the years looked ahead: check life_years, life_hours, wear_kept and hours_a_year"
)


def fine_cdf(clocks: Clocks, years: Years) -> Floats:
    """Chance of failing by each half step of the horizon, in steps short enough for the shortest life."""
    steps = STEPS
    while True:
        cdf = clocks.cdf(renewal.half_steps(years.horizon_years, steps), years.hours_a_year)
        first = float(np.max(cdf[1] - cdf[0]))
        if first <= 0.1 or (steps >= MOST_STEPS and first <= 0.3):
            return cdf
        if steps >= MOST_STEPS:
            raise RepaireconError(TOO_SHORT)
        steps *= 2


def kept_steps(clocks: Clocks, years: Years) -> int:
    """Steps short enough for units whose wear adds up from rebuild to rebuild."""
    steps, h, life = KEPT_STEPS, years.horizon_years, clocks.life(years.hours_a_year)
    ages = clocks.age_years + np.array([0.0, clocks.wear_kept * h])
    while True:
        fails = lives.cdf(h / (4.0 * steps), life[:, None], clocks.shape, ages)
        if (1.0 - clocks.p_early) * float(fails.max()) <= 0.1:
            return steps
        if steps >= MOST_KEPT_STEPS:
            raise RepaireconError(TOO_SHORT)
        steps *= 2


def can_follow(clocks: Clocks, years: Years) -> bool:
    """Whether the steps can follow such lives."""
    try:
        kept_steps(clocks, years) if clocks.wear_kept > 0 else fine_cdf(clocks, years)
    except RepaireconError:
        return False
    return True


def counts(clocks: Clocks, years: Years) -> tuple[Floats, Floats]:
    """Expected failures by the end of each step (steps + 1, S), and the chance of one away from base (S,)."""
    if clocks.wear_kept > 0:
        all_of_them, at_home = _rebuilds(clocks, years, [1.0, 1.0 - years.p_away])
        return all_of_them, years.p_away * at_home[-1]
    cdf = fine_cdf(clocks, years)
    return renewal.renewals(cdf, cdf), renewal.p_marked_failure(cdf, cdf, years.p_away)


def _rebuilds(clocks: Clocks, years: Years, p_goes_on: list[float]) -> Floats:
    return renewal.rebuilds(
        years.horizon_years,
        clocks.life(years.hours_a_year),
        clocks.shape,
        clocks.age_years,
        clocks.wear_kept,
        clocks.p_early,
        p_goes_on,
        kept_steps(clocks, years),
    )


def discounted_failures(clocks: Clocks, years: Years) -> float:
    """Failures over a horizon above 0, discounted, and nothing else of them."""
    rate = float(discount.real_rate(years.discount_rate, years.inflation_rate))
    if clocks.wear_kept > 0:
        count = _rebuilds(clocks, years, [1.0])[0]
    else:
        cdf = fine_cdf(clocks, years)
        count = renewal.renewals(cdf, cdf)
    return float(np.mean(renewal.discounted_renewals(count, years.horizon_years, rate)))


@dataclass(frozen=True)
class Failures:
    """Expected, discounted, chance of one away; averages over the steps of the median."""

    expected: float
    discounted: float
    p_away: float


def failures(clocks: Clocks, years: Years) -> Failures:
    """Failures over the horizon."""
    if years.horizon_years == 0:
        return Failures(0.0, 0.0, 0.0)
    rate = float(discount.real_rate(years.discount_rate, years.inflation_rate))
    count, away = counts(clocks, years)
    discounted = renewal.discounted_renewals(count, years.horizon_years, rate)
    return Failures(float(np.mean(count[-1])), float(np.mean(discounted)), float(np.mean(away)))


def median_life(clocks: Clocks, years: Years) -> float:
    """Years by which half of such units fail, over the steps of the median; inf if they never do."""
    from scipy import optimize

    def left(t: float) -> float:
        return float(clocks.cdf(np.array([t]), years.hours_a_year).mean()) - 0.5

    ends = clocks.life_years[np.isfinite(clocks.life_years)]
    if years.hours_a_year > 0:
        ends = np.concatenate([ends, clocks.life_hours[np.isfinite(clocks.life_hours)] / years.hours_a_year])
    if left(0.0) >= 0 or not len(ends):
        return 0.0 if left(0.0) >= 0 else np.inf
    high = float(ends.max())
    while left(high) < 0:
        high *= 2.0
    return float(optimize.brentq(left, 0.0, high))
