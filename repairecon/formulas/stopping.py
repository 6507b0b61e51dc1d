"""When to stop: at each stage, with what has been seen by then, stop in one of several ways or go on."""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from repairecon.formulas.tree import expected_by_set

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

GO_ON = -1
CANNOT_COME = -2
_SAME = 1e-12


class StageRule(NamedTuple):
    """What to do at one stage, a place for each set of leaves that look alike by then."""

    choice: Ints
    cost_go_on: Floats
    cost_stop: Floats
    best_stop: Ints
    p_set: Floats


class StopRule(NamedTuple):
    """The least expected cost with the freedom to stop, and the rule that reaches it."""

    value: float
    stages: tuple[StageRule, ...]


class Followed(NamedTuple):
    """Where the rule leads in each leaf."""

    stage: Ints
    action: Ints
    cost: Floats


def optimal_stopping(chance: ArrayLike, ids_by_stage: ArrayLike, stop_cost: ArrayLike, go_cost: ArrayLike) -> StopRule:
    """Least expected cost when one may stop at any stage, with the rule that reaches it.

    Parameters
    ----------
    chance : array (leaves,)
        Chance of each leaf, summing to 1 [-].
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
        [home money] and nan where the set cannot come, and `p_set` [-].

    Notes
    -----
    Backward induction: V(set) = min(min over actions of E(stop_cost | set), E(V of next stage | set)), with V = go_cost
    after the last stage. Costs of all stages must be counted from one and the same moment. Equal costs (to 1e-12 of
    themselves): stop, by the first action. With no stage the value is E(go_cost). Costs are above -inf and not nan.
    ValueError when a later stage forgets what an earlier one told apart.

    References
    ----------
    Bellman, Dynamic Programming (1957), ch. 3 (the principle of optimality). DeGroot, Optimal Statistical Decisions
    (1970), ch. 12 (backward induction).

    Examples
    --------
    >>> rule = optimal_stopping([0.5, 0.5], [[0, 0], [0, 1]], [[[6.0], [6.0]], [[8.0], [8.0]]], [2.0, 20.0])
    >>> rule.value, [stage.choice.tolist() for stage in rule.stages]
    (5.0, [[-1], [-1, 0]])
    """
    p = np.asarray(chance, dtype=float)
    sets = np.asarray(ids_by_stage, dtype=np.int64).reshape(-1, len(p))
    stops = np.asarray(stop_cost, dtype=float)
    ahead = np.asarray(go_cost, dtype=float)
    fits = len(sets) == 0 or (stops.ndim == 3 and stops.shape[:2] == sets.shape)
    if ahead.shape != p.shape or not fits:
        raise ValueError(
            f"{len(sets)} stages and {len(p)} leaves need stop costs (stages, leaves, actions), "
            f"not {stops.shape}, and going-on costs (leaves,), not {ahead.shape}"
        )
    _check_costs(stops, ahead)
    _check_refining(sets)
    stages: list[StageRule] = []
    for ids, stop in zip(sets[::-1], stops[::-1], strict=True):
        rule, value = _one_stage(p, ids, stop, ahead)
        stages.append(rule)
        ahead = value[ids]
    return StopRule(_mean(p, ahead), tuple(stages[::-1]))


def follow(rule: StopRule, ids_by_stage: ArrayLike, stop_cost: ArrayLike, go_cost: ArrayLike) -> Followed:
    """Where a stop rule leads in each leaf: the stage it stops at, how, and what it then costs.

    Parameters
    ----------
    rule, ids_by_stage : StopRule, int array (stages, leaves)
        From `optimal_stopping`, and as given to it [-].
    stop_cost, go_cost : array (stages, leaves, actions), array (leaves,)
        What each stop costs and what going on to the end costs; may be of another kind than the rule was made for
        [any].

    Returns
    -------
    Followed
        By leaf: stage at which it stops, the number of stages where it goes on to the end; action by which it stops, -1
        where it goes on to the end; cost [unit of the costs given].

    Notes
    -----
    A leaf stops at the first stage whose choice is not to go on. In leaves of chance 0 within sets that cannot come
    the rule is taken to go on.

    References
    ----------
    DeGroot, Optimal Statistical Decisions (1970), ch. 13 (optimal stopping).

    Examples
    --------
    >>> sets, stop, go = [[0, 0], [0, 1]], [[[6.0], [6.0]], [[8.0], [8.0]]], [2.0, 20.0]
    >>> done = follow(optimal_stopping([0.5, 0.5], sets, stop, go), sets, stop, go)
    >>> done.stage.tolist(), done.action.tolist(), done.cost.tolist()
    ([2, 1], [-1, 0], [2.0, 8.0])
    """
    cost = np.array(go_cost, dtype=float)
    sets = np.asarray(ids_by_stage, dtype=np.int64).reshape(-1, len(cost))
    stops = np.asarray(stop_cost, dtype=float)
    stage = np.full(len(cost), len(rule.stages), dtype=np.int64)
    action = np.full(len(cost), GO_ON, dtype=np.int64)
    for number in reversed(range(len(rule.stages))):
        choice = rule.stages[number].choice[sets[number]]
        here = np.flatnonzero(choice >= 0)
        stage[here], action[here] = number, choice[here]
        cost[here] = stops[number, here, choice[here]]
    return Followed(stage, action, cost)


def _one_stage(p: Floats, ids: Ints, stop: Floats, ahead: Floats) -> tuple[StageRule, Floats]:
    """The rule of one stage and its value by set, `ahead` being the value in each leaf if one goes on."""
    table = np.concatenate([ahead[:, np.newaxis], stop], axis=1)
    expected, p_set = expected_by_set(ids, int(ids.max(initial=-1)) + 1, p, table)
    go, by_action = expected[:, 0], expected[:, 1:]
    if by_action.shape[1] == 0:
        by_action = np.where(np.isnan(go), np.nan, np.inf)[:, np.newaxis]
    best = by_action.argmin(axis=1).astype(np.int64)
    cheapest = by_action.min(axis=1)
    stops = np.isfinite(cheapest) & (cheapest <= go + _SAME * np.abs(np.where(np.isfinite(go), go, 0.0)))
    choice = np.where(stops, best, GO_ON)
    choice[p_set == 0] = CANNOT_COME
    best[p_set == 0] = CANNOT_COME
    return StageRule(choice, go, cheapest, best, p_set), np.minimum(go, cheapest)


def _mean(p: Floats, values: Floats) -> float:
    possible = p > 0
    return float(p[possible] @ values[possible])


def _check_costs(stops: Floats, ahead: Floats) -> None:
    if not (np.all(stops > -np.inf) and np.all(ahead > -np.inf)):
        raise ValueError("a cost is a number, or inf where a way is not open")


def _check_refining(sets: Ints) -> None:
    """Each set of a later stage must lie within one set of the stage before."""
    if np.any(sets < 0):
        raise ValueError("sets are numbered from 0")
    for stage, (before, after) in enumerate(pairwise(sets), start=1):
        within = np.zeros(int(after.max(initial=-1)) + 1, dtype=np.int64)
        within[after] = before
        if np.any(within[after] != before):
            raise ValueError(f"stage {stage} forgets what stage {stage - 1} had told apart")
