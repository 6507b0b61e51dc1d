"""The years after the job: failures to come by way and what they cost, what a spare aboard is worth, drawn courses.
Every later failure is answered by the same way again, at today's expected total of that way; the expected numbers of
failures come from ``lives``."""

from __future__ import annotations

import math
from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass, replace
from functools import cache, cached_property

import numpy as np
import pandas as pd

from repairecon.buying.inputs import mean_of
from repairecon.formulas import renewal
from repairecon.formulas.lives import mean_p_spare_works
from repairecon.rebuild_or_buy import lives
from repairecon.rebuild_or_buy.draws import by_steps, failure_times, path_draws
from repairecon.rebuild_or_buy.lives import MONTHS, Clocks, Failures
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.outcomes import TOTAL, Outcomes
from repairecon.rebuild_or_buy.tree import Floats, grow
from repairecon.records import RepaireconError, Way, Years

BREAK_EVEN_RIGHT = 1e-6  # share of a break-even life that it may be off by
FAN_PATHS = 4000


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
        self.works = float(mean_p_spare_works(years.turned_every_years, years.shelf_life_years, years.shelf_shape))
        self.swap = mean_of(years.swap_hours) * model.own_hour
        self.away, self.rate = lives.cost_away(years, self.day), lives.real_rate(years)
        self.spare_left = np.array([model.p_spare_left(i) for i in range(len(model.ways))])
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
        """Present cost of failures to come, the median stretched; warranty pays some money, no hours and no days."""
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
        return [self.model.life_shares(i) for i in range(len(self.ways))]

    @cached_property
    def failures(self) -> list[Failures]:
        found = []
        for i, shares in enumerate(self.shares):
            counted = {1.0: self.counted[i]} if self.years.horizon_years > 0 else {}
            each = [(p, lives.failures(self.clocks(i, share), self.years, counted.get(share, ())))
                    for share, p in shares.items()]  # fmt: skip
            found.append(Failures(*(float(sum(p * f[k] for p, f in each)) for k in range(3))))
        return found

    @cached_property
    def counted(self) -> list[Sequence[Floats]]:
        """Failures of each way's unit by the end of each step: all, and those until one comes away from base."""
        return [lives.counts(self.clocks(i), self.years, (1.0, 1.0 - self.years.p_away)) for i in range(len(self.ways))]

    @cached_property
    def present(self) -> Floats:
        """Present cost of each way over the horizon (W,)."""
        later = [self.later(i) - self.resale(i) for i in range(len(self.ways))]
        return np.asarray(self.now + np.array(later), dtype=np.float64)

    def so_far(self, i: int, grid: Floats) -> Floats:
        """Exact expected cost of a way by some years from now, discounted; what a spare fetches is not taken off."""
        clocks, count = self.clocks(i), self.counted[i][0]
        t = np.linspace(0.0, self.years.horizon_years, 2 * len(count) - 1)
        worth = np.diff(count, axis=0) * ((1.0 + self.rate) ** -t[1::2])[:, None]
        gone = np.concatenate([[0.0], np.cumsum(worth @ clocks.weights)]) + clocks.mean(count[0])
        # what warranty pays and shorter lives bring is spread over the years as the failures are
        each = self.later(i) / gone[-1] if gone[-1] > 0 else 0.0
        return np.asarray(self.now[i] + each * np.interp(grid, t[::2], gone))


def over_the_years(ledger: Ledger) -> pd.DataFrame:
    h, rows = ledger.years.horizon_years, []
    for i, way in enumerate(ledger.case.ways):
        present, gone, clocks = float(ledger.present[i]), ledger.failures[i], ledger.clocks(i)
        failed, planned = ledger.failure(i), float(ledger.undelayed[ledger.plain(i)])
        # by the years of standing, middle of the median's range
        age, life = np.inf, float(np.median(clocks.life_years))
        if np.isfinite(life) and clocks.shape > 1.0 and failed > planned > 0:
            age = float(renewal.best_replacement_age(planned, failed, life, clocks.shape, max(ledger.rate, 0.0))[0])
        rows.append({
            "way": way.way,
            "cost_now": float(ledger.now[i]),  # expected total of this job
            "cost_failure": failed,  # of a later failure, away or not
            "present_cost": present,  # all of it discounted
            # the same as a level cost a year
            "annual_cost": renewal.equivalent_annual_cost(present, ledger.rate, h) if h > 0 else np.nan,
            "failures_expected": gone.expected,
            "failures_discounted": gone.discounted,
            "p_failure_away": gone.p_away,  # of at least one away from base
            "median_life": lives.median_life(clocks, ledger.years),  # years
            "break_even_life": break_even_life(ledger, i),
            "best_replacement_age": age,  # off season at base; inf: do not replace in time
            "with_spare": bool(way.bought),
        })  # fmt: skip
    return pd.DataFrame(rows)


def break_even_life(ledger: Ledger, i: int, factors: tuple[float, float] = (0.05, 20.0)) -> float | None:
    """Median life, its own stretched by factors, at which a way costs what the cheapest other does; or None."""
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


