"""Marginal analysis against every choice there is."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plain_carry import chances, choices, mean_worth

from repairecon.formulas import carry as c
from repairecon.formulas.carry_list import budget_curve, carry_list
from repairecon.formulas.demand import poisson_demand
from repairecon.formulas.shortage import p_any_short, stock_for

MONEY = st.integers(0, 300)


@st.composite
def boats(draw: st.DrawFn) -> dict:
    """Up to three items, mostly worth carrying; costs of being without fall due by unit or once."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32)))
    n = int(rng.integers(1, 4))
    weights = rng.integers(0, 10, (n, int(rng.integers(2, 6)))) + np.eye(1, 1)
    return {
        "demand": weights / weights.sum(axis=1, keepdims=True),
        "have": rng.integers(0, 3, n).tolist(),
        "cost_unit": rng.integers(1, 51, n).tolist(),
        "cost_short": rng.integers(0, 300, n).tolist(),
        "cost_left": rng.integers(0, 20, n).tolist(),
        "most": rng.integers(0, 4, n).tolist(),
        "per_event": bool(rng.integers(0, 2)),
    }


def every_choice(boat: dict) -> list[tuple[float, float]]:
    """Price and worth of all that could be bought."""
    found = []
    items = range(len(boat["have"]))
    for more in choices(boat["most"]):
        worth = 0.0
        for i in items:
            terms = (boat["cost_short"][i], boat["cost_left"][i], boat["per_event"])
            worth += mean_worth(boat["demand"][i], boat["have"][i] + more[i], *terms)
            worth -= mean_worth(boat["demand"][i], boat["have"][i], *terms)
        found.append((sum(m * p for m, p in zip(more, boat["cost_unit"], strict=True)), worth))
    return found


@given(chances(6), MONEY, MONEY, st.booleans(), st.integers(0, 7))
def test_worth_by_plain_means(demand, short, left, per_event, top) -> None:
    found = c.stock_worth([demand], short, left, top, per_event)[0]
    wanted = [
        mean_worth(demand, s, short, left, per_event) - mean_worth(demand, 0, short, left, per_event)
        for s in range(top + 1)
    ]
    assert found == pytest.approx(wanted, abs=1e-9)


@settings(max_examples=150)
@given(boats(), st.integers(0, 150))
def test_against_every_choice(boat: dict, budget: int) -> None:
    everything = every_choice(boat)

    def best(money: float) -> float:
        return max(worth for price, worth in everything if price <= money + 1e-9)

    found = carry_list(**boat, budget=budget)
    assert found.spend <= budget
    assert found.spend == (found.more * boat["cost_unit"]).sum()
    assert (found.spend, pytest.approx(found.worth.sum(), abs=1e-9)) in everything
    assert found.worth.sum() <= best(budget) + 1e-9 <= found.worth.sum() + found.most_lost + 2e-9
    # after each step nothing of that price is worth more
    spend, gain = np.cumsum(found.steps.spend), np.cumsum(found.steps.gain)
    for money, worth in zip(spend, gain, strict=True):
        assert worth == pytest.approx(best(money), abs=1e-9)
        there = carry_list(**boat, budget=float(money))
        assert there.worth.sum() == pytest.approx(worth, abs=1e-9)
    assert carry_list(**boat).worth.sum() == pytest.approx(best(np.inf), abs=1e-9)


@given(boats(), st.lists(st.integers(0, 150), min_size=4, max_size=6))
def test_more_money_is_never_worse(boat: dict, budgets: list[int]) -> None:
    worths = [carry_list(**boat, budget=b).worth.sum() for b in sorted(budgets)]
    assert all(b >= a - 1e-9 for a, b in pairwise(worths))


@given(st.lists(st.floats(0.01, 6), min_size=1, max_size=5), st.integers(1, 200), st.integers(1, 50))
def test_without_limit_it_is_the_newsvendor(means: list[float], short: int, left: int) -> None:
    demand = poisson_demand(means)
    found = carry_list(demand, [0] * len(means), 7.0, short, left, demand.shape[1])
    assert found.more.tolist() == [int(stock_for(row, short / (short + left))) for row in demand]
    assert not found.missing.any()


