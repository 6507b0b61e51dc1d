"""Costs as someone averse to the bad case sees them."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def certainty_equivalent(
    costs: ArrayLike, tolerance: float = math.inf, weights: ArrayLike | None = None
) -> float:
    """Sure cost that is as bad as an uncertain one, by exponential utility.

    Parameters
    ----------
    costs : array (outcomes,)
        Costs of the outcomes, or draws of the cost [home money].
    tolerance : float
        Risk tolerance: about the amount for which one would just take an even chance of winning it against
        losing half of it [home money]; inf = the mean decides, 0 = the worst does.
    weights : array (outcomes,) or None
        Chance of each outcome; None = all the same [-].

    Returns
    -------
    float
        Certainty equivalent [home money], from the mean to the worst cost.

    Notes
    -----
    ``T ln(mean of exp(cost / T))``, taken from the mean where the costs differ by less than T and from the
    worst otherwise, so that it neither overflows nor loses digits. What is sure adds plainly, and so
    do costs that are independent of one another. Weights need not add up to 1; outcomes of weight 0 do not
    count. With chances from a spectrum, cut at 1e-15, it falls short of the worst once T is less than
    about a thirtieth of the range. ValueError for a tolerance below 0, weights below 0 or none above.

    References
    ----------
    R. A. Howard, "Decision analysis: practice and promise", Management Science 34 (1988) 679-695; R. T.
    Clemen, Making Hard Decisions, 2nd ed., ch. 13 (exponential utility; the example is from memory).

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


def chance_above(costs: ArrayLike, cap: float, weights: ArrayLike | None = None, step: float = 0.0) -> float:
    """Chance that a cost lies above a cap.

    Parameters
    ----------
    costs : array (outcomes,)
        Costs of the outcomes, or draws of the cost [home money].
    cap : float
        Most that it should cost [home money].
    weights : array (outcomes,) or None
        Chance of each outcome; None = all the same [-].
    step : float
        Step of the grid that the costs are points of; 0 = they are outcomes as they stand [home money].

    Returns
    -------
    float
        Chance [-]. A cost equal to the cap is not above it.

    Notes
    -----
    On a grid each point's chance is spread evenly over half a step on either side, as in
    :func:`repairecon.formulas.grid_answers.chance_up_to`. ValueError as for :func:`certainty_equivalent`.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> chance_above([100.0, 200.0, 300.0], 200.0, [0.5, 0.25, 0.25])
    0.25
    """
    cost, chance = _outcomes(costs, weights)
    if step > 0.0:
        return float(chance @ np.clip((cost - cap) / step + 0.5, 0.0, 1.0))
    return float(chance @ (cost > cap))


def meets_cap(
    costs: ArrayLike, cap: float, most_chance: float, weights: ArrayLike | None = None, step: float = 0.0
) -> bool:
    """Whether a cost stays below a cap often enough.

    Parameters
    ----------
    costs : array (outcomes,)
        Costs of the outcomes, or draws of the cost [home money].
    cap : float
        Most that it should cost [home money].
    most_chance : float
        Chance of costing more that is still accepted [-], 0..1.
    weights : array (outcomes,) or None
        Chance of each outcome; None = all the same [-].
    step : float
        Step of the grid that the costs are points of; 0 = they are outcomes as they stand [home money].

    Returns
    -------
    bool
        True when the chance of more than the cap is at most that accepted, rounding apart.

    Notes
    -----
    :func:`chance_above` against the chance accepted, which 1e-12 more still meets. ValueError for a chance
    outside 0..1.

    References
    ----------
    A. Charnes, W. W. Cooper, "Chance-constrained programming", Management Science 6 (1959) 73-79,
    from memory.

    Examples
    --------
    >>> meets_cap([100.0, 200.0, 300.0], 250.0, 0.10, [0.5, 0.45, 0.05])
    True
    """
    if not 0.0 <= most_chance <= 1.0:
        raise ValueError(f"a chance must lie in 0..1 (0.20 for 20 %), not {most_chance}")
    return chance_above(costs, cap, weights, step) <= most_chance + 1e-12


def _outcomes(costs: ArrayLike, weights: ArrayLike | None) -> tuple[Floats, Floats]:
    """Costs that can happen, and their chances."""
    cost = np.asarray(costs, dtype=float).reshape(-1)
    chance = np.ones(len(cost)) if weights is None else np.asarray(weights, dtype=float).reshape(-1)
    if len(cost) != len(chance) or not np.all(chance >= 0.0) or not np.any(chance > 0.0):
        raise ValueError("give each cost a weight of 0 or more, at least one of them above 0")
    happens = chance > 0.0
    return cost[happens], chance[happens] / chance[happens].sum()
