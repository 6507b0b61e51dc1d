"""Counting and linear updates against published figures, plain integration and simulation."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from scipy import integrate, stats

from repairecon.formulas import bayes
from repairecon.formulas.bayes import LinearBelief, linear_update, marginal, t_interval


def chances(counts: np.ndarray) -> np.ndarray:
    """Chances next time: the mean of the belief."""
    return counts / counts.sum()


# A. B. Downey, Think Bayes, 2nd ed., solution notebooks: chapters 4, 6 and 18; figures as printed or computed there


def test_heads_of_a_coin() -> None:
    # chapter 18: 140 heads of 250, Beta(1, 1) before
    after = bayes.dirichlet_update([1, 1], [140, 110])
    assert chances(after)[0] == pytest.approx(0.5595238095238095, abs=1e-12)


def test_lions_tigers_and_bears() -> None:
    after = bayes.dirichlet_update([1, 1, 1], [3, 2, 1])
    assert chances(after) == pytest.approx([0.444444, 0.333333, 0.222222], abs=5e-7)
    assert chances(after)[2] == pytest.approx(0.2222222222222222, abs=1e-12)


def test_goals_in_a_match() -> None:
    shape, rate = 1.4, 1.0
    means = [shape / rate]
    for count, exposure in ((1, 11 / 90), (1, 12 / 90)):
        shape, rate = bayes.gamma_poisson_update(shape, rate, count, exposure)
        means.append(shape / rate)
    assert means == pytest.approx([1.4, 2.1386138613861387, 2.7079646017699113], abs=1e-12)


def test_chance_by_integration() -> None:
    a, b, k, n = 5 * 0.3, 5 * 0.7, 1.2, 1.8  # jobs on units that are only alike count for less than one

    def belief(p: float) -> float:
        return p ** (a - 1) * (1 - p) ** (b - 1) * p**k * (1 - p) ** (n - k)

    whole = integrate.quad(belief, 0, 1)[0]
    mean = integrate.quad(lambda p: p * belief(p), 0, 1)[0] / whole
    after = bayes.dirichlet_update([a, b], [k, n - k])
    assert chances(after)[0] == pytest.approx(mean, rel=1e-7)
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
    assert bayes.gamma_poisson_update(1.5, 12.0, 0, 0) == (1.5, 12.0)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: bayes.dirichlet_update([1, -1], [0, 0]), "below 0"),
        (lambda: bayes.dirichlet_update([0, 0], [0, 0]), "some weight"),
        (lambda: bayes.gamma_poisson_update(1, 1, -1, 1), "below 0"),
    ],
)
def test_what_cannot_be_is_refused(call, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        call()


def test_ends_of_a_chance_never_or_always_seen() -> None:
    assert bayes.chance_interval(0.0, 5.0) == (0.0, 0.0)
    assert bayes.chance_interval(5.0, 0.0) == (1.0, 1.0)


PRIOR = LinearBelief(np.zeros(2), np.diag([1.0, 3.0]), 2.0, 0.15)
X = np.array([[1.0, 0.0], [1.0, 1.0], [1.0, 1.0], [1.0, 0.0], [1.0, 1.0]])
Y = np.array([0.1, 0.5, 0.3, -0.2, 0.6])


def _grid() -> tuple[np.ndarray, ...]:
    """Unnormalised belief on a grid of both coefficients and of the log of the variance, from its meaning."""
    m, g = np.linspace(-2.0, 2.0, 161), np.linspace(-2.0, 2.0, 161)
    v = np.exp(np.linspace(np.log(0.004), np.log(6.0), 91))
    a, b, s2 = np.meshgrid(m, g, v, indexing="ij")
    log = stats.invgamma.logpdf(s2, 2.0, scale=0.15) + np.log(s2)
    log += stats.norm.logpdf(a, 0.0, np.sqrt(s2)) + stats.norm.logpdf(b, 0.0, np.sqrt(s2 / 3.0))
    for row, y in zip(X, Y, strict=True):
        log += stats.norm.logpdf(y, row[0] * a + row[1] * b, np.sqrt(s2))
    weight = np.exp(log - log.max())
    return a, b, s2, weight / weight.sum()


def test_against_a_grid() -> None:
    a, b, s2, weight = _grid()
    after = linear_update(PRIOR, X, Y)
    assert after.mean == pytest.approx([(weight * a).sum(), (weight * b).sum()], abs=1e-5)
    mean_variance = after.scale / (after.shape - 1.0)
    assert mean_variance == pytest.approx((weight * s2).sum(), rel=1e-4)
    location, scale, freedom = marginal(after, [1.0, 1.0])
    low, high = t_interval(location, scale, freedom, 0.8)
    step = 4.0 / 160  # the sums lie on the same lattice: each mass is spread over its own step
    below = [(weight * np.clip((end - a - b) / step + 0.5, 0.0, 1.0)).sum() for end in (low, high)]
    assert below == pytest.approx([0.1, 0.9], abs=1e-3)


def test_order_does_not_matter_and_one_by_one_is_all_at_once() -> None:
    all_at_once = linear_update(PRIOR, X, Y)
    for order in ([4, 2, 0, 1, 3], [3, 1, 0, 2, 4]):
        belief = PRIOR
        for k in order:
            belief = linear_update(belief, X[k], Y[k : k + 1])
        assert belief.mean == pytest.approx(all_at_once.mean, abs=1e-12)
        assert belief.scale == pytest.approx(all_at_once.scale, abs=1e-12)
    nothing = linear_update(PRIOR, np.empty((0, 2)), [])
    assert (nothing.mean.tolist(), nothing.shape, nothing.scale) == ([0.0, 0.0], 2.0, 0.15)


def test_with_hardly_any_prior_it_is_least_squares() -> None:
    loose = LinearBelief(np.zeros(2), np.eye(2) * 1e-9, 1e-9, 1e-9)
    after = linear_update(loose, X, Y)
    assert after.mean == pytest.approx(np.linalg.lstsq(X, Y, rcond=None)[0], abs=1e-6)


def test_the_next_observation_by_simulation() -> None:
    after = linear_update(PRIOR, X, Y)
    rng = np.random.default_rng(5)
    variance = after.scale / rng.gamma(after.shape, size=200_000)
    root = np.linalg.cholesky(np.linalg.inv(after.precision))
    beta = after.mean + (rng.standard_normal((200_000, 2)) @ root.T) * np.sqrt(variance)[:, None]
    drawn = beta @ [1.0, 1.0] + rng.standard_normal(200_000) * np.sqrt(variance)
    low, high = t_interval(*marginal(after, [1.0, 1.0], more=1.0), 0.8)
    assert np.mean(drawn < low) == pytest.approx(0.1, abs=0.003)
    assert np.mean(drawn > high) == pytest.approx(0.1, abs=0.003)


def test_critical_values() -> None:
    # NIST/SEMATECH e-Handbook, section 1.3.6.7.2: upper critical values of Student's t, 0.975 and 0.90
    for freedom, confidence, printed in ((10, 0.95, 2.228), (5, 0.8, 1.476), (30, 0.95, 2.042)):
        assert t_interval(0.0, 1.0, freedom, confidence)[1] == pytest.approx(printed, abs=5e-4)
