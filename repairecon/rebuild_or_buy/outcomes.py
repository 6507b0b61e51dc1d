"""What the ways cost, in money, hours and days: exact means, sampled ranges."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from datetime import date
from functools import partial
from itertools import product
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from repairecon.buying.inputs import inputs_of, mean_of
from repairecon.buying.offers import today_of
from repairecon.formulas import ranges
from repairecon.rebuild_or_buy.draws import REPLICATES, Block, Draws, Singles, ends_round, replicate_se
from repairecon.rebuild_or_buy.evaluate import Drawn, Pieces
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.sensitivity import most_moving
from repairecon.rebuild_or_buy.tree import AMOUNTS_A_WAY, MOST_SECONDS, SECONDS_A_DRAW, Floats, check_size
from repairecon.rebuild_or_buy.work import OUTPUTS
from repairecon.records import Case, Range

QUANTITIES = ("cash", "own_hours", "days", "total", "total_own_time_free")
TOTAL, DAYS = QUANTITIES.index("total"), QUANTITIES.index("days")
MONEY = len(QUANTITIES)  # place behind the quantities of what a total comes to with a lost day costing nothing
COUNTED, KEPT, MOST_DRAWS = 262_144, 1024, 1_000_000  # draws of which more than totals is counted; kept; at most
SURE_SHARE, SURE_CHANCE = 1 / 600, 0.0025  # errors of a total and of a chance at which they may be shown in full
MOST_CHANCES = 8  # chances all of whose outcomes are gone through for a date
BINS, COARSE = 4096, 256  # bins of a tally, coarse ones for each replicate
STEPS, LONG_STEPS = 4096, 16_384  # steps through the range of the cost of a lost day; of a long-tailed one
LEFT = 1e-6
SIMPLE = (
    "carry on", "own spare", "new", "pattern", "exchange", "second-hand", "send away", "rebuild", "temporary",
    "without", "buy and rebuild", "rebuild and spare",
)  # fmt: skip
"""Kinds of way, the simplest to do first: of ways that cost the same the simpler is taken."""
Count = Callable[[Any], Any]
Pairs = dict[tuple[int, int], Any]
Values = list[tuple[Any, ...]]
Replicate = NDArray[np.intp] | int


def by_replicate(x: Any, replicate: Replicate) -> Floats:
    if isinstance(replicate, int):
        return np.where(np.arange(REPLICATES) == replicate, x.sum(), 0.0)
    return np.asarray(np.bincount(replicate, weights=x, minlength=REPLICATES), dtype=np.float64)


# ---- a date by which the boat must be back in use ----
class DueDate(NamedTuple):
    """``within`` days from now; ``missed`` cost once beyond it, ``day_after`` for each day more [home money]."""

    within: float
    missed: float
    day_after: float

    @staticmethod
    def of(case: Case) -> DueDate | None:
        needed = case.needed
        if needed is None or (needed.within_days is None and not needed.by):
            return None
        within = needed.within_days
        if within is None:
            within = float((date.fromisoformat(needed.by) - today_of(case.wishes)).days)
        return DueDate(within, mean_of(needed.cost_missed), mean_of(needed.cost_day_after))

    def cost(self, days: Any) -> Any:
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
            sure = {i: Range(happens, happens, happens) for i, happens in zip(chances, came, strict=True)}
            out = model.at(sure).by_leaf(pieces, (0.0, 0.0, 1.0))
            in_time = out <= due.within + 1e-9
            back += p * float(model.tree.chance @ in_time)
            cost += p * float(model.tree.chance @ due.cost(np.where(in_time, 0.0, out)))
    return back, cost


class Tally:
    """Counts of values in bins, and in coarse bins for each replicate."""

    def __init__(self, first: NDArray[Any]) -> None:
        low, high = float(first.min()), float(first.max())
        span = max(high - low, 1e-6 * max(abs(low), abs(high), 1.0))
        self.start, self.width = low - 0.5 * span, 2.0 * span / BINS
        self.counts = np.zeros(BINS, dtype=np.int64)
        self.by_replicate = np.zeros((REPLICATES, COARSE), dtype=np.int64)
        self.low, self.high = np.inf, -np.inf

    def add(self, x: NDArray[Any], replicate: Replicate) -> None:
        scaled = (x - self.start).astype(np.float32, copy=False) * np.float32(1.0 / self.width)
        index = np.clip(scaled, 0, BINS - 1, out=scaled).astype(np.intp)
        self.counts += np.bincount(index, minlength=BINS)
        coarse = index // (BINS // COARSE) + replicate * COARSE
        self.by_replicate += np.bincount(coarse, minlength=REPLICATES * COARSE).reshape(REPLICATES, COARSE)
        self.low, self.high = min(self.low, float(x.min())), max(self.high, float(x.max()))

    @property
    def middles(self) -> Floats:
        """Middle of each bin, kept within what was drawn."""
        return np.clip(self.start + self.width * (np.arange(BINS) + 0.5), self.low, self.high)

    @property
    def edges(self) -> Floats:
        return np.asarray(self.start + self.width * np.arange(BINS + 1))

    @property
    def _cumulative(self) -> Floats:
        return np.asarray(np.concatenate([[0], np.cumsum(self.counts)]) / self.counts.sum())

    def quantile(self, p: Floats | float) -> Floats:
        """Value below which a share p of the draws lies."""
        cumulative, rises = self._cumulative, np.diff(self._cumulative) > 0
        strictly = np.append(True, rises) | np.append(rises, False)
        return np.asarray(np.clip(np.interp(p, cumulative[strictly], self.edges[strictly]), self.low, self.high))

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
        share = np.interp(x, self.edges, self._cumulative)
        return np.where(x >= self.high, 1.0, np.where(x < self.low, 0.0, share))


class Ranking:
    """Chances, draw by draw, that a way is the cheapest allowed one, and that it is cheaper than another. In a draw
    every way's total is a straight line in the cost of a lost day. Where two lines cross tells for which costs one way
    is the cheaper; the chance of those costs is known exactly, so that draws of it are not needed."""

    def __init__(self, day: Range, allowed: NDArray[np.bool_], simplest: Sequence[int] = ()) -> None:
        self.allowed, self.place = allowed, {w: k for k, w in enumerate(simplest or range(len(allowed)))}
        ends, self.steps = np.array([day.low, day.high]), STEPS
        if day.shape == "lognormal" and not day.sure:
            self.steps = LONG_STEPS
            ends = ranges.quantile(np.array([LEFT, 1.0 - LEFT]), day.low, day.likely, day.high, day.shape)
        self.low, width = float(ends[0]), max(float(ends[1] - ends[0]), 1e-9 * max(abs(day.low), 1.0))
        self.scale = self.steps / width
        middles = self.low + (np.arange(self.steps) + 0.5) / self.scale
        chance = ranges.cdf(middles, day.low, day.likely, day.high, day.shape)
        self.table = np.concatenate([[0.0], chance, [1.0]]).astype(np.float32)

    def _crossing(self, money: Singles, days: Singles) -> tuple[Singles, NDArray[np.bool_]]:
        """Chance of costs of a day below that at which ``money + days * cost`` is 0; where it is 0 at any cost."""
        with np.errstate(divide="ignore", invalid="ignore"):
            x = (money / days).astype(np.float32)
            x = x * np.float32(-self.scale) + np.float32(1.0 - self.low * self.scale)
        equal = np.isnan(x)
        x[equal] = 0.0
        return self.table.take(np.clip(x, 0.0, self.steps + 1.0).astype(np.intp), mode="clip"), equal

    def add_up(self, money: Sequence[Singles], days: Sequence[Singles], count: Count) -> tuple[Any, Pairs]:
        """Chance of being the cheapest (W, n), and by pair of ways the chance, counted, that the first is cheaper.
        ``money`` is what a way's total comes to with a lost day costing nothing (where that is sure, the whole total,
        and 0 days); of equal ways the simpler has the first place, and either is the cheaper with a chance of a
        half."""
        pairs, shape = Pairs(), (len(money), len(money[0]))
        begin, end = np.zeros(shape, dtype=np.float32), np.ones(shape, dtype=np.float32)
        for a in range(len(money)):
            for b in range(a):
                gap = days[a] - days[b]
                x, equal = self._crossing(money[a] - money[b], gap)
                over = np.signbit(gap).astype(np.float32)  # 0 where a is the cheaper at low costs of a day, else 1
                pairs[a, b] = count(np.where(equal, np.float32(0.5), np.abs(x - over)))
                if self.allowed[a] and self.allowed[b]:
                    for way, other in ((a, over), (b, 1.0 - over)):
                        np.maximum(begin[way], np.where(equal, 0.0, np.minimum(x, other)), out=begin[way])
                        np.minimum(end[way], np.where(equal, 1.0, np.maximum(x, other)), out=end[way])
                    end[a if self.place[a] > self.place[b] else b][equal] = 0.0
        chance = np.maximum(end - begin, 0.0)
        chance[~self.allowed] = 0.0
        return chance, pairs


class Outcomes:
    """Exact means by way (W, Q), sampled ranges, and some draws of the totals. Ranking and all but
    the totals are of the first COUNTED draws. All ``_se`` are from the spread of independent replicates; that of the
    date is 0 where days are sure: then its figures are exact. ``sample`` (W, n) are totals side by side."""

    def __init__(self, model: Model, seed: int) -> None:
        self.model, self.ways, self.seed, self.draws = model, model.ways, seed, 0
        cash, hours, days = model.expected().T
        free = cash + model.lost_day * days
        self.mean = np.stack([cash, hours, days, free + model.own_hour * hours, free], axis=1)
        self.tallies: list[list[Tally]] = []  # by way and quantity
        self.sample: Floats = np.zeros((len(self.ways), 0))
        kinds = [w.kind for w in model.case.ways]
        simplest = sorted(range(len(kinds)), key=lambda i: (SIMPLE.index(kinds[i]), self.ways[i]))
        self._ranking = Ranking(model.case.terms.cost_lost_day, model.allowed, simplest)
        self._due = DueDate.of(model.case)
        # chance of being back by the date, where the case names one, and what missing it adds to the total (W,)
        self.back_by: tuple[Floats, Floats] | None = None  # with its standard error
        self.late = np.zeros(len(self.ways))
        # sums by replicate
        ways, each = len(self.ways), REPLICATES
        self._ranked, self._counted = np.zeros(each), np.zeros((len(QUANTITIES), each))
        self._sums, self._below = np.zeros((ways, len(QUANTITIES), each)), np.zeros((ways, ways, each))
        self._wins, self._regret, self._back, self._late = np.zeros((4, ways, each))

    def add(self, values: Values, replicate: Replicate) -> None:
        n = by_replicate(np.ones(len(values[0][0])), replicate)
        self.tallies = self.tallies or [[Tally(row[q]) for q in range(len(QUANTITIES))] for row in values]
        for q in range(len(QUANTITIES)):
            if q == TOTAL or self.draws < COUNTED:
                for w, row in enumerate(values):
                    self.tallies[w][q].add(row[q], replicate)
                    self._sums[w, q] += by_replicate(row[q], replicate)
                self._counted[q] += n
        if self._due is not None:
            for w, row in enumerate(values):
                self._back[w] += by_replicate((row[DAYS] <= self._due.within).astype(float), replicate)
                self._late[w] += by_replicate(self._due.cost(row[DAYS]), replicate)
        if self.draws < COUNTED:
            self._rank(values, replicate, n)
        self.draws += len(values[0][0])

    def _rank(self, values: Values, replicate: Replicate, n: Floats) -> None:
        count = partial(by_replicate, replicate=replicate)
        totals, allowed = [row[TOTAL] for row in values], self.model.allowed
        best = np.minimum.reduce([t for t, may in zip(totals, allowed, strict=True) if may])
        for w, total in enumerate(totals):
            self._regret[w] += count(total - best)
        money, days = ([row[q] for row in values] for q in (MONEY, DAYS))
        if self.model.case.terms.cost_lost_day.sure:
            money, days = totals, [np.zeros_like(t) for t in totals]
        p, pairs = self._ranking.add_up(money, days, count)
        self._wins += [count(share) for share in p]
        for (a, b), first in pairs.items():
            self._below[a, b] += first
            self._below[b, a] += n - first
        self._ranked += n

    def date(self) -> None:
        """Tell what the date costs: exactly where days are sure, else as drawn."""
        if (due := self._due) is None:
            return
        n = self._ranked if self.draws <= COUNTED else self._counted[TOTAL]
        back_by, self.late = (np.asarray(x.sum(axis=-1) / n.sum()) for x in (self._back, self._late))
        self.back_by = back_by, np.asarray(replicate_se(self._back, n))
        for w, pieces in enumerate(self.model.plain.all_ways()):
            if (exact := _exactly(self.model, due, pieces)) is not None:
                back_by[w], self.late[w] = exact
                self.back_by[1][w] = 0.0
        self.mean[:, TOTAL : TOTAL + 2] += self.late[:, None]

    # ---- what came of it, by way (W,) ---------------------------------------------------------
    @property
    def sampled_mean(self) -> Floats:
        return np.asarray(self._sums.sum(axis=-1) / self._counted.sum(axis=-1))

    def totals(self, i: int, mean: float, uniform: Floats) -> Floats:
        """Totals of a way as drawn, moved to a mean."""
        return np.asarray(self.tallies[i][TOTAL].quantile(uniform) + (mean - self.sampled_mean[i, TOTAL]))

    @property
    def sampled_se(self) -> Floats:
        return np.stack([replicate_se(self._sums[:, q], n) for q, n in enumerate(self._counted)], axis=1)

    @property
    def p_cheapest(self) -> Floats:
        """Over allowed ways; sums to one."""
        p = self._wins.sum(axis=-1) / self._ranked.sum()
        return np.asarray(p / p.sum())

    @property
    def regret(self) -> Floats:
        return np.asarray(self._regret.sum(axis=-1) / self._ranked.sum())

    @property
    def beats(self) -> Floats:
        """Chance (W, W) that the row's total is below the column's, equal ones counted half."""
        return np.asarray(self._below.sum(axis=-1) / self._ranked.sum())

    @property
    def beats_se(self) -> Floats:
        return np.asarray(replicate_se(self._below, self._ranked))

    def sure_enough(self) -> bool:
        """Whether the bad case of the two best ways and the chance that one beats the other may be shown in full."""
        totals = np.where(self.model.allowed, self.mean[:, TOTAL], np.inf)
        best, second = (int(i) for i in np.argsort(totals, kind="stable")[[0, min(1, len(totals) - 1)]])
        for way in (best, second):
            error = self.tallies[way][TOTAL].quantile_se(0.9)
            if np.isfinite(totals[way]) and error > SURE_SHARE * abs(self.mean[way, TOTAL]):
                return False
        return bool(self.beats_se[best, second] <= SURE_CHANCE)


def sample(model: Model, draws: int | None, seed: int, progress: Callable[[int], object] | None = None) -> Outcomes:
    """Exact means and sampled ranges of every way. ``draws`` joint draws of all inputs and of the leaf, or None for as
    many as it takes until the verdict's figures are sure enough to be shown in full; ``progress`` is given the number
    of draws done after each block."""
    ways = model.plain.all_ways()
    each = SECONDS_A_DRAW * (sum(len(p.bill.scale) for pieces in ways for p in pieces) + AMOUNTS_A_WAY * len(ways))
    most = f"at most {int(MOST_SECONDS / each)} of this case, or auto"
    check_size(f"{draws} draws", most, 0.0, (draws or 0) * each)
    drawn = Outcomes(model, seed)
    for block, values in evaluated_blocks(model, MOST_DRAWS if draws is None else draws, seed):
        drawn.add(values, block.replicate)
        if not drawn.sample.size:
            every = max(len(block.leaf) // KEPT, 1)
            drawn.sample = np.array([v[TOTAL][::every] for v in values], dtype=float)
        if progress is not None:
            progress(len(block.leaf))
        del values
        if draws is None and ends_round(drawn.draws) and drawn.sure_enough():
            break
    drawn.date()
    return drawn


def evaluated_blocks(model: Model, draws: int, seed: int) -> Iterator[tuple[Block, Values]]:
    """Blocks of draws with what every way comes to in them, by quantity."""
    ways, hour, due = model.plain.all_ways(), float(model.own_hour), DueDate.of(model.case)
    patterns = model.program.patterns.astype(np.float32)
    correlation = model.case.terms.hours_correlation
    stream = Draws(model.inputs, model.tree.chance, correlation, seed, most_moving(model))
    for block in stream.blocks(draws):
        drawn = Drawn(model.program, block.values, block.leaf, patterns)
        values: Values = []
        for cash, hours, days in map(drawn.evaluate, ways):
            late = 0.0 if due is None else due.cost(days)
            money, lost = cash + hour * hours + late, block.values[model.program.lost_day] * days
            values.append((cash, hours, days, money + lost, cash + late + lost, money))
        del drawn  # room for what comes of it
        yield block, values
