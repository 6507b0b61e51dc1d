"""Jobs that take several things, kits, whole units and shared parts: against every choice and every use."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plain_carry import choices, joint, stores

from repairecon.formulas.carry_program import Mode, _scenarios, best_carry, groups, jobs_worth
from repairecon.formulas.demand import poisson_demand
from repairecon.formulas.integer_program import Found, Program


def with_modes(store: dict) -> dict:
    return {**store, "modes": [Mode(*m) for m in store["modes"]]}


def allowed(store: dict, buy: tuple[int, ...]) -> bool:
    return all(sum(n * u for n, u in zip(buy, use, strict=True)) <= limit for use, limit in store["limits"])


@settings(max_examples=80)
@given(stores())
def test_program_against_every_choice(store: dict) -> None:
    def worth(buy: tuple[int, ...]) -> float:
        stock = [h + n for h, n in zip(store["have"], buy, strict=True)]
        return joint(store["demands"], store["modes"], stock, store["cost_left"])[0]

    now = worth((0,) * len(store["have"]))
    best = max((worth(buy) - now for buy in choices(store["most"]) if allowed(store, buy)), default=0.0)
    found = best_carry(**with_modes(store))
    assert found.gain == pytest.approx(best, abs=1e-6)
    assert found.most_lost == pytest.approx(0.0, abs=1e-6)
    # what it says to buy is allowed and worth that much
    buy = tuple(found.buy.tolist())
    assert found.spend == pytest.approx(sum(n * p for n, p in zip(buy, store["cost_buy"], strict=True)))
    assert allowed(store, buy)
    assert all(n <= m for n, m in zip(buy, store["most"], strict=True))
    assert worth(buy) - now == pytest.approx(best, abs=1e-6)


@settings(max_examples=80)
@given(stores())
def test_worth_against_every_use(store: dict) -> None:
    stock = [h + m for h, m in zip(store["have"], store["most"], strict=True)]
    worth, p_short, short = joint(store["demands"], store["modes"], stock, store["cost_left"])
    found = jobs_worth(store["demands"], [Mode(*m) for m in store["modes"]], stock, store["cost_left"])
    assert found.worth == pytest.approx(worth, abs=1e-8)
    assert found.saved >= found.worth - 1e-9
    if len(store["demands"]) == 1:  # by kind two uses may be worth the same
        assert found.expected_short == pytest.approx(short, abs=1e-8)
        assert found.p_short == pytest.approx(p_short, abs=1e-8)


@settings(max_examples=30)
@given(stores(), st.lists(st.integers(0, 150), min_size=2, max_size=3))
def test_more_money_is_never_worse(store: dict, budgets: list[int]) -> None:
    gains = [best_carry(**{**with_modes(store), "limits": [(store["cost_buy"], b)]}).gain for b in sorted(budgets)]
    assert all(b >= a - 1e-6 for a, b in pairwise(gains))


def test_a_pump_worth_188_goes_before_fuses_worth_39() -> None:
    """By hand: the best by worth per money first would buy the fuses, and then the pump is out of reach."""
    demands = [[0.61, 0.39], [0.53, 0.47]]
    modes = [Mode(0, ((0, 1),), 100.0), Mode(1, ((1, 1),), 400.0)]
    price = [5.0, 98.0]
    found = best_carry(demands, modes, [0, 0], price, [5, 1], cost_left=[0, 0], limits=[(price, 100.0)])
    assert found.buy.tolist() == [0, 1]
    assert found.gain == pytest.approx(188.0)


def test_a_job_takes_two() -> None:
    # one aboard: the first job needs one more; by hand P(D >= 1) = 0.4, P(D >= 2) = 0.1
    demand, pair = [[0.6, 0.3, 0.1]], [Mode(0, ((0, 2),), 100.0)]
    for most, buys, gain in ((0, 0, 0.0), (1, 1, 40.0), (2, 1, 40.0), (3, 3, 50.0)):
        found = best_carry(demand, pair, [1], [1.0], [most], cost_left=[0.0])
        assert found.gain == pytest.approx(gain)
        assert found.buy.tolist() in ([buys], [most])
    assert best_carry(demand, pair, [1], [1.0], [3], cost_left=[1.0]).buy.tolist() == [3]
    assert best_carry(demand, pair, [1], [1.0], [2], cost_left=[1.0]).buy.tolist() == [1]


def test_a_set_is_bought_whole_or_not_at_all() -> None:
    # a bearing job takes two bearings and a seal; a seal job a seal. 20 for a bearing, 10 for a seal
    modes = [Mode(0, ((0, 2), (1, 1)), 500.0), Mode(1, ((1, 1),), 40.0)]
    demands = [[0.8, 0.2], [0.9, 0.1]]
    terms = {"have": [0, 0], "cost_buy": [20.0, 10.0], "most": [3, 3], "cost_left": [0.5, 0.5]}
    short = best_carry(demands, modes, limits=[([20.0, 10.0], 49.0)], **terms)
    assert short.buy.tolist() == [0, 1]  # the set is out of reach: a seal alone, 0.1 x 40 less what it loses
    assert short.gain == pytest.approx(0.1 * 40.5 - 0.5)
    whole = best_carry(demands, modes, limits=[([20.0, 10.0], 50.0)], **terms)
    assert whole.buy.tolist() == [2, 1]
    # the seal goes to the bearings if both come: 0.2 x 501.5 + 0.8 x 0.1 x 40.5 - 1.5
    assert whole.gain == pytest.approx(0.2 * 501.5 + 0.08 * 40.5 - 1.5)


def test_whole_pump_or_kit() -> None:
    # seal or bearing fails, each once with 0.2 and 0.1; without: 500. The pump (300) ends either at once; a kit's piece
    # (30) wants a press: 0.4 of the time it can be fitted here
    demands = [[0.8, 0.2], [0.9, 0.1]]
    modes = [Mode(0, ((0, 1),), 200.0), Mode(1, ((1, 1),), 200.0), Mode(0, ((2, 1),), 500.0), Mode(1, ((2, 1),), 500.0)]
    price = [30.0, 30.0, 300.0]
    terms = {"have": [0, 0, 0], "cost_buy": price, "most": [1] * 3, "cost_left": [3.0, 3.0, 30.0]}
    kit = best_carry(demands, modes, limits=[(price, 100.0)], **terms)
    assert kit.buy.tolist() == [1, 1, 0]
    assert kit.gain == pytest.approx(60.0 - 5.1)  # 0.4 x 500 x (0.2 + 0.1) less 3 for each piece left (0.8 + 0.9)
    pump = best_carry(demands, modes, limits=[(price, 300.0)], **terms)
    assert pump.buy.tolist() == [0, 0, 1]
    assert pump.gain == pytest.approx(140.0 - 21.6)  # 500 x (1 - 0.72) less 30 x 0.72
    light = best_carry(demands, modes, limits=[([1.0, 1.0, 9.0], 5.0)], **terms)
    assert light.buy.tolist() == [1, 1, 0]


def test_one_spare_for_two_units() -> None:
    # the same belt on two engines: one pool. Both kinds as one demand, or as two that share a thing
    belt = [0.7, 0.2, 0.1]
    two = best_carry([belt, belt], [Mode(k, ((0, 1),), 90.0) for k in (0, 1)], [0], [12.0], [4], cost_left=[4.0])
    one = best_carry([np.convolve(belt, belt)], [Mode(0, ((0, 1),), 90.0)], [0], [12.0], [4], cost_left=[4.0])
    assert two.buy.tolist() == one.buy.tolist()
    assert two.gain == pytest.approx(one.gain, abs=1e-9)


def test_courses_left_out_are_said() -> None:
    counts, p = _scenarios([poisson_demand(0.5)] * 4, [2] * 4, 30)
    assert counts.shape == (30, 4)
    assert 0.01 < 1.0 - p.sum() < 0.5
    # the likeliest first to be kept: by hand, none at all is the likeliest
    assert p.max() == pytest.approx(math.exp(-2.0))


def test_groups() -> None:
    modes = [Mode(1, ((0, 1),), 1.0), Mode(1, ((2, 1),), 1.0), Mode(2, ((1, 1),), 2.0), Mode(3, ((2, 3),), 3.0),
             Mode(0, ((3, 1),), 0.0)]  # fmt: skip
    found = groups(modes, 4, 4)
    assert [(g.kinds.tolist(), g.things.tolist(), g.modes.tolist()) for g in found] == [
        ([1, 3], [0, 2], [0, 1, 3]), ([2], [1], [2]),
    ]  # fmt: skip
    assert groups([], 2, 2) == []


def test_nothing_fits() -> None:
    found = jobs_worth([[0.5, 0.5]], [], [3], [2.0])
    assert found.worth == -6.0
    assert found.p_short.tolist() == found.expected_short.tolist() == [0.5]
    assert best_carry([[0.5, 0.5]], [], [0], [5.0], [3], cost_left=[0.0]).buy.tolist() == [0]


def test_what_is_missing_from_one_is_more() -> None:
    modes = [Mode(0, ((0, 1),), 80.0), Mode(1, ((0, 1),), 90.0)]
    for cut, whole in (([0.5, 0.3], [0.5, 0.3, 0.2]), ([0.7], [0.7, 0.3])):
        short, full = (jobs_worth([d, [0.6, 0.4]], modes, [2], [1.0]) for d in (cut, whole))
        assert short.worth == pytest.approx(full.worth)
        assert short.p_short == pytest.approx(full.p_short)


def test_what_is_not_proven_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    """A solver that stops with its bound 5 away; one that finds nothing."""
    proven = Program.solve
    store = {"demands": [[0.5, 0.5]], "modes": [Mode(0, ((0, 1),), 100.0)], "have": [0], "cost_buy": [9.0]}

    def stops(rows: Program, seconds: float, gap: float) -> Found:
        found = proven(rows, seconds, gap)
        return Found(found.point, found.bound - 5.0, False)

    monkeypatch.setattr(Program, "solve", stops)
    found = best_carry(**store, most=[1], cost_left=[0.0])
    assert (found.gain, found.most_lost) == (pytest.approx(50.0), pytest.approx(5.0))
    monkeypatch.setattr(Program, "solve", lambda *_, **__: Found(None, 0.0, False))
    with pytest.raises(ValueError, match=r"within 20\.0 seconds"):
        best_carry(**store, most=[1], cost_left=[0.0])
