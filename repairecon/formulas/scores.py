"""How well ranges and chances that were stated before agree with what came."""

from __future__ import annotations

from math import ceil
from typing import NamedTuple

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


class Group(NamedTuple):
    """Stated chances that lie together: mean stated [-], share that happened [-], its low and high end [-], count."""

    stated: float
    happened: float
    low: float
    high: float
    many: int


def brier_score(stated: ArrayLike, happened: ArrayLike) -> float:
    """How far stated chances were from what came.

    Parameters
    ----------
    stated, happened : array, array of bool
        Chances [-]; whether each came.

    Returns
    -------
    float
        ``mean((p - y)**2)`` [-].

    Notes
    -----
    Always stating 0.5 gives 0.25. Source: T. Gneiting, A. E. Raftery, JASA 102 (2007) 359-378, section 3.1 (section
    from memory).
    """
    return float(np.mean((np.asarray(stated, dtype=float) - np.asarray(happened, dtype=bool)) ** 2))


def calibration_groups(stated: ArrayLike, happened: ArrayLike, edges: ArrayLike, confidence: float) -> list[Group]:
    """Stated chances grouped, each group beside how often it came.

    Parameters
    ----------
    stated, happened : array, array of bool
        Chances [-]; whether each came.
    edges, confidence : array (groups + 1,), float
        Ends of the groups, from 0 to 1, rising [-]; confidence of the range of each share [-].

    Returns
    -------
    list of Group
        A group with at least one chance each [-].

    Notes
    -----
    Ranges of the shares by :func:`share_interval`. Source: A. H. Murphy, R. L. Winkler, "Reliability of subjective
    probability forecasts of precipitation and temperature", Applied Statistics 26 (1977) 41-47 (from memory).
    """
    p, y, ends = (np.asarray(x, dtype=float) for x in (stated, happened, edges))
    place, groups = np.clip(np.searchsorted(ends, p, side="right") - 1, 0, len(ends) - 2), []
    for k in np.unique(place):
        here = place == k
        low, high = share_interval(int(y[here].sum()), int(here.sum()), confidence)
        groups.append(Group(float(p[here].mean()), float(y[here].mean()), low, high, int(here.sum())))
    return groups


def share_interval(inside: int, of: int, confidence: float, method: str = "jeffreys") -> tuple[float, float]:
    """Range of a true share, after so many of so many.

    Parameters
    ----------
    inside, of, confidence : int, int, float
        How many [-]; of how many [-]; confidence [-].
    method : str
        "jeffreys", or "exact" for the ends that never promise too much.

    Returns
    -------
    low, high : float, float
        Ends [-].

    Notes
    -----
    Jeffreys: quantiles of Beta(k + 1/2, n - k + 1/2), with 0 and 1 kept as ends when none or all were inside. Exact
    (Clopper-Pearson): quantiles of Beta(k, n - k + 1) and Beta(k + 1, n - k). Source: L. D. Brown, T. T. Cai, A.
    DasGupta, "Interval estimation for a binomial proportion", Statistical Science 16 (2001) 101-133; NIST/SEMATECH
    e-Handbook, section 7.2.4.1 (both from memory).

    >>> [round(end, 4) for end in share_interval(4, 20, 0.9, "exact")]
    [0.0714, 0.401]
    """
    side, less = (1.0 - confidence) / 2.0, 0.5 if method == "jeffreys" else 0.0
    k, rest = float(inside), float(of - inside)
    low = 0.0 if inside == 0 else float(scipy.special.betaincinv(k + less, rest + 1.0 - less, side))
    high = 1.0 if inside == of else float(scipy.special.betaincinv(k + 1.0 - less, rest + less, 1.0 - side))
    return low, high


def places(seen: ArrayLike, p10: ArrayLike, p50: ArrayLike, p90: ArrayLike) -> Floats:
    """Where a value fell in its range, as a normal score: 0 at the middle, about 1.28 at the upper end.

    Parameters
    ----------
    seen, p10, p50, p90 : array
        What came, and the values that one in ten, half and nine in ten stay below [same unit].

    Returns
    -------
    array
        Normal scores [-]; nan for a range without width on the side where the value fell.

    Notes
    -----
    Straight between and beyond the three points, on the log scale where all are above 0, else as they stand. What came
    from the range as stated has scores close to a standard normal. Source: The normal score of a value under a
    two-piece (log) normal curve through three quantiles; ours, no source.

    >>> places([10.0, 20.0, 5.0], 5.0, 10.0, 20.0).round(4).tolist()
    [0.0, 1.2816, -1.2816]
    """
    x, low, middle, high = np.broadcast_arrays(*(np.asarray(v, dtype=float) for v in (seen, p10, p50, p90)))
    logs = (x > 0.0) & (low > 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        x, low, middle, high = (np.where(logs, np.log(v), v) for v in (x, low, middle, high))
        side = np.where(x >= middle, high - middle, middle - low)
        score = np.where(x == middle, 0.0, (x - middle) / side)
    return np.where(side > 0.0, float(scipy.special.ndtri(0.9)) * score, np.nan)


def widening(scores: ArrayLike, share: float, confidence: float) -> tuple[float, float, float]:
    """How many times as wide ranges must be to hold the share that they claim, and how well that is known.

    Parameters
    ----------
    scores : array
        Normal scores of what came, as :func:`places` gives them; nan for what no widening takes in [-].
    share, confidence : float
        Share of cases that a range claims to hold, as many above as below it [-]; confidence of the factor's range [-].

    Returns
    -------
    factor, low, high : float, float, float
        The least factor with which that share would have been held, and its range: above 1 the ranges were too
        narrow; high is inf where so few cases leave it open [-].

    Notes
    -----
    A range made c times as wide about its middle holds a score z if ``abs(z) <= c ndtri((1 + share) / 2)``, so the
    factor is a quantile of the scores without sign: the one of rank ``ceil(share n)``. Its range takes the ranks that a
    binomial count of ``share`` and n stays below (or reaches) with a chance of at most half of what the confidence
    leaves out; whatever the shape of the scores. One wild case counts for one case. Source: NIST/SEMATECH e-Handbook of
    Statistical Methods, section 7.2.6.2 (quantiles by order statistics; from memory); G. J. Hahn, W. Q. Meeker,
    Statistical Intervals (1991), section 5.2 (ranges of a quantile; section from memory).

    >>> factor, low, high = widening([0.3, -0.8, 1.1, -1.9, 2.6], 0.8, 0.9)
    >>> round(factor, 3), round(low, 3), high
    (1.483, 0.624, inf)
    """
    z = np.abs(np.asarray(scores, dtype=float))
    n, side = len(z), (1.0 - confidence) / 2.0
    ranked = np.sort(np.where(np.isnan(z), np.inf, z)) / float(scipy.special.ndtri(0.5 + share / 2.0))
    below = scipy.special.bdtr(np.arange(n + 1), n, share)  # chance of at most so many below the quantile
    least, most = int((below[:-1] <= side).sum()), int(np.argmax(below >= 1.0 - side)) + 1
    low = float(ranked[least - 1]) if least else 0.0
    return float(ranked[ceil(share * n - 1e-9) - 1]), low, float(ranked[most - 1]) if most <= n else np.inf
