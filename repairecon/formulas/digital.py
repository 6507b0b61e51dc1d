"""Points spread evenly over a cube, and how sure a mean over independent sets of them is.

The digits of the number of a point, times a matrix of zeros and ones, are the digits of its coordinate. A matrix is
kept by its columns, each one whole number.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Ints = NDArray[np.int64]
_PRIMITIVE = (
    (1, 0, (1,)), (2, 1, (1, 3)), (3, 1, (1, 3, 1)), (3, 2, (1, 1, 1)), (4, 1, (1, 1, 3, 3)), (4, 4, (1, 3, 5, 13)),
    (5, 2, (1, 1, 5, 5, 17)), (5, 4, (1, 1, 5, 5, 5)), (5, 7, (1, 1, 7, 11, 19)), (5, 11, (1, 1, 5, 1, 1)),
    (5, 13, (1, 1, 1, 3, 11)), (5, 14, (1, 3, 5, 5, 31)), (6, 1, (1, 3, 3, 9, 7, 49)), (6, 13, (1, 1, 1, 15, 21, 21)),
    (6, 16, (1, 3, 1, 13, 27, 49)),
)  # fmt: skip
"""Degree and coefficients of a primitive polynomial, and the first odd numbers, of dimensions 2 to 16."""
MOST_DIMENSIONS = len(_PRIMITIVE) + 1


def sobol_columns(dimensions: int, bits: int) -> Ints:
    """Columns of the generator matrices of a Sobol sequence.

    Parameters
    ----------
    dimensions, bits : int
        Number of coordinates, 1 to 16 [-]; number of columns and of digits [-].

    Returns
    -------
    int array (dimensions, bits)
        Columns; digit k (the first is 0) of a coordinate is bit k [-].

    Notes
    -----
    Upper triangular with ones on the diagonal; the first is that of van der Corput. The first 2**m points fall one each
    into 2**m equal parts of every coordinate. ValueError for more than 16 dimensions.

    References
    ----------
    S. Joe, F. Y. Kuo, "Constructing Sobol sequences with better two-dimensional projections", SIAM J. Sci. Comput. 30
    (2008) 2635-2654, their first 16 rows, from memory.

    Examples
    --------
    >>> sobol_columns(2, 3).tolist()
    [[1, 2, 4], [1, 3, 5]]
    """
    if not 1 <= dimensions <= MOST_DIMENSIONS:
        raise ValueError(f"from 1 to {MOST_DIMENSIONS} dimensions, not {dimensions}")
    columns = np.zeros((dimensions, bits), dtype=np.int64)
    columns[0] = 1 << np.arange(bits)
    for row, (degree, polynomial, first) in zip(columns[1:], _PRIMITIVE, strict=False):
        m = list(first[:bits])
        for k in range(degree, bits):
            new = m[k - degree] ^ (m[k - degree] << degree)
            for i in range(1, degree):
                if polynomial >> (degree - 1 - i) & 1:
                    new ^= m[k - i] << i
            m.append(new)
        row[:] = [sum((m[k] >> (k - digit) & 1) << digit for digit in range(k + 1)) for k in range(bits)]
    return columns


def random_columns(random: ArrayLike) -> Ints:
    """Columns of upper triangular matrices with ones on the diagonal, the rest from random digits.

    Parameters
    ----------
    random : int array (..., bits)
        Random whole numbers of at least as many bits as there are columns [-].

    Returns
    -------
    int array (..., bits)
        Columns; digit k of a coordinate is bit k [-].

    Notes
    -----
    The first 2**m points fall one each into 2**m equal parts of the coordinate; how well two coordinates go together
    is left to chance.

    References
    ----------
    H. Niederreiter, Random Number Generation and Quasi-Monte Carlo Methods (1992), ch. 4, from memory.

    Examples
    --------
    >>> random_columns([7, 7, 2]).tolist()
    [1, 3, 6]
    """
    given = np.asarray(random, dtype=np.int64)
    one = np.int64(1) << np.arange(given.shape[-1])
    return np.asarray((given & (one - 1)) | one)


def scrambled(columns: ArrayLike, random: ArrayLike, digits: int) -> Ints:
    """Columns with their digits mixed by a random lower triangular matrix.

    Parameters
    ----------
    columns, random : int array (..., bits)
        Columns, digit k of a coordinate being bit k [-]; random whole numbers of at least as many bits as digits [-].
    digits : int
        Number of digits of the mixed coordinates [-].

    Returns
    -------
    int array (..., bits)
        Columns; a coordinate is their sum without carrying, divided by 2**digits [-].

    Notes
    -----
    Each digit is added without carrying to random ones of the digits below it. With a random shift of all digits on
    top, the mean of a function over the points is unbiased.

    References
    ----------
    J. Matousek, "On the L2-discrepancy for anchored boxes", J. Complexity 14 (1998) 527-556, from memory.

    Examples
    --------
    >>> scrambled([1, 2], [0, 0], 4).tolist()
    [8, 4]
    """
    given, mixing = np.asarray(columns, dtype=np.int64), np.asarray(random, dtype=np.int64)
    mixed = np.zeros(np.broadcast_shapes(given.shape, mixing.shape), dtype=np.int64)
    for k in range(mixing.shape[-1]):
        top = 1 << (digits - 1 - k)
        mixed ^= np.where(given >> k & 1, (mixing[..., k, None] & (top - 1)) | top, 0)
    return mixed


def xor_table(columns: ArrayLike) -> Ints:
    """Coordinates of the points 0, 1, 2, ... that some columns make.

    Parameters
    ----------
    columns : int array (..., bits)
        Columns, the one of the lowest bit first [-].

    Returns
    -------
    int array (..., 2**bits)
        Sums without carrying of the columns whose bits are set in the number of the point [-].

    Notes
    -----
    By doubling: the second half of each table is the first plus one more column.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> xor_table([1, 6]).tolist()
    [0, 1, 6, 7]
    """
    given = np.asarray(columns, dtype=np.int64)
    table = np.zeros((*given.shape[:-1], 1 << given.shape[-1]), dtype=np.int64)
    for k in range(given.shape[-1]):
        np.bitwise_xor(table[..., : 1 << k], given[..., k, None], out=table[..., 1 << k : 2 << k])
    return table


def replicate_se(totals: ArrayLike, counts: ArrayLike) -> Any:
    """Standard error of a mean over independent replicates, from their spread.

    Parameters
    ----------
    totals, counts : array (..., replicates), array (replicates,)
        Sum of the figures of each replicate [any unit]; number of figures of each [-], none where it is left out.

    Returns
    -------
    array (...)
        Standard error of sum(totals) / sum(counts) [unit of the totals]; nan for less than two replicates.

    Notes
    -----
    With r replicates, the root of ``r / (r - 1) sum((total - count mean)**2) / sum(count)**2``, itself uncertain by
    about 1 / sqrt(2 (r - 1)).

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
