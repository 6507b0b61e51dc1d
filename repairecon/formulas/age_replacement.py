"""Replacing in time: cost a year of replacing a unit at an age before it fails, and the best such age."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def age_replacement_cost(
    age: ArrayLike,
    cost_planned: float,
    cost_failure: float,
    life: float,
    shape: float,
    discount_rate: float = 0.0,
) -> Floats:
    """Long-run cost a unit of time when a unit is replaced at failure or at an age, whichever is first.

    Parameters
    ----------
    age : float or array
        Age at which it is replaced [time]; inf = only when it fails.
    cost_planned, cost_failure : float
        Cost of a planned replacement and of one after a failure [home money].
    life, shape, discount_rate : float
        Characteristic life of its Weibull life [time]; shape [-]; discount rate a unit of time [1/time].

    Returns
    -------
    float or array
        Cost a unit of time [home money/time]; inf at an age of 0.

    Notes
    -----
    ``(planned S(T) + failure F(T)) / integral of S from 0 to T``; discounted, S and the failures are each weighted by
    ``(1 + d)**-t``, and the figure is the even flow of the same present cost. Integrals by a double exponential rule.
    ValueError unless costs and age are 0 or more, life and shape above 0.

    References
    ----------
    R. E. Barlow, L. C. Hunter, "Optimum preventive maintenance policies", Operations Research 8 (1960) 90-100, policy
    I; B. Fox, "Age replacement with discounting", Operations Research 14 (1966) 533-537 (both from memory).

    Examples
    --------
    >>> round(float(age_replacement_cost(493.185, 1, 5, 1000, 2.5)), 8)
    0.00346204
    """
    force = _force(cost_planned, cost_failure, life, shape, discount_rate)
    at = np.asarray(age, dtype=float)
    if not np.all(at >= 0.0):
        raise ValueError("give an age of 0 or more")
    lasting, reached = _integral(at, life, shape, force)
    cost = cost_planned * reached + cost_failure * (1.0 - reached - force * lasting)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(at > 0.0, cost / lasting, np.inf))[()]


def best_replacement_age(
    cost_planned: float, cost_failure: float, life: float, shape: float, discount_rate: float = 0.0
) -> tuple[float, float]:
    """Age at which replacing in time costs least, and that cost a unit of time.

    Parameters
    ----------
    cost_planned, cost_failure : float
        Cost of a planned replacement, above 0, and of one after a failure [home money].
    life, shape, discount_rate : float
        Characteristic life of its Weibull life [time]; shape [-]; discount rate a unit of time [1/time].

    Returns
    -------
    age, cost : float, float
        Best age [time], inf if waiting for the failure is best; its cost [home money/time].

    Notes
    -----
    Root of the derivative of :func:`age_replacement_cost`, which is unique for a shape above 1. Waiting is best for a
    shape of 1 or less, for a failure no dearer than a planned replacement, and where the root lies at an age that
    fewer than one unit in 10**9 reaches. ValueError as there, and for a planned replacement that costs nothing.

    References
    ----------
    R. E. Barlow, F. Proschan, Mathematical Theory of Reliability (1965), ch. 4; B. Fox, Operations Research 14 (1966)
    533-537 (both from memory).

    Examples
    --------
    >>> age, cost = best_replacement_age(1, 5, 1000, 2.5)
    >>> round(age, 1), round(cost, 4)
    (493.0, 0.0035)
    """
    from scipy import optimize

    force = _force(cost_planned, cost_failure, life, shape, discount_rate)
    if not cost_planned > 0.0:
        raise ValueError("give a planned replacement a cost above 0")

    def slope(log_age: float) -> float:
        age = np.exp(log_age)
        lasting, reached = _integral(np.asarray(age), life, shape, force)
        hazard = shape / life * (age / life) ** (shape - 1.0)
        gain = ((cost_failure - cost_planned) * hazard - cost_planned * force) * lasting
        return float(gain - cost_planned * reached - cost_failure * (1.0 - reached - force * lasting))

    low, high = np.log(life) - 100.0, np.log(life) + np.log(20.7) / shape
    # without wear, or with failures no dearer, the slope stays below 0
    waiting = slope(high) <= 0.0
    best = float("inf") if waiting else float(np.exp(optimize.brentq(slope, low, high, xtol=1e-12)))
    return best, float(age_replacement_cost(best, cost_planned, cost_failure, life, shape, discount_rate))


def _integral(age: Floats, life: float, shape: float, force: float) -> tuple[Floats, Floats]:
    """Discounted time until an age or the failure; discounted chance of reaching that age."""
    end = np.minimum(age, life * 40.0 ** (1.0 / shape))
    x = np.linspace(-3.5, 3.5, 201)
    share = 1.0 / (1.0 + np.exp(-np.pi * np.sinh(x)))
    weight = (x[1] - x[0]) * np.pi * np.cosh(x) * share * (1.0 - share)
    t = end[..., np.newaxis] * share
    alive = np.exp(-((t / life) ** shape) - force * t)
    lasting = end * (weight * alive).sum(axis=-1)
    return np.asarray(lasting), np.asarray(np.exp(-((end / life) ** shape) - force * end))


def _force(cost_planned: float, cost_failure: float, life: float, shape: float, discount_rate: float) -> float:
    if not (cost_planned >= 0.0 and cost_failure >= 0.0):
        raise ValueError("give costs of 0 or more")
    if not (life > 0.0 and shape > 0.0):
        raise ValueError("a life and its shape must be above 0")
    if not 0.0 <= discount_rate <= 1.0:
        raise ValueError(f"a discount rate must lie in 0..1, not {discount_rate}: give 0.05 for 5 %")
    return float(np.log1p(discount_rate))
