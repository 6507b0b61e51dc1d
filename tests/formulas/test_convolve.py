"""Sums by spectra against closed forms, quadrature, plain convolution and big simulations."""

import math

import numpy as np
import pytest
from scipy import integrate, optimize, signal, stats
from sum_makers import MIXED_SUM, dkw, drawn, largest_gap, mean_and_variance, points

from repairecon.formulas import convolve, ranges

P = np.array([0.05, 0.5, 0.8, 0.95])

# U.S. Government Accountability Office, Cost Estimating and Assessment Guide, GAO-20-195G, "Cost risk analysis
# data and methods", table 12: low, most likely and high cost of each work element [thousand dollars a unit].
# The elements' most likely values add up to 77 million a unit. Percentiles are not published for independent
# elements: they are checked against simulation.
GAO_TABLE_12 = [
    (17955, 19645, 21785),
    (8500, 10553, 13000),
    (4000, 4306, 5100),
    (4100, 4305, 4650),
    (550, 600, 650),
    (32300, 35547, 52500),
    (1950, 2136, 2600),
]


def irwin_hall(n, x):
    """Chance that n uniforms add up to at most x: F(x) = sum (-1)^k C(n, k) (x - k)^n / n!, k <= x."""
    k = range(math.floor(x) + 1)
    return math.fsum((-1) ** j * math.comb(n, j) * (x - j) ** n for j in k) / math.factorial(n)


@pytest.mark.parametrize("n", [2, 3, 6, 12])
def test_irwin_hall(n: int) -> None:
    # Sum of n uniforms: closed form of cdf and density, mean n / 2, variance n / 12 (reference article on the
    # Irwin-Hall distribution); quantiles by solving the closed form.
    start, step, masses = convolve.sum_distribution([(1.0, 0, 0.5, 1, "uniform")] * n)
    mean, variance = mean_and_variance(start, step, masses)
    assert mean == pytest.approx(n / 2, abs=1e-10)
    assert variance == pytest.approx(n / 12, abs=n * step**2 / 5)
    for p in P:
        exact = optimize.brentq(lambda x, p=p: irwin_hall(n, x) - p, 0, n, xtol=1e-12)
        assert float(convolve.quantile_of(start, step, masses, p)) == pytest.approx(exact, abs=2e-6 * n)
    x = points(start, step, masses)[100:-100:97]
    density = [
        math.fsum((-1) ** k * math.comb(n, k) * (v - k) ** (n - 1) for k in range(math.floor(v) + 1) if v >= 0)
        / math.factorial(n - 1)
        for v in x
        if v <= n
    ]
    ours = masses[100:-100:97][: len(density)] / step
    assert ours == pytest.approx(density, abs=3e-3 if n == 2 else 1e-4)  # n = 2 has a kink at 1


def test_two_lognormals_by_quadrature() -> None:
    one, two = (1.0, 10, 12, 15, "lognormal"), (2.0, 3, 4, 6, "lognormal")
    distribution = convolve.sum_distribution([one, two], size=16384)
    for x in (17.0, 19.0, 21.0, 25.0, 32.0):
        f = lambda p, x=x: ranges.cdf((x - float(ranges.quantile(p, *one[1:])) * one[0]) / two[0], *two[1:])  # noqa: E731
        exact = integrate.quad(f, 0, 1, limit=400, epsabs=1e-9)[0]
        assert float(convolve.chance_up_to(*distribution, x)) == pytest.approx(exact, abs=1e-5)


def test_triangular_and_pert_by_plain_convolution() -> None:
    terms = [(1.0, 0, 1, 4, "triangular"), (-2.0, 1, 2, 5, "pert"), (3.0, 2, 3, 3, "uniform"), (0.3, 100.0)]
    start, step, masses = convolve.sum_distribution(terms, size=2048)
    # The same by the densities of the statistics library on a fine grid, added up one by one.
    h = 0.002
    tri = stats.triang(0.25, 0, 4).cdf(np.arange(0, 4 + h, h))
    pert = stats.beta(2, 4, loc=1, scale=4)
    minus = 1 - pert.cdf(np.arange(10, 2 - h, -h) / 2)
    uni = stats.uniform(6, 3).cdf(np.arange(6, 9 + h, h))
    density = signal.fftconvolve(np.diff(tri), np.diff(minus))
    density = signal.fftconvolve(density, np.diff(uni))
    cumulated = np.cumsum(density)
    x = -10 + 0 + 6 + 1.5 * h + h * (np.arange(len(cumulated)) + 0.5)
    asked = np.array([-1.0, 2.0, 5.0, 99.0, 102.0, 104.0])
    exact = 0.7 * np.interp(asked, x, cumulated, 0, 1) + 0.3 * np.interp(asked - 100, x, cumulated, 0, 1)
    assert convolve.chance_up_to(start, step, masses, asked) == pytest.approx(exact, abs=1e-3)


