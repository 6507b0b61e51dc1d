"""parts.csv and tasks.csv to records."""

from __future__ import annotations

from repairecon.read.columns import CASE
from repairecon.read.defaults import as_text
from repairecon.read.problems import key
from repairecon.read.reading import Reading
from repairecon.read.tables import NOTHING, Row
from repairecon.records import Part, Range, Source, Task


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
    price = row.amount("price")
    words = as_text(price)
    reading.defaults.note(f"part: {row.text('part')}", words, reading.money.currency, row.text("source"))
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
    """List what a default task takes: hours, or a charge."""
    shows, unit = ("share_of_kit", "of the price of the kit")
    if row.has_range("hours") or not row.has_range(shows):
        shows, unit = ("hours", "h") if row.has_range("hours") else ("cost", reading.money.currency)
    span = row.amount(shows)
    words = as_text(span)
    reading.defaults.note(f"task: {row.text('task')}", words, unit, row.text("source"))
