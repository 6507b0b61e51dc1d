"""Drawn courses of the years: cost so far as a fan, and the chance that a way is the cheapest over all of them.

Later failures of one way tell nothing of another's. Given this job's totals and what one way's failures cost, the
chance that every other way costs more is a product of shares of their drawn courses, so that few draws do.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from repairecon.formulas import digital
from repairecon.rebuild_or_buy.draws import REPLICATES, by_steps, failure_times, path_draws
from repairecon.rebuild_or_buy.lives import MONTHS, clocks_of, counts
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.outcomes import TOTAL, Outcomes, evaluated_blocks
from repairecon.rebuild_or_buy.years import Ledger

Floats = NDArray[np.float64]
FAN_PATHS = 4000
DRAWS, PATHS = 16_384, 1000
"""Draws of this job and courses of failures a replicate: standard errors of about a tenth of a chance in 100."""
BEFORE = -1.0
APART = 1_000_003


def cost_over_years(ledger: Ledger, outcomes: Outcomes, seed: int, paths: int = FAN_PATHS) -> pd.DataFrame:
    """Discounted cost so far by year and way: columns year, way, mean, p10, p90, mean_se (of its sampled twin)."""
    h = ledger.years.horizon_years
    grid = np.linspace(0.0, h, int(np.ceil(h)) + 1)
    frames = []
    for i, way in enumerate(ledger.ways):
        paid = courses(ledger, outcomes, i, grid, seed, paths)
        low, high = np.quantile(paid, [0.1, 0.9], axis=1)
        mean, se = paid.mean(axis=1), paid.std(axis=1) / np.sqrt(paths)
        columns = {"year": grid, "way": way, "mean": _means(ledger, i, grid), "p10": low, "p90": high}
        frames.append(pd.DataFrame({**columns, "sampled_mean": mean, "mean_se": se}))
    return pd.concat(frames, ignore_index=True)


def _means(ledger: Ledger, i: int, grid: Floats) -> Floats:
    """Exact expected discounted cost so far; what a spare fetches is not yet taken off."""
    years = ledger.years
    clocks = clocks_of(ledger.case, ledger.case.ways[ledger.unit_of(i)])
    count, _ = counts(clocks, years)
    t = np.linspace(0.0, years.horizon_years, 2 * len(count) - 1)
    worth = np.diff(count, axis=0) * ((1.0 + ledger.rate) ** -t[1::2])[:, None]
    so_far = np.concatenate([[0.0], np.cumsum(worth @ clocks.weights)]) + clocks.mean(count[0])
    # what warranty pays and shorter lives bring is spread over the years as the failures are
    whole = ledger.later(i)
    each = whole / so_far[-1] if so_far[-1] > 0 else 0.0
    return np.asarray(ledger.now[i] + each * np.interp(grid, t[::2], so_far))


def courses(ledger: Ledger, outcomes: Outcomes, i: int, grid: Floats, seed: int, paths: int) -> Floats:
    """Discounted cost so far (years, paths) of drawn courses of failures."""
    clocks = clocks_of(ledger.case, ledger.case.ways[ledger.unit_of(i)], drawn=True)
    years, name = ledger.years, ledger.ways[i]
    if ledger.case.ways[i].traits.in_service == "none":
        clocks = replace(
            clocks, life_years=np.full_like(clocks.life_years, np.inf), life_hours=clocks.life_hours + np.inf
        )
    times = failure_times(
        clocks.life_years, clocks.life_hours, clocks.shape, clocks.age_years, clocks.p_early,
        years.hours_a_year, years.horizon_years, paths, seed, name,
        clocks.wear_kept,
    )  # fmt: skip
    tally = outcomes.tallies[i][3]
    now = tally.quantile(path_draws(seed, f"{name}:now", (paths,)))
    now += float(ledger.now[i]) - outcomes.sampled_mean[i, 3]
    fails = np.isfinite(times)
    worth = np.zeros(times.shape)
    costs = _failure_costs(ledger, outcomes, i, seed, int(fails.sum()))
    months = ledger.warranty_months(i)
    if months:
        ran = np.diff(np.where(fails, times, 0.0), axis=0, prepend=0.0)[fails]
        costs = costs - np.where(ran <= months / MONTHS, ledger.warranty_pays(i), 0.0)
    worth[fails] = costs * (1.0 + ledger.rate) ** -times[fails]
    paid: Floats = now + np.array([(worth * (times <= year)).sum(axis=0) for year in grid])
    return paid


def _failure_costs(ledger: Ledger, outcomes: Outcomes, i: int, seed: int, count: int) -> Floats:
    """Drawn costs of so many later failures; their mean is that of ``Ledger.failure``."""
    name, plain, years = ledger.ways[i], ledger.plain(i), ledger.years
    tally = outcomes.tallies[plain][3]
    shape = (count,)
    total = tally.quantile(path_draws(seed, f"{name}:repair", shape))
    total += float(ledger.total[plain]) - outcomes.sampled_mean[plain, 3]
    money, days = (
        by_steps(r, path_draws(seed, f"{name}:{what}", shape))
        for what, r in (("away", years.cost_away), ("days", years.days_away))
    )
    away = path_draws(seed, f"{name}:where", shape) < years.p_away
    cost = total + away * (money + days * ledger.day)
    if ledger.case.ways[i].bought:
        works = path_draws(seed, f"{name}:spare", shape) < ledger.p_spare(i)
        cost = np.where(works, ledger.swapped(plain), cost)
    return np.asarray(cost)


def later_costs(ledger: Ledger, outcomes: Outcomes, seed: int, paths: int) -> Floats:
    """Discounted cost of later failures of every way (W, paths), what a bought spare fetches taken off."""
    grid = np.array([BEFORE, ledger.years.horizon_years])
    found = []
    for i in range(len(ledger.ways)):
        now, whole = courses(ledger, outcomes, i, grid, seed, paths)
        found.append(whole - now - ledger.resale(i))
    return np.array(found)


def joint_totals(model: Model, draws: int, seed: int) -> list[Floats]:
    """Totals (W, n) of each replicate."""
    parts: list[list[Floats]] = [[] for _ in range(REPLICATES)]
    for block, values in evaluated_blocks(model, draws, seed):
        totals = np.array([v[TOTAL] for v in values], dtype=float)
        for r in np.unique(block.replicate):
            parts[int(r)].append(totals[:, np.broadcast_to(block.replicate == r, totals.shape[1:])])
    return [np.concatenate(p, axis=1) for p in parts if p]


def cheapest_over_years(
    ledger: Ledger, model: Model, outcomes: Outcomes, seed: int, draws: int = DRAWS, paths: int = PATHS
) -> tuple[Floats, Floats]:
    """Chance that each allowed way has the least discounted cost over the horizon (W,), and its standard error.

    ``paths`` courses of failures for each way and replicate.
    """
    totals = joint_totals(model, draws, seed)
    wins = np.zeros((len(model.ways), len(totals)))
    for r, now in enumerate(totals):
        mine = np.sort(later_costs(ledger, outcomes, seed + r * APART, paths), axis=1)
        wins[:, r] = _wins(now, mine, model.allowed, path_draws(seed, f"cheapest:{r}", (len(now), 2)))
    counts = np.array([t.shape[1] for t in totals])
    p = wins.sum(axis=1)
    return p / p.sum(), np.asarray(digital.replicate_se(wins, counts)) * counts.sum() / p.sum()


def _wins(now: Floats, later: Floats, allowed: NDArray[np.bool_], start: Floats) -> Floats:
    """Sum over draws of the chance that each way is the cheapest."""
    ways, n = now.shape
    paths = later.shape[1]
    # Courses of a way's own failures, evenly spread over their costs and in no order that the totals know of.
    step = int(n * 0.6180339887) | 1
    while np.gcd(step, n) > 1:
        step += 2
    won = np.zeros(ways)
    for w in np.flatnonzero(allowed):
        place = ((np.arange(n) * step + int(start[w, 0] * n)) % n + start[w, 1]) / n
        cost = now[w] + later[w, (place * paths).astype(np.intp)]
        chance = np.ones(n)
        for v in np.flatnonzero(allowed):
            if v != w:
                chance *= 1.0 - np.searchsorted(later[v], cost - now[v], side="right") / paths
        won[w] = chance.sum()
    return won
