"""What stocks are worth, written from the meaning: every course of failures, every way to use what is there."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cache
from itertools import product

import numpy as np
from hypothesis import strategies as st


def mean_worth(chances: Sequence[float], stock: int, short: float, left: float, per_event: bool = False) -> float:
    """Minus the mean cost of one item's shortages and left-overs."""
    total = 0.0
    for asked, p in enumerate(chances):
        lacking = max(asked - stock, 0)
        total -= p * (short * (lacking > 0 if per_event else lacking) + left * max(stock - asked, 0))
    return total


def choices(most: Sequence[int]) -> Iterator[tuple[int, ...]]:
    """Every number of every purchase."""
    return product(*(range(m + 1) for m in most))


def best_use(failed: tuple[int, ...], stock: tuple[int, ...], saved, left) -> tuple[float, tuple[int, ...]]:
    """Most money saved with what is there, and how many of each kind found something; failure by failure."""

    @cache
    def follow(open_: tuple[int, ...], there: tuple[int, ...]) -> tuple[float, tuple[int, ...]]:
        kind = next((k for k, n in enumerate(open_) if n), None)
        if kind is None:
            return 0.0, (0,) * len(open_)
        rest = tuple(n - (k == kind) for k, n in enumerate(open_))
        best = follow(rest, there)
        for thing, n in enumerate(there):
            if n and saved[kind][thing] > 0:
                value, met = follow(rest, tuple(m - (t == thing) for t, m in enumerate(there)))
                value += saved[kind][thing] + left[thing]
                if value > best[0] + 1e-12:
                    best = value, tuple(m + (k == kind) for k, m in enumerate(met))
        return best

    return follow(failed, stock)


def joint(demands, saved, stock, left) -> tuple[float, list[float], list[float]]:
    """Mean worth, chance short and units short by kind."""
    worth = -sum(n * c for n, c in zip(stock, left, strict=True))
    p_short, short = [0.0] * len(demands), [0.0] * len(demands)
    for failed in product(*(range(len(d)) for d in demands)):
        p = 1.0
        for d, n in zip(demands, failed, strict=True):
            p *= d[n]
        value, met = best_use(failed, tuple(stock), saved, left)
        worth += p * value
        for k, (n, m) in enumerate(zip(failed, met, strict=True)):
            p_short[k] += p * (m < n)
            short[k] += p * (n - m)
    return worth, p_short, short


@st.composite
def chances(draw: st.DrawFn, longest: int = 4) -> list[float]:
    """Chances of 0, 1, ... in hundredths that add up to 1."""
    weights = draw(st.lists(st.integers(1, 20), min_size=2, max_size=longest))
    return [w / sum(weights) for w in weights]


@st.composite
def stores(draw: st.DrawFn) -> dict:
    """Small problems with parts, kits and whole units that stand in for one another."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32)))
    kinds, things, buys = (int(n) for n in rng.integers(1, 4, 3))
    # all savings differ, so that what goes where is settled
    k, t = np.indices((kinds, things))
    weights = rng.integers(1, 20, (kinds, int(rng.integers(2, 4))))
    price = rng.integers(5, 45, buys)
    return {
        "demands": (weights / weights.sum(axis=1, keepdims=True)).tolist(),
        "saved": ((rng.random((kinds, things)) < 0.6) * (50 + 37 * k + 11 * t + 5 * k * t)).tolist(),
        "have": rng.integers(0, 2, things).tolist(),
        "contents": rng.integers(0, 3, (buys, things)).tolist(),
        "cost_buy": price.tolist(),
        "most": rng.integers(0, 3, buys).tolist(),
        "budget": int(rng.integers(0, 2 * price.sum())),
        "cost_left": rng.integers(0, 9, things).tolist(),
        "uses": [rng.integers(0, 6, buys).tolist()],
        "limits": [int(rng.integers(2, 16))],
    }
