"""A boat's folder: what stands there once, and spares aboard, beneath each case in her ``jobs``."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from datetime import date
from math import exp
from pathlib import Path
from typing import Any

from repairecon.kinds import match_kind
from repairecon.read.columns import BOAT, BOAT_SECTIONS, CASE, FILES
from repairecon.read.files import csv_text
from repairecon.read.problems import Problems, key, shown
from repairecon.read.reading import Defaults, LabourBook, Money, named_rows
from repairecon.read.tables import Row, Table, read_table
from repairecon.read.toml_file import TomlFile, read_toml
from repairecon.read.values import plain
from repairecon.read.workbook import is_workbook, read_case_workbook
from repairecon.records import DAYS_A_YEAR, BoatUnit, Case, FromStock, OnHand, Part, Source, Unit
from repairecon.standards.equivalents import equivalent

JOBS, LOG, LEARNED, BOOK, ON_HAND = "jobs", "log", "learned.toml", "spares.book", "on_hand.csv"
WORKBOOK = "boat.xlsx"  # a boat's files in one: hers where no boat.toml stands beside it
FROZEN = "boat"  # folder of a frozen case that holds what it took from the boat

TABLES = ("units.csv", "suppliers.csv", "carriage.csv")
SHARED = tuple(name for name in BOAT_SECTIONS if "." not in name)
FIT_SPARE = "fit the spare aboard"
_WORD = re.compile(r"\w+")


def boat_folder(case_folder: str | os.PathLike[str]) -> Path | None:
    """The boat of a case: the folder that holds ``jobs``, her workbook in it, or the copy in a frozen case, or None."""
    place = Path(os.path.realpath(case_folder))
    home = place.parent.parent
    around = {home / BOAT: home, home / WORKBOOK: home / WORKBOOK} if place.parent.name == JOBS else {}
    around = {place / FROZEN / BOAT: place / FROZEN, **around}
    return next((boat for file, boat in around.items() if file.is_file()), None)


def home_of(boat: Path) -> Path:
    return boat.parent if is_workbook(boat) else boat


def book_path(boat: Path) -> Path | None:
    """Her spares book: ``spares.book``, or a folder ``spares`` of CSV files, to be read only; None without either."""
    paths = (home_of(boat) / BOOK, home_of(boat) / Path(BOOK).stem)
    return next((path for path in paths if path.is_file() or (path / "items.csv").is_file()), None)


def boat_around(book: str | os.PathLike[str]) -> Path | None:
    """The boat's folder in which a spares book lies, or that is named in its place; None for a book alone."""
    place = Path(os.path.realpath(book))
    return next((home for home in (place, place.parent) if (home / BOAT).is_file()), None)


@dataclass(kw_only=True)
class BoatPapers:
    folder: Path
    place: str  # how a case's sources call her folder
    toml: TomlFile
    tables: dict[str, Table]
    currency: str
    exchange: Mapping[str, float]
    today: str  # to which ages are counted
    name: str
    base: str
    figures: str
    units: tuple[BoatUnit, ...]
    taken: list[str] = field(default_factory=list)  # what a case took from her files

    @property
    def log(self) -> Path:
        """Where what her jobs teach lies: in a frozen case beside the copies of her files."""
        return self.folder if self.folder.name == FROZEN else home_of(self.folder) / LOG

    @property
    def jobs(self) -> tuple[str, ...]:
        places = (home_of(self.folder) / JOBS).glob("[!.~]*")
        return tuple(str(p) for p in sorted(places) if is_workbook(p) or (p / CASE).is_file())


def read_boat(folder: str | os.PathLike[str]) -> BoatPapers:
    """Read a boat's folder, or a workbook of hers beside her jobs; CaseError has every fault of her own files."""
    problems = Problems()
    papers = read_papers(Path(folder), problems)
    problems.stop_if_any()
    return papers


def read_papers(folder: Path, problems: Problems, place: str = "") -> BoatPapers:
    """Read boat.toml and the tables beside it, every fault noted under ``place``."""
    book = read_case_workbook(folder, problems, BOAT, TABLES) if is_workbook(folder) else None
    toml = read_toml(book.toml if book else folder / BOAT, problems, BOAT, rows=book.rows if book else ())
    toml.check_sections()
    for name in SHARED:  # each key is checked here, so that a case's faults are those of its own files
        if name in toml.data and name != "labour":
            section = toml.section(name)
            for n in (n for n, column in section.declared.items() if column.type != "section"):
                section.read(n)
    money = Money(toml, Defaults())
    LabourBook(toml, money, Defaults())
    tables = {f: read_table(book.tables.get(f) if book else folder / f, f, FILES[f], problems) for f in TABLES}
    about = toml.section("boat")
    today = about.date("today") or date.today().isoformat()
    return BoatPapers(
        folder=folder, place=place, toml=toml, tables=tables, currency=money.currency, exchange=money.exchange,
        today=today,
        units=units_of(tables["units.csv"], today),
        name=about.text("name"), base=about.text("base"), figures=about.read("figures"),
    )  # fmt: skip


