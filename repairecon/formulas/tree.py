"""A probability tree laid out as its leaves: every way the events can turn out, with its chance."""

from __future__ import annotations

import heapq
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from repairecon.formulas.findings import finding_likelihood, given_findings, look_likelihood
from repairecon.formulas.leaves import (
    NOT_HAPPENING,
    expected_by_set,
    information_sets,
    joint_marginals,
    marginal,
)

__all__ = [
    "NOT_HAPPENING",
    "enumerate_leaves",
    "evaluation_order",
    "expected_by_set",
    "finding_likelihood",
    "given_findings",
    "information_sets",
    "joint_marginals",
    "look_likelihood",
    "marginal",
]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
States = NDArray[np.int16]
Given = Sequence[tuple[int, int]]
Group = tuple[Given, ArrayLike]

_SUM_TOLERANCE = 1e-9


def enumerate_leaves(events: Sequence[Sequence[Group]], limit: int = 200_000) -> tuple[States, Floats]:
    """Every leaf of a probability tree: the outcome of each event there, and the leaf's chance.

    Parameters
    ----------
    events : sequence of sequences of (given, chances)
        One entry an event; an entry holds the event's groups. `given` is a tuple of
        (event index, outcome index) pairs, `chances` the chance of each outcome [-].
    limit : int
        The most leaves allowed [leaves].

    Returns
    -------
    states : int16 array (leaves, events)
        Outcome index of each event, columns in the order given; -1 where it does not happen [-].
    chance : float array (leaves,)
        Chance of each leaf [-].

    Notes
    -----
    In a leaf the one group applies whose conditions all hold; a group with an empty `given` applies
    when no other of that event does; when none applies the event does not happen (-1). A condition on
    an event that does not happen does not hold. Branches of chance zero are dropped. Leaves are in
    lexicographic order of the order of evaluation (`evaluation_order`).
    ValueError: conditions in a circle, two groups that hold at once, chances below zero or whose sum
    is off 1 by more than 1e-9, indices out of range, more than `limit` leaves.

    References
    ----------
    Raiffa, Decision Analysis (1968), ch. 2 (path probabilities as products along the branches).

    Examples
    --------
    >>> states, chance = enumerate_leaves([[((), [0.5, 0.5])], [(((0, 1),), [0.25, 0.75])]])
    >>> states.tolist(), chance.tolist()
    ([[0, -1], [1, 0], [1, 1]], [0.5, 0.125, 0.375])
    """
    tables = [_chance_table(index, groups) for index, groups in enumerate(events)]
    order = evaluation_order([[given for given, _ in groups] for groups in events])
    _check_conditions(events, [table.shape[1] for table in tables])
    states = np.full((len(events), 1), NOT_HAPPENING, dtype=np.int16)
    chance = np.ones(1)
    for done, event in enumerate(order, start=1):
        group = _group_that_applies(event, [given for given, _ in events[event]], states)
        # The row added last stands for "does not happen": one branch of chance 1.
        happens = np.vstack([tables[event] > 0, np.zeros((1, tables[event].shape[1]), dtype=bool)])
        branches = np.append(happens.sum(axis=1)[:-1], 1)
        leaves = int(branches[group].sum())
        if leaves > limit:
            raise ValueError(
                f"the tree has at least {leaves} leaves after {done} of its {len(events)} events; "
                f"the limit is {limit}"
            )
        outcome = np.array([k for row in happens[:-1] for k in np.flatnonzero(row)] + [NOT_HAPPENING])
        share = np.append(tables[event][happens[:-1]], 1.0)
        parent, branch = _branch_out(group, branches)
        states = np.take(states, parent, axis=1)
        states[event] = outcome[branch]
        chance = chance[parent] * share[branch]
    return states.T, chance


