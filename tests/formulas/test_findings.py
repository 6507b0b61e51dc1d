from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from tree_makers import random_tree

from repairecon.formulas import findings, tree


def seeds():
    return st.integers(0, 2**32 - 1)


def random_leaves(seed, n_events=4):
    rng = np.random.default_rng(seed)
    made = random_tree(rng, n_events)
    states, chance = tree.enumerate_leaves(made.events)
    return rng, made, states, chance


def test_two_observations_in_succession():
    # Downey, Think Bayes, 2nd edition, ch. 6, exercises on odds: even odds, then observations with
    # likelihoods 0.75 against 0.5 and 0.25 against 0.5 give chances 0.6 and 0.42857142857142855.
    first, p_first = findings.given_findings([0.5, 0.5], [0.75, 0.5])
    assert first[0] == pytest.approx(0.6, abs=1e-12)
    assert first[0] / first[1] == pytest.approx(1.5, abs=1e-12)
    assert p_first == pytest.approx(0.625, abs=1e-12)
    second, _ = findings.given_findings(first, [0.25, 0.5])
    assert second[0] == pytest.approx(0.42857142857142855, abs=1e-12)
    assert second[0] / second[1] == pytest.approx(0.75, abs=1e-12)


def test_a_finding_cannot_be_made_where_its_event_does_not_happen():
    assert findings.finding_likelihood([0, 1, -1], 1, outcomes=2).tolist() == [0.0, 1.0, 0.0]
    assert findings.finding_likelihood([0, 1, -1], -1, outcomes=2).tolist() == [0.0, 0.0, 1.0]


def test_a_single_outcome_cannot_be_misread():
    assert findings.look_likelihood([0], 1, 0.6).sum() == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: findings.given_findings([0.5, 0.5], [0.0, 0.0]), "cannot occur together"),
        (lambda: findings.given_findings([1.0, 0.0], [0.0, 1.0]), "cannot occur together"),
        (lambda: findings.given_findings([0.5, 0.5], [0.5, 1.5]), "between 0 and 1"),
        (lambda: findings.given_findings([0.5, 0.5], [0.5, np.nan]), "between 0 and 1"),
        (lambda: findings.given_findings([0.5, 0.5], [0.5]), "one likelihood a leaf"),
        (lambda: findings.finding_likelihood([0, 1], 2, outcomes=2), "outcome 2"),
        (lambda: findings.finding_likelihood([0, 1], 0, 1.2, outcomes=2), "between 0 and 1"),
    ],
)
def test_impossible_findings_are_refused(call, words):
    with pytest.raises(ValueError, match=words):
        call()


@settings(max_examples=40, deadline=None)
@given(seeds(), st.floats(0, 1))
def test_showings_of_a_look_are_a_distribution(seed, p_right):
    _, made, states, _ = random_leaves(seed)
    for event, count in enumerate(made.outcomes):
        shows = findings.look_likelihood(states[:, event], count, p_right)
        assert (shows >= 0).all()
        assert_allclose(shows.sum(axis=1), 1.0, atol=1e-12)


@settings(max_examples=40, deadline=None)
@given(seeds())
def test_evidence_of_probability_one_changes_nothing(seed):
    _, _, _, chance = random_leaves(seed)
    after, p_findings = findings.given_findings(chance, np.ones_like(chance))
    assert_allclose(after, chance, rtol=1e-12)
    assert p_findings == pytest.approx(1.0, abs=1e-12)


@settings(max_examples=40, deadline=None)
@given(seeds(), st.floats(0.05, 0.95), st.floats(0.05, 0.95))
def test_order_of_evidence_does_not_matter(seed, right_a, right_b):
    rng, made, states, chance = random_leaves(seed)
    a, b = (int(e) for e in rng.choice(len(made.outcomes), 2, replace=False))
    in_a = findings.finding_likelihood(states[:, a], 0, right_a, outcomes=made.outcomes[a])
    in_b = findings.finding_likelihood(states[:, b], 1, right_b, outcomes=made.outcomes[b])
    one, p_one = findings.given_findings(chance, in_a)
    one, p_then = findings.given_findings(one, in_b)
    other, q_one = findings.given_findings(chance, in_b)
    other, q_then = findings.given_findings(other, in_a)
    both, p_both = findings.given_findings(chance, in_a * in_b)
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
        shows = findings.finding_likelihood(
            states[:, event], outcome, p_right, outcomes=made.outcomes[event]
        )
        if (chance * shows).sum() > 0:
            after, p_finding = findings.given_findings(chance, shows)
            mean += p_finding * (after @ values)
    assert mean == pytest.approx(chance @ values, abs=1e-10)
