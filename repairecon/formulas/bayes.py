"""What is believed before and after seeing: chances, rates, and the coefficients of a linear law, in closed form."""

from __future__ import annotations

from math import sqrt
from typing import NamedTuple

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def dirichlet_update(prior: ArrayLike, counts: ArrayLike) -> Floats:
    """Pseudo-counts of the outcomes of an event once some have been seen.

    Parameters
    ----------
    prior, counts : array (outcomes,)
        Pseudo-counts before, weight times chance [jobs]; how often each was seen [jobs], less than one a job for
        units that are only alike.

    Returns
    -------
    array (outcomes,)
        Pseudo-counts after; over their sum they are the chances next time [jobs].

    Notes
    -----
    ``prior + counts``; jobs that count for less make it a power prior. ValueError for numbers below 0, and for
    pseudo-counts that are all 0.

    References
    ----------
    A. B. Downey, Think Bayes, 2nd ed. (2021), chapter 18 (conjugate priors). J. G. Ibrahim, M.-H. Chen, "Power prior
    distributions for regression models", Statistical Science 15 (2000) 46-60 (from memory).

    Examples
    --------
    >>> dirichlet_update([1, 1, 1], [3, 2, 1]).tolist()
    [4.0, 3.0, 2.0]
    """
    alpha, seen = np.asarray(prior, dtype=float), np.asarray(counts, dtype=float)
    if np.any(alpha < 0.0) or np.any(seen < 0.0):
        raise ValueError("pseudo-counts and counts cannot be below 0")
    after = np.asarray(alpha + seen)
    if not after.sum() > 0.0:
        raise ValueError("neither a prior nor a count: give the chances some weight")
    return after


def chance_interval(happened: float, not_happened: float, confidence: float = 0.8) -> tuple[float, float]:
    """Range of a chance with equal belief left out on both sides.

    Parameters
    ----------
    happened, not_happened, confidence : float
        Pseudo-counts of the outcome and of all others [jobs]; belief inside [-].

    Returns
    -------
    low, high : float, float
        Ends [-].

    Notes
    -----
    Quantiles of the beta distribution; a pseudo-count of 0 puts both ends at that side's bound.

    References
    ----------
    A. B. Downey, Think Bayes, 2nd ed. (2021), chapter 18.

    Examples
    --------
    >>> [round(end, 9) for end in chance_interval(1, 1, 0.8)]
    [0.1, 0.9]
    """
    if happened <= 0.0 or not_happened <= 0.0:
        end = 0.0 if happened <= 0.0 else 1.0
        return end, end
    side = (1.0 - confidence) / 2.0
    ends = scipy.special.betaincinv(happened, not_happened, [side, 1.0 - side])
    return float(ends[0]), float(ends[1])


def gamma_poisson_update(shape: float, rate: float, count: float, exposure: float) -> tuple[float, float]:
    """Belief in how often something happens, after some time of watching.

    Parameters
    ----------
    shape, rate, count, exposure : float
        Shape before [-]; time that stands behind the belief [time]; how often it happened [-]; time watched, units in
        service added up [time].

    Returns
    -------
    shape, rate : float, float
        Shape [-] and rate [time] after; their quotient is the mean number of times per unit of time.

    Notes
    -----
    ``shape + count``, ``rate + exposure``, for happenings at a steady rate. ValueError for anything below 0.

    References
    ----------
    A. B. Downey, Think Bayes, 2nd ed. (2021), chapter 18 (World Cup exercise).

    Examples
    --------
    >>> shape, rate = gamma_poisson_update(1.4, 1.0, 1, 11 / 90)
    >>> round(shape / rate, 10)
    2.1386138614
    """
    if min(shape, rate, count, exposure) < 0.0:
        raise ValueError("counts and times cannot be below 0")
    return shape + count, rate + exposure


def rate_interval(shape: float, rate: float, confidence: float = 0.8) -> tuple[float, float]:
    """Range of a rate with equal belief left out on both sides.

    Parameters
    ----------
    shape, rate, confidence : float
        Shape of the gamma belief, above 0 [-]; its rate, above 0 [time]; belief inside [-].

    Returns
    -------
    low, high : float, float
        Ends [per time].

    Notes
    -----
    Quantiles of the gamma distribution.

    References
    ----------
    A. B. Downey, Think Bayes, 2nd ed. (2021), chapter 18.
    """
    side = (1.0 - confidence) / 2.0
    ends = scipy.special.gammaincinv(shape, [side, 1.0 - side]) / rate
    return float(ends[0]), float(ends[1])


