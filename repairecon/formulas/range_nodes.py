"""A few weighted values that stand for a whole range, for means over it."""

from __future__ import annotations

import numpy as np

from repairecon.formulas.shapes import Curve, Floats

CELLS = 1024
Z_END = 8.0


def range_nodes(
    low: float, likely: float, high: float, shape: str, count: int, step: float | None = None
) -> tuple[Floats, Floats]:
    """Values of a range and their weights, for means over the range.

    Parameters
    ----------
    low, likely, high : float
        The three numbers [unit of the number].
    shape : str
        pert, triangular, lognormal or uniform [-].
    count : int
        Number of values, 1 to 20 [-].
    step : float or None
        Take whole multiples of it only; None = wherever they fall best [unit of the number].

    Returns
    -------
    nodes, weights : array (up to count,)
        Values [unit of the number] and weights above 0 [-], which add up to 1.

    Notes
    -----
    Gauss quadrature of the range: the mean is kept exactly, means of powers up to ``2 count - 1`` to about
    1e-5 (the range is first cut into 1,024 cells). With a step: the multiples nearest to those values,
    with weights that keep the powers below the number of values; as many values as leave all
    weights above 0, at most count. A number that multiplies others is so turned into a mixture over its
    values.
    ValueError for a count outside 1..20.

    References
    ----------
    G. H. Golub, J. H. Welsch, "Calculation of Gauss quadrature rules", Mathematics of Computation 23
    (1969) 221-230.

    Examples
    --------
    >>> nodes, weights = range_nodes(-1, 0, 1, "uniform", 2)
    >>> nodes.round(3).tolist(), weights.round(3).tolist()
    ([-0.577, 0.577], [0.5, 0.5])
    """
    if not 1 <= count <= 20:
        raise ValueError(f"give 1 to 20 values, not {count}")
    curve = Curve.of(low, likely, high, shape)
    if curve.scale == 0.0:
        return np.array([curve.start]), np.array([1.0])
    u, mass = _cells(curve)
    points = curve.start + curve.scale * u
    if step is None:
        return _gauss(points, mass, count)
    for n in range(count, 1, -1):
        nodes = np.unique(np.floor(_gauss(points, mass, n)[0] / step + 0.5)) * step
        weights = _interpolatory(nodes, points, mass)
        if len(nodes) > 1 and np.all(weights > 0.0):
            return nodes, weights
    mean = float(mass @ points)
    lower = np.floor(mean / step) * step
    share = (mean - lower) / step
    return np.array([lower, lower + step]), np.array([1.0 - share, share])


def _cells(curve: Curve) -> tuple[Floats, Floats]:
    """Conditional means and chances of cells of the unit curve, whose mean they keep."""
    from scipy import special

    ends = curve.unit.breaks()
    if ends[0] == 0.0 and ends[-1] == 1.0:
        edges = np.union1d((1.0 - np.cos(np.pi * np.arange(CELLS + 1) / CELLS)) / 2.0, ends)
    else:
        edges = curve.unit.quantile(special.ndtr(np.linspace(-Z_END, Z_END, CELLS + 1)))
    chance, area = curve.unit.cdf(edges), curve.unit.area(edges)
    mass, part = np.diff(chance), np.diff(edges * chance - area)
    some = mass > 1e-15
    points, mass = part[some] / mass[some], mass[some] / mass[some].sum()
    return points + (curve.unit.mean - float(mass @ points)), mass


def _gauss(points: Floats, mass: Floats, count: int) -> tuple[Floats, Floats]:
    """Gauss rule of a discrete measure, by the Lanczos process and the eigenvalues of its matrix."""
    mean = float(mass @ points)
    spread = float(np.sqrt(mass @ (points - mean) ** 2))
    t = (points - mean) / spread
    basis = [np.sqrt(mass)]
    matrix = np.zeros((count, count))
    for k in range(count):
        v = t * basis[k]
        matrix[k, k] = float(basis[k] @ v)
        for b in (*basis, *basis):  # twice: rounding
            v = v - (b @ v) * b
        if k + 1 < count:
            size = float(np.sqrt(v @ v))
            matrix[k, k + 1] = matrix[k + 1, k] = size
            basis.append(v / size)
    values, vectors = np.linalg.eigh(matrix)
    return mean + spread * values, vectors[0] ** 2


def _interpolatory(nodes: Floats, points: Floats, mass: Floats) -> Floats:
    """Weights at given nodes that keep the means of all powers below their number."""
    middle, half = nodes.mean(), max(float(np.ptp(nodes)) / 2.0, 1e-300)
    powers = len(nodes) - 1
    moments = mass @ np.polynomial.legendre.legvander((points - middle) / half, powers)
    table = np.polynomial.legendre.legvander((nodes - middle) / half, powers)
    return np.asarray(np.linalg.solve(table.T, moments), dtype=np.float64)
