"""A boat's folder: what stands there once lies beneath each case in its ``jobs``, key by key and row by row.

A case's own key or row comes first. What was taken from the boat is listed with the case.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, field, fields, replace
from datetime import date
from pathlib import Path
from typing import Any

from repairecon.kinds import match_kind
from repairecon.read.case_workbook import is_workbook, read_case_workbook, sheet_csv
from repairecon.read.columns import BOAT, BOAT_SECTIONS, CASE, FILES
from repairecon.read.defaults import Defaults
from repairecon.read.files import csv_text
from repairecon.read.problems import Problems, key, shown
from repairecon.read.reading import LabourBook, Money, named_rows
from repairecon.read.tables import Row, Table, read_table
from repairecon.read.toml_file import TomlFile, read_toml
from repairecon.records import DAYS_A_YEAR, BoatUnit, Case, OnHand, Source

JOBS, LOG, LEARNED, BOOK, ON_HAND = "jobs", "log", "learned.toml", "spares.book", "on_hand.csv"
WORKBOOK = "boat.xlsx"
"""A boat's files in one: hers where no boat.toml stands beside it."""
FROZEN = "boat"
"""Folder of a frozen case that holds what it took from the boat."""

TABLES = ("units.csv", "suppliers.csv", "carriage.csv")
SHARED = tuple(name for name in BOAT_SECTIONS if "." not in name)


def boat_folder(case_folder: str | os.PathLike[str]) -> Path | None:
    """The boat of a case: the folder that holds ``jobs``, her workbook in it, or the copy in a frozen case, or None."""
    place = Path(os.path.realpath(case_folder))
    frozen = place / FROZEN
    if (frozen / BOAT).is_file():
        return frozen
    home = place.parent.parent
    if place.parent.name != JOBS or (home / BOAT).is_file():
        return home if place.parent.name == JOBS else None
    return home / WORKBOOK if (home / WORKBOOK).is_file() else None


def home_of(boat: Path) -> Path:
    """The folder of a boat, or that in which her workbook lies."""
    return boat.parent if is_workbook(boat) else boat


def book_path(boat: Path) -> Path | None:
    """Her spares book: ``spares.book``, or a folder ``spares`` of CSV files, to be read only; None without either."""
    home = home_of(boat)
    for path in (home / BOOK, home / Path(BOOK).stem):
        if path.is_file() or (path / "items.csv").is_file():
            return path
    return None


def boat_around(book: str | os.PathLike[str]) -> Path | None:
    """The boat's folder in which a spares book lies, or that is named in its place; None for a book alone."""
    place = Path(os.path.realpath(book))
    return next((home for home in (place, place.parent) if (home / BOAT).is_file()), None)


def today_of(home: Path) -> date:
    """The day to which her ages are counted."""
    given = read_case_workbook(home, Problems(), BOAT, TABLES).toml if is_workbook(home) else home / BOAT
    said = read_toml(given, Problems(), BOAT).section("boat").date("today")
    return date.fromisoformat(said) if said else date.today()


@dataclass(kw_only=True)
class BoatPapers:
    """A boat by her files, as far as they could be read.

    ``place`` is how a case's sources call her folder, ``today`` the day to which ages are counted, ``taken`` what a
    case took from her files, as lists show it.
    """

    folder: Path
    place: str
    toml: TomlFile
    tables: dict[str, Table]
    currency: str
    today: str
    name: str
    base: str
    figures: str
    units: tuple[BoatUnit, ...]
    taken: list[str] = field(default_factory=list)

    @property
    def log(self) -> Path:
        """Where what her jobs teach lies: in a frozen case beside the copies of her files."""
        return self.folder if self.folder.name == FROZEN else home_of(self.folder) / LOG

    @property
    def jobs(self) -> tuple[str, ...]:
        """The folders and workbooks of her cases."""
        places = (home_of(self.folder) / JOBS).glob("[!.~]*")
        return tuple(str(p) for p in sorted(places) if is_workbook(p) or (p / CASE).is_file())


def read_boat(folder: str | os.PathLike[str]) -> BoatPapers:
    """Read a boat's folder, or a workbook of hers beside which her jobs and book lie.

    ``boat.toml`` is needed; units.csv, suppliers.csv, carriage.csv, jobs and the rest as there are. CaseError has every
    fault of her own files; those of her cases come when they are read.
    """
    problems = Problems()
    papers = read_papers(Path(folder), problems)
    problems.stop_if_any()
    return papers


