"""How long a unit lasts: Weibull lives, what is left at an age, early failures, lives not well known.

Time is in any one unit, years or hours, the same throughout a call. `life` always means the
characteristic life, which 63.2 % of units fail to reach; an infinite life never ends. Arguments may be
arrays and are broadcast.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

_LN2 = math.log(2.0)


def life_from_median(median: ArrayLike, shape: ArrayLike) -> Floats:
    """Characteristic life of a Weibull life from its median.

    Parameters
    ----------
    median : float or array
        Age that half the units reach [time].
    shape : float or array
        Shape [-]: below 1 early failures, 1 chance only, above 1 wear.

    Returns
    -------
    float or array
        Characteristic life [time].

    Notes
    -----
    ``median / ln(2)**(1 / shape)``. ValueError unless both are above 0.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 8.1.6.2 (Weibull; section
    from memory).

    Examples
    --------
    >>> round(float(life_from_median(0.693147, 1.0)), 4)
    1.0
    """
    size, k = _life_and_shape(median, shape)
    return np.asarray(size / _LN2 ** (1.0 / k))[()]


def survival(t: ArrayLike, life: ArrayLike, shape: ArrayLike, age: ArrayLike = 0.0) -> Floats:
    """Chance that a unit works for a further time t, given the age it has reached.

    Parameters
    ----------
    t : float or array
        Further time [time].
    life : float or array
        Characteristic life of a new one [time].
    shape : float or array
        Shape [-].
    age : float or array
        Age now, or virtual age of a rebuilt one [time]; 0 = new.

    Returns
    -------
    float or array
        Chance [-]; 1 for t of 0 or less.

    Notes
    -----
    ``exp((age / life)**shape - ((age + t) / life)**shape)``. ValueError unless life and shape are
    above 0 and age is 0 or more.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 8.1.6.2 (Weibull; section
    from memory); MIL-HDBK-338B, 5.3.6.

    Examples
    --------
    >>> round(float(survival(1.0, 1.0, 2.5)), 4)
    0.3679
    """
    return np.asarray(np.exp(-_hazard_added(t, life, shape, age)))[()]


def cdf(t: ArrayLike, life: ArrayLike, shape: ArrayLike, age: ArrayLike = 0.0) -> Floats:
    """Chance that a unit fails within a further time t, given the age it has reached.

    Parameters
    ----------
    t : float or array
        Further time [time].
    life : float or array
        Characteristic life of a new one [time].
    shape : float or array
        Shape [-].
    age : float or array
        Age now, or virtual age of a rebuilt one [time]; 0 = new.

    Returns
    -------
    float or array
        Chance [-]; 0 for t of 0 or less.

    Notes
    -----
    One less :func:`survival`, but without loss of digits where it is small. ValueError as there.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 8.1.6.2 (Weibull; section
    from memory).
    """
    return np.asarray(-np.expm1(-_hazard_added(t, life, shape, age)))[()]


def quantile(p: ArrayLike, life: ArrayLike, shape: ArrayLike, age: ArrayLike = 0.0) -> Floats:
    """Further time within which the share p of units of this age fails.

    Parameters
    ----------
    p : float or array
        Chance [-], 0..1.
    life : float or array
        Characteristic life of a new one [time].
    shape : float or array
        Shape [-].
    age : float or array
        Age now, or virtual age of a rebuilt one [time]; 0 = new.

    Returns
    -------
    float or array
        Further time [time]; inf at p = 1.

    Notes
    -----
    ``life ((age / life)**shape - ln(1 - p))**(1 / shape) - age``, the inverse of :func:`cdf`.
    ValueError as there, and for a chance outside 0..1.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 8.1.6.2 (Weibull; section
    from memory).
    """
    chance = np.asarray(p, dtype=float)
    if not np.all((chance >= 0.0) & (chance <= 1.0)):
        raise ValueError("a chance must lie in 0..1 (0.20 for 20 %)")
    size, k = _life_and_shape(life, shape)
    old = _age(age)
    with np.errstate(divide="ignore"):
        left = (old / size) ** k - np.log1p(-chance)
    return np.asarray(np.maximum(size * left ** (1.0 / k) - old, 0.0))[()]


def mean(life: ArrayLike, shape: ArrayLike, age: ArrayLike = 0.0) -> Floats:
    """Mean further life of a unit, given the age it has reached.

    Parameters
    ----------
    life : float or array
        Characteristic life of a new one [time].
    shape : float or array
        Shape [-].
    age : float or array
        Age now, or virtual age of a rebuilt one [time]; 0 = new.

    Returns
    -------
    float or array
        Mean residual life [time].

    Notes
    -----
    New: ``life Gamma(1 + 1/shape)``. At an age: the integral of :func:`survival` over all further time,
    ``(age / shape) U(1, 1 + 1/shape, x)`` with ``x = (age / life)**shape`` and U the confluent
    hypergeometric function of the second kind; it stays exact where the chance of having come so far
    is too small to be written. It falls with age for a shape above 1. ValueError as in
    :func:`survival`.

    References
    ----------
    NIST Digital Library of Mathematical Functions, 8.5 (incomplete gamma function
    through U; from memory).

    Examples
    --------
    >>> float(mean(10.0, 1.0, age=25.0))
    10.0
    """
    from scipy import special

    size, k = _life_and_shape(life, shape)
    old, size, k = np.broadcast_arrays(_age(age), size, k)
    new = size * special.gamma(1.0 + 1.0 / k)
    reached = (old / size) ** k
    # U has no finite value at 0; so near it, almost all units reach that age
    used = reached > 1e-10
    left = old / k * special.hyperu(1.0, 1.0 + 1.0 / k, np.where(used, reached, 1.0))
    return np.asarray(np.where(used, left, new - old))[()]


def virtual_age(age_before: ArrayLike, run: ArrayLike, wear_kept: ArrayLike) -> Floats:
    """Age a unit behaves as having after a rebuild.

    Parameters
    ----------
    age_before : float or array
        Virtual age after the rebuild before this one [time]; 0 = it was new.
    run : float or array
        Time run since then [time].
    wear_kept : float or array
        Share of that wear the rebuild leaves [-]: 0 as good as before that run (as new after a first
        rebuild), 1 as bad as old.

    Returns
    -------
    float or array
        Virtual age, to be put in as `age` on the other pages [time].

    Notes
    -----
    Kijima's type I: ``age_before + wear_kept run``; a rebuild can undo only the wear since the one
    before. ValueError for a share outside 0..1 or a time below 0.

    References
    ----------
    M. Kijima, "Some results for repairable systems with general repair", Journal of Applied
    Probability 26 (1989) 89-102, model I (from memory).

    Examples
    --------
    >>> float(virtual_age(0.0, 12.0, 0.25))
    3.0
    """
    share = np.asarray(wear_kept, dtype=float)
    if not np.all((share >= 0.0) & (share <= 1.0)):
        raise ValueError("the share of wear kept must lie in 0..1 (0 as new, 1 as bad as old)")
    return np.asarray(_age(age_before) + share * _age(run))[()]


def _hazard_added(t: ArrayLike, life: ArrayLike, shape: ArrayLike, age: ArrayLike) -> Floats:
    size, k = _life_and_shape(life, shape)
    old = _age(age)
    further = np.maximum(np.asarray(t, dtype=float), 0.0)
    near = further < old
    # the difference of two powers would lose its digits where the age is the greater part
    growth = np.expm1(k * np.log1p(np.where(near, further, 0.0) / np.where(near, old, 1.0)))
    apart = ((old + further) / size) ** k - (old / size) ** k
    return np.asarray(np.where(near, (old / size) ** k * growth, apart))


def _life_and_shape(life: ArrayLike, shape: ArrayLike) -> tuple[Floats, Floats]:
    size, k = np.asarray(life, dtype=float), np.asarray(shape, dtype=float)
    if not (np.all(size > 0.0) and np.all(k > 0.0)):
        raise ValueError("a life and its shape must be above 0")
    return size, k


def _age(age: ArrayLike) -> Floats:
    old = np.asarray(age, dtype=float)
    if not np.all(old >= 0.0):
        raise ValueError("give an age or a time run of 0 or more")
    return old
