"""The life of the unit that a way puts into service, fitted to lives the owner knows, and the failures to come of it.

The median life is one number of this unit and not drawn anew at each failure: everything is worked out for each of
some steps through its range and then averaged. Both clocks, years and hours, share the step.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from math import log, nan
from typing import Literal

import numpy as np

from repairecon.formulas import lives, ranges, renewal
from repairecon.formulas.lives import fit_weibull
from repairecon.formulas.ranges import cell_means
from repairecon.rebuild_or_buy.tree import Floats
from repairecon.records import ASSUMED, Assumed, Case, OwnLife, Range, RepaireconError, Source, Way, Years

Clock = Literal["years", "hours"]
CLOCKS: tuple[Clock, ...] = ("years", "hours")
FILE = "lives.csv"
Z_90, Z_95 = 1.2815515655446004, 1.6448536269514722
LN_2 = log(2.0)
LONGER = 1.02
INNER = 0.62
MOST_SHAPE = 10.0
MONTHS = 12.0
MEDIANS = 16
"""Values of the median that stand for its range: expected failures are right to 0.1 % for wide ranges too."""
ENDS = 1e-4
"""Chance at either end of the range that is not looked into."""
DRAWN_MEDIANS = 64
WARRANTY_STEPS, FITTED_STEPS = 12, 100
STEPS = 400
MOST_STEPS = 51_200
KEPT_STEPS = 100
MOST_KEPT_STEPS = 3_200


# ---- the life of a unit ----
@dataclass(frozen=True)
class Clocks:
    """Characteristic lives for values through the median's range (S,), with their weights and the age at the start.

    Each rebuild to come leaves ``wear_kept`` of the wear since the one before.
    """

    life_years: Floats
    life_hours: Floats
    shape: float
    age_years: float
    p_early: float
    wear_kept: float
    weights: Floats

    def mean(self, values: Floats) -> float:
        """Mean over the range of the median, which is the last axis."""
        return float(values @ self.weights)

    def cdf(self, t: Floats, hours_a_year: float, age: Floats | float | None = None) -> Floats:
        """Chance of failing by each time t (T, S), from the age at the start or from another one."""
        age = self.age_years if age is None else age
        fails = lives.cdf(t[:, None], self.life(hours_a_year), self.shape, age)
        return np.asarray(self.p_early + (1.0 - self.p_early) * fails)

    def life(self, hours_a_year: float) -> Floats:
        """Characteristic lives in years by both clocks."""
        return lives.one_clock(self.life_years, self.life_hours, hours_a_year, self.shape)


@cache
def _nodes() -> tuple[Floats, Floats]:
    """Chances through a range and their weights; flat ends tame quantiles that start as a broken power."""
    t, weight = np.polynomial.legendre.leggauss(MEDIANS)
    t = (t + 1.0) / 2.0
    p = t**3 * (10.0 - 15.0 * t + 6.0 * t * t)
    weight = weight / 2.0 * 30.0 * (t * (1.0 - t)) ** 2
    return np.clip(p, ENDS, 1.0 - ENDS), weight / weight.sum()


def _characteristic(r: Range | None, shape: float, factor: float, drawn: bool) -> Floats:
    """Both clocks take the same chance of their ranges: what makes one last makes the other last too."""
    if r is None:
        return np.full(DRAWN_MEDIANS if drawn else MEDIANS, np.inf)
    if drawn:
        medians = cell_means(np.linspace(0.0, 1.0, DRAWN_MEDIANS + 1), r.low, r.likely, r.high, r.shape)
    else:
        medians = ranges.quantile(_nodes()[0], r.low, r.likely, r.high, r.shape)
    return np.asarray(medians * factor / LN_2 ** (1.0 / shape), dtype=float)


def life_is_stated(way: Way) -> bool:
    """Whether the owner says how long the unit of a way lasts; such a life is not cut by the age of the old unit."""
    stated = (r for r in (way.life_years, way.life_hours) if r is not None)
    return any(r.source.file != ASSUMED for r in stated)


def in_service(case: Case, way: Way) -> Way:
    """The way whose unit a way puts into service: of a pair that buys for service the buy."""
    return case.way(way.bought) if way.bought and way.traits.in_service == "bought" else way


def clocks_of(case: Case, way: Way, factor: float = 1.0, drawn: bool = False) -> Clocks:
    """The lives of the unit that a way puts into service; ``factor`` stretches its median, ``drawn`` gives equal
    steps of chance to draw from."""
    unit = in_service(case, way)
    shape, rebuilt = unit.life_shape, way.traits.in_service == "rebuilt"
    kept = unit.wear_kept if rebuilt else 0.0
    return Clocks(
        life_years=_characteristic(unit.life_years, shape, factor, drawn),
        life_hours=_characteristic(unit.life_hours, shape, factor, drawn),
        shape=shape,
        age_years=0.0 if life_is_stated(unit) else kept * (case.unit.age_years or 0.0),
        p_early=unit.p_early,
        wear_kept=kept,
        weights=np.full(DRAWN_MEDIANS, 1.0 / DRAWN_MEDIANS) if drawn else _nodes()[1],
    )


TOO_SHORT = (
    "a life is far too short for the years looked ahead: check life_years, life_hours, wear_kept and hours_a_year"
)


def real_rate(years: Years) -> float:
    """Discount rate that goes with today's prices [1/year]; below 0 where prices rise faster than money earns."""
    return (years.discount_rate - years.inflation_rate) / (1.0 + years.inflation_rate)


