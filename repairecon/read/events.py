"""events.csv and remedies.csv to the branches of the probability tree, and what must hold between its rows."""

from __future__ import annotations

import graphlib
import itertools
import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import replace
from decimal import Decimal
from typing import TypeAlias

from repairecon.read.columns import ENDS
from repairecon.read.defaults import as_text
from repairecon.read.problems import Names, key, shown
from repairecon.read.reading import Reading
from repairecon.read.tables import Entry, Row
from repairecon.records import STAGES, Branch, Part, Remedy

TOLERANCE = 1e-6
"""How far chances may sum away from 1; they are then scaled to it."""
MOST_GROUPS = 200
"""Conditions of one event that are still compared with each other."""
MOST_STATES = 1_000
"""States of what an event hangs on that are still looked through."""
_COUNT = re.compile(r"([0-9]{1,6})\s*x?\s+(.+)|([0-9]{1,6})x(.+)")
_BRINGS = {"extra_hours": "more hours", "share_of_new": "of the price of new", "extra_days": "more days"}
_ENDS = {
    "ends_rebuild": "the rebuild ends",
    "core_refused": "the core is refused",
    "not_this_unit": "the fault is elsewhere",
}
_CONSEQUENCES = ("extra_hours", "outside_cost", "extra_days")
Group: TypeAlias = tuple[tuple[str, str], ...]
Pairs: TypeAlias = list[tuple[Row, Branch]]
Events: TypeAlias = dict[str, dict[Group, Pairs]]


class Outcomes:
    """Events and their outcomes by name; ``whole`` is False where some may be missing for another fault."""

    def __init__(self, pairs: Iterable[tuple[str, str]], whole: bool = True) -> None:
        self.events = Names(whole=whole)
        self.outcomes: dict[str, Names] = {}
        for event, outcome in pairs:
            if not event:
                self.events.whole = False
                continue
            self.events.add(event)
            names = self.outcomes.setdefault(key(event), Names())
            names.whole = names.whole and bool(outcome)
            if outcome:
                names.add(outcome)

    def spelt(self, entry: Entry, event: str, outcome: str, columns: tuple[str, str]) -> tuple[str, str]:
        """An event and its outcome, which stand in ``columns``, as the tree spells them; others are faults."""
        found = entry.named(columns[0], self.events, "an unknown event ", word=event)
        if found not in self.events:
            return event, outcome
        names = self.outcomes[key(event)]
        if outcome not in names and names.whole:
            unknown = f"an unknown outcome {shown(outcome)} of {shown(found)}"
            entry.fault(columns[1], unknown, names.advice(entry.problems, outcome))
        return found, names.find(outcome) or outcome


def outcomes(reading: Reading) -> Outcomes:
    """Events and outcomes of the case."""
    pairs = ((row.text("event"), row.text("outcome")) for row in reading.rows("events.csv"))
    return Outcomes(pairs, reading.tables["events.csv"].whole)


def branches(reading: Reading, made: tuple[Part, ...]) -> tuple[tuple[Branch, ...], tuple[Remedy, ...]]:
    """The tree and the remedies for its outcomes, the default ones beneath them."""
    rows, known = reading.rows("events.csv"), outcomes(reading)
    wanted: dict[str, None] = {}
    read = [_branch(reading, row, known, wanted) for row in rows]
    remedies = tuple(_remedy(reading, row, known, wanted) for row in reading.rows("remedies.csv"))
    _list_assumed(reading, [row for row in rows if row.assumed])
    for part in made:
        if part.part in wanted:
            reading.check_wanted(part, "an outcome in events.csv needs it")
        elif part.needed == "damage":
            reading.check_named(part)
    return _checked(list(zip(rows, read, strict=True)), reading.as_decided), remedies


def _remedy(reading: Reading, row: Row, known: Outcomes, wanted: dict[str, None]) -> Remedy:
    event, outcome = row.text("event"), row.text("outcome")
    if event and outcome:
        event, outcome = known.spelt(row, event, outcome, ("event", "outcome"))
    return reading.record(Remedy, row, event=event, outcome=outcome, parts=_parts(reading, row, wanted))


def _branch(reading: Reading, row: Row, known: Outcomes, wanted: dict[str, None]) -> Branch:
    event, outcome, weight = row.text("event"), row.text("outcome"), row.number("weight")
    if weight is None:
        weight = 0.0 if row.has("weight") else reading.defaults.number("event_weight")
    branch = reading.record(
        Branch, row, event=known.events.find(event) or event, given=_given(row, known),
        outcome=known.outcomes.get(key(event), Names()).find(outcome) or outcome, chance=row.number("chance") or 0.0,
        weight=weight, parts=_parts(reading, row, wanted),
    )  # fmt: skip
    if branch.not_this_unit and branch.ends_rebuild:
        write = "write no in one of the two: a unit that is not to blame is not past rebuilding"
        row.fault("not_this_unit", f"{shown(branch.key)}, which also ends the rebuild", write)
    if not row.has("seen_at"):
        # A cause that is never seen costs nothing by itself.
        costs = ["parts"] if branch.parts else []
        costs += [f"{name}_likely" for name in _CONSEQUENCES if row.has_range(name) and getattr(branch, name).high > 0]
        costs += [name for name in _ENDS if getattr(branch, name)]
        stages = ", ".join(STAGES)
        write = f"write in seen_at when it shows ({stages}), or move the consequence to an event given by this one"
        for column in costs:
            row.fault(column, f"a consequence of {shown(branch.key)}, which is never seen", write)
    return branch


