"""What stocks are worth, written from the meaning: every course of failures, every way to use what is there."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import cache, lru_cache
from itertools import product

import numpy as np
from hypothesis import strategies as st


def choices(most: Sequence[int]) -> Iterator[tuple[int, ...]]:
    """Every number of every purchase."""
    return product(*(range(m + 1) for m in most))


@lru_cache(maxsize=1)
def best_uses(modes: tuple, left: tuple[float, ...]) -> Callable[..., tuple[float, tuple[int, ...]]]:
    """Of jobs and what is there: most money saved, and how many jobs of each kind were done; job by job, way by way."""

    @cache
    def follow(open_: tuple[int, ...], there: tuple[int, ...]) -> tuple[float, tuple[int, ...]]:
        kind = next((k for k, n in enumerate(open_) if n), None)
        if kind is None:
            return 0.0, (0,) * len(open_)
        rest = tuple(n - (k == kind) for k, n in enumerate(open_))
        best = follow(rest, there)
        for of, takes, saved in modes:
            needs = dict(takes)
            if of == kind and saved > 0 and all(there[t] >= n for t, n in needs.items()):
                value, met = follow(rest, tuple(m - needs.get(t, 0) for t, m in enumerate(there)))
                value += saved + sum(n * left[t] for t, n in needs.items())
                if value > best[0] + 1e-12:
                    best = value, tuple(m + (k == kind) for k, m in enumerate(met))
        return best

    return follow


def joint(demands, modes, stock, left) -> tuple[float, list[float], list[float]]:
    """Mean worth, chance short and jobs short by kind: every course of jobs, one by one."""
    worth = -sum(n * c for n, c in zip(stock, left, strict=True))
    best_use = best_uses(tuple(modes), tuple(left))
    p_short, short = [0.0] * len(demands), [0.0] * len(demands)
    for failed in product(*(range(len(d)) for d in demands)):
        p = 1.0
        for d, n in zip(demands, failed, strict=True):
            p *= d[n]
        value, met = best_use(failed, tuple(stock))
        worth += p * value
        for k, (n, m) in enumerate(zip(failed, met, strict=True)):
            p_short[k] += p * (m < n)
            short[k] += p * (n - m)
    return worth, p_short, short


@st.composite
def stores(draw: st.DrawFn) -> dict:
    """Small problems: jobs that take several things, kits and whole units that stand in, money and weight short."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32)))
    kinds, things = (int(n) for n in rng.integers(1, 4, 2))
    modes = []
    for k in range(kinds):
        for way in range(int(rng.integers(1, 3))):
            chosen = rng.choice(things, int(rng.integers(1, min(things, 2) + 1)), replace=False)
            takes = tuple((int(t), int(rng.integers(1, 3))) for t in chosen)
            modes.append((k, takes, float(50 + 37 * k + 11 * way + 3 * len(takes))))  # all differ
    weights = rng.integers(1, 20, (kinds, int(rng.integers(2, 4))))
    price, most = rng.integers(5, 45, things), rng.integers(0, 4, things)
    return {
        "demands": (weights / weights.sum(axis=1, keepdims=True)).tolist(),
        "modes": modes,
        "have": rng.integers(0, 3, things).tolist(),
        "cost_buy": price.tolist(),
        "most": most.tolist(),
        "cost_left": rng.integers(0, 9, things).tolist(),
        "limits": [(price.tolist(), float(rng.integers(0, 2 * price.sum()))),
                   (rng.integers(0, 6, things).tolist(), float(rng.integers(2, 16)))],
    }  # fmt: skip
