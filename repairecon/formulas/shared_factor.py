"""Uncertain numbers that share one hidden normal factor, such as the hours of one and the same pair of hands.

Given the factor they are independent; the answer is the mean of the conditional answers over a few
values of the factor.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from repairecon.formulas.grids import curve_masses
from repairecon.formulas.shapes import Curve, Floats

KNOTS = 128
KNOTS_ENDLESS = 384


def factor_nodes(count: int = 15) -> tuple[Floats, Floats]:
    """Values of a standard normal factor and their weights, for means over the factor.

    Parameters
    ----------
    count : int
        Number of values [-].

    Returns
    -------
    nodes, weights : array (count,)
        Values [-] and weights [-], which add up to 1.

    Notes
    -----
    Gauss-Hermite: exact for polynomials of the factor up to degree ``2 count - 1``, so that means are kept
    even by few values. The chances of a sum of five alike numbers and nothing else are off, at a
    correlation of 0.3, 0.5, 0.7, by at most 7e-5, 2e-3, 2e-2 with 9 values, 5e-7, 1e-4, 4e-3 with 15 and
    1e-9, 2e-6, 4e-4 with 25; by less the more else is in the sum.

    References
    ----------
    Abramowitz and Stegun, Handbook of Mathematical Functions, 25.4.46.

    Examples
    --------
    >>> nodes, weights = factor_nodes(3)
    >>> nodes.round(4).tolist(), weights.round(4).tolist()
    ([-1.7321, 0.0, 1.7321], [0.1667, 0.6667, 0.1667])
    """
    nodes, weights = np.polynomial.hermite_e.hermegauss(count)
    return np.asarray(nodes), np.asarray(weights / weights.sum())


def conditional_curve(
    low: float, likely: float, high: float, shape: str, correlation: float, factor: ArrayLike
) -> tuple[Floats, Floats, Floats]:
    """A range given the shared factor, by its cdf and the integral of it at some knots.

    Parameters
    ----------
    low, likely, high : float
        The three numbers [unit of the number]; low below high.
    shape : str
        pert, triangular, lognormal or uniform [-].
    correlation : float
        Correlation of the normal scores of any two numbers that share the factor [-], 0 to below 1.
    factor : array (nodes,)
        Values of the factor, a standard normal [-].

    Returns
    -------
    x : array (knots,)
        Values [unit of the number].
    cdf : array (nodes, knots)
        Chance of at most x given the factor [-].
    area : array (nodes, knots)
        Integral of that cdf from the first knot [unit of the number].

    Notes
    -----
    ``P(X <= x | c) = Phi((z - sqrt(r) c) / sqrt(1 - r))`` with z the normal score of the cdf F(x). Its
    integral is taken by Simpson's rule over each of 128 steps (a lognormal: 384), closer towards the ends;
    the mean over 15 values of the factor gives back the mean of the range to 1e-7 of its width. A lognormal
    is cut off at nine deviations. For a coefficient above 0 scale x and area. ValueError for a sure number
    or r outside 0..1.

    References
    ----------
    O. Vasicek, "Loan portfolio value", Risk 15 (2002), December (one-factor model), from memory.
    """
    if not 0.0 <= correlation < 1.0:
        raise ValueError(f"a correlation must lie in 0 to below 1 (0.20 for 20 %), not {correlation}")
    curve = Curve.of(low, likely, high, shape)
    if curve.scale == 0.0:
        raise ValueError("a sure number has no curve")
    half = _half_knots(curve)
    chance = _conditional(_score(curve, half), correlation, np.atleast_1d(np.asarray(factor, dtype=float)))
    x = curve.start + curve.scale * half
    return x[::2], chance[:, ::2], _simpson(x, chance)


def conditional_grid_masses(
    low: float,
    likely: float,
    high: float,
    shape: str,
    correlation: float,
    factor: ArrayLike,
    step: float,
    start: float,
    size: int,
) -> Floats:
    """Chances on a regular grid of a range given the shared factor.

    Parameters
    ----------
    low, likely, high : float
        The three numbers [unit of the number].
    shape : str
        pert, triangular, lognormal or uniform [-].
    correlation : float
        Correlation of the normal scores of any two numbers that share the factor [-], 0 to below 1.
    factor : array (nodes,)
        Values of the factor, a standard normal [-].
    step, start : float
        Distance of the grid points, and the first [unit of the number].
    size : int
        Number of grid points [-].

    Returns
    -------
    array (nodes, size)
        Chances given each value of the factor [-]; each row adds up to 1.

    Notes
    -----
    :func:`conditional_curve` put on the grid by :func:`repairecon.formulas.grids.curve_masses`.

    References
    ----------
    As :func:`conditional_curve`.

    Examples
    --------
    >>> rows = conditional_grid_masses(0, 1, 2, "uniform", 0.5, [-1.0, 1.0], 1.0, 0.0, 3)
    >>> rows.round(3).tolist()
    [[0.48, 0.477, 0.043], [0.043, 0.477, 0.48]]
    """
    x, cdf, area = conditional_curve(low, likely, high, shape, correlation, factor)
    return curve_masses(x, cdf, area, step, start, size)


def largest_curve(
    ranges: Sequence[tuple[float, float, float, str]], floor: float
) -> tuple[Floats, Floats, Floats]:
    """The largest of independent ranges and a floor, by its cdf and the integral of it at some knots.

    Parameters
    ----------
    ranges : sequence of (low, likely, high, shape)
        The ranges; at least one reaches above the floor and is no sure number [unit of the number].
    floor : float
        What the largest never falls below [unit of the number].

    Returns
    -------
    x, cdf, area : array (knots,)
        Values [unit of the number], chance of at most x [-] and its integral from the first knot.

    Notes
    -----
    Product of the cdfs, integrated by Simpson's rule between knots laid closer towards the ends of each
    range. A jump at the floor or a sure number stays a jump.

    References
    ----------
    H. A. David, H. N. Nagaraja, Order Statistics, 3rd ed., section 2.1.
    """
    curves = [Curve.of(*r) for r in ranges]
    sure = [c.start for c in curves if c.scale == 0.0]
    open_ones = [c for c in curves if c.scale > 0.0]
    floor = max([floor, *sure])
    halves = [c.start + c.scale * _half_knots(c) for c in open_ones]
    top = max([h[-1] for h in halves], default=floor)
    floor = max([floor, *(h[0] for h in halves)])
    if top <= floor:
        raise ValueError("the largest is a sure number, it has no curve")
    x = np.unique(np.concatenate([[floor, top], *(h[::2] for h in halves)]))
    x = x[(x >= floor) & (x <= top)]
    half = np.empty(2 * len(x) - 1)
    half[::2], half[1::2] = x, (x[1:] + x[:-1]) / 2.0
    chance = np.ones_like(half)
    for c in open_ones:
        chance *= c.unit.cdf((half - c.start) / c.scale)
    return x, chance[::2], _simpson(half, chance)


def _half_knots(curve: Curve) -> Floats:
    """Knots and their midpoints on the unit scale, closer towards the ends."""
    ends = curve.unit.breaks()[[0, -1]]
    if np.isclose(ends[0], 0.0) and np.isclose(ends[1], 1.0):
        knots = (1.0 - np.cos(np.pi * np.arange(KNOTS + 1) / KNOTS)) / 2.0
    else:
        knots = curve.unit.quantile(_normal_cdf(np.linspace(-8.0, 8.0, KNOTS_ENDLESS + 1)))
        knots[0], knots[-1] = ends
    half = np.empty(2 * len(knots) - 1)
    half[::2], half[1::2] = knots, (knots[1:] + knots[:-1]) / 2.0
    return half


def _normal_cdf(z: Floats) -> Floats:
    from scipy import special

    return np.asarray(special.ndtr(z))


def _score(curve: Curve, u: Floats) -> Floats:
    """Normal score of the cdf, from whichever tail is the smaller."""
    from scipy import special

    chance = curve.unit.cdf(u)
    upper = chance > 0.5
    score = np.asarray(special.ndtri(chance))
    score[upper] = -special.ndtri(curve.unit.survival(u[upper]))
    score[0], score[-1] = -np.inf, np.inf
    return score


def _conditional(score: Floats, correlation: float, factor: Floats) -> Floats:
    own = (score - np.sqrt(correlation) * factor[:, np.newaxis]) / np.sqrt(1.0 - correlation)
    return _normal_cdf(own)


def _simpson(x: Floats, chance: Floats) -> Floats:
    """Integral from the first knot to each, from values at knots and midpoints between them."""
    width = x[2::2] - x[:-2:2]
    parts = width / 6.0 * (chance[..., :-2:2] + 4.0 * chance[..., 1::2] + chance[..., 2::2])
    whole = np.zeros((*chance.shape[:-1], len(width) + 1))
    np.cumsum(parts, axis=-1, out=whole[..., 1:])
    return whole