def _given(row: Row, known: Outcomes) -> tuple[tuple[str, str], ...]:
    """Conditions, each event once, in order of name."""
    conditions: dict[str, str] = {}
    for word in row.listed("given"):
        event, equals, outcome = (w.strip() for w in word.partition("="))
        if not equals or not event or not outcome:
            row.fault("given", shown(word), "write event=outcome, several with ; between")
            continue
        event, outcome = known.spelt(row, event, outcome, ("given", "given"))
        if conditions.get(event, outcome) != outcome:
            row.fault("given", f"{shown(event)} with two outcomes", "keep one: they cannot both hold")
        conditions[event] = outcome
    return tuple(sorted(conditions.items()))


def _parts(reading: Reading, row: Row, wanted: dict[str, None]) -> tuple[tuple[str, int], ...]:
    needs: dict[str, int] = {}
    for word in row.listed("parts"):
        # a part whose name begins with a number goes before
        counted = None if word in reading.parts else _COUNT.fullmatch(word)
        count, name = (int(counted[1] or counted[3]), counted[2] or counted[4]) if counted else (1, word)
        found = reading.parts.find(name)
        if count < 1:
            row.fault("parts", shown(word), "write how many, 1 or more, before the part")
        elif found:
            needs[found] = needs.get(found, 0) + count
            wanted[found] = None
        else:
            row.named("parts", reading.parts, "an unknown part ", word=name.strip())
    return tuple(needs.items())


def _list_assumed(reading: Reading, rows: list[Row]) -> None:
    """List the chances of each event under each condition, and what each outcome brings."""
    groups: dict[tuple[str, str], list[Row]] = {}
    for row in rows:
        groups.setdefault((row.text("event"), row.text("given")), []).append(row)
    for (event, given), group in groups.items():
        chances = "; ".join(f"{row.text('outcome')} {row.text('chance')}" for row in group)
        where = f" given {given}" if given else ""
        reading.defaults.note(f"chances: {event}{where}", chances, "chance", group[0].text("source"))
    for row in rows:
        ranges = {name: [row.text(f"{name}_{end}") for end in ENDS] for name in _BRINGS if row.has_range(name)}
        brings = [f"{' / '.join(ends)} {_BRINGS[name]}" for name, ends in ranges.items()]
        if row.has_range("outside_cost") and not row.has_range("share_of_new"):
            brings.append(f"{as_text(row.amount('outside_cost'))} {reading.money.currency}")
        brings += [words for column, words in _ENDS.items() if row.yes(column)]
        title = f"what {row.text('event')}={row.text('outcome')} brings"
        if brings:
            reading.defaults.note(title, "; ".join(brings), "low / likely / high", row.text("source"))


# ---- what must hold between the rows -------------------------------------------------------------------
def _checked(pairs: Pairs, as_decided: bool) -> tuple[Branch, ...]:
    """The branches with chances that sum to 1 exactly; all faults between rows noted.

    ``as_decided``: states that are left out stay so, as when a case was decided on before that was a fault.
    """
    events: Events = {}
    for row, branch in pairs:
        if branch.event:
            group = tuple((key(e), key(o)) for e, o in branch.given)
            events.setdefault(key(branch.event), {}).setdefault(group, []).append((row, branch))
    chances: dict[int, float] = {}  # by identity: one row of the owner's may stand under several conditions
    for groups in events.values():
        _check_seen_at(_pairs(groups))
        _check_overlap(groups)
        for group_pairs in groups.values():
            chances |= _check_group(group_pairs)
    _check_circles(events)
    if not as_decided:
        _check_left_out(events)
    return tuple(replace(b, chance=chances.get(id(b), b.chance)) for _, b in pairs)


def _pairs(groups: Mapping[Group, Pairs]) -> Pairs:
    return [pair for group in groups.values() for pair in group]


def _condition(branch: Branch) -> str:
    return "; ".join(f"{e}={o}" for e, o in branch.given)


