"""Which remedy an outcome is met by, for each way: the one with the least expected total of the whole way.

Where years are looked ahead and a remedy leaves a shorter life, the failures that this brings count as well.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import product
from math import prod

import numpy as np

from repairecon.buying.buying import Buying
from repairecon.buying.inputs import mean_of
from repairecon.rebuild_or_buy.lives import clocks_of, discounted_failures
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.tree import Tree, branch_touches, remedies_for
from repairecon.records import Branch, Case, Remedy, Way

Key = tuple[str, str, str]
Taken = dict[Key, tuple[Remedy, ...]]
MOST_TRIED = 64
"""Choices for a way up to which all are tried; with more, one outcome after another until nothing gets better."""


@dataclass(frozen=True)
class Met:
    """How an outcome is met: ``remedy`` ('' where the rebuild ends), and ``then`` if that does not hold."""

    way: str
    event: str
    outcome: str
    remedy: str
    then: str = ""


def _choices(case: Case, way: Way) -> Iterator[tuple[Key, list[tuple[Remedy, ...]]]]:
    """Outcomes that a way can meet, each with the remedies in the orders in which they may be taken."""
    shown: dict[tuple[str, str], Branch] = {}
    for b in case.branches:
        if b.seen_at and branch_touches(b, way):
            shown.setdefault((b.event, b.outcome), b)
    for (event, outcome), b in shown.items():
        remedies = remedies_for(case, way, event, outcome)
        options: list[tuple[Remedy, ...]] = []
        for first in remedies:
            again = [r for r in remedies if r is not first] or [first]
            options += [(first,)] if first.p_holds >= 1.0 else [(first, then) for then in again]
        if options:
            yield (way.way, event, outcome), options + ([()] if b.ends_rebuild else [])


def _best(cost: Callable[[Taken], float], choices: dict[Key, list[tuple[Remedy, ...]]]) -> Taken:
    count = prod(len(options) for options in choices.values())
    if count <= MOST_TRIED:
        every = [dict(zip(choices, taken, strict=True)) for taken in product(*choices.values())]
        return min(every, key=cost) if count > 1 else every[0]
    best = {key: options[0] for key, options in choices.items()}
    least, better = cost(best), True
    while better:
        better = False
        for key, options in choices.items():
            for taken in options:
                now = cost(best | {key: taken})
                if now < least - 1e-9:
                    best, least, better = best | {key: taken}, now, True
    return best


def _cost(model: Model, way: Way) -> float:
    """Expected total of a way, and of the failures over the years that remedies bring by leaving a shorter life."""
    years, i = model.case.years, model.ways.index(way.way)
    total = float(model.expected()[i] @ np.array(model.weights))
    lives = years.horizon_years > 0 and (way.life_years is not None or way.life_hours is not None)
    shares = life_shares(model, i) if lives else {}
    if not shares.keys() - {1.0}:
        return total
    each = {s: discounted_failures(clocks_of(model.case, way, s), years) for s in {1.0, *shares}}
    more = sum(p * (each[s] - each[1.0]) for s, p in shares.items())
    away = years.p_away * (mean_of(years.cost_away) + mean_of(years.days_away) * model.lost_day)
    return total + more * (total + away)


def life_shares(model: Model, i: int) -> dict[float, float]:
    """Shares of its life that the remedies leave the unit of a way, with their chances."""
    share = model.costs.life_share(model.case.ways[i])
    values, which = np.unique(share, return_inverse=True)
    chances = np.bincount(which.ravel(), model.tree.chance, len(values))
    return dict(zip(values.tolist(), chances.tolist(), strict=True))


def best_model(case: Case, tree: Tree, allowed: dict[str, bool], done: int, own_hour: float | None) -> Model:
    """The model of a case with the best remedies."""
    buying, chosen = Buying(case), Taken()
    buys = [w for w in case.ways if w.traits.buys and not w.traits.rebuilds]
    for way in case.ways if case.remedies else ():
        # beside the way itself only what may be bought once a rebuild has ended
        few = replace(case, ways=tuple(w for w in case.ways if w is way or w in buys))

        def cost(taken: Taken, few: Case = few, way: Way = way) -> float:
            return _cost(Model(few, tree, allowed, done, own_hour, buying, taken), way)

        if choices := dict(_choices(case, way)):
            chosen |= _best(cost, choices)
    return Model(case, tree, allowed, done, own_hour, buying, chosen)
