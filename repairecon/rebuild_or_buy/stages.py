"""The choice at the bench: at each stage, with what has been seen by then, go on or stop and buy.

All costs are expected totals counted from where the owner stands now; what is spent before is kept
apart. Every set of leaves that look alike by the end of a stage is one place of choice.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from repairecon.formulas import stopping
from repairecon.rebuild_or_buy.choose import Chooser
from repairecon.rebuild_or_buy.evaluate import Piece
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.tree import NEVER_ENDS, STAGE, Nested
from repairecon.records import STAGES

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Weights = tuple[float, float, float]
LEAVE = "leave it: look elsewhere"
GO_ON = "go on"
NOT_COMING_UP = "does not come up"
SEND_AWAY_UNTIL = STAGE["removal"]


@dataclass(frozen=True, eq=False)
class Decision:
    """The staged choice as arrays over leaves.

    ``points`` stages at whose end one may stop (-1: now, nothing done); ``ids`` (S, L) leaves alike by then;
    ``stop_cost`` (S, L, A); ``go_cost`` (L,) inf where the rebuild must end; ``spent`` (S, L) from now
    to each point; ``actions`` names of the stops; ``ends`` (L,) stage at which the rebuild ends: one
    stops there at the latest; ``other`` (L,) where another unit is to blame. If it ever is, the last
    action is leaving this one alone, whose cost is filled in here: now at the risk of ``elsewhere_cost`` when
    that was wrong, later only where it has been seen to be right, and not before stage ``first``.
    ``after_away`` what is bought where a rebuilder gives the unit up, chosen anew on what is known by then.
    """

    chance: Floats
    points: tuple[int, ...]
    ids: Ints
    stop_cost: Floats
    go_cost: Floats
    spent: Floats
    actions: tuple[str, ...]
    ends: Ints
    other: NDArray[np.bool_]
    nested: Nested
    elsewhere_cost: float = 0.0
    first: int = -1
    after_away: tuple[AfterAway, ...] = ()

    def stops(self, weights: Floats) -> Floats:
        """Cost of each stop (S, L, A) for leaf chances ``weights``, with that of leaving this unit alone."""
        stop = self.stop_cost
        if self.other.any():
            stop = stop.copy()
            open_points = np.array(self.points)[:, None] >= self.first
            stop[:, :, -1] = np.where(self.other & open_points, self.spent, np.inf)
            if self.points[0] >= self.first:
                stop[0, :, -1] = self._leaving(weights)
        return stop

    def _leaving(self, weights: Floats) -> Floats:
        """Cost now of looking elsewhere: nothing if another unit is to blame, else the best way after all, later."""
        cost = np.zeros(len(self.chance))
        this = np.where(self.other, 0.0, weights)
        if this.any():
            best = replace(self, other=np.zeros_like(self.other)).by_set(this)
            chance = np.bincount(self.ids[0], this, len(best))
            each = np.divide(best, chance, out=np.zeros_like(best), where=chance > 0)
            here = ~self.other
            cost[here] = each[self.ids[0, here]] + self.elsewhere_cost
        return cost

    def rule(self, weights: Floats | None = None) -> stopping.StopRule:
        """Best rule for leaf chances ``weights`` (need not sum to one), by default the present ones."""
        w = self.chance if weights is None else weights
        on = np.flatnonzero(w > 0)
        stop = self.stops(w)[:, on]
        return stopping.optimal_stopping(w[on] / w[on].sum(), self.ids[:, on], stop, self.go_cost[on])

    def value(self, weights: Floats | None = None) -> float:
        """Least expected cost from here with the freedom to stop."""
        w = self.chance if weights is None else weights
        return float(self.by_set(w).sum() / w.sum())

    def by_set(self, weights: Floats) -> Floats:
        """Least cost times chance in each set of leaves that look alike at the first point.

        The same backward induction as ``stopping.optimal_stopping``, in sums over sets: without the rule it is many
        times quicker.
        """
        possible = weights > 0
        w = np.where(possible, weights, 0.0)[self.nested.order]
        stop, go = self.stops(weights)[:, self.nested.order], self.go_cost[self.nested.order]
        with np.errstate(invalid="ignore"):
            ahead = np.where(w > 0, w * go, 0.0)
            sums = np.where(w[:, None] > 0, w[:, None] * stop, 0.0)
        for s in range(len(self.points) - 1, -1, -1):
            ahead = np.add.reduceat(ahead, self.nested.within[s])
            if sums.shape[2]:
                ahead = np.minimum(ahead, np.add.reduceat(sums[s], self.nested.starts[s], axis=0).min(axis=1))
        result = np.zeros(int(self.ids[0].max()) + 1)
        result[self.ids[0, self.nested.order[self.nested.starts[0]]]] = ahead
        return result

    def from_point(self, first: int) -> Decision:
        """The same with no stop before the end of stage ``first``, unless the rebuild has ended there."""
        stop = self.stop_cost.copy()
        for s, point in enumerate(self.points):
            if point < first:
                stop[s, self.ends > point] = np.inf
        return replace(self, stop_cost=stop, first=first)

    def known(self, weights: Floats) -> Decision:
        """The same with leaf chances ``weights`` known, what follows a failed sending away chosen anew on them."""
        if not self.after_away:
            return replace(self, chance=weights)
        stop = self.stop_cost.copy()
        for a in self.after_away:
            stop[a.stage, :, a.action] = a.column(weights)
        return replace(self, chance=weights, stop_cost=stop)


@dataclass(frozen=True, eq=False)
class AfterAway:
    """One stop by sending away, where the rebuilder may give the unit up.

    ``fixed`` (L,) all but what is then bought; ``choices`` for each stage at which it ends its leaves, the sets that
    look alike by then, and what each buy adds there (buys, leaves).
    """

    stage: int
    action: int
    fixed: Floats
    choices: tuple[tuple[Ints, Ints, Floats], ...]

    def column(self, weights: Floats) -> Floats:
        """Cost of the stop in each leaf, the cheapest buy chosen for each set."""
        cost = self.fixed.copy()
        for at, ids, added in self.choices:
            count = int(ids.max()) + 1
            sums = np.array([np.bincount(ids, weights[at] * row, count) for row in added])
            best = sums.argmin(axis=0)[ids]
            cost[at] += added[best, np.arange(len(at))]
        return cost


def main_rebuild(model: Model) -> int | None:
    """The way that rebuilds here, if it may be chosen."""
    return next((i for i, w in enumerate(model.case.ways) if w.kind == "rebuild" and model.allowed[i]), None)


def other_unit(model: Model) -> NDArray[np.bool_]:
    """Leaves in which another unit is to blame."""
    mask = np.zeros(len(model.tree.chance), dtype=bool)
    for branch, holds in zip(model.case.branches, model.tree.holds, strict=True):
        if branch.not_this_unit:
            mask |= holds
    return mask


def decision(model: Model, weights: Weights | None = None, chooser: Chooser | None = None) -> Decision:
    """The staged choice of a case from stage ``model.done`` on; ``weights`` of cash, own hours and days in a cost."""
    chosen, n, r = chooser or model.plain, len(model.tree.chance), main_rebuild(model)
    at, program, weights = chosen.at, model.program, weights or model.weights
    points = tuple(range(model.done, len(STAGES))) if r is not None else (model.done,)
    aways = [i for (i, after) in program.away if after == model.done and model.allowed[i]]
    buys = [i for i in model.buys if model.allowed[i]]
    stop = np.full((len(points), n, len(buys) + len(aways)), np.inf)
    spent, go, after = np.zeros((len(points), n)), np.full(n, np.inf), list[AfterAway]()
    ends = np.full(n, NEVER_ENDS) if r is None else np.maximum(model.ends[r], model.done)
    if r is not None:
        whole = at.by_leaf((Piece(program.main[r]),), weights)
        go = np.where(model.ends[r] == NEVER_ENDS, whole, np.inf)
        up_to = [at.by_leaf((Piece(program.spent[r, k]),), weights) for k in points]
        spent = np.array(up_to) - up_to[0]
    for s, point in enumerate(points):
        for a, i in enumerate(buys):
            stop[s, :, a] = spent[s] + at.by_leaf(chosen.buy(i, point), weights)
        if point <= max(SEND_AWAY_UNTIL, model.done):
            for a, i in enumerate(aways, len(buys)):
                stop[s, :, a] = spent[s] + at.by_leaf(chosen.sent_away(i, point), weights)
                after += _after_away(chosen, i, (s, a), stop[s, :, a], weights)
        stop[s, ends < point] = np.inf
    ids = np.array([model.alike(point) for point in points])
    names = tuple(model.ways[i] for i in (*buys, *aways))
    other = other_unit(model)
    if other.any():
        names, stop = (*names, LEAVE), np.concatenate([stop, np.full((*stop.shape[:2], 1), np.inf)], axis=2)
    a_day = model.lost_day + model.case.terms.hours_per_day * model.own_hour
    elsewhere = model.case.terms.elsewhere_days * a_day
    return Decision(
        chance=model.tree.chance, points=points, ids=ids, stop_cost=stop, go_cost=go, spent=spent, actions=names,
        ends=ends, other=other, nested=model.nested(points), elsewhere_cost=elsewhere, after_away=tuple(after),
    )  # fmt: skip


def _after_away(chosen: Chooser, i: int, place: tuple[int, int], column: Floats, weights: Weights) -> list[AfterAway]:
    """What is bought after a sending away has failed, apart from the rest of that stop's cost."""
    model, (s, a) = chosen.model, place
    if not model.stops(i):
        return []
    comes = 1.0 - (model.inputs[model.never[i]].mean if i in model.never else 0.0)
    options = chosen.options(i)
    fixed, choices = column.copy(), []
    for stop in model.stops(i):
        after = max(stop.stage, model.done)
        by_buy = np.array([chosen.at.by_leaf(chosen.buy(b, after), weights)[stop.at] for b in options])
        choices.append((stop.at, stop.ids, comes * by_buy))
    for _, leaves, b in chosen.after_the_end(i):
        mine = np.flatnonzero(leaves.mask)
        for at, _, added in choices:
            here = np.isin(at, mine)
            fixed[at[here]] -= added[options.index(b), here]
    return [AfterAway(s, a, fixed, tuple(choices))]


