"""A case folder to a Case: all of its faults at once, its gaps filled with listed defaults."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path
from types import MappingProxyType
from typing import Any, TypeAlias

from repairecon.read import boat, case_toml, events, job_log, parts_tasks_looks, quotes, ways
from repairecon.read.boat import BoatPapers
from repairecon.read.case_workbook import is_workbook, read_case_workbook
from repairecon.read.columns import CASE, CASE_FILES, FILES
from repairecon.read.default_rows import Layers
from repairecon.read.defaults import Defaults
from repairecon.read.from_stock import lay_stock
from repairecon.read.problems import SURE, Problems, closest, key, shown
from repairecon.read.reading import LabourBook, Money, Reading, named_rows, three_numbers
from repairecon.read.tables import Row, Table, read_table
from repairecon.read.toml_file import TomlFile, read_toml, toml_lines
from repairecon.records import NOTHING, BoatUnit, Case, OnHand, Supplier, Unit

_QUOTES_ALONE = {"parts.csv", "suppliers.csv", "quotes.csv"}
NamedRows: TypeAlias = list[tuple[Row, str]]


def read_case(
    folder: str | os.PathLike[str],
    years: bool = False,
    order: bool | None = None,
    *,
    as_decided: bool = False,
    stock: Sequence[OnHand] = (),
) -> Case:
    """Read a case folder, or a workbook with a sheet for each of its files, to a case in home money with tax.

    ``case.toml`` is needed, of the CSV files as many as there are; CaseError has every fault, by file and row.
    ``years`` lists what the years after the job take for granted even if the case does not speak of them. ``order``
    lists what an order among the quotes takes for granted, and lets parts and units stand that have neither a price nor
    a quote; left out, so where the folder is about quotes alone. ``as_decided`` reads by the rules of the day on which
    the case was decided: a file of the owner's drops all defaults of that file, and a tree may leave states out. Of
    ``stock``, spares aboard, a part of which all lies there costs what replacing it costs and needs no wait, and
    fitting a whole unit is a way of its own.

    A CSV file with headings alone counts as none, and defaults take its place. Rows that begin with ``example:`` are
    left out. ``vat`` of a row of ways.csv holds for its price, core surcharge, core carriage and strip charge.
    ``lead_days`` of a part or way are for quotes that name no days. ``assumed`` lists the defaults used; what is not
    listed is complete all the same, but for ``wishes.today``, blank where the case gives no day.
    """
    case, reading = open_case(folder, years, order, as_decided=as_decided, stock=stock)
    reading.problems.stop_if_any()
    return case


def open_case(
    folder: str | os.PathLike[str],
    years: bool = False,
    order: bool | None = None,
    instead: Mapping[str, bytes] = MappingProxyType({}),
    as_decided: bool = False,
    papers: BoatPapers | None = None,
    stock: Sequence[OnHand] = (),
) -> tuple[Case, Reading]:
    """The case as far as it could be read, and the reading with its faults; ``instead`` is read in place of files.

    ``papers`` are those of its boat where the folder does not lie in hers.
    """
    place, problems, defaults = Path(folder), Problems(), Defaults()
    toml, tables, notes = _opened(place, instead, problems, papers)
    own = {f for f, t in tables.items() if t.given}
    papers = papers or boat.papers_of(place, problems)
    if papers:
        boat.lay_toml(papers, toml)
        boat.lay_tables(papers, tables)
    own |= {f for f in ("suppliers.csv",) if tables[f].given}
    toml.check_sections()
    if "bearing" in toml.data:  # older cases have it
        defaults.note("[bearing]", "left alone", "", "such data are no longer read: give lives in ways.csv")
    three = three_numbers(toml, defaults)
    money = Money(toml, defaults)
    labour = LabourBook(toml, money, defaults)
    unit = case_toml.unit(toml, defaults)
    stock = stock or boat.frozen_stock(place, problems)
    today = date.fromisoformat(papers.today) if papers else date.today()
    from_stock = lay_stock(stock, unit, tables, today, only_say=order is True) if stock else ()
    quotes_alone = "three_numbers" not in toml.data and own == _QUOTES_ALONE
    reading = Reading(
        problems=problems, defaults=defaults, three=three, money=money, labour=labour, tables=tables,
        toml_whole=toml.whole, ordering=quotes_alone if order is None else order, as_decided=as_decided, boat=papers,
        notes=notes, stock=tuple(stock), from_stock=from_stock,
    )  # fmt: skip
    return _assemble(reading, toml, unit, str(folder), years), reading


def _opened(
    place: Path, instead: Mapping[str, bytes], problems: Problems, papers: BoatPapers | None
) -> tuple[TomlFile, dict[str, Table], dict[str, str]]:
    """case.toml and the tables of a folder, or of a workbook in its place; notes by file."""
    notes: dict[str, str] = {}
    book = read_case_workbook(place, problems) if is_workbook(place) and papers is None else None
    found = book.sources() if book else {} if is_workbook(place) else _files(place, problems, notes)
    sources: dict[str, Any] = {CASE: place / CASE, **found, **instead}
    toml = read_toml(sources[CASE], problems)
    if book:
        toml.lines, notes = {} if CASE in instead else book.lines(toml.lines), book.notes
    return toml, {file: read_table(sources.get(file), file, FILES[file], problems) for file in CASE_FILES}, notes


def unit_case(papers: BoatPapers, unit: BoatUnit) -> Case:
    """The case that a unit of a boat, whose price of a new one is known, will be when it fails.

    It holds what is assumed of its kind, with the waits assumed of any part; CaseError has faults of the boat's files.
    """
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
    """A file of the case, whatever the case of its name; None where there is none."""
    return None if is_workbook(folder) else _files(folder, Problems()).get(name)


def _files(folder: Path, problems: Problems, notes: dict[str, str] | None = None) -> dict[str, Path]:
    """Files of the case by name, whatever their case, and what to say of others; what is no folder stops here."""
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
    known = (CASE, *CASE_FILES)
    paths: dict[str, Path] = {}
    for entry in entries:
        plain = entry.name.casefold()
        if entry.name in known or (plain in known and not (folder / plain).exists()):
            paths[plain] = entry
        elif is_workbook(entry) and not entry.name.startswith((".", "~")) and notes is not None:
            notes[entry.name] = f"not read: the case is the files beside it; name {shown(entry.name)} itself to use it"
        elif plain.endswith(".csv") and plain not in known:
            near = closest(plain.removesuffix(".csv"), [f.removesuffix(".csv") for f in CASE_FILES], cutoff=SURE)
            if near and not entry.name.startswith("."):
                write = f"did you mean {near}.csv? (else give it a name less like it)"
                problems.add(entry.name, None, "", "a file that nothing reads", write)
    return paths


def _assemble(reading: Reading, toml: TomlFile, unit: Unit, folder: str, listed: bool) -> Case:
    tables, defaults = reading.tables, reading.defaults
    reading.hours_a_year = toml.section("years").number("hours_a_year")
    reading.quoted = quotes.quoted_items(reading)
    layers = Layers(reading, unit, case_toml.no_defaults(toml, tables), case_toml.found_in_words(toml))
    part_rows, supplier_rows = _names(reading, layers)
    three, written = reading.three, tables["parts.csv"].given or tables["ways.csv"].given
    if not written and reading.toml_whole and three.wait_days is None and "wait_days" not in three.section.bad:
        three.section.fault("wait_days", "nothing", "write the days to wait for parts or a new unit")
    sellers = quotes.suppliers(reading, supplier_rows)
    by_key = {key(s.supplier): s for s in sellers if s.supplier}
    quoted = quotes.quotes(reading)
    lead, bare = quotes.items_with_days(quoted, by_key), quotes.bare_prices(reading, quoted, by_key)
    way_rows = layers.ways(bare)
    parts = parts_tasks_looks.parts(reading, part_rows, lead, layers.parts)
    listed = listed or "years" in toml.data or ways.lives_wanted(way_rows) or tables["lives.csv"].given
    of_years = defaults if listed else Defaults()
    made = ways.with_lives(ways.ways(reading, way_rows, lead), unit, of_years)
    # of the way of kind new, else of the three numbers, else the dearest buy of known price
    new = next((w.price for w in made if w.kind == "new" and w.price), None)
    buys = (w.price for w in made if w.traits.buys and w.price)
    price_new = new or reading.three.price_new or max(buys, key=lambda price: price.likely, default=None)
    share_of = price_new.likely if price_new else max((bare.get(key(w.way), 0.0) for w in made), default=0.0)
    layers.rest(share_of, parts_tasks_looks.kit_price(reading, parts, bare))
    tasks = parts_tasks_looks.tasks(reading)
    branches, remedies = events.branches(reading, parts)
    never = {w.way: w.p_never for w in made}  # for quotes that give no chance of their own
    quoted = tuple(q if q.p_never >= 0 else replace(q, p_never=never.get(q.item, 0.0)) for q in quoted)
    return Case(
        folder=folder, unit=replace(unit, price_new=price_new), parts=parts, tasks=tasks, branches=branches,
        remedies=remedies, ways=made, suppliers=sellers, quotes=quoted,
        looks=parts_tasks_looks.looks(reading, parts, made), years=case_toml.years(toml, reading.money, of_years),
        own_lives=ways.own_lives(reading, made),
        found=case_toml.found(toml, branches, layers.found, strict=not reading.ordering),
        **_sections(reading, toml, folder, sellers, any(b.not_this_unit for b in branches)), **_listed(reading, layers),
    )  # fmt: skip


def _sections(
    reading: Reading, toml: TomlFile, folder: str, sellers: tuple[Supplier, ...], wrong_unit: bool
) -> dict[str, Any]:
    """What case.toml says beside the unit, the years and what was found."""
    of_order = reading.defaults if reading.ordering else Defaults()
    return {
        "customs": case_toml.customs(toml, sellers, of_order), "wishes": case_toml.wishes(toml, reading, of_order),
        "terms": case_toml.terms(toml, reading, wrong_unit), "needed": case_toml.needed(toml),
        "checked": toml.section("unit").text("checked"), "waivers": case_toml.waivers(toml, reading.ways),
        "learned": job_log.learned_of(toml, folder, reading.boat.log if reading.boat else None),
        "done": toml.section("done").choice("stage"), "measured": case_toml.measured(toml),
    }  # fmt: skip


def _listed(reading: Reading, layers: Layers) -> dict[str, Any]:
    """How the case was read: what was assumed, replaced or dropped, and the rows of each file."""
    return {
        "assumed": reading.defaults.used, "replaced": tuple(layers.replaced), "dropped": tuple(layers.dropped),
        "boat": str(reading.boat.folder) if reading.boat else "", "stock": reading.stock,
        "from_stock": reading.from_stock, "from_boat": tuple(reading.boat.taken) if reading.boat else (),
        "quotes_alone": reading.ordering,
        "notes": {**reading.notes, **{file: t.note for file, t in reading.tables.items() if t.note}},
        "rows_read": {file: len(t.rows) for file, t in reading.tables.items() if t.there},
    }  # fmt: skip


def _names(reading: Reading, layers: Layers) -> tuple[NamedRows, NamedRows]:
    """Rows of parts and suppliers with their names, which the reading keeps; those of the kit and the default ways."""
    parts, suppliers = reading.tables["parts.csv"], reading.tables["suppliers.csv"]
    part_rows, reading.parts = named_rows(parts.rows, "part", parts.whole)
    supplier_rows, reading.suppliers = named_rows(suppliers.rows, "supplier", suppliers.whole)
    rebuilt = any(ways.rebuilt_here(row) for row, _ in layers.ways({}))
    if not parts.given and rebuilt:
        reading.parts.add(str(reading.defaults.peek("name.part")))
    return part_rows, supplier_rows
