"""The years after the job: failures to come by way, and what they cost. Every later failure is answered by the same way
again, at today's expected total of that way; the expected numbers of failures come from ``lives``."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache, cached_property

import numpy as np
import pandas as pd

from repairecon.buying.inputs import mean_of
from repairecon.formulas import renewal
from repairecon.formulas.lives import mean_p_spare_works
from repairecon.formulas.renewal import equivalent_annual_cost
from repairecon.rebuild_or_buy import lives
from repairecon.rebuild_or_buy.lives import Clocks, Failures
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.tree import NEVER_ENDS, STAGE, Floats, grow
from repairecon.records import RepaireconError, Way, Years

FACTORS = (0.05, 20.0)
BREAK_EVEN_RIGHT = 1e-6
"""Share of a break-even life that it may be off by."""


def p_spare_left(model: Model, i: int) -> float:
    """Chance that a way ends with a spare aboard: its rebuild came off, and a bought spare came. Where the bought unit
    goes into service and never comes, another is bought and the old one is the spare still."""
    way = model.case.ways[i]
    if not way.bought:
        return 0.0
    ends = model.ends[i]
    if way.traits.in_service == "bought":  # rebuilt at the bench: a first run is not made
        return float(model.tree.chance[ends > STAGE["reassembly"]].sum())
    never = model.never.get(model.ways.index(way.bought))
    comes = 1.0 if never is None else 1.0 - float(model.inputs[never].mean)
    return float(model.tree.chance[ends == NEVER_ENDS].sum()) * comes


def cost_away(years: Years, lost_day: float) -> float:
    """What a failure away from base adds, a day lost at ``lost_day`` [home money]."""
    return mean_of(years.cost_away) + mean_of(years.days_away) * lost_day


class Ledger:
    """Costs of a case over the years; ``now`` (W,) expected totals of this job as it stands."""

    def __init__(self, model: Model, years: Years, now: Floats) -> None:
        self.model, self.years, self.now, self.day = model, years, now, model.lost_day
        self.case, self.ways, self.allowed = model.case, model.ways, model.allowed
        unfound = grow(model.case)
        same = model.tree.states.shape == unfound.states.shape  # where nothing found so far tells of this unit
        if same and unfound.events:  # the leaves may be in another order
            here, fresh = (tree.chance[np.lexsort(tree.states.T)] for tree in (model.tree, unfound))
            same = np.array_equal(here, fresh)
        self.fresh = model if same and model.done < 0 else model.like(tree=unfound, done=-1)
        self.expected = self.fresh.expected()
        self.total = self.expected @ np.array(model.weights)
        self.undelayed = self.expected @ np.array([1.0, model.own_hour, 0.0])
        self.away = cost_away(years, self.day)
        turned, shelf = years.turned_every_years, years.shelf_life_years
        self.works = float(mean_p_spare_works(turned, shelf, years.shelf_shape))
        self.swap = mean_of(years.swap_hours) * model.own_hour
        self.rate = lives.real_rate(years)
        self.spare_left = np.array([p_spare_left(model, i) for i in range(len(model.ways))])
        self.p_spare = self.works * self.spare_left  # a pair has a spare aboard, and it works
        self.unspared = self.total + years.p_away * self.away  # cost of a failure without one

    def plain(self, i: int) -> int:
        """The way by which later failures of a way are made good: for a pair the cheaper of its two parts. Where the
        safety screen holds both, it is the cheapest way that may be chosen alone, if there is one."""
        i = self.unit_of(i)
        way = self.case.ways[i]
        if not way.bought:
            return i
        parts = [self.ways.index(way.bought), *(k for k, w in enumerate(self.case.ways) if w.kind == "rebuild")]
        alone = [k for k, w in enumerate(self.case.ways) if self.allowed[k] and not w.bought]
        options = [k for k in parts if self.allowed[k]] or alone or parts
        return min(options, key=lambda k: float(self.undelayed[k]))

    def failure(self, i: int) -> float:
        """Expected cost of a later failure answered by a way."""
        plain, works = self.plain(i), self.p_spare[i]
        return float(works * self.swapped[plain] + (1.0 - works) * self.unspared[plain])

    @property
    def swapped(self) -> Floats:
        """Expected cost of a failure (W,) with a spare that works; where the swap would be dearer it is not done."""
        return np.asarray(np.minimum(self.swap + self.undelayed, self.unspared))

    def resale(self, i: int) -> float:
        """Present value of what the spare of a pair fetches with the boat, if it is aboard. A bought spare: a share of
        its plain price. The old unit rebuilt: the ``old_unit_price`` of the pair if the case gives one, else a share of
        the lowest plain price of a unit, as nobody pays more for it."""
        if self.years.horizon_years == 0 or self.spare_left[i] == 0:
            return 0.0

        def plain_price(way: Way) -> float:
            """Tax and duty in, without carriage, handling and core surcharge."""
            p = self.fresh.costs.price_of(way)
            return p.goods * mean_of(p.range)

        way, share = self.case.ways[i], self.years.resale_share
        if way.traits.in_service == "rebuilt":
            fetched = share * plain_price(self.case.way(way.bought))
        elif way.old_unit_price.high > 0:
            fetched = mean_of(way.old_unit_price)
        else:
            fetched = share * min(plain_price(self.case.ways[b]) for b in self.fresh.buys)
        return float(self.spare_left[i] * fetched * (1.0 + self.rate) ** -self.years.horizon_years)

    def unit_of(self, i: int) -> int:
        """The way whose unit is in service in the end: after a way for a while the one taken then."""
        if self.case.ways[i].traits.in_service != "old":
            return i
        return next((k for k in self.model.plain.then(i) if k is not None), i)

    def clocks(self, i: int, factor: float = 1.0, drawn: bool = False) -> Clocks:
        """The lives of the unit that is in service in the end; where there is none nothing fails."""
        clocks = lives.clocks_of(self.case, self.case.ways[self.unit_of(i)], factor, drawn)
        if self.case.ways[i].traits.in_service != "none":
            return clocks
        endless = np.full_like(clocks.life_years, np.inf)
        return replace(clocks, life_years=endless, life_hours=endless, p_early=0.0)

    def later(self, i: int, factor: float = 1.0) -> float:
        """Present cost of the failures to come, its median life stretched; warranty pays the money of some, not
        the owner's hours and not the days."""
        if self.years.horizon_years <= 0:
            return 0.0
        total, months = 0.0, self.warranty_months(i)
        for share, p in self.shares[i].items():
            clocks = self.clocks(i, factor * share)
            plainly = factor == 1.0 and len(self.shares[i]) == 1
            gone = self.failures[i].discounted if plainly else lives.discounted_failures(clocks, self.years)
            paid = lives.under_warranty(clocks, self.years, months) * self.warranty_pays(i) if months else 0.0
            total += p * (gone * self.failure(i) - paid)
        return total

    def warranty_months(self, i: int) -> float:
        return lives.in_service(self.case, self.case.ways[self.unit_of(i)]).warranty_months or 0.0

    def warranty_pays(self, i: int) -> float:
        return max(float(self.expected[self.plain(i), 0]), 0.0)

    @cached_property
    def shares(self) -> list[dict[float, float]]:
        """Shares of its life that remedies leave the unit of each way, with their chances."""
        return [self.model.life_shares(i) for i in range(len(self.ways))]

    @cached_property
    def failures(self) -> list[Failures]:
        found = []
        for i, shares in enumerate(self.shares):
            each = [(p, lives.failures(self.clocks(i, share), self.years)) for share, p in shares.items()]
            found.append(Failures(*(float(sum(p * f[k] for p, f in each)) for k in range(3))))
        return found

    @cached_property
    def present(self) -> Floats:
        """Present cost of each way over the horizon (W,)."""
        later = [self.later(i) - self.resale(i) for i in range(len(self.ways))]
        return np.asarray(self.now + np.array(later), dtype=np.float64)

    def so_far(self, i: int, grid: Floats) -> Floats:
        """Exact expected cost of a way by some years from now, discounted; what a spare fetches is not taken off."""
        clocks, count = self.clocks(i), lives.counts(self.clocks(i), self.years)[0]
        t = np.linspace(0.0, self.years.horizon_years, 2 * len(count) - 1)
        worth = np.diff(count, axis=0) * ((1.0 + self.rate) ** -t[1::2])[:, None]
        gone = np.concatenate([[0.0], np.cumsum(worth @ clocks.weights)]) + clocks.mean(count[0])
        # what warranty pays and shorter lives bring is spread over the years as the failures are
        each = self.later(i) / gone[-1] if gone[-1] > 0 else 0.0
        return np.asarray(self.now[i] + each * np.interp(grid, t[::2], gone))


