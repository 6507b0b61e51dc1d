"""How well ranges and chances that were stated before agree with what came."""

from __future__ import annotations

from math import log
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from repairecon.formulas.coverage import share_interval

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class Group(NamedTuple):
    """Stated chances that lie together: mean stated [-], share that happened [-], its low and high end [-], count."""

    stated: float
    happened: float
    low: float
    high: float
    many: int


class BrierParts(NamedTuple):
    """The Brier score taken apart: ``reliability - resolution + uncertainty + within`` [-]."""

    reliability: float
    resolution: float
    uncertainty: float
    within: float


def pinball(seen: ArrayLike, quantile: ArrayLike, p: float) -> Floats:
    """Loss of a stated quantile once the value is known.

    Parameters
    ----------
    seen : array
        What came [any unit].
    quantile : array
        What was stated to hold it with chance p [same unit].
    p : float
        That chance, between 0 and 1 [-].

    Returns
    -------
    array
        Loss, 0 for a quantile met exactly [same unit].

    Notes
    -----
    ``p * (x - q)`` above the quantile, ``(1 - p) * (q - x)`` below: least on average when the true quantile is
    stated. ValueError for p outside 0 to 1.

    References
    ----------
    T. Gneiting, A. E. Raftery, "Strictly proper scoring rules, prediction, and estimation", JASA 102 (2007) 359-378,
    section 6.1 (section from memory).

    Examples
    --------
    >>> pinball([12.0, 8.0], 10.0, 0.9).tolist()
    [1.8, 0.19999999999999996]
    """
    if not 0.0 < p < 1.0:
        raise ValueError("a quantile's chance lies between 0 and 1")
    miss = np.asarray(seen, dtype=float) - np.asarray(quantile, dtype=float)
    return np.asarray(np.where(miss >= 0.0, p * miss, (p - 1.0) * miss))


def interval_score(low: ArrayLike, high: ArrayLike, seen: ArrayLike, confidence: float = 0.8) -> Floats:
    """Width of a range plus a fine for missing.

    Parameters
    ----------
    low : array
        Lower end [any unit].
    high : array
        Upper end [same unit].
    seen : array
        What came [same unit].
    confidence : float
        Chance stated to lie inside [-].

    Returns
    -------
    array
        Score, the less the better [same unit].

    Notes
    -----
    ``high - low + 2 / (1 - confidence) * (distance outside)``: twice the two pinball losses over the chance
    left out.

    References
    ----------
    T. Gneiting, A. E. Raftery, JASA 102 (2007) 359-378, equation 43 (number from memory).

    Examples
    --------
    >>> interval_score(10.0, 20.0, [15.0, 22.0, 9.0], 0.75).tolist()
    [10.0, 26.0, 18.0]
    """
    a, b, x = (np.asarray(v, dtype=float) for v in (low, high, seen))
    outside = np.maximum(a - x, 0.0) + np.maximum(x - b, 0.0)
    return np.asarray((b - a) + 2.0 / (1.0 - confidence) * outside)


def brier(stated: ArrayLike, happened: ArrayLike) -> float:
    """Mean squared distance of stated chances from what came.

    Parameters
    ----------
    stated : array
        Chances [-].
    happened : array of bool
        Whether each came [-].

    Returns
    -------
    float
        Score from 0 (always right and sure) to 1 [-]; always stating 0.5 gives 0.25.

    Notes
    -----
    ``mean((p - y)**2)``, the one-sided form. ValueError without any.

    References
    ----------
    T. Gneiting, A. E. Raftery, JASA 102 (2007) 359-378, section 3.1 (quadratic score; section from memory).

    Examples
    --------
    >>> brier([0.75, 0.25], [True, False])
    0.0625
    """
    p, y = np.asarray(stated, dtype=float), np.asarray(happened, dtype=float)
    if not len(p):
        raise ValueError("no stated chance to score")
    return float(np.mean((p - y) ** 2))