def _check_group(group: Pairs) -> dict[int, float]:
    """Chances of one event under one condition, scaled to 1 where they are near it."""
    first: dict[str, int] = {}
    kept: Pairs = []
    for row, branch in group:
        outcome = key(branch.outcome)
        if outcome and outcome in first:
            again = f"{shown(branch.key)} again under the same condition"
            row.fault("outcome", again, f"keep one: row {first[outcome]} has it")
        else:
            first[outcome] = row.row
            kept.append((row, branch))
    total = math.fsum(b.chance for _, b in kept)
    unclear = any("chance" in row.bad or "chance" not in row.cells for row, _ in group)
    if unclear or (len(kept) < len(group) and abs(math.fsum(b.chance for _, b in group) - 1.0) <= TOLERANCE):
        return {}
    if abs(total - 1.0) > TOLERANCE:
        row, branch = kept[0]
        exact = sum((Decimal(repr(b.chance)) for _, b in kept), Decimal(0))
        where = ", ".join(str(r.row) for r, _ in kept[:12]) + (", ..." if len(kept) > 12 else "")
        given = f" given {shown(_condition(branch))}" if branch.given else ""
        found = f"chances of {shown(branch.event)}{given} that sum to {exact} (rows {where})"
        row.fault("chance", found, "make them sum to 1")
        return {}
    scaled = {id(b): b.chance / total for _, b in kept}
    largest = max(scaled, key=scaled.__getitem__)
    return scaled | {largest: 1.0 - math.fsum(c for i, c in scaled.items() if i != largest)}


def _check_seen_at(pairs: Pairs) -> None:
    """All outcomes of an event show at the same stage."""
    known = [(row, b) for row, b in pairs if "seen_at" not in row.bad]
    for row, branch in known:
        top, first = known[0]
        if branch.seen_at != first.seen_at:
            has = f"row {top.row} has {shown(first.seen_at)}"
            write = f"write the same stage in all rows of {shown(branch.event)}: {has}"
            row.fault("seen_at", shown(branch.seen_at), write)


def _compatible(outcomes: Mapping[str, str], other: Group) -> bool:
    """True if no event has different outcomes in the two conditions."""
    return all(outcomes.get(event, outcome) == outcome for event, outcome in other)


def _check_overlap(groups: Mapping[Group, Pairs]) -> None:
    """No two conditions of an event may hold together (blank means: otherwise)."""
    clear = [g for g in groups if g and not any("given" in row.bad for row, _ in groups[g])]
    if len(clear) > MOST_GROUPS:
        row, branch = groups[clear[0]][0]
        row.fault("given", f"{len(clear)} conditions of {shown(branch.event)}", f"use {MOST_GROUPS} at most")
        return
    outcomes = [dict(g) for g in clear]
    for later, group in enumerate(clear):
        earlier = next((g for g, o in zip(clear[:later], outcomes, strict=False) if _compatible(o, group)), None)
        if earlier is not None:
            (row, branch), (first, _) = groups[group][0], groups[earlier][0]
            found = f"{shown(_condition(branch))}, which can hold together with row {first.row}"
            write = "let one event have different outcomes in the two, or leave one blank (blank: otherwise)"
            row.fault("given", found, write)


def _check_left_out(events: Events) -> None:
    """An event that shows must be given under every state of a cause that does not show by then.

    Otherwise its absence would be something to see, and tell of the cause.
    """
    for event, groups in events.items():
        pairs = _pairs(groups)
        row, branch = pairs[0]
        parents = list(dict.fromkeys(e for group in groups for e, _ in group if e in events))
        stages = STAGES[: STAGES.index(branch.seen_at) + 1] if branch.seen_at else ()
        hidden = {e for e in parents if _pairs(events[e])[0][1].seen_at not in stages}
        if all(r.assumed for r, _ in pairs):
            continue  # what the owner's rows do to a default event is not the owner's to mend
        unclear = any("given" in r.bad for r, _ in pairs)
        if not branch.seen_at or not hidden or unclear or event in parents or () in groups:
            continue
        states = [list(dict.fromkeys((e, key(b.outcome)) for _, b in _pairs(events[e]))) for e in parents]
        if math.prod(map(len, states)) <= MOST_STATES:
            _check_states(row, branch, states, hidden, events)


def _check_states(
    row: Row, branch: Branch, parents: list[list[tuple[str, str]]], hidden: set[str], events: Events
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


def _may_hold(event: str, known: dict[str, str], events: Events) -> bool:
    """True if an event may come out so together with these outcomes."""
    return any(
        _compatible(known, group) and any(key(b.outcome) == known[event] for _, b in pairs)
        for group, pairs in events[event].items()
    )


def _check_circles(events: Events) -> None:
    """No event may hang on itself."""
    graph = {event: {e for group in groups for e, _ in group if e in events} for event, groups in events.items()}
    while True:
        try:
            graphlib.TopologicalSorter(graph).prepare()
            return
        except graphlib.CycleError as error:
            circle = list(reversed(error.args[1]))[:-1]
        # The fault stands at the first row that closes the circle.
        rows = [
            row
            for event in circle
            for group, pairs in events[event].items()
            for row, _ in pairs
            if {e for e, _ in group} & set(circle)
        ]
        names = [_pairs(events[e])[0][1].event for e in circle]
        path = " -> ".join([*names, names[0]])
        first = min(rows, key=lambda row: (not row.assumed, row.row))
        first.fault("given", f"a circle: {shown(path)}", "take one of these conditions away: causes come first")
        graph = {event: given - set(circle) if event in circle else given for event, given in graph.items()}
