"""Bounds on a mean life, ranks and trials against published worked values."""

import math

import numpy as np
import pytest
from scipy import stats

from repairecon.formulas.life_tests import (
    mean_life_bounds,
    median_ranks,
    trials_without_failure,
    weibull_plot_line,
)

# RIAC Desk Reference, start sheet on exponential confidence intervals, table 1: 45 complete lives [h]
LIVES = [
    12.411, 58.526, 46.684, 49.022, 77.084, 7.4, 21.491, 28.637, 16.263, 53.533, 93.241, 43.911, 33.771,
    78.954, 399.071, 102.947, 118.077, 61.894, 72.435, 108.561, 46.252, 40.479, 95.291, 10.291, 27.668,
    116.729, 149.432, 59.067, 199.458, 45.771, 272.005, 60.266, 233.254, 87.592, 137.149, 50.668, 89.601,
    313.879, 150.011, 173.58, 220.413, 182.737, 6.171, 162.792, 82.273,
]  # fmt: skip
# NIST/SEMATECH e-Handbook, section 8.2.2.1, probability plotting example: failures of 20 units
FAILURES = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]


def test_bounds_of_a_timed_test() -> None:
    # NIST/SEMATECH e-Handbook, section 8.4.5.1, 2 failures in 800 h at 90 %: 400, 127.069, 2251.229
    assert mean_life_bounds(800, 2) == pytest.approx((400, 127.069, 2251.229), abs=0.0005)


def test_mean_of_complete_lives() -> None:
    # the same start sheet: total 4 496.75 (printed once 4 495.75, which the data do not add up to), mean
    # 99.9, rate 0.01001
    assert sum(LIVES) == pytest.approx(4496.75, abs=0.02)
    estimate, low, high = mean_life_bounds(sum(LIVES), len(LIVES), ended_by="failure")
    assert estimate == pytest.approx(99.9, abs=0.05)
    assert 1 / estimate == pytest.approx(0.01001, abs=0.00001)
    # at the bounds so few and so many hours would have a chance of 5 % (gamma distribution of the total)
    assert stats.gamma.sf(sum(LIVES), 45, scale=low) == pytest.approx(0.05, rel=1e-9)
    assert stats.gamma.cdf(sum(LIVES), 45, scale=high) == pytest.approx(0.05, rel=1e-9)


def test_bounds_without_a_failure() -> None:
    estimate, low, high = mean_life_bounds(1000, 0, 0.9)
    assert estimate == high == math.inf
    # no failure in 1000 h has a chance of 5 % at the low bound
    assert math.exp(-1000 / low) == pytest.approx(0.05, rel=1e-9)


def test_bounds_cover_what_they_say() -> None:
    rng = np.random.default_rng(3)
    counts = rng.poisson(1000 / 300, 4000)
    inside = np.mean([lo <= 300 <= hi for _, lo, hi in (mean_life_bounds(1000, int(k), 0.8) for k in counts)])
    # counts are whole numbers, so the bounds cover somewhat more than asked, never less
    assert inside > 0.8 - 4 * math.sqrt(0.16 / 4000)


def test_weibull_plot() -> None:
    # the same section, output of its R code: cumulative hazard at each rank, line through log10 of both
    hazard = -np.log(1 - median_ranks(10, 20))
    printed = [
        0.03491627, 0.08701138, 0.14197026, 0.20012618, 0.26187419,
        0.32768741, 0.39813907, 0.47393291, 0.55594606, 0.64529116,
    ]  # fmt: skip
    assert hazard == pytest.approx(printed, abs=5e-9)
    slope, life = weibull_plot_line(FAILURES, 20)
    assert slope == pytest.approx(1.457519, abs=1e-6)
    # intercept -4.116536: the line crosses a hazard of 1 at the characteristic life
    assert -slope * math.log10(life) == pytest.approx(-4.116536, abs=1e-6)
    assert weibull_plot_line(FAILURES[::-1], 20) == (slope, life)


def test_trials_without_failure() -> None:
    # documentation of the Python package reliability, "Sample size required for no failures"
    assert trials_without_failure(0.999, 0.95) == 2995
    for reliability, confidence in ((0.9, 0.9), (0.5, 0.875), (0.8, 0.64), (0.99, 0.5)):
        n = trials_without_failure(reliability, confidence)
        assert reliability**n <= 1 - confidence + 1e-12
        assert n == 1 or reliability ** (n - 1) > 1 - confidence + 1e-12


def test_what_cannot_be_is_refused() -> None:
    for call, word in [
        (lambda: mean_life_bounds(0, 1), "above 0"),
        (lambda: mean_life_bounds(10, 0, ended_by="failure"), "at least 1"),
        (lambda: mean_life_bounds(10, 1, ended_by="rain"), "not rain"),
        (lambda: mean_life_bounds(10, 1, 90), "0.9 for 90 %"),
        (lambda: median_ranks(3, 2), "no more than"),
        (lambda: weibull_plot_line([5, 5], 4), "two different"),
        (lambda: trials_without_failure(1.0, 0.9), "between 0 and 1"),
    ]:
        with pytest.raises(ValueError, match=word):
            call()
