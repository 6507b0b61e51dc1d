"""looks.csv to records: what tells of an event or of a price before it is paid for."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal

from repairecon.read import values
from repairecon.read.defaults import as_text, default_looks
from repairecon.read.events import Outcomes, outcomes
from repairecon.read.names import key
from repairecon.read.parts_tasks import VAT, check_wanted
from repairecon.read.problems import shown
from repairecon.read.reading import Reading, named_rows
from repairecon.read.rows import Row
from repairecon.read.ways import PRICED
from repairecon.records import Look, Part, Range, Source, Way

_CENT = Decimal("0.01")
_BRINGS = (("hours", "h"), ("days", "days"))


@dataclass(frozen=True)
class _Known:
    """What a look may tell of: events with their outcomes, parts and ways by key."""

    tree: Outcomes
    parts: dict[str, Part]
    ways: dict[str, Way]


def looks(reading: Reading, parts: tuple[Part, ...], ways: tuple[Way, ...]) -> tuple[Look, ...]:
    """Looks as written; those at the default tree if neither events nor looks are given."""
    table = reading.tables["looks.csv"]
    if not table.given and reading.tables["events.csv"].given:
        return ()
    known = _Known(outcomes(reading), {key(p.part): p for p in parts}, {key(w.way): w for w in ways})
    if not table.given:
        return tuple(_default_look(reading, row, known) for row in default_looks().rows)
    rows, _ = named_rows(table, "look", "look")
    return tuple(_look(reading, row, name, known) for row, name in rows)


def _look(reading: Reading, row: Row, name: str, known: _Known) -> Look:
    reading.keep_note(row)
    event, price_of = _about(reading, row, known)
    vat = row.choice("vat", VAT, "in")
    return Look(
        look=name,
        event=event,
        price_of=price_of,
        cost=reading.money.with_vat(reading.amount(row, "cost", values.MONEY), vat),
        hours=reading.amount(row, "hours", values.HOURS),
        days=reading.amount(row, "days", values.DAYS),
        p_right=_p_right(reading, row, name, known),
        source=row.source,
    )


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
        check_wanted(reading, known.parts[key(word)], "a look in looks.csv asks for it")
    elif key(word) in known.ways and known.ways[key(word)].kind not in PRICED:
        kind = known.ways[key(word)].kind
        found = f"{shown(word)}, a way of kind {kind} with no price of its own"
        row.fault("price_of", found, f"name a part, or a way of kind {', '.join(PRICED)}")
    return part or way or word


def _p_right(reading: Reading, row: Row, name: str, known: _Known) -> float:
    """Chance that the look shows what is the case; a price that is told is taken as right."""
    given = row.number("p_right", values.FRACTION)
    if row.has("price_of"):
        if given is not None and given < 1.0 and not row.has("event"):
            write = "leave it blank or write 1: a price that you are told is taken as right"
            row.fault("p_right", shown(row.cells["p_right"]), write)
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
        row.fault("p_right", shown(row.cells["p_right"]), write)


def _default_look(reading: Reading, row: Row, known: _Known) -> Look:
    look = _look(reading, row, row.text("look"), known)
    brings = [f"right {as_text(look.p_right)}"]
    for column, unit in _BRINGS:
        r: Range = getattr(look, column)
        brings += [f"{as_text([r.low, r.likely, r.high])} {unit}"] if row.has_range(column) else []
    reading.defaults.note(f"look: {look.look}", "; ".join(brings), "low / likely / high", row.text("source"))
    return replace(look, source=Source(row.file, row.row, row.text("source")))
