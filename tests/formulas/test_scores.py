"""Scoring rules against worked figures, and proper by search; coverage against published limits and simulation."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from repairecon.formulas import scores


@pytest.mark.parametrize("truth", [0.15, 0.5, 0.83])
def test_brier_score_is_proper(truth: float) -> None:
    happened = np.arange(1000) < 1000 * truth
    tried = np.linspace(0.01, 0.99, 99)
    score = np.array([scores.brier_score(np.full(1000, p), happened) for p in tried])
    assert tried[score.argmin()] == pytest.approx(truth, abs=1e-9)


def test_brier_by_hand() -> None:
    # four days of rain forecasts 0.9, 0.1, 0.8, 0.3, rain on the first and third: (0.01 + 0.01 + 0.04 + 0.09) / 4
    assert scores.brier_score([0.9, 0.1, 0.8, 0.3], [True, False, True, False]) == pytest.approx(0.0375)
    assert scores.brier_score(np.full(10, 0.5), np.arange(10) < 3) == pytest.approx(0.25)


def test_groups_of_chances() -> None:
    groups = scores.calibration_groups([0.1, 0.15, 0.9, 1.0], [False, True, True, True], [0.0, 0.5, 1.0], 0.8)
    assert [(g.stated, g.happened, g.many) for g in groups] == [
        (pytest.approx(0.125), 0.5, 2),
        (pytest.approx(0.95), 1.0, 2),
    ]
    assert groups[0].low < 0.5 < groups[0].high


def test_limits_of_a_share() -> None:
    # NIST/SEMATECH e-Handbook, section 7.2.4.1 (from memory): 4 of 20, 90 %, exact: 0.0714 to 0.4010
    assert scores.share_interval(4, 20, 0.9, "exact") == pytest.approx((0.0714, 0.4010), abs=5e-5)
    # Brown, Cai and DasGupta (2001), table 5 (from memory): Jeffreys 95 %, n = 10: 2 of 10 gives 0.044 to 0.503
    assert scores.share_interval(2, 10, 0.95) == pytest.approx((0.044, 0.503), abs=5e-4)
    assert scores.share_interval(0, 10, 0.9)[0] == 0.0
    assert scores.share_interval(10, 10, 0.9)[1] == 1.0


def test_exact_limits_keep_their_promise() -> None:
    for truth in (0.1, 0.5, 0.8):
        held = sum(
            stats.binom.pmf(k, 15, truth)
            for k in range(16)
            if (lambda low, high: low <= truth <= high)(*scores.share_interval(k, 15, 0.9, "exact"))
        )
        assert held >= 0.9


def test_places_of_a_right_range_are_normal() -> None:
    truth = stats.lognorm(0.4, scale=100.0)
    p10, p50, p90 = truth.ppf([0.1, 0.5, 0.9])
    u = (np.arange(2000) + 0.5) / 2000
    z = scores.places(truth.ppf(u), p10, p50, p90)
    assert z == pytest.approx(stats.norm.ppf(u), abs=1e-9)
    plain = scores.places([-5.0, 0.0, 10.0], -5.0, 0.0, 5.0)
    assert plain == pytest.approx(stats.norm.ppf(0.9) * np.array([-1.0, 0.0, 2.0]))
    assert np.isnan(scores.places(3.0, 2.0, 2.0, 2.0))
    # on the log scale below 1 too: the square root of 2 above the middle is half way to the upper end
    half = scores.places([0.4 * 2**0.5, 0.4 / 2], 0.2, 0.4, 0.8)
    assert half == pytest.approx(stats.norm.ppf(0.9) * np.array([0.5, -1.0]))
    # the middle itself lies on the upper side
    assert scores.places(2.0, 2.0, 2.0, 5.0) == 0.0
    assert np.isnan(scores.places(2.0, 1.0, 2.0, 2.0))


def test_widening_by_brute_force() -> None:
    """The least factor on a fine grid that takes in eight of every ten, and the ends by a general-purpose library."""
    rng = np.random.default_rng(2)
    for n in (1, 5, 9, 14, 25, 80):
        z = 1.7 * rng.standard_normal(n)
        factor, low, high = scores.widening(z, 0.8, 0.9)
        tried = np.arange(0.0, 8.0, 0.001)
        held = (abs(z) <= tried[:, None] * stats.norm.ppf(0.9)).sum(axis=1)
        assert factor == pytest.approx(tried[int(np.argmax(held >= 0.8 * n))], abs=0.0011)
        far = sorted(abs(z) / stats.norm.ppf(0.9))
        ranks = np.arange(n + 1)
        below = ranks[stats.binom.cdf(ranks - 1, n, 0.8) <= 0.05].tolist()
        above = ranks[1:][stats.binom.sf(ranks[1:] - 1, n, 0.8) <= 0.05].tolist()
        assert low == pytest.approx(far[max(below) - 1] if max(below) else 0.0)
        assert high == pytest.approx(far[min(above) - 1] if above else np.inf)


def test_what_no_widening_takes_in_counts_as_outside() -> None:
    assert scores.widening([np.nan, 0.1, 0.2, 0.3], 0.8, 0.9)[0] == np.inf
    assert scores.widening([np.nan, 0.1, 0.2, 0.3, 0.4], 0.8, 0.9)[0] == pytest.approx(0.4 / 1.28155, rel=1e-4)
