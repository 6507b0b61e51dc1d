from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from tree_makers import bayes_network, chances_given, random_tree

from repairecon.formulas import tree


def seeds():
    return st.integers(0, 2**32 - 1)


def slow_leaves(made):
    """Leaves by going through every combination of states in lexicographic order of evaluation."""
    order = tree.evaluation_order([[given for given, _ in groups] for groups in made.events])
    leaves = []
    for labels in product(*([-1, *range(made.outcomes[e])] for e in order)):
        state = dict(zip(order, labels, strict=True))
        chance = 1.0
        for event in order:
            chance *= chances_given(made, event, state)[state[event]]
        if chance > 0:
            leaves.append(([state[e] for e in range(len(order))], chance))
    return leaves


@pytest.mark.parametrize("seed", range(12))
def test_leaves_are_those_found_by_trying_every_combination(seed):
    made = random_tree(np.random.default_rng(seed), 5, zeros=seed % 2 == 1)
    states, chance = tree.enumerate_leaves(made.events)
    expected = slow_leaves(made)
    assert states.dtype == np.int16
    assert states.tolist() == [state for state, _ in expected]
    assert_allclose(chance, [p for _, p in expected], rtol=1e-12)


@pytest.mark.parametrize("seed", range(8))
def test_joint_marginal_and_conditioned_chances_agree_with_a_bayesian_network(seed):
    # Outside reference: exact inference of pyAgrum, a general-purpose library for Bayesian networks.
    gum = pytest.importorskip("pyagrum")
    rng = np.random.default_rng(100 + seed)
    made = random_tree(rng, 6)
    states, chance = tree.enumerate_leaves(made.events)
    network = bayes_network(made)
    labels = [
        {f"e{e}": int(k) if k >= 0 else made.outcomes[e] for e, k in enumerate(leaf)} for leaf in states
    ]
    whole = network.completeInstantiation()
    for leaf, p in zip(labels, chance, strict=True):
        whole.fromdict(leaf)
        assert p == pytest.approx(network.jointProbability(whole), rel=1e-9)

    seen, doubtful = (int(e) for e in rng.choice(6, 2, replace=False))
    shown = labels[int(rng.integers(len(labels)))]
    outcome = shown[f"e{seen}"] if shown[f"e{seen}"] < made.outcomes[seen] else -1
    count = made.outcomes[doubtful]
    likelihood = tree.finding_likelihood(states[:, seen], outcome, outcomes=made.outcomes[seen])
    likelihood = likelihood * tree.finding_likelihood(states[:, doubtful], 0, 0.7, outcomes=count)
    after, p_findings = tree.given_findings(chance, likelihood)

    soft = [0.7] + [0.3 / (count - 1)] * (count - 1) + [0.3 / count]
    engine = gum.LazyPropagation(network)
    engine.setEvidence({f"e{seen}": shown[f"e{seen}"], f"e{doubtful}": soft})
    engine.makeInference()
    assert p_findings == pytest.approx(engine.evidenceProbability(), rel=1e-9)
    for event in range(6):
        got = tree.marginal(states[:, event], after, made.outcomes[event])
        assert_allclose(got, engine.posterior(f"e{event}").toarray(), atol=1e-12)


def test_events_are_settled_after_those_they_hang_on():
    groups = [[((1, 0),), ()], [((2, 1),)], [()], [()]]
    assert tree.evaluation_order(groups) == [2, 1, 0, 3]
    events = [
        [(((1, 0),), [1.0, 0.0]), ((), [0.25, 0.75])],
        [(((2, 1),), [0.5, 0.5])],
        [((), [0.4, 0.6])],
    ]
    states, chance = tree.enumerate_leaves(events)
    # By hand: event 2 first; event 1 only if event 2 shows 1; event 0 always, one outcome of it dropped.
    assert states.tolist() == [[0, -1, 0], [1, -1, 0], [0, 0, 1], [0, 1, 1], [1, 1, 1]]
    assert_allclose(chance, [0.1, 0.3, 0.3, 0.075, 0.225], rtol=1e-12)


def test_no_event_is_one_sure_leaf():
    states, chance = tree.enumerate_leaves([])
    assert states.shape == (1, 0)
    assert chance.tolist() == [1.0]


def test_event_without_a_group_never_happens():
    states, chance = tree.enumerate_leaves([[], [((), [0.5, 0.5])]])
    assert states.tolist() == [[-1, 0], [-1, 1]]
    assert chance.tolist() == [0.5, 0.5]


COIN = ((), [0.5, 0.5])


@pytest.mark.parametrize(
    ("events", "words"),
    [
        ([[(((1, 0),), [1.0])], [(((2, 0),), [1.0])], [(((1, 0),), [1.0])], [COIN]], "events 1, 2 depend"),
        ([[(((0, 0),), [1.0])]], "events 0 depend"),
        ([[COIN], [COIN], [(((0, 0),), [1.0]), (((1, 0),), [1.0])]], "event 2: two groups"),
        ([[COIN, COIN]], "event 0: more than one group"),
        ([[COIN], [((), [0.5, 0.4])]], "event 1: the chances do not sum to 1"),
        ([[COIN], [((), [np.nan, 0.4])]], "event 1: the chances do not sum"),
        ([[((), [1.5, -0.5])]], "event 0: a chance is below 0"),
        ([[(((3, 0),), [1.0])]], "event 0: a condition names event 3"),
        ([[COIN], [(((0, 2),), [1.0])]], "event 1: a condition names outcome 2 of event 0, which has 2"),
        ([[COIN], [(((0, 0),), [1.0]), (((0, 1),), [0.5, 0.5])]], "event 1: every group"),
    ],
)
def test_faulty_trees_are_refused_naming_the_event(events, words):
    with pytest.raises(ValueError, match=words):
        tree.enumerate_leaves(events)


def test_too_many_leaves_are_counted_before_they_are_built():
    events = [[COIN] for _ in range(40)]
    with pytest.raises(ValueError, match=r"262144 leaves after 18 of its 40 events; the limit is 200000"):
        tree.enumerate_leaves(events)
    assert len(tree.enumerate_leaves(events[:3], limit=8)[1]) == 8
    with pytest.raises(ValueError, match=r"8 leaves after 3 of its 3 events; the limit is 7"):
        tree.enumerate_leaves(events[:3], limit=7)


def test_fourteen_independent_events_have_the_chances_of_a_binomial():
    p = 0.3
    states, chance = tree.enumerate_leaves([[((), [1 - p, p])] for _ in range(14)])
    assert states.shape == (2**14, 14)
    hits = np.bincount(states.sum(axis=1), weights=chance)
    from scipy import stats

    assert_allclose(hits, stats.binom.pmf(np.arange(15), 14, p), rtol=1e-10)


@settings(max_examples=40, deadline=None)
@given(seeds(), st.integers(1, 6), st.booleans())
def test_leaf_chances_sum_to_one_and_leaves_differ(seed, n_events, zeros):
    made = random_tree(np.random.default_rng(seed), n_events, zeros)
    states, chance = tree.enumerate_leaves(made.events)
    assert chance.sum() == pytest.approx(1.0, abs=1e-12)
    assert (chance > 0).all()
    assert len({tuple(leaf) for leaf in states.tolist()}) == len(states)
