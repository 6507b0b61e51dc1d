"""How many of an item a passage or season will ask for, as chances of 0, 1, 2, ... .

Chances stand along the last axis, one item a row: ``demand[..., k]`` is the chance that exactly k are asked
for. A row may stop early; what is missing from 1 is the chance of more than its last number, and every
page says how little that is.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from repairecon.formulas.ranges import nodes
from repairecon.formulas.shortage import p_above

Floats = NDArray[np.float64]
Wholes = NDArray[np.int64]

TAIL = 1e-12
LONGEST = 100_000
COURSES = 600
"""Courses of jobs to follow where things are shared."""


def poisson_demand(mean: ArrayLike, most: int | None = None) -> Floats:
    """Chances of 0, 1, 2, ... failures that come by chance at a known rate.

    Parameters
    ----------
    mean : float or array
        Expected failures in the period [-].
    most : int or None
        Last number to give a chance for; None = so many that more have a chance below 1e-12 [-].

    Returns
    -------
    array (..., most + 1)
        Chances [-].

    Notes
    -----
    ``exp(-mean) mean**k / k!`` through logarithms; relative error about 1e-13. Right for chance
    failures; worn units fail more regularly (:func:`life_demand` in `aging`). ValueError for a mean
    below 0 or without end.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.6.6.19 (Poisson; section from memory).

    Examples
    --------
    >>> poisson_demand(1.0, 2).round(4).tolist()
    [0.3679, 0.3679, 0.1839]
    """
    from scipy import special

    mu = _from_zero(mean, "mean")
    k = np.arange(_last(most, lambda n: special.pdtrc(n, mu)) + 1)
    logs = special.xlogy(k, mu[..., np.newaxis]) - mu[..., np.newaxis] - special.gammaln(k + 1.0)
    return np.asarray(np.exp(logs))


def uncertain_demand(
    failures_known: ArrayLike, exposure_known: ArrayLike, exposure: ArrayLike, most: int | None = None
) -> Floats:
    """Chances of 0, 1, 2, ... failures when the rate itself is only known from so much experience.

    Parameters
    ----------
    failures_known : float or array
        Shape of the gamma range of the rate: failures its knowledge is worth, above 0 [-].
    exposure_known : float or array
        Rate of that gamma range: unit-hours, days or seasons its knowledge is worth, above 0 [time].
    exposure : float or array
        The period ahead, in the same unit, times like units [time].
    most : int or None
        Last number to give a chance for; None = so many that more have a chance below 1e-12 [-].

    Returns
    -------
    array (..., most + 1)
        Chances [-].

    Notes
    -----
    Negative binomial: a Poisson demand mixed over a gamma rate. Its mean is
    ``failures_known exposure / exposure_known``; it is wider than a Poisson demand of that mean. The two numbers
    come from :func:`learned_rate`. ValueError outside the ranges told.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 8.2.5 (gamma prior; section from memory);
    Gelman et al., Bayesian Data Analysis, 3rd ed., section 2.6 (from memory).

    Examples
    --------
    >>> uncertain_demand(1.0, 1.0, 1.0, 2).round(6).tolist()
    [0.5, 0.25, 0.125]
    """
    from scipy import special

    a, b = _from_zero(failures_known, "failures known"), _from_zero(exposure_known, "exposure known")
    t = _from_zero(exposure, "exposure")
    if not (np.all(a > 0.0) and np.all(b > 0.0)):
        raise ValueError("give a prior: failures and exposure known must be above 0")
    a, b, t = np.broadcast_arrays(a, b, t)
    stays = (b / (b + t))[..., np.newaxis]
    shape = a[..., np.newaxis]
    k = np.arange(_last(most, lambda n: special.betainc(n + 1.0, a, t / (b + t))) + 1)
    logs = special.gammaln(k + shape) - special.gammaln(shape) - special.gammaln(k + 1.0)
    return np.asarray(np.exp(logs + shape * np.log(stays) + special.xlog1py(k, -stays)))


def learned_rate(
    failures: ArrayLike, exposure: ArrayLike, prior_failures: ArrayLike, prior_exposure: ArrayLike
) -> tuple[Floats, Floats]:
    """What the owner's own record makes of a prior view of a failure rate.

    Parameters
    ----------
    failures : float or array
        Failures seen [-].
    exposure : float or array
        Unit-hours, days or seasons in which they were seen [time].
    prior_failures, prior_exposure : float or array
        The prior view, as failures in an exposure, both above 0 [-, time].

    Returns
    -------
    failures_known, exposure_known : float or array
        What :func:`uncertain_demand` takes [-, time].

    Notes
    -----
    Gamma prior and Poisson record: both add up. ``prior_failures / prior_exposure`` is the prior mean rate;
    a small `prior_failures` (0.5 or 1) says that little is known. ValueError outside the ranges told.

    References
    ----------
    Gelman et al., Bayesian Data Analysis, 3rd ed., section 2.6 (from memory).

    Examples
    --------
    >>> [float(x) for x in learned_rate(2, 900.0, 1, 600.0)]
    [3.0, 1500.0]
    """
    prior, known = _from_zero(prior_failures, "prior failures"), _from_zero(prior_exposure, "prior exposure")
    if not (np.all(prior > 0.0) and np.all(known > 0.0)):
        raise ValueError("a prior needs failures and an exposure above 0")
    seen, ran = _from_zero(failures, "failures"), _from_zero(exposure, "exposure")
    return (prior + seen)[()], (known + ran)[()]


def guessed_demand(
    low: float, likely: float, high: float, seasons: float = 1.0, shape: str = "pert", most: int | None = None
) -> Floats:
    """Chances of 0, 1, 2, ... failures from a guess of how often a season.

    Parameters
    ----------
    low, likely, high : float
        How often a season one fails [1/season]: 0.2 for once in five seasons.
    seasons : float
        Length of the period ahead [season].
    shape : str
        pert, triangular, lognormal or uniform [-].
    most : int or None
        Last number to give a chance for; None = so many that more have a chance below 1e-12 [-].

    Returns
    -------
    array (most + 1,)
        Chances [-].

    Notes
    -----
    Poisson demand mixed over the range of its mean by 20 Gauss nodes: chances true to about 1e-6 for up to ten
    failures; the mean is kept. ValueError for a range out of order or below 0.

    References
    ----------
    Johnson, Kemp and Kotz, Univariate Discrete Distributions, 3rd ed., section 8.3 (mixed Poisson; from memory).

    Examples
    --------
    >>> guessed_demand(0.2, 0.2, 0.2, most=1).round(4).tolist()
    [0.8187, 0.1637]
    """
    if not low >= 0.0 or not seasons >= 0.0:
        raise ValueError("a guess of how often, and the seasons, must be 0 or more")
    rates, weights = nodes(low, likely, high, shape)
    return np.asarray(weights @ poisson_demand(np.maximum(rates, 0.0) * seasons, most))


def scenarios(demands: Sequence[ArrayLike], caps: Sequence[int], most: int = COURSES) -> tuple[Wholes, Floats]:
    """Numbers of jobs that may come together, and their chances.

    Parameters
    ----------
    demands : sequence of array (numbers,)
        Chances of 0, 1, 2, ... of each kind; they do not hang together [-].
    caps : sequence of int
        Most jobs of each kind that anything could be there for [-].
    most : int
        Most courses to follow: the likeliest [-].

    Returns
    -------
    counts : int array (courses, kinds)
        Jobs of each kind; one more than its cap stands for all beyond [-].
    p_course : array (courses,)
        Chances [-]; what is missing from 1 was left out.

    Notes
    -----
    Nothing is left out as long as the product of ``cap + 2`` does not pass `most`. ValueError for chances that
    are none.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> counts, p = scenarios([[0.5, 0.25, 0.25]], [1])
    >>> counts[:, 0].tolist(), p.tolist()
    ([0, 1, 2], [0.5, 0.25, 0.25])
    """
    counts, chance = np.zeros((1, 0), dtype=np.int64), np.ones(1)
    for demand, cap in zip(demands, caps, strict=True):
        each = _capped(demand, cap)
        joint = (chance[:, np.newaxis] * each).ravel()
        before, number = np.divmod(np.arange(len(joint)), len(each))
        keep = np.flatnonzero(joint > 0.0)
        if len(keep) > most:
            keep = np.sort(keep[np.argsort(-joint[keep], kind="stable")[:most]])
        counts, chance = np.column_stack([counts[before[keep]], number[keep]]), joint[keep]
    return counts, chance


def _capped(demand: ArrayLike, cap: int) -> Floats:
    """Chances of 0, 1, ... cap, and of more; what is missing from 1 is more."""
    chances = np.asarray(demand, dtype=float)
    above = p_above(chances)
    if len(chances) <= cap:
        return np.append(chances, above[-1]) if above[-1] > 0.0 else chances
    return np.append(chances[: cap + 1], above[cap])


def _last(most: int | None, chance_above: Callable[[int], Floats]) -> int:
    """The number asked for, or the least (by doubling, then halving) that little enough lies above."""
    if most is not None:
        if most < 0:
            raise ValueError("the last number must be 0 or more")
        return most
    high = 1
    while np.any(chance_above(high) > TAIL):
        high *= 2
        if high > LONGEST:
            raise ValueError(f"more than {LONGEST} may be asked for: give the last number wanted")
    low = high // 2
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if np.any(chance_above(middle) > TAIL) else (low, middle)
    return high


def _from_zero(x: ArrayLike, name: str) -> Floats:
    value = np.asarray(x, dtype=float)
    if not np.all((value >= 0.0) & np.isfinite(value)):
        raise ValueError(f"the {name} must be a plain number of 0 or more")
    return value
