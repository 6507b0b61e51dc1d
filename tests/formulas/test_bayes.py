"""Ranges of chances and linear updates against published figures, plain integration and simulation."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate, stats

from repairecon.formulas import bayes
from repairecon.formulas.bayes import LinearBelief, belief_interval, linear_update


def test_chance_by_integration() -> None:
    a, b, k, n = 5 * 0.3, 5 * 0.7, 1.2, 1.8  # jobs on units that are only alike count for less than one

    def belief(p: float) -> float:
        return p ** (a - 1) * (1 - p) ** (b - 1) * p**k * (1 - p) ** (n - k)

    whole = integrate.quad(belief, 0, 1)[0]
    low, high = bayes.chance_interval(a + k, b + n - k, 0.8)
    assert integrate.quad(belief, low, high)[0] / whole == pytest.approx(0.8, abs=1e-7)
    assert integrate.quad(belief, 0, low)[0] / whole == pytest.approx(0.1, abs=1e-7)


def test_half_a_job_either_way_is_the_arcsine_law() -> None:
    # Beta(1/2, 1/2) in closed form: the p-quantile is sin(pi p / 2)**2
    wanted = np.sin(np.pi / 2 * np.array([0.05, 0.95])) ** 2
    assert bayes.chance_interval(0.5, 0.5, 0.9) == pytest.approx(wanted)


def test_ends_of_a_chance_never_or_always_seen() -> None:
    assert bayes.chance_interval(0.0, 5.0, 0.8) == (0.0, 0.0)
    assert bayes.chance_interval(5.0, 0.0, 0.8) == (1.0, 1.0)
    assert bayes.chance_interval(0.5, 0.0, 0.8) == (1.0, 1.0)


PRIOR = LinearBelief(np.zeros(2), np.diag([1.0, 3.0]), 2.0, 0.15)
X = np.array([[1.0, 0.0], [1.0, 1.0], [1.0, 1.0], [1.0, 0.0], [1.0, 1.0]])
Y = np.array([0.1, 0.5, 0.3, -0.2, 0.6])


def _grid() -> tuple[np.ndarray, ...]:
    """Unnormalised belief on a grid of both coefficients and of the log of the variance, from its meaning."""
    m, g = np.linspace(-2.0, 2.0, 161), np.linspace(-2.0, 2.0, 161)
    v = np.exp(np.linspace(np.log(0.004), np.log(6.0), 46))
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
    _, low, high = belief_interval(after, [1.0, 1.0], 0.0, 0.8)
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
    _, low, high = belief_interval(after, [1.0, 1.0], more=1.0, confidence=0.8)
    assert np.mean(drawn < low) == pytest.approx(0.1, abs=0.003)
    assert np.mean(drawn > high) == pytest.approx(0.1, abs=0.003)


def test_critical_values() -> None:
    # NIST/SEMATECH e-Handbook, section 1.3.6.7.2: upper critical values of Student's t, 0.975 and 0.90
    for freedom, confidence, printed in ((10, 0.95, 2.228), (5, 0.8, 1.476), (30, 0.95, 2.042)):
        belief = LinearBelief(np.zeros(1), np.eye(1), freedom / 2, freedom / 2)  # of scale 1
        assert belief_interval(belief, [1.0], 0.0, confidence)[2] == pytest.approx(printed, abs=5e-4)
