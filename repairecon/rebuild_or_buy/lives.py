"""The life of a unit, of the one that a way puts into service or of one that has stood aboard; its failures to come.
The median life is one number of this unit and not drawn anew at each failure: everything is worked out for each of some
steps through its range and then averaged. Both clocks, years and hours, share the step."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache, cached_property
from math import inf, log
from typing import NamedTuple

import numpy as np

from repairecon.buying.inputs import mean_of
from repairecon.formulas import lives, ranges, renewal
from repairecon.read.boat import BoatPapers, age_years
from repairecon.read.case_folder import unit_case
from repairecon.rebuild_or_buy.tree import Floats
from repairecon.records import ASSUMED, BoatUnit, Case, Range, RepaireconError, Way, Years

LN_2 = log(2.0)
MONTHS = 12.0
MEDIANS = 16  # values of the median that stand for its range: expected failures are right to 0.1 % for wide ranges too
ENDS = 1e-4  # chance at either end of the range that is not looked into
DRAWN = 64
WARRANTY_STEPS, FITTED_STEPS = 12, 100


@dataclass(frozen=True)
class Clocks:
    """Characteristic lives for values through the median's range (S,), with their weights and the age at the start.
    Each rebuild to come leaves ``wear_kept`` of the wear since the one before."""

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


def life_is_stated(way: Way) -> bool:
    """Whether the owner says how long the unit of a way lasts; such a life is not cut by the age of the old unit."""
    return any(r is not None and r.source.file != ASSUMED for r in (way.life_years, way.life_hours))


def in_service(case: Case, way: Way) -> Way:
    """The way whose unit a way puts into service: of a pair that buys for service the buy."""
    return case.way(way.bought) if way.bought and way.traits.in_service == "bought" else way


def clocks_of(case: Case, way: Way, factor: float = 1.0, drawn: bool = False) -> Clocks:
    """Lives of the unit in service, medians stretched by ``factor``; ``drawn``: equal steps of chance to draw from."""
    unit, (p, weights) = in_service(case, way), _nodes()
    at: Callable[..., Floats] = ranges.quantile
    if drawn:
        p, weights, at = np.linspace(0.0, 1.0, DRAWN + 1), np.full(DRAWN, 1.0 / DRAWN), ranges.cell_means
    # both take the same chance of their ranges: what makes one last makes the other last too
    clocks = (unit.life_years, unit.life_hours)
    medians = [np.full(len(weights), inf) if r is None else at(p, r.low, r.likely, r.high, r.shape) for r in clocks]
    life_years, life_hours = (np.asarray(m * factor / LN_2 ** (1.0 / unit.life_shape)) for m in medians)
    kept = unit.wear_kept if way.traits.in_service == "rebuilt" else 0.0
    age = 0.0 if life_is_stated(unit) else kept * (case.unit.age_years or 0.0)
    return Clocks(life_years, life_hours, unit.life_shape, age, unit.p_early, kept, weights)


# ---- failures to come ----
def real_rate(years: Years) -> float:
    """Discount rate that goes with today's prices [1/year]; below 0 where prices rise faster than money earns."""
    return (years.discount_rate - years.inflation_rate) / (1.0 + years.inflation_rate)


def counts(clocks: Clocks, years: Years, p_goes_on: Sequence[float] = (1.0,)) -> Sequence[Floats]:
    """Expected failures by the end of each step (steps + 1, S), by chance that a failure is followed by another. Steps
    are so short that no more than a tenth of the units ends within a part of one, if that can be."""
    h, hours, kept, early = years.horizon_years, years.hours_a_year, clocks.wear_kept, clocks.p_early
    life, ages = clocks.life(hours), clocks.age_years + np.array([0.0, kept * h])
    steps, most, parts, at_worst = (100, 3_200, 4, 0.1) if kept > 0 else (400, 51_200, 2, 0.3)

    def ends() -> float:
        return (1.0 - early) * float(lives.cdf(h / (parts * steps), life[:, None], clocks.shape, ages).max())

    while (share := ends()) > 0.1 and steps < most:
        steps *= 2
    if share > at_worst:
        raise RepaireconError(
            "a life is far too short for the years looked ahead: check life_years, life_hours, wear_kept and "
            "hours_a_year"
        )
    if kept > 0:
        return list(renewal.rebuilds(h, life, clocks.shape, clocks.age_years, kept, early, p_goes_on, steps))
    cdf = clocks.cdf(np.linspace(0.0, h, 2 * steps + 1), hours)
    return [renewal.renewals(cdf, p) for p in p_goes_on]


def cost_away(years: Years, lost_day: float) -> float:
    """What a failure away from base adds, a day lost at ``lost_day`` [home money]."""
    return mean_of(years.cost_away) + mean_of(years.days_away) * lost_day


class Failures(NamedTuple):
    """Expected, discounted, chance of one away; averages over the steps of the median."""

    expected: float
    discounted: float
    p_away: float


def discounted_failures(clocks: Clocks, years: Years, count: Floats | None = None) -> float:
    """Failures over a horizon above 0, discounted; ``count`` of them, where it has been worked out."""
    count = counts(clocks, years)[0] if count is None else count
    return clocks.mean(renewal.discounted_renewals(count, years.horizon_years, real_rate(years)))


