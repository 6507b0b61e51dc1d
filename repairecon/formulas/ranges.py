"""An uncertain number from three: low, likely, high, and a shape.

Shapes: ``pert`` (a beta curve), ``triangular``, ``uniform``, and ``lognormal`` (shifted; its three are the values that
10 %, 50 % and 90 % of cases stay below). ``low == high`` is a sure number. The three are single numbers; ``x`` and
``p`` may be arrays. Not from scipy.stats, which is slow to load and to call.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from functools import cache
from typing import NamedTuple

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
KNOTS, NODES, Z_OF_90_PERCENT = 512, 20, 1.2815515655446004


class _Beta:
    """A beta curve on 0..1: pert where its parameters add up to six, uniform where both are one."""

    def __init__(self, alpha: float, beta: float) -> None:
        self.alpha, self.beta = alpha, beta
        whole = alpha + beta
        self.breaks = np.array([0.0, (alpha - 1.0) / (whole - 2.0) if whole > 2.0 else 0.5, 1.0])
        self.mean, self.variance = alpha / whole, alpha * beta / (whole * whole * (whole + 1.0))

    def cdf(self, u: Floats) -> Floats:
        return np.asarray(scipy.special.betainc(self.alpha, self.beta, np.clip(u, 0.0, 1.0)))

    def survival(self, u: Floats) -> Floats:
        return np.asarray(scipy.special.betainc(self.beta, self.alpha, np.clip(1.0 - u, 0.0, 1.0)))

    def quantile(self, p: Floats) -> Floats:
        # So far out the library's inverse may give nan, and the value is within 1e-19 of the end.
        return np.where(p < 1e-100, 0.0, scipy.special.betaincinv(self.alpha, self.beta, p))

    def partial(self, p: Floats) -> Floats:
        # Its quantile is slow: from some points of the curve on by cubic pieces, whose slope is the quantile itself.
        x = (1.0 - np.cos(np.pi * np.arange(KNOTS + 1) / KNOTS)) / 2.0
        chance, whole = self.cdf(x), self.mean * scipy.special.betainc(self.alpha + 1.0, self.beta, x)
        rising = np.concatenate([np.diff(chance) > 0, [True]])
        x, chance, whole = x[rising], chance[rising], whole[rising]
        chance[0], chance[-1] = 0.0, 1.0
        i = np.clip(np.searchsorted(chance, p, side="right") - 1, 0, len(chance) - 2)
        h = chance[i + 1] - chance[i]
        t = (p - chance[i]) / h
        rest = 1.0 - t
        ends = whole[i] * rest**2 * (1 + 2 * t) + whole[i + 1] * t**2 * (3 - 2 * t)
        return np.asarray(ends + h * t * rest * (x[i] * rest - x[i + 1] * t))

    def nodes(self) -> tuple[Floats, Floats]:
        t, weight = scipy.special.roots_jacobi(NODES, self.beta - 1.0, self.alpha - 1.0)
        return (1.0 + t) / 2.0, weight / weight.sum()


class _Triangle:
    """A triangle on 0..1 with its top at ``mode``."""

    def __init__(self, mode: float) -> None:
        self.mode, self.breaks = mode, np.array([0.0, mode, 1.0])
        self.mean, self.variance = (1.0 + mode) / 3.0, (1.0 - mode + mode * mode) / 18.0

    def cdf(self, u: Floats) -> Floats:
        u, c, tiny = np.clip(u, 0.0, 1.0), self.mode, 1e-300
        return np.where(u < c, u * u / max(c, tiny), 1.0 - (1.0 - u) ** 2 / max(1.0 - c, tiny))

    def survival(self, u: Floats) -> Floats:
        return _Triangle(1.0 - self.mode).cdf(1.0 - u)

    def quantile(self, p: Floats) -> Floats:
        c = self.mode
        return np.where(p < c, np.sqrt(c * p), 1.0 - np.sqrt((1.0 - c) * (1.0 - p)))

    def partial(self, p: Floats) -> Floats:
        c = self.mode
        rising = 2.0 / 3.0 * math.sqrt(c) * np.minimum(p, c) ** 1.5
        left = np.clip(1.0 - p, 0.0, 1.0 - c)
        falling = 2.0 / 3.0 * math.sqrt(1.0 - c) * ((1.0 - c) ** 1.5 - left**1.5)
        return np.asarray(rising + np.maximum(p - c, 0.0) - falling)

    def nodes(self) -> tuple[Floats, Floats]:
        t, weight = scipy.special.roots_jacobi(NODES // 2, 0.0, 1.0)  # one side at a time, each a straight line
        side, c = (1.0 + t) / 2.0, self.mode
        values = np.concatenate([c * side, 1.0 - (1.0 - c) * side])
        return values, np.concatenate([c * weight, (1.0 - c) * weight]) / weight.sum()


class _Lognormal:
    """``exp(sigma z) - 1`` of a standard normal z: 0 at the median, so that a nearly even curve keeps its digits."""

    def __init__(self, sigma: float) -> None:
        self.sigma = sigma
        self.mean = math.expm1(sigma**2 / 2.0)
        self.variance = math.expm1(sigma**2) * math.exp(sigma**2)
        # The mean's own weight sits round z = sigma: nine deviations beyond either are kept.
        self.breaks = np.expm1(sigma * np.arange(-9.0, math.ceil(sigma) + 10.0))

    def _z(self, u: Floats) -> Floats:
        with np.errstate(divide="ignore"):
            return np.asarray(np.log1p(np.maximum(u, -1.0)) / self.sigma)

    def cdf(self, u: Floats) -> Floats:
        return np.asarray(scipy.special.ndtr(self._z(u)))

    def survival(self, u: Floats) -> Floats:
        return np.asarray(scipy.special.ndtr(-self._z(u)))

    def quantile(self, p: Floats) -> Floats:
        return np.asarray(np.expm1(self.sigma * scipy.special.ndtri(p)))

    def partial(self, p: Floats) -> Floats:
        return np.asarray((1.0 + self.mean) * scipy.special.ndtr(scipy.special.ndtri(p) - self.sigma) - p)

    def nodes(self) -> tuple[Floats, Floats]:
        z, weight = scipy.special.roots_hermitenorm(NODES)
        return np.expm1(self.sigma * z), weight / weight.sum()


class _Curve(NamedTuple):
    """``start + scale * unit``; ``scale`` is 0 for a sure number."""

    start: float
    scale: float
    unit: _Beta | _Triangle | _Lognormal


def _curve(low: float, likely: float, high: float, shape: str) -> _Curve:
    low, likely, high = float(low), float(likely), float(high)
    if not all(map(math.isfinite, (low, likely, high))):
        raise ValueError(f"low, likely and high must be plain numbers, not {low}, {likely}, {high}")
    if not low <= likely <= high:
        raise ValueError(f"give low <= likely <= high, not {low}, {likely}, {high}")
    if shape not in ("pert", "triangular", "lognormal", "uniform"):
        raise ValueError(f"shape must be pert, triangular, lognormal or uniform, not {shape!r}")
    width, below, above = high - low, likely - low, high - likely
    if width == 0.0 or shape == "uniform":
        return _Curve(low, width, _Beta(1.0, 1.0))
    if shape == "triangular":
        return _Curve(low, width, _Triangle(below / width))
    if shape == "pert":
        return _Curve(low, width, _Beta(1.0 + 4.0 * (below / width), 1.0 + 4.0 * above / width))
    if not above > below > 0.0:
        raise ValueError(f"a lognormal needs high - likely > likely - low > 0, not {low}, {likely}, {high}: use pert")
    surplus = above - below
    return _Curve(likely, below * (above / surplus), _Lognormal(math.log1p(surplus / below) / Z_OF_90_PERCENT))


def mean(low: float, likely: float, high: float, shape: str = "pert") -> float:
    """Mean of an uncertain number.

    Parameters
    ----------
    low, likely, high, shape : float, float, float, str
        The three numbers [unit of the number]; pert, triangular, lognormal or uniform.

    Returns
    -------
    float
        Mean [unit of the number].

    Notes
    -----
    pert ``(low + 4 likely + high) / 6``; triangular ``(low + likely + high) / 3``; uniform ``(low + high) / 2`` (likely
    plays no part); lognormal ``theta + exp(mu + sigma**2 / 2)``. ValueError unless ``low <= likely <= high``. Source:
    D. G. Malcolm et al., Operations Research 7 (1959) 646-669 (for pert).
    """
    start, scale, unit = _curve(low, likely, high, shape)
    return start + scale * unit.mean


def variance(low: float, likely: float, high: float, shape: str = "pert") -> float:
    """Variance of an uncertain number.

    Parameters
    ----------
    low, likely, high, shape : float, float, float, str
        As for :func:`mean` [unit of the number].

    Returns
    -------
    float
        Variance [unit of the number, squared]; 0 for a sure number.

    Notes
    -----
    For pert that of the beta curve itself, ``(mean - low) (high - mean) / 7``, not the classic ``((high - low) /
    6)**2``. Source: N. L. Johnson, S. Kotz, N. Balakrishnan, Continuous Univariate Distributions, 2nd ed., chapters 14,
    25 and 26.
    """
    _, scale, unit = _curve(low, likely, high, shape)
    return scale**2 * unit.variance


def cdf(x: ArrayLike, low: float, likely: float, high: float, shape: str = "pert") -> Floats:
    """Chance that an uncertain number is at most x.

    Parameters
    ----------
    x, low, likely, high, shape : float or array, float, float, float, str
        Value asked about; the range as for :func:`mean` [unit of the number].

    Returns
    -------
    float or array
        Chance [-]; nan stays nan.

    Notes
    -----
    0 below the curve, 1 above it; a step at a sure number, which itself counts as reached. Source: as for
    :func:`variance`.
    """
    curve, at = _curve(low, likely, high, shape), np.asarray(x, dtype=float)
    if curve.scale == 0.0:
        return np.where(np.isnan(at), np.nan, at >= curve.start)[()]
    return np.asarray(curve.unit.cdf((at - curve.start) / curve.scale))[()]


def quantile(p: ArrayLike, low: float, likely: float, high: float, shape: str = "pert") -> Floats:
    """Value that the share p of cases stays below.

    Parameters
    ----------
    p, low, likely, high, shape : float or array, float, float, float, str
        Chance, 0..1 [-]; the range as for :func:`mean` [unit of the number].

    Returns
    -------
    float or array
        Value [unit of the number]; inf for a lognormal at p = 1.

    Notes
    -----
    The inverse of :func:`cdf`. Source: as for :func:`variance`.

    >>> float(quantile(0.5, 10, 12, 20, "lognormal"))
    12.0
    """
    curve, at = _curve(low, likely, high, shape), np.asarray(p, dtype=float)
    if curve.scale == 0.0:
        return np.full(at.shape, curve.start)[()]
    return np.asarray(curve.start + curve.scale * curve.unit.quantile(at))[()]


def nodes(low: float, likely: float, high: float, shape: str = "pert") -> tuple[Floats, Floats]:
    """A few values of a range and their weights, for means over the range.

    Parameters
    ----------
    low, likely, high, shape : float, float, float, str
        As for :func:`mean` [unit of the number].

    Returns
    -------
    values, weights : array (20,)
        Values [unit of the number] and weights, of sum 1 [-]; one value for a sure number.

    Notes
    -----
    Gauss quadrature, exact for powers up to 39 (19 for a triangle, 10 values a side); lognormal by its normal score.
    Source: Abramowitz and Stegun, Handbook of Mathematical Functions, 25.4 (Gauss-Jacobi and Gauss-Hermite), from
    memory.

    >>> values, weights = nodes(0, 2, 7)
    >>> round(float(weights @ values), 9)
    2.5
    """
    curve = _curve(low, likely, high, shape)
    unit, weights = curve.unit.nodes() if curve.scale > 0.0 else (np.zeros(1), np.ones(1))
    return np.asarray(curve.start + curve.scale * unit), weights


def expected_maximum(ranges: Sequence[tuple[float, float, float, str]]) -> float:
    """Expected largest of independent uncertain numbers.

    Parameters
    ----------
    ranges : sequence of (low, likely, high, shape)
        The numbers, in one unit [any unit]; sure ones may be among them.

    Returns
    -------
    float
        Expected maximum [the same unit].

    Notes
    -----
    ``floor + integral from floor of 1 - F1(x) F2(x) ...``, floor being the highest low end, by 64-point Gauss-Legendre
    between the sorted lows, likelies and highs, for a lognormal whole deviations from -9 to sigma + 9. Error below 1e-9
    of the largest number in sight, sigma being up to 5. Source: H. A. David, H. N. Nagaraja, Order Statistics, 3rd ed.,
    section 3.1.

    >>> round(expected_maximum([(0, 0.5, 1, "uniform")] * 3), 6)
    0.75
    """
    curves = [(_curve(*one), count) for one, count in Counter(ranges).items()]
    breaks = [curve.start + curve.scale * curve.unit.breaks for curve, _ in curves]
    floor, edges = max(float(points[0]) for points in breaks), np.unique(np.concatenate(breaks))
    edges = edges[(edges >= floor) & np.isfinite(edges)]
    (at, weight), width = _flat_ended_nodes(), np.diff(edges)[:, None]
    x = edges[:-1, None] + width * at
    none_above = np.zeros_like(x)
    with np.errstate(divide="ignore"):
        for (curve, count), points in zip(curves, breaks, strict=True):
            if curve.scale > 0.0 and points[-1] > floor:  # one that ends below the floor is never the largest
                none_above += count * np.log1p(-curve.unit.survival((x - curve.start) / curve.scale))
    return floor + float(np.sum(width * weight * -np.expm1(none_above)))


@cache
def _flat_ended_nodes() -> tuple[Floats, Floats]:
    """Points and weights on 0..1; flat ends tame a curve that starts as a broken power."""
    t, weight = np.polynomial.legendre.leggauss(64)
    t = (t + 1.0) / 2.0
    return t**3 * (10.0 - 15.0 * t + 6.0 * t * t), weight / 2.0 * 30.0 * (t * (1.0 - t)) ** 2


def cell_means(edges: ArrayLike, low: float, likely: float, high: float, shape: str = "pert") -> Floats:
    """Mean of an uncertain number within each step of chance.

    Parameters
    ----------
    edges, low, likely, high, shape : array (cells + 1,), float, float, float, str
        Ascending chances from 0 to 1 [-]; the range as for :func:`mean` [unit of the number].

    Returns
    -------
    array (cells,)
        Conditional mean of each step [unit of the number]; nan where a step has no width.

    Notes
    -----
    Differences of G(p), the integral of the quantile from 0 to p; pert carries G from 512 points to the edges by cubic
    pieces, so that the means add up to the mean of the number, and are right to 1e-6 of the range for 4,096 steps.
    Source: Abramowitz and Stegun, Handbook of Mathematical Functions, 25.2 (interpolation) and 26.5 (beta), from
    memory.

    >>> cell_means([0.0, 0.5, 1.0], 10, 15, 20, "uniform").tolist()
    [12.5, 17.5]
    """
    p, curve = np.asarray(edges, dtype=float), _curve(low, likely, high, shape)
    whole = curve.start * p + curve.scale * curve.unit.partial(p)
    width = np.diff(p)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(width > 0, np.diff(whole) / width, np.nan)
