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
from repairecon.records import STAGES, Branch, Part, Remedy, grouped

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
    _list_assumed(reading, [row for row in rows if row.assumed])
    wanted = {name for parts in (*(b.parts for b in read), *(r.parts for r in remedies)) for name, _ in parts}
    for part in made:
        if part.part in wanted:
            reading.check_wanted(part, "an outcome in events.csv needs it")
        elif part.needed == "damage":
            reading.check_named(part)
    return _checked(list(zip(rows, read, strict=True)), reading.as_decided), tuple(remedies)


def _list_assumed(reading: Reading, rows: list[Row]) -> None:
    """List the chances of default events, then what their outcomes bring."""
    for (event, given), group in grouped(rows, lambda row: (row.text("event"), row.text("given"))).items():
        chances = "; ".join(f"{row.text('outcome')} {row.text('chance')}" for row in group)
        title = f"chances: {event}{f' given {given}' if given else ''}"
        reading.defaults.note(title, chances, "chance", group[0].text("source"))
    for row in rows:
        brings = [f"{' / '.join(row.text(f'{name}_{end}') for end in ENDS)} {unit}"
                  for name, unit in _BRINGS.items() if row.has_range(name)]  # fmt: skip
        if row.has_range("outside_cost") and not row.has_range("share_of_new"):
            brings.append(f"{as_text(row.amount('outside_cost'))} {reading.money.currency}")
        brings += [words for column, words in _ENDS.items() if row.yes(column)]
        if brings:
            title = f"what {row.text('event')}={row.text('outcome')} brings"
            reading.defaults.note(title, "; ".join(brings), "low / likely / high", row.text("source"))


def _branch(reading: Reading, row: Row, known: Outcomes) -> Branch:
    event, outcome = row.text("event"), row.text("outcome")
    branch = reading.record(
        Branch, row, event=known.events.find(event) or event, given=_given(row, known),
        outcome=known.outcomes.get(key(event), Names()).find(outcome) or outcome, chance=row.number("chance") or 0.0,
        weight=reading.number(row, "weight", default="event_weight"), parts=_parts(reading, row),
    )  # fmt: skip
    row.check((branch.not_this_unit and branch.ends_rebuild, "not_this_unit",
               f"{shown(branch.key)}, which also ends the rebuild",
               "write no in one of the two: a unit that is not to blame is not past rebuilding"))  # fmt: skip
    if row.has("seen_at"):
        return branch
    # a cause that is never seen costs nothing by itself
    costs = [name for name in ("parts", *_ENDS) if getattr(branch, name)]
    costs += [f"{name}_likely" for name in _CONSEQUENCES if row.has_range(name) and getattr(branch, name).high > 0]
    shows = f"write in seen_at when it shows ({', '.join(STAGES)})"
    for column in costs:
        write = f"{shows}, or move the consequence to an event given by this one"
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
    # a chance that is wrong, or counted twice, is no fault of the sum
    unclear = any("chance" in row.bad or "chance" not in row.cells for row, _ in group)
    if unclear or (len(kept) < len(group) and abs(math.fsum(b.chance for _, b in group) - 1.0) <= TOLERANCE):
        return {}
    row, branch = kept[0]
    exact = sum((Decimal(repr(b.chance)) for _, b in kept), Decimal(0))
    where = ", ".join(str(r.row) for r, _ in kept[:12]) + (", ..." if len(kept) > 12 else "")
    given = f" given {shown(branch.condition)}" if branch.given else ""
    found = f"chances of {shown(branch.event)}{given} that sum to {exact} (rows {where})"
    row.check((abs(total - 1.0) > TOLERANCE, "chance", found, "make them sum to 1"))
    scaled = {id(b): b.chance / (total or 1.0) for _, b in kept}
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
    for event, groups in events.items():
        pairs = _pairs(groups)
        row, branch = pairs[0]
        causes = list(dict.fromkeys(e for group in groups for e, _ in group if e in events))
        # what the owner's rows do to a default event is not the owner's to mend
        clear = not all(r.assumed for r, _ in pairs) and not any("given" in r.bad for r, _ in pairs)
        if clear and branch.seen_at and () not in groups and event not in causes:
            by_then = STAGES[: STAGES.index(branch.seen_at) + 1]
            seen = {e for e in causes if _pairs(events[e])[0][1].seen_at in by_then}
            state = _left_out(groups, _states(events, causes), seen)
            row.check((state, "given", f"{shown(branch.event)}, which is not given under {shown(state)}",
                       "add its rows for that, or leave given blank in some of them (blank: otherwise)"))  # fmt: skip


def _left_out(groups: Mapping[Group, Pairs], states: list[Group], seen: set[str]) -> str:
    """The first state that differs only in what is hidden from one under which an event is given."""
    given = {s for s in states if any(_compatible(dict(s), group) for group in groups)}
    known = {s: frozenset((e, o) for e, o in s if e in seen) for s in states}
    met = {known[s] for s in given}
    return next(("; ".join(f"{e}={o}" for e, o in s) for s in states if s not in given and known[s] in met), "")


def _states(events: Events, causes: list[str]) -> list[Group]:
    """The states of some events that can be, none where they are too many to look through."""
    outcomes = [list(dict.fromkeys((e, key(b.outcome)) for _, b in _pairs(events[e]))) for e in causes]
    if math.prod(map(len, outcomes)) > MOST_STATES:
        return []
    return [s for s in itertools.product(*outcomes) if all(_may_be(events[e], o, dict(s)) for e, o in s)]


def _may_be(groups: Mapping[Group, Pairs], outcome: str, state: Mapping[str, str]) -> bool:
    held = (pairs for group, pairs in groups.items() if _compatible(state, group))
    return any(key(b.outcome) == outcome for pairs in held for _, b in pairs)


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
