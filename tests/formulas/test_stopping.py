from __future__ import annotations

from itertools import permutations, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tree_makers import WILDCATTER_TEST, fill_network, random_tree, wildcatter

from repairecon.formulas import tree
from repairecon.formulas import tree as stopping


def test_oil_wildcatter_as_stages():
    # Shenoy, Operations Research 40 (1992), section 1, restating Raiffa (1968): worth 22,500; test first,
    # then drill unless no structure shows (where the inputs come from: see the worth of the test).
    states, chance, cost = wildcatter()
    ids, n = tree.information_sets(states, [1])
    sets = np.stack([np.zeros_like(ids), ids])
    stop = np.stack([cost, cost + WILDCATTER_TEST])
    rule = stopping.optimal_stopping(chance, sets, stop, np.full(len(chance), np.inf))
    assert n == 3
    assert -rule.value == pytest.approx(22.5, abs=0.05)
    assert rule.stages[0].choice.tolist() == [stopping.GO_ON]
    assert rule.stages[1].choice.tolist() == [1, 0, 0]


def dice(rolls):
    states, chance = tree.enumerate_leaves([[((), np.full(6, 1 / 6))]] * rolls)
    sets = np.stack([tree.information_sets(states, range(s + 1))[0] for s in range(rolls)])
    pays = -(states.T[:, :, np.newaxis] + 1.0)
    return states, chance, sets, pays


@pytest.mark.parametrize(
    ("rolls", "worth"),
    # Mathematics Stack Exchange, "The expected payoff of a dice game" (a die rolled up to so many times,
    # paid the last throw, stop at will): 3.5, 4.25 and 4.6 recurring.
    [(1, 3.5), (2, 4.25), (3, 14 / 3)],
)
def test_die_rolled_up_to_three_times(rolls, worth):
    states, chance, sets, pays = dice(rolls)
    rule = stopping.optimal_stopping(chance, sets, pays, np.full(len(chance), np.inf))
    assert -rule.value == pytest.approx(worth, abs=1e-12)
    if rolls == 3:
        # The same place, and the published solutions to Blitzstein and Hwang, Introduction to Probability,
        # ch. 4, problem 4: keep a first throw of 5 or more, a second of 4 or more.
        for stage, least in ((0, 5), (1, 4), (2, 1)):
            kept = rule.stages[stage].choice[sets[stage]] >= 0
            assert (kept == (states[:, stage] + 1 >= least)).all()


# Table "optimal thresholds r and probability of selecting the best" for n applicants, in the encyclopaedia
# article on the secretary problem (as copied by LiquiSearch, "Deriving the optimal policy").
@pytest.mark.parametrize(
    ("n", "threshold", "p_best"),
    [(1, 1, 1.000), (2, 1, 0.500), (3, 2, 0.500), (4, 2, 0.458), (5, 3, 0.433), (6, 3, 0.428), (7, 3, 0.414)],
)
def test_choosing_the_best_of_a_row_of_applicants(n, threshold, p_best):
    ranks = np.array(list(permutations(range(n))))
    place = np.stack([(ranks[:, : s + 1] < ranks[:, [s]]).sum(axis=1) for s in range(n)], axis=1)
    sets = np.stack([tree.information_sets(place, range(s + 1))[0] for s in range(n)])
    stop = -(ranks.T == 0).astype(float)[:, :, np.newaxis]
    chance = np.full(len(ranks), 1 / len(ranks))
    rule = stopping.optimal_stopping(chance, sets, stop, np.zeros(len(ranks)))
    assert -rule.value == pytest.approx(p_best, abs=0.0005)
    for stage in range(n):
        best_so_far = place[:, stage] == 0
        stops = rule.stages[stage].choice[sets[stage]] >= 0
        assert (stops[best_so_far] == (stage + 1 >= threshold)).all()


