"""Belief in the coefficients of a linear law with an unknown spread, before and after observations, in closed form."""

from __future__ import annotations

from math import lgamma, log, sqrt
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


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
    Normal-inverse-gamma conjugate update of a regression with unknown spread: precision ``P' = P + X'X``, mean ``P'^-1
    (P m + X'y)``, shape ``a + n / 2``, scale ``b + (y'y + m'Pm - m''P'm') / 2``. A hierarchy (an owner's own
    bias, and how each kind of work departs from it) is such a regression: a column of ones and a column a kind, with a
    prior precision for each that says how many jobs stand behind "no bias" and "all kinds alike".

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
    belief : LinearBelief
        Belief in the coefficients [-].
    row : array (K,)
        What each coefficient is multiplied by [-].
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
    location : float
        Location [-].
    scale : float
        Scale [-].
    freedom : float
        Degrees of freedom [-].
    confidence : float
        Belief inside [-].

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
    from scipy import special

    step = float(special.stdtrit(freedom, 0.5 + confidence / 2.0)) * scale
    return location - step, location + step


def log_density(belief: LinearBelief, design: ArrayLike, seen: ArrayLike) -> float:
    """Log of how well a belief foretold some observations, all together.

    Parameters
    ----------
    belief : LinearBelief
        Belief before they were seen [-].
    design : array (observations, K)
        As for :func:`linear_update` [-].
    seen : array (observations,)
        The observations [-].

    Returns
    -------
    float
        Natural logarithm of the marginal density [-].

    Notes
    -----
    From the normalising constants before and after; the order of the observations does not matter.

    References
    ----------
    A. Gelman et al., Bayesian Data Analysis, 3rd ed. (2013), section 14.8 (section from memory).
    """
    after, n = linear_update(belief, design, seen), np.asarray(seen).size
    volume = np.linalg.slogdet(belief.precision)[1] - np.linalg.slogdet(after.precision)[1]
    part = belief.shape * log(belief.scale) - after.shape * log(after.scale)
    return float(0.5 * volume + part + lgamma(after.shape) - lgamma(belief.shape) - n / 2.0 * log(2.0 * np.pi))
