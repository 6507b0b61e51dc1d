"""Counting updates against published figures and against plain numeric integration."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from scipy import integrate, stats

from repairecon.formulas import bayes

# A. B. Downey, Think Bayes, 2nd ed., solution notebooks: chapters 4, 6 and 18; figures as printed or computed there


def test_heads_of_a_coin() -> None:
    # chapter 18: 140 heads of 250, Beta(1, 1) before
    after = bayes.dirichlet_update([1, 1], [140, 110])
    assert bayes.dirichlet_mean(after)[0] == pytest.approx(0.5595238095238095, abs=1e-12)
    assert bayes.dirichlet_mode(after)[0] == pytest.approx(0.56, abs=1e-12)
    # chapter 4, the Euro problem: chance of 140 heads or more of a fair coin, and of just 140
    assert bayes.at_least(140, 250, 0.5) == pytest.approx(0.03321057562002166, abs=1e-12)
    assert bayes.multinomial_chance([140, 110], [0.5, 0.5]) == pytest.approx(0.008357181724918188, abs=1e-12)


def test_lions_tigers_and_bears() -> None:
    after = bayes.dirichlet_update([1, 1, 1], [3, 2, 1])
    assert bayes.dirichlet_mean(after) == pytest.approx([0.444444, 0.333333, 0.222222], abs=5e-7)
    assert bayes.dirichlet_mean(after)[2] == pytest.approx(0.2222222222222222, abs=1e-12)
    assert bayes.multinomial_chance([3, 2, 1], [0.4, 0.3, 0.3]) == pytest.approx(0.10368, abs=1e-9)


def test_goals_in_a_match() -> None:
    shape, rate = 1.4, 1.0
    means = [shape / rate]
    for count, exposure in ((1, 11 / 90), (1, 12 / 90)):
        shape, rate = bayes.gamma_poisson_update(shape, rate, count, exposure)
        means.append(shape / rate)
    assert means == pytest.approx([1.4, 2.1386138613861387, 2.7079646017699113], abs=1e-12)


def test_two_findings_in_odds() -> None:
    seen = [(0.75, 0.5), (0.25, 0.5)]
    steps = [bayes.odds_update(1.0, seen[: k + 1]) for k in range(2)]
    assert [odds for odds, _ in steps] == pytest.approx([1.5, 0.75], abs=1e-12)
    assert [p for _, p in steps] == pytest.approx([0.6, 0.42857142857142855], abs=1e-12)
    assert bayes.odds_update(2.0, [(0.5, 0.0)]) == (np.inf, 1.0)


@pytest.mark.parametrize("strength", [1.0, 0.3])
def test_chance_by_integration(strength: float) -> None:
    a, b, k, n = 5 * 0.3, 5 * 0.7, 4, 6

    def belief(p: float) -> float:
        return p ** (a - 1) * (1 - p) ** (b - 1) * (p**k * (1 - p) ** (n - k)) ** strength

    whole = integrate.quad(belief, 0, 1)[0]
    mean = integrate.quad(lambda p: p * belief(p), 0, 1)[0] / whole
    after = bayes.dirichlet_update([a, b], [k, n - k], strength)
    assert bayes.dirichlet_mean(after)[0] == pytest.approx(mean, rel=1e-7)
    low, high = bayes.chance_interval(after[0], after[1], 0.8)
    assert integrate.quad(belief, low, high)[0] / whole == pytest.approx(0.8, abs=1e-7)
    assert integrate.quad(belief, 0, low)[0] / whole == pytest.approx(0.1, abs=1e-7)


def test_rate_by_integration() -> None:
    shape, rate, count, years = 1.5, 12.0, 3, 20.0

    def belief(x: float) -> float:
        return float(x ** (shape - 1) * np.exp(-rate * x) * (x * years) ** count * np.exp(-x * years))

    whole = integrate.quad(belief, 0, 3)[0]
    after = bayes.gamma_poisson_update(shape, rate, count, years)
    mean = integrate.quad(lambda x: x * belief(x), 0, 3)[0] / whole
    assert after[0] / after[1] == pytest.approx(mean, rel=1e-7)
    low, high = bayes.rate_interval(*after, 0.8)
    assert integrate.quad(belief, low, high)[0] / whole == pytest.approx(0.8, abs=1e-7)


def test_order_does_not_matter_and_nothing_changes_nothing() -> None:
    jobs = [[1, 0, 0], [0, 1, 0], [0, 0, 1], [0, 1, 0]]
    prior = np.array([2.5, 1.5, 1.0])
    results = []
    for order in permutations(jobs):
        after = prior
        for job in order:
            after = bayes.dirichlet_update(after, job)
        results.append(after)
    assert np.ptp(results, axis=0) == pytest.approx(np.zeros(3), abs=1e-15)
    assert bayes.dirichlet_update(prior, [0, 0, 0]).tolist() == prior.tolist()
    assert bayes.dirichlet_update(prior, [5, 5, 5], 0.0).tolist() == prior.tolist()
    assert bayes.gamma_poisson_update(1.5, 12.0, 0, 0) == (1.5, 12.0)


def test_tail_of_many_trials() -> None:
    for k, n, p in ((0, 5, 0.8), (3, 9, 0.8), (9, 9, 0.8), (10, 9, 0.8)):
        assert bayes.at_least(k, n, p) == pytest.approx(stats.binom.sf(k - 1, n, p), abs=1e-13)
    assert bayes.multinomial_chance([2, 0, 1], [0.5, 0.0, 0.5]) == pytest.approx(0.375, abs=1e-14)
    assert bayes.multinomial_chance([2, 1, 0], [0.5, 0.0, 0.5]) == 0.0


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: bayes.dirichlet_update([1, -1], [0, 0]), "below 0"),
        (lambda: bayes.dirichlet_update([1, 1], [0, 0], 1.5), "0..1"),
        (lambda: bayes.dirichlet_update([0, 0], [0, 0]), "some weight"),
        (lambda: bayes.dirichlet_mode([1, 3]), "above 1"),
        (lambda: bayes.gamma_poisson_update(1, 1, -1, 1), "below 0"),
    ],
)
def test_what_cannot_be_is_refused(call, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        call()


def test_ends_of_a_chance_never_or_always_seen() -> None:
    assert bayes.chance_interval(0.0, 5.0) == (0.0, 0.0)
    assert bayes.chance_interval(5.0, 0.0) == (1.0, 1.0)
