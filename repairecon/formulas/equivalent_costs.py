"""An uncertain cost, or one paid at once, as one figure that compares: the sure cost as bad, the level cost a year."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike


def certainty_equivalent(costs: ArrayLike, tolerance: float, weights: ArrayLike) -> float:
    """Sure cost that is as bad as an uncertain one, by exponential utility.

    Parameters
    ----------
    costs, weights : array (outcomes,)
        Costs of the outcomes [home money]; chance of each, need not add up to 1 [-].
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
    otherwise, so that it neither overflows nor loses digits. Outcomes of weight 0 do not count. Source: R. A. Howard,
    "Decision analysis: practice and promise", Management Science 34 (1988) 679-695; R. T. Clemen, Making Hard
    Decisions, 2nd ed., ch. 13 (exponential utility; the example is from memory).

    >>> worth = -certainty_equivalent([-2000.0, -1000.0, -500.0], 900.0, [0.4, 0.4, 0.2])
    >>> round(1.0 - math.exp(-worth / 900.0), 4)
    0.7102
    """
    cost, chance = np.asarray(costs, dtype=float), np.asarray(weights, dtype=float)
    cost, chance = cost[chance > 0.0], chance[chance > 0.0] / chance.sum()
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


def equivalent_annual_cost(cost_present: float, discount_rate: float, years: float) -> float:
    """Yearly cost worth the same as a cost today: makes unequal lives comparable.

    Parameters
    ----------
    cost_present, discount_rate, years : float
        Present cost of a whole life or horizon [home money]; discount rate, above -1 [1/year]; that life, above 0
        [year].

    Returns
    -------
    float
        Equivalent annual cost, at each year's end [home money/year].

    Notes
    -----
    ``cost_present d / (1 - (1 + d)**-n)``, at a rate of 0 ``cost_present / n``. Comparing unequal lives by it supposes
    that each is followed by another of its kind. Source: OpenStax, Principles of Finance, 2e, ch. 16, "Choosing between
    Projects with Different Lives".

    >>> round(equivalent_annual_cost(49474, 0.10, 3))
    19894
    """
    if discount_rate == 0.0:
        return cost_present / years
    return cost_present / (-math.expm1(-years * math.log1p(discount_rate)) / discount_rate)
