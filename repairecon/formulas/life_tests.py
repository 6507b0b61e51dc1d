"""What a count of failures over hours tells, ranks for a Weibull plot, and how many trials prove a claim."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def mean_life_bounds(
    hours: float, failures: int, confidence: float = 0.9, ended_by: str = "time"
) -> tuple[float, float, float]:
    """Mean time between failures, with bounds, for failures by chance alone.

    Parameters
    ----------
    hours : float
        Hours (or years) run by all units together [time].
    failures : int
        Failures in that time [-].
    confidence : float
        Confidence of the two bounds together [-].
    ended_by : str
        time if watching stopped at a set time, failure if it stopped with the last failure [-].

    Returns
    -------
    estimate, low, high : float, float, float
        Mean time between failures and its bounds [time]; inf for estimate and high with no failure.

    Notes
    -----
    ``2 T / chi2`` with 2 r degrees of freedom above, 2 r + 2 below (2 r if ended by a failure), half the
    doubt at each end. A constant failure rate is supposed: no wear. ValueError unless hours are above 0
    and failures 0 or more (1 or more if ended by one).

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 8.4.5.1.

    Examples
    --------
    >>> [round(x, 3) for x in mean_life_bounds(800, 2)]
    [400.0, 127.069, 2251.229]
    """
    from scipy import special

    if ended_by not in ("time", "failure"):
        raise ValueError(f"watching is ended by time or by failure, not {ended_by}")
    least = 1 if ended_by == "failure" else 0
    if not hours > 0.0 or failures < least:
        raise ValueError(f"give hours above 0 and at least {least} failures")
    doubt = _doubt(confidence) / 2.0
    low = 2.0 * hours / float(special.chdtri(2.0 * (failures + 1 - least), doubt))
    if failures == 0:
        return math.inf, low, math.inf
    return hours / failures, low, 2.0 * hours / float(special.chdtri(2.0 * failures, 1.0 - doubt))


def median_ranks(failures: int, units: int) -> Floats:
    """Share failed to plot each failure at, first to last.

    Parameters
    ----------
    failures : int
        Failures seen [-].
    units : int
        Units watched, those still running at the end counted in [-].

    Returns
    -------
    array (failures,)
        Share failed at each failure [-].

    Notes
    -----
    ``(i - 0.3) / (n + 0.4)``; right when all survivors have outlived the last failure. ValueError
    for more failures than units.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 8.2.2.1.

    Examples
    --------
    >>> median_ranks(2, 20).round(4).tolist()
    [0.0343, 0.0833]
    """
    if not 0 <= failures <= units:
        raise ValueError("give 0 failures or more, and no more than there are units")
    return np.asarray((np.arange(1, failures + 1) - 0.3) / (units + 0.4))


def weibull_plot_line(failures: ArrayLike, units: int) -> tuple[float, float]:
    """Weibull life by the straight line through the plotted failures, as a check by eye.

    Parameters
    ----------
    failures : array
        Ages at failure, at least two different ones [time].
    units : int
        Units watched, survivors included, all older than the last failure [-].

    Returns
    -------
    shape, life : float, float
        Slope of the line [-]; characteristic life [time].

    Notes
    -----
    Least squares of ``ln(-ln(1 - rank))`` on ``ln(age)``, ranks by :func:`median_ranks`. Reckon with
    :func:`fits.fit_weibull`; this is for drawing. ValueError without two different ages above 0.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 8.2.2.1.
    """
    age = np.sort(np.asarray(failures, dtype=float))
    if not np.all(age > 0.0) or len(np.unique(age)) < 2:
        raise ValueError("give at least two different ages at failure, above 0")
    x, y = np.log(age), np.log(-np.log1p(-median_ranks(len(age), units)))
    off = x - x.mean()
    slope = float((off * y).sum() / (off * off).sum())
    return slope, float(np.exp(x.mean() - y.mean() / slope))


def trials_without_failure(reliability: float, confidence: float) -> int:
    """How many trials, all passed, prove a chance of working.

    Parameters
    ----------
    reliability : float
        Chance of passing one trial that is to be proven [-], between 0 and 1.
    confidence : float
        Confidence [-].

    Returns
    -------
    int
        Number of trials [-].

    Notes
    -----
    Least n with ``reliability**n <= 1 - confidence``. One fault-free run proves little: 0.9 at 90 % takes
    22. ValueError unless both lie between 0 and 1.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 7.2.4 (binomial, no defectives;
    section from memory).

    Examples
    --------
    >>> trials_without_failure(0.999, 0.95)
    2995
    """
    if not 0.0 < reliability < 1.0:
        raise ValueError("the reliability must lie between 0 and 1")
    # a quotient that is whole but for rounding is not one trial more
    return max(1, math.ceil(math.log(_doubt(confidence)) / math.log(reliability) - 1e-9))


def _doubt(confidence: float) -> float:
    if not 0.0 < confidence < 1.0:
        raise ValueError("a confidence must lie between 0 and 1 (0.9 for 90 %)")
    return 1.0 - confidence
