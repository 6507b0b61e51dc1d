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


def finding_likelihood(column, outcome, p_right=1.0, *, outcomes):
    """Likelihood of one showing; -1 for "it does not happen"."""
    return tree.look_likelihood(column, outcomes, p_right)[:, outcome]


def slow_leaves(made):
    """Leaves by going through every combination of states in lexicographic order of evaluation."""
    order: list[int] = []
    while len(order) < len(made.events):  # the first of those whose conditions are settled
        named = [{other for given, _ in groups for other, _ in given} for groups in made.events]
        order.append(next(e for e, others in enumerate(named) if e not in order and others <= set(order)))
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
    labels = [{f"e{e}": int(k) if k >= 0 else made.outcomes[e] for e, k in enumerate(leaf)} for leaf in states]
    whole = network.completeInstantiation()
    for leaf, p in zip(labels, chance, strict=True):
        whole.fromdict(leaf)
        assert p == pytest.approx(network.jointProbability(whole), rel=1e-9)

    seen, doubtful = (int(e) for e in rng.choice(6, 2, replace=False))
    shown = labels[int(rng.integers(len(labels)))]
    outcome = shown[f"e{seen}"] if shown[f"e{seen}"] < made.outcomes[seen] else -1
    count = made.outcomes[doubtful]
    likelihood = finding_likelihood(states[:, seen], outcome, outcomes=made.outcomes[seen])
    likelihood = likelihood * finding_likelihood(states[:, doubtful], 0, 0.7, outcomes=count)
    after, p_findings = tree.given_findings(chance, likelihood)

    soft = [0.7] + [0.3 / (count - 1)] * (count - 1) + [0.3 / count]
    engine = gum.LazyPropagation(network)
    engine.setEvidence({f"e{seen}": shown[f"e{seen}"], f"e{doubtful}": soft})
    engine.makeInference()
    assert p_findings == pytest.approx(engine.evidenceProbability(), rel=1e-9)
    for event in range(6):
        seen = [states[:, event] == k for k in (*range(made.outcomes[event]), tree.NOT_HAPPENING)]
        got = [after[here].sum() for here in seen]
        assert_allclose(got, engine.posterior(f"e{event}").toarray(), atol=1e-12)


def test_events_are_settled_after_those_they_hang_on():
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


COIN = ((), [0.5, 0.5])


def test_two_groups_that_hold_at_once_are_refused():
    with pytest.raises(ValueError, match="event 2: two groups"):
        tree.enumerate_leaves([[COIN], [COIN], [(((0, 0),), [1.0]), (((1, 0),), [1.0])]])
    # where the conditions exclude each other both may stand
    assert len(tree.enumerate_leaves([[COIN], [(((0, 0),), [1.0]), (((0, 1),), [1.0])]])[1]) == 2


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


def random_leaves(seed, n_events=4):
    rng = np.random.default_rng(seed)
    made = random_tree(rng, n_events)
    states, chance = tree.enumerate_leaves(made.events)
    return rng, made, states, chance


def test_two_observations_in_succession():
    # Downey, Think Bayes, 2nd edition, ch. 6, exercises on odds: even odds, then observations with
    # likelihoods 0.75 against 0.5 and 0.25 against 0.5 give chances 0.6 and 0.42857142857142855.
    first, p_first = tree.given_findings([0.5, 0.5], [0.75, 0.5])
    assert first[0] == pytest.approx(0.6, abs=1e-12)
    assert first[0] / first[1] == pytest.approx(1.5, abs=1e-12)
    assert p_first == pytest.approx(0.625, abs=1e-12)
    second, _ = tree.given_findings(first, [0.25, 0.5])
    assert second[0] == pytest.approx(0.42857142857142855, abs=1e-12)
    assert second[0] / second[1] == pytest.approx(0.75, abs=1e-12)


def test_a_finding_cannot_be_made_where_its_event_does_not_happen():
    assert finding_likelihood([0, 1, -1], 1, outcomes=2).tolist() == [0.0, 1.0, 0.0]
    assert finding_likelihood([0, 1, -1], -1, outcomes=2).tolist() == [0.0, 0.0, 1.0]


