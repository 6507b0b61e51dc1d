"""What the ways cost, in money, hours and days: exact means, sampled ranges."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from repairecon.formulas import digital
from repairecon.rebuild_or_buy.draws import Block, Draws
from repairecon.rebuild_or_buy.importance import telling
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.nets import BLOCK, REPLICATES, ends_round
from repairecon.rebuild_or_buy.ranking import Ranking, plainly
from repairecon.rebuild_or_buy.rows import Rows
from repairecon.rebuild_or_buy.tally import Replicate, Tally, by_replicate

QUANTITIES = ("cash", "own_hours", "days", "total", "total_own_time_free")
TOTAL, DAYS = QUANTITIES.index("total"), QUANTITIES.index("days")
MONEY = len(QUANTITIES)
"""Place behind the quantities of what a total comes to with a lost day costing nothing."""
COUNTED = 262_144
KEPT = 1024
MOST_DRAWS = 1_000_000
SURE_SHARE = 1 / 600
SURE_CHANCE = 0.0025
Floats = NDArray[np.float64]
Values = list[tuple[Any, ...]]


@dataclass
class Outcomes:
    """Exact means by way and leaf, sampled ranges, and a block of draws side by side with its inputs.

    ``mean`` (W, Q) exact; ``sampled_mean`` and ``sampled_se`` (W, Q) their sampled twins;
    ``tallies[w][q]``; ``p_cheapest`` (W,) over allowed ways, sums to one; ``regret`` (W,) expected
    extra total against the cheapest allowed way of each draw; ``beats`` (W, W) chance that the row's
    total is below the column's, equal ones counted half. Ranking and all but
    the totals are of the first COUNTED draws. All ``_se`` are from the spread of independent
    replicates. ``sample`` holds ``inputs`` (J, n), ``leaf`` (n,), ``total`` (W, n).
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
    p_cheapest_se: Floats
    regret: Floats
    regret_se: Floats
    beats: Floats
    beats_se: Floats
    sample: dict[str, NDArray[np.generic]] = field(repr=False, default_factory=dict)


class _Sums:
    """Running sums by replicate; totals of all draws, the other quantities and the ranking of the first COUNTED."""

    def __init__(self, model: Model) -> None:
        self.allowed, ways = model.allowed, len(model.ways)
        self.day = model.case.terms.cost_lost_day
        self.ranking = Ranking(self.day, self.allowed)
        self.n = 0
        self.ranked = np.zeros(REPLICATES)
        self.counted = np.zeros((len(QUANTITIES), REPLICATES))
        self.sums = np.zeros((ways, len(QUANTITIES), REPLICATES))
        self.wins = np.zeros((ways, REPLICATES))
        self.regret = np.zeros((ways, REPLICATES))
        self.below = np.zeros((ways, ways, REPLICATES))
        self.tallies: list[list[Tally]] = []

    @property
    def mean(self) -> Floats:
        """Sampled means."""
        return np.asarray(self.sums.sum(axis=-1) / self.counted.sum(axis=-1))

    @property
    def se(self) -> Floats:
        """Standard errors of the sampled means."""
        return np.stack([digital.replicate_se(self.sums[:, q], n) for q, n in enumerate(self.counted)], axis=1)

    def add(self, values: Values, replicate: Replicate) -> None:
        """Count a block of values by way and quantity."""
        n = by_replicate(np.ones(len(values[0][0])), replicate)
        if not self.tallies:
            scratch = np.empty(BLOCK, dtype=np.float32), np.empty(BLOCK, dtype=np.intp)
            self.tallies = [[Tally(v, scratch) for v in row] for row in values]
        for q in range(len(QUANTITIES)):
            if q == TOTAL or self.n < COUNTED:
                for w, row in enumerate(values):
                    self.tallies[w][q].add(row[q], replicate)
                    self.sums[w, q] += by_replicate(row[q], replicate)
                self.counted[q] += n
        if self.n < COUNTED:
            self._rank(values, replicate, n)
            self.ranked += n
        self.n += len(values[0][0])

    def _rank(self, values: Values, replicate: Replicate, n: Floats) -> None:
        def count(x: Any) -> Floats:
            return by_replicate(x, replicate)

        totals = [row[TOTAL] for row in values]
        best = np.minimum.reduce([t for t, allowed in zip(totals, self.allowed, strict=True) if allowed])
        for w, total in enumerate(totals):
            self.regret[w] += count(total - best)
        if self.day.sure:
            p, pairs = plainly(totals, best, self.allowed, count)
        else:
            p, pairs = self.ranking.add_up([row[MONEY] for row in values], [row[DAYS] for row in values], count)
        self.wins += [count(share) for share in p]
        for (a, b), first in pairs.items():
            self.below[a, b] += first
            self.below[b, a] += n - first