def over_the_years(ledger: Ledger) -> pd.DataFrame:
    """Every way over the horizon, money in home currency."""
    h, rows = ledger.years.horizon_years, []
    for i, way in enumerate(ledger.case.ways):
        present, gone = float(ledger.present[i]), ledger.failures[i]
        rows.append({
            "way": way.way,
            "cost_now": float(ledger.now[i]),  # expected total of this job
            "cost_failure": ledger.failure(i),  # of a later failure, away or not
            "present_cost": present,  # all of it discounted
            # the same as a level cost a year
            "annual_cost": equivalent_annual_cost(present, ledger.rate, h) if h > 0 else np.nan,
            "failures_expected": gone.expected,
            "failures_discounted": gone.discounted,
            "p_failure_away": gone.p_away,  # of at least one away from base
            "median_life": lives.median_life(ledger.clocks(i), ledger.years),  # years
            "break_even_life": break_even_life(ledger, i),
            "best_replacement_age": _replacement_age(ledger, i),
            "with_spare": bool(way.bought),
        })  # fmt: skip
    return pd.DataFrame(rows)


def break_even_life(ledger: Ledger, i: int, factors: tuple[float, float] = FACTORS) -> float | None:
    """Median life at which a way costs as much as the cheapest allowed other one; its own stretched by factors. None
    where there is none within them."""
    from scipy import optimize

    others = np.where(ledger.allowed, ledger.present, np.inf)
    others[i] = np.inf
    if ledger.years.horizon_years == 0 or not np.isfinite(others).any():
        return None
    bare = float(ledger.now[i]) - ledger.resale(i) - float(others.min())

    @cache
    def dearer(stretched: float) -> float:
        """How much dearer than the other, in logarithms where that can be: by them it is nearly a straight line."""
        later = ledger.later(i, math.exp(stretched))
        return math.log(max(later, 1e-300) / -bare) if bare < 0 else bare + later

    # from its own life outwards, by halves or doubles: far shorter lives than needed take far more steps
    longer = dearer(0.0) > 0
    near, end, step = 0.0, math.log(factors[longer]), math.log(2.0) if longer else -math.log(2.0)
    while near != end:
        far = min(near + step, end) if longer else max(near + step, end)
        try:
            crossed = dearer(near) * dearer(far) <= 0
        except RepaireconError:  # shorter lives than the steps can follow
            return None
        if crossed:
            factor = math.exp(float(optimize.brentq(dearer, *sorted((near, far)), xtol=BREAK_EVEN_RIGHT)))
            return lives.median_life(ledger.clocks(i, factor), ledger.years)
        near = far
    return None


def _replacement_age(ledger: Ledger, i: int) -> float:
    """Best age to replace in time, off season at base; by the years of standing, middle of the median's range; inf: do
    not replace in time."""
    clocks = ledger.clocks(i)
    life = float(np.median(clocks.life_years))
    planned, failed = float(ledger.undelayed[ledger.plain(i)]), ledger.failure(i)
    if not np.isfinite(life) or clocks.shape <= 1.0 or failed <= planned or planned <= 0:
        return np.inf
    return float(renewal.best_replacement_age(planned, failed, life, clocks.shape, max(ledger.rate, 0.0))[0])
