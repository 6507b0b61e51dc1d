"""Failures over a horizon when every failed unit is followed by another: the renewal equation on a grid.

A life enters as its cdf at the half steps of the horizon (:func:`half_steps`), one life a column where
there are several. The first unit may have another life than those after it. A cdf above 0 at time 0
is a unit dead on arrival, replaced at once.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from repairecon.formulas.discount import single_present_value

Floats = NDArray[np.float64]

_COARSE = 0.3


def half_steps(horizon_years: float, steps: int = 200) -> Floats:
    """Times at which the pages on renewals want a life's cdf.

    Parameters
    ----------
    horizon_years : float
        Horizon [year].
    steps : int
        Steps the horizon is cut into, at least 1 [-].

    Returns
    -------
    array (2 steps + 1,)
        0, half a step, one step, ... the horizon [year].

    Notes
    -----
    With a mean life of a fifth of the horizon or more, 200 steps leave an error in the expected failures
    below 0.0002 for shapes of 1 or more and 0.0006 for 0.7; 2000 steps, below 0.0001 down to 0.5.
    ValueError for a horizon below 0 or no steps.

    References
    ----------
    M. Xie, "On the solution of renewal-type integral equations", Communications in Statistics,
    Simulation and Computation 18 (1989) 281-293 (midpoint rule; from memory).

    Examples
    --------
    >>> half_steps(2.0, 2).tolist()
    [0.0, 0.5, 1.0, 1.5, 2.0]
    """
    if not horizon_years >= 0.0:
        raise ValueError("give a horizon of 0 years or more")
    if steps < 1:
        raise ValueError("cut the horizon into at least 1 step")
    return np.linspace(0.0, horizon_years, 2 * steps + 1)


def renewals(first_cdf: ArrayLike, later_cdf: ArrayLike) -> Floats:
    """Expected number of failures from now to the end of each step.

    Parameters
    ----------
    first_cdf, later_cdf : array (2 steps + 1,) or (2 steps + 1, lives)
        Chance that the unit now in place, and one that follows, fails within each of the half steps [-].

    Returns
    -------
    array (steps + 1,) or (steps + 1, lives)
        Expected failures within 0, 1, 2, ... steps [-].

    Notes
    -----
    Solves ``F1(t) = integral of S(t - x) dM(x)``: of those that failed once or more, the last unit still
    works. With dM at the middle of its step it is a triangular system with constant diagonals, solved
    by the reciprocal of a power series (FFT). Error of order step squared for shapes above 1. ValueError
    unless the lengths are the same and odd, the chances in 0..1, and for steps so coarse that over
    30 % of the later units end within the first half step.

    References
    ----------
    H. C. Tijms, A First Course in Stochastic Models (2003), section 8.1 (renewal function, table 8.1.1);
    D. R. Cox, Renewal Theory (1962), section 2.2 (a first life of its own; from memory).
    """
    first, later = _columns(first_cdf, later_cdf)
    return _reached(first, later, np.asarray(1.0))


def discounted_renewals(failures: ArrayLike, horizon_years: float, discount_rate: float) -> Floats:
    """Expected failures, each counted for what one unit of money then is worth today.

    Parameters
    ----------
    failures : array (steps + 1,) or (steps + 1, lives)
        Expected failures to the end of each step, from :func:`renewals` [-].
    horizon_years : float
        Horizon those steps cover [year].
    discount_rate : float
        Discount rate; a real one goes with today's prices [1/year].

    Returns
    -------
    float or array (lives,)
        Discounted failures [-]: times the cost of a failure today, their present cost. At a rate of 0
        the expected failures themselves.

    Notes
    -----
    Each step's failures are discounted from its middle. ValueError for a rate of -1 or less, or above 1.

    References
    ----------
    D. R. Cox, Renewal Theory (1962), section 2.2 (from memory); the integral of ``(1 + d)**-t dM(t)``.
    """
    count = np.asarray(failures, dtype=float)
    step = np.asarray(horizon_years / max(len(count) - 1, 1))
    middle = (np.arange(1, len(count)) - 0.5) * step
    worth = np.tensordot(single_present_value(discount_rate, middle), np.diff(count, axis=0), axes=1)
    return np.asarray(count[0] + worth)[()]


def failures_over_horizon(
    first_cdf: ArrayLike, later_cdf: ArrayLike, horizon_years: float, discount_rate: float = 0.0
) -> tuple[Floats, Floats, Floats]:
    """Failures to expect over the horizon, their discounted number, and the chance of any.

    Parameters
    ----------
    first_cdf, later_cdf : array (2 steps + 1,) or (2 steps + 1, lives)
        Chance that the unit now in place, and one that follows, fails within each of the half steps [-].
    horizon_years : float
        Horizon [year].
    discount_rate : float
        Discount rate [1/year].

    Returns
    -------
    expected, discounted, p_any : float or array (lives,)
        Expected failures, discounted failures, chance of at least one [-].

    Notes
    -----
    :func:`renewals`, :func:`discounted_renewals` and ``first_cdf`` at the horizon. ValueError as there.

    References
    ----------
    H. C. Tijms, A First Course in Stochastic Models (2003), section 8.1.
    """
    first, later = _columns(first_cdf, later_cdf)
    count = _reached(first, later, np.asarray(1.0))
    p_any = np.broadcast_to(first[-1], count[-1].shape)
    return count[-1][()], discounted_renewals(count, horizon_years, discount_rate), p_any[()]


def p_marked_failure(first_cdf: ArrayLike, later_cdf: ArrayLike, p_mark: ArrayLike) -> Floats:
    """Chance that at least one failure of a kind falls within the horizon, such as one away from base.

    Parameters
    ----------
    first_cdf, later_cdf : array (2 steps + 1,) or (2 steps + 1, lives)
        Chance that the unit now in place, and one that follows, fails within each of the half steps [-].
    p_mark : float or array (lives,)
        Chance that a failure is of that kind, each on its own [-]; 0..1.

    Returns
    -------
    float or array (lives,)
        Chance of at least one such failure [-].

    Notes
    -----
    Expected number of failures up to the first of that kind, times p_mark; the renewal equation with
    every life's cdf thinned by ``1 - p_mark``. ValueError as in :func:`renewals`, and for a chance
    outside 0..1.

    References
    ----------
    D. R. Cox, Renewal Theory (1962), ch. 8 (thinning; from memory); here by the terminating renewal equation.
    """
    mark = np.asarray(p_mark, dtype=float)
    if not np.all((mark >= 0.0) & (mark <= 1.0)):
        raise ValueError("a chance must lie in 0..1 (0.20 for 20 %)")
    first, later = _columns(first_cdf, later_cdf)
    return np.asarray(mark * _reached(first, later, 1.0 - mark)[-1])[()]


def p_second_failure(first_cdf: ArrayLike, second_cdf: ArrayLike) -> Floats:
    """Chance that a unit fails and then the one that took its place: one spare is not enough.

    Parameters
    ----------
    first_cdf, second_cdf : array (2 steps + 1,) or (2 steps + 1, lives)
        Chance that the unit in place, and the spare once fitted, fails within each of the half steps [-].

    Returns
    -------
    float or array (lives,)
        Chance of both within the horizon [-].

    Notes
    -----
    ``integral of F2(t - x) dF1(x)`` by the midpoint rule: a cold standby, the spare does not age
    on its shelf. A spare that may be dead there has a `second_cdf` above 0 at time 0. ValueError as in
    :func:`renewals`, coarse steps apart.

    References
    ----------
    MIL-HDBK-338B, Electronic Reliability Design Handbook, standby redundancy (from memory).
    """
    first, second = _columns(first_cdf, second_cdf)
    ends = np.diff(first[::2], axis=0)
    return np.asarray((ends * second[1::2][::-1]).sum(axis=0) + first[0] * second[-1])[()]


def _reached(first: Floats, later: Floats, goes_on: Floats) -> Floats:
    """Expected failures by the end of each step, when each is followed by a next unit by that chance."""
    if np.any(later[1] - later[0] > _COARSE):
        raise ValueError("the steps are too coarse for such short lives: take more of them")
    thin = goes_on * later
    at_start = first[0] / (1.0 - thin[0])
    known = first[2::2] + (thin[2::2] - 1.0) * at_start
    steps = _product(known, _reciprocal(1.0 - thin[1::2]))
    return np.asarray(np.concatenate([at_start[np.newaxis], at_start + np.cumsum(steps, axis=0)]))


def _reciprocal(series: Floats) -> Floats:
    """Power series reciprocal by Newton's doubling; coefficients along the first axis."""
    inverse, size = 1.0 / series[:1], 1
    while size < len(series):
        size *= 2
        a = np.fft.rfft(series[:size], 2 * size, axis=0)
        g = np.fft.rfft(inverse, 2 * size, axis=0)
        inverse = np.fft.irfft(g * (2.0 - a * g), 2 * size, axis=0)[:size]
    return inverse[: len(series)]


def _product(a: Floats, b: Floats) -> Floats:
    size = 1 << (2 * len(a) - 1).bit_length()
    both = np.fft.rfft(a, size, axis=0) * np.fft.rfft(b, size, axis=0)
    return np.fft.irfft(both, size, axis=0)[: len(a)]


def _columns(first_cdf: ArrayLike, later_cdf: ArrayLike) -> tuple[Floats, Floats]:
    first, later = np.asarray(first_cdf, dtype=float), np.asarray(later_cdf, dtype=float)
    if len(first) != len(later) or len(first) < 3 or len(first) % 2 == 0:
        raise ValueError("give both lives at the same half steps, an odd number of them")
    for chances in (first, later):
        if not np.all((chances >= 0.0) & (chances <= 1.0)):
            raise ValueError("a chance must lie in 0..1 (0.20 for 20 %)")
    if np.any(later[0] >= 1.0):
        raise ValueError("units that are all dead on arrival can never be replaced")
    axes = max(first.ndim, later.ndim)
    return _widen(first, axes), _widen(later, axes)


def _widen(a: Floats, axes: int) -> Floats:
    return a.reshape(a.shape + (1,) * (axes - a.ndim))
