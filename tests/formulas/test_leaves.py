from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from tree_makers import random_tree

from repairecon.formulas import leaves, tree


def test_joint_table_of_the_three_seismic_outcomes():
    # Chandra, capital budgeting text, ch. 6, p. 151, table of the oil wildcatter: joint chances, rows dry,
    # wet, soaking, columns no, open, closed structure; margins 0.5, 0.25, 0.25 and 0.4, 0.3, 0.3.
    joint = np.array([[0.32, 0.15, 0.03], [0.04, 0.1, 0.11], [0.04, 0.05, 0.16]])
    soil = joint.sum(axis=1)
    events = [
        [((), soil)],
        [(((0, row),), joint[row] / soil[row]) for row in range(3)],
    ]
    states, chance = tree.enumerate_leaves(events)
    assert_allclose(leaves.marginal(states[:, 1], chance, 3), [0.4, 0.3, 0.3, 0.0], atol=1e-9)
    assert_allclose(leaves.marginal(states[:, 0], chance, 3), [0.5, 0.25, 0.25, 0.0], atol=1e-9)
    assert_allclose(leaves.joint_marginals(states, chance, [3, 3])[:3, :3], joint, atol=1e-12)


@pytest.mark.parametrize("seed", range(4))
def test_joint_marginals_sum_to_single_ones(seed):
    made = random_tree(np.random.default_rng(seed), 5)
    states, chance = tree.enumerate_leaves(made.events)
    table = leaves.joint_marginals(states[:, [3, 0, 2]], chance, [made.outcomes[e] for e in (3, 0, 2)])
    for axis, event in enumerate((3, 0, 2)):
        rest = tuple(a for a in range(3) if a != axis)
        expected = [chance[states[:, event] == k].sum() for k in [*range(made.outcomes[event]), -1]]
        assert_allclose(table.sum(axis=rest), expected, atol=1e-12)


def test_state_beyond_the_outcomes_is_refused():
    with pytest.raises(ValueError, match="beyond the outcomes"):
        leaves.marginal([0, 2], [0.5, 0.5], 2)


@pytest.mark.parametrize("columns", [[], [2], [0, 3], [4, 1, 2], [0, 1, 2, 3, 4]])
def test_information_sets_are_numbered_in_the_order_of_what_is_seen(columns):
    made = random_tree(np.random.default_rng(7), 5)
    states, _ = tree.enumerate_leaves(made.events)
    ids, n = leaves.information_sets(states, columns)
    rows = [tuple(leaf) for leaf in states[:, columns].tolist()]
    number = {row: i for i, row in enumerate(sorted(set(rows)))}
    assert n == len(number)
    assert ids.tolist() == [number[row] for row in rows]


def test_information_sets_of_events_of_very_many_outcomes():
    # So many combinations that a table of all of them would not do.
    rows = [[30_000, 30_000, 5], [30_000, 30_000, 5], [0, 30_000, 5], [30_000, 29_999, 5], [7, 7, 7]]
    ids, n = leaves.information_sets(np.array(rows * 2, dtype=np.int16), [0, 1, 2])
    assert n == 4
    assert ids.tolist() == [3, 3, 0, 2, 1] * 2


def test_expected_by_set_against_plain_means():
    rng = np.random.default_rng(5)
    ids = rng.integers(0, 4, 60)
    ids[ids == 2] = 3
    chance = rng.dirichlet(np.ones(60))
    values = rng.normal(size=(60, 2, 3))
    expected, p_set = leaves.expected_by_set(ids, 4, chance, values)
    assert expected.shape == (4, 2, 3)
    for number in (0, 1, 3):
        mine = ids == number
        assert_allclose(expected[number], np.average(values[mine], axis=0, weights=chance[mine]), atol=1e-12)
        assert p_set[number] == pytest.approx(chance[mine].sum())
    assert p_set[2] == 0
    assert np.isnan(expected[2]).all()


def test_leaf_that_cannot_be_does_not_count_even_at_infinite_cost():
    expected, _ = leaves.expected_by_set([0, 0, 1], 2, [0.5, 0.0, 0.5], [3.0, np.inf, np.inf])
    assert_array_equal(expected, [3.0, np.inf])