def staged(rng, n_events=3, n_stages=3, actions=2):
    made = random_tree(rng, n_events)
    states, chance = tree.enumerate_leaves(made.events)
    seen = rng.permutation(n_events)[: n_stages - 1]
    sets = np.stack([tree.information_sets(states, seen[:s])[0] for s in range(n_stages)])
    spent = np.cumsum(rng.uniform(0, 60, n_stages))
    stop = rng.uniform(0, 500, (n_stages, len(chance), actions)) + spent[:, None, None]
    stop[rng.random((n_stages, 1, actions)).repeat(len(chance), axis=1) < 0.2] = np.inf
    go = rng.uniform(0, 500, len(chance)) + spent[-1]
    return made, states, chance, seen, sets, stop, go


def cost_of_policy(policy, chance, sets, stop, go):
    """Expected cost of a policy {(stage, set): choice}, leaf by leaf."""
    total = 0.0
    for leaf, p in enumerate(chance):
        cost = go[leaf]
        for stage in range(len(sets)):
            choice = policy[stage, sets[stage][leaf]]
            if choice >= 0:
                cost = stop[stage, leaf, choice]
                break
        total += p * cost
    return total


@pytest.mark.parametrize("seed", range(8))
def test_no_policy_of_all_does_better(seed):
    # Reference: every policy of a small staged tree, its cost added up leaf by leaf.
    rng = np.random.default_rng(700 + seed)
    places = []
    while not 3 <= len(places) <= 7:
        _, _, chance, _, sets, stop, go = staged(rng, n_events=2, n_stages=int(rng.integers(2, 4)))
        places = [(stage, number) for stage in range(len(sets)) for number in np.unique(sets[stage])]
    rule = stopping.optimal_stopping(chance, sets, stop, go)
    costs = [
        cost_of_policy(dict(zip(places, choices, strict=True)), chance, sets, stop, go)
        for choices in product([-1, 0, 1], repeat=len(places))
    ]
    assert rule.value == pytest.approx(min(costs), abs=1e-9)
    mine = {(stage, number): int(rule.stages[stage].choice[number]) for stage, number in places}
    assert cost_of_policy(mine, chance, sets, stop, go) == pytest.approx(min(costs), abs=1e-9)


def two_stage_diagram(gum, made, seen, gain_of):
    """Decide blind (stop by 0 or 1, or go on: 2); then, having seen one event, again."""
    diagram = gum.InfluenceDiagram()
    fill_network(gum, diagram, made)
    for name in ("first", "second"):
        diagram.addDecisionNode(gum.RangeVariable(name, "", 0, 2))
    diagram.addUtilityNode(gum.RangeVariable("gain", "", 0, 0))
    for name in [*(f"e{e}" for e in range(len(made.outcomes))), "first", "second"]:
        diagram.addArc(name, "gain")
    diagram.addArc("first", "second")
    diagram.addArc(f"e{seen}", "second")
    for labels in product(*(range(n + 1) for n in made.outcomes)):
        for first, second in product(range(3), repeat=2):
            key = {f"e{e}": k for e, k in enumerate(labels)} | {"first": first, "second": second}
            diagram.utility("gain")[key] = gain_of(labels, first, second)
    engine = gum.ShaferShenoyLIMIDInference(diagram)
    engine.makeInference()
    return engine


@pytest.mark.parametrize("seed", range(5))
def test_two_stages_agree_with_an_influence_diagram(seed):
    # Outside reference: exact inference of pyAgrum on influence diagrams.
    gum = pytest.importorskip("pyagrum")
    made, states, chance, seen, sets, stop, go = staged(np.random.default_rng(900 + seed), n_stages=2)
    stop = np.where(np.isfinite(stop), stop, 900.0)
    leaf_of = {
        tuple(int(k) if k >= 0 else made.outcomes[e] for e, k in enumerate(leaf)): i for i, leaf in enumerate(states)
    }

    def gain_of(labels, first, second):
        leaf = leaf_of.get(labels)
        if leaf is None:
            return 0.0
        if first < 2:
            return -float(stop[0, leaf, first])
        return -float(stop[1, leaf, second] if second < 2 else go[leaf])

    engine = two_stage_diagram(gum, made, int(seen[0]), gain_of)
    rule = stopping.optimal_stopping(chance, sets, stop, go)
    assert rule.value == pytest.approx(-engine.MEU()["mean"], abs=1e-8)


