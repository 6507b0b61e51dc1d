"""The years after the job: failures to come by way, what they cost, and what a spare aboard saves.

Every later failure is answered by the same way again, at today's expected total of that way; the
expected numbers of failures come from the renewal equation, a column for each step through the range
of the median life (which is one number of this unit, not drawn anew at each failure).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from repairecon.chance.model import ALL, Model
from repairecon.chance.world import grow
from repairecon.formulas import age_replacement, discount, lives, mixed_lives, ranges, renewal, spare
from repairecon.formulas.cells import cell_means
from repairecon.records import Case, Range, Way, Years

Floats = NDArray[np.float64]
MEDIANS = 8
STEPS = 400
FACTORS = (0.05, 20.0)


@dataclass(frozen=True)
class Clocks:
    """Characteristic lives by step of the median's range (S,), equal weights, with the age kept at the start."""

    life_years: Floats
    life_hours: Floats
    shape: float
    age_years: float
    p_early: float

    def cdf(self, t: Floats, hours_a_year: float) -> Floats:
        """Chance of failing by each time t (T, S)."""
        alive = mixed_lives.two_clock_survival(
            t[:, None], hours_a_year, self.life_hours, self.shape, self.life_years, self.shape, self.age_years
        )
        return np.asarray(1.0 - mixed_lives.early_failure_survival(t[:, None], alive, self.p_early))


@dataclass(frozen=True)
class WayYears:
    """One way over the horizon.

    ``cost_now`` expected total of this job; ``cost_failure`` of a later failure, away or not; ``present_cost``
    all of it discounted; ``annual_cost`` the same as a level cost a year (nan at horizon 0); ``failures_expected``,
    ``p_failure_away`` of at least one away from base; ``median_life`` years; ``break_even_life`` the median at
    which the way costs as much as the best other one (None if no life within a twentieth to twenty times does);
    ``best_replacement_age`` in years (inf: do not replace in time).
    """

    way: str
    cost_now: float
    cost_failure: float
    present_cost: float
    annual_cost: float
    failures_expected: float
    failures_discounted: float
    p_failure_away: float
    median_life: float
    break_even_life: float | None
    best_replacement_age: float
    with_spare: bool


@dataclass(frozen=True)
class Combination:
    """What having a spare (or a kit) aboard is worth over the horizon, before and after what it costs."""

    combination: str
    worth: float
    cost: float
    net: float
    p_works: float
    present_cost: float


def mean_of(r: Range) -> float:
    """Expected value of a range."""
    return float(ranges.mean(r.low, r.likely, r.high, r.shape))


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
    )


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
    cdf = clocks.cdf(renewal.half_steps(years.horizon_years, STEPS), years.hours_a_year)
    rate = discount.real_rate(years.discount_rate, years.inflation_rate)
    expected, discounted, _ = renewal.failures_over_horizon(cdf, cdf, years.horizon_years, float(rate))
    away = renewal.p_marked_failure(cdf, cdf, years.p_away)
    return Failures(float(np.mean(expected)), float(np.mean(discounted)), float(np.mean(away)))


class Ledger:
    """Costs of a case over the years; ``now`` (W,) expected totals of this job as it stands."""

    def __init__(self, model: Model, years: Years, now: Floats) -> None:
        self.case, self.years, self.ways, self.allowed = model.case, years, model.ways, model.allowed
        self.now, self.hour, self.day = now, model.own_hour, model.lost_day
        allowed = dict(zip(model.ways, model.allowed.tolist(), strict=True))
        self.fresh = model
        if model.done >= 0 or len(model.world.chance) != len(grow(model.case).chance):
            self.fresh = Model(model.case, grow(model.case), allowed, -1, model.own_hour)
        expected = self.fresh.expected()
        self.total = expected @ np.array([1.0, self.hour, self.day])
        self.undelayed = expected @ np.array([1.0, self.hour, 0.0])
        self.away = mean_of(years.cost_away) + mean_of(years.days_away) * self.day
        self.works = float(
            spare.mean_p_spare_works(years.turned_every_years, years.shelf_life_years, years.shelf_shape)
        )
        self.swap = mean_of(years.swap_hours) * self.hour
        self.rate = float(discount.real_rate(years.discount_rate, years.inflation_rate))

    def plain(self, i: int) -> int:
        """The way by which later failures of a way are made good: for a pair the cheaper of its two parts."""
        way = self.case.ways[i]
        if not way.bought:
            return i
        rebuilds = [k for k, w in enumerate(self.case.ways) if w.kind == "rebuild"]
        return min([self.ways.index(way.bought), *rebuilds], key=lambda k: float(self.undelayed[k]))

    def unspared(self, i: int) -> float:
        """Expected cost of a failure without a spare aboard."""
        return float(self.total[i]) + self.years.p_away * self.away

    def failure(self, i: int) -> float:
        """Expected cost of a later failure answered by a way."""
        plain = self.plain(i)
        if not self.case.ways[i].bought:
            return self.unspared(plain)
        swapped = self.swap + float(self.undelayed[plain])
        return self.works * swapped + (1.0 - self.works) * self.unspared(plain)

    def resale(self, i: int) -> float:
        """Present value of what a bought spare fetches with the boat."""
        way = self.case.ways[i]
        if not way.bought:
            return 0.0
        b = self.ways.index(way.bought)
        price = float(np.mean(self.fresh._run(self.fresh.spare[b], self.fresh.leaf_rows(), ALL)[0]))
        later = discount.single_present_value(self.rate, self.years.horizon_years)
        return self.years.resale_share * price * float(later) if self.years.horizon_years > 0 else 0.0

    def present(self, i: int, factor: float = 1.0) -> tuple[float, Failures]:
        """Present cost of a way with its median life stretched."""
        f = failures(clocks_of(self.case, self.case.ways[i], factor), self.years)
        return float(self.now[i]) + f.discounted * self.failure(i) - self.resale(i), f


