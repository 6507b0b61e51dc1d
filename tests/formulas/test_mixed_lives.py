"""Early failures, unsure medians and two clocks against closed forms, quadrature and seeded draws."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, special

from repairecon.formulas import mixed_lives as m
from repairecon.formulas.lives import mean, survival


def test_series_of_two_exponential_units() -> None:
    # Reliability course solution (constant failure rate, problem 4): two units of mean life 5 each, both
    # needed, for 2: R = 0.4493
    assert m.two_clock_survival(2.0, 1.0, 5.0, 1.0, 5.0, 1.0) == pytest.approx(0.4493, abs=0.00005)


def test_two_chance_clocks_have_a_closed_mean() -> None:
    # rates add up: 100 h a year at 500 h is 5 years, and 20 years of standing
    assert m.two_clock_mean(100.0, 500.0, 1.0, 20.0, 1.0) == pytest.approx(1 / (1 / 5 + 1 / 20), rel=1e-10)
    # both of shape 2, sqrt(pi) / 2 over the root of the added squares
    got = m.two_clock_mean(100.0, 500.0, 2.0, 20.0, 2.0)
    assert got == pytest.approx(math.sqrt(math.pi) / 2 / math.sqrt(1 / 25 + 1 / 400), rel=1e-10)


@pytest.mark.parametrize("case", [(100, 1500, 2.2, 20, 3.3), (10, 1500, 0.6, 12, 5.0), (300, 1000, 9.0, 8, 1.0)])
@pytest.mark.parametrize("age", [0.0, 3.0, 11.0])
def test_two_clock_mean_against_quadrature(case: tuple[float, ...], age: float) -> None:
    use, life_h, k_h, life_y, k_y = case

    def hazard(t: float) -> float:
        return (use * t / life_h) ** k_h + (t / life_y) ** k_y

    got = m.two_clock_mean(*case, age)
    # in units of the answer, so that the rule cannot step over a short rest of life
    parts = [
        integrate.quad(lambda t: math.exp(hazard(age) - hazard(age + t)), got * a, got * b, epsrel=1e-11)[0]
        for a, b in itertools.pairwise([0, 0.1, 0.5, 1, 2, 4, 8, 16, 40])
    ]
    assert got == pytest.approx(sum(parts), rel=1e-7)


def test_one_clock_alone() -> None:
    standing = m.two_clock_mean(0.0, 1500.0, 2.0, [10.0, 20.0], 2.2, [[0.0], [4.0]])
    assert standing == pytest.approx(mean([10.0, 20.0], 2.2, [[0.0], [4.0]]), rel=1e-9)
    assert m.two_clock_mean(50.0, 500.0, 1.7, math.inf, 1.0) == pytest.approx(mean(10.0, 1.7), rel=1e-9)
    assert m.two_clock_mean(0.0, 500.0, 1.7, math.inf, 1.0) == math.inf


@given(st.floats(0, 400), st.floats(0, 400), st.floats(0.6, 6), st.floats(0.6, 6))
@settings(deadline=None)
def test_more_use_never_lasts_longer(use: float, more: float, k_h: float, k_y: float) -> None:
    a, b = (m.two_clock_mean(u, 1500.0, k_h, 15.0, k_y) for u in (use, use + more))
    assert b <= a * (1 + 1e-7)


def test_unsure_median_is_the_mixture() -> None:
    # a gamma-distributed exponential rate gives a Lomax life: S = (1 + t / b)**-a. Gauss-Laguerre nodes
    # stand for the gamma curve.
    a, b, t = 3.0, 20.0, np.array([0.0, 2.0, 10.0, 40.0])
    nodes, weights = special.roots_genlaguerre(40, a - 1)
    medians, share = math.log(2) * b / nodes, weights / weights.sum()
    got = m.unsure_survival(t, medians, share, 1.0)
    assert got == pytest.approx((1 + t / b) ** -a, rel=1e-9)
    # having lasted makes the long lives likelier: (1 + t / (b + age))**-a
    aged = m.unsure_survival(t, medians, share, 1.0, age=15.0)
    assert aged == pytest.approx((1 + t / (b + 15.0)) ** -a, rel=1e-9)


def test_sure_median_is_the_plain_life() -> None:
    t = np.linspace(0, 30, 7)
    life = 10 / math.log(2) ** (1 / 2.2)
    assert m.unsure_survival(t, [10.0], [1.0], 2.2, 4.0) == pytest.approx(survival(t, life, 2.2, 4.0), rel=1e-12)


def test_early_failures_against_seeded_draws() -> None:
    rng = np.random.default_rng(20)
    n = 200_000
    sound = 10.0 * rng.weibull(2.5, n)
    life = np.where(rng.random(n) < 0.08, rng.exponential(0.5, n), sound)
    t = np.array([0.1, 0.5, 2.0, 8.0])
    got = m.early_failure_survival(t, survival(t, 10.0, 2.5), 0.08, 0.5)
    seen = (life[:, np.newaxis] > t).mean(axis=0)
    assert np.all(np.abs(got - seen) < 4 * np.sqrt(seen * (1 - seen) / n))


def test_dead_on_arrival() -> None:
    got = m.early_failure_survival([0.0, 1.0], [1.0, 0.5], 0.1)
    assert got == pytest.approx([0.9, 0.45], rel=1e-14)
    assert m.early_failure_survival(3.0, 0.7, 0.0, 0.5) == 0.7


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match=r"0\.\.1"):
        m.early_failure_survival(1.0, 1.0, 5.0)
    with pytest.raises(ValueError, match="0 or more"):
        m.early_failure_survival(1.0, 1.0, 0.05, -1.0)
    with pytest.raises(ValueError, match="sum to 1"):
        m.unsure_survival(1.0, [5.0, 10.0], [0.5, 0.6], 2.0)
    with pytest.raises(ValueError, match="no unit"):
        m.unsure_survival(1.0, [5.0], [1.0], 9.0, age=500.0)
    with pytest.raises(ValueError, match="0 hours"):
        m.two_clock_survival(1.0, -5.0, 1.0, 1.0, 1.0, 1.0)
