"""Uncertain numbers as chances on an evenly spaced grid.

A figure between two grid points is split between them so that its mean stays.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from repairecon.formulas.shapes import Curve, Floats

MOST_OUTSIDE = 1e-6
"""Most chance that may lie beyond the ends of a grid."""


def grid_masses(
    low: float, likely: float, high: float, shape: str, step: float, start: float, size: int
) -> Floats:
    """Chances of a range on a regular grid, its mean kept.

    Parameters
    ----------
    low, likely, high : float
        The three numbers [unit of the number].
    shape : str
        pert, triangular, lognormal or uniform [-].
    step : float
        Distance of the grid points [unit of the number].
    start : float
        First grid point [unit of the number].
    size : int
        Number of grid points [-].

    Returns
    -------
    array (size,)
        Chance at each grid point [-]; they add up to 1 and give back the mean of the range.

    Notes
    -----
    The chance of a cell goes to its two ends in proportion to where its conditional mean lies, which is
    ``(A(x + h) - 2 A(x) + A(x - h)) / h`` at grid point x, with A the integral of the cdf in closed form
    and h the step. The variance grows by the mean of ``t (1 - t) h**2``, t the place within the cell:
    about ``h**2 / 6``, at most ``h**2 / 4`` for a sure number. Of a lognormal's endless upper side what
    lies beyond the grid is put on the last point, and as much chance is moved there from the likely
    value as keeps the mean. ValueError when more than 1e-6 of the chance lies beyond the grid.

    References
    ----------
    H. Panjer, G. Willmot, Insurance Risk Models (1992), ch. 6 (rounding and local moment matching on a
    lattice), from memory.

    Examples
    --------
    >>> grid_masses(0, 1, 2, "uniform", 1.0, 0.0, 4).round(6).tolist()
    [0.25, 0.5, 0.25, 0.0]
    """
    curve = Curve.of(low, likely, high, shape)
    _check_grid(step, size)
    if curve.scale == 0.0:
        return point_masses(curve.start, step, start, size)
    ends = curve.start + curve.scale * curve.unit.breaks()[[0, -1]]
    first, last = _inside(ends[0], ends[1], step, start, size)
    u = np.asarray((start + step * np.arange(first, last + 1) - curve.start) / curve.scale, dtype=np.float64)
    if start + step * first > ends[0] + 1e-9 * step or start + step * last < ends[1] - 1e-9 * step:
        outside = float(curve.unit.cdf(u[:1])[0] + curve.unit.survival(u[-1:])[0])
        _check_outside(outside, low, high)
    masses = np.zeros(size)
    masses[first : last + 1] = _differences(curve.scale * curve.unit.area(u), step)
    _keep_mean(masses, curve.start + curve.scale * curve.unit.mean, likely, step, start)
    return masses


def point_masses(value: float, step: float, start: float, size: int) -> Floats:
    """Chances of a sure number on a regular grid, its value kept as the mean.

    Parameters
    ----------
    value : float
        The number [its unit].
    step, start : float
        Distance of the grid points, and the first [unit of the number].
    size : int
        Number of grid points [-].

    Returns
    -------
    array (size,)
        Chance at each grid point, 0 but for one or two [-].

    Notes
    -----
    Split between its neighbours in proportion to its place. ValueError beyond the grid.

    References
    ----------
    As :func:`grid_masses`.

    Examples
    --------
    >>> point_masses(2.25, 1.0, 0.0, 4).tolist()
    [0.0, 0.0, 0.75, 0.25]
    """
    _check_grid(step, size)
    place = (value - start) / step
    if not -1e-9 <= place <= size - 1 + 1e-9:
        raise ValueError(f"{value} lies beyond the grid: more points, or a larger step")
    place = min(max(place, 0.0), size - 1.0)
    k = min(int(place), size - 2)
    masses = np.zeros(size)
    masses[k], masses[k + 1] = 1.0 - (place - k), place - k
    return masses


def curve_masses(
    x: ArrayLike, cdf: ArrayLike, area: ArrayLike, step: float, start: float, size: int
) -> Floats:
    """Chances on a regular grid of numbers known by their cdf at some knots.

    Parameters
    ----------
    x : array (knots,)
        Ascending values, from where the cdf is 0 to where it is 1 [unit of the number].
    cdf : array (..., knots)
        Chance of at most x, one row a number [-].
    area : array (..., knots)
        Integral of the cdf from the first knot [unit of the number].
    step, start : float
        Distance of the grid points, and the first [unit of the number].
    size : int
        Number of grid points [-].

    Returns
    -------
    array (..., size)
        Chance at each grid point [-]; each row adds up to 1 and keeps the mean, last knot less last area.

    Notes
    -----
    As :func:`grid_masses`, with the integral of the cdf by cubic pieces between the knots whose slope is
    the cdf: error below ``d**4 / 384`` times the largest slope of the density, d between knots. For a
    coefficient c above 0 give c x and c area. ValueError when the knots do not fit on the grid.

    References
    ----------
    C. de Boor, A Practical Guide to Splines (1978), ch. IV (cubic Hermite interpolation), from memory.

    Examples
    --------
    >>> curve_masses([0.0, 1.0, 2.0], [0.0, 0.5, 1.0], [0.0, 0.25, 1.0], 1.0, 0.0, 4).round(6).tolist()
    [0.25, 0.5, 0.25, 0.0]
    """
    knots, rows, below = (np.asarray(v, dtype=float) for v in (x, cdf, area))
    _check_grid(step, size)
    first, last = _inside(knots[0], knots[-1], step, start, size)
    if start + step * first > knots[0] + 1e-9 * step or start + step * last < knots[-1] - 1e-9 * step:
        _check_outside(1.0, float(knots[0]), float(knots[-1]))
    at = np.minimum(start + step * np.arange(first, last + 1), knots[-1])
    i = np.clip(np.searchsorted(knots, at, side="right") - 1, 0, len(knots) - 2)
    h = knots[i + 1] - knots[i]
    t = np.maximum(at - knots[i], 0.0) / h
    rest = 1.0 - t
    ends = below[..., i] * (rest**2 * (1 + 2 * t)) + below[..., i + 1] * (t**2 * (3 - 2 * t))
    inner = ends + rows[..., i] * (h * t * rest**2) - rows[..., i + 1] * (h * t**2 * rest)
    inner[..., -1] += max(start + step * last - knots[-1], 0.0)
    masses = np.zeros((*rows.shape[:-1], size))
    masses[..., first : last + 1] = _differences(inner, step)
    return masses


def _differences(area: Floats, step: float) -> Floats:
    """Chances at grid points from the integral of the cdf there; beyond the ends it is 0 and 1."""
    mean_cdf = np.diff(area, axis=-1) / step
    nothing = np.zeros((*area.shape[:-1], 1))
    masses = np.diff(np.concatenate([nothing, mean_cdf, nothing + 1.0], axis=-1), axis=-1)
    masses = np.maximum(masses, 0.0)  # rounding only
    return np.asarray(masses / masses.sum(axis=-1, keepdims=True))


def _keep_mean(masses: Floats, mean: float, likely: float, step: float, start: float) -> None:
    """Move chance between the likely value and an end of the grid until the mean is right."""
    lack = mean - start - step * float(masses @ np.arange(len(masses)))
    k = min(max(math.floor((likely - start) / step + 0.5), 0), len(masses) - 1)
    end = len(masses) - 1 if lack > 0.0 else 0
    if end != k:
        moved = lack / (step * (end - k))
        masses[k] -= moved
        masses[end] += moved


def _inside(low: float, high: float, step: float, start: float, size: int) -> tuple[int, int]:
    """First and last grid point, from the one at or below `low` to the one at or above `high`."""
    first = math.floor((low - start) / step + 1e-9)
    last = math.ceil((high - start) / step - 1e-9)
    if first > size - 1 or last < 0:
        _check_outside(1.0, low, high)
    first, last = min(max(first, 0), size - 2), max(min(last, size - 1), 1)
    return first, max(last, first + 1)


def _check_grid(step: float, size: int) -> None:
    if not (step > 0.0 and math.isfinite(step)) or size < 2:
        raise ValueError(f"a grid needs a step above 0 and at least 2 points, not {step} and {size}")


def _check_outside(chance: float, low: float, high: float) -> None:
    if chance > MOST_OUTSIDE:
        raise ValueError(f"the range {low} to {high} lies beyond the grid: more points, or a larger step")
