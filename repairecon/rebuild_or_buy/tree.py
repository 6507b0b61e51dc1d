"""The hidden state of the unit: every leaf of the tree, which branch rows hold in each, and where rebuilds end; and how
large that and the rest of the work may be."""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import chain, combinations
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from repairecon.buying.inputs import Product, mean_of
from repairecon.formulas import tree as tree_formulas
from repairecon.records import STAGES, WAY_GROUPS, Branch, Case, FindingError, Remedy, RepaireconError, Way

NEVER_ENDS = len(STAGES)
STAGE = {name: i for i, name in enumerate(STAGES)}
MOST_LEAVES, FEW_LEAVES, AT_ALL = 65_536, 4_096, 200_000
"""Leaves that are laid out in any case, to which a larger tree is brought by averaging, and that are laid out where
that cannot be."""
Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Tree:
    """Leaves of the tree. ``states`` (L, E): outcome index of each event, -1 where the event does not happen.
    ``chance`` (L,). ``holds`` (B, L): whether a branch row of the case applies in a leaf; of an event that is
    ``averaged``, and so not among ``events``, whether its condition does."""

    events: tuple[str, ...]
    outcomes: tuple[tuple[str, ...], ...]
    seen: tuple[int, ...]
    states: NDArray[np.int16]
    chance: Floats
    holds: Bools
    averaged: frozenset[str] = frozenset()

    def column(self, event: str) -> int:
        if event not in self.events:
            raise FindingError(f"no event {event!r}; the events are: {', '.join(self.events) or 'none'}")
        return self.events.index(event)

    def outcome(self, event: str, outcome: str) -> tuple[int, int]:
        e = self.column(event)
        if outcome not in self.outcomes[e]:
            raise FindingError(
                f"event {event!r} has no outcome {outcome!r}; write one of: {', '.join(self.outcomes[e])}"
            )
        return e, self.outcomes[e].index(outcome)

    def alike(self, stage: int) -> Ints:
        """Number of the set of leaves (L,) that look alike by the end of a stage."""
        seen = [e for e, s in enumerate(self.seen) if 0 <= s <= stage]
        return tree_formulas.information_sets(self.states, seen)[0]

    def by_name(self) -> list[Ints]:
        """Rank by name of the outcome of each event (L,), the events by name."""
        ranks = []
        for e in sorted(range(len(self.events)), key=self.events.__getitem__):
            rank = np.argsort(np.argsort(self.outcomes[e]))
            ranks.append(np.append(rank, -1)[self.states[:, e]])
        return ranks

    def only(self, kept: NDArray[np.intp] | Bools, chance: Floats | None = None) -> Tree:
        chance = self.chance[kept] if chance is None else chance
        return replace(self, states=self.states[kept], chance=chance, holds=self.holds[:, kept])

    def words(self, leaf: int) -> dict[str, str]:
        """Event -> outcome of a leaf, the events that do not happen left out."""
        row = self.states[leaf]
        return {e: self.outcomes[i][s] for i, (e, s) in enumerate(zip(self.events, row, strict=True)) if s >= 0}


Names = dict[str, dict[str, int]]  # event -> outcome -> its place, in the order of the rows


@dataclass(frozen=True)
class Finding:
    """What a look showed: an outcome of an event, and the chance that the look shows what is the case."""

    event: str
    outcome: str
    p_right: float = 1.0

    def __str__(self) -> str:
        return f"{self.event}={self.outcome}" + (f" ({self.p_right})" if self.p_right < 1.0 else "")


def with_findings(tree: Tree, found: Sequence[Finding]) -> Tree:
    """The leaves renewed by Bayes' rule on what was found; those that can no longer be are left out."""
    if not found:
        return tree
    likelihood = np.ones(len(tree.chance))
    for f in found:
        e, o = tree.outcome(f.event, f.outcome)
        if not 0.0 < f.p_right <= 1.0:
            raise FindingError(f"{f}: the chance of being right lies above 0 and up to 1")
        likelihood *= tree_formulas.look_likelihood(tree.states[:, e], len(tree.outcomes[e]), f.p_right)[:, o]
    if not (tree.chance * likelihood).sum() > 0:
        raise FindingError(
            "these findings cannot all be true in the tree of this case: " + "; ".join(str(f) for f in found)
        )
    chance, _ = tree_formulas.given_findings(tree.chance, likelihood)
    keep = chance > 0
    return tree.only(keep, chance[keep])