def over_the_years(ledger: Ledger) -> list[WayYears]:
    """Every way over the horizon."""
    present = [ledger.present(i) for i in range(len(ledger.ways))]
    costs = np.array([p for p, _ in present])
    return [_way_years(ledger, i, costs, f) for i, (_, f) in enumerate(present)]


def _way_years(ledger: Ledger, i: int, costs: Floats, f: Failures) -> WayYears:
    h, way = ledger.years.horizon_years, ledger.case.ways[i]
    annual = float(discount.equivalent_annual_cost(costs[i], ledger.rate, h)) if h > 0 else np.nan
    return WayYears(
        way.way,
        float(ledger.now[i]),
        ledger.failure(i),
        float(costs[i]),
        annual,
        f.expected,
        f.discounted,
        f.p_away,
        median_life(clocks_of(ledger.case, way), ledger.years),
        _break_even(ledger, i, costs),
        _replacement_age(ledger, i),
        bool(way.bought),
    )


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
    return float(optimize.brentq(left, 0.0, 4.0 * float(ends.max())))


def _break_even(ledger: Ledger, i: int, costs: Floats) -> float | None:
    """Median life at which a way costs as much as the cheapest allowed other one."""
    from scipy import optimize

    others = np.where(ledger.allowed, costs, np.inf)
    others[i] = np.inf
    if ledger.years.horizon_years == 0 or not np.isfinite(others).any():
        return None

    def dearer(factor: float) -> float:
        return ledger.present(i, factor)[0] - float(others.min())

    if dearer(FACTORS[0]) * dearer(FACTORS[1]) > 0:
        return None
    factor = float(optimize.brentq(dearer, *FACTORS, xtol=1e-6))
    return median_life(clocks_of(ledger.case, ledger.case.ways[i], factor), ledger.years)


def _replacement_age(ledger: Ledger, i: int) -> float:
    """Best age to replace in time, off season at base; by the years of standing, middle of the median's range."""
    way = ledger.case.ways[i]
    clocks = clocks_of(ledger.case, way)
    life = float(np.median(clocks.life_years))
    planned, failed = float(ledger.undelayed[ledger.plain(i)]), ledger.failure(i)
    if not np.isfinite(life) or clocks.shape <= 1.0 or failed <= planned or planned <= 0:
        return np.inf
    return float(age_replacement.best_replacement_age(planned, failed, life, clocks.shape, ledger.rate)[0])


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
        if way.bought:
            found.append(_pair(ledger, horizon, i, base, like))
    return found


def _pair(ledger: Ledger, horizon: list[WayYears], i: int, base: int, like: int) -> Combination:
    saved_each = max(ledger.unspared(ledger.plain(i)) - ledger.failure(i), 0.0)
    worth = horizon[i].failures_discounted * like * saved_each
    without = (
        float(ledger.now[i]) - ledger.resale(i) + horizon[i].failures_discounted * ledger.unspared(ledger.plain(i))
    )
    cost = without - horizon[base].present_cost
    return Combination(
        ledger.ways[i], worth, cost, worth - cost, ledger.works, horizon[base].present_cost + cost - worth
    )


def worth_by_days(ledger: Ledger, horizon: list[WayYears], steps: int = 25) -> dict[str, tuple[Floats, Floats]]:
    """Net worth of each pair's spare against the days that it saves at each failure away."""
    most = max(2.0 * mean_of(ledger.years.days_away), 10.0)
    days = np.linspace(0.0, most, steps)
    now = mean_of(ledger.years.days_away)
    plain = [i for i, w in enumerate(ledger.case.ways) if not w.bought and ledger.allowed[i]]
    if not plain:
        return {}
    base = min(plain, key=lambda i: horizon[i].present_cost)
    lines: Mapping[str, tuple[Floats, Floats]] = {
        ledger.ways[i]: (days, _net_with_days(ledger, horizon, i, base, days - now))
        for i, w in enumerate(ledger.case.ways)
        if w.bought
    }
    return dict(lines)


def _net_with_days(ledger: Ledger, horizon: list[WayYears], i: int, base: int, more: Floats) -> Floats:
    combination = _pair(ledger, horizon, i, base, ledger.years.like_units)
    each_day = ledger.years.p_away * ledger.day * ledger.works * horizon[i].failures_discounted
    return combination.net + each_day * ledger.years.like_units * more
