"""How long a unit lasts: Weibull lives, early failures, two clocks, a spare on the shelf.

Time is in any one unit, years or hours, the same throughout a call. `life` always means the characteristic life, which
63.2 % of units fail to reach; an infinite life never ends. Arguments may be arrays and are broadcast.
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
    return np.asarray(size / _LN2 ** (1.0 / k))[()]


def survival(t: ArrayLike, life: ArrayLike, shape: ArrayLike, age: ArrayLike = 0.0) -> Floats:
    """Chance that a unit works for a further time t, given the age it has reached.

    Parameters
    ----------
    t, life, shape : float or array
        Further time [time]; characteristic life of a new one [time]; shape [-].
    age : float or array
        Age now, or virtual age of a rebuilt one [time]; 0 = new.

    Returns
    -------
    float or array
        Chance [-]; 1 for t of 0 or less.

    Notes
    -----
    ``exp((age / life)**shape - ((age + t) / life)**shape)``. ValueError unless life and shape are above 0 and age is
    0 or more.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 8.1.6.2 (Weibull; section from memory); MIL-HDBK-338B,
    5.3.6.

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
    One less :func:`survival`, but without loss of digits where it is small. ValueError as there.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 8.1.6.2 (Weibull; section from memory).
    """
    return np.asarray(-np.expm1(-_hazard_added(t, life, shape, age)))[()]




def mean(life: ArrayLike, shape: ArrayLike, age: ArrayLike = 0.0) -> Floats:
    """Mean further life of a unit, given the age it has reached.

    Parameters
    ----------
    life, shape : float or array
        Characteristic life of a new one [time]; shape [-].
    age : float or array
        Age now, or virtual age of a rebuilt one [time]; 0 = new.

    Returns
    -------
    float or array
        Mean residual life [time].

    Notes
    -----
    New: ``life Gamma(1 + 1/shape)``. At an age: the integral of :func:`survival` over all further time, ``(age /
    shape) U(1, 1 + 1/shape, x)`` with ``x = (age / life)**shape`` and U the confluent hypergeometric function of the
    second kind; it stays exact where the chance of having come so far is too small to be written. It falls with age
    for a shape above 1. ValueError as in :func:`survival`.

    References
    ----------
    NIST Digital Library of Mathematical Functions, 8.5 (incomplete gamma function through U; from memory).

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
        Share of that wear the rebuild leaves [-]: 0 as good as before that run (as new after a first rebuild), 1 as
        bad as old.

    Returns
    -------
    float or array
        Virtual age, to be put in as `age` on the other pages [time].

    Notes
    -----
    Kijima's type I: ``age_before + wear_kept run``; a rebuild can undo only the wear since the one before. ValueError
    for a share outside 0..1 or a time below 0.

    References
    ----------
    M. Kijima, "Some results for repairable systems with general repair", Journal of Applied Probability 26 (1989)
    89-102, model I (from memory).

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


def early_failure_survival(
    t: ArrayLike, survival_later: ArrayLike, p_early: ArrayLike, early_life: ArrayLike = 0.0
) -> Floats:
    """Chance of working for t when some units fail early, from bad parts or bad work.

    Parameters
    ----------
    t, survival_later : float or array
        Time since fitting [time]; chance that a sound unit works for t [-].
    p_early : float or array
        Share of units that are not sound [-]; 0..1.
    early_life : float or array
        Mean life of those [time]; 0 = dead on arrival.

    Returns
    -------
    float or array
        Chance [-]; with an early life of 0 it is ``1 - p_early`` at t = 0 already.

    Notes
    -----
    ``(1 - p_early) survival_later + p_early exp(-t / early_life)``: a mixture, so p_early is the share seen when
    every early failure has shown. ValueError for a share outside 0..1 or a mean below 0.

    References
    ----------
    MIL-HDBK-338B, Electronic Reliability Design Handbook, 5.3 (early life failures; from memory); mixture of lives,
    common practice.

    Examples
    --------
    >>> float(early_failure_survival(0.0, 1.0, 0.05))
    0.95
    """
    share, early = np.asarray(p_early, dtype=float), np.asarray(early_life, dtype=float)
    if not np.all((share >= 0.0) & (share <= 1.0)):
        raise ValueError("the share of early failures must lie in 0..1 (0.05 for 5 %)")
    if not np.all(early >= 0.0):
        raise ValueError("give a mean early life of 0 or more")
    time = np.asarray(t, dtype=float)
    alive = np.where(early > 0.0, np.exp(-time / np.where(early > 0.0, early, 1.0)), 0.0)
    return np.asarray((1.0 - share) * np.asarray(survival_later, dtype=float) + share * alive)[()]


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
    years : float or array
        Further time [year].
    hours_a_year : float or array
        Use [h/year]; 0 = it only stands.
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
    taken as independent. ValueError for use below 0, and as in :func:`lives.survival`.

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
    by_hours = survival(use * time, life_hours, shape_hours, use * old)
    return np.asarray(by_hours * survival(time, life_years, shape_years, old))[()]


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
    Mean of :func:`p_spare_works` over the time between turnings. ValueError as there, and for a time below 0.

    References
    ----------
    IEC 61508-6, annex B (mean chance of failure on demand between proof tests; from memory).

    Examples
    --------
    >>> round(float(mean_p_spare_works(2.0, 20.0)), 3)
    0.952
    """
    from scipy import special

    every = np.asarray(turned_every_years, dtype=float)
    if not np.all(every >= 0.0):
        raise ValueError("give a time between turnings of 0 years or more")
    life, k = np.asarray(life_years, dtype=float), np.asarray(shape, dtype=float)
    worn = (every / life) ** k
    often = worn < 1e-9
    # a life without end times no wear would be no number
    lasting = mean(np.where(often, 1.0, life), k) * special.gammainc(1.0 / k, worn)
    return np.asarray(np.where(often, 1.0 - worn / (1.0 + k), lasting / np.where(often, 1.0, every)))[()]
