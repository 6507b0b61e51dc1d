from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from tree_makers import WILDCATTER_SHOWS, WILDCATTER_TEST, fill_network, random_tree, wildcatter

from repairecon.formulas import information, tree


def test_oil_wildcatter_value_and_strategy():
    states, chance, cost = wildcatter()
    soil = states[:, 0]
    shows = np.array(WILDCATTER_SHOWS)[soil]
    look = information.value_of_sample_information(chance, cost, shows)
    way, now = information.best_now(chance, cost)
    # Shenoy (1992), section 1: the best strategy is worth 22,500; test, and drill unless no structure shows.
    assert -now + look.value - WILDCATTER_TEST == pytest.approx(22.5, abs=0.05)
    assert look.rule.tolist() == [1, 0, 0]
    # Derived by hand from the same figures, not printed there: drilling at once is worth 20, knowing the
    # soil 35 more, the test 12.5 more.
    assert (way, now) == (0, pytest.approx(-20.0))
    assert information.value_of_perfect_information(chance, cost, soil) == pytest.approx(35.0, abs=1e-9)
    assert look.value == pytest.approx(12.5, abs=1e-9)
    assert_allclose(information.value_of_each_event(states, chance, cost), [35.0, 12.5], atol=1e-9)


def test_one_chance_event_against_a_sure_alternative():
    # Clemen, Making Hard Decisions, solutions manual, problem 12.2: A pays 20, 10, 5, 0 with chances
    # 0.1, 0.2, 0.6, 0.1; B pays 6. Expected values 7.0 and 6.0; with information 8.2; its worth 1.2.
    chance = [0.1, 0.2, 0.6, 0.1]
    cost = [[-20.0, -6.0], [-10.0, -6.0], [-5.0, -6.0], [0.0, -6.0]]
    way, now = information.best_now(chance, cost)
    assert way == 0
    assert now == pytest.approx(-7.0, abs=0.05)
    worth = information.value_of_perfect_information(chance, cost)
    assert worth == pytest.approx(1.2, abs=0.05)
    assert worth - now == pytest.approx(8.2, abs=0.05)


def test_submit_or_not():
    # Decision Trees: a primer for decision-making professionals, section 2.4.2: submitting leads to 895,000,
    # 695,000 or -105,000 with chances 0.3, 0.6, 0.1, worth 675,000; not submitting to -100,000.
    cost = [[-895_000, 100_000], [-695_000, 100_000], [105_000, 100_000]]
    way, now = information.best_now([0.3, 0.6, 0.1], cost)
    assert way == 0
    assert -now == pytest.approx(675_000, abs=0.5)


def test_two_events_worth_nothing_apart_and_much_together():
    # Closed form: two fair coins, way 0 costs 1 when they agree, way 1 when they differ. Either coin alone
    # tells nothing (0); both together save the whole expected cost of 1/2.
    states, chance = tree.enumerate_leaves([[((), [0.5, 0.5])]] * 2)
    agree = (states[:, 0] == states[:, 1]).astype(float)
    cost = np.stack([agree, 1 - agree], axis=1)
    assert_allclose(information.value_of_each_event(states, chance, cost), [0.0, 0.0], atol=1e-15)
    ids, _ = tree.information_sets(states, [0, 1])
    assert information.value_of_perfect_information(chance, cost, ids) == pytest.approx(0.5)


def test_two_events_worth_less_together_than_their_sum():
    # Closed form: the second coin copies the first, so knowing both is worth what knowing one is, 1/2.
    events = [[((), [0.5, 0.5])], [(((0, 0),), [1.0, 0.0]), (((0, 1),), [0.0, 1.0])]]
    states, chance = tree.enumerate_leaves(events)
    cost = np.stack([states[:, 0], 1 - states[:, 0]], axis=1)
    assert_allclose(information.value_of_each_event(states, chance, cost), [0.5, 0.5])
    assert information.value_of_perfect_information(chance, cost) == pytest.approx(0.5)


def influence_diagram(gum, made, cost_of, ways, seen=None, p_right=None):
    """The tree with one decision: knowing nothing, one event, or one event by a look that may be wrong."""
    diagram = gum.InfluenceDiagram()
    fill_network(gum, diagram, made)
    diagram.addDecisionNode(gum.RangeVariable("way", "", 0, ways - 1))
    diagram.addUtilityNode(gum.RangeVariable("gain", "", 0, 0))
    for event in range(len(made.outcomes)):
        diagram.addArc(f"e{event}", "gain")
    diagram.addArc("way", "gain")
    if seen is not None and p_right is None:
        diagram.addArc(f"e{seen}", "way")
    if p_right is not None:
        n = made.outcomes[seen]
        diagram.addChanceNode(gum.RangeVariable("shown", "", 0, n))
        diagram.addArc(f"e{seen}", "shown")
        diagram.addArc("shown", "way")
        for k in range(n + 1):
            wrong = [(1 - p_right) / (n - 1)] * n + [0.0] if k < n else [(1 - p_right) / n] * (n + 1)
            wrong[k] = p_right
            diagram.cpt("shown")[{f"e{seen}": k}] = wrong
    for labels in product(*(range(n + 1) for n in made.outcomes)):
        for way in range(ways):
            key = {f"e{e}": k for e, k in enumerate(labels)} | {"way": way}
            diagram.utility("gain")[key] = -cost_of.get(labels, [0.0] * ways)[way]
    engine = gum.ShaferShenoyLIMIDInference(diagram)
    engine.makeInference()
    return engine