def sample(model: Model, draws: int | None, seed: int, progress: Callable[[int], None] | None = None) -> Outcomes:
    """Exact means and sampled ranges of every way.

    ``draws`` joint draws of all inputs and of the leaf, or None for as many as it takes until the
    verdict's figures are sure enough to be shown in full; ``progress`` is told the number of draws done
    after each block.
    """
    by_leaf = model.expected_by_leaf()
    mean = _exact(by_leaf @ model.world.chance, model.own_hour, model.lost_day)
    so_far = _Sums(model)
    kept: dict[str, NDArray[np.generic]] = {}
    for block, values in evaluated_blocks(model, MOST_DRAWS if draws is None else draws, seed):
        so_far.add(values, block.replicate)
        if not kept:
            some = slice(None, None, max(len(block.leaf) // KEPT, 1))
            kept = {"inputs": block.values[:, some].copy(), "leaf": block.leaf[some].copy()}
            kept["total"] = np.array([v[TOTAL][some] for v in values], dtype=float)
        if progress is not None:
            progress(len(block.leaf))
        del values
        if draws is None and ends_round(so_far.n) and _sure_enough(so_far, mean):
            break
    n = so_far.n
    ranks = (so_far.wins, so_far.regret, so_far.below)
    p, regret, beats = (x.sum(axis=-1) / so_far.ranked.sum() for x in ranks)
    p /= p.sum()
    p_se, regret_se, beats_se = (digital.replicate_se(x, so_far.ranked) for x in ranks)
    return Outcomes(
        model.ways,
        n,
        seed,
        mean,
        by_leaf,
        so_far.mean,
        so_far.se,
        so_far.tallies,
        p,
        p_se,
        regret,
        regret_se,
        beats,
        beats_se,
        kept,
    )


def evaluated_blocks(model: Model, draws: int, seed: int) -> Iterator[tuple[Block, Values]]:
    """Blocks of draws with what every way comes to in them, by quantity."""
    choice, hour = model.choose(model.leaf_rows()), float(model.own_hour)
    patterns = model.patterns.astype(np.float32)
    correlation = model.case.terms.hours_correlation
    stream = Draws(model.inputs, model.world.chance, correlation, seed, telling(model))
    for block in stream.blocks(draws):
        rows = Rows(model.atom_values(list(block.values)), block.leaf, patterns)
        lost_day, triples = rows.value(model.lost_day_atom, slice(None)), model.evaluate(rows, choice)
        del rows  # room for what comes of it
        values: Values = []
        for cash, hours, days in triples:
            money = cash + hour * hours
            lost = lost_day * days
            values.append((cash, hours, days, money + lost, cash + lost, money))
        yield block, values
        del values, triples, cash, hours, days, money, lost  # and for the next block


def _sure_enough(so_far: _Sums, mean: Floats) -> bool:
    """Whether the bad case of the two best ways and the chance that one beats the other may be shown in full."""
    totals = np.where(so_far.allowed, mean[:, TOTAL], np.inf)
    best, second = (int(i) for i in np.argsort(totals, kind="stable")[[0, min(1, len(totals) - 1)]])
    for way in (best, second):
        error = so_far.tallies[way][TOTAL].quantile_se(0.9)
        if np.isfinite(totals[way]) and error > SURE_SHARE * abs(mean[way, TOTAL]):
            return False
    return bool(digital.replicate_se(so_far.below[best, second], so_far.ranked) <= SURE_CHANCE)


def _exact(expected: Floats, hour: float, lost_day: float) -> Floats:
    cash, hours, days = expected.T
    free = cash + lost_day * days
    return np.stack([cash, hours, days, free + hour * hours, free], axis=1)
