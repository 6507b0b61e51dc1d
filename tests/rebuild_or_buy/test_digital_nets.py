"""Columns of evenly spread points against a general-purpose library and the definition of a net."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_array_equal
from scipy.stats import qmc

from repairecon.rebuild_or_buy.draws import random_columns, scrambled, sobol_columns, xor_table

MOST_DIMENSIONS = 16
RNG = np.random.default_rng(5)


def plain(columns: np.ndarray, digits: int) -> np.ndarray:
    """Coordinates of the first points (points, dimensions), not mixed, as whole numbers of digits."""
    return xor_table(scrambled(columns, np.zeros_like(columns), digits)).T


@pytest.mark.parametrize("bits", [8, 12, 16])
def test_sobol_points_against_the_statistics_library(bits: int) -> None:
    # scipy.stats.qmc.Sobol gives the same points in the order of the Gray code.
    n = 1 << min(bits, 12)
    theirs = qmc.Sobol(MOST_DIMENSIONS, scramble=False, bits=bits).random(n) * 2**bits
    number = np.arange(n)
    assert_array_equal(plain(sobol_columns(MOST_DIMENSIONS, bits), bits)[number ^ (number >> 1)], theirs)


@pytest.mark.parametrize("m", [1, 4, 9])
def test_one_point_in_each_of_equal_parts(m: int) -> None:
    """Definition of a (0, 1)-sequence: every run of 2**m points from a multiple of it."""
    kinds = [sobol_columns(5, 12), random_columns(RNG.integers(0, 1 << 40, (5, 12)))]
    for columns in kinds:
        mixed = scrambled(columns, RNG.integers(0, 1 << 40, columns.shape), 32)
        top = xor_table(mixed) ^ RNG.integers(0, 1 << 32, (5, 1))
        runs = np.sort((top >> (32 - m)).reshape(5, -1, 1 << m), axis=-1)
        assert (runs == np.arange(1 << m)).all()


def test_mixing_moves_only_lower_digits() -> None:
    mixed = scrambled(sobol_columns(4, 8), RNG.integers(0, 1 << 40, (4, 8)), 32)
    assert_array_equal(mixed >> 31 & 1, sobol_columns(4, 8) & 1)
    assert (mixed & 0xFFFF).any()