def read_papers(folder: Path, problems: Problems, place: str = "") -> BoatPapers:
    """Read boat.toml and the tables beside it, every fault noted under ``place``."""
    book = read_case_workbook(folder, problems, BOAT, TABLES) if is_workbook(folder) else None
    toml = read_toml(book.toml if book else folder / BOAT, problems, BOAT)
    toml.lines = book.lines(toml.lines) if book else toml.lines
    toml.check_sections()
    for name in SHARED:  # each key is checked here, so that a case's faults are those of its own files
        if name in toml.data and name != "labour":
            section = toml.section(name)
            section.these(*(n for n, c in section.declared.items() if c.type != "section"))
    money = Money(toml, Defaults())
    LabourBook(toml, money, Defaults())
    given = book.tables if book else {f: folder / f for f in TABLES if (folder / f).is_file()}
    tables = {f: read_table(given.get(f), f, FILES[f], problems) for f in TABLES}
    about = toml.section("boat")
    today = about.date("today") or date.today().isoformat()
    return BoatPapers(
        folder=folder,
        place=place,
        toml=toml,
        tables=tables,
        currency=money.currency,
        today=today,
        units=units_of(tables["units.csv"], today),
        **about.these("name", "base", "figures"),
    )


def units_of(table: Table, today: str) -> tuple[BoatUnit, ...]:
    """The units that a table lists, faults noted."""
    rows, _ = named_rows(table.rows, "unit", table.whole)
    return tuple(_unit(row, name, today) for row, name in rows)


def _unit(row: Row, name: str, today: str) -> BoatUnit:
    if row.date("fitted_on") > today:
        row.fault("fitted_on", shown(row.date("fitted_on")), f"write a day up to {today}")
    given, sizes = row.text("kind"), tuple(row.listed("standard_sizes"))
    kind, count = match_kind(given or name).kind or given, row.whole("count") or 1
    return row.record(BoatUnit, unit=name, kind=kind, count=count, standard_sizes=sizes, source=row.source)


def age_years(unit: BoatUnit, today: str) -> float | None:
    """Years since a unit was fitted or renewed; None where no day is given."""
    if not unit.fitted_on:
        return None
    return (date.fromisoformat(today) - date.fromisoformat(unit.fitted_on)).days / DAYS_A_YEAR


# ---- beneath a case ------------------------------------------------------------------------------
def papers_of(case_folder: Path, problems: Problems) -> BoatPapers | None:
    """The papers of a case's boat; her faults stop here, as they are none of the case's. None for a case alone."""
    home = boat_folder(case_folder)
    if home is None:
        return None
    place = f"{FROZEN}/" if home.parent == Path(os.path.realpath(case_folder)) else "../../"
    own = Problems()
    papers = read_papers(home, own, place)
    for fault in own.faults:
        problems.add(f"{place}{fault.file}", fault.row, fault.column, fault.found, fault.write)
    return papers


def lay_toml(papers: BoatPapers, toml: TomlFile) -> None:
    """Fill what case.toml leaves out with what boat.toml and the row of the unit say."""
    _same_money(papers, toml)
    for name in SHARED:
        given = papers.toml.data.get(name)
        if isinstance(given, dict) and isinstance(toml.data.setdefault(name, {}), dict):
            _lay(papers, toml, name, given, toml.data[name])
    _lay_unit(papers, toml)


def _same_money(papers: BoatPapers, toml: TomlFile) -> None:
    """Amounts of the boat are in her money: a case in another would take them for its own."""
    hers = key(papers.toml.section("money").text("currency"))
    own = toml.section("money").text("currency")
    if own and hers and key(own) != hers:
        write = f"leave it out: the boat's money is {hers.upper()}, and its rates hold for each of her jobs"
        toml.section("money").fault("currency", shown(own), write)


def _lay(papers: BoatPapers, toml: TomlFile, section: str, given: dict[str, Any], own: dict[str, Any]) -> None:
    """Lay one section, and those within it, beneath the case's own."""
    for name, value in given.items():
        if isinstance(value, dict) and name not in own and section in ("money", "labour"):
            own[name] = {}
        if isinstance(value, dict) and isinstance(own.get(name), dict):
            _lay(papers, toml, f"{section}.{name}", value, own[name])
        elif name not in own:
            own[name] = value
            line = papers.toml.lines.get(f"{section}.{name}")
            toml.inherited[f"{section}.{name}"] = Source(f"{papers.place}{BOAT}", line, name)
            papers.taken.append(f"{BOAT}: {section}.{name}")