def test_gao_table_of_work_elements() -> None:
    assert round(sum(m for _, m, _ in GAO_TABLE_12) / 1000) == 77
    terms = [(1.0, *row, "triangular") for row in GAO_TABLE_12]
    distribution = convolve.sum_distribution(terms)
    mean, variance = mean_and_variance(*distribution)
    assert mean == pytest.approx(sum(sum(row) for row in GAO_TABLE_12) / 3, rel=1e-10)
    sd_squared = sum((a * a + m * m + b * b - a * m - a * b - m * b) / 18 for a, m, b in GAO_TABLE_12)
    assert variance == pytest.approx(sd_squared, rel=1e-5)
    rng = np.random.default_rng(12)
    n = 1_000_000
    total = sum(rng.triangular(*row, n) for row in GAO_TABLE_12)
    assert largest_gap(distribution, total) < dkw(n)
    for p in (0.5, 0.8, 0.95):
        near = np.quantile(total, [p - 4.5 * math.sqrt(p * (1 - p) / n), p + 4.5 * math.sqrt(p * (1 - p) / n)])
        assert near[0] < float(convolve.quantile_of(*distribution, p)) < near[1]




def test_a_mixed_sum_against_a_big_simulation() -> None:
    distribution = convolve.sum_distribution([*MIXED_SUM, (0.2, 75.0)])
    rng = np.random.default_rng(8)
    n = 2_000_000
    total = sum(drawn(rng, n, *t) for t in MIXED_SUM[:-1]) + 100.0 + 75.0 * (rng.random(n) < 0.2)
    assert largest_gap(distribution, total) < dkw(n)
    exact = sum(c * ranges.mean(*r) for c, *r in MIXED_SUM) + 15.0
    assert mean_and_variance(*distribution)[0] == pytest.approx(exact, rel=1e-10)
    over = np.maximum(total - 350, 0)
    ours = float(convolve.expected_above(*distribution, 350))
    assert ours == pytest.approx(over.mean(), abs=4.5 * over.std() / math.sqrt(n))


def test_turned_round() -> None:
    one = convolve.sum_distribution(MIXED_SUM, step=0.25, size=4096)
    other = convolve.sum_distribution([(-t[0], *t[1:]) for t in MIXED_SUM], step=0.25, size=4096)
    q = np.array([0.02, 0.3, 0.5, 0.9, 0.99])
    assert convolve.quantile_of(*one, q) == pytest.approx(-convolve.quantile_of(*other, 1 - q), abs=1e-6)


def test_amounts_with_a_chance_are_binomial() -> None:
    distribution = convolve.sum_distribution([(0.3, 40.0)] * 10, step=40.0, size=64)
    masses = distribution[2]
    k = np.arange(11)
    assert points(*distribution)[:11] == pytest.approx(40.0 * k)
    assert masses[:11] == pytest.approx(stats.binom.pmf(k, 10, 0.3), abs=1e-12)
    assert masses[11:].max() == 0.0
    refund = convolve.sum_distribution([(0.25, -30.0), (1.0, 0, 5, 10, "pert")])
    assert mean_and_variance(*refund)[0] == pytest.approx(5 - 7.5, abs=1e-10)


def test_sure_numbers_shift_exactly() -> None:
    plain = convolve.sum_distribution(MIXED_SUM[:3])
    shifted = convolve.sum_distribution([*MIXED_SUM[:3], (3.0, 1.1, 1.1, 1.1, "pert"), (1.0, -0.7), (0.0, 9.0)])
    assert shifted[0] - plain[0] == pytest.approx(3.3 - 0.7, abs=1e-12)
    assert np.array_equal(shifted[2], plain[2])
    start, step, masses = convolve.sum_distribution([(2.0, 5, 5, 5, "pert"), (1.0, 3.0)])
    assert convolve.quantile_of(start, step, masses, [0.0, 0.5, 1.0]) == pytest.approx([13.0] * 3, abs=1e-7)
