"""Flows of money over the years: their present value, their own rate, when they are paid back."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from repairecon.formulas.discount import single_present_value

Floats = NDArray[np.float64]


def present_value(flows: ArrayLike, discount_rate: ArrayLike, years: ArrayLike | None = None) -> Floats:
    """Worth today of a row of flows.

    Parameters
    ----------
    flows : array
        Money in (above 0) and out (below 0), in time along the last axis [home money].
    discount_rate : float or array
        Discount rate [1/year]; an array needs the shape of the other axes of `flows`.
    years : array, optional
        When each flow falls [year from now]; 0, 1, 2, ... if not given.

    Returns
    -------
    float or array
        Present value [home money]; the plain sum at a rate of 0.

    Notes
    -----
    ``sum of flow_t (1 + discount_rate)**-t``. ValueError for a rate of -1 or less, or above 1.

    References
    ----------
    OpenStax, Principles of Finance, 2e, ch. 16, "Net Present Value (NPV) Method".

    Examples
    --------
    >>> round(float(present_value([-16000, 2000, 4000, 5000, 5000, 5000, 5000], 0.09)), 2)
    2835.62
    """
    money = np.asarray(flows, dtype=float)
    rate = np.asarray(discount_rate, dtype=float)[..., np.newaxis]
    return np.asarray((money * single_present_value(rate, _when(money, years))).sum(axis=-1))[()]


def internal_rate(flows: ArrayLike, years: ArrayLike | None = None) -> float:
    """Rate at which a row of flows is worth nothing today.

    Parameters
    ----------
    flows : array
        Money in (above 0) and out (below 0) [home money].
    years : array, optional
        When each flow falls, in order, none before now [year]; 0, 1, 2, ... if not given. Any other
        period will do: the rate is then a rate a period.

    Returns
    -------
    float
        Internal rate [1/year], between -0.999 and 1000.

    Notes
    -----
    Root of the present value, sought by Brent's method on ``ln(1 + rate)``. ValueError unless the
    flows change sign exactly once: with none there is no such rate, with more there may be several.

    References
    ----------
    OpenStax, Principles of Finance, 2e, ch. 16, "Internal Rate of Return (IRR) Method"; 12 CFR 1026,
    Appendix J (there a first period's odd days carry simple interest, here compound).

    Examples
    --------
    >>> round(internal_rate([-16000, 2000, 4000, 5000, 5000, 5000, 5000]), 4)
    0.1409
    """
    from scipy import optimize

    money = np.asarray(flows, dtype=float)
    when = _when(money, years)
    signs = np.sign(money[money != 0.0])
    if np.count_nonzero(np.diff(signs)) != 1:
        raise ValueError("an internal rate needs flows that change once from out to in, or from in to out")

    def worth(force: float) -> float:
        return float((money * np.exp(-force * when)).sum())

    low, high = np.log(0.001), np.log(1001.0)
    if worth(low) * worth(high) > 0.0:
        raise ValueError("the internal rate lies outside -0.999..1000")
    return float(np.expm1(optimize.brentq(worth, low, high, xtol=1e-14)))


def discounted_payback(flows: ArrayLike, discount_rate: float) -> float:
    """Years until money spent has come back, interest included.

    Parameters
    ----------
    flows : array
        Money out (below 0) and in (above 0) now and at the end of each year [home money].
    discount_rate : float
        Discount rate [1/year]; 0 gives the plain payback.

    Returns
    -------
    float
        Time [year]; inf if it never comes back, 0 if nothing is owed at the start.

    Notes
    -----
    First time the cumulated discounted flows reach 0 from below, each year's flow counted as spread
    evenly over its year. What comes later plays no part. ValueError for a rate as in
    :func:`present_value`.

    References
    ----------
    OpenStax, Principles of Finance, 2e, ch. 16, "Alternative Methods" (discounted payback).

    Examples
    --------
    >>> round(discounted_payback([-16000, 2000, 4000, 5000, 5000, 5000, 5000], 0.09), 2)
    5.05
    """
    money = np.asarray(flows, dtype=float)
    worth = money * single_present_value(discount_rate, np.arange(len(money)))
    total = np.cumsum(worth)
    back = np.flatnonzero(total >= 0.0)
    if len(back) == 0:
        return float("inf")
    year = int(back[0])
    return 0.0 if year == 0 else float(year - total[year] / worth[year])


def _when(money: Floats, years: ArrayLike | None) -> Floats:
    return np.arange(money.shape[-1], dtype=float) if years is None else np.asarray(years, dtype=float)
