"""Demands put together, against every pair, scipy and a published claim."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from repairecon.formulas import demand_sums as s
from repairecon.formulas.demand import poisson_demand
from repairecon.formulas.shortage import p_short

CHANCES = st.lists(st.floats(0.0, 1.0), min_size=1, max_size=12).filter(lambda w: sum(w) > 0.01)


def of(weights: list[float]) -> np.ndarray:
    return np.array(weights) / sum(weights)


def test_common_pool() -> None:
    # Trivedi, Probability and Statistics, 2nd ed., ch. 6.4 problem 2: rate 0.002 an hour, 1300, 1500, 1200 h, 90 %: the
    # common supply needs fewer. Poisson quantiles by scipy
    means = 0.002 * np.array([1300.0, 1500.0, 1200.0])
    separate, common = s.separate_or_common([poisson_demand(m) for m in means], 0.9)
    assert separate.tolist() == [int(stats.poisson.ppf(0.9, m)) for m in means] == [5, 5, 4]
    assert common == int(stats.poisson.ppf(0.9, means.sum())) == 12
    assert common < separate.sum()


@given(CHANCES, CHANCES)
def test_total_is_every_pair(a: list[float], b: list[float]) -> None:
    found = s.total_demand([of(a), of(b)])
    wanted = np.zeros(len(a) + len(b) - 1)
    for i, p in enumerate(of(a)):
        for j, q in enumerate(of(b)):
            wanted[i + j] += p * q
    assert found == pytest.approx(wanted, abs=1e-12)


def test_total_of_like_units_is_poisson() -> None:
    assert s.total_demand([poisson_demand(0.3, 30)] * 4, 8) == pytest.approx(
        stats.poisson.pmf(range(9), 1.2), abs=1e-12
    )
    assert s.total_demand([[1.0]], 3).tolist() == [1.0, 0.0, 0.0, 0.0]


def test_pieces_of_jobs() -> None:
    pieces = s.demand_in_batches(poisson_demand([0.4, 1.1], 6), 3, sure=2)
    for k, job in enumerate(poisson_demand(1.1, 6)):
        assert pieces[1, 2 + 3 * k] == pytest.approx(job, rel=1e-12)
    assert pieces.sum(axis=1) == pytest.approx(poisson_demand([0.4, 1.1], 6).sum(axis=1))


@given(st.lists(st.floats(0.01, 1.0), min_size=1, max_size=5), st.floats(0.2, 1.0), st.integers(0, 6))
def test_dead_spares_by_the_working_ones(weights: list[float], p_works: float, stock: int) -> None:
    # the meaning: of the stock a binomial number works; it is enough if no more fail
    failures = of(weights)
    working = stats.binom.pmf(np.arange(stock + 1), stock, p_works)
    enough = sum(w * failures[: n + 1].sum() for n, w in enumerate(working))
    assert 1 - p_short(s.demand_for_duds(failures, p_works, stock + 1), stock) == pytest.approx(enough, abs=1e-12)


def test_sound_spares_change_nothing() -> None:
    assert s.demand_for_duds([0.5, 0.3, 0.2], 1.0, 3).tolist() == [0.5, 0.3, 0.2, 0.0]


def test_views_and_tables() -> None:
    few, many = poisson_demand(0.2), poisson_demand(3.0)
    mixed = s.mixed_demand([few, many], [0.9, 0.1])
    k = np.arange(len(many))
    assert mixed == pytest.approx(0.9 * stats.poisson.pmf(k, 0.2) + 0.1 * stats.poisson.pmf(k, 3.0), abs=1e-11)
    assert s.demand_table([few, many]).shape == (2, len(many))
    assert s.demand_table([]).shape == (0, 1)


@pytest.mark.parametrize(
    "call",
    [
        lambda: s.demand_in_batches([1.0], 0),
        lambda: s.demand_in_batches([1.0], 1, -1),
        lambda: s.mixed_demand([[1.0]], [0.9]),
        lambda: s.mixed_demand([[1.0]], [0.5, 0.5]),
        lambda: s.demand_for_duds([1.0], 0.0),
        lambda: s.demand_table([[0.9, 0.9]]),
        lambda: s.total_demand([[-0.1, 1.1]]),
    ],
)
def test_what_cannot_be_is_refused(call) -> None:
    with pytest.raises(ValueError, match=r"\w"):
        call()
