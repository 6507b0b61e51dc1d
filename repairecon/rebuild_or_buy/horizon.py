"""The years after the job as the answer has them: every way, what a spare aboard is worth, drawn courses. Later
failures of one way tell nothing of another's. Given this job's totals and what one way's failures cost, the chance that
every other way costs more is a product of shares of their drawn courses, so that few draws do."""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd

from repairecon.buying.inputs import mean_of
from repairecon.rebuild_or_buy.draws import REPLICATES, by_steps, failure_times, path_draws, replicate_se
from repairecon.rebuild_or_buy.lives import MONTHS
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.outcomes import TOTAL, Outcomes, evaluated_blocks
from repairecon.rebuild_or_buy.tree import Floats
from repairecon.rebuild_or_buy.years import Ledger, over_the_years
from repairecon.records import Years

FAN_PATHS = 4000
DRAWS, PATHS = 16_384, 1000
"""Draws of this job and courses of failures a replicate: standard errors of about a tenth of a chance in 100."""
APART = 1_000_003


class Horizon:
    """The years after the job, each part worked out when it is first asked for; at 0 years the present cost is this
    job's. ``years`` as the owner sees them; ``best`` the allowed way with the least present cost."""

    def __init__(self, model: Model, outcomes: Outcomes, years: Years) -> None:
        self.years, self._model, self._outcomes = years, model, outcomes

    def over(self, years: float) -> Horizon:
        """The same looked at over so many years."""
        return Horizon(self._model, self._outcomes, replace(self.years, horizon_years=years))

    @cached_property
    def ledger(self) -> Ledger:
        return Ledger(self._model, self.years, self._outcomes.mean[:, TOTAL])

    @cached_property
    def ways(self) -> pd.DataFrame:
        """A row a way (see ``over_the_years``), with the chance that it is the cheapest over the years."""
        ways = over_the_years(self.ledger).set_index("way")
        chances = self._outcomes.p_cheapest, self._outcomes.p_cheapest_se
        if self.years.horizon_years > 0:
            chances = cheapest_over_years(self.ledger, self._outcomes, self._outcomes.seed)
        ways["p_cheapest"], ways["p_cheapest_se"] = chances
        return ways

    @cached_property
    def best(self) -> str:
        """The allowed way with the least present cost."""
        return self._model.ways[int(np.where(self._model.allowed, self.ledger.present, np.inf).argmin())]

    @cached_property
    def spares(self) -> tuple[Combination, ...]:
        """What a spare is worth by combination; a kit costs the parts of the planned rebuild, in one order."""
        if self.years.horizon_years == 0:
            return ()
        buying = self._model.buying
        return tuple(spare_combinations(self.ledger, sum(p.landed for p in buying.order(buying.plan))))

    @cached_property
    def fan(self) -> pd.DataFrame:
        """Cost so far by year and way."""
        if self.years.horizon_years == 0:
            return pd.DataFrame()
        return cost_over_years(self.ledger, self._outcomes, self._outcomes.seed)

    @cached_property
    def spare_lines(self) -> pd.DataFrame:
        """Net worth of a spare against the days that it saves."""
        return worth_by_days(self.ledger, 25 if self.years.horizon_years > 0 else 0)


# ---- what a spare aboard is worth ----------------------------------------------------------------
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


def worth_by_days(ledger: Ledger, steps: int = 25) -> pd.DataFrame:
    """Net worth of each pair's spare against the days that each failure away takes."""
    now, rows = mean_of(ledger.years.days_away), []
    for days in np.linspace(0.0, max(2.0 * now, 10.0), steps):
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
        now = _totals(outcomes, i, float(ledger.now[i]), path_draws(seed, f"{way}:now", (paths,)))
        paid = now + paid_later(ledger, outcomes, i, grid, seed, paths)
        low, high = np.quantile(paid, [0.1, 0.9], axis=1)
        mean, se = paid.mean(axis=1), paid.std(axis=1) / np.sqrt(paths)
        columns = {"year": grid, "way": way, "mean": ledger.so_far(i, grid), "p10": low, "p90": high}
        frames.append(pd.DataFrame({**columns, "sampled_mean": mean, "mean_se": se}))
    return pd.concat(frames, ignore_index=True)


