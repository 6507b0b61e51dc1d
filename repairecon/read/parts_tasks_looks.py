"""parts.csv, tasks.csv and looks.csv to records."""

from __future__ import annotations

from decimal import Decimal

from repairecon.read.columns import CASE
from repairecon.read.defaults import as_text
from repairecon.read.events import Outcomes, outcomes
from repairecon.read.problems import key, shown
from repairecon.read.reading import Reading, named_rows
from repairecon.read.tables import NOTHING, Row
from repairecon.read.ways import PRICED
from repairecon.records import Look, Part, Source, Task, Way


def parts(reading: Reading, rows: list[tuple[Row, str]], quotes_lead: set[str], beneath: list[Row]) -> tuple[Part, ...]:
    """Parts of the rebuild; ``quotes_lead`` are items whose quotes all say when they come.

    Without parts.csv they are the kit: at the price given, else as the rows ``beneath`` have it.
    """
    if not reading.tables["parts.csv"].given:
        if not len(reading.parts):
            return ()
        if reading.three.price_kit is None and beneath:
            for row in beneath:
                reading.assume(f"part: {row.text('part')}", row, "price")
            return tuple(_part(reading, row, row.text("part"), quotes_lead) for row in beneath)
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
    lead = None if key(name) in quotes_lead else reading.wait()
    source = price.source if price else Source(CASE)
    return (Part(part=name, description="", quantity=1, needed="always", price=price, lead_days=lead, standard_size="",
                 source=source),)  # fmt: skip


def _part(reading: Reading, row: Row, name: str, quotes_lead: set[str]) -> Part:
    price, lead, vat = row.range("price"), row.range("lead_days"), row.choice("vat")
    if row.choice("needed") == "always" and name and not row.has_range("price"):
        reading.check_priced(row, name, "always needed")
    if lead is None and not row.has_range("lead_days") and key(name) not in quotes_lead:
        lead = reading.wait()
    taxed = reading.money.with_vat(price, vat) if price else None
    return reading.record(Part, row, part=name, price=taxed, lead_days=lead)


def kit_price(reading: Reading, made: tuple[Part, ...], quoted: dict[str, float]) -> float:
    """What the parts that are always needed cost together, as far as it is known."""
    if reading.three.price_kit:
        return reading.three.price_kit.likely
    always = (p for p in made if p.needed == "always")
    return sum(p.quantity * (p.price.likely if p.price else quoted.get(key(p.part), 0.0)) for p in always)


def tasks(reading: Reading) -> tuple[Task, ...]:
    """Work and charges, the default ones beneath them."""
    for row in (row for row in reading.rows("tasks.csv") if row.assumed):
        shows, unit = ("hours", "h") if row.has_range("hours") else ("cost", "")
        if not row.has_range("hours") and row.has_range("share_of_kit"):
            shows, unit = "share_of_kit", "of the price of the kit"
        reading.assume(f"task: {row.text('task')}", row, shows, unit)
    return tuple(reading.record(Task, row) for row in reading.rows("tasks.csv"))


def looks(reading: Reading, parts: tuple[Part, ...], ways: tuple[Way, ...]) -> tuple[Look, ...]:
    """Looks as written, and the default ones at events that there are."""
    tree = outcomes(reading)
    priced: dict[str, Part | Way] = {**{key(w.way): w for w in ways}, **{key(p.part): p for p in parts}}
    rows, _ = named_rows(reading.rows("looks.csv"), "look", reading.tables["looks.csv"].whole)
    return tuple(_look(reading, row, name, tree, priced) for row, name in rows)


def _look(reading: Reading, row: Row, name: str, tree: Outcomes, priced: dict[str, Part | Way]) -> Look:
    event, price_of = _about(reading, row, tree, priced)
    p_right = _p_right(reading, row, name, tree)
    look = reading.record(Look, row, look=name, event=event, price_of=price_of, p_right=p_right)
    if row.assumed:
        spans = (("hours", look.hours, "h"), ("days", look.days, "days"))
        brings = [f"{as_text(span)} {unit}" for column, span, unit in spans if row.has_range(column)]
        said = "; ".join([f"right {as_text(p_right)}", *brings])
        reading.defaults.note(f"look: {name}", said, "low / likely / high", row.text("source"))
    return look


def _about(reading: Reading, row: Row, tree: Outcomes, priced: dict[str, Part | Way]) -> tuple[str, str]:
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
        return row.named("event", tree.events, "an unknown event "), ""
    return "", _price_of(reading, row, price_of, priced.get(key(price_of))) if price_of else ""


def _price_of(reading: Reading, row: Row, word: str, priced: Part | Way | None) -> str:
    part, way = reading.parts.find(word), reading.ways.find(word)
    if part and way:
        row.fault("price_of", f"{shown(word)}, a part and a way", "give one of the two another name")
    elif not part and not way and reading.parts.whole and reading.ways.whole:
        row.fault("price_of", f"an unknown part or way {shown(word)}", reading.items.advice(row.problems, word))
    elif isinstance(priced, Part):
        reading.check_wanted(priced, "a look in looks.csv asks for it")
    elif priced is not None and priced.kind not in PRICED:
        found = f"{shown(word)}, a way of kind {priced.kind} with no price of its own"
        row.fault("price_of", found, f"name a part, or a way of kind {', '.join(PRICED)}")
    return part or way or word


def _p_right(reading: Reading, row: Row, name: str, tree: Outcomes) -> float:
    """Chance that the look shows what is the case; a price that is asked is taken as right."""
    given = row.number("p_right")
    if row.has("price_of"):
        if given is not None and given < 1.0 and not row.has("event"):
            write = "leave it blank or write 1: a price that you are told is taken as right"
            row.fault("p_right", row.shown("p_right"), write)
        return 1.0
    if not row.has("p_right"):
        return reading.defaults.number("p_right", name)
    names = tree.outcomes.get(key(row.text("event")))
    among = max(len(names), 2) if names is not None and names.whole else 0  # of one, whether it happens at all
    if given is not None and among and given < Decimal(1) / among:
        least = -(-100 // among) * Decimal("0.01")
        write = f"a look that is right less often than guessing tells nothing: give at least {least}"
        row.fault("p_right", row.shown("p_right"), write)
    return 1.0 if given is None else given
