"""A spare on the shelf: the chance that it works when it is wanted, and what it saves."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from repairecon.formulas.lives import mean, survival

Floats = NDArray[np.float64]


def p_spare_works(years: ArrayLike, life_years: ArrayLike, shape: ArrayLike = 1.0) -> Floats:
    """Chance that a spare works, so many years after it was last turned or tried.

    Parameters
    ----------
    years : float or array
        Time since then [year].
    life_years : float or array
        Characteristic life on the shelf [year]; its mean for a shape of 1.
    shape : float or array
        Shape [-]: 1 by chance alone, above 1 for what sets or dries out slowly.

    Returns
    -------
    float or array
        Chance [-].

    Notes
    -----
    ``exp(-(years / life_years)**shape)``: turning it is taken to make it as good as just stowed. A spare
    that may have been dead when stowed goes through :func:`mixed_lives.early_failure_survival`.
    ValueError unless life and shape are above 0.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, sections 8.1.6.1 (exponential), 8.1.6.2 (Weibull;
    sections from memory).

    Examples
    --------
    >>> round(float(p_spare_works(2.0, 20.0)), 3)
    0.905
    """
    return survival(years, life_years, shape)


def mean_p_spare_works(turned_every_years: ArrayLike, life_years: ArrayLike, shape: ArrayLike = 1.0) -> Floats:
    """Chance that a spare works when wanted at no particular time between two turnings.

    Parameters
    ----------
    turned_every_years : float or array
        Time between turnings [year]; inf = never turned.
    life_years : float or array
        Characteristic life on the shelf [year].
    shape : float or array
        Shape [-].

    Returns
    -------
    float or array
        Chance [-]; 1 if it is turned all the time, 0 in the long run if never.

    Notes
    -----
    Mean of :func:`p_spare_works` over the time between turnings. ValueError as there, and for a time
    below 0.

    References
    ----------
    IEC 61508-6, annex B (mean chance of failure on demand between proof tests; from memory).

    Examples
    --------
    >>> round(float(mean_p_spare_works(2.0, 20.0)), 3)
    0.952
    """
    from scipy import special

    every = np.asarray(turned_every_years, dtype=float)
    if not np.all(every >= 0.0):
        raise ValueError("give a time between turnings of 0 years or more")
    life, k = np.asarray(life_years, dtype=float), np.asarray(shape, dtype=float)
    worn = (every / life) ** k
    often = worn < 1e-9
    # a life without end times no wear would be no number
    lasting = mean(np.where(often, 1.0, life), k) * special.gammainc(1.0 / k, worn)
    return np.asarray(np.where(often, 1.0 - worn / (1.0 + k), lasting / np.where(often, 1.0, every)))[()]


def saved_by_spare(failures: ArrayLike, p_works: ArrayLike, cost_without: ArrayLike, cost_swap: ArrayLike) -> Floats:
    """What a spare saves over the failures to come, its own price and room apart.

    Parameters
    ----------
    failures : float or array
        Failures to come, discounted or not [-].
    p_works : float or array
        Chance that the spare works when wanted [-].
    cost_without, cost_swap : float or array
        Cost of a failure without spare, and of swapping and making the spare good later [home money].

    Returns
    -------
    float or array
        Saving [home money], never below 0.

    Notes
    -----
    ``failures p_works (cost_without - cost_swap)``; where the swap would be dearer the spare stays where
    it is. One failure at a time: the spare is taken to be made good before the next.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> float(saved_by_spare(2.0, 0.9, 1000.0, 500.0))
    900.0
    """
    gain = np.maximum(np.asarray(cost_without, dtype=float) - np.asarray(cost_swap, dtype=float), 0.0)
    return np.asarray(np.asarray(failures, dtype=float) * np.asarray(p_works, dtype=float) * gain)[()]
