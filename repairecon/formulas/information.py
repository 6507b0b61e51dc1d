"""What knowing is worth before a way is chosen: for sure, event by event, or by looks that may be wrong."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from repairecon.formulas.leaves import expected_by_set

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

CANNOT_COME = -1
_BLOCK = 8192
_FEW_LEAVES = 2048
_WORTH_JOINING = 15


class WorthOfLooking(NamedTuple):
    """Worth of a look and what to do after each of its showings."""

    value: float
    rule: Ints
    p_signals: Floats


def best_now(chance: ArrayLike, cost: ArrayLike) -> tuple[int, float]:
    """The way of least expected cost if it must be chosen now, and that cost.

    Parameters
    ----------
    chance : array (leaves,)
        Chance of each leaf, summing to 1 [-].
    cost : array (leaves, ways)
        Cost of each way in each leaf [home money].

    Returns
    -------
    way : int
        Index of the cheapest way, the first of equals [-].
    expected_cost : float
        Its expected cost [home money].

    Notes
    -----
    min over ways of sum(chance * cost). Costs are finite: leave out ways that are not open.

    References
    ----------
    Raiffa, Decision Analysis (1968), ch. 2 (averaging out and folding back).

    Examples
    --------
    >>> best_now([0.5, 0.5], [[1.0, 2.0], [4.0, 2.0]])
    (1, 2.0)
    """
    expected = _expected(chance, cost)
    way = int(expected.argmin())
    return way, float(expected[way])


def value_of_perfect_information(chance: ArrayLike, cost: ArrayLike, ids: ArrayLike | None = None) -> float:
    """What it is worth at most to know, before choosing, which set of leaves is the case.

    Parameters
    ----------
    chance : array (leaves,)
        Chance of each leaf, summing to 1 [-].
    cost : array (leaves, ways)
        Cost of each way in each leaf [home money].
    ids : int array (leaves,), optional
        Set of each leaf, 0 to n - 1: what would be known; by default the leaf itself [-].

    Returns
    -------
    float
        Expected saving, 0 or more [home money].

    Notes
    -----
    min over ways of E(cost) less E(min over ways of E(cost | set)). Costs are finite. A result below
    0 by rounding alone is returned as 0.

    References
    ----------
    Raiffa and Schlaifer, Applied Statistical Decision Theory (1961), ch. 4 (EVPI and its parts).

    Examples
    --------
    >>> value_of_perfect_information([0.5, 0.5], [[1.0, 2.0], [4.0, 2.0]])
    0.5
    """
    now = _expected(chance, cost).min()
    if ids is None:
        informed = np.asarray(chance, dtype=float) @ np.asarray(cost, dtype=float).min(axis=1)
    else:
        where = np.asarray(ids, dtype=np.int64)
        expected, p_set = expected_by_set(where, int(where.max(initial=-1)) + 1, chance, cost)
        informed = p_set[p_set > 0] @ expected[p_set > 0].min(axis=1)
    return max(float(now - informed), 0.0)


def value_of_each_event(states: ArrayLike, chance: ArrayLike, cost: ArrayLike) -> Floats:
    """For every event at once, what it is worth at most to know its outcome before choosing.

    Parameters
    ----------
    states : int array (leaves, events)
        Outcome of each event in each leaf, -1 where it does not happen [-].
    chance : array (leaves,)
        Chance of each leaf, summing to 1 [-].
    cost : array (leaves, ways)
        Cost of each way in each leaf [home money].

    Returns
    -------
    float array (events,)
        Expected saving from knowing each event alone, 0 or more [home money].

    Notes
    -----
    `value_of_perfect_information` of each event. Sums by outcome are products of 0/1 matrices with
    chance * cost; neighbouring leaves alike in all but the restless events are first added together, and
    the last outcome is the rest of the total. Costs are finite.
    Worths of events do not add up: two may be worth more, or less, together than apart.

    References
    ----------
    Raiffa and Schlaifer, Applied Statistical Decision Theory (1961), ch. 4.

    Examples
    --------
    >>> value_of_each_event([[0, 0], [1, 0]], [0.5, 0.5], [[1.0, 2.0], [4.0, 2.0]]).tolist()
    [0.5, 0.0]
    """
    seen = np.ascontiguousarray(np.asarray(states).T)
    if seen.size == 0:
        return np.zeros(len(seen))
    weights = np.multiply(np.asarray(cost, dtype=float).T, np.asarray(chance, dtype=float), order="C")
    total = _finite(weights.sum(axis=1))
    table = _sums_by_outcome(seen, weights, int(seen.min()), int(seen.max()))
    rest = total[:, np.newaxis] - table.sum(axis=0)
    informed = table.min(axis=1).sum(axis=0) + rest.min(axis=0)
    return np.asarray(np.maximum(total.min() - informed, 0.0))


def value_of_sample_information(chance: ArrayLike, cost: ArrayLike, likelihood: ArrayLike) -> WorthOfLooking:
    """What a look that may be wrong is worth before its own cost, and the way to choose after it.

    Parameters
    ----------
    chance : array (leaves,)
        Chance of each leaf, summing to 1 [-].
    cost : array (leaves, ways)
        Cost of each way in each leaf [home money].
    likelihood : array (leaves, signals)
        Chance of each showing in each leaf; each row sums to 1 [-].

    Returns
    -------
    value : float
        Expected saving, 0 or more [home money].
    rule : int array (signals,)
        Way of least expected cost after each showing; -1 for one that cannot come [-].
    p_signals : float array (signals,)
        Chance of each showing [-].

    Notes
    -----
    min over ways of E(cost) less the sum over showings of min over ways of E(cost and showing); Bayes'
    rule is inside the joint sums. Costs are finite. ValueError if a row of likelihoods is not a
    distribution (1e-9).

    References
    ----------
    Raiffa and Schlaifer, Applied Statistical Decision Theory (1961), ch. 4 (EVSI).

    Examples
    --------
    >>> look = value_of_sample_information(
    ...     [0.5, 0.5], [[1.0, 2.0], [4.0, 2.0]], [[0.75, 0.25], [0.25, 0.75]])
    >>> look.value, look.rule.tolist(), look.p_signals.tolist()
    (0.125, [0, 1], [0.5, 0.5])
    """
    shows = np.asarray(likelihood, dtype=float)
    if shows.ndim != 2 or not (np.all(shows >= 0) and np.all(np.abs(shows.sum(axis=1) - 1) <= 1e-9)):
        raise ValueError("each leaf needs a chance for every showing of the look, summing to 1")
    before = np.asarray(chance, dtype=float)
    now = _expected(before, cost).min()
    joint = (shows * before[:, np.newaxis]).T @ np.asarray(cost, dtype=float)
    p_signals = before @ shows
    rule = np.where(p_signals > 0, joint.argmin(axis=1), CANNOT_COME)
    return WorthOfLooking(max(float(now - joint.min(axis=1).sum()), 0.0), rule, p_signals)


def _sums_by_outcome(seen: NDArray[Any], weights: Floats, first: int, last: int) -> Floats:
    """Sums of (ways, leaves) weights as (outcomes first to last - 1, ways, events)."""
    events, leaves = seen.shape
    table = np.empty((last - first, len(weights), events))
    if leaves > _FEW_LEAVES:
        changes = seen[:, 1:] != seen[:, :-1]
        calm = np.array([np.count_nonzero(row) * _WORTH_JOINING < leaves for row in changes])
        starts = np.append(0, np.flatnonzero(changes[calm].any(axis=0)) + 1)
        if calm.any() and 2 * len(starts) < leaves:
            joined = np.add.reduceat(weights, starts, axis=1)
            table[:, :, calm] = _sums_by_outcome(seen[calm].take(starts, axis=1), joined, first, last)
            table[:, :, ~calm] = _products(seen[~calm], weights, first, last)
            return table
    return _products(seen, weights, first, last)


def _products(seen: NDArray[Any], weights: Floats, first: int, last: int) -> Floats:
    table = np.zeros((last - first, len(weights), len(seen)))
    for start in range(0, seen.shape[1], _BLOCK):
        block = slice(start, start + _BLOCK)
        for row, outcome in enumerate(range(first, last)):
            table[row] += weights[:, block] @ (seen[:, block] == outcome).astype(np.float64).T
    return table


def _expected(chance: ArrayLike, cost: ArrayLike) -> Floats:
    """Expected cost of each way, checked."""
    return _finite(np.asarray(chance, dtype=float) @ np.asarray(cost, dtype=float))


def _finite(totals: Floats) -> Floats:
    if not np.all(np.isfinite(totals)):
        raise ValueError("every cost must be a finite number: leave out the ways that are not open")
    return totals