def _steps(least: int, most: int, ends: Callable[[int], float], at_worst: float = 0.1) -> int:
    """Steps so short that no more than a tenth of the units ends within one; of the most, as many as ``at_worst``."""
    while (share := ends(least)) > 0.1:
        if least >= most and share > at_worst:
            raise RepaireconError(TOO_SHORT)
        if least >= most:
            break
        least *= 2
    return least


def counts(clocks: Clocks, years: Years, p_goes_on: Sequence[float] = (1.0,)) -> Sequence[Floats]:
    """Expected failures by the end of each step (steps + 1, S), by chance that a failure is followed by another."""
    h, hours = years.horizon_years, years.hours_a_year
    if clocks.wear_kept > 0:
        life, ages = clocks.life(hours), clocks.age_years + np.array([0.0, clocks.wear_kept * h])

        def ends(steps: int) -> float:
            fails = lives.cdf(h / (4.0 * steps), life[:, None], clocks.shape, ages)
            return (1.0 - clocks.p_early) * float(fails.max())

        steps = _steps(KEPT_STEPS, MOST_KEPT_STEPS, ends)
        shape, age, kept, early = clocks.shape, clocks.age_years, clocks.wear_kept, clocks.p_early
        return list(renewal.rebuilds(h, life, shape, age, kept, early, p_goes_on, steps))

    def first(steps: int) -> float:
        at_once, soon = clocks.cdf(np.array([0.0, h / (2 * steps)]), hours)
        return float(np.max(soon - at_once))

    steps = _steps(STEPS, MOST_STEPS, first, 0.3)
    cdf = clocks.cdf(np.linspace(0.0, h, 2 * steps + 1), hours)
    return [renewal.renewals(cdf, p) for p in p_goes_on]


def discounted_failures(clocks: Clocks, years: Years) -> float:
    """Failures over a horizon above 0, discounted, and nothing else of them."""
    return _discounted(clocks, years, counts(clocks, years)[0])


def _discounted(clocks: Clocks, years: Years, count: Floats) -> float:
    return clocks.mean(renewal.discounted_renewals(count, years.horizon_years, real_rate(years)))


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
    count, at_home = counts(clocks, years, (1.0, 1.0 - years.p_away))
    away = years.p_away * clocks.mean(at_home[-1])
    return Failures(clocks.mean(count[-1]), _discounted(clocks, years, count), away)


def under_warranty(clocks: Clocks, years: Years, months: float) -> float:
    """Discounted failures over a horizon above 0 that fall within the warranty of the unit that fails.

    Every unit fitted has its warranty, also one that was given under warranty.
    """
    h, rate = years.horizon_years, real_rate(years)
    count = counts(clocks, years)[0]
    count = count[np.linspace(0, len(count) - 1, FITTED_STEPS + 1).astype(int)]
    # the first unit now, with those that replace it at once; later ones in the middle of a step
    fitted = np.concatenate([[0.0], (np.arange(FITTED_STEPS) + 0.5) * h / FITTED_STEPS])
    units = np.concatenate([1.0 + count[:1], np.diff(count, axis=0)])
    t = np.minimum(months / MONTHS, h - fitted)[:, None] * np.linspace(0.0, 1.0, WARRANTY_STEPS + 1)
    ages = np.broadcast_to(clocks.age_years + clocks.wear_kept * fitted[:, None], t.shape)
    flat = clocks.cdf(t.ravel(), years.hours_a_year, ages.reshape(-1, 1))
    fails = flat.reshape(*t.shape, -1)
    worth = (1.0 + rate) ** -(fitted[:, None] + (t[:, 1:] + t[:, :-1]) / 2.0)
    each = fails[:, 0] * ((1.0 + rate) ** -fitted)[:, None] + (worth[:, :, None] * np.diff(fails, axis=1)).sum(axis=1)
    return clocks.mean((units * each).sum(axis=0))


def median_life(clocks: Clocks, years: Years) -> float:
    """Years by which half of such units fail, over the steps of the median; inf if they never do."""
    from scipy import optimize

    def left(t: float) -> float:
        return clocks.mean(clocks.cdf(np.array([t]), years.hours_a_year)[0]) - 0.5

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
        return within_90_percent(self.median_low, self.median, self.median_high, Source(FILE, note=note))


def within_90_percent(low: float, middle: float, high: float, source: Source) -> Range:
    """A life whose 90 % interval is known: nine in ten lie within, so that its ends are no hard ends.

    A lognormal through the middle, its 10 % and 90 % points drawn in from the interval's 5 % and 95 % points; where the
    upper side is not the longer one, a PERT opened at both ends as far as it takes.
    """
    inner = Z_90 / Z_95
    ten, ninety = middle * (low / middle) ** inner, middle * (high / middle) ** inner
    if ninety - middle > (middle - ten) * LONGER > 0.0:
        return Range(ten, middle, ninety, "lognormal", source)
    # a PERT has about nine tenths within the inner 62 % of its range
    return Range(
        max(middle - (middle - low) / INNER, low / 2.0), middle, middle + (high - middle) / INNER, source=source
    )


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
        known = [(t, x.failed) for x in lives if x.way == way and (t := x.years if clock == "years" else x.hours)]
        if known:
            fits.append(_fit(way, clock, *zip(*known, strict=True)))
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
    names = ("median", "median_low", "median_high", "shape", "shape_low", "shape_high")
    return replace(blank, **{name: getattr(fit, name) for name in names})


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
            way, life_hours=hours.median_range, life_shape=hours.shape, life_years=None if assumed else way.life_years
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
