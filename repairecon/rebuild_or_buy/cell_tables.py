"""Values by steps of chance: an uncertain number is drawn by looking up its conditional mean in a step.

Tables of conditional means keep the mean of each range exactly.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from repairecon.formulas import ranges
from repairecon.formulas.ranges import cell_means
from repairecon.records import Range

CELL_DIGITS = 12
CELLS = 1 << CELL_DIGITS
Z_CELLS = 4096
Z_MAX = 6.0
Z_STEPS = Z_CELLS / (2 * Z_MAX)
Floats = NDArray[np.float64]


def mean_table(r: Range) -> Floats:
    """Conditional mean of a range in each of CELLS equal steps of chance."""
    edges = np.linspace(0.0, 1.0, CELLS + 1)
    return cell_means(edges, r.low, r.likely, r.high, r.shape)


def by_steps(r: Range, uniform: Floats) -> Floats:
    """Values of a range for uniform numbers, by steps; far quicker than its quantiles, and the mean is kept."""
    return np.asarray(mean_table(r).take((uniform * CELLS).astype(np.intp)))


def normal_table(r: Range) -> Floats:
    """Conditional mean of a range in each of Z_CELLS steps of a standard normal score."""
    from scipy import special

    z = np.linspace(-Z_MAX, Z_MAX, Z_CELLS + 1)
    z[0], z[-1] = -np.inf, np.inf
    p = special.ndtr(z)
    weight = np.diff(p)
    table = cell_means(p, r.low, r.likely, r.high, r.shape)
    far = weight < 1e-7
    table[far] = ranges.quantile((p[1:] + p[:-1])[far] / 2, r.low, r.likely, r.high, r.shape)
    return table


def score_table() -> Floats:
    """Conditional mean of a standard normal score in each of CELLS equal steps of chance, its variance kept at one."""
    from scipy import special

    edges = special.ndtri(np.linspace(0.0, 1.0, CELLS + 1))
    density = np.exp(-0.5 * edges**2) / np.sqrt(2.0 * np.pi)
    means = -np.diff(density) * CELLS
    return np.asarray(means / means.std())
