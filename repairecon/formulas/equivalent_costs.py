"""An uncertain cost, or one paid at once, as one figure that compares: the sure cost as bad, the level cost a year."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def certainty_equivalent(costs: ArrayLike, tolerance: float = math.inf, weights: ArrayLike | None = None) -> float:
    """Sure cost that is as bad as an uncertain one, by exponential utility.

    Parameters
    ----------
    costs, weights : array (outcomes,), or None for equal weights
        Costs of the outcomes, or draws of the cost [home money]; chance of each, need not add up to 1 [-].
    tolerance : float
        Risk tolerance: about the amount for which one would just take an even chance of winning it against losing
        half of it [home money]; inf = the mean decides, 0 = the worst does.

    Returns
    -------
    float
        Certainty equivalent [home money], from the mean to the worst cost.

    Notes
    -----
    ``T ln(mean of exp(cost / T))``, taken from the mean where the costs differ by less than T and from the worst
    otherwise, so that it neither overflows nor loses digits. Outcomes of weight 0 do not count. ValueError for a
    tolerance below 0, weights below 0 or none above. Source: R. A. Howard, "Decision analysis: practice and promise",
    Management Science 34 (1988) 679-695; R. T. Clemen, Making Hard Decisions, 2nd ed., ch. 13 (exponential utility; the
    example is from memory).

    >>> worth = -certainty_equivalent([-2000.0, -1000.0, -500.0], 900.0, [0.4, 0.4, 0.2])
    >>> round(1.0 - math.exp(-worth / 900.0), 4)
    0.7102
    """
    cost = np.asarray(costs, dtype=float).reshape(-1)
    chance = np.ones(len(cost)) if weights is None else np.asarray(weights, dtype=float).reshape(-1)
    if len(cost) != len(chance) or not np.all(chance >= 0.0) or not np.any(chance > 0.0):
        raise ValueError("give each cost a weight of 0 or more, at least one of them above 0")
    cost, chance = cost[chance > 0.0], chance[chance > 0.0] / chance.sum()
    if math.isnan(tolerance) or tolerance < 0.0:
        raise ValueError(f"a risk tolerance cannot be below 0, not {tolerance}")
    worst = float(cost.max())
    if tolerance == 0.0 or worst == cost.min():
        return worst
    mean = float(chance @ cost)
    if math.isinf(tolerance):
        return mean
    if worst - mean < tolerance:
        surplus = tolerance * math.log1p(float(chance @ np.expm1((cost - mean) / tolerance)))
        return min(mean + max(surplus, 0.0), worst)
    with np.errstate(over="ignore"):
        share = float(chance @ np.exp((cost - worst) / tolerance))
    return max(worst + tolerance * math.log(share), mean)


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
    that each is followed by another of its kind. ValueError for a rate of -1 or less, or above 1, and unless the years
    are above 0. Source: OpenStax, Principles of Finance, 2e, ch. 16, "Choosing between Projects with Different Lives".

    >>> round(float(equivalent_annual_cost(49474, 0.10, 3)))
    19894
    """
    rate, span = np.asarray(discount_rate, dtype=float), np.asarray(years, dtype=float)
    if not np.all((rate > -1.0) & (rate <= 1.0)):
        raise ValueError(f"a rate must lie above -1 and up to 1, not {rate}: give 0.05 for 5 %")
    if not np.all(span > 0.0):
        raise ValueError("give a number of years above 0")
    safe = np.where(rate == 0.0, 1.0, rate)  # exact at 0 and without loss of digits near it
    annuity = np.where(rate == 0.0, span, -np.expm1(-span * np.log1p(safe)) / safe)
    return np.asarray(np.asarray(cost_present, dtype=float) / annuity)[()]