def test_without_a_stage_one_goes_on():
    rule = stopping.optimal_stopping([0.5, 0.5], [], [], [1.0, 3.0])
    assert rule.value == 2.0
    assert rule.stages == ()


def test_nothing_open_costs_infinitely_much_and_goes_on():
    rule = stopping.optimal_stopping([1.0], [[0]], [[[np.inf, np.inf]]], [np.inf])
    assert rule.value == np.inf
    assert rule.stages[0].choice.tolist() == [stopping.GO_ON]


def test_equal_costs_stop_even_if_rounding_differs():
    # Means of 7.3 and of 100.1, which binary fractions miss by a little, one way and the other.
    small, mixed = [7.3] * 6, [7.2, 7.4] * 3
    large, wide = [100.1] * 6, [100.0, 100.2] * 3
    for stop, go in ((small, small), (small, mixed), (mixed, small), (large, wide), (wide, large)):
        rule = stopping.optimal_stopping([1 / 6] * 6, [[0] * 6], [[[cost] for cost in stop]], go)
        assert rule.stages[0].choice.tolist() == [0]


def test_a_set_ruled_out_by_findings_has_no_rule():
    sets, stop, go = [[0, 2]], [[[4.0], [4.0]]], [1.0, 9.0]
    rule = stopping.optimal_stopping([0.625, 0.375], sets, stop, go)
    first = rule.stages[0]
    assert first.choice.tolist() == [-1, -2, 0]  # as the page says: go on, cannot come, the first action
    assert first.best_stop.tolist() == [0, -2, 0]
    assert np.isnan(first.cost_go_on[1])
    assert first.p_set.tolist() == [0.625, 0.0, 0.375]
    # By hand: 0.625 x 1 + 0.375 x 4.
    assert rule.value == pytest.approx(2.125)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_freedom_to_stop_never_costs(seed):
    rng = np.random.default_rng(seed)
    _, _, chance, _, sets, stop, go = staged(rng)
    rule = stopping.optimal_stopping(chance, sets, stop, go)
    committed = [float(chance @ go), *(stop * chance[:, None]).sum(axis=1).ravel()]
    assert rule.value <= min(committed) + 1e-9
    fewer = rng.random(len(sets)) < 0.5
    less = stopping.optimal_stopping(chance, sets[fewer], stop[fewer], go)
    assert rule.value <= less.value + 1e-9


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_seeing_more_before_choosing_never_costs(seed):
    _, states, chance, _, sets, stop, go = staged(np.random.default_rng(seed))
    blind = stopping.optimal_stopping(chance, np.zeros_like(sets), stop, go)
    rule = stopping.optimal_stopping(chance, sets, stop, go)
    leaf = np.tile(np.arange(len(states)), (len(sets), 1))
    seer = stopping.optimal_stopping(chance, leaf, stop, go)
    assert seer.value - 1e-9 <= rule.value <= blind.value + 1e-9


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_following_the_rule_costs_what_was_promised(seed):
    _, _, chance, _, sets, stop, go = staged(np.random.default_rng(seed))
    rule = stopping.optimal_stopping(chance, sets, stop, go)
    costs = [go[k] if a < 0 else stop[s, k, a] for k, (s, a) in enumerate(zip(rule.stage, rule.action, strict=True))]
    assert chance @ costs == pytest.approx(rule.value, abs=1e-9)
    # Leaf by leaf, the slow way.
    policy = {(s, k): int(c) for s, stage in enumerate(rule.stages) for k, c in enumerate(stage.choice)}
    for leaf in range(len(chance)):
        path = [policy[s, int(sets[s][leaf])] for s in range(len(sets))]
        ended = next((s for s, c in enumerate(path) if c >= 0), len(sets))
        assert rule.stage[leaf] == ended
        assert rule.action[leaf] == (path[ended] if ended < len(sets) else -1)
