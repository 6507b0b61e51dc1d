"""Demand of a period against published tables, scipy's distributions and quadrature."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from repairecon.formulas import demand as d
from repairecon.formulas import lives
from repairecon.formulas.renewal import renewals

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


@settings(max_examples=30)
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


@pytest.mark.parametrize(("shape", "known", "ahead", "mean"), [(0.5, 1.0, 2.0, 1.0), (3.0, 10.0, 5.0, 1.5)])
def test_uncertain_rate_reaches_far_enough_and_no_further(shape, known, ahead, mean) -> None:
    chances = d.uncertain_demand(shape, known, ahead)
    numbers = np.arange(len(chances))
    assert chances @ numbers == pytest.approx(mean, abs=1e-9)
    above = stats.nbinom.sf(numbers, shape, known / (known + ahead))
    assert above[-1] <= 1e-12 < above[-2]


def test_uncertain_rate_is_a_mixture() -> None:
    # the meaning: Poisson chances averaged over a gamma rate, by quadrature
    for k in (0, 1, 4):
        mixed, _ = integrate.quad(
            lambda rate, k=k: stats.poisson.pmf(k, rate * 3.0) * stats.gamma.pdf(rate, 2.5, scale=1 / 7.0), 0, 20
        )
        assert d.uncertain_demand(2.5, 7.0, 3.0, 5)[k] == pytest.approx(mixed, abs=1e-9)


@pytest.mark.parametrize("guess", [(0.0, 0.2, 1.0), (0.5, 1.0, 6.0), (0.0, 0.0, 0.4)])
def test_guess_is_a_mixture(guess: tuple[float, float, float]) -> None:
    low, likely, high = guess
    alpha, beta = 1 + 4 * (likely - low) / (high - low), 1 + 4 * (high - likely) / (high - low)
    pert = stats.beta(alpha, beta, loc=low, scale=high - low)
    chances = d.guessed_demand(*guess, 1.5, "pert")
    for k in range(11):
        mixed, _ = integrate.quad(lambda m, k=k: stats.poisson.pmf(k, 1.5 * m) * pert.pdf(m), low, high)
        assert chances[k] == pytest.approx(mixed, abs=1e-6), k
    assert chances @ np.arange(len(chances)) == pytest.approx(1.5 * (low + 4 * likely + high) / 6, abs=1e-9)


def test_more_than_can_be_handled_is_refused() -> None:
    with pytest.raises(ValueError, match="more than 100000 may be asked for"):
        d.poisson_demand(1e9)


CHANCES = st.lists(st.floats(0.0, 1.0), min_size=1, max_size=12).filter(lambda w: sum(w) > 0.01)


def of(weights: list[float]) -> np.ndarray:
    return np.array(weights) / sum(weights)


def test_more_than_one_replacement() -> None:
    # reliability course, solution of the constant-failure-rate problem 3 (ii), as found on the web: batteries
    # replaced at once, rate 0.2, time 5, more than one replacement: 0.2642
    assert d.p_above(d.poisson_demand(0.2 * 5))[1] == pytest.approx(0.2642, abs=0.00005)


def test_spare_drives() -> None:
    # "Spare Parts from Normal Distribution" (public wiki page): 45 units, 90 days, 95 %, MTBF 100, 200, 300 thousand
    # hours. It prints 3, 2, 2 by the normal approximation; the exact Poisson answer of the last is 1
    means = 45 * 2160 / np.array([100e3, 200e3, 300e3])
    assert [d.stock_for(d.poisson_demand(mean), 0.95) for mean in means] == [3, 2, 1]


def test_newsvendor() -> None:
    # Cachon and Terwiesch, Matching Supply with Demand, 3rd ed., ch. 12, Q12.1: demand N(200, 80), price 20, cost 12,
    # salvage 8; chances to 4 digits; 235.2 by the table with its argument rounded up, so the least whole unit is 235
    edges = np.arange(1501.0)
    chances = np.diff(stats.norm.cdf(np.concatenate([[-np.inf], edges]), 200, 80))
    above = d.p_above(chances)
    assert above[400] == pytest.approx(0.0062, abs=0.00005)
    assert 1 - above[100] == pytest.approx(0.1056, abs=0.00005)
    assert above[160] - above[240] == pytest.approx(0.3830, abs=0.0001)
    # the critical fractile 8 / (8 + 4)
    assert d.stock_for(chances, (20 - 12) / (20 - 12 + 12 - 8)) == math.floor(235.2)


@given(CHANCES, st.floats(0.0, 0.999))
def test_assurance_is_met_and_no_more(weights: list[float], assurance: float) -> None:
    chances = of(weights)
    held = d.stock_for(chances, assurance)
    reached = np.cumsum(chances)
    assert reached[held] >= assurance - 1e-9
    assert held == 0 or reached[held - 1] < assurance


@given(CHANCES, CHANCES)
def test_chances_of_more_by_plain_sums(one: list[float], two: list[float]) -> None:
    both = [of((w + [0.0] * 12)[:12]) for w in (one, two)]
    plain = [[math.fsum(row[k + 1 :]) for k in range(12)] for row in both]
    assert d.p_above(both) == pytest.approx(np.array(plain), abs=1e-12)


def test_what_is_missing_is_beyond_the_last_number() -> None:
    cut = d.p_above(d.poisson_demand([0.8, 2.0], 3))
    assert cut == pytest.approx(np.array([stats.poisson.sf(range(4), mean) for mean in (0.8, 2.0)]), abs=1e-12)
    assert (d.stock_for([0.5, 0.3, 0.2], 0.8), d.stock_for([0.1, 0.2, 0.7], 0.3)) == (1, 1)


@pytest.mark.parametrize(
    ("rate", "period", "age", "shape"),
    [(0.5, 3.0, 1.0, 2.5), (0.2, 20.0, 17.0, 3.0), (2.0, 4.0, 0.1, 1.5), (1.0, 1.0, 2.0, 2.0), (5.0, 0.2, 0.1, 2.5)],
)
def test_worn_units_against_a_plain_simulation(rate: float, period: float, age: float, shape: float) -> None:
    """Lives drawn one after another, the first from those that reach the age; the first also by scipy."""
    rng, many = np.random.default_rng(1), 200_000
    scale = 1.0 / rate / math.gamma(1.0 + 1.0 / shape)
    at = scale * ((age / scale) ** shape + rng.exponential(size=many)) ** (1.0 / shape) - age
    count = np.zeros(many, dtype=int)
    while (at < period).any():
        count += at < period
        at = at + scale * rng.weibull(shape, many)
    chances = d.worn_demand([rate], [1.0], period, [age], [shape])
    seen = np.bincount(count, minlength=len(chances))[: len(chances)] / many
    assert chances == pytest.approx(seen, abs=5 * 0.5 / many**0.5)
    first = 1.0 - stats.weibull_min.sf(age + period, shape, scale=scale) / stats.weibull_min.sf(age, shape, scale=scale)
    assert 1.0 - chances[0] == pytest.approx(first, rel=1e-9)


def test_without_wear_an_age_says_nothing() -> None:
    """Shape 1 is the exponential: Poisson whatever the ages, and negative binomial over a gamma rate."""
    plain = d.worn_demand([0.4], [1.0], 2.0, [0.0, 9.0, None], [1.0, 1.0, 3.0])
    assert plain == pytest.approx(stats.poisson(2.4).pmf(np.arange(len(plain))), abs=2e-5)
    rates, weights = d.gamma_nodes(0.5, 5.0)
    mixed = d.worn_demand(rates, weights, 1.0, [0.0, 3.0], [1.0, 1.0])
    assert mixed[:9] == pytest.approx(stats.nbinom(0.5, 5.0 / 7.0).pmf(np.arange(9)), abs=1e-6)


def test_beyond_twelve_mean_lives_it_is_poisson() -> None:
    for rate, period in ((1.0, 15.0), (0.1, 150.0)):
        chances = d.worn_demand([rate], [1.0], period, [3.0], [3.0])
        assert chances == pytest.approx(stats.poisson(15.0).pmf(np.arange(len(chances))), abs=1e-12)


@pytest.mark.parametrize("period", [0.5, 2.0, 10.0])
def test_mean_of_worn_demand_is_the_renewal_function(period: float) -> None:
    life = 1.0 / math.gamma(1.4)
    cdf = lives.cdf(np.linspace(0.0, period, 8001)[:, np.newaxis], life, [2.5])
    chances = d.worn_demand([1.0], [1.0], period, [0.0], [2.5])
    assert chances @ np.arange(len(chances)) == pytest.approx(renewals(cdf)[-1, 0], abs=2e-4)
    # so many numbers that more have a chance below 1e-12, and no more of them
    assert 1.0 - chances.sum() < 2e-12 < chances[-1]


def test_rates_by_quadrature_keep_the_moments() -> None:
    rates, weights = d.gamma_nodes(2.5, 7.0)
    assert rates.shape == weights.shape == (32,)
    for power in (1, 2, 5, 12):
        assert weights @ rates**power == pytest.approx(stats.gamma(2.5, scale=1 / 7.0).moment(power), rel=1e-9)


def test_chances_stop_where_no_more_is_likely() -> None:
    for mean in (1e-7, 1e-3, 0.4, 7.0):
        chances = d.poisson_demand(mean)
        above = stats.poisson(mean).sf(np.arange(len(chances)))
        assert above[-1] <= 1e-12 < above[-2]
