"""How many failures a period brings when units wear: chances of 0, 1, 2, ... by the renewal process."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def life_demand(first_cdf: ArrayLike, later_cdf: ArrayLike, most: int = 12) -> Floats:
    """Chances of 0, 1, 2, ... failures in one place, each failed unit followed by another.

    Parameters
    ----------
    first_cdf, later_cdf : array (2 steps + 1,) or (2 steps + 1, lives)
        Chance that the unit now in place, and one that follows, fails within each of the half steps of the
        period (:func:`half_steps` in `renewal`, the cdf in `lives`) [-].
    most : int
        Last number to give a chance for, at least 1 [-].

    Returns
    -------
    array (most + 1,) or (lives, most + 1)
        Chances [-]; what is missing from 1 is the chance of more.

    Notes
    -----
    The chance of n failures or more is that the first life and n - 1 further ones end within the period: their
    convolution, by the trapezoidal rule on the half steps. With 200 steps and a mean life of a fifth of the
    period or more the error is below 0.0005 for shapes of 1 or more. A cdf above 0 at time 0 is a spare
    dead on arrival, which asks for another at once. ValueError unless the lengths are the same, the chances in
    0..1 and not falling, and if every later unit is dead on arrival.

    References
    ----------
    D. R. Cox, Renewal Theory (1962), section 3.2 (distribution of the number of renewals; from memory).

    Examples
    --------
    >>> half = np.linspace(0.0, 1.0, 401)
    >>> chance_alone = -np.expm1(-half)
    >>> life_demand(chance_alone, chance_alone, 2).round(4).tolist()
    [0.3679, 0.3679, 0.1839]
    """
    first, later = np.asarray(first_cdf, dtype=float), np.asarray(later_cdf, dtype=float)
    one = first.ndim == 1 and later.ndim == 1
    first, later = first.reshape(len(first), -1), later.reshape(len(later), -1)
    _check(first, later, most)
    first, later = np.broadcast_arrays(first, later)
    halves = np.concatenate([np.diff(later, axis=0) / 2.0, np.zeros((1, later.shape[1]))])
    spectrum = np.fft.rfft(_masses(later, halves), 2 * len(later), axis=0)
    reached = np.empty((most + 2, first.shape[1]))
    reached[0], by_now = 1.0, first
    for n in range(1, most + 2):
        reached[n] = by_now[-1]
        ended = np.fft.irfft(np.fft.rfft(by_now, 2 * len(by_now), axis=0) * spectrum, axis=0)[: len(later)]
        by_now = ended - halves * by_now[0]  # half a cell lies beyond the end
    reached = np.clip(reached, 0.0, None)
    chances = np.clip(reached[:-1] - reached[1:], 0.0, 1.0).T
    return np.asarray(chances[0] if one else chances)


def _masses(cdf: Floats, halves: Floats) -> Floats:
    """Weight of each time: half the chance of the cells at either side of it."""
    weights = halves.copy()
    weights[1:] += halves[:-1]
    weights[0] += cdf[0]
    return weights


def _check(first: Floats, later: Floats, most: int) -> None:
    if most < 1:
        raise ValueError("the last number must be 1 or more")
    if len(first) != len(later) or len(first) < 3:
        raise ValueError("give both lives at the same half steps")
    for chances in (first, later):
        if not np.all((chances >= 0.0) & (chances <= 1.0)) or np.any(np.diff(chances, axis=0) < 0.0):
            raise ValueError("the chance of having failed lies in 0..1 and does not fall")
    if np.any(later[0] >= 1.0):
        raise ValueError("units that are all dead on arrival can never be replaced")
