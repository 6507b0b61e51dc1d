"""How long to keep a unit: cost of keeping it one more year, and the life that is cheapest a year."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from repairecon.formulas.discount import capital_recovery, single_present_value

Floats = NDArray[np.float64]


def marginal_costs(resale: ArrayLike, running: ArrayLike, discount_rate: float) -> Floats:
    """Cost of keeping a unit for each further year.

    Parameters
    ----------
    resale : array (n + 1,)
        What it would fetch now and at the end of each year [home money].
    running : array (n,)
        Running cost of each year: upkeep, expected breakdowns [home money].
    discount_rate : float
        Discount rate [1/year].

    Returns
    -------
    array (n,)
        Cost of each year, at its end [home money].

    Notes
    -----
    ``resale[k-1] (1 + d) - resale[k] + running[k]``: loss of value, interest forgone on the value at
    the start of the year, running cost. ValueError unless `resale` is one longer than `running`.

    References
    ----------
    Newnan, Eschenbach, Lavelle, Engineering Economic Analysis, 9th ed., ch. 13, Example 13-2.

    Examples
    --------
    >>> marginal_costs([25000, 18000, 13000], [7000, 7500], 0.15).tolist()
    [17750.0, 15200.0]
    """
    value, cost = np.asarray(resale, dtype=float), np.asarray(running, dtype=float)
    if value.shape != (len(cost) + 1,):
        raise ValueError("give what it would fetch now and after each year: one figure more than the years")
    return np.asarray(value[:-1] - value[1:] + discount_rate * value[:-1] + cost)


def annual_cost_by_keeping(marginal: ArrayLike, discount_rate: float) -> Floats:
    """Equivalent annual cost of keeping a unit one year, two years, three...

    Parameters
    ----------
    marginal : array (n,)
        Cost of each year of keeping, at its end [home money], as :func:`marginal_costs` gives them.
    discount_rate : float
        Discount rate [1/year].

    Returns
    -------
    array (n,)
        Equivalent annual cost of keeping it k years, k = 1..n [home money/year].

    Notes
    -----
    Present value of the first k years' costs, times the capital recovery factor of k years; their
    plain average at a rate of 0.

    References
    ----------
    Newnan, Eschenbach, Lavelle, Engineering Economic Analysis, 9th ed., ch. 13, Example 13-3.

    Examples
    --------
    >>> annual_cost_by_keeping([100, 140], 0.0).tolist()
    [100.0, 120.0]
    """
    cost = np.asarray(marginal, dtype=float)
    years = np.arange(1, len(cost) + 1)
    worth = np.cumsum(cost * single_present_value(discount_rate, years))
    return np.asarray(worth * capital_recovery(discount_rate, years))


def economic_life(marginal: ArrayLike, discount_rate: float) -> tuple[int, float]:
    """Number of years of keeping that costs least a year.

    Parameters
    ----------
    marginal : array (n,)
        Cost of each year of keeping, at its end [home money].
    discount_rate : float
        Discount rate [1/year].

    Returns
    -------
    years, cost : int, float
        The cheapest number of years, the shortest if several [year]; what it costs [home money/year].

    Notes
    -----
    Least of :func:`annual_cost_by_keeping`. If that is the last year given, costs were still falling
    and the true answer may lie beyond. ValueError when no year is given.

    References
    ----------
    Newnan, Eschenbach, Lavelle, Engineering Economic Analysis, 9th ed., ch. 13, Example 13-3.

    Examples
    --------
    >>> years, cost = economic_life([17750, 15200, 13950, 14350, 14900, 15600, 16950], 0.15)
    >>> years, round(cost, -1)
    (5, 15430.0)
    """
    by_year = annual_cost_by_keeping(marginal, discount_rate)
    if len(by_year) == 0:
        raise ValueError("give the cost of at least one year")
    best = int(np.argmin(by_year))
    return best + 1, float(by_year[best])


def years_worth_keeping(marginal_old: ArrayLike, annual_cost_new: float) -> int:
    """How many more years the old unit is cheaper than its replacement.

    Parameters
    ----------
    marginal_old : array (n,)
        Cost of keeping the old one for each further year [home money].
    annual_cost_new : float
        Least equivalent annual cost of the replacement [home money/year].

    Returns
    -------
    int
        Years to keep the old one [year]; 0 = replace now, n = longer than was asked.

    Notes
    -----
    Keep it until the first year that costs more than the replacement's year. Right when the old
    one's yearly costs rise; ValueError when they fall somewhere, for then a dear year (a repair) may
    buy cheap ones and whole courses have to be compared.

    References
    ----------
    Newnan, Eschenbach, Lavelle, Engineering Economic Analysis, 9th ed., ch. 13, Example 13-4.

    Examples
    --------
    >>> years_worth_keeping([13250, 14600, 15950], 15430)
    2
    """
    cost = np.asarray(marginal_old, dtype=float)
    if np.any(np.diff(cost) < 0.0):
        raise ValueError("the yearly costs of keeping fall somewhere: compare whole courses instead")
    return int(np.searchsorted(cost, annual_cost_new, side="right"))
