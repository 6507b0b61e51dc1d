"""Money at different times: discount factors and what they make of a price, a year's cost, a flow.

Years are counted from now; a yearly sum falls at the end of its year unless a page says otherwise.
Rates are fractions a year ("0.05 for 5 %"); a real rate goes with today's prices.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def single_present_value(discount_rate: ArrayLike, years: ArrayLike) -> Floats:
    """Worth today of one unit of money paid once, some years from now.

    Parameters
    ----------
    discount_rate : float or array
        Discount rate [1/year].
    years : float or array
        Time until it is paid [year]; parts of a year are allowed.

    Returns
    -------
    float or array
        Factor [-]; 1 at a rate of 0 or at 0 years.

    Notes
    -----
    ``(1 + discount_rate)**-years``. ValueError for a rate of -1 or less, or above 1.

    References
    ----------
    NIST Handbook 135, Life-Cycle Costing Manual, chapter on discounting (SPV factor; chapter from memory).

    Examples
    --------
    >>> round(float(single_present_value(0.03, 15)), 3)
    0.642
    """
    rate = _rate(discount_rate)
    return np.asarray(np.exp(-np.asarray(years, dtype=float) * np.log1p(rate)))[()]


def capital_recovery(discount_rate: ArrayLike, years: ArrayLike) -> Floats:
    """Yearly sum, at each year's end, that pays for one unit of money spent today.

    Parameters
    ----------
    discount_rate, years : float or array
        Discount rate [1/year]; number of years, above 0 [year].

    Returns
    -------
    float or array
        Factor [1/year]; ``1 / years`` at a rate of 0.

    Notes
    -----
    ``d / (1 - (1 + d)**-n)``, the reciprocal of :func:`uniform_present_value`. ValueError unless the number of years
    is above 0, and for rates as there.

    References
    ----------
    NIST Handbook 135, Life-Cycle Costing Manual, chapter on discounting (UCR factor; chapter from memory).

    Examples
    --------
    >>> round(float(capital_recovery(0.0, 8)), 3)
    0.125
    """
    span = _years(years)
    if not np.all(span > 0.0):
        raise ValueError("give a number of years above 0")
    return np.asarray(1.0 / _annuity(_rate(discount_rate), span))[()]


def equivalent_annual_cost(cost_present: ArrayLike, discount_rate: ArrayLike, years: ArrayLike) -> Floats:
    """Yearly cost worth the same as a cost today: makes unequal lives comparable.

    Parameters
    ----------
    cost_present, discount_rate : float or array
        Present cost of a whole life or horizon [home money]; discount rate [1/year].
    years : float or array
        That life or horizon, above 0 [year].

    Returns
    -------
    float or array
        Equivalent annual cost, at each year's end [home money/year].

    Notes
    -----
    ``cost_present capital_recovery(d, n)``. Comparing unequal lives by it supposes that each is followed by another
    of its kind. ValueError as in :func:`capital_recovery`.

    References
    ----------
    OpenStax, Principles of Finance, 2e, ch. 16, "Choosing between Projects with Different Lives".

    Examples
    --------
    >>> round(float(equivalent_annual_cost(49474, 0.10, 3)))
    19894
    """
    return np.asarray(np.asarray(cost_present, dtype=float) * capital_recovery(discount_rate, years))[()]


def real_rate(nominal_rate: ArrayLike, inflation_rate: ArrayLike) -> Floats:
    """Discount rate that goes with today's prices.

    Parameters
    ----------
    nominal_rate, inflation_rate : float or array
        What money earns, and the rise of prices [1/year].

    Returns
    -------
    float or array
        Real rate [1/year]; below 0 where prices rise faster than money earns.

    Notes
    -----
    ``(1 + nominal) / (1 + inflation) - 1``: discounting today's prices at the real rate is the same as discounting
    inflated prices at the nominal one. ValueError for a rate of -1 or less, or above 1.

    References
    ----------
    NIST Handbook 135, Life-Cycle Costing Manual, chapter on inflation and discount rates (from memory).

    Examples
    --------
    >>> round(float(real_rate(0.0506, 0.02)), 4)
    0.03
    """
    rate, inflation = _rate(nominal_rate), _rate(inflation_rate)
    return np.asarray((rate - inflation) / (1.0 + inflation))[()]


def _annuity(rate: Floats, years: Floats) -> Floats:
    """``(1 - (1 + rate)**-years) / rate``, exact at 0 and without loss of digits near it."""
    safe = np.where(rate == 0.0, 1.0, rate)
    return np.asarray(np.where(rate == 0.0, years, -np.expm1(-years * np.log1p(safe)) / safe))[()]


def _rate(rate: ArrayLike) -> Floats:
    values = np.asarray(rate, dtype=float)
    if np.any(values > 1.0):
        raise ValueError(f"a rate of {float(values.max())} is above 1: give 0.05 for 5 %")
    if not np.all(values > -1.0):
        raise ValueError("a rate must be above -1: give 0.05 for 5 %")
    return values


def _years(years: ArrayLike) -> Floats:
    values = np.asarray(years, dtype=float)
    if not np.all(values >= 0.0):
        raise ValueError("give a number of years of 0 or more")
    return values
