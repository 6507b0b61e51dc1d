"""A probability tree laid out as its leaves; what a finding does to them; when to stop; a gamble as one sure cost."""

from __future__ import annotations

import heapq
import math
from collections.abc import Mapping, Sequence
from graphlib import TopologicalSorter
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
States = NDArray[np.int16]
Given = Sequence[tuple[int, int]]
Group = tuple[Given, ArrayLike]
NOT_HAPPENING = -1
GO_ON, CANNOT_COME, _SAME = -1, -2, 1e-12
_DENSE_CODES = 65_536


class TooManyLeavesError(ValueError):
    """A tree has more leaves than are allowed."""


def enumerate_leaves(
    events: Sequence[Sequence[Group]], limit: int = 200_000, known: Mapping[int, int] | None = None
) -> tuple[States, Floats]:
    """Every leaf of a probability tree: the outcome of each event there, and the leaf's chance.

    Parameters
    ----------
    events : sequence of sequences of (given, chances)
        One entry an event; an entry holds the event's groups. `given` is a tuple of (event index, outcome index)
        pairs, `chances` the chance of each outcome [-].
    limit : int
        The most leaves allowed [leaves].
    known : mapping, optional
        Outcomes that are known, by event: other leaves are left out, and chances add up to that of what is known [-].

    Returns
    -------
    states, chance : int16 array (leaves, events), float array (leaves,)
        Outcome index of each event in the order given, -1 where it does not happen; chance of each leaf [-].

    Notes
    -----
    In a leaf the one group applies whose conditions all hold; a group with an empty `given` applies when no other of
    that event does; when none applies the event does not happen (-1). A condition on an event that does not happen does
    not hold. Branches of chance zero are dropped. Leaves are in lexicographic order of the order in which events are
    settled: those named in conditions first, else as given. Chances of a group sum to 1 and no conditions go in a
    circle. ValueError: two groups that hold at once; TooManyLeavesError: more than `limit` leaves. Source: Raiffa,
    Decision Analysis (1968), ch. 2 (path probabilities as products along the branches).

    >>> states, chance = enumerate_leaves([[((), [0.5, 0.5])], [(((0, 1),), [0.25, 0.75])]])
    >>> states.tolist(), chance.tolist()
    ([[0, -1], [1, 0], [1, 1]], [0.5, 0.125, 0.375])
    """
    tables = [np.array([chances for _, chances in groups], dtype=float) for groups in events]
    order = _evaluation_order([[given for given, _ in groups] for groups in events])
    states = np.full((len(events), 1), NOT_HAPPENING, dtype=np.int16)
    chance = np.ones(1)
    for done, event in enumerate(order, start=1):
        group = _group_that_applies(event, [given for given, _ in events[event]], states)
        # The row added last stands for "does not happen": one branch of chance 1.
        happens = np.vstack([tables[event] > 0, np.zeros((1, tables[event].shape[1]), dtype=bool)])
        branches = np.append(happens.sum(axis=1)[:-1], 1)
        leaves = int(branches[group].sum())
        if leaves > limit:
            raise TooManyLeavesError(
                f"the tree has at least {leaves} leaves after {done} of its {len(events)} events; the limit is {limit}"
            )
        outcome = np.array([k for row in happens[:-1] for k in np.flatnonzero(row)] + [NOT_HAPPENING])
        share = np.append(tables[event][happens[:-1]], 1.0)
        # parent leaf and branch number of every new leaf, children of one parent side by side
        count = branches[group]
        parent = np.repeat(np.arange(len(group)), count)
        first_child, first_branch = np.cumsum(count) - count, np.cumsum(branches) - branches
        branch = np.arange(len(parent)) + (first_branch[group] - first_child)[parent]
        if known and event in known:
            so = outcome[branch] == known[event]
            parent, branch = parent[so], branch[so]
        states = np.take(states, parent, axis=1)
        states[event] = outcome[branch]
        chance = chance[parent] * share[branch]
    return states.T, chance


def _evaluation_order(givens: Sequence[Sequence[Given]]) -> list[int]:
    """The order in which events are settled: those named in conditions first, of those free the lowest index."""
    sorter = TopologicalSorter({event: {e for given in of for e, _ in given} for event, of in enumerate(givens)})
    sorter.prepare()
    # a heap, so that of the events that are free the first in the file comes first: leaves keep their order
    free, order = list(sorter.get_ready()), []
    heapq.heapify(free)
    while free:
        order.append(heapq.heappop(free))
        sorter.done(order[-1])
        for event in sorter.get_ready():
            heapq.heappush(free, event)
    return order


def _group_that_applies(event: int, givens: Sequence[Given], states: States) -> Ints:
    """Row of the group that applies in each leaf; the number of groups where none does."""
    none = len(givens)
    group = np.full(states.shape[1], none)
    for row, given in enumerate(givens):
        if given:
            holds = np.all([states[other] == outcome for other, outcome in given], axis=0)
            if np.any(group[holds] < none):
                raise ValueError(f"event {event}: two groups of conditions hold at once")
            group[holds] = row
    otherwise = next((row for row, given in enumerate(givens) if not given), none)
    return np.where(group < none, group, otherwise)