@dataclass(frozen=True)
class Place:
    """One place of choice that the best rule reaches."""

    point: int
    findings: dict[str, str]
    chance: float
    choice: str
    cost_go_on: float
    cost_stop: float
    best_stop: str
    row: int
    leaves: NDArray[np.intp]


def places(model: Model, made: Decision, rule: stopping.StopRule | None = None) -> Iterator[Place]:
    """Every place that is reached under the rule; costs are those still to come from that place."""
    rule = made.rule() if rule is None else rule
    on = np.flatnonzero(made.chance > 0)
    alive = np.ones(len(on), dtype=bool)
    for s, point in enumerate(made.points):
        stage, ids = rule.stages[s], made.ids[s][on]
        seen = [e for e, k in enumerate(model.tree.seen) if 0 <= k <= point]
        stopped = stage.choice[ids] != stopping.GO_ON
        for i in np.unique(ids[alive]):
            leaves = on[alive & (ids == i)]
            weight = made.chance[leaves]
            gone = float(weight @ made.spent[s, leaves] / weight.sum())
            choice = int(stage.choice[i])
            first = int(leaves[0])
            yield Place(
                point,
                _findings(model, first, seen),
                float(weight.sum()),
                GO_ON if choice == stopping.GO_ON else made.actions[choice],
                float(stage.cost_go_on[i] - gone),
                float(stage.cost_stop[i] - gone),
                made.actions[int(stage.best_stop[i])] if made.actions else "",
                s,
                leaves,
            )
        alive &= ~stopped


