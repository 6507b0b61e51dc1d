"""Exact distributions of sums of independent uncertain numbers, and of mixtures of such sums.

The chances of a sum are the convolution of the chances of its terms; their spectra (discrete Fourier
transforms) are multiplied instead. All terms live on one grid of whole multiples of a step; where
a term lies on it is its place modulo the size of the grid.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from repairecon.formulas.grid_answers import chance_up_to, expected_above, quantile_of
from repairecon.formulas.grids import curve_masses, grid_masses, point_masses
from repairecon.formulas.mixtures import LeafPlan, mix_leaves, plan_leaves
from repairecon.formulas.range_nodes import range_nodes
from repairecon.formulas.shapes import Curve, Floats
from repairecon.formulas.shared_factor import (
    conditional_curve,
    conditional_grid_masses,
    factor_nodes,
    largest_curve,
)
from repairecon.formulas.spectra import (
    Complexes,
    mix_spectra,
    multiple_spectra,
    spectra_of,
    spectrum_masses,
)

__all__ = [
    "LeafPlan",
    "chance_up_to",
    "conditional_curve",
    "conditional_grid_masses",
    "curve_masses",
    "expected_above",
    "factor_nodes",
    "grid_masses",
    "largest_curve",
    "mix_leaves",
    "mix_spectra",
    "multiple_spectra",
    "plan_leaves",
    "point_masses",
    "quantile_of",
    "range_nodes",
    "reach",
    "spectra_of",
    "spectrum_masses",
    "sum_distribution",
    "term_spectra",
]

Term = tuple[float, float, float, float, str] | tuple[float, float]

TAIL = 1e-8


def reach(term: Term) -> tuple[float, float]:
    """Lowest and highest value that a term takes on a grid.

    Parameters
    ----------
    term : (coefficient, low, likely, high, shape) or (chance, amount)
        A multiple of a range, or an amount that falls due with a chance [unit of the sum].

    Returns
    -------
    low, high : float
        Ends [unit of the sum]; of a lognormal's endless side the value that 1e-8 of cases exceed.

    Notes
    -----
    A coefficient below 0 turns the range round. ValueError for a chance outside 0..1.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> reach((-2.0, 1, 2, 4, "pert")), reach((0.25, 100.0))
    ((-8.0, -2.0), (0.0, 100.0))
    """
    if len(term) == 2:
        chance, amount = float(term[0]), float(term[1])
        if not 0.0 <= chance <= 1.0:
            raise ValueError(f"a chance must lie in 0..1 (0.20 for 20 %), not {chance}")
        taken = [amount] * (chance > 0.0) + [0.0] * (chance < 1.0)
        return min(taken), max(taken)
    curve = Curve.of(*term[1:])
    ends = curve.unit.breaks()[[0, -1]]
    if term[4] == "lognormal" and curve.scale > 0.0:
        tail = np.array([TAIL])
        ends = np.concatenate([curve.unit.quantile(tail), curve.unit.top_quantile(tail)])
    a, b = sorted(float(term[0] * (curve.start + curve.scale * u)) for u in ends)
    return a, b


def term_spectra(terms: Sequence[Term], step: float, size: int) -> Complexes:
    """Spectra of terms of sums, all on one circular grid.

    Parameters
    ----------
    terms : sequence of (coefficient, low, likely, high, shape) or (chance, amount)
        Multiples of ranges, and amounts that fall due with a chance [unit of the sum].
    step : float
        Distance of the grid points [unit of the sum].
    size : int
        Number of points [-]; best a power of 2.

    Returns
    -------
    complex array (terms, size // 2 + 1)
        One spectrum a term [-].

    Notes
    -----
    The grid is the whole multiples of the step, circular. Twice the same draw of a range is one term
    with coefficient 2, not the term used twice. Means are kept exactly. ValueError when a term alone does
    not fit.

    References
    ----------
    Panjer and Willmot, Insurance Risk Models (1992), ch. 6 (the fast Fourier transform), from memory.
    """
    spectra = np.empty((len(terms), size // 2 + 1), dtype=np.complex128)
    for row, term in zip(spectra, terms, strict=True):
        row[:] = spectra_of(*_masses(term, step), size)
    return spectra


def sum_distribution(
    terms: Sequence[Term], step: float | None = None, size: int = 4096
) -> tuple[float, float, Floats]:
    """Exact distribution of a sum of independent uncertain numbers.

    Parameters
    ----------
    terms : sequence of (coefficient, low, likely, high, shape) or (chance, amount)
        Multiples of ranges, and amounts that fall due with a chance [unit of the sum].
    step : float or None
        Distance of the grid points; None = the least that size allows [unit of the sum].
    size : int
        Number of grid points [-]; best a power of 2.

    Returns
    -------
    start, step : float
        First grid point and distance of the points [unit of the sum].
    masses : array (size,)
        Chance at each point [-].

    Notes
    -----
    Product of the spectra of the terms; sure numbers move the grid and cost nothing. Exact but for the
    grid: the mean is kept, the variance grows by about ``step**2 / 6`` a term. A lognormal with a long
    upper side needs a wide grid and so a coarse step: look at the step returned. ValueError when the sum
    does not fit on the grid.

    References
    ----------
    Panjer and Willmot, Insurance Risk Models (1992), ch. 6, from memory.

    Examples
    --------
    >>> two = [(1.0, 0, 0.5, 1, "uniform"), (1.0, 5, 5.5, 6, "uniform")]
    >>> start, step, masses = sum_distribution(two)
    >>> round(float(chance_up_to(start, step, masses, 5.5)), 6)
    0.125
    """
    ends = [reach(t) for t in terms]
    sure = math.fsum(a for a, b in ends if a == b)
    open_terms = [t for t, (a, b) in zip(terms, ends, strict=True) if a < b]
    low, high = (math.fsum(e[k] for e in ends if e[0] < e[1]) for k in (0, 1))
    if not open_terms:
        return sure, (step or 1e-9 * max(abs(sure), 1.0)), np.concatenate([[1.0], np.zeros(size - 1)])
    spare = 2 * len(open_terms) + 2
    if step is None:
        step = (high - low) / (size - spare) if size > spare else math.inf
    first = sum(math.floor(reach(t)[0] / step) for t in open_terms)
    if not step > 0.0 or (high - low) / step + spare > size:
        raise ValueError(f"{low} to {high} does not fit on {size} points: a larger step, or more points")
    spectrum = np.prod(term_spectra(open_terms, step, size), axis=0)
    return first * step + sure, step, spectrum_masses(spectrum, first, size)


def _masses(term: Term, step: float) -> tuple[Floats, int]:
    """Chances of a term on whole multiples of the step, and the place of the first."""
    low, high = reach(term)
    first = math.floor(low / step)
    size = max(math.ceil(high / step) - first + 1, 2)
    if len(term) == 2:
        masses = point_masses(float(term[1]), step, first * step, size) * float(term[0])
        masses[-first if first <= 0 <= first + size - 1 else 0] += 1.0 - float(term[0])
        return masses, first
    factor, shape = abs(term[0]), term[4]
    three = factor * term[1], factor * term[2], factor * term[3]
    if term[0] < 0.0:
        return grid_masses(*three, shape, step, (1 - first - size) * step, size)[::-1], first
    return grid_masses(*three, shape, step, first * step, size), first