def given_findings(chance: ArrayLike, likelihood: ArrayLike) -> tuple[Floats, float]:
    """Chances of the leaves after something has been found, and how likely that finding was.

    Parameters
    ----------
    chance, likelihood : array (leaves,)
        Chance of each leaf before [-]; chance of finding just this if the leaf is the true one, 0 to 1 [-].

    Returns
    -------
    chance, p_findings : float array (leaves,), float
        Chance of each leaf after, and of the finding before it was made [-].

    Notes
    -----
    Bayes' rule: chance' = chance * likelihood / sum(chance * likelihood), of a finding that is possible. Leaves ruled
    out stay, with chance 0. Source: Downey, Think Bayes, 2nd edition (2021), ch. 2.
    """
    joint = np.asarray(chance, dtype=float) * np.asarray(likelihood, dtype=float)
    p_findings = float(joint.sum())
    return joint / p_findings, p_findings


def look_likelihood(states_column: ArrayLike, outcomes: int, p_right: float) -> Floats:
    """How likely each showing of a look at one event is, in each leaf.

    Parameters
    ----------
    states_column, outcomes, p_right : int array (leaves,), int, float
        Outcome of the event in each leaf, -1 where it does not happen [-]; number of its outcomes [-]; chance that the
        look shows what is the case [-].

    Returns
    -------
    float array (leaves, outcomes + 1)
        Likelihood of each showing; the last column (-1) is "it did not happen" [-].

    Notes
    -----
    Where the event happens a look shows the true outcome with `p_right`, each other outcome with (1 - p_right) /
    (outcomes - 1). Where it does not happen the look shows so with `p_right`, and each outcome by mistake with (1 -
    p_right) / outcomes. Each row sums to 1. An event with a single outcome cannot be misread while it happens. Source:
    Raiffa, Decision Analysis (1968), ch. 2 (tests that may be wrong).
    """
    state, shown = np.asarray(states_column)[:, np.newaxis], np.arange(outcomes)
    right = p_right if outcomes > 1 else 1.0
    seen = np.where(state == shown, right, (1 - p_right) / max(outcomes - 1, 1))
    table = np.where(state == NOT_HAPPENING, (1 - p_right) / outcomes, seen)
    return np.append(table, np.where(state == NOT_HAPPENING, p_right, 0.0), axis=1)


def information_sets(states: ArrayLike, columns: Sequence[int]) -> tuple[Ints, int]:
    """Which leaves cannot be told apart once the events in `columns` have been seen.

    Parameters
    ----------
    states, columns : int array (leaves, events), sequence of int
        Outcomes in each leaf, -1 where an event does not happen [-]; the events seen, none = one set [-].

    Returns
    -------
    ids, n : int array (leaves,), int
        Number of the set each leaf belongs to, from 0, in lexicographic order of what is seen; number of sets [-].

    Notes
    -----
    Seeing that an event does not happen counts as seeing it. Rows are told apart by a mixed-radix code. Source: Savage,
    The Foundations of Statistics (1954), ch. 6 (observation as a partition of the states).
    """
    table = np.asarray(states)
    code, n = np.zeros(len(table), dtype=np.int64), 1
    for column in columns:
        seen = table[:, column].astype(np.int64) - NOT_HAPPENING
        radix = int(seen.max()) + 1
        code, size = code * radix + seen, n * radix
        if size > max(_DENSE_CODES, 4 * len(code)):
            values, ids = np.unique(code, return_inverse=True)
            code, n = ids.reshape(-1).astype(np.int64), len(values)
        else:
            used = np.zeros(size, dtype=np.int64)
            used[code] = 1
            number = np.cumsum(used)
            code, n = number[code] - 1, int(number[-1])
    return code, n


class StageRule(NamedTuple):
    """What to do at one stage, a place for each set of leaves that look alike by then."""

    choice: Ints
    cost_go_on: Floats
    cost_stop: Floats
    best_stop: Ints
    p_set: Floats


class StopRule(NamedTuple):
    """The least expected cost with the freedom to stop, the rule that reaches it, and where it leads in each leaf."""

    value: float
    stages: tuple[StageRule, ...]
    stage: Ints
    action: Ints


