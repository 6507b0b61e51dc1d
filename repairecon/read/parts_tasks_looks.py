"""parts.csv, tasks.csv and looks.csv to records."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from repairecon.read.columns import CASE
from repairecon.read.defaults import as_text
from repairecon.read.events import Outcomes, outcomes
from repairecon.read.problems import key, shown
from repairecon.read.reading import Reading, named_rows
from repairecon.read.tables import NOTHING, Row
from repairecon.read.ways import PRICED
from repairecon.records import Look, Part, Range, Source, Task, Way

_LOOK_BRINGS = (("hours", "h"), ("days", "days"))


def parts(reading: Reading, rows: list[tuple[Row, str]], quotes_lead: set[str], beneath: list[Row]) -> tuple[Part, ...]:
    """Parts of the rebuild; ``quotes_lead`` are items whose quotes all say when they come.

    Without parts.csv they are the kit: at the price given, else as the rows ``beneath`` have it.
    """
    if not reading.tables["parts.csv"].given:
        if not len(reading.parts):
            return ()
        if reading.three.price_kit is None and beneath:
            return tuple(_default_part(reading, row, quotes_lead) for row in beneath)
        return _kit(reading, quotes_lead)
    return tuple(_part(reading, row, name, quotes_lead) for row, name in rows)


def _kit(reading: Reading, quotes_lead: set[str]) -> tuple[Part, ...]:
    """The one part of a case that knows only the price of the kit."""
    name = reading.defaults.text("name.part")
    price = reading.three.price_kit
    if price is None and key(name) not in reading.quoted:
        section = reading.three.section
        if "price_kit" not in section.bad and reading.toml_whole:
            section.fault("price_kit", "nothing", "write the price of the rebuild kit, or add parts.csv")
        price = NOTHING
    return (
        Part(
            part=name,
            description="",
            quantity=1,
            needed="always",
            price=price,
            lead_days=None if key(name) in quotes_lead else reading.wait(),
            standard_size="",
            source=price.source if price else Source(CASE),
        ),
    )


def _default_part(reading: Reading, row: Row, quotes_lead: set[str]) -> Part:
    reading.assume(f"part: {row.text('part')}", row, "price")
    return _part(reading, row, row.text("part"), quotes_lead)


def _part(reading: Reading, row: Row, name: str, quotes_lead: set[str]) -> Part:
    price, lead = row.range("price"), row.range("lead_days")
    vat, needed = row.choice("vat"), row.choice("needed")
    if needed == "always" and name and not row.has_range("price"):
        reading.check_priced(row, name, "always needed")
    if lead is None and not row.has_range("lead_days") and key(name) not in quotes_lead:
        lead = reading.wait()
    taxed = reading.money.with_vat(price, vat) if price else None
    return reading.record(Part, row, part=name, price=taxed, lead_days=lead)


def kit_price(reading: Reading, made: tuple[Part, ...], quoted: dict[str, float]) -> Range:
    """What the parts that are always needed cost together."""
    if reading.three.price_kit:
        return reading.three.price_kit
    total = sum(
        p.quantity * (p.price.likely if p.price else quoted.get(key(p.part), 0.0)) for p in made if p.needed == "always"
    )
    return Range(total, total, total)


def tasks(reading: Reading) -> tuple[Task, ...]:
    """Work and charges, the default ones beneath them."""
    for row in reading.rows("tasks.csv"):
        if row.assumed:
            _list_assumed(reading, row)
    return tuple(reading.record(Task, row) for row in reading.rows("tasks.csv"))


def _list_assumed(reading: Reading, row: Row) -> None:
    shows, unit = ("share_of_kit", "of the price of the kit")
    if row.has_range("hours") or not row.has_range(shows):
        shows, unit = ("hours", "h") if row.has_range("hours") else ("cost", "")
    reading.assume(f"task: {row.text('task')}", row, shows, unit)


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
        return reading.name_of(row, "event", known.tree.events, "an unknown event "), ""
    return "", _price_of(reading, row, known, price_of) if price_of else ""


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
    """Chance that the look shows what is the case; a price that is asked is taken as right."""
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
        least = -(-100 // among) * Decimal("0.01")
        write = f"a look that is right less often than guessing tells nothing: give at least {least}"
        row.fault("p_right", row.shown("p_right"), write)


def _list_look(reading: Reading, row: Row, look: Look) -> None:
    brings = [f"right {as_text(look.p_right)}"]
    for column, unit in _LOOK_BRINGS:
        brings += [f"{as_text(getattr(look, column))} {unit}"] if row.has_range(column) else []
    reading.defaults.note(f"look: {look.look}", "; ".join(brings), "low / likely / high", row.text("source"))
