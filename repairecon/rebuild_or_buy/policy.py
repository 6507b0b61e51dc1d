"""A stop rule told: every place of choice that it reaches, and the fewest findings on which it stops."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from repairecon.formulas import stopping
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.stages import GO_ON, Decision

NOT_COMING_UP = "does not come up"


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
