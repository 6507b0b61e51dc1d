"""Two longest waits that have single waits in common, such as two orders that go to the same suppliers."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from repairecon.formulas import ranges
from repairecon.formulas.ranges import expected_maximum

Floats = NDArray[np.float64]
Three = tuple[float, float, float, str]

TAIL = 1e-4
"""Chance beyond the last point where a wait has no end; the mean is kept."""
BODY, FAR, TIED = 700, 200, 16
"""Points up to where 1 in 200 is left, and beyond; and pieces of each cell in which both orders wait for the same."""


def two_longest(
    first: Sequence[Three],
    second: Sequence[Three],
    common: Sequence[Three],
    floors: tuple[float, float],
    coefs: tuple[float, float],
) -> tuple[Floats, Floats]:
    """Chances of a weighted sum of two longest waits.

    Parameters
    ----------
    first, second, common : sequence of (low, likely, high, shape)
        Waits that stand only in the one, only in the other, and in both; each has one at least [day].
    floors : (float, float)
        What the two longest never fall below [day]; -inf where there is none.
    coefs : (float, float)
        What a day of each counts [-]; not 0.

    Returns
    -------
    values, masses : array (n,)
        Ascending values of the sum [day] and the chance of each [-].

    Notes
    -----
    All waits being independent, both are at most (u, v) with the chance ``F_first(u) F_second(v) F_common(min(u,
    v))``. The rectangles of that chance between 900 points, laid closer where most of it is, stand at their middles;
    those in which both wait for the same are cut finer, and a floor stays where it is. As one piece among
    others that spread the sum it leaves an error below 0.0001 of chance. The mean is that of the longest waits by
    quadrature. A lognormal is cut where 0.0001 is left. ValueError for a coefficient of 0, or an order without
    waits.

    References
    ----------
    H. A. David, H. N. Nagaraja, Order Statistics, 3rd ed., section 2.1 (largest of independent variates).
    """
    if 0.0 in coefs or not (first or common) or not (second or common):
        raise ValueError("give two orders with waits, neither counted by 0")
    orders = ((*first, *common), (*second, *common))
    lows = [_lowest(order, floor) for order, floor in zip(orders, floors, strict=True)]
    edges = _edges([*first, *second, *common], lows)
    alone = [
        np.where(edges >= low, _all_within(own, edges), 0.0) for low, own in zip(lows, (first, second), strict=True)
    ]
    common_chance = _all_within(common, edges)
    below = np.outer(*alone) * np.minimum(common_chance[:, None], common_chance)
    chance = np.maximum(np.diff(np.diff(below, axis=0, prepend=0.0), axis=1, prepend=0.0), 0.0)
    values, masses = _laid_out(edges, chance, lows, coefs)
    mean = sum(
        c * float(expected_maximum([*order, (low, low, low, "pert")]))
        for c, order, low in zip(coefs, orders, lows, strict=True)
    )
    return _with_mean(values, masses / masses.sum(), mean)


def _lowest(order: Sequence[Three], floor: float) -> float:
    return max([floor, *(float(ranges.quantile(0.0, *w)) for w in order)])


def _edges(waits: Sequence[Three], lows: Sequence[float]) -> Floats:
    """Ends of cells from the lowest value on, closer where most of the chance is; the lowest values are among them."""
    low = min(lows)
    bulk, top = (max(float(ranges.quantile(1.0 - p, *w)) for w in waits) for p in (0.005, TAIL))
    top = max([top, *lows, *(w[2] for w in waits if w[3] != "lognormal")])
    bulk = min(max(bulk, low + (top - low) / 1000.0), top)
    if top <= low:
        return np.array([low])
    body = low + (bulk - low) * np.linspace(0.0, 1.0, BODY + 1)
    far = low + (bulk - low) * ((top - low) / (bulk - low)) ** (np.arange(1, FAR + 1) / FAR)
    return np.unique(np.concatenate([body, far, lows]))


def _all_within(waits: Sequence[Three], at: Floats) -> Floats:
    """Chance that all waits are at most each value; none is above the last."""
    chance = np.ones(len(at))
    for w in waits:
        chance = chance * np.asarray(ranges.cdf(at, *w))
    chance[-1] = 1.0
    return chance


def _laid_out(
    edges: Floats, chance: Floats, lows: Sequence[float], coefs: tuple[float, float]
) -> tuple[Floats, Floats]:
    """Values of the sum and their chances: rectangles at their middles, ties cut finer, floors where they are."""
    middle = np.append(edges[:1], (edges[1:] + edges[:-1]) / 2.0)
    u, v = (c * np.where(edges == low, low, middle) for c, low in zip(coefs, lows, strict=True))
    tied = np.where(edges > max(lows), chance.diagonal(), 0.0)[1:]
    chance = chance - np.diag(np.append(0.0, tied))
    inside = (np.arange(TIED) + 0.5) / TIED
    ties = sum(coefs) * (edges[:-1, None] + np.diff(edges)[:, None] * inside).ravel()
    some = np.linspace(0, len(edges) - 1, 7).astype(int)
    knots = np.unique(np.concatenate([ties, np.add.outer(u, v[some]).ravel(), np.add.outer(u[some], v).ravel()]))
    values = np.concatenate([np.add.outer(u, v).ravel(), ties])
    return knots, _split(values, np.concatenate([chance.ravel(), np.repeat(tied / TIED, TIED)]), knots)


def _split(values: Floats, chance: Floats, knots: Floats) -> Floats:
    """Chances moved to the knots on both sides, so that the mean stays."""
    if len(knots) == 1:
        return np.array([float(chance.sum())])
    k = np.clip(np.searchsorted(knots, values, side="right") - 1, 0, len(knots) - 2)
    part = np.clip((values - knots[k]) / (knots[k + 1] - knots[k]), 0.0, 1.0)
    masses = np.bincount(k, chance * (1.0 - part), len(knots))
    masses[1:] += np.bincount(k, chance * part, len(knots))[:-1]
    return np.asarray(masses)


def _with_mean(values: Floats, masses: Floats, mean: float) -> tuple[Floats, Floats]:
    """The same with a mean: a lack of long waits is put where they end, else everything is moved a little."""
    now = float(masses @ values)
    far = 0 if abs(values[0]) > abs(values[-1]) else len(values) - 1
    lack, apart = mean - now, float(values[far]) - now
    if abs(lack) < 1e-6 * (values[-1] - values[0]) or lack * apart <= 0.0:
        return values + lack, masses
    share = lack / apart
    masses = masses * (1.0 - share)
    masses[far] += share
    return values, masses
