"""Costs as someone averse to the bad case sees them."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def certainty_equivalent(costs: ArrayLike, tolerance: float = math.inf, weights: ArrayLike | None = None) -> float:
    """Sure cost that is as bad as an uncertain one, by exponential utility.

    Parameters
    ----------
    costs : array (outcomes,)
        Costs of the outcomes, or draws of the cost [home money].
    tolerance : float
        Risk tolerance: about the amount for which one would just take an even chance of winning it against losing
        half of it [home money]; inf = the mean decides, 0 = the worst does.
    weights : array (outcomes,) or None
        Chance of each outcome; None = all the same [-].

    Returns
    -------
    float
        Certainty equivalent [home money], from the mean to the worst cost.

    Notes
    -----
    ``T ln(mean of exp(cost / T))``, taken from the mean where the costs differ by less than T and from the worst
    otherwise, so that it neither overflows nor loses digits. What is sure adds plainly, and so do costs that are
    independent of one another. Weights need not add up to 1; outcomes of weight 0 do not count. With chances from a
    spectrum, cut at 1e-15, it falls short of the worst once T is less than about a thirtieth of the range. ValueError
    for a tolerance below 0, weights below 0 or none above.

    References
    ----------
    R. A. Howard, "Decision analysis: practice and promise", Management Science 34 (1988) 679-695; R. T. Clemen,
    Making Hard Decisions, 2nd ed., ch. 13 (exponential utility; the example is from memory).

    Examples
    --------
    >>> worth = -certainty_equivalent([-2000.0, -1000.0, -500.0], 900.0, [0.4, 0.4, 0.2])
    >>> round(1.0 - math.exp(-worth / 900.0), 4)
    0.7102
    """
    cost, chance = _outcomes(costs, weights)
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


def _outcomes(costs: ArrayLike, weights: ArrayLike | None) -> tuple[Floats, Floats]:
    """Costs that can happen, and their chances."""
    cost = np.asarray(costs, dtype=float).reshape(-1)
    chance = np.ones(len(cost)) if weights is None else np.asarray(weights, dtype=float).reshape(-1)
    if len(cost) != len(chance) or not np.all(chance >= 0.0) or not np.any(chance > 0.0):
        raise ValueError("give each cost a weight of 0 or more, at least one of them above 0")
    happens = chance > 0.0
    return cost[happens], chance[happens] / chance[happens].sum()
