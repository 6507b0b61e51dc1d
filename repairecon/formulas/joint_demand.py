"""Failures of several kinds at once, and the stock shared among them: kits, whole units, parts of several units.

A *kind* is a kind of failure with its chances of 0, 1, 2, ... . A *thing* lies in a locker. `saved[kind, thing]` is the
money that one such thing saves when it meets one such failure; 0 where it does not fit.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from repairecon.formulas.shortage import p_above

Floats = NDArray[np.float64]
Wholes = NDArray[np.int64]

SCENARIOS = 2000


class JointWorth(NamedTuple):
    """What a stock is worth against failures of several kinds."""

    worth: float
    """Money saved on average, less what is lost on what is left over [home money]."""
    p_short: Floats
    """Chance of each kind that a failure finds nothing that fits [-]."""
    expected_short: Floats
    """Failures of each kind that find nothing that fits, on average [-]."""
    p_left_out: float
    """Chance of courses too unlikely to be followed; there nothing is counted as saved [-]."""


def saved_by(cost_short: ArrayLike, p_useful: ArrayLike, cost_extra: ArrayLike = 0.0) -> Floats:
    """Money that a thing saves when it meets a failure.

    Parameters
    ----------
    cost_short : array (kinds,)
        Cost of being without, for each failure of the kind [home money].
    p_useful : array (kinds, things)
        Chance that the thing ends the failure, 0 where it does not fit: a kit wants tools, skill and a place
        to work, a whole unit is swapped in [-].
    cost_extra : array (kinds, things)
        What using it costs beyond its price: hours, consumables, the use of a dear thing for a small fault
        [home money].

    Returns
    -------
    array (kinds, things)
        Money saved [home money]; 0 where it is not worth using.

    Notes
    -----
    ``max(p_useful cost_short - cost_extra, 0)``. A thing that did not help is used up and nothing else is tried.
    ValueError for chances outside 0..1.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> saved_by([400.0], [[0.5, 1.0]], [[20.0, 0.0]]).tolist()
    [[180.0, 400.0]]
    """
    useful = np.asarray(p_useful, dtype=float)
    if not np.all((useful >= 0.0) & (useful <= 1.0)):
        raise ValueError("a chance must lie in 0..1 (0.20 for 20 %)")
    cost = np.asarray(cost_short, dtype=float)[:, np.newaxis]
    return np.asarray(np.maximum(useful * cost - np.asarray(cost_extra, dtype=float), 0.0))


def groups(saved: ArrayLike) -> list[tuple[Wholes, Wholes]]:
    """Kinds of failure and things that hang together.

    Parameters
    ----------
    saved : array (kinds, things)
        Money saved [home money].

    Returns
    -------
    list of (kinds, things)
        Numbers of each group, by its first kind [-]; kinds that nothing fits, and things that fit nothing, form none.

    Notes
    -----
    Two kinds hang together if a thing fits both, two things if they fit one kind.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> [(k.tolist(), t.tolist()) for k, t in groups([[1, 0, 0], [0, 1, 1]])]
    [([0], [0]), ([1], [1, 2])]
    """
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import connected_components

    fits = np.asarray(saved) > 0
    kind, thing = np.nonzero(fits)
    size = sum(fits.shape)
    links = csr_array((np.ones(len(kind)), (kind, thing + len(fits))), shape=(size, size))
    labels = connected_components(links, directed=False)[1]
    of_kind, of_thing = labels[: len(fits)], labels[len(fits) :]
    order = np.unique(of_kind[kind], return_index=True)
    first = order[0][np.argsort(kind[order[1]])]
    return [(np.flatnonzero(of_kind == g), np.flatnonzero(of_thing == g)) for g in first]


def scenarios(demands: Sequence[ArrayLike], caps: Sequence[int], most: int = SCENARIOS) -> tuple[Wholes, Floats]:
    """Numbers of failures that may come together, and their chances.

    Parameters
    ----------
    demands : sequence of array (numbers,)
        Chances of 0, 1, 2, ... of each kind; they do not hang together [-].
    caps : sequence of int
        Most failures of each kind that anything could be there for [-].
    most : int
        Most courses to follow: the likeliest [-].

    Returns
    -------
    counts : int array (courses, kinds)
        Failures of each kind; one more than its cap stands for all beyond [-].
    p_course : array (courses,)
        Chances [-]; what is missing from 1 was left out.

    Notes
    -----
    Nothing is left out as long as the product of ``cap + 2`` does not pass `most`. ValueError for chances that
    are none.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> counts, p = scenarios([[0.5, 0.25, 0.25]], [1])
    >>> counts[:, 0].tolist(), p.tolist()
    ([0, 1, 2], [0.5, 0.25, 0.25])
    """
    counts, chance = np.zeros((1, 0), dtype=np.int64), np.ones(1)
    for demand, cap in zip(demands, caps, strict=True):
        each = _capped(demand, cap)
        joint = (chance[:, np.newaxis] * each).ravel()
        before, number = np.divmod(np.arange(len(joint)), len(each))
        keep = np.flatnonzero(joint > 0.0)
        if len(keep) > most:
            keep = np.sort(keep[np.argsort(-joint[keep], kind="stable")[:most]])
        counts, chance = np.column_stack([counts[before[keep]], number[keep]]), joint[keep]
    return counts, chance


def joint_worth(
    demands: Sequence[ArrayLike],
    saved: ArrayLike,
    stock: ArrayLike,
    cost_left: ArrayLike = 0.0,
    most_courses: int = SCENARIOS,
) -> JointWorth:
    """What a stock is worth when things stand in for one another.

    Parameters
    ----------
    demands : sequence of array (numbers,)
        Chances of 0, 1, 2, ... failures of each kind until the next resupply [-].
    saved : array (kinds, things)
        Money one thing saves when it meets one failure, from :func:`saved_by` [home money].
    stock : int array (things,)
        Things aboard and in date [-].
    cost_left : float or array (things,)
        What a thing left over loses in worth over the period [home money].
    most_courses : int
        Most courses of failures to follow in each group [-].

    Returns
    -------
    JointWorth
        Worth and shortages by kind [home money, -].

    Notes
    -----
    In every course of failures the things go where they save most (an assignment problem), as if all failures
    were known before the first is mended: an upper limit of what an owner who must choose one by one can do,
    reached where things do not compete. A thing used is no longer left over. ValueError for negative numbers.

    References
    ----------
    H. W. Kuhn, "The Hungarian method for the assignment problem", Naval Research Logistics Quarterly 2 (1955)
    83-97 (from memory).
    """
    from scipy.optimize import linear_sum_assignment

    table, held = np.asarray(saved, dtype=float), np.asarray(stock).astype(np.int64)
    left = np.broadcast_to(np.asarray(cost_left, dtype=float), held.shape)
    if np.any(table < 0.0) or np.any(held < 0) or np.any(left < 0.0):
        raise ValueError("money saved, stock and cost left must be 0 or more")
    worth, out = -float(held @ left), 0.0
    short = np.array([p_above(d)[0] for d in demands])
    units = np.array([p_above(d).sum() for d in demands])
    for kinds, things in groups(table):
        fits = table[np.ix_(kinds, things)]
        caps = [int(held[things[row > 0.0]].sum()) for row in fits]
        counts, chance = scenarios([demands[k] for k in kinds], caps, most_courses)
        places = np.repeat(np.arange(len(things)), held[things])
        met = np.zeros(counts.shape, dtype=np.int64)
        value = np.where(fits > 0.0, fits + left[things], 0.0)
        for course, row in enumerate(counts):
            failed = np.repeat(np.arange(len(kinds)), row)
            gain = value[np.ix_(failed, places)]
            a, b = linear_sum_assignment(gain, maximize=True)
            fitting = gain[a, b] > 0.0
            worth += float(chance[course] * gain[a, b].sum())
            met[course] = np.bincount(failed[a[fitting]], minlength=len(kinds))
        units[kinds] -= chance @ met
        short[kinds] = np.clip(1.0 - chance @ (met == counts), 0.0, 1.0)
        out = max(out, 1.0 - float(chance.sum()))
    return JointWorth(worth, short, np.maximum(units, 0.0), max(out, 0.0))


def _capped(demand: ArrayLike, cap: int) -> Floats:
    """Chances of 0, 1, ... cap, and of more; what is missing from 1 is more."""
    chances = np.asarray(demand, dtype=float)
    above = p_above(chances)
    if len(chances) <= cap:
        return np.append(chances, above[-1]) if above[-1] > 0.0 else chances
    return np.append(chances[: cap + 1], above[cap])
