"""Demands put together: several units, jobs of several pieces, views that differ, spares that may be dead.

Chances of 0, 1, 2, ... asked for stand along the last axis, as on the pages of `demand`; what is missing
from 1 is the chance of more than the last number.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from repairecon.formulas.shortage import checked_chances, stock_for

Floats = NDArray[np.float64]
Wholes = NDArray[np.int64]


def demand_table(demands: Sequence[ArrayLike]) -> Floats:
    """Demands of unlike length as one table, a row each.

    Parameters
    ----------
    demands : sequence of array (numbers,)
        Chances of 0, 1, 2, ... of each [-].

    Returns
    -------
    array (demands, most numbers)
        The same, zeros behind the shorter ones [-].

    Notes
    -----
    A row's missing chance then lies beyond the table's last number. ValueError for chances that are none.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> demand_table([[1.0], [0.5, 0.5]]).tolist()
    [[1.0, 0.0], [0.5, 0.5]]
    """
    rows = [checked_chances(d) for d in demands]
    table = np.zeros((len(rows), max(map(len, rows), default=1)))
    for k, row in enumerate(rows):
        table[k, : len(row)] = row
    return table


def mixed_demand(demands: Sequence[ArrayLike], weights: ArrayLike) -> Floats:
    """Chances of 0, 1, 2, ... when one of several views is right, nobody knows which.

    Parameters
    ----------
    demands : sequence of array (numbers,)
        Chances under each view, such as each of several lives [-].
    weights : array (views,)
        How likely each view is; they add up to 1 [-].

    Returns
    -------
    array (numbers,)
        Chances [-].

    Notes
    -----
    ``sum of weight x chances``. Mix the views of one unit, or of units that share the same doubt, after adding
    up within each view. ValueError for weights below 0 or that do not add up to 1.

    References
    ----------
    Law of total probability.

    Examples
    --------
    >>> mixed_demand([[1.0], [0.5, 0.5]], [0.75, 0.25]).tolist()
    [0.875, 0.125]
    """
    share = np.asarray(weights, dtype=float)
    if not np.all(share >= 0.0) or abs(float(share.sum()) - 1.0) > 1e-9 or len(share) != len(demands):
        raise ValueError("give each view a weight of 0 or more, adding up to 1")
    return np.asarray(share @ demand_table(demands))


def demand_for_duds(demand: ArrayLike, p_works: float, most: int | None = None) -> Floats:
    """Chances of 0, 1, 2, ... spares used up when a spare may turn out dead and the next one is tried.

    Parameters
    ----------
    demand : array (numbers,)
        Chances of 0, 1, 2, ... failures [-].
    p_works : float
        Chance that a spare works, each on its own, above 0 [-].
    most : int or None
        Last number to give a chance for; None = twice the demand's numbers and 20 more [-].

    Returns
    -------
    array (most + 1,)
        Chances [-].

    Notes
    -----
    Each failure uses up a geometric number of spares. A stock s is enough with the chance that its working ones are.
    Spares that die for the same reason (one damp locker) hang together; then :func:`mixed_demand`. ValueError
    for a chance of 0 or outside 0..1.

    References
    ----------
    Johnson, Kemp and Kotz, Univariate Discrete Distributions, 3rd ed., ch. 5 (negative binomial; from memory).

    Examples
    --------
    >>> demand_for_duds([0.5, 0.5], 0.5, 2).tolist()
    [0.5, 0.25, 0.125]
    """
    if not 0.0 < p_works <= 1.0:
        raise ValueError("the chance that a spare works must lie in 0..1 and above 0")
    failures = checked_chances(demand)
    last = 2 * len(failures) + 20 if most is None else most
    one = p_works * (1.0 - p_works) ** np.arange(last)
    used, tries = np.zeros(last + 1), np.zeros(last + 1)
    tries[0] = 1.0
    for p in failures:
        used += p * tries
        tries = np.concatenate([[0.0], np.convolve(tries, one)[:last]])
    return used


def total_demand(demands: Sequence[ArrayLike], most: int | None = None) -> Floats:
    """Chances of 0, 1, 2, ... in all, of demands that do not hang together.

    Parameters
    ----------
    demands : sequence of array (numbers,)
        Chances of 0, 1, 2, ... of each [-].
    most : int or None
        Last number to give a chance for; None = as far as they reach [-].

    Returns
    -------
    array (most + 1,)
        Chances [-].

    Notes
    -----
    Convolution: several like units with one common pool of spares. What is missing from 1 adds up. ValueError for
    chances below 0.

    References
    ----------
    Trivedi, Probability and Statistics with Reliability, Queuing and Computer Science Applications, 2nd ed.,
    ch. 6.4, problem 2 (common pool; after Barlow).

    Examples
    --------
    >>> total_demand([[0.5, 0.5], [0.5, 0.5]]).tolist()
    [0.25, 0.5, 0.25]
    """
    total = np.ones(1)
    for demand in demands:
        total = np.convolve(total, checked_chances(demand))[: None if most is None else most + 1]
    if most is not None and len(total) < most + 1:
        total = np.concatenate([total, np.zeros(most + 1 - len(total))])
    return np.asarray(total)


def demand_in_batches(demand: ArrayLike, per_job: int, sure: int = 0) -> Floats:
    """Chances of 0, 1, 2, ... pieces when every job takes several, and some are wanted in any case.

    Parameters
    ----------
    demand : array (..., numbers)
        Chances of 0, 1, 2, ... jobs [-].
    per_job : int
        Pieces a job takes, at least 1 [-].
    sure : int
        Pieces that planned services take besides [-].

    Returns
    -------
    array (..., pieces)
        Chances of 0, 1, 2, ... pieces [-].

    Notes
    -----
    ``sure + per_job D``. What is missing from 1 stays. ValueError for a job without pieces.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> demand_in_batches([0.75, 0.25], 2, sure=1).tolist()
    [0.0, 0.75, 0.0, 0.25]
    """
    if per_job < 1 or sure < 0:
        raise ValueError("a job takes at least 1 piece, planned services 0 or more")
    jobs = checked_chances(demand)
    pieces = np.zeros((*jobs.shape[:-1], sure + per_job * (jobs.shape[-1] - 1) + 1))
    pieces[..., sure::per_job] = jobs
    return pieces


def separate_or_common(demands: Sequence[ArrayLike], assurance: float) -> tuple[Wholes, int]:
    """Spares needed when every place keeps its own, and when they share one pool.

    Parameters
    ----------
    demands : sequence of array (numbers,)
        Chances of 0, 1, 2, ... of each place [-].
    assurance : float
        Chance wanted that a stock is enough: of each place's own stock, and of the common one [-].

    Returns
    -------
    separate : array (places,)
        Stock of each place [-].
    common : int
        Stock of the pool [-].

    Notes
    -----
    :func:`stock_for` of each and of :func:`total_demand`. ValueError as there.

    References
    ----------
    Trivedi, Probability and Statistics with Reliability, Queuing and Computer Science Applications, 2nd ed.,
    ch. 6.4, problem 2 (after Barlow).
    """
    separate = np.array([int(stock_for(d, assurance)) for d in demands], dtype=np.int64)
    return separate, int(stock_for(total_demand(demands), assurance))
