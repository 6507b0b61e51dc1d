"""Demand of a period against published tables, scipy's distributions and quadrature."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

from repairecon.formulas import demand as d
from repairecon.formulas import shortage as s

# cumulative Poisson chances P(D <= k), as printed to 4 decimals in the tables of introductory texts (from memory)
CUMULATIVE = {
    0.5: [0.6065, 0.9098, 0.9856, 0.9982, 0.9998],
    1.0: [0.3679, 0.7358, 0.9197, 0.9810, 0.9963, 0.9994],
    2.0: [0.1353, 0.4060, 0.6767, 0.8571, 0.9473, 0.9834],
    5.0: [0.0067, 0.0404, 0.1247, 0.2650, 0.4405, 0.6160],
}


@pytest.mark.parametrize("mean", CUMULATIVE)
def test_published_poisson_table(mean: float) -> None:
    chances = d.poisson_demand(mean)
    assert np.cumsum(chances)[: len(CUMULATIVE[mean])] == pytest.approx(CUMULATIVE[mean], abs=0.00005)


@given(st.lists(st.floats(0, 300), min_size=1, max_size=5))
def test_poisson_by_scipy(means: list[float]) -> None:
    chances = d.poisson_demand(means)
    k = np.arange(chances.shape[-1])
    assert chances == pytest.approx(stats.poisson.pmf(k, np.array(means)[:, np.newaxis]), rel=1e-9, abs=1e-300)
    assert np.all(1.0 - chances.sum(axis=1) < 2e-12)


@given(st.floats(0.05, 30), st.floats(0.1, 100), st.floats(0, 50))
def test_uncertain_rate_by_scipy(shape: float, known: float, ahead: float) -> None:
    chances = d.uncertain_demand(shape, known, ahead, 40)
    wanted = stats.nbinom.pmf(np.arange(41), shape, known / (known + ahead))
    assert chances == pytest.approx(wanted, rel=1e-8, abs=1e-200)


def test_uncertain_rate_reaches_far_enough() -> None:
    chances = d.uncertain_demand([0.5, 3.0], [1.0, 10.0], [2.0, 5.0])
    assert np.all(1.0 - chances.sum(axis=1) < 2e-12)
    assert chances.shape[1] > 20
    assert (chances * np.arange(chances.shape[1])).sum(axis=1) == pytest.approx([1.0, 1.5], abs=1e-9)


def test_uncertain_rate_is_a_mixture() -> None:
    # the meaning: Poisson chances averaged over a gamma rate, by quadrature
    for k in (0, 1, 4):
        mixed, _ = integrate.quad(
            lambda rate, k=k: stats.poisson.pmf(k, rate * 3.0) * stats.gamma.pdf(rate, 2.5, scale=1 / 7.0), 0, 20
        )
        assert d.uncertain_demand(2.5, 7.0, 3.0, 5)[k] == pytest.approx(mixed, abs=1e-9)


def test_learned_rate_is_bayes() -> None:
    # posterior mean of the rate on a fine grid of rates
    rates = np.linspace(1e-6, 0.05, 200_001)
    weight = stats.gamma.pdf(rates, 1.5, scale=1 / 300.0) * stats.poisson.pmf(4, rates * 700.0)
    shape, known = d.learned_rate(4, 700.0, 1.5, 300.0)
    assert shape / known == pytest.approx(float((rates * weight).sum() / weight.sum()), rel=1e-6)


@pytest.mark.parametrize("guess", [(0.0, 0.2, 1.0), (0.5, 1.0, 6.0), (0.0, 0.0, 0.4)])
def test_guess_is_a_mixture(guess: tuple[float, float, float]) -> None:
    low, likely, high = guess
    alpha, beta = 1 + 4 * (likely - low) / (high - low), 1 + 4 * (high - likely) / (high - low)
    pert = stats.beta(alpha, beta, loc=low, scale=high - low)
    chances = d.guessed_demand(*guess, seasons=1.5)
    for k in range(11):
        mixed, _ = integrate.quad(lambda m, k=k: stats.poisson.pmf(k, 1.5 * m) * pert.pdf(m), low, high)
        assert chances[k] == pytest.approx(mixed, abs=1e-6), k
    assert chances @ np.arange(len(chances)) == pytest.approx(1.5 * (low + 4 * likely + high) / 6, abs=1e-9)


@pytest.mark.parametrize(
    "call",
    [
        lambda: d.poisson_demand(-1.0),
        lambda: d.poisson_demand(math.inf),
        lambda: d.poisson_demand(1.0, -1),
        lambda: d.poisson_demand(1e9),
        lambda: d.uncertain_demand(0.0, 1.0, 1.0),
        lambda: d.uncertain_demand(1.0, 1.0, -1.0),
        lambda: d.learned_rate(1, 1, 0, 1),
        lambda: d.guessed_demand(-0.1, 0, 1),
        lambda: d.guessed_demand(2, 1, 3),
        lambda: s.p_short([0.5, 0.6], 0),
        lambda: s.p_short([0.5, 0.5], -1),
        lambda: s.p_short([0.5, 0.5], 0.5),
        lambda: s.stock_for([0.5, 0.25], 0.9),
        lambda: s.stock_for([0.5, 0.5], 1.0),
        lambda: s.p_any_short([1.1]),
    ],
)
def test_what_cannot_be_is_refused(call) -> None:
    with pytest.raises(ValueError, match=r"\w"):
        call()
