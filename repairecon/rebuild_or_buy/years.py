"""The years after the job: failures to come by way, and what they cost.

Every later failure is answered by the same way again, at today's expected total of that way; the expected numbers of
failures come from ``lives``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from repairecon.buying.inputs import mean_of
from repairecon.formulas import lives, renewal
from repairecon.formulas.equivalent_costs import equivalent_annual_cost
from repairecon.rebuild_or_buy.lives import (
    Clocks,
    Failures,
    clocks_of,
    discounted_failures,
    failures,
    in_service,
    median_life,
    real_rate,
    under_warranty,
)
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.remedies import life_shares
from repairecon.rebuild_or_buy.tree import NEVER_ENDS, STAGE, Floats, Tree, grow
from repairecon.records import RepaireconError, Way, Years

FACTORS = (0.05, 20.0)
BREAK_EVEN_RIGHT = 1e-6
"""Share of a break-even life that it may be off by."""


@dataclass(frozen=True)
class WayYears:
    """One way over the horizon, money in home currency."""

    way: str
    cost_now: float  # expected total of this job
    cost_failure: float  # of a later failure, away or not
    present_cost: float  # all of it discounted
    annual_cost: float  # the same as a level cost a year; nan at horizon 0
    failures_expected: float
    failures_discounted: float
    p_failure_away: float  # of at least one away from base
    median_life: float  # years
    break_even_life: float | None  # median at which it costs as much as the best other; None: none within FACTORS
    best_replacement_age: float  # years; inf: do not replace in time
    with_spare: bool


def _same_chances(a: Tree, b: Tree) -> bool:
    """Whether nothing found so far tells of this unit; the leaves may be in another order."""
    if not a.events or a.states.shape != b.states.shape:
        return a.states.shape == b.states.shape
    here, fresh = (w.chance[np.lexsort(w.states.T)] for w in (a, b))
    return bool(np.array_equal(here, fresh))


def p_spare_left(model: Model, i: int) -> float:
    """Chance that a way ends with a spare aboard: its rebuild came off, and a bought spare came.

    Where the bought unit goes into service and never comes, another is bought and the old one is the spare still.
    """
    way = model.case.ways[i]
    if not way.bought:
        return 0.0
    ends = model.ends[i]
    if way.traits.in_service == "bought":  # rebuilt at the bench: a first run is not made
        return float(model.tree.chance[ends > STAGE["reassembly"]].sum())
    never = model.never.get(model.ways.index(way.bought))
    comes = 1.0 if never is None else 1.0 - float(model.inputs[never].mean)
    return float(model.tree.chance[ends == NEVER_ENDS].sum()) * comes


def plain_price(model: Model, way: Way) -> float:
    """Expected price of a bought unit, tax and duty in, without carriage, handling and core surcharge."""
    p = model.costs.price_of(way)
    return p.goods * mean_of(p.range)


def fetches(model: Model, i: int, resale_share: float) -> float:
    """What the spare of a pair fetches in the end, if it is aboard.

    A bought spare: a share of its plain price. The old unit rebuilt: the ``old_unit_price`` of the pair if the case
    gives one, else a share of the lowest plain price of a unit, as nobody pays more for it.
    """
    way = model.case.ways[i]
    if not way.bought:
        return 0.0
    if way.traits.in_service == "rebuilt":
        return resale_share * plain_price(model, model.case.way(way.bought))
    if way.old_unit_price.high > 0:
        return mean_of(way.old_unit_price)
    return resale_share * min(plain_price(model, model.case.ways[b]) for b in model.buys)


class Ledger:
    """Costs of a case over the years; ``now`` (W,) expected totals of this job as it stands."""

    def __init__(self, model: Model, years: Years, now: Floats) -> None:
        self.model, self.chooser = model, model.plain
        self.case, self.years, self.ways, self.allowed = model.case, years, model.ways, model.allowed
        self.now, self.hour, self.day = now, model.own_hour, model.lost_day
        self.fresh, unfound = model, grow(model.case)
        if model.done >= 0 or not _same_chances(model.tree, unfound):
            self.fresh = model.like(tree=unfound, done=-1)
        self.expected = expected = self.fresh.expected()
        self.total = expected @ np.array([1.0, self.hour, self.day])
        self.undelayed = expected @ np.array([1.0, self.hour, 0.0])
        self.away = mean_of(years.cost_away) + mean_of(years.days_away) * self.day
        self.works = float(
            lives.mean_p_spare_works(years.turned_every_years, years.shelf_life_years, years.shelf_shape)
        )
        self.swap = mean_of(years.swap_hours) * self.hour
        self.rate = real_rate(years)
        self.spare_left = [p_spare_left(model, i) for i in range(len(model.ways))]

    def plain(self, i: int) -> int:
        """The way by which later failures of a way are made good: for a pair the cheaper of its two parts.

        Where the safety screen holds both, it is the cheapest way that may be chosen alone, if there is one.
        """
        i = self.unit_of(i)
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
        return self.works * self.spare_left[i]

    def swapped(self, plain: int) -> float:
        """Expected cost of a failure with a spare that works; where the swap would be dearer it is not done."""
        return min(self.swap + float(self.undelayed[plain]), self.unspared(plain))

    def resale(self, i: int) -> float:
        """Present value of what a spare fetches with the boat."""
        if self.years.horizon_years == 0 or self.spare_left[i] == 0:
            return 0.0
        later = float((1.0 + self.rate) ** -self.years.horizon_years)
        return self.spare_left[i] * fetches(self.fresh, i, self.years.resale_share) * later

    def unit_of(self, i: int) -> int:
        """The way whose unit is in service in the end: after a way for a while the one taken then."""
        if self.case.ways[i].traits.in_service != "old":
            return i
        held, failed = self.chooser.then(i)
        return next((k for k in (held, failed) if k is not None), i)

    def clocks(self, i: int, factor: float = 1.0, drawn: bool = False) -> Clocks:
        """The lives of the unit that is in service in the end."""
        return clocks_of(self.case, self.case.ways[self.unit_of(i)], factor, drawn)

    def later(self, i: int, factor: float = 1.0) -> float:
        """Present cost of the failures to come, its median life stretched; warranty pays the money of some, not
        the owner's hours and not the days."""
        if self.years.horizon_years <= 0 or self.case.ways[i].traits.in_service == "none":
            return 0.0
        total, months = 0.0, self.warranty_months(i)
        for share, p in self.shares[i].items():
            clocks = self.clocks(i, factor * share)
            plainly = factor == 1.0 and len(self.shares[i]) == 1
            gone = self.failures[i].discounted if plainly else discounted_failures(clocks, self.years)
            paid = under_warranty(clocks, self.years, months) * self.warranty_pays(i) if months else 0.0
            total += p * (gone * self.failure(i) - paid)
        return total

    def warranty_months(self, i: int) -> float:
        """Warranty of the unit that is in service in the end."""
        return in_service(self.case, self.case.ways[self.unit_of(i)]).warranty_months or 0.0

    def warranty_pays(self, i: int) -> float:
        """Money of a failure under warranty."""
        return max(float(self.expected[self.plain(i), 0]), 0.0)

    @cached_property
    def shares(self) -> list[dict[float, float]]:
        """Shares of its life that remedies leave the unit of each way, with their chances."""
        return [life_shares(self.model, i) for i in range(len(self.ways))]

    @cached_property
    def failures(self) -> list[Failures]:
        """Failures to come by way."""
        found = []
        for i, shares in enumerate(self.shares):
            if self.case.ways[i].traits.in_service == "none":
                shares = {}
            each = [(p, failures(self.clocks(i, share), self.years)) for share, p in shares.items()]
            sums = (sum(p * getattr(f, x) for p, f in each) for x in ("expected", "discounted", "p_away"))
            found.append(Failures(*map(float, sums)))
        return found

    @cached_property
    def present(self) -> Floats:
        """Present cost of each way over the horizon (W,)."""
        later = [self.later(i) - self.resale(i) for i in range(len(self.ways))]
        return np.asarray(self.now + np.array(later), dtype=np.float64)


