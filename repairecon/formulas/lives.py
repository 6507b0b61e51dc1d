"""How long a unit lasts: Weibull lives, two clocks, a spare on the shelf, and a life fitted to an owner's own lives.

Time is in any one unit, years or hours, the same throughout a call. `life` always means the characteristic life, which
63.2 % of units fail to reach; an infinite life never ends. Lives and shapes are above 0, ages and times 0 or more.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


def cdf(t: ArrayLike, life: ArrayLike, shape: ArrayLike, age: ArrayLike = 0.0) -> Floats:
    """Chance that a unit fails within a further time t, given the age it has reached.

    Parameters
    ----------
    t, life, shape, age : float or array
        Further time [time]; characteristic life of a new one [time]; shape [-]; age now, or virtual age of a rebuilt
        one, 0 = new [time].

    Returns
    -------
    float or array
        Chance [-].

    Notes
    -----
    ``1 - exp((age / life)**shape - ((age + t) / life)**shape)``, without loss of digits where it is small. Source:
    NIST/SEMATECH e-Handbook of Statistical Methods, section 8.1.6.2 (Weibull; section from memory); MIL-HDBK-338B,
    5.3.6.

    >>> round(float(cdf(1.0, 1.0, 2.5)), 4)
    0.6321
    """
    further, size, k, old = (np.asarray(x, dtype=float) for x in (t, life, shape, age))
    near = further < old
    # the difference of two powers would lose its digits where the age is the greater part
    growth = np.expm1(k * np.log1p(np.where(near, further, 0.0) / np.where(near, old, 1.0)))
    apart = ((old + further) / size) ** k - (old / size) ** k
    return np.asarray(-np.expm1(-np.where(near, (old / size) ** k * growth, apart)))[()]


def mean_p_spare_works(turned_every_years: float, life_years: float, shape: float) -> float:
    """Chance that a spare works when wanted at no particular time between two turnings.

    Parameters
    ----------
    turned_every_years, life_years, shape : float
        Time between turnings, above 0 [year]; characteristic life on the shelf, inf for no wear [year]; shape [-].

    Returns
    -------
    float
        Chance [-].

    Notes
    -----
    Mean of ``exp(-(t / life)**shape)`` over the time between turnings, which show whether it works. Source: IEC
    61508-6, annex B (mean chance of failure on demand between proof tests; from memory).

    >>> round(mean_p_spare_works(2.0, 20.0, 1.0), 3)
    0.952
    """
    if life_years == np.inf:
        return 1.0
    share = scipy.special.gammainc(1.0 / shape, (turned_every_years / life_years) ** shape)
    return float(life_years * scipy.special.gamma(1.0 + 1.0 / shape) * share / turned_every_years)


def one_clock(life_years: ArrayLike, life_hours: ArrayLike, hours_a_year: float, shape: float) -> Floats:
    """Characteristic life in years of a unit that both years of standing and hours run wear out.

    Parameters
    ----------
    life_years, life_hours : float or array
        Characteristic life on each clock [year] and [h]; inf where that clock does not matter.
    hours_a_year, shape : float
        Use, 0 = it only stands [h/year]; shape, the same on both clocks [-].

    Returns
    -------
    float or array
        Characteristic life [year]; inf if neither clock runs.

    Notes
    -----
    ``(life_years**-shape + (hours_a_year / life_hours)**shape)**(-1 / shape)``: hazards of one power add up. Source:
    NIST/SEMATECH e-Handbook of Statistical Methods, section 8.1.8.1 (competing risk model; from memory).

    >>> round(float(one_clock(5.0, 60.0, 15.0, 1.0)), 4)
    2.2222
    """
    years, hours = np.asarray(life_years, dtype=float), np.asarray(life_hours, dtype=float)
    # in parts of the shorter life, so that no power runs out of range
    with np.errstate(divide="ignore"):
        by_use = np.asarray(hours / np.asarray(float(hours_a_year)))
    short, long = np.minimum(years, by_use), np.maximum(years, by_use)
    ends = np.isfinite(short)
    ratio = np.where(ends, short, 0.0) / np.where(np.isfinite(long), long, 1.0) * np.isfinite(long)
    return np.asarray(np.where(ends, np.where(ends, short, 1.0) * (1.0 + ratio**shape) ** (-1.0 / shape), np.inf))[()]


class WeibullFit(NamedTuple):
    """A fitted life with the ranges that the data leave open."""

    shape: float
    life: float
    median: float
    shape_low: float
    shape_high: float
    median_low: float
    median_high: float
    log_likelihood: float


def fit_weibull(
    lives: ArrayLike, failed: ArrayLike | None = None, confidence: float = 0.9, widest: float = 5.0
) -> WeibullFit:
    """Weibull life by maximum likelihood, with likelihood intervals; refused where the data cannot tell.

    Parameters
    ----------
    lives : array
        Ages at failure or reached so far, above 0 [time].
    failed : array of bool, optional
        Whether that age ended in a failure; all of them if not given.
    confidence, widest : float
        Confidence of the intervals [-]; the most the upper end of one may be of its lower end, inf = never refuse [-].

    Returns
    -------
    WeibullFit
        Shape [-], characteristic life [time], median [time]; low and high end of shape and median; log-likelihood at
        the best fit [-].

    Notes
    -----
    The shape k solves ``sum(x**k ln x) / sum(x**k) - 1/k = mean of ln x over the failures``, then ``life = (sum(x**k) /
    failures)**(1/k)``; sums over all units. Intervals: values whose likelihood, at the best of the other, lies within
    half the chi-square quantile (1 degree of freedom) of the best; with few failures rather too narrow, and the shape
    is then too high on average. ValueError with fewer than two different ages at failure, and when an interval is wider
    than `widest`: 5 refuses two failures and mostly three. Lives of different populations in one list hide wear.
    Source: NIST/SEMATECH e-Handbook of Statistical Methods, section 8.4.1.3 (fitting models); W. Q. Meeker, L. A.
    Escobar, Statistical Methods for Reliability Data (1998), section 8.3 (section from memory).

    >>> ages = [55, 187, 216, 240, 244, 335, 361, 373, 375, 386] + 10 * [500]
    >>> fit = fit_weibull(ages, 10 * [True] + 10 * [False])
    >>> round(fit.shape, 5), round(fit.life, 3)
    (1.72563, 606.005)
    """
    x = np.asarray(lives, dtype=float)
    ends = np.ones(len(x), dtype=bool) if failed is None else np.asarray(failed, dtype=bool)
    if len(np.unique(x[ends])) < 2:
        raise ValueError("two failures at different ages are the least a life can be fitted to")
    shape, life = _best(x, ends)
    least = _by_shape(x, ends, shape) - _allowed(confidence)
    shapes = _interval(shape, lambda other: least - _by_shape(x, ends, other))
    medians = _life_interval(x, ends, 0.5, confidence)
    for what, (low, high) in (("shape", shapes), ("median life", medians)):
        if high > widest * low:
            raise ValueError(
                f"{ends.sum()} failures among {len(x)} units cannot tell the {what}: the largest that fits is "
                f"over {widest} times the smallest; give more lives, or a range of your own"
            )
    median = life * math.log(2.0) ** (1.0 / shape)
    return WeibullFit(shape, life, median, *shapes, *medians, _by_shape(x, ends, shape))


def _life_interval(x: Floats, ends: Bools, p: float, confidence: float) -> tuple[float, float]:
    """Range that the lives leave open for the age within which the share p fails; inf where nothing bounds it."""
    (shape, life), hazard = _best(x, ends), -math.log1p(-p)
    least = _by_shape(x, ends, shape) - _allowed(confidence)
    return _interval(life * hazard ** (1.0 / shape), lambda age: least - _by_age(x, ends, age, hazard))


def _best(x: Floats, ends: Bools) -> tuple[float, float]:
    """Shape and characteristic life of the best fit."""
    log_x = np.log(x / x.max())
    wanted = float(log_x[ends].mean())

    def gap(shape: float) -> float:
        weight = np.exp(shape * log_x)
        return float((weight * log_x).sum() / weight.sum()) - 1.0 / shape - wanted

    high = 1.0
    while gap(high) < 0.0:
        high *= 2.0
    shape = float(scipy.optimize.brentq(gap, 1e-6, high, xtol=1e-12, rtol=1e-13))
    return shape, float(x.max() * (((x / x.max()) ** shape).sum() / ends.sum()) ** (1.0 / shape))


def _by_shape(x: Floats, ends: Bools, shape: float) -> float:
    """Log-likelihood at a shape and its own best characteristic life."""
    count, log_x = int(ends.sum()), np.log(x / x.max())
    total = np.exp(shape * log_x).sum()
    fit = count * math.log(shape * count / total) + (shape - 1.0) * log_x[ends].sum() - count
    return float(fit - count * math.log(x.max()))


def _by_age(x: Floats, ends: Bools, age: float, hazard: float) -> float:
    """Log-likelihood with that cumulated hazard at an age, and its own best shape."""
    count, log_x = int(ends.sum()), np.log(x / age)

    def slope(log_shape: float) -> float:
        shape = math.exp(log_shape)
        grown = np.exp(np.minimum(shape * log_x, 600.0))
        return float(count / shape + log_x[ends].sum() - hazard * (grown * log_x).sum())

    shape = math.exp(scipy.optimize.brentq(slope, -30.0, 12.0, xtol=1e-13))
    grown = np.exp(shape * log_x).sum()
    return float(count * math.log(shape * hazard / age) + (shape - 1.0) * log_x[ends].sum() - hazard * grown)


def _allowed(confidence: float) -> float:
    return float(scipy.special.chdtri(1.0, 1.0 - confidence)) / 2.0


def _interval(best: float, drop: Callable[[float], float]) -> tuple[float, float]:
    """Both values, sought on the log scale from the best, at which the likelihood has dropped enough."""

    def outward(sign: float) -> float:
        far = 0.1
        while drop(best * math.exp(sign * far)) < 0.0:
            far *= 2.0
            if far > 60.0:
                return math.inf
        return float(scipy.optimize.brentq(lambda step: drop(best * math.exp(sign * step)), 0.0, far, xtol=1e-11))

    return best * math.exp(-outward(-1.0)), best * math.exp(outward(1.0))
