"""What the ways cost, in money, hours and days: exact means, sampled ranges."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import date
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import NDArray

from repairecon.buying.inputs import inputs_of, mean_of
from repairecon.buying.offers import today_of
from repairecon.rebuild_or_buy.draws import BLOCK, REPLICATES, Block, Draws, ends_round, replicate_se
from repairecon.rebuild_or_buy.evaluate import Drawn, Pieces
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.ranking import Ranking, simplest_first
from repairecon.rebuild_or_buy.sensitivity import most_moving
from repairecon.rebuild_or_buy.size import check_draws
from repairecon.rebuild_or_buy.tree import Floats
from repairecon.rebuild_or_buy.work import OUTPUTS
from repairecon.records import Case

QUANTITIES = ("cash", "own_hours", "days", "total", "total_own_time_free")
TOTAL, DAYS = QUANTITIES.index("total"), QUANTITIES.index("days")
MONEY = len(QUANTITIES)
"""Place behind the quantities of what a total comes to with a lost day costing nothing."""
COUNTED = 262_144
KEPT = 1024
MOST_DRAWS = 1_000_000
SURE_SHARE = 1 / 600
SURE_CHANCE = 0.0025
MOST_CHANCES = 8
BINS = 4096
COARSE = 256
Values = list[tuple[Any, ...]]
Replicate = NDArray[np.intp] | int


def by_replicate(x: Any, replicate: Replicate) -> Floats:
    """Sum of values for each replicate."""
    if isinstance(replicate, int):
        out = np.zeros(REPLICATES)
        out[replicate] = x.sum()
        return out
    return np.asarray(np.bincount(replicate, weights=x, minlength=REPLICATES), dtype=np.float64)


# ---- a date by which the boat must be back in use ----
@dataclass(frozen=True)
class DueDate:
    """``within`` days from now; ``missed`` cost once beyond it, ``day_after`` for each day more [home money]."""

    within: float
    missed: float
    day_after: float

    @staticmethod
    def of(case: Case) -> DueDate | None:
        """That of a case, if it has one."""
        needed = case.needed
        if needed is None or (needed.within_days is None and not needed.by):
            return None
        within = needed.within_days
        if within is None:
            within = float((date.fromisoformat(needed.by) - today_of(case.wishes)).days)
        return DueDate(within, mean_of(needed.cost_missed), mean_of(needed.cost_day_after))

    def cost(self, days: Any) -> Any:
        """What so many days out of service add."""
        beyond = np.maximum(days - self.within, 0.0)
        return self.missed * (beyond > 0.0) + self.day_after * beyond


def _exactly(model: Model, due: DueDate, pieces: Pieces) -> tuple[float, float] | None:
    """Chance of being back by the date and expected cost of missing it, leaf by leaf; None where days are not sure."""
    chances = sorted({i for p in pieces for i, _ in p.chances})
    terms = {int(k) for p in pieces for k in p.bill.term[p.bill.output == OUTPUTS.index("days")]}
    inputs = {i for k in terms for i in inputs_of(model.program.terms[k])} - set(chances)
    known = all(model.inputs[i].range.sure and not model.inputs[i].is_chance for i in inputs)
    if len(chances) > MOST_CHANCES or not known:
        return None
    back, cost, means = 0.0, 0.0, np.array([model.inputs[i].mean for i in chances])
    for came in product((0.0, 1.0), repeat=len(chances)):
        p = float(np.prod(np.where(came, means, 1.0 - means)))
        if p > 0.0:
            out = model.at(fixed=dict(zip(chances, came, strict=True))).by_leaf(pieces, (0.0, 0.0, 1.0))
            in_time = out <= due.within + 1e-9
            back += p * float(model.tree.chance @ in_time)
            cost += p * float(model.tree.chance @ due.cost(np.where(in_time, 0.0, out)))
    return back, cost


# ---- what was drawn ----
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
        counts = np.bincount(index, minlength=BINS).astype(np.int32)
        self.counts += counts
        if isinstance(replicate, int):
            self.by_replicate[replicate] += counts.reshape(COARSE, -1).sum(axis=1, dtype=np.int32)
        else:
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


@dataclass(kw_only=True)
class Outcomes:
    """Exact means by way, sampled ranges, and a block of draws side by side with its inputs.

    Ranking and all but the totals are of the first COUNTED draws. All ``_se`` are from the spread of independent
    replicates; those of the date are 0 where days are sure: then both figures are exact.
    """

    ways: tuple[str, ...]
    draws: int
    seed: int
    mean: Floats  # exact (W, Q)
    sampled_mean: Floats
    sampled_se: Floats
    tallies: list[list[Tally]]  # by way and quantity
    p_cheapest: Floats  # (W,) over allowed ways, sums to one
    p_cheapest_se: Floats
    regret: Floats  # (W,) expected extra total against the cheapest allowed way of each draw
    regret_se: Floats
    beats: Floats  # (W, W) chance that the row's total is below the column's, equal ones counted half
    beats_se: Floats
    back_by: Floats | None = None  # (W,) chance of being back by the date, where the case names one
    back_by_se: Floats | None = None
    late: Floats | None = None  # what missing the date adds to the total
    late_se: Floats | None = None
    sample: dict[str, NDArray[np.generic]] = field(repr=False, default_factory=dict)
    """``inputs`` (J, n), ``leaf`` (n,), ``total`` (W, n)."""


class _Sums:
    """Running sums by replicate; totals of all draws, the other quantities and the ranking of the first COUNTED."""

    def __init__(self, model: Model) -> None:
        self.allowed, ways = model.allowed, len(model.ways)
        self.day = model.case.terms.cost_lost_day
        self.ranking = Ranking(self.day, self.allowed, simplest_first(model.case))
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
        money, days = ([row[q] for row in values] for q in (MONEY, DAYS))
        if self.day.sure:
            money, days = totals, [np.zeros_like(t) for t in totals]
        p, pairs = self.ranking.add_up(money, days, count)
        self.wins += [count(share) for share in p]
        for (a, b), first in pairs.items():
            self.below[a, b] += first
            self.below[b, a] += n - first


def sample(model: Model, draws: int | None, seed: int, progress: Callable[[int], object] | None = None) -> Outcomes:
    """Exact means and sampled ranges of every way. ``draws`` joint draws of all inputs and of the leaf, or None for as
    many as it takes until the verdict's figures are sure enough to be shown in full; ``progress`` is given the number
    of draws done after each block."""
    ways = model.plain.all_ways()
    check_draws(draws or 0, sum(len(p.bill.scale) for pieces in ways for p in pieces), len(ways))
    cash, hours, days = model.expected().T
    free = cash + model.lost_day * days
    mean = np.stack([cash, hours, days, free + model.own_hour * hours, free], axis=1)
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
    p, regret, beats = (x.sum(axis=-1) / so_far.ranked.sum() for x in (so_far.wins, so_far.regret, so_far.below))
    p_se, regret_se, beats_se = (replicate_se(x, so_far.ranked) for x in (so_far.wins, so_far.regret, so_far.below))
    sampled = so_far.sums.sum(axis=-1) / so_far.counted.sum(axis=-1)
    errors = np.stack([replicate_se(so_far.sums[:, q], n) for q, n in enumerate(so_far.counted)], axis=1)
    dated = _dated(model, so_far)
    mean[:, TOTAL : TOTAL + 2] += np.reshape(dated.get("late", 0.0), (-1, 1))
    return Outcomes(
        ways=model.ways, draws=so_far.n, seed=seed, mean=mean, sampled_mean=sampled, sampled_se=errors,
        tallies=so_far.tallies, p_cheapest=p / p.sum(), p_cheapest_se=p_se, regret=regret, regret_se=regret_se,
        beats=beats, beats_se=beats_se, sample=kept, **dated,
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
        exact = _exactly(model, due, pieces)
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
        lost_day, triples = block.values[model.program.lost_day], [drawn.evaluate(pieces) for pieces in ways]
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
