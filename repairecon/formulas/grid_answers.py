"""What can be read off chances on an evenly spaced grid: quantiles, chances, overruns.

Each grid point's chance counts as spread evenly over half a step on either side.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from repairecon.formulas.shapes import Floats


def quantile_of(start: float, step: float, masses: ArrayLike, p: ArrayLike) -> Floats:
    """Value that the share p of cases stays below, from chances on a grid.

    Parameters
    ----------
    start, step : float
        First grid point and distance of the points [unit of the number].
    masses : array (size,)
        Chance at each grid point, adding up to 1 [-].
    p : float or array
        Chance [-], 0..1.

    Returns
    -------
    float or array
        Value [unit of the number], never beyond the outermost points that have a chance.

    Notes
    -----
    Linear in the cumulated chance, each point's chance spread evenly over half a step on either side; a
    sure number comes back within half a step. ValueError when p lies outside 0..1.

    References
    ----------
    R. J. Hyndman, Y. Fan, "Sample quantiles in statistical packages", The American Statistician 50
    (1996) 361-365 (the mid-point rule, here on a grid).

    Examples
    --------
    >>> float(quantile_of(10.0, 1.0, [0.25, 0.5, 0.25], 0.5))
    11.0
    """
    at, weight = np.asarray(p, dtype=float), np.asarray(masses, dtype=float)
    if not np.all((at >= 0.0) & (at <= 1.0)):
        raise ValueError("a chance must lie in 0..1 (0.20 for 20 %)")
    used = np.flatnonzero(weight > 0.0)
    edges = start + step * (np.arange(used[0], used[-1] + 2) - 0.5)
    chance = np.concatenate([[0.0], np.cumsum(np.maximum(weight[used[0] : used[-1] + 1], 0.0))])
    found = np.interp(at * chance[-1], chance, edges)
    return np.asarray(np.clip(found, start + step * used[0], start + step * used[-1]))[()]


def chance_up_to(start: float, step: float, masses: ArrayLike, x: ArrayLike) -> Floats:
    """Chance of at most x, from chances on a grid.

    Parameters
    ----------
    start, step : float
        First grid point and distance of the points [unit of the number].
    masses : array (size,)
        Chance at each grid point, adding up to 1 [-].
    x : float or array
        Value asked about [unit of the number].

    Returns
    -------
    float or array
        Chance [-]; 0 below the grid and 1 above it.

    Notes
    -----
    Each point's chance is spread evenly over half a step on either side, as in :func:`quantile_of`. The
    error is of the order of step squared for smooth sums; at a jump it is up to half the jump within
    half a step.

    References
    ----------
    As :func:`quantile_of`.

    Examples
    --------
    >>> chance_up_to(10.0, 1.0, [0.25, 0.5, 0.25], [9.0, 11.0, 12.0]).tolist()
    [0.0, 0.5, 0.875]
    """
    weight = np.asarray(masses, dtype=float)
    edges = start + step * (np.arange(len(weight) + 1) - 0.5)
    chance = np.concatenate([[0.0], np.cumsum(weight)])
    return np.asarray(np.clip(np.interp(np.asarray(x, dtype=float), edges, chance), 0.0, 1.0))[()]


def expected_above(start: float, step: float, masses: ArrayLike, x: ArrayLike) -> Floats:
    """Mean amount by which x is exceeded, nought where it is not, from chances on a grid.

    Parameters
    ----------
    start, step : float
        First grid point and distance of the points [unit of the number].
    masses : array (size,)
        Chance at each grid point, adding up to 1 [-].
    x : float or array
        Value asked about [unit of the number].

    Returns
    -------
    float or array
        Mean of ``max(value - x, 0)`` [unit of the number]; divided by the chance of more than x it is the
        mean overrun of the cases that overrun.

    Notes
    -----
    Chances taken at the grid points themselves, so that ``x + expected_above(x)`` is the exact mean for x
    below the grid. Never too small for the range that a grid came from, by at most ``step / 4`` times
    the chance of x's cell.

    References
    ----------
    Panjer and Willmot, Insurance Risk Models (1992), ch. 4 (stop-loss premium), from memory.

    Examples
    --------
    >>> expected_above(10.0, 1.0, [0.25, 0.5, 0.25], [8.0, 11.0, 11.5]).tolist()
    [3.0, 0.25, 0.125]
    """
    weight, at = np.asarray(masses, dtype=float), np.asarray(x, dtype=float)
    points = start + step * np.arange(len(weight))
    more = np.cumsum(weight[::-1])[::-1]
    over = np.concatenate([np.cumsum(more[:0:-1])[::-1] * step, [0.0]])
    below = np.maximum(points[0] - at, 0.0) * more[0]
    return np.asarray(np.interp(at, points, over) + below)[()]
