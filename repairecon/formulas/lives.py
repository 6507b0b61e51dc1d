"""How long a unit lasts: Weibull lives, early failures, two clocks, a spare on the shelf.

Time is in any one unit, years or hours, the same throughout a call. `life` always means the characteristic life, which
63.2 % of units fail to reach; an infinite life never ends. Arguments may be arrays and are broadcast.
"""

from __future__ import annotations

import math

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def life_from_median(median: ArrayLike, shape: ArrayLike) -> Floats:
    """Characteristic life of a Weibull life from its median.

    Parameters
    ----------
    median, shape : float or array
        Age that half the units reach [time]; shape [-]: below 1 early failures, 1 chance only, above 1 wear.

    Returns
    -------
    float or array
        Characteristic life [time].

    Notes
    -----
    ``median / ln(2)**(1 / shape)``. ValueError unless both are above 0.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 8.1.6.2 (Weibull; section from memory).

    Examples
    --------
    >>> round(float(life_from_median(0.693147, 1.0)), 4)
    1.0
    """
    size, k = _life_and_shape(median, shape)
    return np.asarray(size / math.log(2.0) ** (1.0 / k))[()]


def cdf(t: ArrayLike, life: ArrayLike, shape: ArrayLike, age: ArrayLike = 0.0) -> Floats:
    """Chance that a unit fails within a further time t, given the age it has reached.

    Parameters
    ----------
    t, life, shape : float or array
        Further time [time]; characteristic life of a new one [time]; shape [-].
    age : float or array
        Age now, or virtual age of a rebuilt one [time]; 0 = new.

    Returns
    -------
    float or array
        Chance [-]; 0 for t of 0 or less.

    Notes
    -----
    ``1 - exp((age / life)**shape - ((age + t) / life)**shape)``, without loss of digits where it is small. ValueError
    unless life and shape are above 0 and the age is 0 or more.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 8.1.6.2 (Weibull; section from memory); MIL-HDBK-338B,
    5.3.6.

    Examples
    --------
    >>> round(float(cdf(1.0, 1.0, 2.5)), 4)
    0.6321
    """
    return np.asarray(-np.expm1(-_hazard_added(t, life, shape, age)))[()]


def _hazard_added(t: ArrayLike, life: ArrayLike, shape: ArrayLike, age: ArrayLike) -> Floats:
    (size, k), old = _life_and_shape(life, shape), np.asarray(age, dtype=float)
    if not np.all(old >= 0.0):
        raise ValueError("give an age or a time run of 0 or more")
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


def early_failure_survival(t: ArrayLike, survival_later: ArrayLike, p_early: ArrayLike) -> Floats:
    """Chance of working for t when some units are dead on arrival, from bad parts or bad work.

    Parameters
    ----------
    t, survival_later, p_early : float or array
        Time since fitting [time]; chance that a sound unit works for t [-]; share of units not sound, 0..1 [-].

    Returns
    -------
    float or array
        Chance [-]; ``1 - p_early`` at t = 0 already.

    Notes
    -----
    ``(1 - p_early) survival_later``. ValueError for a share outside 0..1.

    References
    ----------
    MIL-HDBK-338B, Electronic Reliability Design Handbook, 5.3 (early life failures; from memory).

    Examples
    --------
    >>> float(early_failure_survival(0.0, 1.0, 0.05))
    0.95
    """
    share, alive = np.asarray(p_early, dtype=float), np.asarray(survival_later, dtype=float)
    if not np.all((share >= 0.0) & (share <= 1.0)):
        raise ValueError("the share of early failures must lie in 0..1 (0.05 for 5 %)")
    return np.asarray((1.0 - share) * alive * np.ones_like(np.asarray(t, dtype=float)))[()]


def two_clock_survival(
    years: ArrayLike,
    hours_a_year: ArrayLike,
    life_hours: ArrayLike,
    shape_hours: ArrayLike,
    life_years: ArrayLike,
    shape_years: ArrayLike,
    age_years: ArrayLike = 0.0,
) -> Floats:
    """Chance of working for further years when both hours run and years of standing wear a unit out.

    Parameters
    ----------
    years, hours_a_year : float or array
        Further time [year]; use [h/year], 0 = it only stands.
    life_hours, life_years : float or array
        Characteristic life on each clock [h] and [year]; inf where that clock does not matter.
    shape_hours, shape_years : float or array
        Shape on each clock [-].
    age_years : float or array
        Age now, with the same use so far [year]; 0 = new.

    Returns
    -------
    float or array
        Chance [-].

    Notes
    -----
    The earlier strikes: the two chances multiplied, hours being ``hours_a_year`` times the years. The clocks are
    taken as independent. ValueError for use below 0, and as in :func:`cdf`.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 8.1.8.1 (competing risk model; from memory).

    Examples
    --------
    >>> round(float(two_clock_survival(2.0, 1.0, 5.0, 1.0, 5.0, 1.0)), 4)
    0.4493
    """
    use = np.asarray(hours_a_year, dtype=float)
    if not np.all(use >= 0.0):
        raise ValueError("give a use of 0 hours a year or more")
    time, old = np.asarray(years, dtype=float), np.asarray(age_years, dtype=float)
    by_hours = _hazard_added(use * time, life_hours, shape_hours, use * old)
    return np.asarray(np.exp(-by_hours - _hazard_added(time, life_years, shape_years, old)))[()]


def mean_p_spare_works(turned_every_years: ArrayLike, life_years: ArrayLike, shape: ArrayLike = 1.0) -> Floats:
    """Chance that a spare works when wanted at no particular time between two turnings.

    Parameters
    ----------
    turned_every_years : float or array
        Time between turnings [year]; inf = never turned.
    life_years, shape : float or array
        Characteristic life on the shelf [year]; shape [-].

    Returns
    -------
    float or array
        Chance [-]; 1 if it is turned all the time, 0 in the long run if never.

    Notes
    -----
    Mean of ``exp(-(t / life)**shape)`` over the time between turnings, which show whether it works. ValueError for a
    life or shape not above 0, and for a time below 0.

    References
    ----------
    IEC 61508-6, annex B (mean chance of failure on demand between proof tests; from memory).

    Examples
    --------
    >>> round(float(mean_p_spare_works(2.0, 20.0)), 3)
    0.952
    """
    every, (life, k) = np.asarray(turned_every_years, dtype=float), _life_and_shape(life_years, shape)
    if not np.all(every >= 0.0):
        raise ValueError("give a time between turnings of 0 years or more")
    worn = (every / life) ** k
    often = worn < 1e-9
    # a life without end times no wear would be no number
    lasting = np.where(often, 1.0, life) * scipy.special.gamma(1.0 + 1.0 / k) * scipy.special.gammainc(1.0 / k, worn)
    return np.asarray(np.where(often, 1.0 - worn / (1.0 + k), lasting / np.where(often, 1.0, every)))[()]