class LinearBelief(NamedTuple):
    """A belief in coefficients with a common unknown spread: normal given the spread, inverse gamma for its square.

    ``mean`` (K,) [-], ``precision`` (K, K) in units of one observation [1], ``shape`` [-] and ``scale`` [-] of the
    inverse gamma.
    """

    mean: Floats
    precision: Floats
    shape: float
    scale: float


def linear_update(prior: LinearBelief, design: ArrayLike, seen: ArrayLike) -> LinearBelief:
    """Belief in the coefficients of a linear law after some observations.

    Parameters
    ----------
    prior : LinearBelief
        Belief before [-].
    design : array (observations, K)
        What each coefficient is multiplied by in each observation [-].
    seen : array (observations,)
        The observations, here logarithms of actual over estimate [-].

    Returns
    -------
    LinearBelief
        Belief after [-].

    Notes
    -----
    Normal-inverse-gamma update: precision ``P' = P + X'X``, mean ``P'^-1 (P m + X'y)``, shape ``a + n / 2``, scale
    ``b + (y'y + m'Pm - m''P'm') / 2``. A hierarchy (an owner's own bias, and how each kind of work departs from it) is
    such a regression, with a column of ones and a column a kind.

    References
    ----------
    A. Gelman et al., Bayesian Data Analysis, 3rd ed. (2013), sections 3.3 and 14.8 (sections from memory).

    Examples
    --------
    >>> flat = LinearBelief(np.zeros(1), np.eye(1), 1.0, 1.0)
    >>> after = linear_update(flat, [[1.0], [1.0], [1.0]], [1.0, 1.0, 2.0])
    >>> after.mean.tolist(), after.shape, after.scale
    ([1.0], 2.5, 2.0)
    """
    x = np.asarray(design, dtype=float).reshape(-1, len(prior.mean))
    y = np.asarray(seen, dtype=float).ravel()
    precision = prior.precision + x.T @ x
    pull = prior.precision @ prior.mean + x.T @ y
    mean = np.linalg.solve(precision, pull)
    more = float(y @ y + prior.mean @ prior.precision @ prior.mean - mean @ pull) / 2.0
    return LinearBelief(mean, precision, prior.shape + len(y) / 2.0, prior.scale + max(more, 0.0))


def marginal(belief: LinearBelief, row: ArrayLike, more: float = 0.0) -> tuple[float, float, float]:
    """Student t belief in a sum of coefficients, or in the next observation of it.

    Parameters
    ----------
    belief, row : LinearBelief, array (K,)
        Belief in the coefficients [-]; what each is multiplied by [-].
    more : float
        0 for the sum itself, 1 for one further observation of it with its own scatter [-].

    Returns
    -------
    location, scale, freedom : float, float, float
        Of the t distribution: location [-], scale [-], degrees of freedom [-].

    Notes
    -----
    Location ``r'm``, scale ``sqrt(b / a * (more + r'P^-1 r))``, freedom ``2a``.

    References
    ----------
    A. Gelman et al., Bayesian Data Analysis, 3rd ed. (2013), section 3.3 (section from memory).
    """
    r = np.asarray(row, dtype=float)
    spread = float(r @ np.linalg.solve(belief.precision, r))
    return float(r @ belief.mean), sqrt(belief.scale / belief.shape * (more + spread)), 2.0 * belief.shape


def t_interval(location: float, scale: float, freedom: float, confidence: float = 0.8) -> tuple[float, float]:
    """Range of a Student t belief.

    Parameters
    ----------
    location, scale, freedom, confidence : float
        Location [-]; scale [-]; degrees of freedom [-]; belief inside [-].

    Returns
    -------
    low, high : float, float
        Ends [-].

    Notes
    -----
    Location plus and minus the quantile times the scale.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.6.7.2 (critical values of Student's t).

    Examples
    --------
    >>> round(t_interval(0.0, 1.0, 10.0, 0.95)[1], 3)
    2.228
    """
    step = float(scipy.special.stdtrit(freedom, 0.5 + confidence / 2.0)) * scale
    return location - step, location + step