def paid_later(ledger: Ledger, outcomes: Outcomes, i: int, grid: Floats, seed: int, paths: int) -> Floats:
    """Discounted cost of later failures so far (years, paths) in drawn courses; the mean cost of one is that of
    ``Ledger.failure``."""
    name, plain, years = ledger.ways[i], ledger.plain(i), ledger.years
    times = failure_times(ledger.clocks(i, drawn=True), years, paths, seed, name)
    fails = np.isfinite(times)

    def drawn(what: str) -> Floats:
        return path_draws(seed, f"{name}:{what}", (int(fails.sum()),))

    costs = _totals(outcomes, plain, float(ledger.total[plain]), drawn("repair"))
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


def _totals(outcomes: Outcomes, i: int, mean: float, uniform: Floats) -> Floats:
    """Totals of a way as drawn, moved to a mean."""
    drawn = outcomes.tallies[i][TOTAL].quantile(uniform)
    return np.asarray(drawn + (mean - outcomes.sampled_mean[i, TOTAL]))


def later_costs(ledger: Ledger, outcomes: Outcomes, seed: int, paths: int) -> Floats:
    """Discounted cost of later failures of every way (W, paths), what a bought spare fetches taken off."""
    ways, end = range(len(ledger.ways)), np.array([ledger.years.horizon_years])
    return np.array([paid_later(ledger, outcomes, i, end, seed, paths)[0] - ledger.resale(i) for i in ways])


def joint_totals(model: Model, draws: int, seed: int) -> list[Floats]:
    """Totals (W, n) of each replicate."""
    parts: list[list[Floats]] = [[] for _ in range(REPLICATES)]
    for block, values in evaluated_blocks(model, draws, seed):
        totals = np.array([v[TOTAL] for v in values], dtype=float)
        for r in np.unique(block.replicate):
            parts[int(r)].append(totals[:, np.broadcast_to(block.replicate == r, totals.shape[1:])])
    return [np.concatenate(p, axis=1) for p in parts if p]


def cheapest_over_years(
    ledger: Ledger, outcomes: Outcomes, seed: int, draws: int = DRAWS, paths: int = PATHS
) -> tuple[Floats, Floats]:
    """Chance that each allowed way has the least discounted cost over the horizon (W,), and its standard error.
    ``paths`` courses of failures for each way and replicate."""
    totals, allowed = joint_totals(ledger.model, draws, seed), np.flatnonzero(ledger.allowed)
    wins = np.zeros((len(ledger.ways), len(totals)))
    for r, now in enumerate(totals):
        later = np.sort(later_costs(ledger, outcomes, seed + r * APART, paths), axis=1)
        start, n = path_draws(seed, f"cheapest:{r}", (len(now), 2)), now.shape[1]
        # courses of a way's own failures, evenly spread over their costs and in no order that the totals know of
        step = int(n * 0.6180339887) | 1
        while np.gcd(step, n) > 1:
            step += 2
        for w in allowed:
            place = ((np.arange(n) * step + int(start[w, 0] * n)) % n + start[w, 1]) / n
            cost, chance = now[w] + later[w, (place * paths).astype(np.intp)], np.ones(n)
            for v in allowed[allowed != w]:
                chance *= 1.0 - np.searchsorted(later[v], cost - now[v], side="right") / paths
            wins[w, r] = chance.sum()
    counts = np.array([t.shape[1] for t in totals])
    p = wins.sum(axis=1)
    return p / p.sum(), np.asarray(replicate_se(wins, counts)) * counts.sum() / p.sum()