def optimal_stopping(chance: ArrayLike, ids_by_stage: ArrayLike, stop_cost: ArrayLike, go_cost: ArrayLike) -> StopRule:
    """Least expected cost when one may stop at any stage, with the rule that reaches it.

    Parameters
    ----------
    chance : array (leaves,)
        Chance of each leaf, above 0, summing to 1 [-].
    ids_by_stage : int array (stages, leaves)
        Leaves alike by what has been seen when the choice of that stage is made share a number; each stage tells
        apart at least what the one before did [-].
    stop_cost : array (stages, leaves, actions)
        Cost if stopped at that stage by that action; inf where it is not open [home money].
    go_cost : array (leaves,)
        Cost if one goes on past the last stage; inf where one must stop before [home money].

    Returns
    -------
    StopRule
        Least expected cost [home money], and for each stage, by set: `choice` (action index, -1 go on, -2 where the set
        cannot come), `cost_go_on` (acting best later), `cost_stop` (the cheapest stop), `best_stop` (its action), both
        [home money] and nan where the set cannot come, and `p_set` [-]. By leaf: `stage` at which it stops, the number
        of stages where it goes on to the end, and the `action` by which it stops, -1 where it goes on [-].

    Notes
    -----
    Backward induction: V(set) = min(min over actions of E(stop_cost | set), E(V of next stage | set)), V = go_cost
    after the last stage. Costs of all stages must be counted from one and the same moment. Equal costs (to 1e-12 of
    themselves): stop, by the first action. With no stage the value is E(go_cost). Costs are above -inf and not nan.
    Source: Bellman, Dynamic Programming (1957), ch. 3 (the principle of optimality). DeGroot, Optimal Statistical
    Decisions (1970), ch. 12 (backward induction).
    """
    p, stops, ahead = (np.asarray(x, dtype=float) for x in (chance, stop_cost, go_cost))
    sets = np.asarray(ids_by_stage, dtype=np.int64).reshape(-1, len(p))
    stages: list[StageRule] = []
    stage, action = (np.full(len(p), start, dtype=np.int64) for start in (len(sets), GO_ON))
    for number in reversed(range(len(sets))):
        ids, stop = sets[number], stops[number]
        p_set = np.asarray(np.bincount(ids, weights=p), dtype=np.float64)
        sums = np.stack([np.bincount(ids, weights=p * costs) for costs in (ahead, *stop.T)])
        with np.errstate(invalid="ignore"):
            expected = sums / p_set
        go, by_action = expected[0], expected[1:].T
        if by_action.shape[1] == 0:
            by_action = np.where(np.isnan(go), np.nan, np.inf)[:, np.newaxis]
        best, cheapest = by_action.argmin(axis=1).astype(np.int64), by_action.min(axis=1)
        stops_here = np.isfinite(cheapest) & (cheapest <= go + _SAME * np.abs(np.where(np.isfinite(go), go, 0.0)))
        choice = np.where(stops_here, best, GO_ON)
        choice[p_set == 0] = best[p_set == 0] = CANNOT_COME
        stages.append(StageRule(choice, go, cheapest, best, p_set))
        here = np.flatnonzero(choice[ids] >= 0)
        stage[here], action[here] = number, choice[ids[here]]
        ahead = np.minimum(go, cheapest)[ids]
    return StopRule(float(p @ ahead), tuple(stages[::-1]), stage, action)


def certainty_equivalent(costs: ArrayLike, tolerance: float, weights: ArrayLike) -> float:
    """Sure cost that is as bad as an uncertain one, by exponential utility.

    Parameters
    ----------
    costs, weights : array (outcomes,)
        Costs of the outcomes [home money]; chance of each, need not add up to 1 [-].
    tolerance : float
        Risk tolerance: about the amount for which one would just take an even chance of winning it against losing
        half of it [home money]; inf = the mean decides, 0 = the worst does.

    Returns
    -------
    float
        Certainty equivalent [home money], from the mean to the worst cost.

    Notes
    -----
    ``T ln(mean of exp(cost / T))``, taken from the mean where the costs differ by less than T and from the worst
    otherwise, so that it neither overflows nor loses digits. Outcomes of weight 0 do not count. Source: R. A. Howard,
    "Decision analysis: practice and promise", Management Science 34 (1988) 679-695; R. T. Clemen, Making Hard
    Decisions, 2nd ed., ch. 13 (exponential utility; the example is from memory).

    >>> worth = -certainty_equivalent([-2000.0, -1000.0, -500.0], 900.0, [0.4, 0.4, 0.2])
    >>> round(1.0 - math.exp(-worth / 900.0), 4)
    0.7102
    """
    cost, chance = np.asarray(costs, dtype=float), np.asarray(weights, dtype=float)
    cost, chance = cost[chance > 0.0], chance[chance > 0.0] / chance.sum()
    worst = float(cost.max())
    if tolerance == 0.0 or worst == cost.min():
        return worst
    mean = float(chance @ cost)
    if math.isinf(tolerance):
        return mean
    if worst - mean < tolerance:
        surplus = tolerance * math.log1p(float(chance @ np.expm1((cost - mean) / tolerance)))
        return min(mean + max(surplus, 0.0), worst)
    with np.errstate(over="ignore"):
        share = float(chance @ np.exp((cost - worst) / tolerance))
    return max(worst + tolerance * math.log(share), mean)