def failures(clocks: Clocks, years: Years, counted: Sequence[Floats] = ()) -> Failures:
    """``counted`` are all failures and those until one comes away from base, where they have been worked out."""
    if years.horizon_years == 0:
        return Failures(0.0, 0.0, 0.0)
    count, at_home = counted or counts(clocks, years, (1.0, 1.0 - years.p_away))
    away = years.p_away * clocks.mean(at_home[-1])
    return Failures(clocks.mean(count[-1]), discounted_failures(clocks, years, count), away)


def under_warranty(clocks: Clocks, years: Years, months: float) -> float:
    """Discounted failures within the warranty of the unit that fails; one given under warranty has its own again."""
    h, rate = years.horizon_years, real_rate(years)
    count = counts(clocks, years)[0]
    count = count[np.linspace(0, len(count) - 1, FITTED_STEPS + 1).astype(int)]
    # the first unit now, with those that replace it at once; later ones in the middle of a step
    fitted = np.concatenate([[0.0], (np.arange(FITTED_STEPS) + 0.5) * h / FITTED_STEPS])
    units = np.concatenate([1.0 + count[:1], np.diff(count, axis=0)])
    t = np.minimum(months / MONTHS, h - fitted)[:, None] * np.linspace(0.0, 1.0, WARRANTY_STEPS + 1)
    ages = np.broadcast_to(clocks.age_years + clocks.wear_kept * fitted[:, None], t.shape)
    fails = clocks.cdf(t.ravel(), years.hours_a_year, ages.reshape(-1, 1)).reshape(*t.shape, -1)
    worth = (1.0 + rate) ** -(fitted[:, None] + (t[:, 1:] + t[:, :-1]) / 2.0)
    each = fails[:, 0] * ((1.0 + rate) ** -fitted)[:, None] + (worth[:, :, None] * np.diff(fails, axis=1)).sum(axis=1)
    return clocks.mean((units * each).sum(axis=0))


def median_life(clocks: Clocks, years: Years) -> float:
    """Years by which half of such units fail, over the steps of the median; inf if they never do."""
    from scipy import optimize

    pace = years.hours_a_year

    def left(t: float) -> float:
        return clocks.mean(clocks.cdf(np.array([t]), pace)[0]) - 0.5

    ends = np.concatenate([clocks.life_years, clocks.life_hours / pace if pace > 0 else []])
    if left(0.0) >= 0:
        return 0.0
    if not np.isfinite(ends).any():
        return inf
    high = float(ends[np.isfinite(ends)].max())
    while left(high) < 0:
        high *= 2.0
    return float(optimize.brentq(left, 0.0, high))


# ---- a unit of the boat before it fails, as old as it is ----
HALF = 0.5  # a unit of unknown age is taken to be as old as to have stood so much of its usual life
_LONGEST = 1000.0  # years beyond which nothing is said of when a unit is due


def case_before(papers: BoatPapers, unit: BoatUnit) -> Case:
    """The case that a unit will be when it fails; figures that hang on the price of new are none if that is unknown."""
    # in place of a price that is not known another one, so that what does not hang on it can be read
    return unit_case(papers, replace(unit, price_new=unit.price_new or Range(1.0, 1.0, 1.0)))


@dataclass(frozen=True)
class Life:
    """The life of a unit that has stood and run for a while. ``clocks`` are those of a new one, a value for each of
    some steps through the median's range; ``worn`` (S,) the years of use at the pace ahead that wear it as much as its
    age and its hours have."""

    clocks: Clocks
    worn: Floats
    hours_a_year: float

    @cached_property
    def _stands(self) -> Floats:
        """Weight of each step, those likelier under which it would stand until now."""
        survived = np.exp(-((self.worn / self.clocks.life(self.hours_a_year)) ** self.clocks.shape))
        weighed = self.clocks.weights * np.maximum(survived, 1e-300)
        return np.asarray(weighed / weighed.sum())

    def p_fails(self, years: float) -> float:
        fails = lives.cdf(years, self.clocks.life(self.hours_a_year), self.clocks.shape, self.worn)
        return float(fails @ self._stands)

    @cached_property
    def due_years(self) -> float:
        """Years until half of such units have failed; inf beyond all measure."""
        from scipy import optimize

        if self.p_fails(_LONGEST) < HALF:
            return inf
        return float(optimize.brentq(lambda t: self.p_fails(t) - HALF, 0.0, _LONGEST))


def life_of(case: Case, unit: BoatUnit, today: str) -> tuple[Life, tuple[str, ...]]:
    """The life of a unit as old as it is, and what was assumed of its age. Both clocks' hazards add up: ``(age /
    life_years)**k + (hours / life_hours)**k`` is put as an age by one clock."""
    new = next((w for w in case.ways if w.kind == "new"), case.ways[0])
    clocks = replace(clocks_of(case, new), age_years=0.0, p_early=0.0)
    pace, k = case.years.hours_a_year, clocks.shape
    age, hours, life = age_years(unit, today), unit.hours, clocks.life(pace)
    if age is None and hours is None:
        return Life(clocks, HALF * life * LN_2 ** (1.0 / k), pace), ("its age: half its usual life",)
    if age is None:
        age = (hours or 0.0) / pace if pace > 0 else 0.0
    run = age * pace if hours is None else hours
    worn = (age / clocks.life_years) ** k + (run / clocks.life_hours) ** k
    return Life(clocks, np.asarray(life * worn ** (1.0 / k)), pace), ()
