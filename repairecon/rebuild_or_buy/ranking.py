"""Which way is the cheapest in a draw: its chance with the cost of a lost day taken out by its own curve.

In a draw every way's total is a straight line in the cost of a lost day. Where two lines cross tells for which
costs one way is the cheaper; the chance of those costs is known exactly, so that draws of it are not needed.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from repairecon.formulas import ranges
from repairecon.rebuild_or_buy.draws import BLOCK
from repairecon.records import Case, Range

STEPS, LONG_STEPS = 4096, 16_384
"""Steps through the range of the cost of a lost day; of a long-tailed one."""
LEFT = 1e-6
Singles = NDArray[np.float32]
Count = Callable[[Any], Any]
Pairs = dict[tuple[int, int], Any]


class Ranking:
    """Chances, draw by draw, that a way is the cheapest allowed one, and that it is cheaper than another."""

    def __init__(self, day: Range, allowed: NDArray[np.bool_], simplest: Sequence[int] = ()) -> None:
        self.place = {w: k for k, w in enumerate(simplest or range(len(allowed)))}
        ends, self.steps = np.array([day.low, day.high]), STEPS
        if day.shape == "lognormal" and not day.sure:
            self.steps = LONG_STEPS
            ends = ranges.quantile(np.array([LEFT, 1.0 - LEFT]), day.low, day.likely, day.high, day.shape)
        self.low, width = float(ends[0]), max(float(ends[1] - ends[0]), 1e-9 * max(abs(day.low), 1.0))
        self.scale = self.steps / width
        middles = self.low + (np.arange(self.steps) + 0.5) / self.scale
        chance = ranges.cdf(middles, day.low, day.likely, day.high, day.shape)
        self.table = np.concatenate([[0.0], chance, [1.0]]).astype(np.float32)
        self.allowed = allowed
        self.begin, self.end = (np.empty((len(allowed), BLOCK), dtype=np.float32) for _ in range(2))
        self.x, self.under, self.over, self.least = np.empty((4, BLOCK), dtype=np.float32)
        self.at = np.empty(BLOCK, dtype=np.intp)

    def _crossing(self, money: Singles, days: Singles, x: Singles) -> NDArray[np.bool_] | None:
        """Chance of the costs of a day below the one that makes ``money + days * cost`` 0, into ``x``; where
        it is 0 at any cost."""
        with np.errstate(divide="ignore", invalid="ignore"):
            np.divide(money, days, out=x)
        x *= np.float32(-self.scale)
        x += np.float32(1.0 - self.low * self.scale)
        equal = np.isnan(x)
        some = bool(equal.any())
        if some:
            x[equal] = 0.0
        np.clip(x, 0.0, self.steps + 1.0, out=x)
        at = self.at[: len(x)]
        np.copyto(at, x, casting="unsafe")
        self.table.take(at, out=x, mode="clip")
        return equal if some else None

    def add_up(self, money: Sequence[Singles], days: Sequence[Singles], count: Count) -> tuple[Any, Pairs]:
        """Chance of being the cheapest (W, n), and by pair of ways the chance, counted, that the first is cheaper.

        ``money`` is what a way's total comes to with a lost day costing nothing; of equal ways the simpler has the
        first place, and either is the cheaper with a chance of a half.
        """
        ways, n = len(money), len(money[0])
        begin, end = self.begin[:, :n], self.end[:, :n]
        begin[:], end[:] = 0.0, 1.0
        pairs: Pairs = {}
        x, under, over, least = self.x[:n], self.under[:n], self.over[:n], self.least[:n]
        for a in range(ways):
            for b in range(a):
                gap = days[a] - days[b]
                equal = self._crossing(money[a] - money[b], gap, x)
                np.copysign(np.float32(0.5), gap, out=under)  # 1 where a is the cheaper at low costs of a day, else 0
                under += np.float32(0.5)
                np.subtract(np.float32(1.0), under, out=over)
                np.abs(np.subtract(x, over, out=least), out=least)
                if equal is not None:
                    least[equal] = 0.5
                pairs[a, b] = count(least)
                if self.allowed[a] and self.allowed[b]:
                    for way, other in ((a, over), (b, under)):
                        np.minimum(x, other, out=least)
                        if equal is not None:
                            least[equal] = 0.0
                        np.maximum(begin[way], least, out=begin[way])
                        np.maximum(x, other, out=least)
                        if equal is not None:
                            least[equal] = 1.0
                        np.minimum(end[way], least, out=end[way])
                    if equal is not None:
                        end[a if self.place[a] > self.place[b] else b][equal] = 0.0
        end -= begin
        np.maximum(end, 0.0, out=end)
        end[~self.allowed] = 0.0
        return end, pairs


def plainly(
    totals: Sequence[Any], best: Any, allowed: NDArray[np.bool_], count: Count, simplest: Sequence[int] = ()
) -> tuple[Any, Pairs]:
    """The same where a lost day has a sure cost: one or 0, the first place with the simplest of equal ways."""
    least = np.array([(t == best) & a for t, a in zip(totals, allowed, strict=True)])
    taken = np.zeros(least.shape[1], dtype=bool)
    for w in simplest or range(len(totals)):
        least[w] &= ~taken
        taken |= least[w]
    pairs = {(a, b): count(_first(totals[a], totals[b])) for a in range(len(totals)) for b in range(a)}
    return least.astype(np.float64), pairs


def _first(a: Any, b: Any) -> Any:
    """One where the first is less, a half where they are equal, else 0."""
    return ((a < b).astype(np.float32) + (a <= b)) / 2.0


SIMPLE = (
    "carry on", "own spare", "new", "pattern", "exchange", "second-hand", "send away", "rebuild", "temporary",
    "without", "buy and rebuild", "rebuild and spare",
)  # fmt: skip
"""Kinds of way, the simplest to do first: of ways that cost the same the simpler is taken."""


def simplest_first(case: Case) -> list[int]:
    """Places of the ways, the simplest first."""
    return sorted(range(len(case.ways)), key=lambda i: (SIMPLE.index(case.ways[i].kind), case.ways[i].way))