@given(boats())
def test_curve_is_each_point_anew(boat: dict) -> None:
    found = carry_list(**boat)
    critical = np.arange(len(boat["have"])) != 1
    keys = ("demand", "have", "cost_short", "cost_left", "per_event")
    curve = budget_curve(**{k: boat[k] for k in keys}, steps=found.steps, critical=critical)
    stock = np.array(boat["have"])
    for k in range(len(curve.spend)):
        short, left, p = 0.0, 0.0, []
        for i, asked in enumerate(boat["demand"]):
            units = sum(q * max(n - stock[i], 0) for n, q in enumerate(asked))
            p.append(sum(q for n, q in enumerate(asked) if n > stock[i]))
            short += boat["cost_short"][i] * (p[-1] if boat["per_event"] else units)
            left += boat["cost_left"][i] * sum(q * max(stock[i] - n, 0) for n, q in enumerate(asked))
        assert curve.cost_short[k] == pytest.approx(short, abs=1e-8)
        assert curve.cost_left[k] == pytest.approx(left, abs=1e-8)
        wanted = p_any_short(np.minimum(np.array(p)[critical], 1.0))
        assert curve.p_critical_short[k] == pytest.approx(wanted, abs=1e-8)
        if k < len(found.steps.item):
            stock[found.steps.item[k]] += found.steps.units[k]
    assert curve.spend == pytest.approx(np.concatenate([[0.0], np.cumsum(found.steps.spend)]))


def test_list_by_hand() -> None:
    # chances of 0, 1, 2; being without costs 100 a unit, one left over 10. Impeller: none aboard, P(D > 0) = 0.5,
    # P(D > 1) = 0.2: the first is worth 50 - 5, the second 20 - 8. Belt: 3 aboard, P(D > 2) = 0: 2 are worth it
    demand = [[0.5, 0.3, 0.2], [0.2, 0.5, 0.3]]
    found = carry_list(demand, [0, 3], [30.0, 20.0], 100.0, 10.0, 4, budget=45.0)
    assert found.more.tolist() == [1, 0]
    assert found.worth == pytest.approx([45.0, 0.0])
    assert found.missing.tolist() == [1, 0]
    assert found.surplus.tolist() == [0, 1]
    assert found.p_short_before == pytest.approx([0.5, 0.0])
    assert found.p_short_after == pytest.approx([0.2, 0.0])
    # 15 left over at 12 worth for 30: at most 6 more
    assert found.most_lost == pytest.approx(6.0)


def test_two_are_needed_at_once() -> None:
    # a job takes two seals and one is no use: the step is the pair
    found = carry_list([[0.6, 0.0, 0.4]], [0], 5.0, 50.0, 0.0, 3, per_event=True)
    assert found.steps.units.tolist() == [2]
    assert found.steps.gain == pytest.approx([20.0])
    # not enough for the pair: nothing, and the bound says so
    poor = carry_list([[0.6, 0.0, 0.4]], [0], 5.0, 50.0, 0.0, 3, budget=9.0, per_event=True)
    assert poor.more.tolist() == [0]
    assert poor.most_lost == pytest.approx(18.0)


def test_half_a_pair() -> None:
    # 2 wanted with 0.4, 3 with 0.1. One seal aboard is no use alone and costs 2 lying there, but it is half of a pair
    found = carry_list([[0.5, 0.0, 0.4, 0.1]], [1], 5.0, 50.0, 2.0, 1, per_event=True)
    assert (found.more.tolist(), found.surplus.tolist()) == ([1], [0])
    # with none to add it is surplus
    assert carry_list([[0.5, 0.0, 0.4, 0.1]], [1], 5.0, 50.0, 2.0, 0, per_event=True).surplus.tolist() == [1]
    # steps are the pair and then the third: money for one buys none, not the third without the pair
    steps = carry_list([[0.5, 0.0, 0.4, 0.1]], [0], 5.0, 50.0, 0.0, 3, per_event=True).steps
    assert steps.units.tolist() == [2, 1]
    assert c.carry_for(steps, 1, 5.0)[:3] == (np.array([0]), 0.0, 0.0)


def test_left_over_by_hand() -> None:
    # half a year: a tenth of the shelf life, and of the rest 1 - sqrt(0.64) = 0.2; 2 for the locker
    assert c.cost_left_over([100.0, 0.0], 0.1, 0.36, 182.5, 2.0) == pytest.approx([30.0, 2.0])


def test_no_items() -> None:
    assert c.efficient_steps(np.zeros((0, 1)), []).item.size == 0
    assert c.efficient_steps([[0.0, -4.0]], [3.0]).item.size == 0


@pytest.mark.parametrize(
    "call",
    [
        lambda: c.cost_left_over(10.0, 20.0, 0.1, 90),
        lambda: c.stock_worth([[0.5, 0.5]], -1.0, 0.0, 2),
        lambda: c.worth_of_more([[0.0, 1.0]], [1], 1),
        lambda: c.worth_of_more([[0.0, 1.0]], [-1], 1),
        lambda: c.efficient_steps([[0.0, 1.0]], -1.0),
        lambda: c.carry_for(c.efficient_steps([[0.0, 1.0]], 1.0), 1, -1.0),
    ],
)
def test_what_cannot_be_is_refused(call) -> None:
    with pytest.raises(ValueError, match=r"\w"):
        call()
