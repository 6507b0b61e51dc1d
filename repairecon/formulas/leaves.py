"""Leaves of a probability tree, summed up by outcome and by what has been seen."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

NOT_HAPPENING = -1
_DENSE_CODES = 65_536


def marginal(states_column: ArrayLike, chance: ArrayLike, outcomes: int) -> Floats:
    """Chance of each outcome of one event, and of its not happening (last).

    Parameters
    ----------
    states_column : int array (leaves,)
        Outcome of the event in each leaf, -1 where it does not happen [-].
    chance : array (leaves,)
        Chance of each leaf [-].
    outcomes : int
        Number of outcomes of the event [-].

    Returns
    -------
    float array (outcomes + 1,)
        Chances; the last is that of not happening [-].

    Notes
    -----
    Sum of the leaf chances by outcome. A state beyond the event's outcomes is a ValueError.

    References
    ----------
    Raiffa, Decision Analysis (1968), ch. 2 (marginal from joint probabilities).

    Examples
    --------
    >>> marginal([0, 1, 1, -1], [0.1, 0.2, 0.3, 0.4], 2).tolist()
    [0.1, 0.5, 0.4]
    """
    return joint_marginals(np.asarray(states_column)[:, np.newaxis], chance, [outcomes])


def joint_marginals(states: ArrayLike, chance: ArrayLike, outcomes: Sequence[int]) -> Floats:
    """Joint chances of the outcomes of several events as a table of one axis an event.

    Parameters
    ----------
    states : int array (leaves, events)
        Outcomes in each leaf, -1 where an event does not happen; only the columns wanted [-].
    chance : array (leaves,)
        Chance of each leaf [-].
    outcomes : sequence of int
        Number of outcomes of each event [-].

    Returns
    -------
    float array (outcomes[0] + 1, outcomes[1] + 1, ...)
        Joint chances; the last place on each axis is "does not happen" [-].

    Notes
    -----
    Sum of the leaf chances by cell. A state beyond an event's outcomes is a ValueError.

    References
    ----------
    Raiffa, Decision Analysis (1968), ch. 2 (joint and marginal probabilities).

    Examples
    --------
    >>> joint_marginals([[0, 0], [0, 1], [1, -1]], [0.1, 0.2, 0.7], [2, 2]).tolist()
    [[0.1, 0.2, 0.0], [0.0, 0.0, 0.7], [0.0, 0.0, 0.0]]
    """
    columns = np.asarray(states, dtype=np.int64)
    shape = tuple(count + 1 for count in outcomes)
    top = np.array(outcomes, dtype=np.int64)
    if np.any((columns < NOT_HAPPENING) | (columns >= top)):
        raise ValueError("a state lies beyond the outcomes of its event")
    place = np.where(columns == NOT_HAPPENING, top, columns)
    cell = np.ravel_multi_index(tuple(place.T), shape)
    table = np.bincount(cell, weights=np.asarray(chance, dtype=float), minlength=int(np.prod(shape)))
    return np.asarray(table, dtype=np.float64).reshape(shape)


def information_sets(states: ArrayLike, columns: Sequence[int]) -> tuple[Ints, int]:
    """Which leaves cannot be told apart once the events in `columns` have been seen.

    Parameters
    ----------
    states : int array (leaves, events)
        Outcomes in each leaf, -1 where an event does not happen [-].
    columns : sequence of int
        The events seen; none = nothing is known, one set [-].

    Returns
    -------
    ids : int array (leaves,)
        Number of the set each leaf belongs to, from 0, in lexicographic order of what is seen [-].
    n : int
        Number of sets [-].

    Notes
    -----
    Seeing that an event does not happen counts as seeing it. Rows are told apart by a mixed-radix
    code, renumbered without gaps.

    References
    ----------
    Savage, The Foundations of Statistics (1954), ch. 6 (observation as a partition of the states).

    Examples
    --------
    >>> ids, n = information_sets([[0, 1], [0, 0], [1, -1]], [0])
    >>> ids.tolist(), n
    ([0, 0, 1], 2)
    """
    table = np.asarray(states)
    code, n = np.zeros(len(table), dtype=np.int64), min(len(table), 1)
    for column in columns:
        seen = table[:, column].astype(np.int64) - NOT_HAPPENING
        radix = int(seen.max(initial=0)) + 1
        code = code * radix + seen
        code, n = _without_gaps(code, n * radix)
    return code, n


def expected_by_set(ids: ArrayLike, n: int, chance: ArrayLike, values: ArrayLike) -> tuple[Floats, Floats]:
    """Expected values within each set of leaves, and the chance of each set.

    Parameters
    ----------
    ids : int array (leaves,)
        Set of each leaf, 0 to n - 1 [-].
    n : int
        Number of sets [-].
    chance : array (leaves,)
        Chance of each leaf [-].
    values : array (leaves, ...)
        What is averaged; may be infinite [any].

    Returns
    -------
    expected : float array (n, ...)
        Conditional expectations [unit of values]; nan for a set of chance 0.
    set_chance : float array (n,)
        Chance of each set [-].

    Notes
    -----
    sum(chance * value) / sum(chance) over each set. Leaves of chance 0 do not count, even where their
    value is infinite.

    References
    ----------
    Raiffa, Decision Analysis (1968), ch. 2 (averaging out).

    Examples
    --------
    >>> expected, weight = expected_by_set([0, 0, 1], 2, [0.25, 0.25, 0.5], [2.0, 4.0, 7.0])
    >>> expected.tolist(), weight.tolist()
    ([3.0, 7.0], [0.5, 0.5])
    """
    where, weight = np.asarray(ids, dtype=np.int64), np.asarray(chance, dtype=float)
    table = np.asarray(values, dtype=float)
    if not np.all(weight > 0):
        possible = weight > 0
        where, weight, table = where[possible], weight[possible], table[possible]
    set_chance = np.asarray(np.bincount(where, weights=weight, minlength=n), dtype=np.float64)
    flat = table.reshape(len(table), int(np.prod(table.shape[1:])))
    sums = np.empty((n, flat.shape[1]))
    for column in range(flat.shape[1]):
        sums[:, column] = np.bincount(where, weights=weight * flat[:, column], minlength=n)
    expected = np.full_like(sums, np.nan)
    np.divide(sums, set_chance[:, np.newaxis], out=expected, where=set_chance[:, np.newaxis] > 0)
    return expected.reshape((n, *table.shape[1:])), set_chance


def _without_gaps(code: Ints, size: int) -> tuple[Ints, int]:
    """Codes below `size` renumbered 0, 1, ... in their order, and how many there are."""
    if size > max(_DENSE_CODES, 4 * len(code)):
        values, ids = np.unique(code, return_inverse=True)
        return ids.reshape(-1).astype(np.int64), len(values)
    used = np.zeros(size, dtype=np.int64)
    used[code] = 1
    number = np.cumsum(used)
    return number[code] - 1, int(number[-1]) if size else 0
