"""Ranges against published tables, a general-purpose statistics library, quadrature and closed forms."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import integrate, special, stats

from repairecon.formulas import ranges
from repairecon.formulas.ranges import cell_means

SHAPES = ("pert", "triangular", "lognormal", "uniform")
P = np.array([0.001, 0.01, 0.1, 0.3, 0.5, 0.7, 0.9, 0.99, 0.999])
CASES = [
    (2.0, 3.0, 9.0),
    (0.0, 0.0, 5.0),
    (-4.0, 6.0, 6.0),
    (1.0, 10.0, 17.0),
    (1000.0, 1000.5, 1002.0),
]
LONG_UPPER_SIDE = [(2.0, 3.0, 9.0), (-8.0, -6.0, 1.0), (10.0, 12.0, 14.5), (1.0, 1.2, 15.0)]

# activity: low, likely, high, mean, sd. PERT project exercise with 14 activities, worked answer (text of
# the Heizer and Render kind), tables of means and standard deviations, printed to two decimals.
PUBLISHED = {
    "A": (5, 5, 7, 5.33, 0.33),
    "B": (1, 2, 5, 2.33, 0.67),
    "C": (5, 5, 5, 5.0, 0),
    "D": (4, 8, 13, 8.17, 1.5),
    "E": (1, 10, 17, 9.67, 2.67),
    "F": (1, 5, 7, 4.67, 1),
    "G": (2, 6, 9, 5.83, 1.17),
    "H": (4, 4, 6, 4.33, 0.33),
    "I": (2, 7, 10, 6.67, 1.33),
    "J": (2, 4, 7, 4.17, 0.83),
    "K": (6, 10, 13, 9.83, 1.17),
    "L": (2, 6, 6, 5.33, 0.67),
    "M": (2, 2, 3, 2.17, 0.17),
    "N": (7, 7, 12, 7.83, 0.83),
}


def reference(low: float, likely: float, high: float, shape: str):
    """The same curve out of the reference library, its parameters found by other means than ours."""
    width = high - low
    if shape == "uniform":
        return stats.uniform(low, width)
    if shape == "triangular":
        return stats.triang((likely - low) / width, low, width)
    if shape == "pert":
        # From the defining mean and from alpha + beta = 6.
        share = ((low + 4 * likely + high) / 6 - low) / width
        return stats.beta(6 * share, 6 * (1 - share), low, width)
    # Three points are in line on the log scale when the lower end is right: solved by bisection.
    far = 1e4 * width

    def gap(below: float) -> float:
        theta = low - below
        return math.log((high - theta) / (likely - theta)) - math.log((likely - theta) / (low - theta))

    a, b = 1e-12 * width, far
    for _ in range(200):
        middle = (a + b) / 2
        a, b = (middle, b) if gap(middle) < 0 else (a, middle)
    theta = low - a
    sigma = math.log((high - theta) / (likely - theta)) / stats.norm.ppf(0.9)
    return stats.lognorm(sigma, theta, likely - theta)


def cases():
    for shape in SHAPES:
        for case in LONG_UPPER_SIDE if shape == "lognormal" else CASES:
            yield pytest.param(*case, shape, id=f"{shape} {case}")


@pytest.mark.parametrize("activity", PUBLISHED)
def test_pert_means_of_a_worked_exercise(activity: str) -> None:
    low, likely, high, mean, _ = PUBLISHED[activity]
    assert ranges.mean(low, likely, high) == pytest.approx(mean, abs=0.005)


@pytest.mark.parametrize(("path", "finish"), [("A", 5.33), ("AC", 10.33), ("AD", 13.5), ("ACE", 20.0), ("ADF", 18.17)])
def test_early_finishes_of_the_worked_exercise(path: str, finish: float) -> None:
    # Same exercise, early finishes; the path to E is B and C, of which A-C is the longer (10.33 > 2.33).
    assert sum(ranges.mean(*PUBLISHED[one][:3]) for one in path) == pytest.approx(finish, abs=0.005)


@pytest.mark.parametrize(("low", "likely", "high", "shape"), list(cases()))
def test_every_shape_against_the_reference_library(low, likely, high, shape) -> None:
    one, ref = (low, likely, high, shape), reference(low, likely, high, shape)
    width = high - low
    assert ranges.mean(*one) == pytest.approx(ref.mean(), rel=1e-9, abs=1e-9 * width)
    assert ranges.variance(*one) == pytest.approx(ref.var(), rel=1e-8)
    x = ref.ppf(P)
    np.testing.assert_allclose(ranges.quantile(P, *one), x, rtol=1e-9, atol=1e-9 * width)
    np.testing.assert_allclose(ranges.cdf(x, *one), P, rtol=1e-8)


@pytest.mark.parametrize(("low", "likely", "high", "shape"), list(cases()))
def test_means_of_the_lowest_cases_against_quadrature(low, likely, high, shape) -> None:
    one, ref = (low, likely, high, shape), reference(low, likely, high, shape)
    start = ref.ppf(1e-15)
    for p in P:
        x = ref.ppf(p)
        by_parts, _ = integrate.quad(ref.cdf, start, x, epsabs=1e-12, epsrel=1e-12, limit=200)
        # integral of the quantile up to p = p x - integral of the chance up to x
        part, rest = cell_means([0.0, p, 1.0], *one) * (p, 1.0 - p)
        assert part == pytest.approx(p * x - by_parts, abs=1e-8 * (high - low))
        assert part + rest == pytest.approx(ranges.mean(*one), rel=1e-13)


@pytest.mark.parametrize("p", [0.05, 0.5, 0.8, 0.95])
def test_two_uniforms_add_to_a_triangle(p: float) -> None:
    # Irwin-Hall distribution, reference article: F(x) = 1/n! sum (-1)^k C(n,k) (x-k)^n over k <= x; n = 2.
    x = float(ranges.quantile(p, 0, 1, 2, "triangular"))
    irwin_hall = sum((-1) ** k * math.comb(2, k) * (x - k) ** 2 for k in range(math.floor(x) + 1)) / 2
    assert irwin_hall == pytest.approx(p, abs=1e-14)
    assert ranges.cdf(x, 0, 1, 2, "triangular") == pytest.approx(p, abs=1e-14)


@pytest.mark.parametrize("n", [2, 3, 6, 12])
def test_moments_of_a_sum_of_uniforms(n: int) -> None:
    # Irwin-Hall distribution, reference article: mean n/2, variance n/12.
    assert n * ranges.mean(0, 0.3, 1, "uniform") == pytest.approx(n / 2)
    assert n * ranges.variance(0, 0.3, 1, "uniform") == pytest.approx(n / 12)
    if n == 2:
        assert ranges.variance(0, 1, 2, "triangular") == pytest.approx(n / 12)
        assert ranges.mean(0, 1, 2, "triangular") == pytest.approx(n / 2)


def test_lognormal_of_a_textbook_exercise() -> None:
    # Devore, Probability and Statistics for Engineering and the Sciences, 9th ed., chapter 4, exercise 79:
    # mean 10,281, coefficient of variation 0.40, so sd 4112.4. The book's mu = 9.164 and sigma = .385 are
    # quoted from memory. Fed in as the 10 %, 50 % and 90 % points of that curve.
    log_variance = math.log1p(0.40**2)
    median = 10281 / math.exp(log_variance / 2)
    points = stats.lognorm(math.sqrt(log_variance), scale=median).ppf([0.1, 0.5, 0.9])
    assert ranges.mean(*points, "lognormal") == pytest.approx(10281, abs=0.5)
    assert math.sqrt(ranges.variance(*points, "lognormal")) == pytest.approx(4112.4, abs=0.05)


@pytest.mark.parametrize("case", LONG_UPPER_SIDE)
def test_lognormal_passes_through_its_three_numbers(case) -> None:
    np.testing.assert_allclose(ranges.quantile([0.1, 0.5, 0.9], *case, "lognormal"), case, rtol=1e-13)


def test_nearly_symmetric_lognormal_is_the_normal() -> None:
    # The limit of a shifted lognormal is the normal curve through the same points.
    case = (8.0, 10.0, 12.000001)
    normal = stats.norm(10.0, 2.0 / stats.norm.ppf(0.9))
    np.testing.assert_allclose(ranges.quantile(P, *case, "lognormal"), normal.ppf(P), rtol=1e-5)
    assert ranges.mean(*case, "lognormal") == pytest.approx(10.0, abs=1e-5)
    assert ranges.variance(*case, "lognormal") == pytest.approx(normal.var(), rel=1e-5)


@pytest.mark.parametrize("case", [(8, 10, 12), (8, 11, 12), (10, 10, 12), (8, 12, 12)])
def test_lognormal_needs_a_longer_upper_side(case) -> None:
    with pytest.raises(ValueError, match="use pert"):
        ranges.mean(*case, "lognormal")


@pytest.mark.parametrize("shape", SHAPES)
def test_a_sure_number_is_sure_in_every_shape(shape: str) -> None:
    one = (7.5, 7.5, 7.5, shape)
    assert ranges.mean(*one) == 7.5
    assert ranges.variance(*one) == 0.0
    np.testing.assert_array_equal(ranges.cdf([7.4, 7.5, 7.6], *one), [0.0, 1.0, 1.0])
    np.testing.assert_array_equal(ranges.quantile([0.0, 0.3, 1.0], *one), [7.5, 7.5, 7.5])
    assert [x.tolist() for x in ranges.nodes(*one)] == [[7.5], [1.0]]


def test_beyond_the_ends() -> None:
    for shape in ("pert", "triangular", "uniform"):
        np.testing.assert_array_equal(ranges.cdf([-9.0, 1.0, 4.0, 99.0], 1, 2, 4, shape), [0, 0, 1, 1])
        np.testing.assert_allclose(ranges.quantile([0.0, 1.0], 1, 2, 4, shape), [1, 4], rtol=1e-15)
        assert ranges.quantile(0.0, 0, 2, 4, shape) == 0.0
    theta = 0.0  # (low high - likely**2) / (low + high - 2 likely)
    assert ranges.cdf(theta - 1.0, 1, 2, 4, "lognormal") == 0.0
    assert ranges.quantile(0.0, 1, 2, 4, "lognormal") == pytest.approx(theta, abs=1e-12)
    assert ranges.quantile(1.0, 1, 2, 4, "lognormal") == math.inf
    assert math.isnan(float(ranges.cdf(math.nan, 1, 2, 4)))


def test_nonsense_is_refused() -> None:
    with pytest.raises(ValueError, match="low <= likely <= high"):
        ranges.mean(3, 2, 4)
    with pytest.raises(ValueError, match="low <= likely <= high"):
        ranges.quantile(0.5, 1, 9, 4, "uniform")
    with pytest.raises(ValueError, match="plain numbers"):
        ranges.mean(1, math.nan, 4)
    with pytest.raises(ValueError, match="shape must be"):
        ranges.mean(1, 2, 4, "normal")


@st.composite
def any_range(draw):
    low, width = draw(st.floats(-1e3, 1e3)), draw(st.floats(0.01, 1e4))
    shape = draw(st.sampled_from(SHAPES))
    share = draw(st.floats(0.05, 0.45) if shape == "lognormal" else st.floats(0.0, 1.0))
    high = low + width
    return low, min(low + share * width, high), high, shape


@settings(deadline=None)
@given(any_range(), st.floats(0.001, 0.999))
def test_quantile_and_chance_undo_each_other(one, p: float) -> None:
    x = float(ranges.quantile(p, *one))
    assert ranges.cdf(x, *one) == pytest.approx(p, rel=1e-7)
    assert ranges.quantile(ranges.cdf(x, *one), *one) == pytest.approx(x, abs=1e-7 * (one[2] - one[0]))


@settings(deadline=None)
@given(any_range())
def test_curves_rise_and_keep_to_their_ends(one) -> None:
    low, _, high, shape = one
    p = np.linspace(0.0, 1.0, 101)[: -1 if shape == "lognormal" else None]
    x = ranges.quantile(p, *one)
    assert np.all(np.diff(x) >= 0.0)
    # The mean of a step lies between its quantiles.
    steps = cell_means([*p, 1.0], *one)[: len(x) - 1] if shape == "lognormal" else cell_means(p, *one)
    slack = 1e-9 * (abs(low) + abs(high))
    assert np.all(steps >= x[:-1] - slack)
    assert np.all(steps <= x[1:] + slack)
    if shape != "lognormal":
        assert low - slack <= x[0] <= x[-1] <= high + slack
        assert low <= ranges.mean(*one) <= high + slack
        assert 0.0 < ranges.variance(*one) <= (high - low) ** 2 / 4.0  # the widest curve between two ends


@settings(deadline=None)
@given(any_range(), st.floats(0.1, 50.0), st.floats(-100.0, 100.0))
def test_scale_and_shift_carry_over(one, factor: float, shift: float) -> None:
    low, likely, high, shape = one
    moved = (low * factor + shift, likely * factor + shift, high * factor + shift)
    assume(moved[0] <= moved[1] <= moved[2])
    size = factor * max(abs(low), abs(high)) + abs(shift)
    assert ranges.mean(*moved, shape) == pytest.approx(ranges.mean(*one) * factor + shift, abs=1e-7 * size)


@settings(deadline=None)
@given(any_range())
def test_mirrored_bounded_curves(one) -> None:
    low, likely, high, shape = one
    assume(shape != "lognormal")
    here = ranges.quantile([0.1, 0.5, 0.7], low, likely, high, shape)
    mirrored = ranges.quantile([0.9, 0.5, 0.3], -high, -likely, -low, shape)
    np.testing.assert_allclose(here, -mirrored, atol=1e-8 * (high - low) + 1e-12)


RANGES = [(0.0, 0.0, 1.0), (0.0, 0.5, 1.0), (10.0, 11.0, 60.0), (3.0, 60.0, 60.0), (-5.0, 1.0, 2.0)]


def beta_of(low: float, likely: float, high: float) -> stats.rv_continuous:
    """PERT as scipy's beta; alpha and beta by the usual formula, mean (low + 4 likely + high) / 6."""
    span = high - low
    return stats.beta(1 + 4 * (likely - low) / span, 1 + 4 * (high - likely) / span, loc=low, scale=span)


