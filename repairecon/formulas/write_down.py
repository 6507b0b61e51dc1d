"""What lots are worth when they cost more than they would fetch, or their rubber is out of date."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def net_realisable(
    unit_cost: ArrayLike,
    resale_rate: ArrayLike,
    cost_to_sell: ArrayLike = 0.0,
    expired: ArrayLike = False,
    expired_rate: ArrayLike = 0.0,
) -> Floats:
    """What a unit would bring, after what selling it costs.

    Parameters
    ----------
    unit_cost : float or array
        What a unit cost [home money].
    resale_rate : float or array
        Share of that which it fetches, as long as it is in date [-].
    cost_to_sell : float or array
        Cost of selling a unit [home money].
    expired : bool or array
        Whether its shelf life is over.
    expired_rate : float or array
        Share of its cost that it fetches then [-].

    Returns
    -------
    float or array
        Net realisable value of a unit [home money]; never below 0, it can be thrown away.

    Notes
    -----
    ``max(rate unit_cost - cost_to_sell, 0)``; the lesser of the two rates once expired. ValueError for a rate
    outside 0..10 or an amount below 0.

    References
    ----------
    IAS 2 Inventories, paragraph 6, net realisable value (from memory).

    Examples
    --------
    >>> net_realisable(50.0, 0.4, 5.0, [False, True], 0.0).tolist()
    [15.0, 0.0]
    """
    paid, selling = _amount(unit_cost), _amount(cost_to_sell)
    fresh, stale = _rate(resale_rate), _rate(expired_rate)
    rate = np.where(np.asarray(expired, dtype=bool), np.minimum(fresh, stale), fresh)
    return np.asarray(np.maximum(rate * paid - selling, 0.0))[()]


def lower_of_cost(quantity: ArrayLike, unit_cost: ArrayLike, unit_realisable: ArrayLike) -> tuple[Floats, Floats]:
    """Value of lots at cost or at what they would bring, whichever is lower.

    Parameters
    ----------
    quantity : array (lots,)
        Units of each lot [-].
    unit_cost, unit_realisable : array (lots,)
        Cost of a unit and its net realisable value; inf = not asked for [home money].

    Returns
    -------
    value, written_down : array (lots,)
        Value of each lot, and by how much that is below cost [home money].

    Notes
    -----
    Lot by lot, never against the gain of another lot. Reckoned anew each time: what recovers is written up again, to
    cost at most. ValueError for an amount below 0.

    References
    ----------
    IAS 2 Inventories, paragraphs 9, 29 and 33 (from memory).

    Examples
    --------
    >>> [x.tolist() for x in lower_of_cost([2, 1], [10.0, 8.0], [6.0, 9.0])]
    [[12.0, 8.0], [8.0, 0.0]]
    """
    units, paid, brings = _amount(quantity), _amount(unit_cost), _amount(unit_realisable)
    value = units * np.minimum(paid, brings)
    return np.asarray(value), np.asarray(units * paid - value)


def _amount(x: ArrayLike) -> Floats:
    value = np.asarray(x, dtype=float)
    if not np.all(value >= 0.0):
        raise ValueError("quantities and amounts must be 0 or more")
    return value


def _rate(x: ArrayLike) -> Floats:
    rate = np.asarray(x, dtype=float)
    if not np.all((rate >= 0.0) & (rate <= 10.0)):
        raise ValueError("a share of the cost is a fraction (0.40 for 40 %)")
    return rate
