"""Spectra of chances on a circular grid: from chances and back, mixtures, multiples.

The grid is the whole multiples of a step; where a number lies on it is its place modulo the size of the grid.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from repairecon.formulas.shapes import Floats

Complexes = NDArray[np.complex128]

NOISE = 1e-15


def spectra_of(masses: ArrayLike, first: int, size: int) -> Complexes:
    """Spectra of chances that begin at a given point of a circular grid.

    Parameters
    ----------
    masses : array (..., points)
        Chances on successive grid points [-]; no more points than size.
    first : int
        Place of the first, in whole steps from the value 0; may be negative [-].
    size : int
        Number of points of the circular grid [-].

    Returns
    -------
    complex array (..., size // 2 + 1)
        Spectra; the first figure of each is the sum of its chances [-].

    Notes
    -----
    Real discrete Fourier transform of the chances laid on the places modulo size. ValueError when
    there are more points than size.

    References
    ----------
    R. N. Bracewell, The Fourier Transform and Its Applications, 3rd ed., ch. 11 (the discrete
    transform), from memory.

    Examples
    --------
    >>> spectra_of([1.0], 2, 4).real.round(6).tolist()
    [1.0, -1.0, 1.0]
    """
    rows = np.asarray(masses, dtype=float)
    laid = np.zeros((*rows.shape[:-1], size))
    _lay(rows, first, laid)
    return np.asarray(np.fft.rfft(laid, axis=-1))


def spectrum_masses(spectrum: ArrayLike, first: int, size: int) -> Floats:
    """Chances on a grid from their spectrum.

    Parameters
    ----------
    spectrum : complex array (frequencies,)
        Spectrum of the chances; what is missing of size // 2 + 1 figures counts as 0 [-].
    first : int
        Place of the grid point wanted first, in whole steps from the value 0 [-].
    size : int
        Number of points of the circular grid [-].

    Returns
    -------
    array (size,)
        Chances at the places first, first + 1, ... [-].

    Notes
    -----
    Inverse transform; everything the sum can take must lie within size points from the first. Chances
    below 1e-15 are rounding and set to 0, so that the far tails are cut there.

    References
    ----------
    Panjer and Willmot, Insurance Risk Models (1992), ch. 6, from memory.

    Examples
    --------
    >>> spectrum_masses(spectra_of([0.25, 0.75], -1, 8), -2, 8).round(6).tolist()
    [0.0, 0.25, 0.75, 0.0, 0.0, 0.0, 0.0, 0.0]
    """
    masses = np.fft.irfft(np.asarray(spectrum), n=size)
    masses[masses < NOISE] = 0.0
    return np.roll(masses, -(first % size))


def mix_spectra(chance: ArrayLike, spectra: ArrayLike) -> Complexes:
    """Spectrum of a mixture.

    Parameters
    ----------
    chance : array (leaves,)
        Chance of each leaf [-].
    spectra : complex array (leaves, frequencies)
        Spectrum of each leaf [-].

    Returns
    -------
    complex array (frequencies,)
        Spectrum of the mixture [-].

    Notes
    -----
    Mean of the spectra by chance, so that one inverse transform does for all leaves.

    References
    ----------
    W. Feller, An Introduction to Probability Theory and Its Applications, vol. 2, 2nd ed., ch. XV
    (characteristic functions), from memory.

    Examples
    --------
    >>> mix_spectra([0.5, 0.5], [[1.0, 1.0], [1.0, -1.0]]).real.tolist()
    [1.0, 0.0]
    """
    return np.asarray(np.asarray(chance, dtype=float) @ np.asarray(spectra, dtype=np.complex128))


def multiple_spectra(spectra: ArrayLike, multiple: int, size: int, frequencies: int) -> Complexes:
    """Spectra of a whole multiple of numbers, from the spectra of the numbers.

    Parameters
    ----------
    spectra : complex array (..., size // 2 + 1)
        Spectra of the numbers on a circular grid [-].
    multiple : int
        What the numbers are multiplied by; may be below 0 [-].
    size : int
        Number of points of that grid [-].
    frequencies : int
        How many figures are wanted [-].

    Returns
    -------
    complex array (..., frequencies)
        Spectra on the same grid of multiple times the numbers [-].

    Notes
    -----
    Figure j of the multiple k is figure k j of the number, modulo size, and the figures of the upper half
    are the conjugates of the lower. For a number times another that takes whole multiples of a step
    only, by :func:`repairecon.formulas.range_nodes.range_nodes`: the one is put on the grid once, in
    units of that step. k j should stay below half the size, where the grid still resolves the number, and the
    multiple must fit on the grid.

    References
    ----------
    R. N. Bracewell, The Fourier Transform and Its Applications, 3rd ed., ch. 6 (similarity theorem), from
    memory.

    Examples
    --------
    >>> one = np.fft.rfft([0.5, 0.5, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0])
    >>> abs(np.fft.irfft(multiple_spectra(one, 3, 8, 5), 8)).round(6).tolist()
    [0.5, 0.0, 0.0, 0.5, 0.0, 0.0, 0.0, 0.0]
    """
    place = (multiple * np.arange(frequencies)) % size
    upper = place > size // 2
    rows = np.asarray(spectra, dtype=np.complex128)[..., np.where(upper, size - place, place)]
    return np.where(upper, rows.conj(), rows)


def _lay(masses: Floats, first: int, laid: Floats) -> None:
    """Put chances on a circular grid, the first of them at a place counted from the value 0."""
    n, size = masses.shape[-1], laid.shape[-1]
    if n > size:
        raise ValueError(f"a term takes {n} points of a grid of {size}: a larger step, or more points")
    k = first % size
    head = min(n, size - k)
    laid[..., k : k + head] = masses[..., :head]
    laid[..., : n - head] = masses[..., head:]
