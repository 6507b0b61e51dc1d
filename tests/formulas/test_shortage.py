"""What a stock is good for, against published examples, scipy and plain sums."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from repairecon.formulas import shortage as s
from repairecon.formulas.demand import poisson_demand

CHANCES = st.lists(st.floats(0.0, 1.0), min_size=1, max_size=12).filter(lambda w: sum(w) > 0.01)


def of(weights: list[float]) -> np.ndarray:
    return np.array(weights) / sum(weights)


def test_more_than_one_replacement() -> None:
    # reliability course, solution of the constant-failure-rate problem 3 (ii), as found on the web: batteries
    # replaced at once, rate 0.2, time 5, more than one replacement: 0.2642
    assert s.p_short(poisson_demand(0.2 * 5), 1) == pytest.approx(0.2642, abs=0.00005)


def test_spare_drives() -> None:
    # "Spare Parts from Normal Distribution" (public wiki page): 45 units, 90 days, 95 %, MTBF 100, 200, 300 thousand
    # hours. It prints 3, 2, 2 by the normal approximation; the exact Poisson answer of the last is 1
    means = 45 * 2160 / np.array([100e3, 200e3, 300e3])
    assert s.stock_for(poisson_demand(means), 0.95).tolist() == [3, 2, 1]


def test_newsvendor() -> None:
    # Cachon and Terwiesch, Matching Supply with Demand, 3rd ed., ch. 12, Q12.1: demand N(200, 80), price 20, cost 12,
    # salvage 8; chances to 4 digits; 235.2 by the table with its argument rounded up, so the least whole unit is 235
    edges = np.arange(1501.0)
    chances = np.diff(stats.norm.cdf(np.concatenate([[-np.inf], edges]), 200, 80))
    assert s.p_short(chances, 400) == pytest.approx(0.0062, abs=0.00005)
    assert 1 - s.p_short(chances, 100) == pytest.approx(0.1056, abs=0.00005)
    assert s.p_short(chances, 160) - s.p_short(chances, 240) == pytest.approx(0.3830, abs=0.0001)
    # the critical fractile 8 / (8 + 4)
    assert int(s.stock_for(chances, (20 - 12) / (20 - 12 + 12 - 8))) == math.floor(235.2)


@given(CHANCES, st.integers(0, 15))
def test_by_plain_sums(weights: list[float], stock: int) -> None:
    chances = of(weights)
    assert s.p_short(chances, stock) == pytest.approx(sum(p for k, p in enumerate(chances) if k > stock), abs=1e-12)
    wanted = sum(p * max(k - stock, 0) for k, p in enumerate(chances))
    assert s.expected_short(chances, stock) == pytest.approx(wanted, abs=1e-12)


@given(st.floats(0.01, 20), st.integers(0, 30))
def test_units_short_of_a_poisson_demand(mean: float, stock: int) -> None:
    # the loss function in closed form: mean P(D > stock - 1) - stock P(D > stock)
    closed = mean * stats.poisson.sf(stock - 1, mean) - stock * stats.poisson.sf(stock, mean)
    assert s.expected_short(poisson_demand(mean), stock) == pytest.approx(closed, abs=1e-9)


@given(CHANCES, st.floats(0.0, 0.999))
def test_assurance_is_met_and_no_more(weights: list[float], assurance: float) -> None:
    chances = of(weights)
    held = int(s.stock_for(chances, assurance))
    reached = np.cumsum(chances)
    assert reached[held] >= assurance - 1e-9
    assert held == 0 or reached[held - 1] < assurance


def test_what_is_missing_is_beyond_the_last_number() -> None:
    cut = poisson_demand([0.8, 2.0], 3)
    assert s.p_short(cut, 1) == pytest.approx(stats.poisson.sf(1, [0.8, 2.0]), abs=1e-12)
    assert s.p_short(cut, 9) == pytest.approx(stats.poisson.sf(3, [0.8, 2.0]), abs=1e-12)


def test_many_items_at_once() -> None:
    both = np.array([[0.5, 0.3, 0.2], [0.1, 0.2, 0.7]])
    assert s.p_short(both, [1, 0]) == pytest.approx([0.2, 0.9])
    assert s.expected_short(both, [0, 2]) == pytest.approx([0.7, 0.0])
    assert s.stock_for(both, [0.8, 0.3]).tolist() == [1, 1]


def test_any_short_of_several() -> None:
    # every combination of three items written out
    p = [0.1, 0.25, 0.6]
    none = sum(
        np.prod([q if bit else 1 - q for q, bit in zip(p, bits, strict=True)])
        for bits in np.ndindex(2, 2, 2)
        if not any(bits)
    )
    assert s.p_any_short(p) == pytest.approx(1 - none)
    assert s.p_any_short([]) == 0.0
    assert s.p_any_short([0.2, 1.0]) == 1.0
