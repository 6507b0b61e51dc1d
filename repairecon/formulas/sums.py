"""Sums of many figures: running mean and spread that keep their digits."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray


def moments(x: ArrayLike) -> tuple[int, NDArray[np.float64], NDArray[np.float64]]:
    """Count, mean and sum of squared deviations, over the first axis.

    Parameters
    ----------
    x : array
        Figures, one a row [any unit]; further axes are kept apart.

    Returns
    -------
    n : int
        Number of rows [-].
    mean : float or array
        Mean [unit of x]; 0 when there are no rows.
    m2 : float or array
        Sum of squared deviations from the mean [unit of x, squared]; the standard deviation is
        ``sqrt(m2 / (n - 1))``.

    Notes
    -----
    Two passes, the second correcting what rounding left of the first: figures that differ only in
    their last digits keep their spread.

    References
    ----------
    T. F. Chan, G. H. Golub, R. J. LeVeque, "Algorithms for computing the sample variance: analysis and
    recommendations", The American Statistician 37 (1983) 242-247.

    Examples
    --------
    >>> n, mean, m2 = moments([10000000.1, 10000000.3])
    >>> n, round(float(mean), 4), round(float(m2), 6)
    (2, 10000000.2, 0.02)
    """
    rows = np.asarray(x, dtype=float)
    n = rows.shape[0]
    if n == 0:
        nothing = np.zeros(rows.shape[1:])
        return 0, nothing[()], nothing[()]
    first = rows.mean(axis=0)
    off = rows - first
    shift = off.mean(axis=0)
    m2 = (off * off).sum(axis=0) - n * shift * shift
    return n, np.asarray(first + shift)[()], np.asarray(m2)[()]


def merge_moments(
    n: int, mean: ArrayLike, m2: ArrayLike, n2: int, mean2: ArrayLike, m22: ArrayLike
) -> tuple[int, NDArray[np.float64], NDArray[np.float64]]:
    """Moments of two batches taken together, without the figures themselves.

    Parameters
    ----------
    n, n2 : int
        Number of figures in each batch [-]; an empty batch changes nothing.
    mean, mean2 : float or array
        Their means [any unit].
    m2, m22 : float or array
        Their sums of squared deviations [unit of the mean, squared].

    Returns
    -------
    n, mean, m2 : int, float or array, float or array
        The same three of both [same units].

    Notes
    -----
    ``mean + d n2 / (n + n2)`` and ``m2 + m22 + d**2 n n2 / (n + n2)``, with ``d = mean2 - mean``. For
    blocks of draws, so that memory stays flat.

    References
    ----------
    Chan, Golub, LeVeque, The American Statistician 37 (1983) 242-247, the updating formulae.

    Examples
    --------
    >>> n, mean, m2 = merge_moments(1, 1.0, 0.0, 1, 3.0, 0.0)
    >>> n, float(mean), float(m2)
    (2, 2.0, 2.0)
    """
    both = n + n2
    mean, step = np.asarray(mean, dtype=float), np.asarray(mean2, dtype=float) - np.asarray(mean, dtype=float)
    share = n2 / both if both else 0.0
    m2_both = np.asarray(m2, dtype=float) + np.asarray(m22, dtype=float) + step * step * (n * share)
    return both, np.asarray(mean + step * share)[()], np.asarray(m2_both)[()]


def replicate_se(totals: ArrayLike, counts: ArrayLike) -> Any:
    """Standard error of a mean over independent replicates, from their spread.

    Parameters
    ----------
    totals : array (..., replicates)
        Sum of the figures of each replicate [any unit].
    counts : array (replicates,)
        Number of figures of each replicate [-]; one without figures is left out.

    Returns
    -------
    array (...)
        Standard error of sum(totals) / sum(counts) [unit of the totals]; nan for less than two replicates.

    Notes
    -----
    With r replicates, the root of ``r / (r - 1) sum((total - count mean)**2) / sum(count)**2``: whatever hangs
    together within a replicate is counted. With few replicates it is itself uncertain, by about 1 / sqrt(2 (r - 1)).

    References
    ----------
    W. G. Cochran, Sampling Techniques, 3rd ed., ch. 6 (ratio estimates), from memory; A. B. Owen, Monte Carlo theory,
    methods and examples, ch. 17 (replicated quasi-Monte Carlo), from memory.

    Examples
    --------
    >>> float(replicate_se([1.0, 3.0], [1, 1]))
    1.0
    """
    x, n = np.asarray(totals, dtype=float), np.asarray(counts, dtype=float)
    used, whole = int((n > 0).sum()), n.sum()
    if used < 2:
        return np.full(x.shape[:-1], np.nan)[()]
    away = x - n * (x.sum(axis=-1, keepdims=True) / whole)
    return np.sqrt(used / (used - 1) * (away * away).sum(axis=-1))[()] / whole
