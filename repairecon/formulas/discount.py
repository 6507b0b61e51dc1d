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
    discount_rate, years : float or array
        Discount rate [1/year]; time until it is paid, parts of a year allowed [year].

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


def equivalent_annual_cost(cost_present: ArrayLike, discount_rate: ArrayLike, years: ArrayLike) -> Floats:
    """Yearly cost worth the same as a cost today: makes unequal lives comparable.

    Parameters
    ----------
    cost_present, discount_rate, years : float or array
        Present cost of a whole life or horizon [home money]; discount rate [1/year]; that life, above 0 [year].

    Returns
    -------
    float or array
        Equivalent annual cost, at each year's end [home money/year].

    Notes
    -----
    ``cost_present d / (1 - (1 + d)**-n)``, at a rate of 0 ``cost_present / n``. Comparing unequal lives by it supposes
    that each is followed by another of its kind. ValueError for a rate as above, and unless the years are above 0.

    References
    ----------
    OpenStax, Principles of Finance, 2e, ch. 16, "Choosing between Projects with Different Lives".

    Examples
    --------
    >>> round(float(equivalent_annual_cost(49474, 0.10, 3)))
    19894
    """
    rate, span = _rate(discount_rate), np.asarray(years, dtype=float)
    if not np.all(span > 0.0):
        raise ValueError("give a number of years above 0")
    safe = np.where(rate == 0.0, 1.0, rate)  # exact at 0 and without loss of digits near it
    annuity = np.where(rate == 0.0, span, -np.expm1(-span * np.log1p(safe)) / safe)
    return np.asarray(np.asarray(cost_present, dtype=float) / annuity)[()]


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
    ``(1 + nominal) / (1 + inflation) - 1``. ValueError for a rate of -1 or less, or above 1.

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


def _rate(rate: ArrayLike) -> Floats:
    values = np.asarray(rate, dtype=float)
    if np.any(values > 1.0):
        raise ValueError(f"a rate of {float(values.max())} is above 1: give 0.05 for 5 %")
    if not np.all(values > -1.0):
        raise ValueError("a rate must be above -1: give 0.05 for 5 %")
    return values
