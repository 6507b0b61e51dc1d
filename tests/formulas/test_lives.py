"""Weibull lives, two clocks and spares: a statistics library, quadrature; shelf life against the published groups."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from repairecon.formulas import lives

CASES = [(10.0, 0.6), (1.0, 1.0), (12.0, 2.2), (28860.0, 4.43)]
shapes = st.floats(0.5, 8.0)


def survival(t, life, shape, age=0.0):
    """Chance of working on, whatever the clock."""
    return 1 - lives.cdf(t, life, shape, age)


ages = st.floats(0.0, 30.0)


@pytest.mark.parametrize(("life", "shape"), CASES)
def test_new_units_against_the_reference_library(life: float, shape: float) -> None:
    reference = stats.weibull_min(shape, scale=life)
    t = life * np.array([0.0, 1e-6, 0.01, 0.3, 1.0, 1.7, 3.0])
    assert survival(t, life, shape) == pytest.approx(reference.sf(t), rel=1e-12)
    assert lives.cdf(t, life, shape) == pytest.approx(reference.cdf(t), rel=1e-12)


@pytest.mark.parametrize(("life", "shape"), CASES)
@pytest.mark.parametrize("used", [0.01, 0.5, 1.3])
def test_used_units_against_the_reference_library(life: float, shape: float, used: float) -> None:
    reference, age = stats.weibull_min(shape, scale=life), used * life
    t = life * np.array([0.0, 0.01, 0.3, 1.0])
    left = reference.sf(age + t) / reference.sf(age)
    assert survival(t, life, shape, age) == pytest.approx(left, rel=1e-10)
    assert lives.cdf(t, life, shape, age) == pytest.approx(1 - left, abs=1e-12)


def test_single_exponential_unit() -> None:
    # Reliability course solution (constant failure rate, problem 3): rate 0.00034, 720 h, R = 0.7828
    # (truncated in the source)
    assert survival(720, 1 / 0.00034, 1.0) == pytest.approx(0.7828, abs=1e-4)


def test_great_ages_keep_their_digits() -> None:
    # hazard added to first order: shape t age**(shape - 1) / life**shape = 1e-6 x 3 x 1e12
    assert lives.cdf(1e-12, 1.0, 3.0, age=1e6) == pytest.approx(3e0 * -np.expm1(-3.0) / 3, rel=1e-9)


@given(shapes, ages, st.floats(0.0, 20.0))
@settings(deadline=None)
def test_ages_add_up(shape: float, age: float, t: float) -> None:
    new = survival(age, 10.0, shape)
    assert new * survival(t, 10.0, shape, age) == pytest.approx(survival(age + t, 10.0, shape), rel=1e-8)


@given(shapes, ages, st.floats(0.1, 20.0), st.floats(1.0, 3.0))
@settings(deadline=None)
def test_a_longer_life_never_ends_sooner(shape: float, age: float, t: float, times: float) -> None:
    assert survival(t, 10.0 * times, shape, age) >= survival(t, 10.0, shape, age) - 1e-12


def test_arrays_are_broadcast() -> None:
    assert survival([[1.0], [2.0]], [5.0, 10.0, np.inf], 2.0).shape == (2, 3)
    assert survival(3.0, np.inf, 2.0) == 1.0


def test_by_chance_alone() -> None:
    # mean over the time between turnings: (1 - exp(-x)) / x
    assert lives.mean_p_spare_works(5.0, 10.0, 1.0) == pytest.approx((1 - math.exp(-0.5)) / 0.5, rel=1e-12)
    assert lives.mean_p_spare_works(5.0, math.inf, 2.0) == 1.0


@pytest.mark.parametrize("shape", [0.8, 1.7, 4.0])
def test_mean_over_the_time_between_turnings(shape: float) -> None:
    for every in (0.5, 3.0, 25.0):
        whole, _ = integrate.quad(lambda t: math.exp(-((t / 6.0) ** shape)), 0, every, epsabs=1e-13)
        assert lives.mean_p_spare_works(every, 6.0, shape) == pytest.approx(whole / every, rel=1e-8)


@given(st.floats(0.01, 20), st.floats(0.01, 20), st.floats(0.1, 30), st.floats(0.5, 5))
def test_turning_it_oftener_never_hurts(a: float, b: float, life: float, shape: float) -> None:
    often, seldom = min(a, b), max(a, b)
    assert lives.mean_p_spare_works(often, life, shape) >= lives.mean_p_spare_works(seldom, life, shape) - 1e-9


def test_series_of_two_exponential_units() -> None:
    # Reliability course solution (constant failure rate, problem 4): two units of mean life 5 each, both
    # needed, for 2: R = 0.4493
    assert survival(2.0, lives.one_clock(5.0, 5.0, 1.0, 1.0), 1.0) == pytest.approx(0.4493, abs=0.00005)


@pytest.mark.parametrize("clocks", [(5.0, 600.0), (np.inf, 600.0), (5.0, np.inf)])
def test_two_clocks_are_one(clocks: tuple[float, float]) -> None:
    """Mean of the earlier of two lives by quadrature of the product of their survivals."""
    years, hours = clocks
    alone, _ = integrate.quad(lambda t: math.exp(-((t / years) ** 1.8) - (90 * t / hours) ** 1.8), 0, 60)
    one = float(lives.one_clock(years, hours, 90.0, 1.8))
    assert one * math.gamma(1 + 1 / 1.8) == pytest.approx(alone, rel=1e-9)
    assert lives.one_clock(years, hours, 0.0, 1.8) == years
    # and of a used one: the product of what both clocks leave, as a library has them
    t, age = np.array([0.5, 3.0]), 2.0
    left = [stats.weibull_min.sf(x + age, 1.8, 0, c) / stats.weibull_min.sf(age, 1.8, 0, c)
            for x in t for c in (years, hours / 90) if np.isfinite(c)]  # fmt: skip
    assert survival(t, one, 1.8, age) == pytest.approx(np.reshape(left, (2, -1)).prod(axis=1), rel=1e-9)
