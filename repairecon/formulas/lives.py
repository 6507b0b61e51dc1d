"""How long a unit lasts: Weibull lives, two clocks, a spare on the shelf, the shelf life of rubber.

Time is in any one unit, years or hours, the same throughout a call. `life` always means the characteristic life, which
63.2 % of units fail to reach; an infinite life never ends. Days are day numbers, 1970-01-01 being 0; nan is an unknown
day, inf never. Arguments may be arrays and are broadcast.
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
    ``(life_years**-shape + (hours_a_year / life_hours)**shape)**(-1 / shape)``: hazards of one power add up.
    ValueError unless lives and shape are above 0 and the use is 0 or more.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 8.1.8.1 (competing risk model; from memory).

    Examples
    --------
    >>> round(float(one_clock(5.0, 60.0, 15.0, 1.0)), 4)
    2.2222
    """
    years, hours = np.asarray(life_years, dtype=float), np.asarray(life_hours, dtype=float)
    if not (np.all(years > 0.0) and np.all(hours > 0.0) and shape > 0.0 and hours_a_year >= 0.0):
        raise ValueError("lives and their shape must be above 0, hours a year 0 or more")
    # in parts of the shorter life, so that no power runs out of range
    with np.errstate(divide="ignore"):
        by_use = np.asarray(hours / np.asarray(float(hours_a_year)))
    short, long = np.minimum(years, by_use), np.maximum(years, by_use)
    ends = np.isfinite(short)
    ratio = np.where(ends, short, 0.0) / np.where(np.isfinite(long), long, 1.0) * np.isfinite(long)
    return np.asarray(np.where(ends, np.where(ends, short, 1.0) * (1.0 + ratio**shape) ** (-1.0 / shape), np.inf))[()]


def expiry_day(
    from_day: ArrayLike, initial_years: ArrayLike, extension_years: ArrayLike = 0.0, inspected: ArrayLike = False
) -> Floats:
    """Last day on which a stored part is in date.

    Parameters
    ----------
    from_day : float or array
        Day it is counted from; nan = not known [day].
    initial_years, extension_years : float or array
        Initial shelf life, and what an inspection at its end may add; inf = no limit [year].
    inspected : bool or array
        Whether it was inspected and found good, so that the extension holds.

    Returns
    -------
    float or array
        Day number; inf = never, nan = not known [day].

    Notes
    -----
    The same day of the month so many years on, or the month's last day where it has no such day. Parts of a year count
    by whole months, rounded down. The extension may be given once. Storage as the standard asks: cool, dark, dry, no
    ozone, unstressed; no table holds in a locker by a warm engine. ValueError for years below 0.

    References
    ----------
    ISO 2230:2002, Rubber products: guidelines for storage, shelf life by groups A, B, C.

    Examples
    --------
    >>> int(expiry_day(0.0, 5)), int(expiry_day(0.0, 5, 2, True))
    (1826, 2557)
    """
    start, initial, more, good = np.broadcast_arrays(
        np.asarray(from_day, dtype=float),
        np.asarray(initial_years, dtype=float),
        np.asarray(extension_years, dtype=float),
        np.asarray(inspected, dtype=bool),
    )
    if not (np.all(initial >= 0.0) and np.all(more >= 0.0)):
        raise ValueError("years of shelf life must be 0 or more")
    years = initial + np.where(good, more, 0.0)
    known = np.isfinite(start) & np.isfinite(years)
    days = _months_on(np.where(known, start, 0.0), np.floor(12.0 * np.where(known, years, 0.0) + 1e-6))
    ended = np.where(np.isinf(years) & ~np.isnan(start), np.inf, np.where(known, days, start))
    return np.asarray(ended)[()]


def _months_on(start: Floats, months: Floats) -> Floats:
    """The same day of the month so many months on, or that month's last day."""
    day = np.floor(start).astype(np.int64).astype("datetime64[D]")
    month = day.astype("datetime64[M]")
    within = (day - month.astype("datetime64[D]")).astype(np.int64)
    goal = month + months.astype(np.int64)
    last = ((goal + 1).astype("datetime64[D]") - goal.astype("datetime64[D]")).astype(np.int64) - 1
    first = goal.astype("datetime64[D]").astype(np.int64)
    return np.asarray((first + np.minimum(within, last)).astype(np.float64))


def cost_left_over(
    cost_unit: ArrayLike, expiry: ArrayLike, from_day: float, to_day: float, loss_rate: ArrayLike
) -> Floats:
    """What a unit loses that is carried through a period and not used.

    Parameters
    ----------
    cost_unit, expiry : float or array
        Price of a unit [home money]; last day in date, from :func:`expiry_day` [day].
    from_day, to_day : float
        First and last day of the period [day].
    loss_rate : float or array
        Share of its worth that a year takes for other reasons: resale, damp, money tied up [1/year].

    Returns
    -------
    float or array
        Cost [home money].

    Notes
    -----
    ``cost_unit (1 - (1 - lost)(1 - loss_rate)**(days / 365))``, ``lost`` being the period's share of the shelf life
    left, ``days / (expiry - from_day)``: 0 if it never runs out or that is unknown, 1 if it is over by the end.
    ValueError for a price below 0, a rate outside 0..1 and a period that ends before it begins.

    References
    ----------
    Common practice, no source (straight line over the time left).

    Examples
    --------
    >>> cost_left_over(100.0, [365.0, np.inf, 20.0], 0, 73, 0.0).round(6).tolist()
    [20.0, 0.0, 100.0]
    """
    price, rate, days = np.asarray(cost_unit, dtype=float), np.asarray(loss_rate, dtype=float), to_day - from_day
    if not (np.all((price >= 0.0) & np.isfinite(price)) and np.all((rate >= 0.0) & (rate <= 1.0))):
        raise ValueError("a price must be a plain amount of 0 or more, a rate of loss lie in 0..1 (0.20 for 20 %)")
    if not days >= 0.0:
        raise ValueError("a period must last 0 or more days")
    left = np.asarray(expiry, dtype=float) - from_day
    lost = np.where(left > days, days / np.where(left > 0.0, left, 1.0), 1.0)
    kept = (1.0 - np.where(np.isnan(left), 0.0, lost)) * (1.0 - rate) ** (days / 365.0)
    return np.asarray(price * (1.0 - kept))[()]
