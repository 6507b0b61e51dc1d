"""Shares of the spread against published functions, conditional variances and a reference library."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from repairecon.formulas import shares

# Ishigami function sin x1 + 7 sin^2 x2 + 0.1 x3^4 sin x1, inputs uniform on -pi..pi. First-order indices
# as printed by A. Saltelli et al., Global Sensitivity Analysis: The Primer (2008), quoted in the source of
# the SALib library (test function Ishigami); total indices to two decimals in its tests of Sobol indices.
ISHIGAMI_FIRST, ISHIGAMI_FIRST_HALF_DIGIT = (0.3139, 0.4424, 0.0), 0.00005
ISHIGAMI_TOTAL, ISHIGAMI_TOTAL_TOLERANCE = (0.55, 0.44, 0.24), 0.01


def ishigami(x):
    return np.sin(x[0]) + 7 * np.sin(x[1]) ** 2 + 0.1 * x[2] ** 4 * np.sin(x[0])


def evaluations(f, u):
    """f at A, at B and at A with one input from B, from points (2 d, n) on 0..1."""
    d = len(u) // 2
    a, b = u[:d], u[d:]
    ab = [f(np.where((np.arange(d) == i)[:, None], b, a)) for i in range(d)]
    return f(a), f(b), np.array(ab)


def sobol_points(d, log2_n, seed):
    return stats.qmc.Sobol(2 * d, rng=np.random.default_rng(seed)).random_base2(log2_n).T


def test_ishigami_closed_form() -> None:
    # As a sum of products: with s = sin x1, q = sin^2 x2, w = x3^4 the function is s + 7 q + 0.1 s w.
    means = [0.0, 0.5, math.pi**4 / 5]
    variances = [0.5, 0.125, math.pi**8 * (1 / 9 - 1 / 25)]
    terms = [(1.0, (0,)), (7.0, (1,)), (0.1, (0, 2))]
    variance, first, total = shares.variance_shares(terms, means, variances)
    assert first == pytest.approx(ISHIGAMI_FIRST, abs=ISHIGAMI_FIRST_HALF_DIGIT)
    assert total == pytest.approx(ISHIGAMI_TOTAL, abs=ISHIGAMI_TOTAL_TOLERANCE)
    # Sobol' and Levitan (1999): V = a^2/8 + b pi^4/5 + b^2 pi^8/18 + 1/2.
    assert variance == pytest.approx(49 / 8 + 0.1 * math.pi**4 / 5 + 0.01 * math.pi**8 / 18 + 0.5, rel=1e-12)


def test_ishigami_by_a_sobol_sequence() -> None:
    f = lambda u: ishigami(math.pi * (2 * u - 1))  # noqa: E731
    first, total, first_se, total_se = shares.sobol_indices(*evaluations(f, sobol_points(3, 15, 7)))
    assert first == pytest.approx(ISHIGAMI_FIRST, abs=0.002)
    assert total == pytest.approx((0.5576, 0.4424, 0.2437), abs=0.002)  # closed form, to four decimals
    assert np.all(first_se < 0.02)
    assert np.all(total_se < 0.02)


def test_linear_model() -> None:
    # G. Li et al., J. Phys. Chem. A 114 (2010) 6022-6032, linear model #1: five inputs alike, 0.2 each.
    alike = shares.variance_shares([(1.0, (i,)) for i in range(5)], np.zeros(5), np.full(5, 1 / 12))
    assert alike[1] == pytest.approx([0.2] * 5, abs=1e-15)
    assert alike[2] == pytest.approx([0.2] * 5, abs=1e-15)
    first, total, *_ = shares.sobol_indices(*evaluations(lambda u: u.sum(axis=0), sobol_points(5, 13, 3)))
    assert first == pytest.approx([0.2] * 5, abs=0.002)
    assert total == pytest.approx([0.2] * 5, abs=0.002)


def test_standard_errors_are_those_of_repeats() -> None:
    rng = np.random.default_rng(5)
    runs = [
        shares.sobol_indices(*evaluations(lambda u: ishigami(math.pi * (2 * u - 1)), rng.random((6, 1000))))
        for _ in range(400)
    ]
    first, total, first_se, total_se = (np.array(x) for x in zip(*runs, strict=True))
    # The deviation of 400 repeats is itself known to 1 / sqrt(800) = 3.5 %, one standard error.
    assert first_se.mean(axis=0) == pytest.approx(first.std(axis=0, ddof=1), rel=0.15)
    assert total_se.mean(axis=0) == pytest.approx(total.std(axis=0, ddof=1), rel=0.15)
    assert first.mean(axis=0) == pytest.approx(ISHIGAMI_FIRST, abs=5 * 0.05 / 20)


# Inputs of two values each: mean +- deviation with equal chances; every expectation is a finite sum.
products = st.lists(
    st.tuples(st.floats(-3, 3), st.sets(st.integers(0, 3), max_size=4).map(tuple)), min_size=1, max_size=6
)


@settings(deadline=None, max_examples=60)
@given(products, st.lists(st.floats(-2, 2), min_size=4, max_size=4), st.lists(st.floats(0, 2), min_size=4, max_size=4))
def test_closed_form_is_the_conditional_variance(terms, means, deviations) -> None:
    m, s = np.array(means), np.array(deviations)
    signs = np.array(list(itertools.product((-1, 1), repeat=4)))
    x = m + signs * s
    f = sum((c * np.prod(x[:, list(g)], axis=1) for c, g in terms), np.zeros(len(x)))
    table = f.reshape((2, 2, 2, 2))
    variance, first, total = shares.variance_shares(terms, m, s**2)
    assert variance == pytest.approx(table.var(), abs=1e-9)
    for i in range(4):
        others = tuple(k for k in range(4) if k != i)
        assert first[i] * variance == pytest.approx(table.mean(axis=others).var(), abs=1e-9)
        assert total[i] * variance == pytest.approx(table.var(axis=i).mean(), abs=1e-9)


def test_closed_form_and_draws_agree_on_a_product() -> None:
    rng = np.random.default_rng(11)
    low, width = np.array([10.0, 2.0, -1.0])[:, None], np.array([5.0, 3.0, 4.0])[:, None]

    def f(u):
        x = low + width * u
        return 2 * x[0] * x[1] + 3 * x[2] - x[0] * x[2]

    means, variances = (low + width / 2)[:, 0], (width**2 / 12)[:, 0]
    _, first, total = shares.variance_shares([(2.0, (0, 1)), (3.0, (2,)), (-1.0, (0, 2))], means, variances)
    drawn_first, drawn_total, first_se, total_se = shares.sobol_indices(*evaluations(f, rng.random((6, 200_000))))
    assert np.all(np.abs(drawn_first - first) < 4.5 * first_se)
    assert np.all(np.abs(drawn_total - total) < 4.5 * total_se)


def test_against_the_statistics_library() -> None:
    # scipy.stats.sobol_indices has the same two estimators.
    a, b, ab = evaluations(lambda u: ishigami(math.pi * (2 * u - 1)), sobol_points(3, 10, 1))
    given_values = {"f_A": a[None], "f_B": b[None], "f_AB": ab[:, None, :]}
    theirs = stats.sobol_indices(func=given_values, n=len(a))
    first, total, *_ = shares.sobol_indices(a, b, ab)
    assert first == pytest.approx(theirs.first_order, abs=1e-12)
    assert total == pytest.approx(theirs.total_order, abs=1e-12)


def test_a_sure_result_has_no_shares() -> None:
    assert shares.variance_shares([(4.0, ()), (1.0, (0,))], [1.0], [0.0])[2].tolist() == [0.0]
    assert shares.sobol_indices([2.0, 2.0], [2.0, 2.0], [[2.0, 2.0]])[0].tolist() == [0.0]


@pytest.mark.parametrize(
    ("terms", "variances"), [([(1.0, (0, 0))], [1.0]), ([(1.0, (1,))], [1.0]), ([(1.0, (0,))], [-1.0])]
)
def test_faults(terms, variances) -> None:
    with pytest.raises(ValueError, match=r"once|below 0"):
        shares.variance_shares(terms, [1.0], variances)


def test_unequal_sets_are_refused() -> None:
    with pytest.raises(ValueError, match="equally long"):
        shares.sobol_indices([1.0, 2.0], [1.0, 2.0], [[1.0]])