@dataclass(eq=False)
class Horizon:
    """The years after the job, as the owner sees them; at 0 ``years`` the present cost is this job's."""

    model: Model
    outcomes: Outcomes
    years: Years

    def over(self, years: float) -> Horizon:
        return Horizon(self.model, self.outcomes, replace(self.years, horizon_years=years))

    @cached_property
    def ledger(self) -> Ledger:
        return Ledger(self.model, self.years, self.outcomes.mean[:, TOTAL])

    @cached_property
    def ways(self) -> pd.DataFrame:
        return over_the_years(self.ledger).set_index("way")

    @cached_property
    def spares(self) -> tuple[Combination, ...]:
        """What a spare is worth by combination; a kit costs the parts of the planned rebuild, in one order."""
        if self.years.horizon_years == 0:
            return ()
        kit = self.model.buying.order(self.model.buying.plan)
        return tuple(spare_combinations(self.ledger, sum(p.landed for p in kit)))

    @cached_property
    def fan(self) -> pd.DataFrame:
        ahead = self.years.horizon_years > 0
        return cost_over_years(self.ledger, self.outcomes, self.outcomes.seed) if ahead else pd.DataFrame()

    @cached_property
    def spare_lines(self) -> pd.DataFrame:
        return worth_by_days(self.ledger) if self.years.horizon_years > 0 else pd.DataFrame()


@dataclass(frozen=True)
class Combination:
    """What having a spare (or a kit) aboard is worth over the horizon, before and after what it costs."""

    combination: str
    worth: float
    cost: float
    net: float
    p_works: float
    present_cost: float


def spare_combinations(ledger: Ledger, kit_cost: float) -> list[Combination]:
    """None, a kit alone, and every pair of the case, against the cheapest way without a spare."""
    plain = [i for i, w in enumerate(ledger.case.ways) if not w.bought and ledger.allowed[i]]
    if not plain:
        return []
    base = min(plain, key=lambda i: float(ledger.present[i]))
    least, like = float(ledger.present[base]), ledger.years.like_units
    rows = [("no spare", 0.0, 0.0, 0.0)]
    if kit_cost > 0:
        fits = ledger.years.p_kit_fits
        kit = ledger.failures[base].discounted * like * ledger.years.p_away * fits * ledger.away
        rows.append(("kit alone", kit, kit_cost, fits))
    for i, way in enumerate(ledger.case.ways):
        if way.bought and ledger.allowed[i]:
            gone, plain_way = ledger.failures[i].discounted, ledger.plain(i)
            without, works = float(ledger.unspared[plain_way]), float(ledger.p_spare[i])
            worth = gone * like * works * (without - float(ledger.swapped[plain_way]))
            rows.append((way.way, worth, float(ledger.now[i]) - ledger.resale(i) + gone * without - least, works))
    return [Combination(name, worth, cost, worth - cost, p, least + cost - worth) for name, worth, cost, p in rows]


def worth_by_days(ledger: Ledger) -> pd.DataFrame:
    now, rows = mean_of(ledger.years.days_away), []
    for days in np.linspace(0.0, max(2.0 * now, 10.0), 25):
        other = copy(ledger)
        other.unspared = ledger.total + ledger.years.p_away * (ledger.away + (float(days) - now) * ledger.day)
        dearer = np.array([other.failure(i) - ledger.failure(i) for i in range(len(ledger.ways))])
        other.present = ledger.present + np.array([f.discounted for f in ledger.failures]) * dearer
        rows += [(c.combination, days, c.net) for c in spare_combinations(other, 0.0)[1:]]
    return pd.DataFrame(rows, columns=["combination", "days_saved", "worth"])


# ---- drawn courses -------------------------------------------------------------------------------
def cost_over_years(ledger: Ledger, outcomes: Outcomes, seed: int, paths: int = FAN_PATHS) -> pd.DataFrame:
    """Discounted cost so far by year and way: columns year, way, mean, p10, p90, mean_se (of its sampled twin)."""
    h = ledger.years.horizon_years
    grid = np.linspace(0.0, h, int(np.ceil(h)) + 1)
    frames = []
    for i, way in enumerate(ledger.ways):
        now = outcomes.totals(i, float(ledger.now[i]), path_draws(seed, f"{way}:now", (paths,)))
        paid = now + paid_later(ledger, outcomes, i, grid, seed, paths)
        low, high = np.quantile(paid, [0.1, 0.9], axis=1)
        mean, se = paid.mean(axis=1), paid.std(axis=1) / np.sqrt(paths)
        columns = {"year": grid, "way": way, "mean": ledger.so_far(i, grid), "p10": low, "p90": high}
        frames.append(pd.DataFrame({**columns, "sampled_mean": mean, "mean_se": se}))
    return pd.concat(frames, ignore_index=True)


def paid_later(ledger: Ledger, outcomes: Outcomes, i: int, grid: Floats, seed: int, paths: int) -> Floats:
    """Discounted cost of later failures so far (years, paths), drawn; one costs ``Ledger.failure`` on average."""
    name, plain, years = ledger.ways[i], ledger.plain(i), ledger.years
    times = failure_times(ledger.clocks(i, drawn=True), years, paths, seed, name)
    fails = np.isfinite(times)

    def drawn(what: str) -> Floats:
        return path_draws(seed, f"{name}:{what}", (int(fails.sum()),))

    costs = outcomes.totals(plain, float(ledger.total[plain]), drawn("repair"))
    away = by_steps(years.cost_away, drawn("away")) + by_steps(years.days_away, drawn("days")) * ledger.day
    costs = costs + (drawn("where") < years.p_away) * away
    if ledger.case.ways[i].bought:
        costs = np.where(drawn("spare") < ledger.p_spare[i], ledger.swapped[plain], costs)
    if months := ledger.warranty_months(i):
        ran = np.diff(np.where(fails, times, 0.0), axis=0, prepend=0.0)[fails]
        costs = costs - np.where(ran <= months / MONTHS, ledger.warranty_pays(i), 0.0)
    worth = np.zeros(times.shape)
    worth[fails] = costs * (1.0 + ledger.rate) ** -times[fails]
    return np.array([(worth * (times <= year)).sum(axis=0) for year in grid])
