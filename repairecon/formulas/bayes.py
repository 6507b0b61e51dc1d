"""What is believed before and after seeing: chances, and the coefficients of a linear law, in closed form."""

from __future__ import annotations

from math import sqrt
from typing import NamedTuple

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def chance_interval(happened: float, not_happened: float, confidence: float) -> tuple[float, float]:
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
    Quantiles of the beta distribution; a pseudo-count of 0 puts both ends at that side's bound. Source: A. B. Downey,
    Think Bayes, 2nd ed. (2021), chapter 18.
    """
    if happened <= 0.0 or not_happened <= 0.0:
        end = 0.0 if happened <= 0.0 else 1.0
        return end, end
    side = (1.0 - confidence) / 2.0
    ends = scipy.special.betaincinv(happened, not_happened, [side, 1.0 - side])
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
    prior, design, seen : LinearBelief, array (observations, K), array (observations,)
        Belief before [-]; what each coefficient is multiplied by in each observation [-]; the observations, here
        logarithms of actual over estimate [-].

    Returns
    -------
    LinearBelief
        Belief after [-].

    Notes
    -----
    Normal-inverse-gamma update: precision ``P' = P + X'X``, mean ``P'^-1 (P m + X'y)``, shape ``a + n / 2``, scale ``b
    + (y'y + m'Pm - m''P'm') / 2``. A hierarchy (an owner's own bias, and how each kind of work departs from it) is such
    a regression, with a column of ones and a column a kind. Source: A. Gelman et al., Bayesian Data Analysis, 3rd ed.
    (2013), sections 3.3 and 14.8 (sections from memory).

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


def belief_interval(belief: LinearBelief, row: ArrayLike, more: float, confidence: float) -> tuple[float, float, float]:
    """Middle and range of a sum of coefficients, or of the next observation of it.

    Parameters
    ----------
    belief, row : LinearBelief, array (K,)
        Belief in the coefficients [-]; what each is multiplied by [-].
    more, confidence : float
        0 for the sum itself, 1 for one further observation of it with its own scatter [-]; belief inside [-].

    Returns
    -------
    middle, low, high : float, float, float
        Middle and ends [-].

    Notes
    -----
    A Student t belief: middle ``r'm``, scale ``sqrt(b / a * (more + r'P^-1 r))``, freedom ``2a``. Source: A. Gelman et
    al., Bayesian Data Analysis, 3rd ed. (2013), section 3.3 (section from memory); NIST/SEMATECH e-Handbook of
    Statistical Methods, section 1.3.6.7.2 (critical values of Student's t).
    """
    r = np.asarray(row, dtype=float)
    middle, spread = float(r @ belief.mean), float(r @ np.linalg.solve(belief.precision, r))
    scale = sqrt(belief.scale / belief.shape * (more + spread))
    step = float(scipy.special.stdtrit(2.0 * belief.shape, 0.5 + confidence / 2.0)) * scale
    return middle, middle - step, middle + step
