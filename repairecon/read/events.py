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
from repairecon.read.problems import Names, key, shown
from repairecon.read.reading import Reading, as_text
from repairecon.read.tables import Entry, Row
from repairecon.records import STAGES, Branch, Part, Remedy

TOLERANCE = 1e-6  # how far chances may sum away from 1; they are then scaled to it
MOST_GROUPS = 200  # conditions of one event that are still compared with each other
MOST_STATES = 1_000  # states of what an event hangs on that are still looked through
_COUNT = re.compile(r"([0-9]{1,6})\s*x?\s+(.+)|([0-9]{1,6})x(.+)")
_BRINGS = {"extra_hours": "more hours", "share_of_new": "of the price of new", "extra_days": "more days"}
_ENDS = {"ends_rebuild": "the rebuild ends", "core_refused": "the core is refused",
         "not_this_unit": "the fault is elsewhere"}  # fmt: skip
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
    pairs = ((row.text("event"), row.text("outcome")) for row in reading.rows("events.csv"))
    return Outcomes(pairs, reading.tables["events.csv"].whole)


def branches(reading: Reading, made: tuple[Part, ...]) -> tuple[tuple[Branch, ...], tuple[Remedy, ...]]:
    """The tree and the remedies for its outcomes; default chances, and what default outcomes bring, are listed."""
    rows, known = reading.rows("events.csv"), outcomes(reading)
    read = [_branch(reading, row, known) for row in rows]
    remedies = []
    for row in reading.rows("remedies.csv"):
        event, outcome = row.text("event"), row.text("outcome")
        if event and outcome:
            event, outcome = known.spelt(row, event, outcome, ("event", "outcome"))
        remedies.append(reading.record(Remedy, row, event=event, outcome=outcome, parts=_parts(reading, row)))
    assumed = [row for row in rows if row.assumed]
    for event, given in dict.fromkeys((row.text("event"), row.text("given")) for row in assumed):
        group = [row for row in assumed if (row.text("event"), row.text("given")) == (event, given)]
        chances = "; ".join(f"{row.text('outcome')} {row.text('chance')}" for row in group)
        title = f"chances: {event}{f' given {given}' if given else ''}"
        reading.defaults.note(title, chances, "chance", group[0].text("source"))
    for row in assumed:
        ranges = {name: [row.text(f"{name}_{end}") for end in ENDS] for name in _BRINGS if row.has_range(name)}
        brings = [f"{' / '.join(ends)} {_BRINGS[name]}" for name, ends in ranges.items()]
        if row.has_range("outside_cost") and not row.has_range("share_of_new"):
            brings.append(f"{as_text(row.amount('outside_cost'))} {reading.money.currency}")
        brings += [words for column, words in _ENDS.items() if row.yes(column)]
        if brings:
            title = f"what {row.text('event')}={row.text('outcome')} brings"
            reading.defaults.note(title, "; ".join(brings), "low / likely / high", row.text("source"))
    wanted = {name for parts in (*(b.parts for b in read), *(r.parts for r in remedies)) for name, _ in parts}
    for part in made:
        if part.part in wanted:
            reading.check_wanted(part, "an outcome in events.csv needs it")
        elif part.needed == "damage":
            reading.check_named(part)
    return _checked(list(zip(rows, read, strict=True)), reading.as_decided), tuple(remedies)


def _branch(reading: Reading, row: Row, known: Outcomes) -> Branch:
    event, outcome, weight = row.text("event"), row.text("outcome"), row.number("weight")
    if weight is None:
        weight = 0.0 if row.has("weight") else reading.defaults.number("event_weight")
    branch = reading.record(
        Branch, row, event=known.events.find(event) or event, given=_given(row, known),
        outcome=known.outcomes.get(key(event), Names()).find(outcome) or outcome, chance=row.number("chance") or 0.0,
        weight=weight, parts=_parts(reading, row),
    )  # fmt: skip
    if branch.not_this_unit and branch.ends_rebuild:
        write = "write no in one of the two: a unit that is not to blame is not past rebuilding"
        row.fault("not_this_unit", f"{shown(branch.key)}, which also ends the rebuild", write)
    # a cause that is never seen costs nothing by itself
    costs = [name for name in ("parts", *_ENDS) if getattr(branch, name)]
    costs += [f"{name}_likely" for name in _CONSEQUENCES if row.has_range(name) and getattr(branch, name).high > 0]
    shows = f"write in seen_at when it shows ({', '.join(STAGES)})"
    write = f"{shows}, or move the consequence to an event given by this one"
    for column in costs if not row.has("seen_at") else ():
        row.fault(column, f"a consequence of {shown(branch.key)}, which is never seen", write)
    return branch


def _given(row: Row, known: Outcomes) -> tuple[tuple[str, str], ...]:
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


def _parts(reading: Reading, row: Row) -> tuple[tuple[str, int], ...]:
    needs: dict[str, int] = {}
    for word in row.listed("parts"):
        # a part whose name begins with a number goes before
        counted = None if word in reading.parts else _COUNT.fullmatch(word)
        count, name = (int(counted[1] or counted[3]), counted[2] or counted[4]) if counted else (1, word)
        if count < 1:
            row.fault("parts", shown(word), "write how many, 1 or more, before the part")
        elif found := reading.parts.find(name):
            needs[found] = needs.get(found, 0) + count
        else:
            row.named("parts", reading.parts, "an unknown part ", word=name.strip())
    return tuple(needs.items())


