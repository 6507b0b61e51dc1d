"""Rules by which a cost is judged: the most that a repair may cost by rules of thumb, and with an aversion to risk.

The rules of thumb are shown beside the computed answer, never in it.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def share_of_price(price: ArrayLike, share: float) -> Floats:
    """Repair limit as a share of a price: half of new, or a flat share of the list price.

    Parameters
    ----------
    price, share : float or array, float
        Price of a new unit, or its list price [home money]; share of it that one repair may cost [-].

    Returns
    -------
    float or array
        Most that one repair may cost, labour and parts [home money].

    Notes
    -----
    ``share price``. Half of new is a rule of thumb without derivation: blind to age, life after the repair, waiting and
    own hours. 85 % of list holds for any one repair, whatever the age; a job may not be split to slip under it.
    ValueError for a share outside 0..1 or a price below 0.

    References
    ----------
    Half of new: common practice, no source. US Army, TB 43-0154 (military standard engines and outboard motors),
    section I, General: one maintenance action is limited to 85 per cent of the standard inventory price.

    Examples
    --------
    >>> float(share_of_price(1000.0, 0.85))
    850.0
    """
    if not 0.0 <= share <= 1.0:
        raise ValueError(f"a share must lie in 0..1, not {share}: give 0.50 for 50 %")
    return np.asarray(_price(price) * share)[()]


def straight_line(price_new: ArrayLike, age_years: ArrayLike, life_years: ArrayLike) -> Floats:
    """Repair limit that falls evenly from the price of new to nothing over the expected life.

    Parameters
    ----------
    price_new, age_years, life_years : float or array
        Price of a like unit today [home money]; age of the unit, and life to be expected of it when new [years].

    Returns
    -------
    float or array
        Most that a repair may cost [home money]; 0 from the expected life on.

    Notes
    -----
    ``price_new (1 - age_years / life_years)``, held at 0. ValueError for an age or a price below 0 and for a life
    that is not above 0.

    References
    ----------
    US Coast Guard, CI 11103.1B, enclosure (3): the diagonal between replacement cost and life expectancy, read at the
    actual age, is the maximum allowable repair cost.

    Examples
    --------
    >>> float(straight_line(1200.0, 9, 12))
    300.0
    """
    price, age = _price(price_new), np.asarray(age_years, dtype=float)
    life = np.asarray(life_years, dtype=float)
    if not np.all(age >= 0.0):
        raise ValueError("give an age of 0 years or more")
    if not np.all(life > 0.0):
        raise ValueError("give an expected life above 0 years")
    return np.asarray(price * np.maximum(1.0 - age / life, 0.0))[()]


def _price(price: ArrayLike) -> Floats:
    values = np.asarray(price, dtype=float)
    if not np.all(values >= 0.0):
        raise ValueError("give a price of 0 or more")
    return values


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
    tolerance below 0, weights below 0 or none above.

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
