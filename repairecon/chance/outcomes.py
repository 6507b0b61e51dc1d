"""What the ways cost, in money, hours and days: exact means, sampled ranges."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from repairecon.chance.draws import BLOCK, Draws
from repairecon.chance.model import Model
from repairecon.chance.rows import Rows
from repairecon.formulas import sums

QUANTITIES = ("cash", "own_hours", "days", "total", "total_own_time_free")
TOTAL = QUANTITIES.index("total")
COUNTED = 262_144
KEPT = 2048
BINS = 4096
MOST_DRAWS = 1_000_000
LOOK_EVERY = 4
SURE_SHARE = 1 / 600
SURE_CHANCE = 0.0025
Floats = NDArray[np.float64]


class Tally:
    """Streaming count of values in narrow bins, for quantiles without keeping the draws."""

    def __init__(self, first: Floats, scratch: tuple[Floats, NDArray[np.intp]] | None = None) -> None:
        low, high = float(first.min()), float(first.max())
        span = max(high - low, 1e-9 * max(abs(low), abs(high), 1.0))
        self.start = low - 0.5 * span
        self.width = 2.0 * span / BINS
        self.counts = np.zeros(BINS, dtype=np.int64)
        self.low, self.high = np.inf, -np.inf
        self._scaled, self._index = scratch or (np.empty(BLOCK), np.empty(BLOCK, dtype=np.intp))

    def add(self, x: Floats) -> None:
        """Count some more values."""
        n = len(x)
        scaled, index = self._scaled[:n], self._index[:n]
        np.subtract(x, self.start, out=scaled)
        scaled *= 1.0 / self.width
        np.clip(scaled, 0, BINS - 1, out=scaled)
        np.copyto(index, scaled, casting="unsafe")
        self.counts += np.bincount(index, minlength=BINS)
        self.low, self.high = min(self.low, float(x.min())), max(self.high, float(x.max()))

    @property
    def middles(self) -> Floats:
        """Middle of each bin, kept within what was drawn."""
        return np.clip(self.start + self.width * (np.arange(BINS) + 0.5), self.low, self.high)

    def quantile(self, p: Floats | float) -> Floats:
        """Value below which a share p of the draws lies."""
        cumulative = np.concatenate([[0], np.cumsum(self.counts)]) / self.counts.sum()
        edges = self.start + self.width * np.arange(BINS + 1)
        strictly = np.concatenate([[True], np.diff(cumulative) > 0])
        strictly[:-1] |= np.concatenate([np.diff(cumulative) > 0])
        found = np.interp(p, cumulative[strictly], edges[strictly])
        return np.asarray(np.clip(found, self.low, self.high))

    def quantile_se(self, p: float) -> float:
        """Standard error of a quantile, from the values a standard error of chance away on each side."""
        n = int(self.counts.sum())
        step = float(np.sqrt(p * (1 - p) / n))
        low, high = self.quantile(np.array([max(p - step, 0.0), min(p + step, 1.0)]))
        return float(high - low) / 2

    def chance_up_to(self, x: Floats) -> Floats:
        """Share of draws that are no more than x."""
        cumulative = np.concatenate([[0], np.cumsum(self.counts)]) / self.counts.sum()
        edges = self.start + self.width * np.arange(BINS + 1)
        share = np.interp(x, edges, cumulative)
        return np.where(x >= self.high, 1.0, np.where(x < self.low, 0.0, share))


@dataclass
class Outcomes:
    """Exact means by way and leaf, sampled ranges, and a block of draws side by side with its inputs.

    ``mean`` (W, Q) exact; ``sampled_mean`` and ``sampled_se`` (W, Q) their sampled twins;
    ``tallies[w][q]``; ``p_cheapest`` (W,) over allowed ways, sums to one; ``regret`` (W,) expected
    extra total against the cheapest allowed way of each draw; ``beats`` (W, W) chance that the row's
    total is below the column's. ``sample`` holds ``inputs`` (J, n), ``leaf`` (n,), ``total`` (W, n).
    """

    ways: tuple[str, ...]
    draws: int
    seed: int
    mean: Floats
    by_leaf: Floats
    sampled_mean: Floats
    sampled_se: Floats
    tallies: list[list[Tally]]
    p_cheapest: Floats
    regret: Floats
    beats: Floats
    sample: dict[str, NDArray[np.generic]] = field(repr=False, default_factory=dict)


class _Sums:
    """Running sums over blocks; totals of all draws, the other quantities of the first COUNTED."""

    def __init__(self, ways: int, allowed: NDArray[np.bool_]) -> None:
        self.allowed = allowed
        self.n = 0
        self.counted = np.zeros(len(QUANTITIES))
        self.mean = np.zeros((ways, len(QUANTITIES)))
        self.squares = np.zeros_like(self.mean)
        self.wins = np.zeros(ways)
        self.regret = np.zeros(ways)
        self.below = np.zeros((ways, ways))
        self.tallies: list[list[Tally]] = []

    @property
    def se(self) -> Floats:
        """Standard errors of the sampled means."""
        return np.asarray(np.sqrt(self.squares / np.maximum(self.counted - 1, 1) / self.counted))

    def add(self, values: list[tuple[Floats, ...]]) -> None:
        """Count a block of values by way and quantity."""
        n = len(values[0][0])
        if not self.tallies:
            scratch = np.empty(BLOCK), np.empty(BLOCK, dtype=np.intp)
            self.tallies = [[Tally(v, scratch) for v in row] for row in values]
        wanted = [q for q in range(len(QUANTITIES)) if q == TOTAL or self.n < COUNTED]
        for q in wanted:
            for w, row in enumerate(values):
                self._count(w, q, row[q])
            self.counted[q] += n
        self._rank(np.array([row[TOTAL] for row in values]))
        self.n += n

    def _count(self, w: int, q: int, v: Floats) -> None:
        self.tallies[w][q].add(v)
        so_far = int(self.counted[q]), self.mean[w, q], self.squares[w, q]
        _, self.mean[w, q], self.squares[w, q] = sums.merge_moments(*so_far, *sums.moments(v))

    def _rank(self, totals: Floats) -> None:
        best = totals[self.allowed].min(axis=0)
        least = (totals == best) & self.allowed[:, None]
        self.wins += (least / least.sum(axis=0)).sum(axis=1)
        self.regret += (totals - best).sum(axis=1)
        for w, total in enumerate(totals):
            self.below[w] += (total < totals).sum(axis=1)


def sample(model: Model, draws: int | None, seed: int, progress: Callable[[int], None] | None = None) -> Outcomes:
    """Exact means and sampled ranges of every way.

    ``draws`` joint draws of all inputs and of the leaf, or None for as many as it takes until the
    verdict's figures are sure enough to be shown in full; ``progress`` is told the number of draws done
    after each block.
    """
    choice, hour = model.choose(model.leaf_rows()), model.own_hour
    by_leaf = model.expected_by_leaf()
    mean = _exact(by_leaf @ model.world.chance, hour, model.lost_day)
    so_far = _Sums(len(model.ways), model.allowed)
    stream = Draws(model.inputs, model.world.chance, model.case.terms.hours_correlation, seed)
    kept: dict[str, NDArray[np.generic]] = {}
    for done, (values, leaf) in enumerate(stream.blocks(MOST_DRAWS if draws is None else draws), start=1):
        rows = Rows(model.atom_values(list(values)), leaf, model.patterns)
        lost_day = rows.value(model.lost_day_atom, slice(None))
        block: list[tuple[Floats, ...]] = []
        for cash, hours, days in model.evaluate(rows, choice):
            free = cash + lost_day * days
            block.append((cash, hours, days, free + hour * hours, free))
        so_far.add(block)
        if not kept:
            some = slice(None, None, max(len(leaf) // KEPT, 1))
            kept = {"inputs": values[:, some].copy(), "leaf": leaf[some].copy()}
            kept["total"] = np.array([b[TOTAL][some] for b in block])
        if progress is not None:
            progress(len(leaf))
        if draws is None and done % LOOK_EVERY == 0 and _sure_enough(so_far, mean):
            break
    n = so_far.n
    return Outcomes(
        model.ways,
        n,
        seed,
        mean,
        by_leaf,
        so_far.mean,
        so_far.se,
        so_far.tallies,
        so_far.wins / n,
        so_far.regret / n,
        so_far.below / n,
        kept,
    )


def _sure_enough(so_far: _Sums, mean: Floats) -> bool:
    """Whether the bad case of the two best ways and the chance that one beats the other may be shown in full."""
    totals = np.where(so_far.allowed, mean[:, 3], np.inf)
    best, second = (int(i) for i in np.argsort(totals, kind="stable")[[0, min(1, len(totals) - 1)]])
    for way in (best, second):
        if np.isfinite(totals[way]) and so_far.tallies[way][3].quantile_se(0.9) > SURE_SHARE * abs(mean[way, 3]):
            return False
    p = so_far.below[best, second] / so_far.n
    return bool(np.sqrt(p * (1 - p) / so_far.n) <= SURE_CHANCE)


def _exact(expected: Floats, hour: float, lost_day: float) -> Floats:
    cash, hours, days = expected.T
    free = cash + lost_day * days
    return np.stack([cash, hours, days, free + hour * hours, free], axis=1)
