"""events.csv to the branches of the probability tree, and looks.csv to what tells of an event or a price before it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal

from repairecon.read.defaults import as_text
from repairecon.read.problems import Names, key, shown
from repairecon.read.reading import Reading, named_rows
from repairecon.read.tables import Row
from repairecon.read.tree_checks import check_tree
from repairecon.read.ways import PRICED
from repairecon.records import STAGES, Branch, Look, Part, Remedy, Way

_COUNT = re.compile(r"([0-9]{1,6})\s*x?\s+(.+)|([0-9]{1,6})x(.+)")
_BRINGS = (
    ("extra_hours", "more hours"),
    ("share_of_new", "of the price of new"),
    ("extra_days", "more days"),
)
_ENDS = (
    ("ends_rebuild", "the rebuild ends"),
    ("core_refused", "the core is refused"),
    ("not_this_unit", "the fault is elsewhere"),
)
_CONSEQUENCES = ("extra_hours", "outside_cost", "extra_days")
_CENT = Decimal("0.01")
_LOOK_BRINGS = (("hours", "h"), ("days", "days"))


class Outcomes:
    """Events and their outcomes by name."""

    def __init__(self, rows: list[Row], whole: bool = True) -> None:
        self.events = Names(whole=whole)
        self.outcomes: dict[str, Names] = {}
        for row in rows:
            event, outcome = row.text("event"), row.text("outcome")
            if not event:
                self.events.whole = False
                continue
            self.events.add(event)
            names = self.outcomes.setdefault(key(event), Names())
            if outcome:
                names.add(outcome)
            else:
                names.whole = False


def outcomes(reading: Reading) -> Outcomes:
    """Events and outcomes of the case."""
    return Outcomes(reading.rows("events.csv"), reading.tables["events.csv"].whole)


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
    return check_tree(rows, read, reading.as_decided), remedies


def _remedy(reading: Reading, row: Row, known: Outcomes, wanted: dict[str, None]) -> Remedy:
    event, outcome = row.text("event"), row.text("outcome")
    if event and outcome:
        event, outcome = _spelt(row, known, event, outcome, ("event", "outcome"))
    return reading.record(Remedy, row, event=event, outcome=outcome, parts=_parts(reading, row, wanted))


def _branch(reading: Reading, row: Row, known: Outcomes, wanted: dict[str, None]) -> Branch:
    event, outcome = row.text("event"), row.text("outcome")
    names = known.outcomes.get(key(event), Names())
    weight = row.number("weight")
    if weight is None:
        weight = 0.0 if row.has("weight") else reading.defaults.number("event_weight")
    branch = reading.record(
        Branch,
        row,
        event=known.events.find(event) or event,
        given=_given(row, known),
        outcome=names.find(outcome) or outcome,
        chance=row.number("chance") or 0.0,
        weight=weight,
        parts=_parts(reading, row, wanted),
    )
    if branch.not_this_unit and branch.ends_rebuild:
        row.fault(
            "not_this_unit",
            f"{shown(branch.key)}, which also ends the rebuild",
            "write no in one of the two: a unit that is not to blame is not past rebuilding",
        )
    if not row.has("seen_at"):
        _check_hidden(row, branch)
    return branch


def _check_hidden(row: Row, branch: Branch) -> None:
    """A cause that is never seen costs nothing by itself."""
    costs = [f"{name}_likely" for name in _CONSEQUENCES if row.has_range(name) and getattr(branch, name).high > 0]
    costs += [name for name, _ in _ENDS if getattr(branch, name)]
    for column in (["parts"] if branch.parts else []) + costs:
        row.fault(
            column,
            f"a consequence of {shown(branch.key)}, which is never seen",
            f"write in seen_at when it shows ({', '.join(STAGES)}), or move the consequence to an event "
            "given by this one",
        )


def _given(row: Row, known: Outcomes) -> tuple[tuple[str, str], ...]:
    """Conditions, each event once, in order of name."""
    conditions: dict[str, str] = {}
    for word in row.text("given").split(";"):
        if not word.strip():
            continue
        event, equals, outcome = (w.strip() for w in word.partition("="))
        if not equals or not event or not outcome:
            row.fault("given", shown(word.strip()), "write event=outcome, several with ; between")
            continue
        event, outcome = _spelt(row, known, event, outcome)
        if conditions.get(event, outcome) != outcome:
            row.fault("given", f"{shown(event)} with two outcomes", "keep one: they cannot both hold")
        conditions[event] = outcome
    return tuple(sorted(conditions.items()))


def _spelt(
    row: Row, known: Outcomes, event: str, outcome: str, columns: tuple[str, str] = ("given", "given")
) -> tuple[str, str]:
    """An event and its outcome as events.csv spells them."""
    found = known.events.find(event)
    if not found:
        if known.events.whole:
            row.fault(columns[0], f"an unknown event {shown(event)}", known.events.advice(row.problems, event))
        return event, outcome
    names = known.outcomes[key(event)]
    if outcome not in names and names.whole:
        row.fault(
            columns[1],
            f"an unknown outcome {shown(outcome)} of {shown(found)}",
            names.advice(row.problems, outcome),
        )
    return found, names.find(outcome) or outcome


def _parts(reading: Reading, row: Row, wanted: dict[str, None]) -> tuple[tuple[str, int], ...]:
    """Parts that an outcome needs, with counts."""
    needs: dict[str, int] = {}
    for raw in row.text("parts").split(";"):
        word = raw.strip()
        if not word:
            continue
        count, name = _counted(reading.parts, word)
        found = reading.parts.find(name)
        if count < 1:
            row.fault("parts", shown(word), "write how many, 1 or more, before the part")
        elif found:
            needs[found] = needs.get(found, 0) + count
            wanted[found] = None
        elif reading.parts.whole:
            row.fault("parts", f"an unknown part {shown(name)}", reading.parts.advice(row.problems, name))
    return tuple(needs.items())


def _counted(parts: Names, word: str) -> tuple[int, str]:
    """``2 bearing`` as (2, bearing); a part whose name begins with a number goes before."""
    counted = _COUNT.fullmatch(word)
    if word in parts or counted is None:
        return 1, word
    return int(counted[1] or counted[3]), (counted[2] or counted[4]).strip()


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
        brings = [
            f"{' / '.join(row.text(f'{name}_{end}') for end in ('low', 'likely', 'high'))} {unit}"
            for name, unit in _BRINGS
            if row.has_range(name)
        ]
        if row.has_range("outside_cost") and not row.has_range("share_of_new"):
            brings.append(f"{as_text(row.amount('outside_cost'))} {reading.money.currency}")
        brings += [words for column, words in _ENDS if row.yes(column)]
        title = f"what {row.text('event')}={row.text('outcome')} brings"
        if brings:
            reading.defaults.note(title, "; ".join(brings), "low / likely / high", row.text("source"))


@dataclass(frozen=True)
class _Known:
    """What a look may tell of: events with their outcomes, parts and ways by key."""

    tree: Outcomes
    parts: dict[str, Part]
    ways: dict[str, Way]


def looks(reading: Reading, parts: tuple[Part, ...], ways: tuple[Way, ...]) -> tuple[Look, ...]:
    """Looks as written, and the default ones at events that there are."""
    table = reading.tables["looks.csv"]
    known = _Known(outcomes(reading), {key(p.part): p for p in parts}, {key(w.way): w for w in ways})
    rows, _ = named_rows(reading.rows("looks.csv"), "look", table.whole)
    made = tuple(_look(reading, row, name, known) for row, name in rows)
    for (row, _), look in zip(rows, made, strict=True):
        if row.assumed:
            _list_look(reading, row, look)
    return made


def _look(reading: Reading, row: Row, name: str, known: _Known) -> Look:
    event, price_of = _about(reading, row, known)
    p_right = _p_right(reading, row, name, known)
    return reading.record(Look, row, look=name, event=event, price_of=price_of, p_right=p_right)


def _about(reading: Reading, row: Row, known: _Known) -> tuple[str, str]:
    """The event or the price that a look tells of, spelt as in its own file."""
    event, price_of = row.text("event"), row.text("price_of")
    if row.has("event") and row.has("price_of"):
        found = f"{shown(price_of)} beside the event {shown(event)}"
        row.fault("price_of", found, "keep one of the two: a look tells of an event or of a price")
        return event, ""
    if not row.has("event") and not row.has("price_of"):
        write = "name an event of events.csv, or in price_of a part or a way"
        row.fault("event", "neither an event nor a price_of", write)
    if event:
        return _event(row, known.tree, event), ""
    return "", _price_of(reading, row, known, price_of) if price_of else ""


def _event(row: Row, tree: Outcomes, event: str) -> str:
    found = tree.events.find(event)
    if not found and tree.events.whole:
        row.fault("event", f"an unknown event {shown(event)}", tree.events.advice(row.problems, event))
    return found or event


def _price_of(reading: Reading, row: Row, known: _Known, word: str) -> str:
    part, way = reading.parts.find(word), reading.ways.find(word)
    if part and way:
        row.fault("price_of", f"{shown(word)}, a part and a way", "give one of the two another name")
    elif not part and not way and reading.parts.whole and reading.ways.whole:
        row.fault("price_of", f"an unknown part or way {shown(word)}", reading.items.advice(row.problems, word))
    elif key(word) in known.parts:
        reading.check_wanted(known.parts[key(word)], "a look in looks.csv asks for it")
    elif key(word) in known.ways and known.ways[key(word)].kind not in PRICED:
        kind = known.ways[key(word)].kind
        found = f"{shown(word)}, a way of kind {kind} with no price of its own"
        row.fault("price_of", found, f"name a part, or a way of kind {', '.join(PRICED)}")
    return part or way or word


def _p_right(reading: Reading, row: Row, name: str, known: _Known) -> float:
    """Chance that the look shows what is the case; a price that is told is taken as right."""
    given = row.number("p_right")
    if row.has("price_of"):
        if given is not None and given < 1.0 and not row.has("event"):
            write = "leave it blank or write 1: a price that you are told is taken as right"
            row.fault("p_right", row.shown("p_right"), write)
        return 1.0
    if not row.has("p_right"):
        return reading.defaults.number("p_right", name)
    names = known.tree.outcomes.get(key(row.text("event")))
    if given is not None and names is not None and names.whole:
        _check_guess(row, given, len(names))
    return 1.0 if given is None else given


def _check_guess(row: Row, p_right: float, count: int) -> None:
    """With one outcome the guess is whether the event happens at all."""
    among = max(count, 2)
    if p_right < Decimal(1) / among:
        least = -(-100 // among) * _CENT
        write = f"a look that is right less often than guessing tells nothing: give at least {least}"
        row.fault("p_right", row.shown("p_right"), write)


def _list_look(reading: Reading, row: Row, look: Look) -> None:
    """List how right a default look is and what it takes."""
    brings = [f"right {as_text(look.p_right)}"]
    for column, unit in _LOOK_BRINGS:
        brings += [f"{as_text(getattr(look, column))} {unit}"] if row.has_range(column) else []
    reading.defaults.note(f"look: {look.look}", "; ".join(brings), "low / likely / high", row.text("source"))
