"""Number of failures of worn units against closed forms, quadrature, the renewal function and a seeded simulation."""

import numpy as np
import pytest
from scipy import integrate, stats

from repairecon.formulas import lives
from repairecon.formulas.aging import life_demand
from repairecon.formulas.renewal import half_steps, renewals


def test_chance_alone_is_poisson() -> None:
    cdf = lives.cdf(half_steps(3.0), 1.0, 1.0)
    assert life_demand(cdf, cdf, 14) == pytest.approx(stats.poisson.pmf(range(15), 3.0), abs=2e-5)


@pytest.mark.parametrize("shape", [1.5, 2.5, 4.0])
def test_two_failures_by_quadrature(shape: float) -> None:
    # the first life from age 0.6, then new ones of characteristic life 1, in a period of 2
    half = half_steps(2.0)
    chances = life_demand(lives.cdf(half, 1.0, shape, 0.6), lives.cdf(half, 1.0, shape), 8)
    new = stats.weibull_min(shape)

    def density(t: float) -> float:
        return new.pdf(0.6 + t) / new.sf(0.6)

    one_or_more = 1 - new.sf(2.6) / new.sf(0.6)
    two_or_more, _ = integrate.quad(lambda t: density(t) * new.cdf(2.0 - t), 0, 2)
    assert chances[0] == pytest.approx(1 - one_or_more, abs=1e-12)
    assert chances[1] == pytest.approx(one_or_more - two_or_more, abs=1e-4)


def test_mean_is_the_renewal_function() -> None:
    half = half_steps(5.0, 1000)
    first = np.stack([lives.cdf(half, 2.0, k, a) for k, a in ((0.8, 1.0), (1.0, 0.0), (3.0, 1.5))], axis=1)
    later = np.stack([lives.cdf(half, 2.0, k) for k in (0.8, 1.0, 3.0)], axis=1)
    chances = life_demand(first, later, 30)
    assert chances.sum(axis=1) == pytest.approx([1.0] * 3, abs=1e-9)
    assert chances @ np.arange(31) == pytest.approx(renewals(first, later)[-1], abs=2e-3)


def test_simulated_with_dead_spares() -> None:
    # one spare in ten is dead on arrival; seeded, within four standard errors
    rng, runs = np.random.default_rng(5), 40_000
    half = half_steps(2.0, 400)
    later = 0.1 + 0.9 * lives.cdf(half, 1.0, 2.0)
    chances = life_demand(lives.cdf(half, 1.0, 2.0, 0.8), later, 10)
    uniform = rng.random(runs)
    t = np.sqrt(0.64 - np.log(uniform)) - 0.8
    count = np.zeros(runs, dtype=int)
    while np.any(t <= 2.0):
        count += t <= 2.0
        t = t + np.where(rng.random(runs) < 0.1, 0.0, rng.weibull(2.0, runs))
    for n in range(7):
        share = np.mean(count == n)
        assert chances[n] == pytest.approx(share, abs=4 * np.sqrt(share * (1 - share) / runs) + 1e-4), n


@pytest.mark.parametrize("shape", [1.0, 2.0, 5.0])
def test_error_is_as_stated(shape: float) -> None:
    life = 1.0 / stats.weibull_min(shape).mean()
    coarse, fine = (lives.cdf(half_steps(5.0, n), life, shape) for n in (200, 3200))
    assert np.abs(life_demand(coarse, coarse, 20) - life_demand(fine, fine, 20)).max() < 0.0005


def test_dead_first_unit_is_counted() -> None:
    # it fails at once with 0.3; the one after it lasts
    first, later = np.full(5, 0.3), np.zeros(5)
    assert life_demand(first, later, 2) == pytest.approx([0.7, 0.3, 0.0])


def test_chain_after_a_dead_first_unit() -> None:
    # dead now with 0.5, else it lasts; three or more: half the chance that two exponential lives end within 1 (Erlang)
    later = lives.cdf(half_steps(1.0, 20), 1.0, 1.0)
    chances = life_demand(np.full(41, 0.5), later, 2)
    assert 1 - chances.sum() == pytest.approx(0.5 * stats.erlang(2).cdf(1.0), abs=2e-4)


@pytest.mark.parametrize(
    ("first", "later", "most"),
    [
        ([0, 0.5, 1], [0, 0.5], 3),
        ([0, 0.5, 1.1], [0, 0.5, 1], 3),
        ([0, 0.5, 0.4], [0, 0.5, 1], 3),
        ([0, 0.5, 1], [1, 1, 1], 3),
        ([0, 0.5, 1], [0, 0.5, 1], 0),
    ],
)
def test_what_cannot_be_is_refused(first, later, most) -> None:
    with pytest.raises(ValueError, match=r"\w"):
        life_demand(first, later, most)
