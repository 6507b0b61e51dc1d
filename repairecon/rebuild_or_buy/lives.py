"""The life of the unit that a way puts into service: as fitted to lives the owner knows, and the failures to come of it.

The median life is one number of this unit and not drawn anew at each failure: everything is worked out for each of
some steps through its range and then averaged. Both clocks, years and hours, share the step.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import nan
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from repairecon.formulas import discount, lives, renewal
from repairecon.formulas.fits import fit_weibull
from repairecon.formulas.ranges import cell_means
from repairecon.records import ASSUMED, Assumed, Case, OwnLife, Range, RepaireconError, Source, Way, Years

Floats = NDArray[np.float64]
Clock = Literal["years", "hours"]
CLOCKS: tuple[Clock, ...] = ("years", "hours")
FILE = "lives.csv"
MOST_SHAPE = 10.0
MEDIANS = 8
STEPS = 400
MOST_STEPS = 51_200
KEPT_STEPS = 100
MOST_KEPT_STEPS = 3_200


# ---- the life of a unit ----
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


# ---- lives that the owner knows ----
@dataclass(frozen=True)
class LifeFit:
    """What the lives of one way tell by one clock.

    ``median_low`` to ``median_high`` and ``shape_low`` to ``shape_high`` are 90 % intervals. Where the lives
    cannot tell, ``refused`` says why and the figures are nan.
    """

    way: str
    clock: Clock
    failures: int
    survivors: int
    median: float = nan
    median_low: float = nan
    median_high: float = nan
    shape: float = nan
    shape_low: float = nan
    shape_high: float = nan
    refused: str = ""

    @property
    def median_range(self) -> Range:
        """The median life as an uncertain number."""
        note = f"fit of {self.failures} failures and {self.survivors} survivors"
        return Range(self.median_low, self.median, self.median_high, source=Source(FILE, note=note))


def with_own_lives(case: Case) -> tuple[Case, tuple[LifeFit, ...]]:
    """The case with the lives that could be fitted, and every fit by way and clock, refused ones too.

    A pair that had the life of the way that it puts in service keeps having it.
    """
    fits = tuple(fit for way in case.ways for fit in _fits(way.way, case.own_lives))
    fitted = {w.way: _lived(w, [f for f in fits if f.way == w.way and not f.refused]) for w in case.ways}
    ways = tuple(_followed(case, w, fitted) for w in case.ways)
    known = {fit.way for fit in fits if not fit.refused}
    assumed = tuple(a for a in (_without(a, known) for a in case.assumed) if a is not None)
    return replace(case, ways=ways, assumed=assumed), fits


def _without(assumed: Assumed, known: set[str]) -> Assumed | None:
    """An assumed figure with the ways whose lives still hang on it; None where it is used no more."""
    left = tuple(way for way in assumed.ways if way not in known)
    return replace(assumed, ways=left) if left or not assumed.ways else None


def _fits(way: str, lives: Sequence[OwnLife]) -> list[LifeFit]:
    fits = []
    for clock in CLOCKS:
        told = [(t, x.failed) for x in lives if x.way == way and (t := x.years if clock == "years" else x.hours)]
        if told:
            fits.append(_fit(way, clock, *zip(*told, strict=True)))
    return fits


def _fit(way: str, clock: Clock, ages: Sequence[float], failed: Sequence[bool]) -> LifeFit:
    failures = sum(failed)
    blank = LifeFit(way, clock, failures, len(failed) - failures)
    try:
        fit = fit_weibull(ages, failed)
    except ValueError as error:
        return replace(blank, refused=str(error))
    if fit.shape > MOST_SHAPE:
        return replace(blank, refused="the lives are too alike to tell a shape: give more of them")
    return replace(
        blank,
        median=fit.median,
        median_low=fit.median_low,
        median_high=fit.median_high,
        shape=fit.shape,
        shape_low=fit.shape_low,
        shape_high=fit.shape_high,
    )


def _lived(way: Way, fits: Sequence[LifeFit]) -> Way:
    """The way with its fitted life, by years where both clocks tell: a failure must not be counted twice.

    Known lives hold the wear kept and the early failures already. No life in years stays assumed beside one in
    hours that is known.
    """
    by_clock = {fit.clock: fit for fit in fits}
    years = by_clock.get("years")
    hours = None if years else by_clock.get("hours")
    if fits:
        way = replace(way, wear_kept=0.0, p_early=0.0)
    if hours:
        assumed = way.life_years is not None and way.life_years.source.file == ASSUMED
        way = replace(
            way,
            life_hours=hours.median_range,
            life_shape=hours.shape,
            life_years=None if assumed else way.life_years,
        )
    return replace(way, life_years=years.median_range, life_shape=years.shape) if years else way


def _followed(case: Case, way: Way, fitted: dict[str, Way]) -> Way:
    """A pair whose life was that of the way that it puts in service, with that way's fitted life."""
    if not way.bought:
        return fitted[way.way]
    bought = way.traits.in_service == "bought"
    base = next((w for w in case.ways if (w.way == way.bought if bought else w.kind == "rebuild")), None)
    if base is None or (way.life_years, way.life_hours) != (base.life_years, base.life_hours):
        return fitted[way.way]
    now = fitted[base.way]
    shape = now.life_shape if way.life_shape == base.life_shape else way.life_shape
    return replace(way, life_years=now.life_years, life_hours=now.life_hours, life_shape=shape)
