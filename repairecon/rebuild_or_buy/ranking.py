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
from repairecon.records import Case, Range

STEPS, LONG_STEPS = 4096, 16_384
"""Steps through the range of the cost of a lost day; of a long-tailed one."""
LEFT = 1e-6
Singles = NDArray[np.float32]
Count = Callable[[Any], Any]
Pairs = dict[tuple[int, int], Any]
SIMPLE = (
    "carry on", "own spare", "new", "pattern", "exchange", "second-hand", "send away", "rebuild", "temporary",
    "without", "buy and rebuild", "rebuild and spare",
)  # fmt: skip
"""Kinds of way, the simplest to do first: of ways that cost the same the simpler is taken."""


def simplest_first(case: Case) -> list[int]:
    """Places of the ways, the simplest first."""
    return sorted(range(len(case.ways)), key=lambda i: (SIMPLE.index(case.ways[i].kind), case.ways[i].way))


class Ranking:
    """Chances, draw by draw, that a way is the cheapest allowed one, and that it is cheaper than another."""

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
        """Chance of the costs of a day below the one that makes ``money + days * cost`` 0; where that is 0 at any
        cost."""
        with np.errstate(divide="ignore", invalid="ignore"):
            x = (money / days).astype(np.float32)
            x = x * np.float32(-self.scale) + np.float32(1.0 - self.low * self.scale)
        equal = np.isnan(x)
        x[equal] = 0.0
        return self.table.take(np.clip(x, 0.0, self.steps + 1.0).astype(np.intp), mode="clip"), equal

    def add_up(self, money: Sequence[Singles], days: Sequence[Singles], count: Count) -> tuple[Any, Pairs]:
        """Chance of being the cheapest (W, n), and by pair of ways the chance, counted, that the first is cheaper.

        ``money`` is what a way's total comes to with a lost day costing nothing (where that is sure, the whole total,
        and 0 days); of equal ways the simpler has the first place, and either is the cheaper with a chance of a half.
        """
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