def _findings(model: Model, leaf: int, seen: list[int]) -> dict[str, str]:
    """What has been seen in a leaf, events that do not come up there told as such."""
    words = model.tree.words(leaf)
    return {model.tree.events[e]: words.get(model.tree.events[e], NOT_COMING_UP) for e in seen}


@dataclass(frozen=True)
class StopWhen:
    """A finding (or findings together) on which the best rule stops, and what is done then."""

    point: int
    findings: tuple[tuple[str, str], ...]
    action: str
    chance: float


def stop_when(reached: Sequence[Place], most_together: int = 3) -> list[StopWhen]:
    """The stops of a rule told by as few findings as will do.

    At each stage the smallest sets of findings are taken that occur in stops of one action only
    and in no place at which one goes on, the most frequent first, until every stop is covered.
    """
    told: list[StopWhen] = []
    for point in sorted({p.point for p in reached}):
        here = [p for p in reached if p.point == point]
        for action in sorted({p.choice for p in here} - {GO_ON}):
            stops = [p for p in here if p.choice == action]
            others = [p for p in here if p.choice != action]
            told += _cover(point, action, stops, others, most_together)
    return told


def _vague(findings: frozenset[tuple[str, str]]) -> int:
    return sum(outcome == NOT_COMING_UP for _, outcome in findings)


def _cover(point: int, action: str, stops: list[Place], others: list[Place], most: int) -> Iterator[StopWhen]:
    if not others:
        yield StopWhen(point, (), action, sum(p.chance for p in stops))
        return
    left = list(stops)
    for size in range(1, most + 1):
        found: dict[frozenset[tuple[str, str]], float] = {}
        for p in left:
            for pairs in combinations(p.findings.items(), size):
                key = frozenset(pairs)
                found[key] = found.get(key, 0.0) + p.chance
        for key in sorted(found, key=lambda k: (_vague(k), -found[k], sorted(k))):
            covered = [p for p in left if key <= p.findings.items()]
            if covered and not any(key <= p.findings.items() for p in others):
                yield StopWhen(point, tuple(sorted(key)), action, sum(p.chance for p in covered))
                left = [p for p in left if p not in covered]
        if not left:
            return
    for p in left:
        yield StopWhen(point, tuple(p.findings.items()), action, p.chance)