def test_a_single_outcome_cannot_be_misread():
    assert tree.look_likelihood([0], 1, 0.6).sum() == pytest.approx(1.0)


@settings(max_examples=40, deadline=None)
@given(seeds(), st.floats(0, 1))
def test_showings_of_a_look_are_a_distribution(seed, p_right):
    _, made, states, _ = random_leaves(seed)
    for event, count in enumerate(made.outcomes):
        shows = tree.look_likelihood(states[:, event], count, p_right)
        assert (shows >= 0).all()
        assert_allclose(shows.sum(axis=1), 1.0, atol=1e-12)


@settings(max_examples=40, deadline=None)
@given(seeds())
def test_evidence_of_probability_one_changes_nothing(seed):
    _, _, _, chance = random_leaves(seed)
    after, p_findings = tree.given_findings(chance, np.ones_like(chance))
    assert_allclose(after, chance, rtol=1e-12)
    assert p_findings == pytest.approx(1.0, abs=1e-12)


@settings(max_examples=40, deadline=None)
@given(seeds(), st.floats(0.05, 0.95), st.floats(0.05, 0.95))
def test_order_of_evidence_does_not_matter(seed, right_a, right_b):
    rng, made, states, chance = random_leaves(seed)
    a, b = (int(e) for e in rng.choice(len(made.outcomes), 2, replace=False))
    in_a = finding_likelihood(states[:, a], 0, right_a, outcomes=made.outcomes[a])
    in_b = finding_likelihood(states[:, b], 1, right_b, outcomes=made.outcomes[b])
    one, p_one = tree.given_findings(chance, in_a)
    one, p_then = tree.given_findings(one, in_b)
    other, q_one = tree.given_findings(chance, in_b)
    other, q_then = tree.given_findings(other, in_a)
    both, p_both = tree.given_findings(chance, in_a * in_b)
    assert_allclose(one, other, rtol=1e-9)
    assert_allclose(one, both, rtol=1e-9)
    assert_allclose([p_one * p_then, q_one * q_then], p_both, rtol=1e-9)


@settings(max_examples=40, deadline=None)
@given(seeds(), st.floats(0.0, 1.0))
def test_expectation_over_findings_of_the_conditioned_answer_is_the_unconditioned_one(seed, p_right):
    rng, made, states, chance = random_leaves(seed)
    event = int(rng.integers(len(made.outcomes)))
    values = rng.normal(size=len(chance))
    mean = 0.0
    for outcome in [*range(made.outcomes[event]), -1]:
        shows = finding_likelihood(states[:, event], outcome, p_right, outcomes=made.outcomes[event])
        if (chance * shows).sum() > 0:
            after, p_finding = tree.given_findings(chance, shows)
            mean += p_finding * (after @ values)
    assert mean == pytest.approx(chance @ values, abs=1e-10)


@pytest.mark.parametrize("columns", [[], [2], [0, 3], [4, 1, 2], [0, 1, 2, 3, 4]])
def test_information_sets_are_numbered_in_the_order_of_what_is_seen(columns):
    made = random_tree(np.random.default_rng(7), 5)
    states, _ = tree.enumerate_leaves(made.events)
    ids, n = tree.information_sets(states, columns)
    rows = [tuple(leaf) for leaf in states[:, columns].tolist()]
    number = {row: i for i, row in enumerate(sorted(set(rows)))}
    assert n == len(number)
    assert ids.tolist() == [number[row] for row in rows]


def test_information_sets_of_events_of_very_many_outcomes():
    # So many combinations that a table of all of them would not do.
    rows = [[30_000, 30_000, 5], [30_000, 30_000, 5], [0, 30_000, 5], [30_000, 29_999, 5], [7, 7, 7]]
    ids, n = tree.information_sets(np.array(rows * 2, dtype=np.int16), [0, 1, 2])
    assert n == 4
    assert ids.tolist() == [3, 3, 0, 2, 1] * 2
