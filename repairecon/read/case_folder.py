"""A case folder to a Case: all of its faults at once, its gaps filled with listed defaults."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

from repairecon.read import (
    bearing_toml,
    case_toml,
    events,
    learned,
    lives,
    looks,
    order_toml,
    own_lives,
    parts_tasks,
    suppliers_quotes,
    unit_toml,
    ways,
    years_toml,
)
from repairecon.read.default_ways import default_names
from repairecon.read.defaults import Defaults
from repairecon.read.headings import FILES
from repairecon.read.names import key
from repairecon.read.problems import SURE, Problems, closest, shown
from repairecon.read.reading import Reading, named_rows
from repairecon.read.tables import read_table
from repairecon.read.toml_file import TomlFile, read_toml
from repairecon.read.toml_section import FILE
from repairecon.records import Case, Quote, Range, Unit, Way


def read_case(folder: str | os.PathLike[str], years: bool = False, order: bool = False) -> Case:
    """Read a case folder.

    Parameters
    ----------
    folder
        Folder with ``case.toml`` and as many of parts.csv, tasks.csv, events.csv, ways.csv,
        suppliers.csv, carriage.csv, quotes.csv, looks.csv and lives.csv as there are.
    years
        True to list what the years after the job take for granted, even if the case does not speak of them.
    order
        True to list what an order among the quotes takes for granted, and to let parts and units stand that have
        neither a price nor a quote.

    Returns
    -------
    Case
        Everything in home money with tax, quotes as written; ``assumed`` lists the defaults used.

    Raises
    ------
    CaseError
        With every fault of the folder, by file and row.

    Notes
    -----
    A CSV file with headings alone counts as none, and defaults take its place. Rows that begin with
    ``example:`` are left out. ``vat`` of a row of ways.csv holds for its price, core surcharge, core
    carriage and strip charge. ``lead_days`` of a part or way are for quotes that name no days.
    Lives and years are always complete; what they take for granted is listed once it matters: with ``years``, or if
    the case speaks of them. The terms at the border and the wishes of an order are complete likewise, and listed with
    ``order`` alone; ``wishes.today`` stays blank where the case gives no day.
    """
    case, reading = open_case(folder, years, order)
    reading.problems.stop_if_any()
    return case


def open_case(
    folder: str | os.PathLike[str],
    years: bool = False,
    order: bool = False,
    instead: Mapping[str, Path] = MappingProxyType({}),
) -> tuple[Case, Reading]:
    """The case as far as it could be read, and the reading with its faults; ``instead`` has files to read in place."""
    problems = Problems()
    paths = {**_files(Path(folder), problems), **instead}
    toml = read_toml(paths.get(FILE, Path(folder) / FILE), problems)
    tables = {file: read_table(paths.get(file), file, headings, problems) for file, headings in FILES.items()}
    defaults = Defaults()
    case_toml.check_sections(toml)
    three = case_toml.three_numbers(toml, defaults)
    money = case_toml.Money(toml, defaults)
    labour = case_toml.LabourBook(toml, money, defaults)
    unit = unit_toml.unit(toml, defaults)
    reading = Reading(problems, defaults, three, money, labour, tables, toml.whole, order)
    return _assemble(reading, toml, unit, str(folder), years, order), reading


def file_of(folder: Path, name: str) -> Path | None:
    """A file of the case, whatever the case of its name; None where there is none."""
    return _files(folder, Problems()).get(name)


def _files(folder: Path, problems: Problems) -> dict[str, Path]:
    """Files of the case by name, whatever their case; what is no folder stops here."""
    name = shown(str(folder))[1:-1]
    if not folder.is_dir():
        found = "a file, not a folder" if folder.exists() else "no such folder"
        problems.add(name, None, "", found, "name a folder that holds case.toml")
    try:
        entries = sorted(folder.iterdir()) if not len(problems) else []
    except OSError:
        entries = []
        problems.add(name, None, "", "a folder that cannot be read", "allow it to be read")
    problems.stop_if_any()
    known = (FILE, *FILES)
    paths: dict[str, Path] = {}
    for entry in entries:
        plain = entry.name.casefold()
        if entry.name in known or (plain in known and not (folder / plain).exists()):
            paths[plain] = entry
        elif plain.endswith(".csv") and plain not in known:
            near = closest(plain.removesuffix(".csv"), [f.removesuffix(".csv") for f in FILES], cutoff=SURE)
            if near and not entry.name.startswith("."):
                problems.add(
                    entry.name,
                    None,
                    "",
                    "a file that nothing reads",
                    f"did you mean {near}.csv? (else give it a name less like it)",
                )
    return paths


def _assemble(reading: Reading, toml: TomlFile, unit: Unit, folder: str, listed: bool, order: bool) -> Case:
    part_rows, reading.parts = named_rows(reading.tables["parts.csv"], "part", "part")
    way_rows, reading.ways = named_rows(reading.tables["ways.csv"], "way", "way")
    supplier_rows, reading.suppliers = named_rows(reading.tables["suppliers.csv"], "supplier", "supplier")
    if not reading.tables["parts.csv"].given:
        reading.parts.add(str(reading.defaults.peek("name.part")))
    if not reading.tables["ways.csv"].given:
        for name in default_names(reading.defaults):
            reading.ways.add(name)
    _check_wait(reading)
    reading.quoted = suppliers_quotes.quoted_items(reading)
    sellers = suppliers_quotes.suppliers(reading, supplier_rows)
    by_key = {key(s.supplier): s for s in sellers if s.supplier}
    quotes = suppliers_quotes.quotes(reading)
    lead = suppliers_quotes.items_with_days(quotes, by_key)
    bare = suppliers_quotes.bare_prices(reading, quotes, by_key)
    parts = parts_tasks.parts(reading, part_rows, lead)
    listed = listed or years_toml.spoken_of(toml) or lives.spoken_of(way_rows) or reading.tables["lives.csv"].given
    of_years = reading.defaults if listed else Defaults()
    of_order = reading.defaults if order else Defaults()
    made = lives.with_lives(way_rows, ways.ways(reading, way_rows, lead), unit, of_years)
    price_new = _price_new(reading, made)
    share_of = price_new.likely if price_new else max((bare.get(key(w.way), 0.0) for w in made), default=0.0)
    tasks = parts_tasks.tasks(reading, parts_tasks.kit_price(reading, parts, bare))
    branches = events.branches(reading, parts, share_of)
    wrong_unit = any(b.not_this_unit for b in branches)
    return Case(
        folder=folder,
        unit=replace(unit, price_new=price_new),
        parts=parts,
        tasks=tasks,
        branches=branches,
        ways=made,
        suppliers=sellers,
        quotes=_complete(quotes, made),
        looks=looks.looks(reading, parts, made),
        years=years_toml.years(toml, reading.money, of_years),
        customs=order_toml.customs(toml, sellers, of_order),
        wishes=order_toml.wishes(toml, reading, of_order),
        own_lives=own_lives.own_lives(reading, made),
        bearing=bearing_toml.bearing(toml, reading.ways, reading.defaults),
        waivers=unit_toml.waivers(toml, reading.ways),
        learned=learned.asked_for(toml, folder),
        terms=case_toml.terms(toml, reading.money, reading.labour, reading.defaults, wrong_unit),
        assumed=reading.defaults.used,
        notes=dict(reading.notes),
    )


def _check_wait(reading: Reading) -> None:
    """With neither parts nor ways, the days to wait are one of the three numbers."""
    three, tables = reading.three, reading.tables
    alone = not tables["parts.csv"].given and not tables["ways.csv"].given
    if alone and reading.toml_whole and three.wait_days is None and "wait_days" not in three.section.bad:
        three.section.fault("wait_days", "nothing", "write the days to wait for parts or a new unit")


def _price_new(reading: Reading, made: tuple[Way, ...]) -> Range | None:
    """Price of the way of kind new, else of the three numbers, else the dearest buy of known price."""
    for way in made:
        if way.kind == "new" and way.price is not None:
            return way.price
    if reading.three.price_new is not None:
        return reading.three.price_new
    buys = [w.price for w in made if w.traits.buys and w.price is not None]
    return max(buys, key=lambda price: price.likely, default=None)


def _complete(quotes: tuple[Quote, ...], made: tuple[Way, ...]) -> tuple[Quote, ...]:
    """Quotes with the way's own chance of never where they give none."""
    never = {w.way: w.p_never for w in made}
    return tuple(q if q.p_never >= 0 else replace(q, p_never=never.get(q.item, 0.0)) for q in quotes)
