"""Kits, whole units and shared parts against every choice and every use; against marginal analysis where that holds."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plain_carry import choices, joint, stores

from repairecon.formulas import joint_demand as j
from repairecon.formulas.carry_list import carry_list
from repairecon.formulas.carry_program import best_carry
from repairecon.formulas.demand import poisson_demand


def stock_after(store: dict, buy: tuple[int, ...]) -> list[int]:
    return [
        h + sum(n * row[t] for n, row in zip(buy, store["contents"], strict=True)) for t, h in enumerate(store["have"])
    ]


@settings(max_examples=60)
@given(stores())
def test_program_against_every_choice(store: dict) -> None:
    terms = store["demands"], store["saved"]
    now = joint(*terms, store["have"], store["cost_left"])[0]
    best = 0.0
    for buy in choices(store["most"]):
        spend = sum(n * p for n, p in zip(buy, store["cost_buy"], strict=True))
        used = sum(n * u for n, u in zip(buy, store["uses"][0], strict=True))
        if spend <= store["budget"] and used <= store["limits"][0]:
            best = max(best, joint(*terms, stock_after(store, buy), store["cost_left"])[0] - now)
    found = best_carry(**store)
    assert found.gain == pytest.approx(best, abs=1e-6)
    assert found.most_lost == pytest.approx(0.0, abs=1e-6)
    assert found.p_left_out == pytest.approx(0.0, abs=1e-9)
    # what it says to buy is allowed and worth that much
    assert (
        found.spend == sum(n * p for n, p in zip(found.buy.tolist(), store["cost_buy"], strict=True)) <= store["budget"]
    )
    assert (found.buy * store["uses"][0]).sum() <= store["limits"][0]
    assert np.all(found.buy <= store["most"])
    assert joint(*terms, stock_after(store, found.buy.tolist()), store["cost_left"])[0] - now == pytest.approx(
        best, abs=1e-6
    )


@settings(max_examples=80)
@given(stores())
def test_joint_worth_against_every_use(store: dict) -> None:
    stock = stock_after(store, tuple(store["most"]))
    worth, p_short, short = joint(store["demands"], store["saved"], stock, store["cost_left"])
    found = j.joint_worth(store["demands"], store["saved"], stock, store["cost_left"])
    assert found.worth == pytest.approx(worth, abs=1e-8)
    assert found.p_left_out == pytest.approx(0.0, abs=1e-9)
    # all failures of all kinds together; by kind two uses may be worth the same
    assert found.expected_short.sum() == pytest.approx(sum(short), abs=1e-8)
    if sum(map(bool, np.array(store["saved"]).sum(axis=0))) <= 1:
        assert found.expected_short == pytest.approx(short, abs=1e-8)
        assert found.p_short == pytest.approx(p_short, abs=1e-8)


@settings(max_examples=40)
@given(st.integers(0, 2**32))
def test_program_is_marginal_analysis_at_its_steps(seed: int) -> None:
    rng = np.random.default_rng(seed)
    n = int(rng.integers(1, 5))
    weights = rng.integers(0, 20, (n, 4)) + 1
    demands = weights / weights.sum(axis=1, keepdims=True)
    have, most, price = rng.integers(0, 3, n), rng.integers(0, 4, n), rng.integers(1, 40, n)
    short, left = rng.integers(50, 300, n), rng.integers(0, 20, n)
    steps = carry_list(demands, have, price, short, left, most).steps
    for spend, gain in zip(np.cumsum(steps.spend), np.cumsum(steps.gain), strict=True):
        found = best_carry(list(demands), np.diag(short), have, price, most, float(spend), cost_left=left)
        assert found.gain == pytest.approx(gain, abs=1e-6)


@settings(max_examples=20)
@given(stores(), st.lists(st.integers(0, 150), min_size=3, max_size=4))
def test_more_money_is_never_worse(store: dict, budgets: list[int]) -> None:
    gains = [best_carry(**(store | {"budget": b})).gain for b in sorted(budgets)]
    assert all(b >= a - 1e-6 for a, b in pairwise(gains))


def test_whole_pump_or_kit() -> None:
    # seal or bearing fails, each once with 0.2 and 0.1; without: 500. The pump (300) ends either at once; the kit (60)
    # holds a seal and a bearing but wants a press: 0.4 of the time it can be fitted here
    demands = [[0.8, 0.2], [0.9, 0.1]]
    saved = j.saved_by([500.0, 500.0], [[0.4, 0.0, 1.0], [0.0, 0.4, 1.0]])
    contents = [[1, 1, 0], [0, 0, 1]]
    common = {
        "have": [0, 0, 0],
        "cost_buy": [60.0, 300.0],
        "most": 1,
        "contents": contents,
        "cost_left": [3.0, 3.0, 30.0],
    }
    # kit: 0.4 x 500 x (0.2 + 0.1) less 3 for each piece left (0.8 + 0.9)
    kit = best_carry(demands, saved, budget=100.0, **common)
    assert kit.buy.tolist() == [1, 0]
    assert kit.gain == pytest.approx(60.0 - 5.1)
    # pump: 500 x (1 - 0.72) less 30 x 0.72
    pump = best_carry(demands, saved, budget=300.0, **common)
    assert pump.buy.tolist() == [0, 1]
    assert pump.gain == pytest.approx(140.0 - 21.6)
    # with money for both the kit is left ashore: its piece would serve when both fail (0.02 x 203), and loses 6 else
    both = best_carry(demands, saved, budget=360.0, **common)
    assert both.buy.tolist() == [0, 1]
    dear = best_carry(demands, 10.0 * saved, budget=360.0, **common)
    assert dear.buy.tolist() == [1, 1]
    assert dear.gain == pytest.approx(1400.0 - 21.6 + 0.02 * 2003.0 - 6.0)
    # the same with no room for it
    light = best_carry(demands, saved, budget=360.0, uses=[[1.0, 9.0]], limits=[5.0], **common)
    assert light.buy.tolist() == [1, 0]


def test_one_spare_for_two_units() -> None:
    # the same belt on two engines: one pool. Both kinds as one demand, or as two that share a thing
    belt = [0.7, 0.2, 0.1]
    two = best_carry([belt, belt], [[90.0], [90.0]], [0], [12.0], 4, cost_left=4.0)
    one = best_carry([np.convolve(belt, belt)], [[90.0]], [0], [12.0], 4, cost_left=4.0)
    assert two.buy.tolist() == one.buy.tolist()
    assert two.gain == pytest.approx(one.gain, abs=1e-9)


def test_courses_left_out_are_told() -> None:
    demands = [poisson_demand(0.5)] * 4
    saved = np.eye(4) * 100.0 + 20.0
    full = best_carry(demands, saved, [0] * 4, [10.0] * 4, 1, budget=20.0, most_courses=2000)
    few = best_carry(demands, saved, [0] * 4, [10.0] * 4, 1, budget=20.0, most_courses=30)
    assert full.p_left_out < 1e-9 < 0.01 < few.p_left_out < 0.5
    # what was left out could save at most every unit bought
    assert few.gain <= full.gain <= few.gain + few.p_left_out * 2 * 120.0 + 1e-6
    counts, p = j.scenarios(demands, [2] * 4, 30)
    assert len(p) == 30
    assert counts.shape == (30, 4)


def test_groups() -> None:
    found = j.groups([[0, 0, 0, 0], [1, 0, 1, 0], [0, 2, 0, 0], [0, 0, 3, 0]])
    assert [(k.tolist(), t.tolist()) for k, t in found] == [([1, 3], [0, 2]), ([2], [1])]
    assert j.groups(np.zeros((2, 2))) == []


def test_nothing_fits() -> None:
    found = j.joint_worth([[0.5, 0.5]], [[0.0]], [3], 2.0)
    assert found.worth == -6.0
    assert found.p_short.tolist() == found.expected_short.tolist() == [0.5]
    assert best_carry([[0.5, 0.5]], [[0.0]], [0], [5.0], 3).buy.tolist() == [0]


@pytest.mark.parametrize(
    "change",
    [
        {"budget": -1.0},
        {"have": [0]},
        {"saved": [[-5.0, 0.0]]},
        {"contents": [[1, 1]]},
        {"cost_buy": [1.0]},
        {"demands": [[0.9, 0.9]]},
        {"uses": [[1.0, 1.0]], "limits": [3.0, 4.0]},
    ],
)
def test_what_cannot_be_is_refused(change: dict) -> None:
    good = {
        "demands": [[0.5, 0.5]],
        "saved": [[50.0, 20.0]],
        "have": [0, 0],
        "cost_buy": [5.0, 2.0],
        "most": 1,
        "budget": 9.0,
    }
    assert best_carry(**good).gain > 0
    with pytest.raises(ValueError, match=r"\w"):
        best_carry(**(good | change))
    with pytest.raises(ValueError, match=r"0\.20 for 20"):
        j.saved_by([5.0], [[40.0]])
