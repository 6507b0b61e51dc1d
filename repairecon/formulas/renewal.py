"""Failures over a horizon when every failed unit is followed by another, or is rebuilt and keeps a share of its age.

Lives enter :func:`renewals` as their cdf at 0, half a step, one step, ... the horizon, a column each. A cdf above 0 at
time 0 is a unit dead on arrival, replaced at once. The other pages take Weibull lives.
"""

from __future__ import annotations

import math

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

BLOCK = 32  # steps that are solved together


def renewals(cdf: Floats, p_goes_on: float = 1.0) -> Floats:
    """Expected number of failures from now to the end of each step.

    Parameters
    ----------
    cdf, p_goes_on : array (2 steps + 1, lives), float
        Chance that a unit fails within each of the half steps [-]; chance that a failure is followed by a next unit,
        the count ending otherwise [-]; 0..1.

    Returns
    -------
    array (steps + 1, lives)
        Expected failures within 0, 1, 2, ... steps [-].

    Notes
    -----
    Solves ``F(t) = integral of S(t - x) dM(x)`` (of those that failed once or more, the last unit still works) with dM
    at the middle of its step. Counts that end at the first failure of a kind, of chance p each, times p are the chance
    of one or more of that kind. With a mean life of a fifth of the horizon or more, 200 steps leave an error below
    0.0002 for shapes of 1 or more and 0.0006 for 0.7; 2000 steps, below 0.0001 down to 0.5. Steps are too coarse where
    over 30 % of the units end within the first half of one. Source: H. C. Tijms, A First Course in Stochastic Models
    (2003), section 8.1 (renewal function, table 8.1.1); D. R. Cox, Renewal Theory (1962), section 2.2 and ch. 8
    (thinning; from memory); M. Xie, "On the solution of renewal-type integral equations", Communications in Statistics,
    Simulation and Computation 18 (1989) 281-293 (midpoint rule; from memory).
    """
    thin = p_goes_on * cdf
    at_start = cdf[0] / (1.0 - thin[0])
    known = cdf[2::2] + (thin[2::2] - 1.0) * at_start
    # a triangular system with constant diagonals; scipy.signal.lfilter does the same, but takes as long to load as all
    # of pandas
    zeros, pairs = np.zeros(len(known)), zip((1.0 - thin[1::2]).T, known.T, strict=True)
    solved = [scipy.linalg.solve_triangular(scipy.linalg.toeplitz(a, zeros), b, lower=True) for a, b in pairs]
    return np.vstack([at_start, at_start + np.cumsum(np.stack(solved, axis=1), axis=0)])


def discounted_renewals(failures: Floats, horizon_years: float, discount_rate: float) -> Floats:
    """Expected failures, each counted for what one unit of money then is worth today.

    Parameters
    ----------
    failures, horizon_years, discount_rate : array (steps + 1, lives), float, float
        Expected failures to the end of each step [-]; horizon those steps cover [year]; discount rate, a real one with
        today's prices [1/year].

    Returns
    -------
    array (lives,)
        Discounted failures [-]: times the cost of a failure today, their present cost.

    Notes
    -----
    ``integral of (1 + d)**-t dM(t)``, each step's failures at its middle. Source: D. R. Cox, Renewal Theory (1962),
    section 2.2 (from memory).
    """
    middle = (np.arange(1, len(failures)) - 0.5) * np.asarray(horizon_years / (len(failures) - 1))
    worth = np.tensordot((1.0 + discount_rate) ** -middle, np.diff(failures, axis=0), axes=1)
    return np.asarray(failures[0] + worth)


def rebuilds(
    horizon_years: float, life: ArrayLike, shape: float, age: float, wear_kept: float, p_early: float,
    p_goes_on: ArrayLike, steps: int,
) -> Floats:  # fmt: skip
    """Expected number of failures from now to the end of each step, each answered by a rebuild.

    Parameters
    ----------
    horizon_years, life, shape, age : float, array (lives,), float, float
        Horizon [year]; characteristic lives of a new one [year]; shape [-]; virtual age now, after the rebuild that
        starts the horizon [year].
    wear_kept, p_early : float
        Share of the wear since the rebuild before that each rebuild leaves, 0..1 [-]; share of rebuilds that fail at
        once, below 1 [-].
    p_goes_on, steps : array (kinds,), int
        Chance that a failure is followed by a rebuild, the count ending otherwise [-]; 0..1; steps that the horizon is
        cut into [-].

    Returns
    -------
    array (kinds, steps + 1, lives)
        Expected failures within 0, 1, 2, ... steps [-].

    Notes
    -----
    Kijima's type I: as the wear kept adds up, a unit rebuilt at time x behaves as one of age ``age + wear_kept x``,
    whatever the number of rebuilds. A share of 0 with no age is the ordinary renewal process; a share of 1 a repair
    that leaves the unit as old as it was. Solves ``F(t | age) = integral of S(t - x | age + wear_kept x) dM(x)`` step
    by step with dM at the middle of its step, once with these steps and once with steps half as long, and takes the
    error of order step squared out of the two; what is left is below 0.0001 of the failures for shapes of 1 or more,
    and with 200 steps down to 0.5. Steps are too coarse where over 30 % end within half a step. Source: M.
    Kijima, "Some results for repairable systems with general repair", Journal of Applied Probability 26 (1989) 89-102,
    model I (from memory); M. Xie, as for :func:`renewals`.

    >>> round(float(rebuilds(10.0, [5.0], 2.0, 0.0, 1.0, 0.0, [1.0], 200)[0, -1, 0]), 2)
    4.0
    """
    lives, kinds = np.asarray(life, dtype=float), np.asarray(p_goes_on, dtype=float)[:, None]
    coarse, fine = (_solved(horizon_years, lives, shape, age, wear_kept, p_early, kinds, n) for n in (steps, 2 * steps))
    return np.ascontiguousarray(((4.0 * fine[:, :, ::2] - coarse) / 3.0).transpose(0, 2, 1))


