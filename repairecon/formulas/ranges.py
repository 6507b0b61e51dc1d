"""An uncertain number from three: low, likely, high, and a shape.

Shapes: ``pert`` (a beta curve), ``triangular``, ``uniform``, and ``lognormal`` (shifted; its three
are the values that 10 %, 50 % and 90 % of cases stay below). ``low == high`` is a sure number,
whatever the shape. The three are single numbers; ``x`` and ``p`` may be arrays.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from repairecon.formulas.largest import expected_maximum
from repairecon.formulas.shapes import Curve, Floats, Lognormal

__all__ = [
    "cdf",
    "expected_maximum",
    "lognormal_parameters",
    "mean",
    "partial_mean",
    "pert_classic_sd",
    "quantile",
    "variance",
]


def mean(low: float, likely: float, high: float, shape: str = "pert") -> float:
    """Mean of an uncertain number.

    Parameters
    ----------
    low, likely, high : float
        The three numbers [unit of the number].
    shape : str
        pert, triangular, lognormal or uniform [-].

    Returns
    -------
    float
        Mean [unit of the number].

    Notes
    -----
    pert ``(low + 4 likely + high) / 6``; triangular ``(low + likely + high) / 3``; uniform
    ``(low + high) / 2`` (likely plays no part); lognormal ``theta + exp(mu + sigma**2 / 2)``.
    ValueError unless ``low <= likely <= high``.

    References
    ----------
    D. G. Malcolm, J. H. Roseboom, C. E. Clark, W. Fazar, "Application of a technique for research
    and development program evaluation", Operations Research 7 (1959) 646-669 (for pert).

    Examples
    --------
    >>> round(mean(1, 10, 17), 2)
    9.67
    """
    curve = Curve.of(low, likely, high, shape)
    return curve.start + curve.scale * curve.unit.mean


def variance(low: float, likely: float, high: float, shape: str = "pert") -> float:
    """Variance of an uncertain number.

    Parameters
    ----------
    low, likely, high : float
        The three numbers [unit of the number].
    shape : str
        pert, triangular, lognormal or uniform [-].

    Returns
    -------
    float
        Variance [unit of the number, squared]; 0 for a sure number.

    Notes
    -----
    For pert it is that of the beta curve itself, ``(mean - low) (high - mean) / 7``, and not the
    square of the classic rule of :func:`pert_classic_sd`.

    References
    ----------
    N. L. Johnson, S. Kotz, N. Balakrishnan, Continuous Univariate Distributions, 2nd ed.,
    chapters 14 (lognormal), 25 (beta) and 26 (uniform).

    Examples
    --------
    >>> round(variance(0, 0.5, 1, "uniform"), 4)
    0.0833
    """
    curve = Curve.of(low, likely, high, shape)
    return curve.scale**2 * curve.unit.variance


def pert_classic_sd(low: float, high: float) -> float:
    """Standard deviation by the classic PERT rule, as a check on worked examples.

    Parameters
    ----------
    low, high : float
        Lowest and highest value [unit of the number].

    Returns
    -------
    float
        ``(high - low) / 6`` [unit of the number].

    Notes
    -----
    An approximation: the beta curve's own deviation lies between 0.141 (likely at an end) and 0.189
    (likely in the middle) of ``high - low``. Nothing else here uses this rule.

    References
    ----------
    Malcolm, Roseboom, Clark, Fazar, Operations Research 7 (1959) 646-669.

    Examples
    --------
    >>> round(pert_classic_sd(1, 17), 2)
    2.67
    """
    return (high - low) / 6.0


def cdf(x: ArrayLike, low: float, likely: float, high: float, shape: str = "pert") -> Floats:
    """Chance that an uncertain number is at most x.

    Parameters
    ----------
    x : float or array
        Value asked about [unit of the number].
    low, likely, high : float
        The three numbers [unit of the number].
    shape : str
        pert, triangular, lognormal or uniform [-].

    Returns
    -------
    float or array
        Chance [-]; a step at a sure number, which itself counts as reached.

    Notes
    -----
    0 below the curve and 1 above it; nan stays nan.

    References
    ----------
    N. L. Johnson, S. Kotz, N. Balakrishnan, Continuous Univariate Distributions, 2nd ed.,
    chapters 14 (lognormal), 25 (beta) and 26 (uniform).
    """
    curve, at = Curve.of(low, likely, high, shape), np.asarray(x, dtype=float)
    if curve.scale == 0.0:
        return np.where(np.isnan(at), np.nan, at >= curve.start)[()]
    return np.asarray(curve.unit.cdf((at - curve.start) / curve.scale))[()]


def quantile(p: ArrayLike, low: float, likely: float, high: float, shape: str = "pert") -> Floats:
    """Value that the share p of cases stays below.

    Parameters
    ----------
    p : float or array
        Chance [-], 0..1.
    low, likely, high : float
        The three numbers [unit of the number].
    shape : str
        pert, triangular, lognormal or uniform [-].

    Returns
    -------
    float or array
        Value [unit of the number]. A lognormal has no highest value: inf at p = 1.

    Notes
    -----
    The inverse of :func:`cdf`. ValueError when a chance lies outside 0..1.

    References
    ----------
    N. L. Johnson, S. Kotz, N. Balakrishnan, Continuous Univariate Distributions, 2nd ed.,
    chapters 14 (lognormal), 25 (beta) and 26 (uniform).

    Examples
    --------
    >>> float(quantile(0.5, 10, 12, 20, "lognormal"))
    12.0
    """
    curve, at = Curve.of(low, likely, high, shape), _chances(p)
    if curve.scale == 0.0:
        return np.full(at.shape, curve.start)[()]
    return np.asarray(curve.start + curve.scale * curve.unit.quantile(at))[()]


def partial_mean(p: ArrayLike, low: float, likely: float, high: float, shape: str = "pert") -> Floats:
    """Integral of the quantile from 0 to p: what the lowest share p adds to the mean.

    Parameters
    ----------
    p : float or array
        Chance [-], 0..1.
    low, likely, high : float
        The three numbers [unit of the number].
    shape : str
        pert, triangular, lognormal or uniform [-].

    Returns
    -------
    float or array
        Part of the mean [unit of the number]; the whole mean at p = 1.

    Notes
    -----
    Closed forms. pert: ``low p + (mean - low) I_q(alpha + 1, beta)``, q the quantile on 0..1 and I the
    regularised incomplete beta function; lognormal: ``theta p + exp(mu + sigma**2 / 2) Phi(z_p -
    sigma)``. Divided by p it is the mean of the lowest cases. ValueError outside 0..1.

    References
    ----------
    M. Abramowitz, I. A. Stegun, Handbook of Mathematical Functions, section 26.5 (incomplete beta).

    Examples
    --------
    >>> float(partial_mean(0.5, 0, 1, 2, "uniform"))
    0.25
    """
    curve, at = Curve.of(low, likely, high, shape), _chances(p)
    return np.asarray(curve.start * at + curve.scale * curve.unit.partial(at))[()]


def lognormal_parameters(low: float, likely: float, high: float) -> tuple[float, float, float]:
    """Shifted lognormal through its 10 %, 50 % and 90 % points.

    Parameters
    ----------
    low, likely, high : float
        Values that 10 %, 50 % and 90 % of cases stay below [unit of the number].

    Returns
    -------
    theta, mu, sigma : float
        Lower end [unit of the number]; mean and deviation of ``ln(x - theta)`` [-].

    Notes
    -----
    ``theta = (low high - likely**2) / (low + high - 2 likely)``, ``sigma = ln((high - likely) /
    (likely - low)) / 1.28155``, ``mu = ln(likely - theta)``. It needs a longer upper side, ``high -
    likely > likely - low > 0``: ValueError otherwise. Near symmetry theta runs off and sigma to 0,
    and partial means lose about as many digits as sigma has leading zeros.

    References
    ----------
    N. L. Johnson, S. Kotz, N. Balakrishnan, Continuous Univariate Distributions, vol. 1, 2nd ed.,
    chapter 14 (three-parameter lognormal, fitted by percentiles).
    """
    scale, sigma = Lognormal.through(float(low), float(likely), float(high))
    return likely - scale, math.log(scale), sigma


def _chances(p: ArrayLike) -> Floats:
    at = np.asarray(p, dtype=float)
    if not np.all((at >= 0.0) & (at <= 1.0)):
        raise ValueError("a chance must lie in 0..1 (0.20 for 20 %)")
    return at
