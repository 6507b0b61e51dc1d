"""Ranges on a grid and what is read off it, against quadrature and closed forms."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate
from sum_makers import SHAPES, mean_and_variance

from repairecon.formulas import convolve, ranges
from repairecon.formulas.shapes import Curve


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("three", [(2.0, 3.0, 9.0), (10.0, 12.0, 14.5), (-8.0, -6.0, 1.0)])
def test_masses_are_the_mean_of_a_hat(shape, three) -> None:
    # Each chance is the mean of the hat function round its grid point, here by quadrature of the quantile.
    size = 24
    tails = (1e-8, 1 - 1e-8) if shape == "lognormal" else (0, 1)
    low, high = (float(ranges.quantile(p, *three, shape)) for p in tails)
    step = (high - low) / (size - 2.5)
    start = low - 0.4 * step
    masses = convolve.grid_masses(*three, shape, step, start, size)
    for k in (0, 1, 2, 5, 11, 18, 22, 23):
        x = start + k * step
        cuts = [float(ranges.cdf(x + d * step, *three, shape)) for d in (-1, 0, 1)]
        hat = lambda p, x=x: max(1 - abs(float(ranges.quantile(p, *three, shape)) - x) / step, 0.0)  # noqa: E731
        expected = sum(integrate.quad(hat, a, b, epsabs=1e-12, limit=200)[0] for a, b in pairwise(cuts))
        assert masses[k] == pytest.approx(expected, abs=2e-8)


@settings(deadline=None, max_examples=150)
@given(
    st.floats(-100, 100), st.floats(1e-3, 1), st.floats(1e-3, 1), st.floats(0.1, 50), st.sampled_from(SHAPES),
    st.floats(0, 0.99), st.integers(12, 3000),
)  # fmt: skip
def test_total_and_mean_are_kept_and_variance_grows_little(low, below, above, width, shape, offset, size) -> None:
    if shape == "lognormal":
        above = below * (1.1 + 2 * above)
    three = (low, low + width * below / (below + above), low + width)
    a, b = convolve.reach((1.0, *three, shape))
    step = (b - a) / (size - 2)
    start = a - offset * step
    masses = convolve.grid_masses(*three, shape, step, start, size)
    mean, variance = mean_and_variance(start, step, masses)
    assert masses.min() >= 0.0
    assert masses.sum() == pytest.approx(1.0, abs=1e-12)
    assert mean == pytest.approx(ranges.mean(*three, shape), abs=1e-10 * (b - a))
    grown = (variance - ranges.variance(*three, shape)) / step**2
    room = 1e-3 if shape != "lognormal" else 1e-3 * (b - a) ** 2 / step**2  # what is left of the tail cut off
    assert -room <= grown <= 0.25 + room


@pytest.mark.parametrize("shape", SHAPES)
def test_area_is_the_integral_of_the_cdf(shape) -> None:
    curve = Curve.of(2.0, 3.0, 9.0, shape)
    ends = curve.unit.breaks()
    for u in np.linspace(ends[0], min(ends[-1], 12.0), 9):
        cuts = [c for c in ends if c < u]
        whole = integrate.quad(lambda v: float(curve.unit.cdf(np.array(v))), ends[0], u, points=cuts, limit=200)[0]
        assert float(curve.unit.area(np.array(u))) == pytest.approx(whole, abs=1e-9)
    far = float(ends[-1]) * 2
    assert float(curve.unit.area(np.array(far))) == pytest.approx(far - curve.unit.mean, rel=1e-12)


def test_a_range_beyond_the_grid_is_refused() -> None:
    with pytest.raises(ValueError, match="beyond the grid"):
        convolve.grid_masses(0, 1, 5, "pert", 0.1, 0.0, 20)
    with pytest.raises(ValueError, match="beyond the grid"):
        convolve.point_masses(3.0, 1.0, 0.0, 3)
    with pytest.raises(ValueError, match="a grid of 20"):
        convolve.term_spectra([(1.0, 0, 1, 5, "pert")], 0.1, 20)
    with pytest.raises(ValueError, match="a grid of 2:"):
        convolve.spectra_of([0.5, 0.25, 0.25], 0, 2)
    with pytest.raises(ValueError, match="fit"):
        convolve.sum_distribution([(1.0, 0, 1, 5, "pert")], step=0.1, size=20)
    with pytest.raises(ValueError, match=r"0\.20"):
        convolve.sum_distribution([(20.0, 5.0)])
    with pytest.raises(ValueError, match="step above 0"):
        convolve.grid_masses(0, 1, 5, "pert", 0.0, 0.0, 20)


def test_overrun_of_an_exponential_grid() -> None:
    # Geometric chances r^k (1 - r): mean excess over point j is r^j times the mean r / (1 - r).
    r, k = 0.9, np.arange(600)
    masses = (1 - r) * r**k
    asked = np.array([0.0, 1.0, 7.0, 40.0])
    expected = 2.0 * r**asked * r / (1 - r)
    assert convolve.expected_above(5.0, 2.0, masses, 5.0 + 2 * asked) == pytest.approx(expected, rel=1e-9)
    assert float(convolve.expected_above(5.0, 2.0, masses, -1.0)) == pytest.approx(6 + 2 * r / (1 - r), rel=1e-9)
    assert float(convolve.expected_above(5.0, 2.0, masses, 1e9)) == 0.0


@settings(deadline=None)
@given(st.lists(st.floats(0, 1), min_size=3, max_size=30).filter(lambda m: sum(m) > 0.1), st.floats(0, 1))
def test_quantile_and_chance_are_inverse(masses, p) -> None:
    masses = np.array(masses) / sum(masses)
    x = float(convolve.quantile_of(3.0, 0.5, masses, p))
    back = float(convolve.chance_up_to(3.0, 0.5, masses, x))
    used = np.flatnonzero(masses)
    ends = 3.0 + 0.5 * used[[0, -1]]
    assert ends[0] <= x <= ends[1]
    if ends[0] < x < ends[1]:
        assert back == pytest.approx(p, abs=1e-9)


def test_quantiles_at_the_ends_and_faults() -> None:
    start, step, masses = convolve.sum_distribution([(1.0, 2, 3, 9, "pert"), (1.0, 1, 2, 4, "pert")])
    assert convolve.quantile_of(start, step, masses, [0.0, 1.0]) == pytest.approx([3.0, 13.0], abs=0.1)
    assert convolve.chance_up_to(start, step, masses, [0.0, 20.0]) == pytest.approx([0.0, 1.0], abs=1e-12)
    with pytest.raises(ValueError, match=r"0\.20"):
        convolve.quantile_of(start, step, masses, 20.0)
