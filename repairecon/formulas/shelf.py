"""How long stored parts stay fit for use: shelf life of rubber, what runs out when, and when to turn units by hand.

Days are day numbers, counted from 1970-01-01 as 0 (so differences are days); nan is an unknown day, inf never.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Wholes = NDArray[np.int64]
Bools = NDArray[np.bool_]

FIT, RUNS_OUT, OVER, UNKNOWN = 0, 1, 2, 3


def quarter_end(year: ArrayLike, quarter: ArrayLike) -> Floats:
    """Last day of a quarter, from which rubber marked with it is counted.

    Parameters
    ----------
    year, quarter : int or array
        Year, and quarter 1 to 4: 2024 and 3 for "3Q24" [-].

    Returns
    -------
    float or array
        Day number [day].

    Notes
    -----
    The part may be up to three months younger than its mark allows; counting from the quarter's end
    gives it the whole of its shelf life. ValueError for another quarter.

    References
    ----------
    ISO 2230:2002, cure date by quarter (from memory); counted from the end of the quarter: SAE ARP5316 (from memory).

    Examples
    --------
    >>> int(quarter_end(1970, 1))
    89
    """
    y, q = np.asarray(year, dtype=np.int64), np.asarray(quarter, dtype=np.int64)
    if not np.all((q >= 1) & (q <= 4)):
        raise ValueError("a quarter is 1, 2, 3 or 4")
    months = (12 * (y - 1970) + 3 * q).astype("datetime64[M]")
    return np.asarray((months.astype("datetime64[D]").astype(np.int64) - 1).astype(np.float64))[()]


def counted_from(cured_day: ArrayLike, bought_day: ArrayLike) -> tuple[Floats, Bools]:
    """Day from which the shelf life runs: when it was made, or else when it was bought.

    Parameters
    ----------
    cured_day : float or array
        Cure date; nan = not known [day].
    bought_day : float or array
        Day on which it was bought; nan = not known [day].

    Returns
    -------
    day : float or array
        Day it is counted from; nan = neither is known [day].
    assumed : bool or array
        Whether it is the day of purchase, so that the part may be older.

    Notes
    -----
    A part bought may have lain on a dealer's shelf: its true expiry is then earlier by that time.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> day, assumed = counted_from([100.0, np.nan], [400.0, 400.0])
    >>> day.tolist(), assumed.tolist()
    ([100.0, 400.0], [False, True])
    """
    cured, bought = np.broadcast_arrays(np.asarray(cured_day, dtype=float), np.asarray(bought_day, dtype=float))
    unknown = np.isnan(cured)
    return np.where(unknown, bought, cured)[()], np.asarray(unknown & ~np.isnan(bought))[()]


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


def when_over(expiry: ArrayLike, from_day: float, to_day: float) -> Wholes:
    """Whether parts stay in date over a period, run out in it, or are over before it.

    Parameters
    ----------
    expiry : float or array
        Last day in date, from :func:`expiry_day` [day].
    from_day, to_day : float
        First and last day of the period, such as a passage [day].

    Returns
    -------
    int or array
        FIT (0) throughout, RUNS_OUT (1) during it, OVER (2) before it, UNKNOWN (3) [-].

    Notes
    -----
    In date on its last day still. ValueError for a period that ends before it begins.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> when_over([5, 10, 20, np.nan], 10, 19).tolist()
    [2, 1, 0, 3]
    """
    _period(from_day, to_day)
    last = np.asarray(expiry, dtype=float)
    code = np.where(last < from_day, OVER, np.where(last < to_day, RUNS_OUT, FIT))
    return np.asarray(np.where(np.isnan(last), UNKNOWN, code).astype(np.int64))[()]


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


def turn_by(last_turned_day: ArrayLike, every_days: ArrayLike) -> Floats:
    """Day by which a whole unit must be turned by hand again, so that it does not seize on its shelf.

    Parameters
    ----------
    last_turned_day : float or array
        Day on which it was last turned, run or bought; nan = not known [day].
    every_days : float or array
        Days between turnings, above 0; inf = it need not be turned [day].

    Returns
    -------
    float or array
        Day number; inf = never, -inf = at once, as nobody knows when it was last turned [day].

    Notes
    -----
    ``last_turned_day + every_days``. ValueError for a number of days of 0 or less.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> turn_by([100.0, np.nan], 90.0).tolist()
    [190.0, -inf]
    """
    last, every = np.asarray(last_turned_day, dtype=float), np.asarray(every_days, dtype=float)
    if not np.all(every > 0.0):
        raise ValueError("the days between turnings must be above 0")
    due = np.where(np.isnan(last), -np.inf, last) + np.where(np.isinf(every), 0.0, every)
    return np.asarray(np.where(np.isinf(every), np.inf, due))[()]


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