def today_of(home: Path) -> date:
    return date.fromisoformat(read_papers(home, Problems()).today)


def units_of(table: Table, today: str) -> tuple[BoatUnit, ...]:
    made = []
    for row, name in named_rows(table.rows, "unit", table.whole)[0]:
        if row.date("fitted_on") > today:
            row.fault("fitted_on", shown(row.date("fitted_on")), f"write a day up to {today}")
        given, sizes = row.text("kind"), tuple(row.listed("standard_sizes"))
        kind, count = match_kind(given or name).kind or given, row.whole("count") or 1
        made.append(row.record(BoatUnit, unit=name, kind=kind, count=count, standard_sizes=sizes, source=row.source))
    return tuple(made)


def age_years(unit: BoatUnit, today: str) -> float | None:
    """Years since a unit was fitted or renewed; None where no day is given."""
    day = date.fromisoformat(unit.fitted_on) if unit.fitted_on else None
    return (date.fromisoformat(today) - day).days / DAYS_A_YEAR if day else None


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
    hers, money = key(papers.toml.section("money").text("currency")), toml.section("money")
    own = money.text("currency")
    if own and hers and key(own) != hers:  # a case in other money would take amounts of the boat for its own
        write = f"leave it out: the boat's money is {hers.upper()}, and its rates hold for each of her jobs"
        money.fault("currency", shown(own), write)
    for name in SHARED:
        given = papers.toml.data.get(name)
        if isinstance(given, dict) and isinstance(toml.data.setdefault(name, {}), dict):
            _lay(papers, toml, name, given, toml.data[name])
    _lay_unit(papers, toml)


def _lay(papers: BoatPapers, toml: TomlFile, section: str, given: dict[str, Any], own: dict[str, Any]) -> None:
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
    row = next((u for u in papers.units if u.unit and key(u.unit) == named), None)
    if row is None:
        return
    known = {
        "unit.kind": row.kind or None, "unit.age_years": age_years(row, papers.today),
        "years.hours_a_year": row.hours_a_year, "years.like_units": row.count if row.count > 1 else None,
    }  # fmt: skip
    for path in (path for path, value in known.items() if value is not None):
        section, name = path.split(".")
        into = toml.data.setdefault(section, {})
        if isinstance(into, dict) and (name not in into or path in toml.inherited):
            into[name] = known[path]
            toml.inherited[path] = replace(row.source, file=f"{papers.place}{row.source.file}", note=name)
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
    files = {to: (inside / name).read_bytes() for name, to in names.items() if (inside / name).is_file()}
    if is_workbook(home):
        files |= read_case_workbook(home, Problems(), BOAT, TABLES).files(BOAT)
    if "today" not in read_toml(files[BOAT], Problems(), BOAT).section("boat").cells:
        files[BOAT] = files[BOAT].replace(b"[boat]", f'[boat]\ntoday = "{today}"'.encode(), 1)
    columns = tuple(f.name for f in fields(OnHand))
    stock = [["; ".join(x.units) if c == "units" else getattr(x, c) for c in columns] for x in case.stock]
    files[ON_HAND] = csv_text([columns, *stock], end="\n").encode("utf-8")
    return {f"{FROZEN}/{name}": data for name, data in files.items()}


def frozen_stock(folder: Path, problems: Problems) -> tuple[OnHand, ...]:
    """The spares aboard as they were when a case was frozen; none for any other case."""
    rows = read_table(folder / FROZEN / ON_HAND, ON_HAND, FILES[ON_HAND], problems).rows
    return tuple(
        row.record(OnHand, units=tuple(row.listed("units")), quantity=row.whole("quantity") or 0) for row in rows
    )