def evaluation_order(givens: Sequence[Sequence[Given]]) -> list[int]:
    """The order in which events are settled: those named in conditions first, else as given.

    Parameters
    ----------
    givens : sequence of sequences of conditions
        For each event, the `given` of each of its groups: (event index, outcome index) pairs [-].

    Returns
    -------
    list of int
        Event indices, conditions before what they govern; among those free the lowest index first [-].

    Notes
    -----
    Topological sorting with a heap of the free events. ValueError names the events on a circle, or an
    index that is no event.

    References
    ----------
    Kahn, Topological sorting of large networks, Communications of the ACM 5 (1962), p. 558-562.

    Examples
    --------
    >>> evaluation_order([[((2, 0),)], [()], [()]])
    [1, 2, 0]
    """
    parents = [{other for given in groups for other, _ in given} for groups in givens]
    for event, named in enumerate(parents):
        wrong = sorted(other for other in named if not 0 <= other < len(givens))
        if wrong:
            raise ValueError(f"event {event}: a condition names event {wrong[0]}, which does not exist")
    waiting = [len(named) for named in parents]
    children: list[list[int]] = [[] for _ in parents]
    for event, named in enumerate(parents):
        for other in named:
            children[other].append(event)
    free = [event for event, count in enumerate(waiting) if count == 0]
    order: list[int] = []
    while free:
        order.append(heapq.heappop(free))
        for event in children[order[-1]]:
            waiting[event] -= 1
            if waiting[event] == 0:
                heapq.heappush(free, event)
    if len(order) < len(parents):
        circle = _circle(parents, set(range(len(parents))) - set(order))
        raise ValueError(f"events {', '.join(map(str, circle))} depend on each other in a circle")
    return order


def _chance_table(event: int, groups: Sequence[Group]) -> Floats:
    """The groups' chances as rows of one table, checked."""
    if sum(len(given) == 0 for given, _ in groups) > 1:
        raise ValueError(f"event {event}: more than one group without conditions")
    rows = [np.asarray(chances, dtype=float) for _, chances in groups]
    if any(row.shape != rows[0].shape or row.ndim != 1 for row in rows):
        raise ValueError(f"event {event}: every group must give a chance for each outcome of the event")
    for row in rows:
        if not abs(row.sum() - 1) <= _SUM_TOLERANCE:
            raise ValueError(f"event {event}: the chances do not sum to 1")
        if row.min() < 0:
            raise ValueError(f"event {event}: a chance is below 0")
    return np.array(rows) if rows else np.zeros((0, 0))


def _check_conditions(events: Sequence[Sequence[Group]], outcomes: Sequence[int]) -> None:
    for event, groups in enumerate(events):
        for given, _ in groups:
            for other, outcome in given:
                if not 0 <= outcome < outcomes[other]:
                    raise ValueError(
                        f"event {event}: a condition names outcome {outcome} of event {other}, "
                        f"which has {outcomes[other]}"
                    )


def _group_that_applies(event: int, givens: Sequence[Given], states: States) -> Ints:
    """Row of the group that applies in each leaf; the number of groups where none does."""
    group = np.full(states.shape[1], len(givens))
    taken = np.zeros(states.shape[1], dtype=bool)
    for row, given in enumerate(givens):
        if len(given) == 0:
            continue
        holds = np.ones(states.shape[1], dtype=bool)
        for other, outcome in given:
            holds &= states[other] == outcome
        if np.any(holds & taken):
            raise ValueError(f"event {event}: two groups of conditions hold at once")
        taken |= holds
        group[holds] = row
    otherwise = [row for row, given in enumerate(givens) if len(given) == 0]
    if otherwise:
        group[~taken] = otherwise[0]
    return group


def _branch_out(group: Ints, branches: Ints) -> tuple[Ints, Ints]:
    """Parent leaf and branch number of every new leaf, children of one parent side by side."""
    count = branches[group]
    parent = np.repeat(np.arange(len(group)), count)
    first_child = np.cumsum(count) - count
    first_branch = np.cumsum(branches) - branches
    return parent, np.arange(len(parent)) + (first_branch[group] - first_child)[parent]


def _circle(parents: Sequence[set[int]], stuck: set[int]) -> list[int]:
    """One circle among the events that could not be placed: each has a parent that could not be either."""
    walk = [min(stuck)]
    while True:
        step = min(parents[walk[-1]] & stuck)
        if step in walk:
            return sorted(walk[walk.index(step) :])
        walk.append(step)