@pytest.mark.parametrize("three", RANGES)
def test_pert_means_against_quadrature(three):
    edges = np.linspace(0, 1, 4097)
    means = cell_means(edges, *three)
    curve, span = beta_of(*three), three[2] - three[0]
    for k in (0, 1, 7, 500, 2048, 4000, 4094, 4095):
        a, b = curve.ppf(edges[k]), curve.ppf(edges[k + 1])
        exact = integrate.quad(lambda x: x * curve.pdf(x), a, b, epsabs=1e-13)[0] * 4096
        assert means[k] == pytest.approx(exact, abs=1e-6 * span)
    assert (np.diff(means) >= 0).all()


@pytest.mark.parametrize("three", RANGES)
def test_weighted_means_give_the_closed_form_mean(three):
    low, likely, high = three
    edges = special.ndtr(np.concatenate([[-np.inf], np.linspace(-4, 4, 101), [np.inf]]))
    means = cell_means(edges, *three)
    assert means @ np.diff(edges) == pytest.approx((low + 4 * likely + high) / 6, rel=1e-12, abs=1e-12)


def test_other_shapes_and_sure_numbers():
    edges = np.linspace(0, 1, 9)
    triangle = stats.triang(0.25, loc=2, scale=8)
    means = cell_means(edges, 2, 4, 10, "triangular")
    exact = [integrate.quad(lambda x: x * triangle.pdf(x), *triangle.ppf([a, b]))[0] * 8 for a, b in pairwise(edges)]
    np.testing.assert_allclose(means, exact, rtol=1e-8)
    assert cell_means(edges, 7, 7, 7).tolist() == [7.0] * 8
    assert np.isnan(cell_means([0, 0.5, 0.5, 1], 1, 2, 3)[1])


@pytest.mark.parametrize("three", RANGES)
def test_nodes_of_a_pert_keep_the_moments_of_the_beta_curve(three) -> None:
    values, weights = ranges.nodes(*three)
    curve = beta_of(*three)
    assert weights.sum() == pytest.approx(1.0, abs=1e-12)
    for k in (1, 2, 3, 4):
        assert weights @ values**k == pytest.approx(curve.moment(k), rel=1e-9)


@pytest.mark.parametrize("shape", SHAPES)
def test_nodes_keep_mean_variance_and_a_smooth_mean(shape: str) -> None:
    one = (10, 25, 60, shape)
    values, weights = ranges.nodes(*one)
    mean = weights @ values
    assert weights.min() > 0.0
    assert mean == pytest.approx(ranges.mean(*one), rel=1e-10)
    assert weights @ (values - mean) ** 2 == pytest.approx(ranges.variance(*one), rel=1e-8)
    ref = reference(*one)
    exact = integrate.quad(lambda x: math.exp(-x / 40) * ref.pdf(x), *ref.support(), epsabs=1e-11, limit=300)[0]
    assert weights @ np.exp(-values / 40) == pytest.approx(exact, rel=1e-7)
