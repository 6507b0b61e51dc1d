"""Chance that a way is the cheapest over the years: this job's totals drawn together, later failures taken out.

Later failures of one way tell nothing of another's. Given this job's totals and what one way's failures cost, the
chance that every other way costs more is a product of shares of their drawn courses, so that few draws do.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from repairecon.formulas import digital
from repairecon.rebuild_or_buy.draws import path_draws
from repairecon.rebuild_or_buy.fan import courses
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.nets import REPLICATES
from repairecon.rebuild_or_buy.outcomes import TOTAL, Outcomes, evaluated_blocks
from repairecon.rebuild_or_buy.years import Ledger

Floats = NDArray[np.float64]
DRAWS = 65_536
PATHS = 4000
BEFORE = -1.0
APART = 1_000_003


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