def _named(case: Case, averaged: Collection[str]) -> Names:
    names: Names = {}
    for b in case.branches:
        if b.event not in averaged:
            outcomes = names.setdefault(b.event, {})
            outcomes.setdefault(b.outcome, len(outcomes))
    return names


def _leaves(
    case: Case, averaged: Collection[str], found: Sequence[Finding], limit: int
) -> tuple[NDArray[np.int16], Floats]:
    """Outcomes and chance of each leaf that is still open, by the chances of outcomes under each condition."""
    names = _named(case, averaged)
    place = {event: e for e, event in enumerate(names)}
    groups: list[dict[tuple[tuple[int, int], ...], Floats]] = [{} for _ in names]
    for b in case.branches:
        if b.event in names:
            given = tuple((place[o], names[o][v]) for o, v in b.given)
            chances = groups[place[b.event]].setdefault(given, np.zeros(len(names[b.event])))
            chances[names[b.event][b.outcome]] += b.chance
    sure = [f for f in found if f.p_right == 1.0 and f.outcome in names.get(f.event, ())]
    known = {place[f.event]: names[f.event][f.outcome] for f in sure}
    return tree_formulas.enumerate_leaves([list(g.items()) for g in groups], limit, known)


def _held(case: Case, names: Names, states: NDArray[np.int16]) -> Bools:
    """Which branch rows apply: their condition is the one that held, and their outcome, if laid out, is the leaf's."""
    column = dict(zip(names, states.T, strict=True))
    everywhere = np.ones(len(states), dtype=bool)

    def is_so(event: str, outcome: str) -> Bools:
        return np.asarray(column[event] == names[event][outcome]) if event in names else everywhere

    holds = [np.logical_and.reduce([everywhere, *(is_so(e, o) for e, o in b.given)]) for b in case.branches]
    special = dict.fromkeys((b.event for b in case.branches), ~everywhere)
    for b, here in zip(case.branches, holds, strict=True):
        if b.given:
            special[b.event] = special[b.event] | here
    rows = [is_so(b.event, b.outcome) & (here if b.given else ~special[b.event])
            for b, here in zip(case.branches, holds, strict=True)]  # fmt: skip
    return np.array(rows, dtype=bool).reshape(len(case.branches), len(states))


def grow(case: Case, found: Sequence[Finding] = (), *, keep: Collection[str] = (), bare: bool = False) -> Tree:
    """The case's tree on what was found; ``bare`` gives the one leaf in which nothing is found. Above MOST_LEAVES the
    events that move least are averaged, where they only add costs, until FEW_LEAVES are left; none of ``keep``, and
    none of which something was found."""
    averaged: frozenset[str] = frozenset()
    states, chance = np.full((1, len(_named(case, ()))), -1, dtype=np.int16), np.ones(1)
    if states.size and not bare:
        try:
            averaged = to_average(case, found, keep)
            states, chance = _leaves(case, averaged, found, AT_ALL)
        except tree_formulas.TooManyLeavesError as error:
            raise RepaireconError(f"events.csv: {error}: {THIN_OUT}") from error
        except ValueError as error:
            raise RepaireconError(f"events.csv: {error}") from error
    names = _named(case, averaged)
    rows, rebuilds = len(case.branches), sum(w.traits.rebuilds == "here" for w in case.ways)
    what, holds = f"{rows} rows and {len(chance)} courses of events for {rebuilds} rebuilds", float(rows * len(chance))
    check_size(f"events.csv: {what}", THIN_OUT, holds * BYTES_A_HOLD, holds * SECONDS_A_HOLD * max(rebuilds, 1))
    seen = tuple(next(STAGE.get(b.seen_at, -1) for b in case.branches if b.event == event) for event in names)
    held = _held(case, names, states)
    outcomes = tuple(map(tuple, names.values()))
    return with_findings(Tree(tuple(names), outcomes, seen, states, chance, held, averaged), found)