def brier_parts(stated: ArrayLike, happened: ArrayLike, edges: ArrayLike) -> BrierParts:
    """The Brier score as honesty of the chances, what they told apart, and what could not be known.

    Parameters
    ----------
    stated : array
        Chances [-].
    happened : array of bool
        Whether each came [-].
    edges : array (groups + 1,)
        Ends of the groups, from 0 to 1, rising [-].

    Returns
    -------
    BrierParts
        Reliability [-], resolution [-], uncertainty [-] and the spread within groups [-].

    Notes
    -----
    Over groups k with mean stated p, share happened o, count n of N: reliability ``sum n (p - o)**2 / N``,
    resolution ``sum n (o - O)**2 / N``, uncertainty ``O (1 - O)``; ``within`` makes the sum exact where chances differ
    inside a group.

    References
    ----------
    A. H. Murphy, "A new vector partition of the probability score", J. Applied Meteorology 12 (1973) 595-600 (from
    memory).
    """
    p, y = np.asarray(stated, dtype=float), np.asarray(happened, dtype=float)
    place, total = _groups(p, edges), len(p)
    overall = float(y.mean())
    reliability = resolution = 0.0
    for k in np.unique(place):
        here = place == k
        reliability += here.sum() * (p[here].mean() - y[here].mean()) ** 2 / total
        resolution += here.sum() * (y[here].mean() - overall) ** 2 / total
    uncertainty = overall * (1.0 - overall)
    rest = brier(p, y) - reliability + resolution - uncertainty
    return BrierParts(float(reliability), float(resolution), uncertainty, float(rest))


def _groups(stated: Floats, edges: ArrayLike) -> Ints:
    ends = np.asarray(edges, dtype=float)
    return np.clip(np.searchsorted(ends, stated, side="right") - 1, 0, len(ends) - 2).astype(np.int64)


def calibration_groups(
    stated: ArrayLike, happened: ArrayLike, edges: ArrayLike, confidence: float = 0.8
) -> list[Group]:
    """Stated chances grouped, each group beside how often it came.

    Parameters
    ----------
    stated : array
        Chances [-].
    happened : array of bool
        Whether each came [-].
    edges : array (groups + 1,)
        Ends of the groups, from 0 to 1, rising [-].
    confidence : float
        Confidence of the range of each share [-].

    Returns
    -------
    list of Group
        A group with at least one chance each [-].

    Notes
    -----
    Ranges of the shares by :func:`repairecon.formulas.coverage.share_interval`.

    References
    ----------
    A. H. Murphy, R. L. Winkler, "Reliability of subjective probability forecasts of precipitation and temperature",
    Applied Statistics 26 (1977) 41-47 (from memory).
    """
    p, y = np.asarray(stated, dtype=float), np.asarray(happened, dtype=float)
    place, groups = _groups(p, edges), []
    for k in np.unique(place):
        here = place == k
        low, high = share_interval(int(y[here].sum()), int(here.sum()), confidence)
        groups.append(Group(float(p[here].mean()), float(y[here].mean()), low, high, int(here.sum())))
    return groups


def log_score(stated: ArrayLike, happened: ArrayLike) -> float:
    """Mean surprise at what came, given the stated chances.

    Parameters
    ----------
    stated : array
        Chances [-].
    happened : array of bool
        Whether each came [-].

    Returns
    -------
    float
        Mean of ``-ln`` of the chance given to what came [-]; inf if something held impossible came.

    Notes
    -----
    Always stating 0.5 gives ln 2. ValueError without any.

    References
    ----------
    T. Gneiting, A. E. Raftery, JASA 102 (2007) 359-378, section 3.1 (section from memory).

    Examples
    --------
    >>> round(log_score([0.5, 0.5], [True, False]), 6)
    0.693147
    """
    p, y = np.asarray(stated, dtype=float), np.asarray(happened, dtype=bool)
    if not len(p):
        raise ValueError("no stated chance to score")
    given = np.where(y, p, 1.0 - p)
    return float("inf") if np.any(given <= 0.0) else -float(sum(log(g) for g in given)) / len(p)
