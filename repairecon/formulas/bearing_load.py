"""The load that a rolling bearing's life is reckoned from, and the rating that a wanted life asks for."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def equivalent_load(radial: ArrayLike, axial: ArrayLike, x: ArrayLike, y: ArrayLike) -> Floats:
    """Equivalent dynamic load of a bearing under a radial and an axial load.

    Parameters
    ----------
    radial, axial : float or array
        Radial and axial load, not below 0 [N].
    x, y : float or array
        Radial and axial factor from the bearing's table [-].

    Returns
    -------
    float or array
        Equivalent dynamic load P [N].

    Notes
    -----
    ``x radial + y axial``, but not below the radial load, which is what counts where the axial load is small.
    ValueError for a load below 0.

    References
    ----------
    ISO 281, Rolling bearings: dynamic load ratings and rating life, equivalent load (from memory).

    Examples
    --------
    >>> float(equivalent_load(2500, 1000, 0.56, 1.67))
    3070.0
    """
    fr, fa = np.asarray(radial, dtype=float), np.asarray(axial, dtype=float)
    if not (np.all(fr >= 0.0) and np.all(fa >= 0.0)):
        raise ValueError("give loads that are not below 0")
    both = np.asarray(x, dtype=float) * fr + np.asarray(y, dtype=float) * fa
    return np.asarray(np.maximum(fr, both))[()]


def rating_for_hours(load: ArrayLike, hours: ArrayLike, turns_a_minute: ArrayLike, exponent: float = 3.0) -> Floats:
    """Smallest dynamic load rating with which 90 % of bearings reach some hours.

    Parameters
    ----------
    load : float or array
        Equivalent dynamic load P, above 0 [N].
    hours : float or array
        Wanted life L10h, above 0 [h].
    turns_a_minute : float or array
        Speed, above 0 [1/min].
    exponent : float
        3 for ball bearings, 10/3 for roller bearings [-].

    Returns
    -------
    float or array
        Basic dynamic load rating C [N].

    Notes
    -----
    ``load (60 n hours / 10**6)**(1 / exponent)``. Compare it with the C of one catalogue only: catalogues rate the
    same size differently. ValueError for a figure not above 0.

    References
    ----------
    ISO 281, Rolling bearings: dynamic load ratings and rating life, basic rating life (from memory).

    Examples
    --------
    >>> round(float(rating_for_hours(3000, 10000, 1900)))
    31339
    """
    p, h, n = (np.asarray(v, dtype=float) for v in (load, hours, turns_a_minute))
    if not (np.all(p > 0.0) and np.all(h > 0.0) and np.all(n > 0.0) and exponent > 0.0):
        raise ValueError("give a load, hours and a speed above 0")
    return np.asarray(p * (60.0 * n * h / 1e6) ** (1.0 / exponent))[()]
