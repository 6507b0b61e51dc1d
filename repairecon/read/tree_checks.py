"""What must hold between the rows of a probability tree."""

from __future__ import annotations

import graphlib
import itertools
import math
from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

from repairecon.read.problems import key, shown
from repairecon.read.tables import Row
from repairecon.records import STAGES, Branch

TOLERANCE = 1e-6
"""How far chances may sum away from 1; they are then scaled to it."""

MOST_GROUPS = 200
"""Conditions of one event that are still compared with each other."""

MOST_STATES = 1_000
"""States of what an event hangs on that are still looked through."""

Group = tuple[tuple[str, str], ...]
Numbered = list[tuple[int, Branch]]
Events = dict[str, dict[Group, Numbered]]


def check_tree(rows: Sequence[Row], read: Sequence[Branch], as_decided: bool = False) -> tuple[Branch, ...]:
    """The branches with chances that sum to 1 exactly; all faults between rows noted.

    ``as_decided``: states that are left out stay so, as when a case was decided on before that was a fault.
    """
    events: dict[str, dict[Group, Numbered]] = {}
    for place, branch in enumerate(read):
        if branch.event:
            group = tuple((key(e), key(o)) for e, o in branch.given)
            events.setdefault(key(branch.event), {}).setdefault(group, []).append((place, branch))
    exact = list(read)
    for groups in events.values():
        _check_seen_at(rows, [b for group in groups.values() for b in group])
        _check_overlap(rows, groups)
        for numbered in groups.values():
            for place, chance in _check_group(rows, numbered):
                exact[place] = replace(exact[place], chance=chance)
    _check_circles(rows, events)
    if not as_decided:
        _check_left_out(rows, events)
    return tuple(exact)


def _condition(branch: Branch) -> str:
    return "; ".join(f"{e}={o}" for e, o in branch.given)


def _check_group(rows: Sequence[Row], group: Numbered) -> list[tuple[int, float]]:
    """Chances of one event under one condition, scaled to 1 where they are near it."""
    first: dict[str, int] = {}
    kept: Numbered = []
    for place, branch in group:
        outcome = key(branch.outcome)
        if outcome and outcome in first:
            rows[place].fault(
                "outcome",
                f"{shown(branch.key)} again under the same condition",
                f"keep one: row {first[outcome]} has it",
            )
        else:
            first[outcome] = rows[place].row
            kept.append((place, branch))
    chances = [b.chance for _, b in kept]
    total = math.fsum(chances)
    unclear = any("chance" in rows[place].bad or "chance" not in rows[place].cells for place, _ in group)
    if unclear or (len(kept) < len(group) and abs(math.fsum(b.chance for _, b in group) - 1.0) <= TOLERANCE):
        return []
    if abs(total - 1.0) > TOLERANCE:
        _fault_sum(rows, kept)
        return []
    scaled = [c / total for c in chances]
    largest = max(range(len(scaled)), key=scaled.__getitem__)
    scaled[largest] = 1.0 - math.fsum(c for i, c in enumerate(scaled) if i != largest)
    return [(place, chance) for (place, _), chance in zip(kept, scaled, strict=True)]


def _fault_sum(rows: Sequence[Row], kept: Numbered) -> None:
    place, branch = kept[0]
    total = sum((Decimal(repr(b.chance)) for _, b in kept), Decimal(0))
    where = ", ".join(str(rows[p].row) for p, _ in kept[:12]) + (", ..." if len(kept) > 12 else "")
    given = f" given {shown(_condition(branch))}" if branch.given else ""
    rows[place].fault(
        "chance",
        f"chances of {shown(branch.event)}{given} that sum to {total} (rows {where})",
        "make them sum to 1",
    )


def _check_seen_at(rows: Sequence[Row], branches: Numbered) -> None:
    """All outcomes of an event show at the same stage."""
    known = [(p, b) for p, b in branches if "seen_at" not in rows[p].bad]
    for place, branch in known:
        first_place, first = known[0]
        if branch.seen_at != first.seen_at:
            rows[place].fault(
                "seen_at",
                shown(branch.seen_at),
                f"write the same stage in all rows of {shown(branch.event)}: row {rows[first_place].row} has "
                f"{shown(first.seen_at)}",
            )


def _compatible(outcomes: dict[str, str], other: Group) -> bool:
    """True if no event has different outcomes in the two conditions."""
    return all(outcomes.get(event, outcome) == outcome for event, outcome in other)