def _lay_unit(papers: BoatPapers, toml: TomlFile) -> None:
    """What units.csv knows of the failed unit, if the case calls it by that name."""
    unit, figures = toml.data.get("unit"), papers.toml.section("boat").text("figures")
    if not isinstance(unit, dict):
        return
    if figures:
        unit.setdefault("figures", figures)
    named = key(str(unit.get("name", "")))
    row = next((u for u in papers.units if named and key(u.unit) == named), None)
    if row is None:
        return
    source = replace(row.source, file=f"{papers.place}{row.source.file}")
    known: dict[tuple[str, str], Any] = {
        ("unit", "kind"): row.kind or None,
        ("unit", "age_years"): age_years(row, papers.today),
        ("years", "hours_a_year"): row.hours_a_year,
        ("years", "like_units"): row.count if row.count > 1 else None,
    }
    for (section, name), value in known.items():
        into = {} if value is None else toml.data.setdefault(section, {})
        path = f"{section}.{name}"
        if value is not None and isinstance(into, dict) and (name not in into or path in toml.inherited):
            into[name] = value
            toml.inherited[path] = replace(source, note=name)
            papers.taken = [t for t in papers.taken if t != f"{BOAT}: {path}"]
            papers.taken.append(f"units.csv: {name} of {row.unit}")


def lay_tables(papers: BoatPapers, tables: dict[str, Table]) -> None:
    """Suppliers of the boat that the case's quotes name and its own list lacks, with their carriage."""
    wanted = _names(tables["quotes.csv"]) - _names(tables["suppliers.csv"])
    for file in ("suppliers.csv", "carriage.csv"):
        lacking = wanted - _names(tables[file])
        rows = [r for r in papers.tables[file].rows if key(r.text("supplier")) in lacking]
        if rows:
            fresh = [replace(r, file=f"{papers.place}{file}", problems=Problems(), bad=set()) for r in rows]
            tables[file] = replace(tables[file], rows=[*tables[file].rows, *fresh])
            papers.taken += [f"{file}: {name}" for name in dict.fromkeys(r.text("supplier") for r in rows)]


def _names(table: Table) -> set[str]:
    return {key(r.text("supplier")) for r in table.rows} - {""}


def frozen_papers(case: Case, today: str) -> dict[str, bytes]:
    """Copies of what a case took from its boat, by name, for one that is frozen on a day; none for a case alone."""
    home = boat_folder(case.folder)
    if home is None:
        return {}
    names = {name: name for name in (BOAT, *TABLES)} | {f"{LOG}/{LEARNED}": LEARNED}
    inside = home_of(home)
    files = {f"{FROZEN}/{to}": (inside / n).read_bytes() for n, to in names.items() if (inside / n).is_file()}
    if is_workbook(home):
        book = read_case_workbook(home, Problems(), BOAT, TABLES)
        sheets = {name: sheet_csv(sheet) for name, sheet in book.tables.items()}
        files |= {f"{FROZEN}/{name}": data for name, data in {BOAT: book.toml, **sheets}.items()}
    text = files[f"{FROZEN}/{BOAT}"].decode("utf-8", "surrogateescape")
    if "today" not in read_toml(files[f"{FROZEN}/{BOAT}"], Problems(), BOAT).section("boat").cells:
        text = text.replace("[boat]", f'[boat]\ntoday = "{today}"', 1)
    columns = tuple(f.name for f in fields(OnHand))
    stock = [["; ".join(x.units) if c == "units" else getattr(x, c) for c in columns] for x in case.stock]
    files[f"{FROZEN}/{ON_HAND}"] = csv_text([columns, *stock], end="\n").encode("utf-8")
    return {**files, f"{FROZEN}/{BOAT}": text.encode("utf-8", "surrogateescape")}


def frozen_stock(folder: Path, problems: Problems) -> tuple[OnHand, ...]:
    """The spares aboard as they were when a case was frozen; none for any other case."""
    path = folder / FROZEN / ON_HAND
    table = read_table(path if path.is_file() else None, ON_HAND, FILES[ON_HAND], problems)
    return tuple(
        row.record(OnHand, units=tuple(row.listed("units")), quantity=row.whole("quantity") or 0) for row in table.rows
    )
