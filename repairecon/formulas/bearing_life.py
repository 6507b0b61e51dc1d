"""Rolling bearing life from the maker's rating, as a help where a bearing is the part that ends a unit."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

_EXPONENTS = {"ball": 3.0, "roller": 10.0 / 3.0}


def basic_rating_life(rating: ArrayLike, load: ArrayLike, kind: str = "ball") -> Floats:
    """Turns that 90 % of bearings reach.

    Parameters
    ----------
    rating : float or array
        Basic dynamic load rating C, from the bearing's table [kN].
    load : float or array
        Equivalent dynamic load P [kN].
    kind : str
        ball or roller [-].

    Returns
    -------
    float or array
        Basic rating life L10 [million turns].

    Notes
    -----
    ``(C / P)**3``, roller bearings 10/3. Clean, greased, aligned, P of at most C/2. Salt water, brinelling
    while standing and old grease end a boat's bearings sooner: it is an upper guide. ValueError
    for another kind or a figure not above 0.

    References
    ----------
    ISO 281, Rolling bearings: dynamic load ratings and rating life, basic rating life (from memory).

    Examples
    --------
    >>> float(basic_rating_life(16, 2))
    512.0
    """
    if kind not in _EXPONENTS:
        raise ValueError(f"a bearing is of kind ball or roller, not {kind}")
    c, p = np.asarray(rating, dtype=float), np.asarray(load, dtype=float)
    if not (np.all(c > 0.0) and np.all(p > 0.0)):
        raise ValueError("give a load rating and a load above 0")
    return np.asarray((c / p) ** _EXPONENTS[kind])[()]


def rating_life_hours(million_turns: ArrayLike, turns_a_minute: ArrayLike) -> Floats:
    """Hours that 90 % of bearings reach at a steady speed.

    Parameters
    ----------
    million_turns : float or array
        Basic rating life L10 [million turns].
    turns_a_minute : float or array
        Speed, above 0 [1/min].

    Returns
    -------
    float or array
        Basic rating life L10h [h].

    Notes
    -----
    ``10**6 L10 / (60 n)``. ValueError for a speed not above 0.

    References
    ----------
    ISO 281, Rolling bearings: dynamic load ratings and rating life, basic rating life (from memory).

    Examples
    --------
    >>> round(float(rating_life_hours(1000, 1500)))
    11111
    """
    speed = np.asarray(turns_a_minute, dtype=float)
    if not np.all(speed > 0.0):
        raise ValueError("give a speed above 0")
    return np.asarray(np.asarray(million_turns, dtype=float) * 1e6 / (60.0 * speed))[()]


def several_bearings(l10: ArrayLike, bearings: ArrayLike, shape: ArrayLike = 1.4) -> Floats:
    """Life that 90 % of units reach which have several like bearings.

    Parameters
    ----------
    l10 : float or array
        Life that 90 % of single bearings reach [time].
    bearings : float or array
        How many there are, each of them enough to end the unit [-].
    shape : float or array
        Shape of a bearing's life [-].

    Returns
    -------
    float or array
        Life that all bearings of 90 % of units reach [time].

    Notes
    -----
    ``l10 bearings**(-1 / shape)``: the first to fail ends the unit, their lives apart from one another. ValueError
    unless all are above 0.

    References
    ----------
    G. Lundberg, A. Palmgren, Dynamic Capacity of Rolling Bearings (1947), product law of survival (from memory).

    Examples
    --------
    >>> float(several_bearings(1000.0, 2, 1.0))
    500.0
    """
    size, n, k = (np.asarray(x, dtype=float) for x in (l10, bearings, shape))
    if not (np.all(size > 0.0) and np.all(n > 0.0) and np.all(k > 0.0)):
        raise ValueError("a life, its shape and the number of bearings must be above 0")
    return np.asarray(size * n ** (-1.0 / k))[()]


def life_from_l10(l10: ArrayLike, shape: ArrayLike = 1.4) -> Floats:
    """Characteristic life of a Weibull life from the life that 90 % reach.

    Parameters
    ----------
    l10 : float or array
        Life that 90 % reach [time].
    shape : float or array
        Shape [-]; 1.3 to 1.5 is common for rolling bearings.

    Returns
    -------
    float or array
        Characteristic life [time]; about 5 times L10 for those shapes.

    Notes
    -----
    ``l10 / (-ln 0.9)**(1 / shape)``. ValueError unless both are above 0.

    References
    ----------
    R. B. Abernethy, The New Weibull Handbook, 5th ed., section 2.8 (L10 or B10 life); the usual shapes
    are common practice.

    Examples
    --------
    >>> round(float(life_from_l10(1.0, 1.4)), 2)
    4.99
    """
    size, k = np.asarray(l10, dtype=float), np.asarray(shape, dtype=float)
    if not (np.all(size > 0.0) and np.all(k > 0.0)):
        raise ValueError("a life and its shape must be above 0")
    return np.asarray(size * (-math.log(0.9)) ** (-1.0 / k))[()]
