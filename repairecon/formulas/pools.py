"""Spares pooled at a base for several boats: what each boat lacks, and the best split of a stock."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

Floats = NDArray[np.float64]
_LEFT_OUT = 1e-12
"""Chance of more pieces on order than are looked at."""


def pooled_lacks(
    at_base: int, aboard: ArrayLike, rates: ArrayLike, order_years: float, bring_years: ArrayLike
) -> tuple[Floats, Floats]:
    """What each boat lacks with a stock at the base and one aboard of each.

    Parameters
    ----------
    at_base, aboard, rates : int, array of int (B,), array (B,)
        Pieces at the base and aboard each boat [pieces]; failures a year of each boat [1/year].
    order_years, bring_years : float, array (B,)
        Until a piece ordered comes to the base, and to bring one from there to each boat [year].

    Returns
    -------
    lacking, p_without : array (B,), array (B,)
        Expected pieces lacking at a time [pieces], and the chance that a failure finds none aboard [-].

    Notes
    -----
    With demand at random and any wait for the next order the number on order at the base is Poisson (Palm's theorem).
    What the base lacks is spread over the boats as their demands are, each lack a boat's by chance in proportion; to
    that comes what was asked while a piece is brought. Exact for failures at random, first come first served and even
    times of bringing. A failure finds none aboard if as many are on their way as are held. Source: C. C. Sherbrooke,
    "METRIC: a multi-echelon technique for recoverable item control", Operations Research 16 (1968) 122-141; S. C.
    Graves, "A multi-echelon inventory model for a repairable item with one-for-one replenishment", Management Science
    31 (1985) 1247-1256 (both from memory).

    >>> lacking, p = pooled_lacks(0, [0, 0], [0.5, 0.5], 0.1, [0.02, 0.02])
    >>> lacking.round(3).tolist(), p.round(9).tolist()
    ([0.06, 0.06], [1.0, 1.0])
    """
    rate, held = np.asarray(rates, dtype=float), np.asarray(aboard, dtype=int)
    bring, demand = np.broadcast_to(np.asarray(bring_years, dtype=float), rate.shape), float(rate.sum())
    most = int(stats.poisson.isf(_LEFT_OUT, max(demand * (order_years + float(bring.max())), _LEFT_OUT))) + 1
    at_most = np.arange(most + at_base + 1)
    lack = np.zeros(most + 1)  # chances of 0, 1, ... pieces lacking at the base
    np.add.at(lack, np.maximum(at_most - at_base, 0), stats.poisson.pmf(at_most, demand * order_years))
    number = np.arange(most + 1)
    lacking, without = np.zeros(len(rate)), np.ones(len(rate))
    for b, r in enumerate(rate):
        share = r / demand if demand > 0 else 0.0
        of_boat = lack @ stats.binom.pmf(number[None, :], number[:, None], share)
        on_its_way = np.convolve(of_boat, stats.poisson.pmf(number, r * bring[b]))
        pieces = np.arange(len(on_its_way))
        lacking[b] = np.maximum(pieces - held[b], 0) @ on_its_way
        without[b] = on_its_way[held[b] :].sum()
    return lacking, without


def best_split(
    most: int,
    rates: Sequence[float],
    waits: tuple[float, Sequence[float]],
    cost_lacking: Sequence[float],
    cost_each: Sequence[float],
) -> list[tuple[int, tuple[int, ...], float]]:
    """The cheapest split of 0, 1, ... pieces over the base and the boats.

    Parameters
    ----------
    most, rates : int, sequence (B,)
        Pieces up to which it is worked out [pieces]; failures a year of each boat [1/year].
    waits : tuple
        Years until a piece ordered comes to the base, and to bring one to each boat [year].
    cost_lacking, cost_each : sequences (B,)
        Of a year without, and of each failure that finds none aboard [home money/year], [home money].

    Returns
    -------
    list of (at base, aboard, cost)
        A row a number of pieces: how they lie, and what lacking them is expected to cost [home money/year].

    Notes
    -----
    For each number at the base the rest goes aboard one by one where it spares most, which is best as a boat's cost
    falls ever slower with its stock; then the best number at the base is taken. Source: Graves (1985), as for
    :func:`pooled_lacks` (from memory); the split is ours, held against every one tried.
    """
    rate, lacking = np.asarray(rates, dtype=float), np.asarray(cost_lacking, dtype=float)
    each, boats = np.asarray(cost_each, dtype=float), len(rates)

    def costs(at_base: int, aboard: Sequence[int]) -> Floats:
        lacks, without = pooled_lacks(at_base, aboard, rate, *waits)
        return np.asarray(lacks * lacking + without * rate * each)

    best: list[tuple[int, tuple[int, ...], float]] = [(0, (0,) * boats, np.inf)] * (most + 1)
    for at_base in range(most + 1):
        ladder = np.array([costs(at_base, [n] * boats) for n in range(most - at_base + 2)])
        aboard = [0] * boats
        for pieces in range(at_base, most + 1):
            total = float(sum(ladder[n, b] for b, n in enumerate(aboard)))
            if total < best[pieces][2] - 1e-12:
                best[pieces] = (at_base, tuple(aboard), total)
            gains = [ladder[n, b] - ladder[n + 1, b] for b, n in enumerate(aboard)]
            aboard[int(np.argmax(gains))] += 1
    return best
