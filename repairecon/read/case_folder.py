"""A case folder to a Case: all of its faults at once, its gaps filled with listed defaults."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path
from types import MappingProxyType
from typing import Any, TypeAlias

from repairecon.read import boat, events, table_records, toml_records, ways
from repairecon.read.boat import BoatPapers
from repairecon.read.columns import CASE, CASE_FILES, FILES
from repairecon.read.default_rows import Layers
from repairecon.read.problems import SURE, Problems, closest, key, shown
from repairecon.read.reading import Defaults, LabourBook, Money, Reading, ThreeNumbers, named_rows
from repairecon.read.tables import Row, read_table
from repairecon.read.toml_file import TomlFile, read_toml, toml_lines
from repairecon.read.values import listed
from repairecon.read.workbook import is_workbook, read_case_workbook
from repairecon.records import NOTHING, WAY_KINDS, BoatUnit, Case, OnHand, Range, Unit, Way

NamedRows: TypeAlias = list[tuple[Row, str]]
_STEMS = [Path(file).stem for file in CASE_FILES]


def read_case(
    folder: str | os.PathLike[str], years: bool = False, order: bool | None = None, *, as_decided: bool = False,
    stock: Sequence[OnHand] = (),
) -> Case:  # fmt: skip
    """Read a case folder, or a workbook with a sheet for each of its files, to a case in home money with tax.

    ``case.toml`` is needed, of the CSV files as many as there are; CaseError has every fault, by file and row.
    ``years`` lists what the years after the job take for granted even if the case does not speak of them. ``order``
    lists what an order among the quotes takes for granted, and lets parts and units stand that have neither a price nor
    a quote; left out, so where the folder is about quotes alone. ``as_decided`` reads by the rules of the day on which
    the case was decided: a file of the owner's drops all defaults of that file, and a tree may leave states out. Of
    ``stock``, spares aboard, a part of which all lies there costs what replacing it costs and needs no wait, and
    fitting a whole unit is a way of its own. ``assumed`` lists the defaults used; what is not listed is complete all
    the same, but for ``wishes.today``, blank where the case gives no day.
    """
    case, reading = open_case(folder, years, order, as_decided=as_decided, stock=stock)
    reading.problems.stop_if_any()
    return case


def open_case(
    folder: str | os.PathLike[str], years: bool = False, order: bool | None = None,
    instead: Mapping[str, bytes] = MappingProxyType({}), as_decided: bool = False,
    papers: BoatPapers | None = None, stock: Sequence[OnHand] = (),
) -> tuple[Case, Reading]:  # fmt: skip
    """The case as far as it can be read, ``instead`` in place of files; ``papers`` of a boat that it is not in."""
    place, problems, defaults = Path(folder), Problems(), Defaults()
    toml, sources, notes = _opened(place, problems, instead, papers is not None)
    tables = {file: read_table(sources.get(file), file, FILES[file], problems) for file in CASE_FILES}
    own = {f for f, t in tables.items() if t.given}
    papers = papers or boat.papers_of(place, problems)
    today = date.today()
    if papers:
        today = date.fromisoformat(papers.today)
        boat.lay_toml(papers, toml)
        boat.lay_tables(papers, tables)
    own |= {f for f in ("suppliers.csv",) if tables[f].given}
    toml.check_sections()
    if "bearing" in toml.data:  # older cases have it
        defaults.note("[bearing]", "left alone", "", "such data are no longer read: give lives in ways.csv")
    three, money = ThreeNumbers(toml, defaults), Money(toml, defaults)
    labour, unit = LabourBook(toml, money, defaults), toml_records.unit(toml, defaults)
    stock = stock or boat.frozen_stock(place, problems)
    from_stock = boat.lay_stock(stock, unit, tables, today, only_say=order is True) if stock else ()
    quotes_alone = "three_numbers" not in toml.data and own == {"parts.csv", "suppliers.csv", "quotes.csv"}
    reading = Reading(
        problems=problems, defaults=defaults, three=three, money=money, labour=labour, tables=tables,
        toml_whole=toml.whole, ordering=quotes_alone if order is None else order, as_decided=as_decided, boat=papers,
        notes=notes, stock=tuple(stock), from_stock=from_stock,
    )  # fmt: skip
    return _assemble(reading, toml, unit, str(folder), years), reading


def _opened(
    place: Path, problems: Problems, instead: Mapping[str, bytes], of_unit: bool
) -> tuple[TomlFile, dict[str, Any], dict[str, str]]:
    """case.toml, what each of the other files is read from, and notes on files and sheets; a unit alone has none."""
    notes: dict[str, str] = {}
    if not is_workbook(place):
        sources: dict[str, Any] = {CASE: place / CASE, **_files(place, problems, notes), **instead}
    elif of_unit:
        sources = {**instead}
    else:
        book = read_case_workbook(place, problems)
        sources, notes = {**book.tables, **instead}, book.notes
        if CASE not in instead:
            return read_toml(book.toml, problems, rows=book.rows), sources, notes
        return replace(read_toml(instead[CASE], problems), lines={}), sources, notes  # no longer those of the sheet
    return read_toml(sources[CASE], problems), sources, notes


def unit_case(papers: BoatPapers, unit: BoatUnit) -> Case:
    """The case that a unit of a boat will be when it fails, as assumed of its kind; CaseError for her files."""
    price, wait = unit.price_new or NOTHING, Defaults().peek("lead_days")
    lines = [*toml_lines("[unit]", {"name": unit.unit, "kind": unit.kind})]
    lines += toml_lines("[three_numbers]", {"price_new": [price.low, price.likely, price.high], "wait_days": wait})
    case, reading = open_case(papers.folder, True, False, {CASE: "\n".join(lines).encode()}, papers=papers)
    reading.problems.stop_if_any()
    return case


def cases_in(folder: str | os.PathLike[str]) -> list[Path]:
    """The folder itself, or the cases within it, however deep, where it is none; frozen ones left out."""
    place = Path(folder)
    if not place.is_dir() or file_of(place, CASE):
        return [place]
    return [p.parent for p in sorted(place.rglob(CASE)) if p.parent.name != "decided"] or [place]


def file_of(folder: Path, name: str) -> Path | None:
    return None if is_workbook(folder) else _files(folder, Problems(), {}).get(name)


def _files(folder: Path, problems: Problems, notes: dict[str, str]) -> dict[str, Path]:
    """Files of the case by name, whatever their case, and what to say of others; what is no folder stops here."""
    name = shown(str(folder))[1:-1]
    if not folder.is_dir():
        found = "a file, not a folder" if folder.exists() else "no such folder"
        problems.refuse(name, found, "name a folder that holds case.toml")
    try:
        entries = sorted(folder.iterdir())
    except OSError:
        problems.refuse(name, "a folder that cannot be read", "allow it to be read")
    known = (CASE, *CASE_FILES)
    paths: dict[str, Path] = {}
    for entry in entries:
        plain = entry.name.casefold()
        if entry.name in known or (plain in known and not (folder / plain).exists()):
            paths[plain] = entry
        elif plain in known or entry.name.startswith("."):
            continue
        elif is_workbook(entry) and not entry.name.startswith("~"):
            notes[entry.name] = f"not read: the case is the files beside it; name {shown(entry.name)} itself to use it"
        elif near := closest(entry.stem, _STEMS, cutoff=SURE) if entry.suffix.casefold() == ".csv" else "":
            write = f"did you mean {near}.csv? (else give it a name less like it)"
            problems.add(entry.name, None, "", "a file that nothing reads", write)
    return paths


def _assemble(reading: Reading, toml: TomlFile, unit: Unit, folder: str, with_years: bool) -> Case:
    tables, defaults, three = reading.tables, reading.defaults, reading.three
    reading.hours_a_year = toml.section("years").number("hours_a_year")
    reading.quoted = table_records.quoted_items(reading)
    in_words = "; ".join(w for w in listed(toml.section("unit").text("found")) if "=" not in w)
    layers = Layers(reading, unit, toml_records.no_defaults(toml, tables), in_words)
    part_rows, supplier_rows = _names(reading, layers)
    written = tables["parts.csv"].given or tables["ways.csv"].given
    if not written and reading.toml_whole and three.section.lacks("wait_days"):
        three.section.fault("wait_days", "nothing", "write the days to wait for parts or a new unit")
    sellers = table_records.suppliers(reading, supplier_rows)
    quoted = table_records.quotes(reading)
    lead, bare = table_records.days_and_prices(reading, quoted, {key(s.supplier): s for s in sellers if s.supplier})
    way_rows = layers.ways(bare)
    parts = table_records.parts(reading, part_rows, lead, layers.parts)
    with_years = with_years or "years" in toml.data or tables["lives.csv"].given or ways.speak_of_lives(way_rows)
    of_years = defaults if with_years else Defaults()
    made = ways.with_lives(ways.ways(reading, way_rows, lead), unit, of_years)
    price_new = _price_new(made, three.price_new)
    share_of = price_new.likely if price_new else max((bare.get(key(w.way), 0.0) for w in made), default=0.0)
    layers.rest(share_of, table_records.kit_price(reading, parts, bare))
    tasks = table_records.tasks(reading)
    branches, remedies = events.branches(reading, parts)
    never = {w.way: w.p_never for w in made}  # for quotes that give no chance of their own
    quoted = tuple(q if q.p_never >= 0 else replace(q, p_never=never.get(q.item, 0.0)) for q in quoted)
    return Case(
        folder=folder, unit=replace(unit, price_new=price_new), parts=parts, tasks=tasks, branches=branches,
        remedies=remedies, ways=made, suppliers=sellers, quotes=quoted,
        looks=table_records.looks(reading, parts, made), years=toml_records.years(toml, reading.money, of_years),
        own_lives=ways.own_lives(reading, made),
        found=toml_records.found(toml, branches, layers.found, strict=not reading.ordering),
        **toml_records.beside_the_unit(reading, toml, sellers, any(b.not_this_unit for b in branches)),
        learned=toml_records.learned_of(toml, folder, reading.boat.log if reading.boat else None),
        **_as_read(reading, layers),
    )  # fmt: skip


def _price_new(made: Sequence[Way], given: Range | None) -> Range | None:
    """That of the way of kind new, else of the three numbers, else of the dearest buy of known price."""
    priced = [(w, w.price) for w in made if w.price]
    new = next((price for w, price in priced if w.kind == "new"), given)
    return new or max((price for w, price in priced if w.traits.buys), key=lambda price: price.likely, default=None)


def _as_read(reading: Reading, layers: Layers) -> dict[str, Any]:
    papers, tables = reading.boat, reading.tables
    return {
        "assumed": reading.defaults.used, "replaced": tuple(layers.replaced), "dropped": tuple(layers.dropped),
        "boat": str(papers.folder) if papers else "", "from_boat": tuple(papers.taken) if papers else (),
        "stock": reading.stock, "from_stock": reading.from_stock, "quotes_alone": reading.ordering,
        "notes": {**reading.notes, **{file: t.note for file, t in tables.items() if t.note}},
    }  # fmt: skip


def _names(reading: Reading, layers: Layers) -> tuple[NamedRows, NamedRows]:
    """Rows of parts and suppliers with their names, which the reading keeps; those of the kit and the default ways."""
    parts, suppliers = reading.tables["parts.csv"], reading.tables["suppliers.csv"]
    part_rows, reading.parts = named_rows(parts.rows, "part", parts.whole)
    supplier_rows, reading.suppliers = named_rows(suppliers.rows, "supplier", suppliers.whole)
    kinds = [WAY_KINDS.get(key(row.text("kind"))) for row, _ in layers.ways({})]
    if not parts.given and any(kind is None or kind.rebuilds == "here" for kind in kinds):
        reading.parts.add(str(reading.defaults.peek("name.part")))
    return part_rows, supplier_rows