# ---- spares aboard ---------------------------------------------------------------------------------
def lay_stock(
    stock: Sequence[OnHand], unit: Unit, tables: dict[str, Table], today: date, *, only_say: bool = False
) -> tuple[FromStock, ...]:
    """Take what lies aboard in date into the parts, quotes and ways of a case, whose changed ``tables`` are replaced.

    ``only_say`` leaves them as they are: an order is for what is not there, at the prices quoted.
    """
    left, taken, rows = list(stock), [], []
    for row in tables["parts.csv"].rows:
        words = {name: row.text(name) for name in ("part", "standard_size", "fluid", "material")}
        part = Part(**words, makers_only=bool(row.yes("makers_only")),  # type: ignore[arg-type]
                    description="", quantity=1, needed="", price=None, lead_days=None, source=row.source)  # fmt: skip
        found = next((x for x in left if not x.whole and same_part(x, part, unit)), None)
        if found is not None:
            left.remove(found)
            row, use = _from_stock(row, found, tables["events.csv"])
            taken.append(use)
        rows.append(row)
    if only_say:
        return tuple(taken)
    covered = {key(x.part) for x in taken if x.at_once}
    quotes = [q for q in tables["quotes.csv"].rows if key(q.text("item")) not in covered]
    tables["parts.csv"] = replace(tables["parts.csv"], rows=rows)
    tables["quotes.csv"] = replace(tables["quotes.csv"], rows=quotes)
    spare = next((x for x in left if x.whole and _serves(x, unit)), None)
    if spare is not None:
        ways = tables["ways.csv"]
        if all(row.choice("kind") != "own spare" for row in ways.rows):  # else the owner wrote one
            tables["ways.csv"] = replace(ways, rows=[*ways.rows, _fit(spare, today)])
        taken.append(FromStock(part=unit.name, item=spare.item, have=spare.quantity, wanted=1, at_once=True))
    return tuple(taken)


def _from_stock(row: Row, x: OnHand, events: Table) -> tuple[Row, FromStock]:
    """A part with a spare of it: if all lies there, at what replacing a piece costs and without a wait."""
    part = row.text("part")
    # pieces that the rebuild takes at most: those of the row, and as many as any outcome brings
    named = re.compile(rf"\b(\d+)\s+{re.escape(key(part))}\s*(?:;|$)")
    brought = (int(n) for branch in events.rows for n in named.findall(key(branch.text("parts"))))
    wanted = max(row.whole("quantity") or 1, *brought, 1)
    at_once = x.quantity >= wanted and (x.price is not None or row.has_range("price"))
    if at_once:
        price = {} if x.price is None else {**_sure("price", x.price), "vat": "in"}
        row = row.having(**_sure("lead_days", 0), **price)
    return row, FromStock(part=part, item=x.item, have=x.quantity, wanted=wanted, at_once=at_once)


def _sure(name: str, value: float) -> dict[str, str]:
    """Cells of a range that is one number."""
    return {f"{name}_{end}": plain(value) if end == "likely" else "" for end in ("low", "likely", "high", "shape")}


def same_part(x: OnHand, part: Part, unit: Unit) -> bool:
    """Whether a spare is a part of a unit: by size, every word understood; by name where one of the two has none."""
    size, alike = part.standard_size, _serves(x, unit) and named_alike(x.item, part.part, f"{unit.name} {unit.kind}")
    if part.makers_only and not x.makers_number:
        return False
    if not size or not x.designation:
        return alike
    same = equivalent(size, x.designation, fluid=part.fluid, material_wanted=part.material, material_offered=x.material)
    if same.verdict != "unknown":
        return same.verdict == "same"
    return key(size) == key(x.designation) and alike


def named_alike(item: str, part: str, unit: str) -> bool:
    """Whether two names hold the same words, whatever their order, those of the unit left out."""
    return _words(item) - _words(unit) == _words(part) - _words(unit) != set()


def _serves(x: OnHand, unit: Unit) -> bool:
    return bool({key(u) for u in x.units} & {key(unit.name), key(unit.kind)} - {""})


def _words(text: str) -> set[str]:
    return {w.rstrip("s") for w in _WORD.findall(text.casefold())}


def _fit(x: OnHand, today: date) -> Row:
    defaults, declared = Defaults(), FILES["ways.csv"]
    life, shape = float(defaults.peek("shelf_life_years")), float(defaults.peek("shelf_shape"))
    years = max((today - date.fromisoformat(x.since)).days, 0) / DAYS_A_YEAR
    p_dead = 1.0 - exp(-((years / life) ** shape))  # by its years on the shelf
    cells = dict.fromkeys(declared.columns, "") | {
        "way": FIT_SPARE, "kind": "own spare", "price_likely": "" if x.price is None else plain(x.price),
        "lead_days_likely": "0", "p_dead": plain(p_dead), "note": f"{x.item}, in the spares book",
    }  # fmt: skip
    return Row(file="spares.book", row=0, cells=cells, problems=Problems(), declared=declared.declared)
