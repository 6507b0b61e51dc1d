"""A spare on the shelf against closed forms and quadrature."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate

from repairecon.formulas.spare import mean_p_spare_works, p_spare_works, saved_by_spare


def test_by_chance_alone() -> None:
    assert p_spare_works([0.0, 1.0, 5.0], 10.0) == pytest.approx([1.0, math.exp(-0.1), math.exp(-0.5)], rel=1e-14)
    # mean over the time between turnings: (1 - exp(-x)) / x
    assert mean_p_spare_works(5.0, 10.0) == pytest.approx((1 - math.exp(-0.5)) / 0.5, rel=1e-12)


@pytest.mark.parametrize("shape", [0.8, 1.7, 4.0])
def test_mean_over_the_time_between_turnings(shape: float) -> None:
    for every in (0.5, 3.0, 25.0):
        whole, _ = integrate.quad(lambda t: math.exp(-((t / 6.0) ** shape)), 0, every, epsabs=1e-13)
        assert mean_p_spare_works(every, 6.0, shape) == pytest.approx(whole / every, rel=1e-8)


def test_turned_all_the_time_and_never() -> None:
    assert mean_p_spare_works([0.0, np.inf], 10.0, 2.0).tolist() == [1.0, 0.0]
    # first order, 1 - x / 2, on both sides of where the closed form is left
    for every in (1e-12, 0.9e-9, 1.1e-9, 1e-6):
        assert mean_p_spare_works(every, 1.0) == pytest.approx(1 - every / 2, abs=1e-11)


@given(st.floats(0, 20), st.floats(0, 20), st.floats(0.1, 30), st.floats(0.5, 5))
def test_turning_it_oftener_never_hurts(a: float, b: float, life: float, shape: float) -> None:
    often, seldom = min(a, b), max(a, b)
    assert p_spare_works(often, life, shape) >= p_spare_works(seldom, life, shape)
    assert mean_p_spare_works(often, life, shape) >= mean_p_spare_works(seldom, life, shape) - 1e-9


@given(st.floats(0, 5), st.floats(0, 1), st.floats(0, 1e4), st.floats(0, 1e4))
def test_a_spare_never_lowers_the_value_before_its_own_cost(n: float, p: float, without: float, swap: float) -> None:
    saved = saved_by_spare(n, p, without, swap)
    assert saved >= 0.0
    # expected cost with the spare, used only where it is the cheaper way, and without it
    with_it = n * (p * min(without, swap) + (1 - p) * without)
    assert n * without - with_it == pytest.approx(saved, abs=1e-6)


def test_a_negative_time_between_turnings_is_refused() -> None:
    with pytest.raises(ValueError, match="0 years or more"):
        mean_p_spare_works(-1.0, 10.0)
