"""Which remedy an outcome is met by, for each way: the one with the least expected total of the whole way.

Where years are looked ahead and a remedy leaves a shorter life, the failures that this brings count as well.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from repairecon.buying.buying import Buying
from repairecon.buying.inputs import mean_of
from repairecon.rebuild_or_buy.lives import clocks_of, discounted_failures
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.tree import Tree, branch_touches, remedies_for
from repairecon.records import Case, Remedy, Way

Taken = tuple[Remedy, ...]
Key = tuple[str, str, str]
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


def met_by(model: Model) -> tuple[Met, ...]:
    """How each outcome that has remedies is met."""
    return tuple(Met(*key, *([r.remedy for r in taken] or [""])[:2]) for key, taken in model.costs.remedied.items())


def _choices(case: Case, way: Way) -> Iterator[tuple[Key, list[Taken]]]:
    """Outcomes that a way can meet, each with the remedies in the orders in which they may be taken."""
    seen: set[tuple[str, str]] = set()
    for b in case.branches:
        remedies = remedies_for(case, way, b.event, b.outcome)
        if not remedies or (b.event, b.outcome) in seen or not b.seen_at or not branch_touches(b, way):
            continue
        seen.add((b.event, b.outcome))
        options: list[Taken] = []
        for first in remedies:
            again = [r for r in remedies if r is not first] or [first]
            options += [(first,)] if first.p_holds >= 1.0 else [(first, then) for then in again]
        yield (way.way, b.event, b.outcome), options + ([()] if b.ends_rebuild else [])


def _best(
    build: Callable[[Case, dict[Key, Taken]], Model], case: Case, way: Way, choices: dict[Key, list[Taken]]
) -> dict[Key, Taken]:
    def cost(taken: dict[Key, Taken]) -> float:
        model = build(case, taken)
        i = model.ways.index(way.way)
        total = float(model.expected()[i] @ np.array(model.weights))
        return total + _shorter_life(model, i, total)

    count = int(np.prod([len(options) for options in choices.values()]))
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


def _shorter_life(model: Model, i: int, total: float) -> float:
    """What the failures cost over the years that remedies bring by leaving a shorter life."""
    years, way = model.case.years, model.case.ways[i]
    if years.horizon_years <= 0 or (way.life_years is None and way.life_hours is None):
        return 0.0
    shares = life_shares(model, i)
    if set(shares) == {1.0}:
        return 0.0
    each = {s: discounted_failures(clocks_of(model.case, way, s), years) for s in {1.0, *shares}}
    more = sum(p * (each[s] - each[1.0]) for s, p in shares.items())
    return more * (total + years.p_away * (mean_of(years.cost_away) + mean_of(years.days_away) * model.lost_day))


def life_shares(model: Model, i: int) -> dict[float, float]:
    """Shares of its life that the remedies leave the unit of a way, with their chances."""
    share = model.costs.life_share(model.case.ways[i])
    values, which = np.unique(share, return_inverse=True)
    chances = np.bincount(which.ravel(), model.tree.chance, len(values))
    return dict(zip(values.tolist(), chances.tolist(), strict=True))


def best_model(case: Case, tree: Tree, allowed: dict[str, bool], done: int, own_hour: float | None) -> Model:
    """The model of a case with the best remedies."""
    buying, chosen = Buying(case), dict[Key, Taken]()

    def build(few: Case, taken: dict[Key, Taken]) -> Model:
        return Model(few, tree, allowed, done, own_hour, buying, taken)

    for way in case.ways if case.remedies else ():
        choices = dict(_choices(case, way))
        if choices:  # beside the way itself only what may be bought once a rebuild has ended
            buys = {w.way for w in case.ways if w.traits.buys and not w.traits.rebuilds}
            few = replace(case, ways=tuple(w for w in case.ways if w is way or w.way in buys))
            chosen |= _best(build, few, way, choices)
    return build(case, chosen)
