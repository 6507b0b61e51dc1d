"""Lives that are more than one Weibull: early failures, a median not well known, two clocks.

A clock of hours and a clock of years of standing both run; whichever strikes first ends the life.
Arguments may be arrays and are broadcast.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from repairecon.formulas.lives import life_from_median, survival

Floats = NDArray[np.float64]


def early_failure_survival(
    t: ArrayLike, survival_later: ArrayLike, p_early: ArrayLike, early_life: ArrayLike = 0.0
) -> Floats:
    """Chance of working for t when some units fail early, from bad parts or bad work.

    Parameters
    ----------
    t : float or array
        Time since fitting [time].
    survival_later : float or array
        Chance that a sound unit works for t [-].
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
    ``(1 - p_early) survival_later + p_early exp(-t / early_life)``: a mixture, so p_early is the share
    seen when every early failure has shown. ValueError for a share outside 0..1 or a mean below 0.

    References
    ----------
    MIL-HDBK-338B, Electronic Reliability Design Handbook, 5.3 (early life failures; from memory);
    mixture of lives, common practice.

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


def unsure_survival(t: ArrayLike, medians: ArrayLike, weights: ArrayLike, shape: float, age: float = 0.0) -> Floats:
    """Chance of working for a further time t when the median life is known only as a range.

    Parameters
    ----------
    t : float or array
        Further time [time].
    medians : array (nodes,)
        Medians that stand for the range, such as its quantiles at evenly spread chances [time].
    weights : array (nodes,)
        Chance of each [-]; they sum to 1.
    shape : float
        Shape [-].
    age : float
        Age reached [time]; 0 = new.

    Returns
    -------
    float or array
        Chance [-].

    Notes
    -----
    ``sum of w S(age + t) / sum of w S(age)``: to have reached an age makes the long medians likelier.
    It is right for one life only. Units of one kind share their median, so expected failures over
    several lives are reckoned for each median and then averaged. ValueError for weights below 0 or
    whose sum is off 1 by more than 1e-9, and as in :func:`lives.survival`.

    References
    ----------
    R. E. Barlow, F. Proschan, Statistical Theory of Reliability and Life Testing (1975), ch. 4
    (mixtures of lives; from memory).

    Examples
    --------
    >>> round(float(unsure_survival(10.0, [10.0, 10.0], [0.5, 0.5], 2.0)), 6)
    0.5
    """
    weight = np.asarray(weights, dtype=float)
    if not np.all(weight >= 0.0) or abs(weight.sum() - 1.0) > 1e-9:
        raise ValueError("the weights of the medians must be 0 or more and sum to 1")
    lives = life_from_median(medians, shape)
    further = np.asarray(t, dtype=float)[..., np.newaxis]
    reached = weight * survival(age, lives, shape)
    if reached.sum() == 0.0:
        raise ValueError("no unit with such a life reaches that age")
    return np.asarray((survival(further, lives, shape, age) * reached).sum(axis=-1) / reached.sum())[()]


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
    The earlier strikes: the two chances multiplied, hours being ``hours_a_year`` times the years. The
    clocks are taken as independent. ValueError for use below 0, and as in :func:`lives.survival`.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 8.1.8.1 (competing risk model;
    from memory).

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


def two_clock_mean(
    hours_a_year: ArrayLike,
    life_hours: ArrayLike,
    shape_hours: ArrayLike,
    life_years: ArrayLike,
    shape_years: ArrayLike,
    age_years: ArrayLike = 0.0,
) -> Floats:
    """Mean further life in years when both hours run and years of standing wear a unit out.

    Parameters
    ----------
    hours_a_year : float or array
        Use [h/year].
    life_hours, life_years : float or array
        Characteristic life on each clock [h] and [year]; inf where that clock does not matter.
    shape_hours, shape_years : float or array
        Shape on each clock [-].
    age_years : float or array
        Age now, with the same use so far [year]; 0 = new.

    Returns
    -------
    float or array
        Mean residual life [year]; inf if neither clock runs.

    Notes
    -----
    Integral of :func:`two_clock_survival` over all years by a double exponential rule of 401 nodes
    on the scale of the sooner life: relative error below 1e-7 for shapes 0.5..15. ValueError as there.

    References
    ----------
    H. Takahasi, M. Mori, "Double exponential formulas for numerical integration", Publications of the
    RIMS Kyoto 9 (1974) 721-741, rule for integrands that decay exponentially (from memory).
    """
    use, size_h = np.asarray(hours_a_year, dtype=float), np.asarray(life_hours, dtype=float)
    size_y = np.asarray(life_years, dtype=float)
    with np.errstate(divide="ignore"):
        sooner = np.minimum(size_h / use, size_y)
    runs = np.isfinite(sooner)
    scale = np.where(runs, sooner, 1.0)
    x = np.linspace(-5.0, 7.0, 401).reshape((-1,) + (1,) * _ndim(scale, shape_hours, shape_years, age_years))
    node = np.exp(x - np.exp(-x))
    weight = (x.ravel()[1] - x.ravel()[0]) * node * (1.0 + np.exp(-x))
    alive = two_clock_survival(scale * node, use, size_h, shape_hours, size_y, shape_years, age_years)
    return np.asarray(np.where(runs, scale * (weight * alive).sum(axis=0), np.inf))[()]


def _ndim(*arrays: ArrayLike) -> int:
    return max(np.ndim(a) for a in arrays)
