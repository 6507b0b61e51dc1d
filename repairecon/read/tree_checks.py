"""What must hold between the rows of a probability tree."""

from __future__ import annotations

import graphlib
import math
from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

from repairecon.read.problems import key, shown
from repairecon.read.tables import Row
from repairecon.records import Branch

TOLERANCE = 1e-6
"""How far chances may sum away from 1; they are then scaled to it."""

MOST_GROUPS = 200
"""Conditions of one event that are still compared with each other."""

Group = tuple[tuple[str, str], ...]
Numbered = list[tuple[int, Branch]]


def check_tree(rows: Sequence[Row], read: Sequence[Branch]) -> tuple[Branch, ...]:
    """The branches with chances that sum to 1 exactly; all faults between rows noted."""
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
