"""What a stock is good for against an uncertain demand: chance short, units short, stock for an assurance.

Chances of 0, 1, 2, ... asked for stand along the last axis, as on the pages of `demand`; what is missing
from 1 is the chance of more than the last number.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Wholes = NDArray[np.int64]


def p_above(demand: ArrayLike) -> Floats:
    """Chance that more than 0, 1, 2, ... are asked for.

    Parameters
    ----------
    demand : array (..., numbers)
        Chances of 0, 1, 2, ... [-].

    Returns
    -------
    array (..., numbers)
        Chance of more than each [-]; the last one is what is missing from 1.

    Notes
    -----
    Added from the far end, so small chances keep their digits. ValueError for no chances, for chances below 0 and for
    more than 1 in all.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> p_above([0.5, 0.25, 0.125]).tolist()
    [0.5, 0.25, 0.125]
    """
    chances = _checked(demand)
    rest = np.maximum(1.0 - chances.sum(axis=-1, keepdims=True), 0.0)
    rest = np.where(rest < 1e-14, 0.0, rest)
    behind = np.cumsum(chances[..., :0:-1], axis=-1)[..., ::-1] + rest
    return np.asarray(np.concatenate([behind, rest], axis=-1))


def p_short(demand: ArrayLike, stock: ArrayLike) -> Floats:
    """Chance that more are asked for than there are.

    Parameters
    ----------
    demand, stock : array (..., numbers), int or array
        Chances of 0, 1, 2, ... [-]; how many there are [-].

    Returns
    -------
    float or array
        Chance [-]; beyond the last number what is missing from 1, which is then too high.

    Notes
    -----
    ``P(D > stock)``. ValueError for a stock below 0 or not whole.

    References
    ----------
    MIL-HDBK-338B, spares for a stated assurance (section from memory).

    Examples
    --------
    >>> float(p_short([0.5, 0.25, 0.125], 1))
    0.25
    """
    above, held = p_above(demand), _stock(stock)
    return _at(above, np.minimum(held, above.shape[-1] - 1))


def expected_short(demand: ArrayLike, stock: ArrayLike) -> Floats:
    """Number asked for beyond what there is, on average.

    Parameters
    ----------
    demand, stock : array (..., numbers), int or array
        As for :func:`p_short` [-].

    Returns
    -------
    float or array
        Units short [-].

    Notes
    -----
    ``E[(D - stock)+]``, the sum of ``P(D > k)`` from the stock on. Demand beyond the last number counts as one
    more than it. ValueError as in :func:`p_short`.

    References
    ----------
    Zipkin, Foundations of Inventory Management (2000), first-order loss function (section from memory).

    Examples
    --------
    >>> float(expected_short([0.25, 0.5, 0.25], 1))
    0.25
    """
    above, held = p_above(demand), _stock(stock)
    tails = np.cumsum(above[..., ::-1], axis=-1)[..., ::-1]
    tails = np.concatenate([tails, np.zeros((*tails.shape[:-1], 1))], axis=-1)
    return _at(tails, np.minimum(held, tails.shape[-1] - 1))


def stock_for(demand: ArrayLike, assurance: ArrayLike) -> Wholes:
    """Least stock that is enough with a stated chance.

    Parameters
    ----------
    demand, assurance : array (..., numbers), float or array
        Chances of 0, 1, 2, ... [-]; chance wanted that nothing is short, below 1 [-].

    Returns
    -------
    int or array
        Stock [-].

    Notes
    -----
    Smallest s with ``P(D <= s) >= assurance``; 1e-12 is forgiven, so that an assurance that is itself such a
    chance is met by its own s. ValueError for an assurance outside 0..1 or beyond what the chances given reach.

    References
    ----------
    MIL-HDBK-338B, spares for a stated assurance (section from memory).

    Examples
    --------
    >>> int(stock_for([0.5, 0.25, 0.125], 0.75))
    1
    """
    wanted = np.asarray(assurance, dtype=float)
    if not np.all((wanted >= 0.0) & (wanted < 1.0)):
        raise ValueError("the assurance must lie in 0..1 and below 1 (0.95 for 95 %)")
    enough = p_above(demand) <= (1.0 - wanted)[..., np.newaxis] + 1e-12
    if not np.all(enough[..., -1]):
        raise ValueError("the chances stop before that assurance is reached: give more numbers")
    return np.asarray(enough.argmax(axis=-1).astype(np.int64))[()]


def p_any_short(p_each: ArrayLike) -> float:
    """Chance that at least one of several items is short.

    Parameters
    ----------
    p_each : array (items,)
        Chance that each is short [-].

    Returns
    -------
    float
        Chance [-]; 0 without items.

    Notes
    -----
    ``1 - product of (1 - p)``: the demands must not hang together. ValueError for a chance outside 0..1.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> p_any_short([0.5, 0.5])
    0.75
    """
    each = np.asarray(p_each, dtype=float)
    if not np.all((each >= 0.0) & (each <= 1.0)):
        raise ValueError("a chance must lie in 0..1 (0.20 for 20 %)")
    with np.errstate(divide="ignore"):
        return float(-np.expm1(np.log1p(-each).sum()))


def _checked(demand: ArrayLike) -> Floats:
    """Chances of 0, 1, 2, ... asked for, checked."""
    chances = np.asarray(demand, dtype=float)
    if chances.ndim == 0 or chances.shape[-1] == 0:
        raise ValueError("give the chances of 0, 1, 2, ... asked for")
    if not np.all(chances >= 0.0) or np.any(chances.sum(axis=-1) > 1.0 + 1e-9):
        raise ValueError("chances must be 0 or more and add up to 1 at most")
    return chances


def _at(values: Floats, index: Wholes) -> Floats:
    if values.ndim == 1:
        return np.asarray(values[index])[()]
    where = np.broadcast_to(index, values.shape[:-1])
    return np.asarray(np.take_along_axis(values, where[..., np.newaxis], axis=-1)[..., 0])


def _stock(stock: ArrayLike) -> Wholes:
    held = np.asarray(stock)
    if not (np.all(held >= 0) and np.all(held == np.floor(held))):
        raise ValueError("a stock is a whole number of 0 or more")
    return held.astype(np.int64)