def over_the_years(ledger: Ledger) -> list[WayYears]:
    """Every way over the horizon."""
    return [_way_years(ledger, i) for i in range(len(ledger.ways))]


def _way_years(ledger: Ledger, i: int) -> WayYears:
    h, way, f = ledger.years.horizon_years, ledger.case.ways[i], ledger.failures[i]
    return WayYears(
        way=way.way,
        cost_now=float(ledger.now[i]),
        cost_failure=ledger.failure(i),
        present_cost=float(ledger.present[i]),
        annual_cost=equivalent_annual_cost(float(ledger.present[i]), ledger.rate, h) if h > 0 else np.nan,
        failures_expected=f.expected,
        failures_discounted=f.discounted,
        p_failure_away=f.p_away,
        median_life=median_life(ledger.clocks(i), ledger.years),
        break_even_life=break_even_life(ledger, i),
        best_replacement_age=_replacement_age(ledger, i),
        with_spare=bool(way.bought),
    )


def break_even_life(ledger: Ledger, i: int, factors: tuple[float, float] = FACTORS) -> float | None:
    """Median life at which a way costs as much as the cheapest allowed other one; its own stretched by factors."""
    from scipy import optimize

    others = np.where(ledger.allowed, ledger.present, np.inf)
    others[i] = np.inf
    if ledger.years.horizon_years == 0 or not np.isfinite(others).any():
        return None

    bare = float(ledger.now[i]) - ledger.resale(i) - float(others.min())

    def dearer(stretched: float) -> float:
        """How much dearer than the other, in logarithms where that can be: by them it is nearly a straight line."""
        later = ledger.later(i, math.exp(stretched))
        return math.log(max(later, 1e-300) / -bare) if bare < 0 else bare + later

    low, high = math.log(_lowest_factor(ledger, i, factors[0])), math.log(factors[1])
    if dearer(low) * dearer(high) > 0:
        return None
    factor = math.exp(float(optimize.brentq(dearer, low, high, xtol=BREAK_EVEN_RIGHT)))
    return median_life(ledger.clocks(i, factor), ledger.years)


def _lowest_factor(ledger: Ledger, i: int, low: float) -> float:
    """Where the search for a break-even life begins: a twentieth, or what the steps can still follow."""
    while low < 1.0:
        try:
            ledger.later(i, low)
        except RepaireconError:
            low *= 2.0
        else:
            return low
    return 1.0


def _replacement_age(ledger: Ledger, i: int) -> float:
    """Best age to replace in time, off season at base; by the years of standing, middle of the median's range."""
    clocks = ledger.clocks(i)
    life = float(np.median(clocks.life_years))
    planned, failed = float(ledger.undelayed[ledger.plain(i)]), ledger.failure(i)
    if not np.isfinite(life) or clocks.shape <= 1.0 or failed <= planned or planned <= 0:
        return np.inf
    return float(renewal.best_replacement_age(planned, failed, life, clocks.shape, max(ledger.rate, 0.0))[0])