def _solved(
    horizon: float, life: Floats, shape: float, age: float, kept: float, p_early: float, kinds: Floats, steps: int
) -> Floats:
    """Failures by the end of each step, shape (kinds, lives, steps + 1)."""
    scale, step = life[:, None] ** -shape, horizon / steps
    middle = np.asarray((np.arange(steps) + 0.5) * step, dtype=np.float64)
    ends = np.asarray(np.arange(steps + 1) * step, dtype=np.float64)
    after = np.asarray(age + kept * middle, dtype=np.float64)
    fails = 1.0 - (1.0 - p_early) * np.exp(-scale * _added(shape, np.asarray(age), ends))
    at_start = p_early / (1.0 - kinds * p_early)
    counts = np.zeros((len(kinds), len(life), steps + 1))
    counts[:, :, 0] = at_start
    known = fails[:, 1:] - at_start[:, :, None] * (1.0 - kinds[:, :, None] * fails[:, 1:])
    for start in range(0, steps, BLOCK):
        stop = min(start + BLOCK, steps)
        further = np.maximum(ends[start + 1 : stop + 1, None] - middle[:stop], 0.0)
        alive = (1.0 - p_early) * np.exp(-scale[:, :, None] * _added(shape, after[:stop], further))
        # going on with a chance, those that do not go on stay put: 1 - g F = 1 - g + g S
        goes_on = kinds[:, :, None, None]
        stays = 1.0 - goes_on + goes_on * alive
        rest = known[:, :, start:stop, None] - stays[..., :start] @ counts[:, :, 1 : start + 1, None]
        counts[:, :, start + 1 : stop + 1] = np.linalg.solve(np.tril(stays[..., start:]), rest)[..., 0]
    counts[:, :, 1:] = at_start[:, :, None] + np.cumsum(counts[:, :, 1:], axis=2)
    return counts


def _added(shape: float, age: Floats, further: Floats) -> Floats:
    """Hazard that a unit of life 1 adds from its age on; powers, so that they serve every life."""
    return np.asarray((age + further) ** shape - age**shape)


def best_replacement_age(
    cost_planned: float, cost_failure: float, life: float, shape: float, discount_rate: float
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
    Least of ``(planned S(T) + failure F(T)) / integral of S from 0 to T``; discounted, S and the failures are each
    weighted by ``(1 + d)**-t``, and the figure is the even flow of the same present cost. The derivative has one root
    for a shape above 1. Waiting is best for a shape of 1 or less, for a failure no dearer than a planned replacement,
    and where the root lies at an age that fewer than one unit in 10**9 reaches. Source: R. E. Barlow, L. C. Hunter,
    "Optimum preventive maintenance policies", Operations Research 8 (1960) 90-100, policy I; B. Fox, "Age replacement
    with discounting", Operations Research 14 (1966) 533-537 (both from memory).

    >>> age, cost = best_replacement_age(1, 5, 1000, 2.5, 0.0)
    >>> round(age, 1), round(cost, 4)
    (493.0, 0.0035)
    """
    force = float(np.log1p(discount_rate))

    def cost_and_slope(log_age: float) -> tuple[float, float]:
        age = min(np.exp(log_age), life * 40.0 ** (1.0 / shape))
        # discounted time until that age or the failure, by a double exponential rule; chance of reaching it, discounted
        x = np.linspace(-3.5, 3.5, 201)
        share = 1.0 / (1.0 + np.exp(-np.pi * np.sinh(x)))
        weight = (x[1] - x[0]) * np.pi * np.cosh(x) * share * (1.0 - share)
        lasting = float(age * (weight @ np.exp(-((age * share / life) ** shape) - force * age * share)))
        reached = float(np.exp(-((age / life) ** shape) - force * age))
        cost = cost_planned * reached + cost_failure * (1.0 - reached - force * lasting)
        hazard = shape / life * (age / life) ** (shape - 1.0)
        gain = ((cost_failure - cost_planned) * hazard - cost_planned * force) * lasting
        return cost / lasting, gain - cost

    low, high = np.log(life) - 100.0, np.log(life) + np.log(20.7) / shape
    if cost_and_slope(high)[1] <= 0.0:  # without wear, or with failures no dearer, the slope stays below 0
        return float("inf"), cost_and_slope(np.inf)[0]
    best = float(scipy.optimize.brentq(lambda x: cost_and_slope(x)[1], low, high, xtol=1e-12))
    return float(np.exp(best)), cost_and_slope(best)[0]


def equivalent_annual_cost(cost_present: float, discount_rate: float, years: float) -> float:
    """Yearly cost worth the same as a cost today: makes unequal lives comparable.

    Parameters
    ----------
    cost_present, discount_rate, years : float
        Present cost of a whole life or horizon [home money]; discount rate, above -1 [1/year]; that life, above 0
        [year].

    Returns
    -------
    float
        Equivalent annual cost, at each year's end [home money/year].

    Notes
    -----
    ``cost_present d / (1 - (1 + d)**-n)``, at a rate of 0 ``cost_present / n``. Comparing unequal lives by it supposes
    that each is followed by another of its kind. Source: OpenStax, Principles of Finance, 2e, ch. 16, "Choosing between
    Projects with Different Lives".

    >>> round(equivalent_annual_cost(49474, 0.10, 3))
    19894
    """
    if discount_rate == 0.0:
        return cost_present / years
    return cost_present / (-math.expm1(-years * math.log1p(discount_rate)) / discount_rate)