def named_in(ways: tuple[str, ...], way: Way) -> bool:
    """Whether a ``ways`` column names this way: by its name, its kind or a group of kinds."""
    return any(w in (way.way, way.kind) or way.kind in WAY_GROUPS.get(w, ()) for w in ways)


def branch_touches(branch: Branch, way: Way) -> bool:
    """Whether an outcome bears on the rebuild of a way, or for a way that only buys, on its unit. A blank ``ways``
    means those that rebuild; ``buys`` means the bought unit, also that of a pair, which counts as the buy that the pair
    names."""
    if not branch.ways:
        return bool(way.traits.rebuilds)
    if way.traits.rebuilds:
        return any(w in (way.way, way.kind, "rebuilds", "all") for w in branch.ways)
    return named_in(branch.ways, way)


def remedies_for(case: Case, way: Way, event: str, outcome: str) -> list[Remedy]:
    """Remedies of an outcome that are open to a way: a blank ``ways`` means every rebuild here."""
    own = [r for r in case.remedies if (r.event, r.outcome) == (event, outcome)]
    return [r for r in own if (named_in(r.ways, way) if r.ways else way.traits.rebuilds == "here")]


def end_of(case: Case, tree: Tree, way: Way, met: Collection[tuple[str, str]] | None = None) -> Ints:
    """Stage at which a rebuild ends in each leaf, else NEVER_ENDS; ``met`` by a remedy: default: all that have one."""
    stage = np.full(len(tree.chance), NEVER_ENDS, dtype=np.int64)
    for b, holds in zip(case.branches, tree.holds, strict=True):
        if b.ends_rebuild and way.traits.rebuilds and branch_touches(b, way):
            if (b.event, b.outcome) in met if met is not None else remedies_for(case, way, b.event, b.outcome):
                continue
            stage[holds] = np.minimum(stage[holds], STAGE[b.seen_at])
    return stage


# ---- how large the work is, known before it is begun: what is refused, what is averaged ----
# The measures were taken on cases of one event of 500 to 2,000 outcomes, chains, independent events, 300 to 2,000 parts
# and 400,000 draws (``tests/hardness/bombs.py``), on one core of 2024.
MOST_BYTES, MOST_SECONDS = 2e9, 60.0
BYTES_A_HOLD, SECONDS_A_HOLD = 48.0, 8e-7
"""For each row of events in each leaf: whether it holds, and what it costs there, in double and in single; for each of
these and each rebuild."""
BYTES_AN_INPUT, SECONDS_A_PAIR = 80_000.0, 6e-8
"""For each uncertain number: its values in a block of draws, their steps, their points; for each pair of them: each is
moved once, and all costs added up."""
SECONDS_A_DRAW, AMOUNTS_A_WAY = 1e-8, 10
"""For each draw and each amount in it; what is counted of a way in each draw, whatever it costs."""
MOST_TOGETHER = 3
"""Outcomes with costs that an event may have: each is told from those before it by one chance, so the terms double."""
THIN_OUT = "put outcomes that cost about the same together, or leave out events that change little"


def check_size(what: str, thin_out: str, needs: float, seconds: float) -> None:
    """Refuse what needs too much memory [bytes] or time."""
    limits = (needs / 1e9, MOST_BYTES / 1e9, "GB of memory"), (seconds / 60, MOST_SECONDS / 60, "minutes")
    for found, most, unit in limits:
        if found > most:
            raise RepaireconError(f"{what} would take about {int(found)} {unit} (limit {int(most)}): {thin_out}")


