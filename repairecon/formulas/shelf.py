"""How long stored parts stay fit for use: shelf life of rubber, and what lying unused costs.

Days are day numbers, counted from 1970-01-01 as 0 (so differences are days); nan is an unknown day, inf never.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


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
    Counted in calendar years: the same day of the month so many years on, or the month's last day where it has
    no such day. Parts of a year count by whole months, rounded down. The extension may be given once.
    Storage is taken to be as the standard asks: cool, dark, dry, no ozone, unstressed; a locker by a
    warm engine is none of these and no table holds there. ValueError for years below 0.

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


def share_of_life_lost(expiry: ArrayLike, from_day: float, to_day: float) -> Floats:
    """Share of what is left of a part's shelf life that a period uses up.

    Parameters
    ----------
    expiry : float or array
        Last day in date, from :func:`expiry_day` [day].
    from_day, to_day : float
        First and last day of the period [day].

    Returns
    -------
    float or array
        Share, 0..1 [-]; 0 if it never runs out or that is unknown, 1 if it is over by the end.

    Notes
    -----
    ``(to_day - from_day) / (expiry - from_day)``, at most 1: what carrying it unused over the period costs,
    as a share of its price. ValueError for a period that ends before it begins.

    References
    ----------
    Common practice, no source (straight line over the time left).

    Examples
    --------
    >>> share_of_life_lost([365.0, np.inf, 20.0], 0, 73).tolist()
    [0.2, 0.0, 1.0]
    """
    _period(from_day, to_day)
    left = np.asarray(expiry, dtype=float) - from_day
    share = np.where(left > to_day - from_day, (to_day - from_day) / np.where(left > 0.0, left, 1.0), 1.0)
    return np.asarray(np.where(np.isnan(left), 0.0, share))[()]


def cost_left_over(
    cost_unit: ArrayLike, life_lost: ArrayLike, loss_rate: ArrayLike, days: float, cost_stowage: ArrayLike = 0.0
) -> Floats:
    """What a unit loses that is carried through a period and not used.

    Parameters
    ----------
    cost_unit : float or array
        Price of a unit [home money].
    life_lost : float or array
        Share of its remaining shelf life that the period takes (:func:`share_of_life_lost`) [-].
    loss_rate : float or array
        Share of its worth that a year takes for other reasons: resale, damp, money tied up [1/year].
    days : float
        Length of the period [day].
    cost_stowage : float or array
        What its room costs in the period besides [home money].

    Returns
    -------
    float or array
        Cost, to be put in as `cost_left` on these pages [home money].

    Notes
    -----
    ``cost_unit (1 - (1 - life_lost)(1 - loss_rate)**(days / 365)) + cost_stowage``. ValueError for shares outside 0..1
    or a time below 0.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> round(float(cost_left_over(100.0, 0.2, 0.1, 365.0)), 6)
    28.0
    """
    lost, rate = np.asarray(life_lost, dtype=float), np.asarray(loss_rate, dtype=float)
    if not (np.all((lost >= 0.0) & (lost <= 1.0)) and np.all((rate >= 0.0) & (rate <= 1.0)) and days >= 0.0):
        raise ValueError("shares lost must lie in 0..1 (0.20 for 20 %) and the days be 0 or more")
    kept = (1.0 - lost) * (1.0 - rate) ** (days / 365.0)
    return np.asarray(_costs(cost_unit) * (1.0 - kept) + _costs(cost_stowage))[()]


def _months_on(start: Floats, months: Floats) -> Floats:
    """The same day of the month so many months on, or that month's last day."""
    day = np.floor(start).astype(np.int64).astype("datetime64[D]")
    month = day.astype("datetime64[M]")
    within = (day - month.astype("datetime64[D]")).astype(np.int64)
    goal = month + months.astype(np.int64)
    last = ((goal + 1).astype("datetime64[D]") - goal.astype("datetime64[D]")).astype(np.int64) - 1
    first = goal.astype("datetime64[D]").astype(np.int64)
    return np.asarray((first + np.minimum(within, last)).astype(np.float64))


def _period(from_day: float, to_day: float) -> None:
    if not from_day <= to_day:
        raise ValueError("a period ends on its first day or later")


def _costs(cost: ArrayLike) -> Floats:
    value = np.asarray(cost, dtype=float)
    if not np.all((value >= 0.0) & np.isfinite(value)):
        raise ValueError("costs and prices must be plain amounts of 0 or more")
    return value