@pytest.mark.parametrize("seed", range(6))
def test_worths_and_rules_agree_with_influence_diagrams(seed):
    # Outside reference: exact inference of pyAgrum on limited-memory influence diagrams.
    gum = pytest.importorskip("pyagrum")
    rng = np.random.default_rng(300 + seed)
    made = random_tree(rng, 4)
    states, chance = tree.enumerate_leaves(made.events)
    ways = 3
    cost = rng.uniform(100, 1000, (len(chance), ways))
    cost_of = {
        tuple(int(k) if k >= 0 else made.outcomes[e] for e, k in enumerate(leaf)): row.tolist()
        for leaf, row in zip(states, cost, strict=True)
    }
    blind = influence_diagram(gum, made, cost_of, ways).MEU()["mean"]
    assert information.best_now(chance, cost)[1] == pytest.approx(-blind, rel=1e-9)
    worths = information.value_of_each_event(states, chance, cost)
    for event in range(4):
        engine = influence_diagram(gum, made, cost_of, ways, event)
        assert worths[event] == pytest.approx(engine.MEU()["mean"] - blind, abs=1e-8)
    event = int(rng.integers(4))
    engine = influence_diagram(gum, made, cost_of, ways, event, p_right=0.8)
    shows = tree.look_likelihood(states[:, event], made.outcomes[event], 0.8)
    look = information.value_of_sample_information(chance, cost, shows)
    assert look.value == pytest.approx(engine.MEU()["mean"] - blind, abs=1e-8)
    decision = engine.optimalDecision("way")
    for signal, way in enumerate(look.rule):
        if way >= 0:
            assert decision[{"shown": signal, "way": int(way)}] == pytest.approx(1.0)




@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("shuffled", [False, True])
def test_all_events_at_once_agree_with_each_one_apart_on_large_trees(seed, shuffled):
    # Reference: plain group-by sums over masks, event by event.
    rng = np.random.default_rng(500 + seed)
    events = [[((), rng.dirichlet(np.ones(k)))] for k in rng.permutation([2] * 8 + [3, 3, 4])]
    events.append([(((2, 0), (5, 1)), [0.2, 0.8])])
    states, chance = tree.enumerate_leaves(events)
    if shuffled:
        order = rng.permutation(len(chance))
        states, chance = states[order], chance[order]
    assert len(chance) > 8192
    cost = rng.normal(500, 200, (len(chance), 4)) + 80 * states[:, :4]
    now = (chance[:, None] * cost).sum(axis=0).min()
    expected = []
    for event in range(states.shape[1]):
        informed = 0.0
        for outcome in np.unique(states[:, event]):
            mine = states[:, event] == outcome
            informed += (chance[mine, None] * cost[mine]).sum(axis=0).min()
        expected.append(now - informed)
    got = information.value_of_each_event(states, chance, cost)
    assert_allclose(got, expected, atol=1e-9)
    assert max(expected) > 1


def test_a_way_that_is_not_open_must_be_left_out():
    for worth in (information.best_now, information.value_of_perfect_information):
        with pytest.raises(ValueError, match="not open"):
            worth([0.5, 0.5], [[1.0, np.inf], [1.0, 2.0]])
    with pytest.raises(ValueError, match="not open"):
        information.value_of_each_event([[0], [1]], [0.5, 0.5], [[1.0, np.nan], [1.0, 2.0]])


def test_showings_that_are_no_distribution_are_refused():
    with pytest.raises(ValueError, match="summing to 1"):
        information.value_of_sample_information([0.5, 0.5], [[1.0], [2.0]], [[0.5, 0.4], [0.5, 0.5]])


def test_no_rule_for_a_showing_that_cannot_come():
    look = information.value_of_sample_information([1.0, 0.0], [[1.0, 2.0], [2.0, 1.0]], np.eye(2))
    assert look.rule.tolist() == [0, information.CANNOT_COME]
    assert look.value == 0.0


@settings(max_examples=50, deadline=None)
@given(st.integers(0, 2**32 - 1), st.floats(0, 1))
def test_perfect_is_worth_no_less_than_sample_and_sample_no_less_than_nothing(seed, p_right):
    rng = np.random.default_rng(seed)
    made = random_tree(rng, 4)
    states, chance = tree.enumerate_leaves(made.events)
    cost = rng.uniform(0, 1000, (len(chance), 3))
    worths = information.value_of_each_event(states, chance, cost)
    everything = information.value_of_perfect_information(chance, cost)
    for event, count in enumerate(made.outcomes):
        shows = tree.look_likelihood(states[:, event], count, p_right)
        sample = information.value_of_sample_information(chance, cost, shows).value
        sure = tree.look_likelihood(states[:, event], count, 1.0)
        perfect = information.value_of_sample_information(chance, cost, sure).value
        assert 0 <= sample <= worths[event] + 1e-9
        assert worths[event] <= everything + 1e-9
        assert perfect == pytest.approx(worths[event], abs=1e-9)
