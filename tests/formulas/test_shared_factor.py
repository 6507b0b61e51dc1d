"""A shared factor, longest waits and products against quadrature and big simulations."""

import math

import numpy as np
import pytest
from scipy import integrate, special, stats
from sum_makers import SHAPES, dkw, drawn, largest_gap, mean_and_variance, points

from repairecon.formulas import convolve, ranges
from repairecon.formulas.shapes import Curve


@pytest.mark.parametrize("rho", [0.0, 0.3, 0.5, 0.7])
@pytest.mark.parametrize(
    ("three", "shape"),
    [
        ((2, 3, 9), "pert"),
        ((0, 0, 5), "pert"),
        ((1, 4, 4), "triangular"),
        ((2, 3, 9), "lognormal"),
        ((0, 1, 2), "uniform"),
    ],
)
def test_conditional_masses_give_back_the_range(three, shape, rho) -> None:
    size = 400
    a, b = convolve.reach((1.0, *three, shape))
    if shape == "lognormal":  # the curve runs to nine deviations: on a grid as wide as that
        curve = Curve.of(*three, shape)
        a, b = curve.start - curve.scale, curve.start + curve.scale * curve.unit.breaks()[-1]
    step = (b - a) / (size - 3)
    start = a - 0.3 * step
    nodes, weights = convolve.factor_nodes(25)
    rows = convolve.conditional_grid_masses(*three, shape, rho, nodes, step, start, size)
    whole = convolve.grid_masses(*three, shape, step, start, size)
    x = points(start, step, whole)
    assert rows.sum(axis=1) == pytest.approx(np.ones(25), abs=1e-12)
    assert weights @ rows @ x == pytest.approx(ranges.mean(*three, shape), abs=1e-5 * min(b - a, 7))
    assert np.cumsum(weights @ rows) == pytest.approx(np.cumsum(whole), abs=2e-4)


@pytest.mark.parametrize("c", [-2.0, 0.0, 1.3])
def test_conditional_mean_by_quadrature(c: float) -> None:
    # Given the factor the normal score is sqrt(r) c + sqrt(1 - r) e: mean of the quantile over e.
    rho, three = 0.5, (2.0, 3.0, 9.0)

    def f(e):
        score = math.sqrt(rho) * c + math.sqrt(1 - rho) * e
        return float(ranges.quantile(special.ndtr(score), *three)) * stats.norm.pdf(e)

    exact = integrate.quad(f, -9, 9, limit=200, epsabs=1e-11)[0]
    masses = convolve.conditional_grid_masses(*three, "pert", rho, [c], 0.05, 1.97, 150)[0]
    assert masses @ (1.97 + 0.05 * np.arange(150)) == pytest.approx(exact, abs=1e-7)
    cdf = stats.norm.cdf((special.ndtri(ranges.cdf(4.0, *three)) - math.sqrt(rho) * c) / math.sqrt(1 - rho))
    assert float(convolve.chance_up_to(1.97, 0.05, masses, 4.0)) == pytest.approx(cdf, abs=1e-3)


def test_hours_that_share_a_pace_against_a_big_simulation() -> None:
    rho, n, step, size, first = 0.5, 1_000_000, 0.02, 4096, 0
    tasks = [(1.0, 1.5, 3.0), (2.0, 3.0, 8.0), (0.5, 1.0, 1.5), (3.0, 4.0, 9.0), (1.0, 1.0, 4.0)]
    nodes, weights = convolve.factor_nodes(13)
    given = []
    for low, likely, high in tasks:
        k = math.floor(low / step)
        points_needed = math.ceil(high / step) - k + 1
        rows = convolve.conditional_grid_masses(low, likely, high, "pert", rho, nodes, step, k * step, points_needed)
        given.append(convolve.spectra_of(rows, k, size))
    masses = convolve.spectrum_masses(convolve.mix_spectra(weights, np.prod(given, axis=0)), first, size)
    rng = np.random.default_rng(21)
    pace = rng.standard_normal(n)
    fine = np.linspace(0, 1, 20_001)
    total = np.zeros(n)
    for low, likely, high in tasks:
        p = special.ndtr(math.sqrt(rho) * pace + math.sqrt(1 - rho) * rng.standard_normal(n))
        a = 1 + 4 * (likely - low) / (high - low)
        total += low + (high - low) * np.interp(p, fine, special.betaincinv(a, 6 - a, fine))
    distribution = (0.0, step, masses)
    assert largest_gap(distribution, total) < dkw(n)
    exact = sum((a + 4 * m + b) / 6 for a, m, b in tasks)
    assert mean_and_variance(*distribution)[0] == pytest.approx(exact, abs=1e-6)


