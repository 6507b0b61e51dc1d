"""Expected maximum against closed forms and quadrature."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, special, stats

from repairecon.formulas import ranges
from repairecon.formulas.ranges import expected_maximum


@pytest.mark.parametrize("n", [1, 2, 3, 6, 12, 40])
def test_largest_of_n_uniforms(n: int) -> None:
    # Closed form: n / (n + 1) on 0..1.
    assert expected_maximum([(0, 0.5, 1, "uniform")] * n) == pytest.approx(n / (n + 1), rel=1e-12)
    moved = expected_maximum([(10, 12, 14, "uniform")] * n)
    assert moved == pytest.approx(10 + 4 * n / (n + 1), rel=1e-12)


def test_largest_of_rising_triangles_and_curves() -> None:
    # F = x^2 for a triangle rising to 1, F = x^5 for PERT with likely = high: of n, k n / (k n + 1).
    assert expected_maximum([(0, 1, 1, "triangular")] * 4) == pytest.approx(8 / 9, rel=1e-12)
    assert expected_maximum([(0, 1, 1, "pert")] * 3) == pytest.approx(15 / 16, rel=1e-12)
    # F = 1 - (1 - x)^5 for likely = low: E max of two = integral of 1 - F^2.
    two = 2 / 6 - 1 / 11  # integral of 1 - (1 - s^5)^2 with s = 1 - x
    assert expected_maximum([(0, 0, 1, "pert")] * 2) == pytest.approx(two, rel=1e-12)


def test_one_against_a_sure_number() -> None:
    # max(U, 0.6) on 0..1 is (1 + 0.6^2) / 2.
    both = [(0, 0.5, 1, "uniform"), (0.6, 0.6, 0.6, "pert")]
    assert expected_maximum(both) == pytest.approx(0.68, rel=1e-13)
    assert expected_maximum([*both, (0.1, 0.1, 0.1, "lognormal")]) == pytest.approx(0.68, rel=1e-13)


def test_sure_numbers_only() -> None:
    assert expected_maximum([(3, 3, 3, "pert"), (-2, -2, -2, "lognormal")]) == 3.0
    assert expected_maximum([(9, 9, 9, "uniform"), (1, 2, 8, "pert")]) == 9.0


@pytest.mark.parametrize("shape", ["pert", "triangular", "lognormal", "uniform"])
def test_largest_of_one_is_its_mean(shape: str) -> None:
    for case in [(2, 3, 9), (0, 1, 50), (-5, -4.9, 3), (0, 0.001, 1)]:
        size = abs(ranges.mean(*case, shape))
        assert expected_maximum([(*case, shape)]) == pytest.approx(ranges.mean(*case, shape), abs=1e-9 * size)


def test_two_lognormals_in_closed_form() -> None:
    # E max = sum of exp(mu_i + s_i^2/2) Phi((mu_i - mu_j + s_i^2) / sqrt(s_i^2 + s_j^2)): the textbook form
    # of an exchange option's value plus the other price.
    curves = [(1.0, 0.4), (1.3, 2.5)]
    points = [stats.lognorm(s, scale=math.exp(mu)).ppf([0.1, 0.5, 0.9]) for mu, s in curves]
    spread = math.hypot(0.4, 2.5)
    closed = math.exp(1.0 + 0.08) * special.ndtr((1.0 - 1.3 + 0.16) / spread)
    closed += math.exp(1.3 + 3.125) * special.ndtr((1.3 - 1.0 + 6.25) / spread)
    ours = expected_maximum([(*p, "lognormal") for p in points])
    assert ours == pytest.approx(closed, rel=1e-9)


def test_wide_lognormals_in_closed_form() -> None:
    # The same closed form with sigma = 5 for both: far tails carry most of it.
    points = stats.lognorm(5.0).ppf([0.1, 0.5, 0.9])
    closed = 2 * math.exp(12.5) * special.ndtr(25 / (5 * math.sqrt(2)))
    assert expected_maximum([(*points, "lognormal")] * 2) == pytest.approx(closed, rel=1e-9)


MIXED = [
    [(2, 3, 9, "pert"), (1, 4, 6, "triangular"), (0, 2, 8, "uniform"), (5, 5, 5, "pert")],
    [(2, 3, 21, "lognormal"), (1, 4, 30, "pert"), (3, 10, 12, "triangular")],
    [(0, 0.01, 1000, "pert"), (1, 1.5, 2, "pert"), (0.5, 0.6, 90, "lognormal")],
]


def shifted_lognormal(low: float, likely: float, high: float) -> tuple[float, float, float]:
    """Lower end, and mean and deviation of the log above it, by the percentile formulas (Johnson et al., ch. 14)."""
    theta = (low * high - likely**2) / (low + high - 2 * likely)
    return theta, math.log(likely - theta), math.log((high - likely) / (likely - low)) / float(special.ndtri(0.9))


def by_normal_draws(group, k: int) -> float:
    """Share of the expected maximum from the k-th: its value times the chance that the others lie below."""
    one, others = group[k], [other for i, other in enumerate(group) if i != k]
    low, _, high, shape = one
    theta, mu, sigma = shifted_lognormal(*one[:3]) if shape == "lognormal" else (0.0, 0.0, 0.0)

    def value(z: float) -> float:
        return theta + math.exp(mu + sigma * z) if sigma else float(ranges.quantile(special.ndtr(z), *one))

    def largest(z: float) -> float:
        x = value(z)
        below = math.prod(float(ranges.cdf(x, *other)) for other in others)
        return x * below * math.exp(-z * z / 2) / math.sqrt(2 * math.pi)

    if low == high:
        return low * math.prod(float(ranges.cdf(low, *other)) for other in others)
    corners = ranges.cdf([v for other in group for v in other[:3]], *one)
    edges = np.unique([*np.clip(special.ndtri(corners), -9, 9), *np.arange(-9, math.ceil(sigma) + 10)])
    pieces = [integrate.quad(largest, a, b, epsabs=1e-11, epsrel=1e-11)[0] for a, b in pairwise(edges)]
    return math.fsum(pieces)


@pytest.mark.parametrize("group", MIXED)
def test_mixed_groups_against_quadrature(group) -> None:
    total = math.fsum(by_normal_draws(group, k) for k in range(len(group)))
    assert expected_maximum(group) == pytest.approx(total, rel=1e-9)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.tuples(st.floats(-50, 50), st.floats(0.1, 40), st.floats(0.05, 0.45), st.integers(0, 3)),
        min_size=1,
        max_size=5,
    )
)
def test_it_is_above_every_mean_and_below_their_spread(drawn) -> None:
    names = ("pert", "triangular", "lognormal", "uniform")
    group = [(low, low + width * share, low + width, names[k]) for low, width, share, k in drawn]
    largest = expected_maximum(group)
    means, variances = zip(*((ranges.mean(*one), ranges.variance(*one)) for one in group), strict=True)
    assert largest >= max(means) - 1e-8
    # Aven's bound: E max <= max mean + sqrt((n - 1)/n * sum of variances).
    bound = max(means) + math.sqrt((len(group) - 1) / len(group) * sum(variances))
    assert largest <= bound + 1e-8 * (1 + abs(bound))
    assert expected_maximum(group[::-1]) == pytest.approx(largest, rel=1e-11, abs=1e-10)
