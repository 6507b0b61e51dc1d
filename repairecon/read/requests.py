"""Requests for quotes: a file a supplier to fill in, and the folder in which what comes back becomes quotes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from repairecon.read.boat import JOBS, SHARED, BoatPapers
from repairecon.read.columns import CASE, FILES
from repairecon.read.files import Value, csv_text, file_names, write_all
from repairecon.read.price_list import COLUMNS_FILE
from repairecon.read.problems import clean, key
from repairecon.read.tables import Table
from repairecon.read.toml_file import toml_lines
from repairecon.read.values import figure
from repairecon.records import RepaireconError

HEADINGS = ("item", "designation", "material", "pieces", "price", "pack", "lead_days")
"""What a request asks; what the supplier fills in is what ``import-quotes`` reads, ``pieces`` apart."""


@dataclass(frozen=True, kw_only=True)
class AskLine:
    """Something to ask for: ``pieces`` of an item (or metres, litres, kilograms) from ``suppliers``, ``why`` in words.

    ``measure`` is what it is counted in.
    """

    item: str
    designation: str
    material: str
    pieces: float
    measure: str
    suppliers: tuple[str, ...]
    why: tuple[str, ...]


def write_requests(folder: Path, lines: Sequence[AskLine], papers: BoatPapers) -> tuple[Path, ...]:
    """Write ``request_SUPPLIER.csv`` a supplier, and beside them a case in which the answers are compared.

    ``folder`` is new or empty, and none within the boat's ``jobs``, which are units that failed; of the boat's papers
    her money, suppliers and their carriage go along. Gives the requests. RepaireconError is raised if there is nothing
    to ask for, or the folder will not do; nothing is written then.
    """
    if not lines:
        raise RepaireconError("there is nothing to ask for")
    if folder.resolve().parent.name == JOBS:
        raise RepaireconError(f"{clean(str(folder))}: a list to buy is no unit that failed; write it outside {JOBS}")
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise RepaireconError(f"{clean(str(folder))} is there already and not empty; write to a new folder")
    sellers = list(dict.fromkeys(s for line in lines for s in line.suppliers))
    files = {CASE: "\n".join(_case(papers)), "parts.csv": _parts(lines), COLUMNS_FILE: _columns(sellers)}
    files |= {name: _table(papers.tables[name], sellers) for name in ("suppliers.csv", "carriage.csv")}
    requests = {
        f"request_{name}.csv": csv_text(_request(lines, seller), defuse=True).encode("utf-8-sig")
        for name, seller in zip(file_names(sellers), sellers, strict=True)
    }
    write_all(folder, {**{name: text.encode() for name, text in files.items()}, **requests})
    return tuple(folder / name for name in requests)


def _request(lines: Sequence[AskLine], seller: str) -> list[Sequence[Value]]:
    mine = [line for line in lines if seller in line.suppliers]
    return [HEADINGS, *([x.item, x.designation, x.material, _many(x), None, None, None] for x in mine)]


def _many(line: AskLine) -> Value:
    whole = figure(line.pieces)
    return whole if line.measure == "piece" else f"{whole} {line.measure}"


def _case(papers: BoatPapers) -> Iterator[str]:
    yield "# What to buy for the boat, as a list to compare quotes by; no unit has failed."
    yield from toml_lines("[unit]", {"name": "shopping list", "safety": []})
    for name in SHARED:
        if name in papers.toml.data and name not in ("labour", "years"):
            yield from _section(name, papers.toml.data[name])


def _section(name: str, given: Mapping[str, Any]) -> Iterator[str]:
    yield from toml_lines(f"[{name}]", {k: v for k, v in given.items() if not isinstance(v, dict)})
    for inner, value in given.items():
        if isinstance(value, dict):
            yield from _section(f"{name}.{inner}", value)


def _parts(lines: Sequence[AskLine]) -> str:
    rows: list[list[Value]] = [[x.item, max(int(x.pieces), 1), "always", x.designation, x.material] for x in lines]
    return csv_text([("part", "quantity", "needed", "standard_size", "material"), *rows], end="\n")


def _columns(sellers: Sequence[str]) -> str:
    names = FILES[COLUMNS_FILE].columns
    asked = [h for h in HEADINGS if h != "pieces"]
    rows: list[list[Value]] = [[s, h, h, *[""] * (len(names) - 3)] for s in sellers for h in asked]
    return csv_text([names, *rows], end="\n")


def _table(table: Table, sellers: Sequence[str]) -> str:
    names = FILES[table.file].columns
    asked = {key(s) for s in sellers}
    rows = [[row.cells.get(c, "") for c in names] for row in table.rows if key(row.text("supplier")) in asked]
    known = {key(row.text("supplier")) for row in table.rows}
    if table.file == "suppliers.csv":
        rows += [[s if c == "supplier" else "" for c in names] for s in sellers if key(s) not in known]
    return csv_text([names, *rows], end="\n")
