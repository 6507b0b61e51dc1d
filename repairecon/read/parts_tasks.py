"""parts.csv and tasks.csv to records."""

from __future__ import annotations

from repairecon.read import values
from repairecon.read.defaults import as_text, default_tasks
from repairecon.read.names import key
from repairecon.read.problems import shown
from repairecon.read.reading import NOTHING, Reading
from repairecon.read.rows import Row
from repairecon.read.toml_section import FILE
from repairecon.records import STAGES, Part, Range, Source, Task

NEEDED = ("always", "damage")
VAT = ("in", "ex")


def wait(reading: Reading) -> Range:
    """Days to wait for something of which no days are given."""
    return reading.three.wait_days or reading.defaults.range("lead_days")


def parts(reading: Reading, rows: list[tuple[Row, str]], quotes_lead: set[str]) -> tuple[Part, ...]:
    """Parts of the rebuild; ``quotes_lead`` are items whose quotes all say when they come."""
    if not reading.tables["parts.csv"].given:
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
    lead = None if key(name) in quotes_lead else wait(reading)
    return (
        Part(
            part=name,
            description="",
            quantity=1,
            needed="always",
            price=price,
            lead_days=lead,
            standard_size="",
            source=price.source if price else Source(FILE),
        ),
    )


def _part(reading: Reading, row: Row, name: str, quotes_lead: set[str]) -> Part:
    price = row.range("price", values.MONEY)
    vat = row.choice("vat", VAT, "in")
    lead = row.range("lead_days", values.DAYS)
    needed = row.choice("needed", NEEDED, "always")
    if needed == "always" and name and not row.has_range("price"):
        check_priced(reading, row, name, "always needed")
    if lead is None and not row.has_range("lead_days") and key(name) not in quotes_lead:
        lead = wait(reading)
    quantity = row.number("quantity", values.COUNT)
    return Part(
        part=name,
        description=row.text("description"),
        quantity=int(quantity or 1),
        needed=needed,
        price=reading.money.with_vat(price, vat) if price else None,
        lead_days=lead,
        standard_size=row.text("standard_size"),
        source=row.source,
        material=row.text("material"),
        fluid=row.text("fluid"),
        makers_only=row.yes("makers_only"),
    )


def check_priced(reading: Reading, row: Row, name: str, why: str) -> None:
    """A part that is wanted needs a price, its own or quoted."""
    if key(name) not in reading.quoted and not reading.ordering and reading.tables["quotes.csv"].whole:
        row.fault("price_likely", "nothing", f"write a price, or a row for {shown(name)} in quotes.csv ({why})")


def check_wanted(reading: Reading, part: Part, why: str) -> None:
    """The same for a part that is needed by damage only, once something wants it."""
    row = reading.part_rows.get(part.source.row or 0)
    told = row is None or row.has_range("price") or "price_likely" in row.bad
    if row is not None and not told and part.needed == "damage":
        check_priced(reading, row, part.part, why)


def kit_price(reading: Reading, made: tuple[Part, ...], quoted: dict[str, float]) -> Range:
    """What the parts that are always needed cost together."""
    if reading.three.price_kit:
        return reading.three.price_kit
    total = sum(
        p.quantity * (p.price.likely if p.price else quoted.get(key(p.part), 0.0)) for p in made if p.needed == "always"
    )
    return Range(total, total, total)


def tasks(reading: Reading, kit: Range) -> tuple[Task, ...]:
    """Work and charges, the default ones if none are given."""
    table = reading.tables["tasks.csv"]
    if table.given:
        return tuple(_task(reading, row) for row in table.rows)
    return tuple(_default_task(reading, row, kit) for row in default_tasks().rows)


def _task(reading: Reading, row: Row) -> Task:
    reading.keep_note(row)
    name = row.required("task", "name the task")
    row.required("stage", f"write one of: {', '.join(STAGES)}")
    vat = row.choice("vat", VAT, "in")
    return Task(
        task=name,
        stage=row.choice("stage", STAGES, STAGES[0]),
        by=reading.worker(row, "by"),
        hours=reading.amount(row, "hours", values.HOURS),
        cost=reading.money.with_vat(reading.amount(row, "cost", values.MONEY), vat),
        days=reading.amount(row, "days", values.DAYS),
        ways=reading.ways_cell(row),
        source=row.source,
    )


def _default_task(reading: Reading, row: Row, kit: Range) -> Task:
    hours = reading.amount(row, "hours", values.HOURS)
    share = reading.amount(row, "share_of_kit", values.FRACTION)
    shows, unit = (hours, "h") if row.has_range("hours") else (share, "of the price of the kit")
    reading.defaults.note(
        f"task: {row.text('task')}", as_text([shows.low, shows.likely, shows.high]), unit, row.text("source")
    )
    source = Source(row.file, row.row, row.text("source"))
    cost = Range(share.low * kit.likely, share.likely * kit.likely, share.high * kit.likely, source=source)
    return Task(
        task=row.text("task"),
        stage=row.text("stage"),
        by=row.text("by"),
        hours=hours,
        cost=cost,
        days=reading.amount(row, "days", values.DAYS),
        ways=reading.ways_cell(row),
        source=source,
    )
