"""Running moments against certified values."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from repairecon.formulas import sums

# NIST/ITL Statistical Reference Datasets, univariate summary statistics, Michelso (n = 100): certified
# mean 299.8524, sd 0.0790105478190518. Data and values as transcribed in public repositories.
MICHELSO = """
299.85 299.74 299.9 300.07 299.93 299.85 299.95 299.98 299.98 299.88 300.0 299.98 299.93 299.65 299.76
299.81 300.0 300.0 299.96 299.96 299.96 299.94 299.96 299.94 299.88 299.8 299.85 299.88 299.9 299.84
299.83 299.79 299.81 299.88 299.88 299.83 299.8 299.79 299.76 299.8 299.88 299.88 299.88 299.86 299.72
299.72 299.62 299.86 299.97 299.95 299.88 299.91 299.85 299.87 299.84 299.84 299.85 299.84 299.84
299.84 299.89 299.81 299.81 299.82 299.8 299.77 299.76 299.74 299.75 299.76 299.91 299.92 299.89 299.86
299.88 299.72 299.84 299.85 299.85 299.78 299.89 299.84 299.78 299.81 299.76 299.81 299.79 299.81
299.82 299.85 299.87 299.87 299.81 299.74 299.81 299.94 299.95 299.8 299.81 299.87
"""

# The same collection, Mavro (n = 50): certified mean 2.001856, sd 0.000429123454003053.
MAVRO = """
2.0018 2.0017 2.0018 2.0019 2.0018 2.0017 2.0015 2.0014 2.0015 2.0015 2.0017 2.0018 2.0018 2.0019
2.0019 2.0021 2.002 2.0016 2.0014 2.0013 2.0013 2.0015 2.0015 2.0016 2.0015 2.0014 2.0013 2.0014 2.0015
2.0014 2.0015 2.0016 2.0015 2.0016 2.0019 2.002 2.002 2.0021 2.0022 2.0023 2.0024 2.0025 2.0027 2.0026
2.0026 2.0026 2.0027 2.0026 2.0025 2.0024
"""

CERTIFIED = [
    pytest.param(MICHELSO, 100, 299.8524, 0.0790105478190518, id="Michelso"),
    pytest.param(MAVRO, 50, 2.001856, 0.000429123454003053, id="Mavro"),
]


@pytest.mark.parametrize(("text", "count", "mean", "sd"), CERTIFIED)
def test_certified_mean_and_deviation(text: str, count: int, mean: float, sd: float) -> None:
    x = np.array(text.split(), dtype=float)
    n, ours, m2 = sums.moments(x)
    assert n == count
    assert ours == pytest.approx(mean, rel=1e-12)
    assert np.sqrt(m2 / (n - 1)) == pytest.approx(sd, rel=1e-10)


@pytest.mark.parametrize("cuts", [(1,), (13, 14, 40), tuple(range(1, 50)), (0, 20, 20, 50)])
@pytest.mark.parametrize(("text", "count", "mean", "sd"), CERTIFIED)
def test_batches_merge_to_the_certified_values(text, count, mean, sd, cuts) -> None:
    x = np.array(text.split(), dtype=float)
    running = (0, 0.0, 0.0)
    for batch in np.split(x, cuts):
        running = sums.merge_moments(*running, *sums.moments(batch))
    n, ours, m2 = running
    assert n == count
    assert ours == pytest.approx(mean, rel=1e-12)
    assert np.sqrt(m2 / (n - 1)) == pytest.approx(sd, rel=1e-10)


@settings(deadline=None)
@given(st.lists(st.floats(-1e6, 1e6), min_size=2, max_size=30), st.integers(0, 30))
def test_merged_is_the_whole(values: list[float], cut: int) -> None:
    x = np.array(values)
    n, mean, m2 = sums.merge_moments(*sums.moments(x[:cut]), *sums.moments(x[cut:]))
    size = np.abs(x).max()
    assert n == len(x)
    assert mean == pytest.approx(np.mean(x), abs=1e-12 * size)
    assert m2 == pytest.approx(np.var(x) * n, abs=1e-11 * size**2)


def test_columns_are_kept_apart() -> None:
    table = np.arange(12.0).reshape(6, 2) ** 2
    n, mean, m2 = sums.merge_moments(*sums.moments(table[:4]), *sums.moments(table[4:]))
    assert n == 6
    np.testing.assert_allclose(mean, np.mean(table, axis=0), rtol=1e-14)
    np.testing.assert_allclose(m2 / (n - 1), np.var(table, axis=0, ddof=1), rtol=1e-13)


def test_nothing_and_nothing_is_nothing() -> None:
    assert sums.merge_moments(*sums.moments([]), *sums.moments([])) == (0, 0.0, 0.0)
