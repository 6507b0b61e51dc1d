"""The years after the job: failures to come by way, and what they cost.

Every later failure is answered by the same way again, at today's expected total of that way; the
expected numbers of failures come from ``clocks``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from repairecon.buying.inputs import mean_of
from repairecon.formulas import age_replacement, discount, lives
from repairecon.rebuild_or_buy.aboard import fetches, p_aboard
from repairecon.rebuild_or_buy.clocks import Failures, can_follow, clocks_of, discounted_failures, failures, median_life
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.world import World, grow
from repairecon.records import Years

Floats = NDArray[np.float64]
FACTORS = (0.05, 20.0)
BREAK_EVEN_RIGHT = 1e-7
"""Share of a break-even life that it may be off by."""


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


def _same_chances(a: World, b: World) -> bool:
    """Whether nothing found so far tells of this unit; the leaves may be in another order."""
    if not a.events or a.states.shape != b.states.shape:
        return a.states.shape == b.states.shape
    here, fresh = (w.chance[np.lexsort(w.states.T)] for w in (a, b))
    return bool(np.array_equal(here, fresh))


class Ledger:
    """Costs of a case over the years; ``now`` (W,) expected totals of this job as it stands."""

    def __init__(self, model: Model, years: Years, now: Floats) -> None:
        self.case, self.years, self.ways, self.allowed = model.case, years, model.ways, model.allowed
        self.now, self.hour, self.day = now, model.own_hour, model.lost_day
        allowed = dict(zip(model.ways, model.allowed.tolist(), strict=True))
        self.fresh = model
        if model.done >= 0 or not _same_chances(model.world, grow(model.case)):
            self.fresh = Model(model.case, grow(model.case), allowed, -1, model.own_hour, model.buying)
        expected = self.fresh.expected()
        self.total = expected @ np.array([1.0, self.hour, self.day])
        self.undelayed = expected @ np.array([1.0, self.hour, 0.0])
        self.away = mean_of(years.cost_away) + mean_of(years.days_away) * self.day
        self.works = float(
            lives.mean_p_spare_works(years.turned_every_years, years.shelf_life_years, years.shelf_shape)
        )
        self.swap = mean_of(years.swap_hours) * self.hour
        self.rate = float(discount.real_rate(years.discount_rate, years.inflation_rate))
        self.aboard = [p_aboard(model, i) for i in range(len(model.ways))]

    def plain(self, i: int) -> int:
        """The way by which later failures of a way are made good: for a pair the cheaper of its two parts.

        Where the safety screen holds both, it is the cheapest way that may be chosen alone, if there is one.
        """
        way = self.case.ways[i]
        if not way.bought:
            return i
        parts = [self.ways.index(way.bought), *(k for k, w in enumerate(self.case.ways) if w.kind == "rebuild")]
        alone = [k for k, w in enumerate(self.case.ways) if self.allowed[k] and not w.bought]
        options = [k for k in parts if self.allowed[k]] or alone or parts
        return min(options, key=lambda k: float(self.undelayed[k]))

    def unspared(self, i: int) -> float:
        """Expected cost of a failure without a spare aboard."""
        return float(self.total[i]) + self.years.p_away * self.away

    def failure(self, i: int) -> float:
        """Expected cost of a later failure answered by a way."""
        plain = self.plain(i)
        if not self.case.ways[i].bought:
            return self.unspared(plain)
        works = self.p_spare(i)
        return works * self.swapped(plain) + (1.0 - works) * self.unspared(plain)

    def p_spare(self, i: int) -> float:
        """Chance that a pair has a spare aboard (its rebuild came off, a bought one came) and that it works."""
        return self.works * self.aboard[i]

    def swapped(self, plain: int) -> float:
        """Expected cost of a failure with a spare that works; where the swap would be dearer it is not done."""
        return min(self.swap + float(self.undelayed[plain]), self.unspared(plain))

    def resale(self, i: int) -> float:
        """Present value of what a spare fetches with the boat."""
        if self.years.horizon_years == 0 or self.aboard[i] == 0:
            return 0.0
        later = float(discount.single_present_value(self.rate, self.years.horizon_years))
        return self.aboard[i] * fetches(self.fresh, i, self.years.resale_share) * later

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


def _break_even(ledger: Ledger, i: int, costs: Floats) -> float | None:
    """Median life at which a way costs as much as the cheapest allowed other one."""
    from scipy import optimize

    others = np.where(ledger.allowed, costs, np.inf)
    others[i] = np.inf
    if ledger.years.horizon_years == 0 or not np.isfinite(others).any():
        return None

    cost, bare = ledger.failure(i), float(ledger.now[i]) - ledger.resale(i) - float(others.min())

    def dearer(stretched: float) -> float:
        """How much dearer than the other, in logarithms where that can be: by them it is nearly a straight line."""
        factor = math.exp(stretched)
        gone = discounted_failures(clocks_of(ledger.case, ledger.case.ways[i], factor), ledger.years)
        return math.log(max(gone * cost, 1e-300) / -bare) if cost > 0 > bare else bare + gone * cost

    low, high = math.log(_lowest_factor(ledger, i)), math.log(FACTORS[1])
    if dearer(low) * dearer(high) > 0:
        return None
    factor = math.exp(float(optimize.brentq(dearer, low, high, xtol=BREAK_EVEN_RIGHT)))
    return median_life(clocks_of(ledger.case, ledger.case.ways[i], factor), ledger.years)


def _lowest_factor(ledger: Ledger, i: int) -> float:
    """Where the search for a break-even life begins: a twentieth, or what the steps can still follow."""
    low = FACTORS[0]
    while low < 1.0 and not can_follow(clocks_of(ledger.case, ledger.case.ways[i], low), ledger.years):
        low *= 2.0
    return min(low, 1.0)


def _replacement_age(ledger: Ledger, i: int) -> float:
    """Best age to replace in time, off season at base; by the years of standing, middle of the median's range."""
    way = ledger.case.ways[i]
    clocks = clocks_of(ledger.case, way)
    life = float(np.median(clocks.life_years))
    planned, failed = float(ledger.undelayed[ledger.plain(i)]), ledger.failure(i)
    if not np.isfinite(life) or clocks.shape <= 1.0 or failed <= planned or planned <= 0:
        return np.inf
    return float(age_replacement.best_replacement_age(planned, failed, life, clocks.shape, max(ledger.rate, 0.0))[0])
