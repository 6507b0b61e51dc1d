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
from repairecon.rebuild_or_buy.tree import NEVER_ENDS, STAGE
from repairecon.records import STAGES

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Weights = tuple[float, float, float]
LEAVE = "leave it: look elsewhere"
GO_ON = "go on"
NOT_COMING_UP = "does not come up"
SEND_AWAY_UNTIL = STAGE["removal"]


@dataclass(frozen=True)
class Decision:
    """The staged choice as arrays over leaves.

    ``points`` stages at whose end one may stop (-1: now, nothing done); ``ids`` (S, L) leaves alike by then;
    ``stop_cost`` (S, L, A); ``go_cost`` (L,) inf where the rebuild must end; ``spent`` (S, L) from now
    to each point; ``actions`` names of the stops; ``ends`` (L,) stage at which the rebuild ends: one
    stops there at the latest; ``other`` (L,) where another unit is to blame. If it ever is, the last
    action is leaving this one alone, whose cost ``rule`` fills in: now at the risk of ``elsewhere_cost`` when
    that was wrong, later only where it has been seen to be right, and not before stage ``first``.
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
    elsewhere_cost: float = 0.0
    first: int = -1

    def rule(self, weights: Floats | None = None) -> stopping.StopRule:
        """Best rule for leaf chances ``weights`` (need not sum to one), by default the present ones."""
        w = self.chance if weights is None else weights
        on = np.flatnonzero(w > 0)
        p = w[on] / w[on].sum()
        stop = self.stop_cost[:, on]
        if self.other.any():
            open_points = np.array(self.points)[:, None] >= self.first
            stop[:, :, -1] = np.where(self.other[on] & open_points, self.spent[:, on], np.inf)
            if self.points[0] >= self.first:
                stop[0, :, -1] = self._leaving(w, on)
        return stopping.optimal_stopping(p, self.ids[:, on], stop, self.go_cost[on])

    def _leaving(self, weights: Floats, on: NDArray[np.intp]) -> Floats:
        """Cost now of looking elsewhere: nothing if another unit is to blame, else the best way after all, later."""
        cost = np.zeros(len(self.chance))
        this = np.flatnonzero((weights > 0) & ~self.other)
        if len(this):
            first = replace(self, other=np.zeros_like(self.other)).rule(np.where(self.other, 0.0, weights)).stages[0]
            best = np.fmin(first.cost_go_on, first.cost_stop)
            cost[this] = best[self.ids[0, this]] + self.elsewhere_cost
        return cost[on]

    def value(self, weights: Floats | None = None) -> float:
        """Least expected cost from here with the freedom to stop."""
        return self.rule(weights).value

    def from_point(self, first: int) -> Decision:
        """The same with no stop before the end of stage ``first``, unless the rebuild has ended there."""
        stop = self.stop_cost.copy()
        for s, point in enumerate(self.points):
            if point < first:
                stop[s, self.ends > point] = np.inf
        return replace(self, stop_cost=stop, first=first)


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
    spent, go = np.zeros((len(points), n)), np.full(n, np.inf)
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
        ends=ends, other=other, elsewhere_cost=elsewhere,
    )  # fmt: skip


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