# ---- what must hold between the rows -------------------------------------------------------------------
def _checked(pairs: Pairs, as_decided: bool) -> tuple[Branch, ...]:
    """The branches with chances that sum to 1; faults between rows noted, states left out not if ``as_decided``."""
    events: Events = {}
    for row, branch in pairs:
        if branch.event:
            group = tuple((key(e), key(o)) for e, o in branch.given)
            events.setdefault(key(branch.event), {}).setdefault(group, []).append((row, branch))
    chances: dict[int, float] = {}  # by identity: one row of the owner's may stand under several conditions
    for groups in events.values():
        clear = [(row, branch) for row, branch in _pairs(groups) if "seen_at" not in row.bad]
        for row, branch in clear:
            if branch.seen_at != clear[0][1].seen_at:
                has = f"row {clear[0][0].row} has {shown(clear[0][1].seen_at)}"
                write = f"write the same stage in all rows of {shown(branch.event)}: {has}"
                row.fault("seen_at", shown(branch.seen_at), write)
        _check_overlap(groups)
        for group_pairs in groups.values():
            chances |= _check_group(group_pairs)
    _check_circles(events)
    if not as_decided:
        _check_left_out(events)
    return tuple(replace(b, chance=chances.get(id(b), b.chance)) for _, b in pairs)


def _pairs(groups: Mapping[Group, Pairs]) -> Pairs:
    return [pair for group in groups.values() for pair in group]


def _check_group(group: Pairs) -> dict[int, float]:
    """Chances of one event under one condition, scaled to 1 where they are near it."""
    first, kept = dict[str, int](), Pairs()
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
        given = f" given {shown(branch.condition)}" if branch.given else ""
        found = f"chances of {shown(branch.event)}{given} that sum to {exact} (rows {where})"
        row.fault("chance", found, "make them sum to 1")
        return {}
    scaled = {id(b): b.chance / total for _, b in kept}
    largest = max(scaled, key=scaled.__getitem__)
    return scaled | {largest: 1.0 - math.fsum(c for i, c in scaled.items() if i != largest)}


def _compatible(outcomes: Mapping[str, str], other: Group) -> bool:
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
            found = f"{shown(branch.condition)}, which can hold together with row {first.row}"
            write = "let one event have different outcomes in the two, or leave one blank (blank: otherwise)"
            row.fault("given", found, write)


def _check_left_out(events: Events) -> None:
    """An event that shows must be given under every state of a hidden cause: else its absence would tell of that."""

    def may_be(state: Group) -> bool:
        known = dict(state)
        return all(
            any(_compatible(known, group) and any(key(b.outcome) == outcome for _, b in pairs)
                for group, pairs in events[event].items())
            for event, outcome in state
        )  # fmt: skip

    for event, groups in events.items():
        pairs = _pairs(groups)
        row, branch = pairs[0]
        parents = list(dict.fromkeys(e for group in groups for e, _ in group if e in events))
        stages = STAGES[: STAGES.index(branch.seen_at) + 1] if branch.seen_at else ()
        hidden = {e for e in parents if _pairs(events[e])[0][1].seen_at not in stages}
        # what the owner's rows do to a default event is not the owner's to mend
        if all(r.assumed for r, _ in pairs) or not branch.seen_at or not hidden or event in parents:
            continue
        if () in groups or any("given" in r.bad for r, _ in pairs):
            continue
        outcomes = [list(dict.fromkeys((e, key(b.outcome)) for _, b in _pairs(events[e]))) for e in parents]
        if math.prod(map(len, outcomes)) > MOST_STATES:
            continue
        states = list(filter(may_be, itertools.product(*outcomes)))
        given = {s: any(_compatible(dict(s), group) for group in groups) for s in states}
        # the first that differs only in what is hidden from one under which the event is given
        seen = {s: frozenset((e, o) for e, o in s if e not in hidden) for s in states}
        met = {seen[s] for s in states if given[s]}
        if state := next((s for s in states if not given[s] and seen[s] in met), None):
            found = f"{shown(branch.event)}, which is not given under {shown('; '.join(f'{e}={o}' for e, o in state))}"
            row.fault("given", found, "add its rows for that, or leave given blank in some of them (blank: otherwise)")


def _check_circles(events: Events) -> None:
    """No event may hang on itself; the fault stands at the first row that closes the circle."""
    graph = {event: {e for group in groups for e, _ in group if e in events} for event, groups in events.items()}
    while True:
        try:
            graphlib.TopologicalSorter(graph).prepare()
            return
        except graphlib.CycleError as error:
            circle = list(reversed(error.args[1]))[:-1]
        closing = [pairs for e in circle for group, pairs in events[e].items() if set(dict(group)) & set(circle)]
        first = min((row for pairs in closing for row, _ in pairs), key=lambda row: (not row.assumed, row.row))
        path = " -> ".join(_pairs(events[e])[0][1].event for e in (*circle, circle[0]))
        first.fault("given", f"a circle: {shown(path)}", "take one of these conditions away: causes come first")
        graph = {event: given - set(circle) if event in circle else given for event, given in graph.items()}
