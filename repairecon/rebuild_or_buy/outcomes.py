"""What the ways cost, in money, hours and days: exact means, sampled ranges."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from repairecon.buying.inputs import LongestWait
from repairecon.formulas import ranges
from repairecon.rebuild_or_buy.date import DueDate, exactly
from repairecon.rebuild_or_buy.draws import BLOCK, PACE, REPLICATES, SLOTS, Block, Draws, ends_round, replicate_se
from repairecon.rebuild_or_buy.evaluate import AtMeans, Drawn, input_means
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.ranking import Ranking, plainly, simplest_first
from repairecon.rebuild_or_buy.sensitivity import slopes_of

QUANTITIES = ("cash", "own_hours", "days", "total", "total_own_time_free")
TOTAL, DAYS = QUANTITIES.index("total"), QUANTITIES.index("days")
MONEY = len(QUANTITIES)
"""Place behind the quantities of what a total comes to with a lost day costing nothing."""
COUNTED = 262_144
KEPT = 1024
MOST_DRAWS = 1_000_000
SURE_SHARE = 1 / 600
SURE_CHANCE = 0.0025
BINS = 4096
COARSE = 256
LEAVES = 64
"""Leaves, spread evenly by chance, over which the inputs are ranked by what they move."""
Floats = NDArray[np.float64]
Values = list[tuple[Any, ...]]
Replicate = NDArray[np.intp] | int


def by_replicate(x: Any, replicate: Replicate) -> Floats:
    """Sum of values for each replicate."""
    if isinstance(replicate, int):
        out = np.zeros(REPLICATES)
        out[replicate] = x.sum()
        return out
    return np.asarray(np.bincount(replicate, weights=x, minlength=REPLICATES), dtype=np.float64)


class Tally:
    """Counts of values in bins, and in coarse bins for each replicate."""

    def __init__(self, first: NDArray[Any], scratch: tuple[NDArray[Any], NDArray[np.intp]] | None = None) -> None:
        low, high = float(first.min()), float(first.max())
        span = max(high - low, 1e-6 * max(abs(low), abs(high), 1.0))
        self.start = low - 0.5 * span
        self.width = 2.0 * span / BINS
        self.counts = np.zeros(BINS, dtype=np.int32)
        self.by_replicate = np.zeros((REPLICATES, COARSE), dtype=np.int32)
        self.low, self.high = np.inf, -np.inf
        own: tuple[NDArray[Any], NDArray[np.intp]] = (np.empty(BLOCK), np.empty(BLOCK, dtype=np.intp))
        self._scaled, self._index = scratch or own

    def add(self, x: NDArray[Any], replicate: Replicate) -> None:
        """Count some more values."""
        n = len(x)
        scaled, index = self._scaled[:n], self._index[:n]
        np.subtract(x, self.start, out=scaled)
        scaled *= 1.0 / self.width
        np.clip(scaled, 0, BINS - 1, out=scaled)
        np.copyto(index, scaled, casting="unsafe")
        if isinstance(replicate, int):
            counts = np.bincount(index, minlength=BINS).astype(np.int32)
            self.counts += counts
            self.by_replicate[replicate] += counts.reshape(COARSE, -1).sum(axis=1, dtype=np.int32)
        else:
            self.counts += np.bincount(index, minlength=BINS).astype(np.int32)
            index //= BINS // COARSE
            index += replicate * COARSE
            counts = np.bincount(index, minlength=REPLICATES * COARSE).astype(np.int32)
            self.by_replicate += counts.reshape(REPLICATES, COARSE)
        self.low, self.high = min(self.low, float(x.min())), max(self.high, float(x.max()))

    @property
    def middles(self) -> Floats:
        """Middle of each bin, kept within what was drawn."""
        return np.clip(self.start + self.width * (np.arange(BINS) + 0.5), self.low, self.high)

    @property
    def edges(self) -> Floats:
        """Ends of the bins."""
        return np.asarray(self.start + self.width * np.arange(BINS + 1))

    def quantile(self, p: Floats | float) -> Floats:
        """Value below which a share p of the draws lies."""
        cumulative = np.concatenate([[0], np.cumsum(self.counts)]) / self.counts.sum()
        strictly = np.concatenate([[True], np.diff(cumulative) > 0])
        strictly[:-1] |= np.concatenate([np.diff(cumulative) > 0])
        found = np.interp(p, cumulative[strictly], self.edges[strictly])
        return np.asarray(np.clip(found, self.low, self.high))

    def quantile_se(self, p: float) -> float:
        """Standard error of a quantile: from the values a standard error of its chance away on each side."""
        at = float(self.quantile(p))
        each = self.by_replicate.sum(axis=1)
        place = (at - self.start) / self.width * COARSE / BINS
        whole = min(int(place), COARSE - 1)
        below = self.by_replicate[:, :whole].sum(axis=1) + (place - whole) * self.by_replicate[:, whole]
        step = float(replicate_se(below, each))
        low, high = self.quantile(np.array([max(p - step, 0.0), min(p + step, 1.0)]))
        return float(high - low) / 2

    def chance_up_to(self, x: Floats) -> Floats:
        """Share of draws that are no more than x."""
        cumulative = np.concatenate([[0], np.cumsum(self.counts)]) / self.counts.sum()
        share = np.interp(x, self.edges, cumulative)
        return np.where(x >= self.high, 1.0, np.where(x < self.low, 0.0, share))


@dataclass
class Outcomes:
    """Exact means by way and leaf, sampled ranges, and a block of draws side by side with its inputs.

    ``mean`` (W, Q) exact; ``sampled_mean`` and ``sampled_se`` (W, Q) their sampled twins;
    ``tallies[w][q]``; ``p_cheapest`` (W,) over allowed ways, sums to one; ``regret`` (W,) expected
    extra total against the cheapest allowed way of each draw; ``beats`` (W, W) chance that the row's total is below the
    column's, equal ones counted half. Ranking and all but the totals are of the first COUNTED draws. Where the case
    names a date, ``back_by`` (W,) is the chance of being back by then and ``late`` what missing it adds to the total
    (errors 0 where days are sure: then both are exact). All ``_se`` are from the spread of independent replicates.
    ``sample`` holds ``inputs`` (J, n), ``leaf`` (n,), ``total`` (W, n).
    """

    ways: tuple[str, ...]
    draws: int
    seed: int
    mean: Floats
    sampled_mean: Floats
    sampled_se: Floats
    tallies: list[list[Tally]]
    p_cheapest: Floats
    p_cheapest_se: Floats
    regret: Floats
    regret_se: Floats
    beats: Floats
    beats_se: Floats
    back_by: Floats | None = None
    back_by_se: Floats | None = None
    late: Floats | None = None
    late_se: Floats | None = None
    sample: dict[str, NDArray[np.generic]] = field(repr=False, default_factory=dict)


class _Sums:
    """Running sums by replicate; totals of all draws, the other quantities and the ranking of the first COUNTED."""

    def __init__(self, model: Model) -> None:
        self.allowed, ways = model.allowed, len(model.ways)
        self.day = model.case.terms.cost_lost_day
        self.simplest = simplest_first(model.case)
        self.ranking = Ranking(self.day, self.allowed, self.simplest)
        self.n = 0
        self.ranked = np.zeros(REPLICATES)
        self.counted = np.zeros((len(QUANTITIES), REPLICATES))
        self.sums = np.zeros((ways, len(QUANTITIES), REPLICATES))
        self.wins = np.zeros((ways, REPLICATES))
        self.regret = np.zeros((ways, REPLICATES))
        self.below = np.zeros((ways, ways, REPLICATES))
        self.tallies: list[list[Tally]] = []
        self.due = DueDate.of(model.case)
        self.back, self.late = np.zeros((2, ways, REPLICATES))

    @property
    def mean(self) -> Floats:
        """Sampled means."""
        return np.asarray(self.sums.sum(axis=-1) / self.counted.sum(axis=-1))

    @property
    def se(self) -> Floats:
        """Standard errors of the sampled means."""
        return np.stack([replicate_se(self.sums[:, q], n) for q, n in enumerate(self.counted)], axis=1)

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
        if self.due is not None:
            for w, row in enumerate(values):
                self.back[w] += by_replicate((row[DAYS] <= self.due.within).astype(float), replicate)
                self.late[w] += by_replicate(self.due.cost(row[DAYS]), replicate)
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
            p, pairs = plainly(totals, best, self.allowed, count, self.simplest)
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
    mean = _exact(model.expected(), model.own_hour, model.lost_day)
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
    p_se, regret_se, beats_se = (replicate_se(x, so_far.ranked) for x in ranks)
    dated = _dated(model, so_far)
    mean[:, TOTAL] += dated.get("late", 0.0)
    mean[:, TOTAL + 1] += dated.get("late", 0.0)
    return Outcomes(
        ways=model.ways, draws=n, seed=seed, mean=mean, sampled_mean=so_far.mean, sampled_se=so_far.se,
        tallies=so_far.tallies, p_cheapest=p, p_cheapest_se=p_se, regret=regret, regret_se=regret_se, beats=beats,
        beats_se=beats_se,
        **dated, sample=kept,
    )  # fmt: skip


def _dated(model: Model, so_far: _Sums) -> dict[str, Floats]:
    """Chance of being back by the date and what missing it costs: exact where days are sure, else as drawn."""
    due = so_far.due
    if due is None:
        return {}
    n = np.array([so_far.ranked if so_far.n <= COUNTED else so_far.counted[TOTAL]])
    back, late = so_far.back.sum(axis=-1) / n.sum(), so_far.late.sum(axis=-1) / n.sum()
    errors = [np.asarray(replicate_se(x, n[0])) for x in (so_far.back, so_far.late)]
    for w, pieces in enumerate(model.plain.all_ways()):
        exact = exactly(model, due, pieces)
        if exact is not None:
            back[w], late[w] = exact
            errors[0][w] = errors[1][w] = 0.0
    return {"back_by": back, "back_by_se": errors[0], "late": late, "late_se": errors[1]}


def evaluated_blocks(model: Model, draws: int, seed: int) -> Iterator[tuple[Block, Values]]:
    """Blocks of draws with what every way comes to in them, by quantity."""
    ways, hour, due = model.plain.all_ways(), float(model.own_hour), DueDate.of(model.case)
    patterns = model.program.patterns.astype(np.float32)
    correlation = model.case.terms.hours_correlation
    stream = Draws(model.inputs, model.tree.chance, correlation, seed, most_moving(model))
    for block in stream.blocks(draws):
        drawn = Drawn(model.program, block.values, block.leaf, patterns)
        lost_day, triples = drawn.lost_day, [drawn.evaluate(pieces) for pieces in ways]
        del drawn  # room for what comes of it
        values: Values = []
        for cash, hours, days in triples:
            money = cash + hour * hours
            if due is not None:
                late = due.cost(days)
                money, cash_in = money + late, cash + late
            else:
                cash_in = cash
            lost = lost_day * days
            values.append((cash, hours, days, money + lost, cash_in + lost, money))
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
    return bool(replicate_se(so_far.below[best, second], so_far.ranked) <= SURE_CHANCE)


def _exact(expected: Floats, hour: float, lost_day: float) -> Floats:
    cash, hours, days = expected.T
    free = cash + lost_day * days
    return np.stack([cash, hours, days, free + hour * hours, free], axis=1)


def most_moving(model: Model) -> list[str]:
    """Keys of the inputs (the common pace of hours among them) that move the totals most, most first.

    Each is moved by one standard deviation, all else at its mean; what counts is its share of the spread of any
    allowed way's total or of the difference of any two.
    """
    effects = _effects(model)[model.allowed]
    a, b = np.triu_indices(len(effects), 1)
    both = np.concatenate([effects, effects[a] - effects[b]]) ** 2
    share = (both / np.maximum(both.sum(axis=1, keepdims=True), 1e-300)).max(axis=0)
    names = [*(x.key for x in model.inputs), PACE]
    order = sorted(range(len(names)), key=lambda k: (-float(share[k]), names[k]))
    return [names[k] for k in order if share[k] > 0.0][:SLOTS]


def _effects(model: Model) -> Floats:
    """What one standard deviation of each input, and of the pace, adds to the mean total of each way (W, J + 1)."""
    program, inputs, rho = model.program, model.inputs, model.case.terms.hours_correlation
    spreads = np.array([_spread(model, i) for i in range(len(inputs))])
    hours = np.array([x.shared_hours for x in inputs], dtype=bool)
    at, weights, ways = _over_some_leaves(model), np.array(model.weights), model.plain.all_ways()
    expected = np.array([at.expected(pieces) for pieces in ways])
    coefficients = np.array([weights @ at.coefficients(pieces) for pieces in ways])
    effects = slopes_of(model, coefficients) * spreads
    for k, term in enumerate(program.terms):
        if isinstance(term, LongestWait):
            for i in term.waits:
                effects[:, i] += coefficients[:, k] * (_longest(model, term, i, spreads[i]) - at.terms[k])
    effects[:, program.lost_day] += expected[:, 2] * spreads[program.lost_day]
    for i in model.never.values():
        at.inputs[i] += spreads[i]
        effects[:, i] += (np.array([at.expected(pieces) for pieces in ways]) - expected) @ weights
        at.inputs[i] -= spreads[i]
    pace = effects[:, hours].sum(axis=1, keepdims=True) * np.sqrt(rho)
    effects[:, hours] *= np.sqrt(1.0 - rho)
    return np.concatenate([effects, pace], axis=1)


def _over_some_leaves(model: Model) -> AtMeans:
    """The model at the means of its inputs over leaves spread evenly by chance, the longest wait that of the means."""
    cumulative = np.cumsum(model.tree.chance)
    some = np.searchsorted(cumulative / cumulative[-1], (np.arange(LEAVES) + 0.5) / LEAVES)
    chance = np.bincount(some, minlength=len(cumulative)) / LEAVES
    terms = model.plain.at.terms.copy()
    for k, term in enumerate(model.program.terms):
        if isinstance(term, LongestWait):
            terms[k] = _longest(model, term)
    return AtMeans(model.program, chance, input_means(model.program, {}, {}), terms, {})


def _longest(model: Model, term: LongestWait, moved: int = -1, by: float = 0.0) -> float:
    """The longest of some waits at their means, one of them moved."""
    waits = [model.inputs[i].mean + (by if i == moved else 0.0) for i in term.waits]
    return max([*waits, sum(k * model.inputs[i].mean for i, k in term.floor)])


def _spread(model: Model, i: int) -> float:
    x = model.inputs[i]
    if x.is_chance:
        return float(np.sqrt(x.mean * (1.0 - x.mean)))
    r = x.range
    return float(np.sqrt(ranges.variance(r.low, r.likely, r.high, r.shape)))
