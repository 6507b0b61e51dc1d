"""Weibull lives against a general-purpose statistics library, quadrature and what must hold."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from repairecon.formulas import lives

CASES = [(10.0, 0.6), (1.0, 1.0), (12.0, 2.2), (28860.0, 4.43)]
shapes = st.floats(0.5, 8.0)
ages = st.floats(0.0, 30.0)


@pytest.mark.parametrize(("life", "shape"), CASES)
def test_new_units_against_the_reference_library(life: float, shape: float) -> None:
    reference = stats.weibull_min(shape, scale=life)
    t = life * np.array([0.0, 1e-6, 0.01, 0.3, 1.0, 1.7, 3.0])
    p = np.array([0.0, 1e-9, 0.1, 0.5, 0.9, 0.999])
    assert lives.survival(t, life, shape) == pytest.approx(reference.sf(t), rel=1e-12)
    assert lives.cdf(t, life, shape) == pytest.approx(reference.cdf(t), rel=1e-12)
    assert lives.quantile(p, life, shape) == pytest.approx(reference.ppf(p), rel=1e-12)
    assert lives.mean(life, shape) == pytest.approx(reference.mean(), rel=1e-12)
    assert lives.life_from_median(reference.median(), shape) == pytest.approx(life, rel=1e-12)


@pytest.mark.parametrize(("life", "shape"), CASES)
@pytest.mark.parametrize("used", [0.01, 0.5, 1.3])
def test_used_units_against_the_reference_library(life: float, shape: float, used: float) -> None:
    reference, age = stats.weibull_min(shape, scale=life), used * life
    t = life * np.array([0.0, 0.01, 0.3, 1.0])
    left = reference.sf(age + t) / reference.sf(age)
    assert lives.survival(t, life, shape, age) == pytest.approx(left, rel=1e-10)
    assert lives.cdf(t, life, shape, age) == pytest.approx(1 - left, abs=1e-12)
    p = np.array([0.0, 0.1, 0.5, 0.99])
    assert lives.cdf(lives.quantile(p, life, shape, age), life, shape, age) == pytest.approx(p, abs=1e-9)
    whole, _ = integrate.quad(reference.sf, age, 30 * life, epsabs=0, limit=200, points=[age + life, 5 * life])
    tail, _ = integrate.quad(reference.sf, 30 * life, np.inf, epsabs=1e-12)
    assert lives.mean(life, shape, age) == pytest.approx((whole + tail) / reference.sf(age), rel=1e-7)


def test_single_exponential_unit() -> None:
    # Reliability course solution (constant failure rate, problem 3): rate 0.00034, 720 h, R = 0.7828
    # (truncated in the source)
    assert lives.survival(720, 1 / 0.00034, 1.0) == pytest.approx(0.7828, abs=1e-4)


def test_great_ages_keep_their_digits() -> None:
    # hazard added to first order: shape t age**(shape - 1) / life**shape = 1e-6 x 3 x 1e12
    assert lives.cdf(1e-12, 1.0, 3.0, age=1e6) == pytest.approx(3e0 * -np.expm1(-3.0) / 3, rel=1e-9)
    # the mean residual life tends to one over the failure rate
    assert lives.mean(1.0, 3.0, age=1e4) == pytest.approx(1 / (3 * 1e8), rel=1e-6)
    # no memory at a shape of 1, however young or old
    ages = np.array([0.0, 1e-308, 1e-12, 0.9e-9, 1.1e-9, 1.0, 1e4])
    assert lives.mean(10.0, 1.0, ages) == pytest.approx(10.0, rel=1e-9)


@given(shapes, ages, st.floats(0.0, 20.0))
@settings(deadline=None)
def test_ages_add_up(shape: float, age: float, t: float) -> None:
    new = lives.survival(age, 10.0, shape)
    assert new * lives.survival(t, 10.0, shape, age) == pytest.approx(lives.survival(age + t, 10.0, shape), rel=1e-8)


@given(shapes, ages, st.floats(0.1, 20.0), st.floats(1.0, 3.0))
@settings(deadline=None)
def test_a_longer_life_never_ends_sooner(shape: float, age: float, t: float, times: float) -> None:
    assert lives.survival(t, 10.0 * times, shape, age) >= lives.survival(t, 10.0, shape, age) - 1e-12
    assert lives.mean(10.0 * times, shape, 0.0) >= lives.mean(10.0, shape, 0.0)


@given(st.floats(1.0, 8.0), ages, st.floats(0.0, 1.0), st.floats(0.0, 1.0))
@settings(deadline=None)
def test_a_better_rebuild_never_ends_sooner(shape: float, age: float, a: float, b: float) -> None:
    better, worse = (lives.virtual_age(0.0, age, q) for q in (min(a, b), max(a, b)))
    assert lives.mean(10.0, shape, better) >= lives.mean(10.0, shape, worse) * (1 - 1e-9)


def test_rebuilt_as_new_and_as_bad_as_old() -> None:
    t = np.linspace(0, 20, 9)
    as_new, as_old = lives.virtual_age(0.0, 7.0, 0.0), lives.virtual_age(0.0, 7.0, 1.0)
    assert (lives.survival(t, 10.0, 2.5, as_new) == lives.survival(t, 10.0, 2.5)).all()
    assert (lives.survival(t, 10.0, 2.5, as_old) == lives.survival(t, 10.0, 2.5, 7.0)).all()
    # type I: a second rebuild cannot undo what the first one left
    assert lives.virtual_age(lives.virtual_age(0.0, 8.0, 0.5), 6.0, 0.0) == 4.0


def test_arrays_are_broadcast() -> None:
    assert lives.survival([[1.0], [2.0]], [5.0, 10.0, np.inf], 2.0).shape == (2, 3)
    assert lives.survival(3.0, np.inf, 2.0) == 1.0
    assert lives.mean([5.0, np.inf], 2.0, [[0.0], [1.0]]).shape == (2, 2)


def test_what_cannot_be_is_refused() -> None:
    for life, shape in ((0.0, 1.0), (1.0, 0.0), (np.nan, 1.0)):
        with pytest.raises(ValueError, match="above 0"):
            lives.survival(1.0, life, shape)
    with pytest.raises(ValueError, match="0 or more"):
        lives.survival(1.0, 1.0, 1.0, age=-1.0)
    with pytest.raises(ValueError, match=r"0\.\.1"):
        lives.quantile(1.2, 1.0, 1.0)
    with pytest.raises(ValueError, match=r"0\.\.1"):
        lives.virtual_age(0.0, 1.0, 25.0)