def _check_overlap(rows: Sequence[Row], groups: dict[Group, Numbered]) -> None:
    """No two conditions of an event may hold together (blank means: otherwise)."""
    given = sorted((g for g in groups if g), key=lambda g: groups[g][0][0])
    clear = [g for g in given if not any("given" in rows[p].bad for p, _ in groups[g])]
    if len(clear) > MOST_GROUPS:
        place, branch = groups[clear[0]][0]
        rows[place].fault("given", f"{len(clear)} conditions of {shown(branch.event)}", f"use {MOST_GROUPS} at most")
        return
    outcomes = [dict(g) for g in clear]
    for later, group in enumerate(clear):
        earlier = next((g for g, o in zip(clear[:later], outcomes, strict=False) if _compatible(o, group)), None)
        if earlier is not None:
            (place, branch), (first, _) = groups[group][0], groups[earlier][0]
            rows[place].fault(
                "given",
                f"{shown(_condition(branch))}, which can hold together with row {rows[first].row}",
                "let one event have different outcomes in the two, or leave one blank (blank: otherwise)",
            )


def _check_left_out(rows: Sequence[Row], events: dict[str, dict[Group, Numbered]]) -> None:
    """An event that shows must be given under every state of a cause that does not show by then.

    Otherwise its absence would be something to see, and tell of the cause.
    """
    for event, groups in events.items():
        place, branch = next(iter(groups.values()))[0]
        parents = list(dict.fromkeys(e for group in groups for e, _ in group if e in events))
        hidden = [e for e in parents if not _shows_by(events[e], branch.seen_at)]
        clear = not any("given" in rows[p].bad for g in groups.values() for p, _ in g)
        outcomes = {e: dict.fromkeys(key(b.outcome) for g in events[e].values() for _, b in g) for e in parents}
        if all(rows[p].assumed for g in groups.values() for p, _ in g):
            continue  # what the owner's rows do to a default event is not the owner's to mend
        if not branch.seen_at or not hidden or not clear or event in parents or () in groups:
            continue
        if math.prod(map(len, outcomes.values())) <= MOST_STATES:
            _check_states(rows[place], branch, [[(e, o) for o in outcomes[e]] for e in parents], set(hidden), events)


def _check_states(
    row: Row,
    branch: Branch,
    parents: list[list[tuple[str, str]]],
    hidden: set[str],
    events: dict[str, dict[Group, Numbered]],
) -> None:
    """Note the first state that differs only in what is hidden from one under which the event is given."""
    groups = events[key(branch.event)]
    states = [s for s in itertools.product(*parents) if all(_may_hold(e, dict(s), events) for e, _ in s)]
    given = {s: any(_compatible(dict(s), group) for group in groups) for s in states}
    met = {frozenset((e, o) for e, o in s if e not in hidden) for s in states if given[s]}
    for state in states:
        if not given[state] and frozenset((e, o) for e, o in state if e not in hidden) in met:
            under = "; ".join(f"{e}={o}" for e, o in state)
            found = f"{shown(branch.event)}, which is not given under {shown(under)}"
            row.fault("given", found, "add its rows for that, or leave given blank in some of them (blank: otherwise)")
            return


def _shows_by(groups: dict[Group, Numbered], stage: str) -> bool:
    seen = next(iter(groups.values()))[0][1].seen_at
    return bool(seen) and bool(stage) and STAGES.index(seen) <= STAGES.index(stage)


def _may_hold(event: str, known: dict[str, str], events: Events) -> bool:
    """True if an event may come out so together with these outcomes."""
    return any(
        _compatible(known, group) and any(key(b.outcome) == known[event] for _, b in numbered)
        for group, numbered in events[event].items()
    )


def _check_circles(rows: Sequence[Row], events: dict[str, dict[Group, Numbered]]) -> None:
    """No event may hang on itself."""
    graph = {event: {e for group in groups for e, _ in group if e in events} for event, groups in events.items()}
    while True:
        try:
            graphlib.TopologicalSorter(graph).prepare()
            return
        except graphlib.CycleError as error:
            circle = list(reversed(error.args[1]))[:-1]
        _fault_circle(rows, events, circle)
        graph = {event: given - set(circle) if event in circle else given for event, given in graph.items()}


def _fault_circle(rows: Sequence[Row], events: dict[str, dict[Group, Numbered]], circle: list[str]) -> None:
    following = dict(zip(circle, [*circle[1:], circle[0]], strict=True))
    links = [
        (place, branch)
        for event in circle
        for group, numbered in events[event].items()
        if {e for e, _ in group} & {following[event], *circle}
        for place, branch in numbered
    ]
    place, _ = min(links, key=lambda link: link[0])
    names = [next(iter(events[e].values()))[0][1].event for e in circle]
    path = " -> ".join([*names, names[0]])
    rows[place].fault("given", f"a circle: {shown(path)}", "take one of these conditions away: causes come first")
