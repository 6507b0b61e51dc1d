"""Cost over the years as a fan: exact mean, sampled one-in-ten ends."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from repairecon.rebuild_or_buy.cell_tables import by_steps
from repairecon.rebuild_or_buy.clocks import clocks_of, counts
from repairecon.rebuild_or_buy.draws import failure_times, path_draws
from repairecon.rebuild_or_buy.outcomes import Outcomes
from repairecon.rebuild_or_buy.years import Ledger

Floats = NDArray[np.float64]
PATHS = 4000


def cost_over_years(ledger: Ledger, outcomes: Outcomes, seed: int, paths: int = PATHS) -> pd.DataFrame:
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
    count, _ = counts(clocks_of(ledger.case, ledger.case.ways[i]), years)
    t = np.linspace(0.0, years.horizon_years, 2 * len(count) - 1)
    worth = np.diff(count, axis=0) * ((1.0 + ledger.rate) ** -t[1::2])[:, None]
    so_far = np.concatenate([[0.0], np.cumsum(worth.mean(axis=1))]) + count[0].mean()
    return np.asarray(ledger.now[i] + ledger.failure(i) * np.interp(grid, t[::2], so_far))


def courses(ledger: Ledger, outcomes: Outcomes, i: int, grid: Floats, seed: int, paths: int) -> Floats:
    """Discounted cost so far (years, paths) of drawn courses of failures."""
    clocks, years, name = clocks_of(ledger.case, ledger.case.ways[i]), ledger.years, ledger.ways[i]
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
    worth[fails] = _failure_costs(ledger, outcomes, i, seed, int(fails.sum())) * (1.0 + ledger.rate) ** -times[fails]
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