def test_largest_of_waits_against_a_big_simulation() -> None:
    waits, floor, n = [(5, 7, 14, "pert"), (2, 10, 30, "triangular"), (6, 8, 11, "uniform")], 7.5, 1_000_000
    x, cdf, area = convolve.largest_curve([*waits, (4, 4, 4, "pert")], floor)
    masses = convolve.curve_masses(x, cdf, area, 0.02, 7.0, 1200)
    rng = np.random.default_rng(31)
    total = np.maximum.reduce([np.full(n, floor), *(drawn(rng, n, 1.0, *w) for w in waits)])
    above = total > floor + 0.1
    assert largest_gap((7.0, 0.02, masses), total[above]) < dkw(n) + np.mean(~above) + 1e-3
    for at in (7.6, 8.0, 9.0, 12.0, 20.0):
        exact = np.prod([ranges.cdf(at, *w) for w in waits])
        assert float(convolve.chance_up_to(7.0, 0.02, masses, at)) == pytest.approx(exact, abs=1e-4)
    exact = ranges.expected_maximum([*waits, (floor, floor, floor, "pert")])
    assert masses @ (7 + 0.02 * np.arange(1200)) == pytest.approx(exact, abs=1e-5)
    with pytest.raises(ValueError, match="sure"):
        convolve.largest_curve([(1, 2, 3, "pert")], 3.0)


@pytest.mark.parametrize("count", [1, 2, 5, 9])
def test_nodes_of_a_pert_are_those_of_jacobi(count: int) -> None:
    nodes, weights = convolve.range_nodes(10, 25, 60, "pert", count)
    a, b = 1 + 4 * 15 / 50, 1 + 4 * 35 / 50
    x, w = special.roots_jacobi(count, b - 1, a - 1)
    assert nodes == pytest.approx(10 + 50 * (1 + x) / 2, abs=2e-3)
    assert weights == pytest.approx(w / w.sum(), abs=2e-4)
    assert weights @ nodes == pytest.approx(ranges.mean(10, 25, 60), rel=1e-13)


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("step", [None, 2.5, 40.0])
def test_nodes_keep_mean_and_variance(shape, step) -> None:
    nodes, weights = convolve.range_nodes(10, 25, 60, shape, 6, step)
    mean = weights @ nodes
    assert weights.min() > 0.0
    assert weights.sum() == pytest.approx(1.0, abs=1e-12)
    assert mean == pytest.approx(ranges.mean(10, 25, 60, shape), rel=1e-10)
    if step is not None:
        assert nodes / step == pytest.approx(np.round(nodes / step), abs=1e-9)
    if step != 40.0:
        assert weights @ (nodes - mean) ** 2 == pytest.approx(ranges.variance(10, 25, 60, shape), rel=1e-3)


def test_nodes_on_a_step_are_the_nearest_to_those_of_gauss() -> None:
    a, b = 1 + 4 * 15 / 50, 1 + 4 * 35 / 50
    best = 10 + 50 * (1 + special.roots_jacobi(5, b - 1, a - 1)[0]) / 2
    nodes, _ = convolve.range_nodes(10, 25, 60, "pert", 5, 1.0)
    assert np.all(np.abs(nodes - best) <= 0.5 + 2e-3)


def test_a_product_of_two_ranges_against_a_big_simulation() -> None:
    day, days, n = (10, 25, 60, "pert"), (8, 14, 30, "pert"), 1_000_000
    step, size = 0.25, 16384  # days in units of 2.5 of home money a day
    nodes, weights = convolve.range_nodes(*day, 9, 2.5)
    one = convolve.term_spectra([(2.5, *days)], step * 2.5, size)[0]
    cash = convolve.term_spectra([(1.0, 100, 300, 900, "pert")], step * 2.5, size)[0]
    kept = size // 2 // int(nodes[-1] / 2.5)
    parts = [convolve.multiple_spectra(one, round(v / 2.5), size, kept) for v in nodes]
    masses = convolve.spectrum_masses(convolve.mix_spectra(weights, parts) * cash[:kept], 0, size)
    rng = np.random.default_rng(41)
    total = drawn(rng, n, 1.0, *day) * drawn(rng, n, 1.0, *days) + drawn(rng, n, 1.0, 100, 300, 900, "pert")
    assert largest_gap((0.0, step * 2.5, masses), total) < dkw(n) + 5e-4  # 5e-4: nine values for the day
    exact = ranges.mean(*day) * ranges.mean(*days) + ranges.mean(100, 300, 900)
    # The spectrum ends where the largest multiple leaves the grid: that costs some digits.
    assert mean_and_variance(0.0, step * 2.5, masses)[0] == pytest.approx(exact, rel=1e-6)


def test_a_multiple_is_the_multiple() -> None:
    size, masses = 4096, np.array([0.2, 0.5, 0.3])
    one = convolve.spectra_of(masses, -1, size)
    for k in (-3, -1, 0, 1, 2, 7):
        back = convolve.spectrum_masses(convolve.multiple_spectra(one, k, size, size // 2 + 1), -50, size)
        expected = np.zeros(size)
        for place, chance in zip((-k, 0, k), masses, strict=True):
            expected[place + 50] += chance
        assert back == pytest.approx(expected, abs=1e-12)


def test_factor_nodes_have_the_moments_of_a_normal() -> None:
    nodes, weights = convolve.factor_nodes(9)
    moments = [float(weights @ nodes**k) for k in range(18)]
    normal = [float(stats.norm.moment(k)) for k in range(1, 18)]
    assert moments == pytest.approx([1.0, *normal], rel=1e-9, abs=1e-6)


def test_bad_correlations() -> None:
    for rho in (-0.1, 1.0, 50.0):
        with pytest.raises(ValueError, match="correlation"):
            convolve.conditional_curve(0, 1, 2, "pert", rho, [0.0])
    with pytest.raises(ValueError, match="sure"):
        convolve.conditional_curve(1, 1, 1, "pert", 0.5, [0.0])