# ---- averaged ------------------------------------------------------------------------------------
# An event on which nothing else depends adds hours, money and days as often as it comes up: a chance among the inputs,
# so that expected costs stay exact and draws go as before. Only the choice at the bench does not look at it. This is
# done where the tree would be too large, with the events that move least.
def costs_something(branch: Branch) -> bool:
    return bool(branch.parts) or any(r.high > 0 for r in (branch.extra_hours, branch.outside_cost, branch.extra_days))


def by_condition(rows: Sequence[Branch]) -> list[list[Branch]]:
    """The outcomes of an event that cost something, by the condition under which they stand."""
    groups: dict[object, list[Branch]] = defaultdict(list)
    for b in filter(costs_something, rows):
        groups[frozenset(b.given)].append(b)
    return list(groups.values())


def to_average(case: Case, found: Sequence[Finding], keep: Collection[str]) -> frozenset[str]:
    """The fewest events to average, those that move least first, until the tree is small enough; none as long as it is
    so without, all that can be if none do. ``keep`` stay laid out, and events of which something was found."""

    def fits(averaged: Collection[str], limit: int = FEW_LEAVES) -> bool:
        try:
            _leaves(case, averaged, found, limit)
        except tree_formulas.TooManyLeavesError:
            return False
        return True

    if fits((), MOST_LEAVES):
        return frozenset()
    barred = {*keep, *(f.event for f in found), *(event for b in case.branches for event, _ in b.given)}
    barred |= {*(look.event for look in case.looks), *(r.event for r in case.remedies)}
    # parts that come without a wait of their own
    at_once = {p.part for p in case.parts if p.lead_days is None or p.lead_days.high <= 0}
    at_once -= {q.item for q in case.quotes}
    moves = {}
    for event in dict.fromkeys(b.event for b in case.branches if b.event not in barred):
        rows = [b for b in case.branches if b.event == event]
        if _only_adds(rows, at_once):
            moves[event] = max(sqrt(b.chance * (1.0 - b.chance)) * _cost(case, b) for b in rows)
    order = sorted(moves, key=lambda e: (moves[e], e))
    return frozenset(order[: bisect_left(range(len(order)), True, key=lambda n: fits(order[:n]))])


def _only_adds(rows: Sequence[Branch], at_once: Collection[str]) -> bool:
    """Whether the outcomes of an event do no more than add costs, in few enough terms; parts are there at once."""
    if any(b.ends_rebuild or b.core_refused or b.not_this_unit for b in rows):
        return False
    parts = {part for b in rows for part, _ in b.parts}
    most = 1 if parts else MOST_TOGETHER
    return parts <= set(at_once) and all(len(group) <= most for group in by_condition(rows))


def _cost(case: Case, b: Branch) -> float:
    """What an outcome adds to a total at the means [home money]."""
    prices = {p.part: mean_of(p.price) for p in case.parts if p.price is not None}
    paid, a_day = case.terms.labour.get(b.by), mean_of(case.terms.cost_lost_day)
    hour = case.terms.cost_own_hour if paid is None else mean_of(paid.cost_hour)
    parts = sum(n * prices.get(part, 0.0) for part, n in b.parts)
    hours, days = mean_of(b.extra_hours), mean_of(b.extra_days)
    return parts + mean_of(b.outside_cost) + hours * (hour + a_day / case.terms.hours_per_day) + days * a_day


def shares(
    rows: Sequence[Branch], chance: Callable[[Branch, float], Product]
) -> Iterator[tuple[Branch, float, Product]]:
    """How often each outcome of an averaged event comes up under its condition: a sum of products of chances. Of the
    outcomes that cost something each comes up by a ``chance`` of its own if none before it did; "not the first, but the
    second" is the second less both together."""
    for group in by_condition(rows):
        left, before = 1.0, list[Product]()
        for b in group:
            own = chance(b, min(b.chance / left, 1.0) if left > 0 else 0.0)
            for both in chain.from_iterable(combinations(before, n) for n in range(len(before) + 1)):
                product = own
                for other in both:
                    product = other.times(product)
                yield b, (-1.0) ** len(both), product
            before.append(own)
            left -= b.chance
