"""Rules of thumb in use, each as the most that a repair may cost. Shown beside the computed answer, never in it."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def half_of_new(price_new: ArrayLike, share: float = 0.5) -> Floats:
    """Repair limit as a share of the price of new.

    Parameters
    ----------
    price_new : float or array
        Price of a new unit [home money].
    share : float
        Share of it that a repair may cost [-].

    Returns
    -------
    float or array
        Most that a repair may cost [home money].

    Notes
    -----
    ``share price_new``. A rule of thumb without derivation: blind to age, life after the repair, waiting and own
    hours. ValueError for a share outside 0..1 or a price below 0.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> float(half_of_new(270.0))
    135.0
    """
    return _share_of(price_new, share)


def flat_share_of_list(price_list: ArrayLike, share: float = 0.85) -> Floats:
    """Repair limit as a flat share of the list price.

    Parameters
    ----------
    price_list : float or array
        List price of the unit [home money].
    share : float
        Share of it that one repair may cost [-].

    Returns
    -------
    float or array
        Most that one repair may cost, labour and parts [home money].

    Notes
    -----
    ``share price_list``, for any one repair, overhaul or rebuild, whatever the age; a job may not be split to slip
    under it. ValueError for a share outside 0..1 or a price below 0.

    References
    ----------
    US Army, TB 43-0154 (military standard engines and outboard motors), section I, General: one maintenance action is
    limited to 85 per cent of the standard inventory price.

    Examples
    --------
    >>> float(flat_share_of_list(1000.0))
    850.0
    """
    return _share_of(price_list, share)


def straight_line(price_new: ArrayLike, age_years: ArrayLike, life_years: ArrayLike) -> Floats:
    """Repair limit that falls evenly from the price of new to nothing over the expected life.

    Parameters
    ----------
    price_new, age_years : float or array
        Price of a like unit today [home money]; age of the unit [years].
    life_years : float or array
        Life to be expected of it when new [years].

    Returns
    -------
    float or array
        Most that a repair may cost [home money]; 0 from the expected life on.

    Notes
    -----
    ``price_new (1 - age_years / life_years)``, held at 0. ValueError for an age or a price below 0 and for a life
    that is not above 0.

    References
    ----------
    US Coast Guard, CI 11103.1B, enclosure (3): the diagonal between replacement cost and life expectancy, read at the
    actual age, is the maximum allowable repair cost.

    Examples
    --------
    >>> float(straight_line(1200.0, 9, 12))
    300.0
    """
    price, age = _price(price_new), np.asarray(age_years, dtype=float)
    life = np.asarray(life_years, dtype=float)
    if not np.all(age >= 0.0):
        raise ValueError("give an age of 0 years or more")
    if not np.all(life > 0.0):
        raise ValueError("give an expected life above 0 years")
    return np.asarray(price * np.maximum(1.0 - age / life, 0.0))[()]


def _share_of(price: ArrayLike, share: float) -> Floats:
    if not 0.0 <= share <= 1.0:
        raise ValueError(f"a share must lie in 0..1, not {share}: give 0.50 for 50 %")
    return np.asarray(_price(price) * share)[()]


def _price(price: ArrayLike) -> Floats:
    values = np.asarray(price, dtype=float)
    if not np.all(values >= 0.0):
        raise ValueError("give a price of 0 or more")
    return values
