"""What an owner sends to suppliers: requests for quotes, and orders; the landed costs go into one's own file."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from decimal import Decimal
from pathlib import Path

from repairecon.read.boat import JOBS, SHARED, BoatPapers
from repairecon.read.columns import CASE, FILES
from repairecon.read.files import Value, check_own, csv_text, file_names, same_kind, workbook_bytes, write_all
from repairecon.read.price_list import COLUMNS_FILE
from repairecon.read.problems import clean, key
from repairecon.read.starter import empty_folder
from repairecon.read.tables import Table
from repairecon.read.toml_file import toml_lines
from repairecon.read.values import figure
from repairecon.records import OrderLine, OrderTotal, RepaireconError

_ASKED = ("item", "designation", "material", "pieces", "price", "pack", "lead_days")
"""What a request asks; what the supplier fills in is what ``import-quotes`` reads, ``pieces`` apart."""
WORKBOOK = "own_landed.xlsx"
LANDED = "landed, duty and tax included"
"""The row of an order that holds its total in home money."""
_SENT = {
    "part": "item", "designation": "designation", "material": "material", "packs": "packs", "pieces a pack": "pack",
    "pieces": "pieces", "price a pack": "quoted", "price": "line", "currency": "currency", "ship to": "ship_to",
}  # fmt: skip
"""Headings of an order as the supplier reads it, what and how much at the prices quoted; and what stands below each."""
_OWN = {
    "item": "item", "designation": "designation", "part_class": "part_class", "packs": "packs",
    "pieces_a_pack": "pack", "pieces": "pieces", "quoted_a_pack": "quoted", "quoted_line": "line",
    "currency": "currency", "source": "source", "note": "note",
}  # fmt: skip
_MONEY = ("quoted_goods", "quoted_discount", "quoted_carriage", "quoted_fees", "quoted_core", "quoted_total")
_TOTALS = ("supplier", "lines", *_MONEY, "currency", "cost_landed", "home_currency", "lead_days", "note")
_FIRST = "orders"
"""Sheet of one's own file with a row a supplier."""
Row = Mapping[str, Value]
Rows = list[list[Value]]


# ---- requests ------------------------------------------------------------------------------------
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
    empty_folder(folder)
    sellers = list(dict.fromkeys(s for line in lines for s in line.suppliers))
    files = {CASE: "\n".join(_case(papers)), "parts.csv": _parts(lines), COLUMNS_FILE: _columns(sellers)}
    files |= {name: _of_these(papers.tables[name], sellers) for name in ("suppliers.csv", "carriage.csv")}
    requests = {
        f"request_{name}.csv": csv_text(_request(lines, seller), defuse=True).encode("utf-8-sig")
        for name, seller in zip(file_names(sellers), sellers, strict=True)
    }
    write_all(folder, {**{name: text.encode() for name, text in files.items()}, **requests})
    return tuple(folder / name for name in requests)


def _request(lines: Sequence[AskLine], seller: str) -> list[Sequence[Value]]:
    mine = [line for line in lines if seller in line.suppliers]
    return [_ASKED, *([x.item, x.designation, x.material, _many(x), None, None, None] for x in mine)]


def _many(line: AskLine) -> Value:
    whole = figure(line.pieces)
    return whole if line.measure == "piece" else f"{whole} {line.measure}"


def _case(papers: BoatPapers) -> Iterator[str]:
    yield "# What to buy for the boat, as a list to compare quotes by; no unit has failed."
    yield from toml_lines("[unit]", {"name": "shopping list", "safety": []})
    for name in SHARED:
        if name in papers.toml.data and name not in ("labour", "years"):
            yield from toml_lines(f"[{name}]", papers.toml.data[name])


def _parts(lines: Sequence[AskLine]) -> str:
    rows: Rows = [[x.item, max(int(x.pieces), 1), "always", x.designation, x.material] for x in lines]
    return csv_text([("part", "quantity", "needed", "standard_size", "material"), *rows], end="\n")


def _columns(sellers: Sequence[str]) -> str:
    asked = [h for h in _ASKED if h != "pieces"]
    return _text(COLUMNS_FILE, [{"supplier": s, "column": h, "heading": h} for s in sellers for h in asked])


def _of_these(table: Table, sellers: Sequence[str]) -> str:
    """The rows of some suppliers; who is not in the list of suppliers yet stands there with the name alone."""
    asked, known = {key(s) for s in sellers}, {key(row.text("supplier")) for row in table.rows}
    new = [{"supplier": s} for s in sellers if table.file == "suppliers.csv" and key(s) not in known]
    return _text(table.file, [*(row.cells for row in table.rows if key(row.text("supplier")) in asked), *new])


def _text(file: str, rows: Sequence[Row]) -> str:
    return csv_text(_rows(dict.fromkeys(FILES[file].columns), rows), end="\n")


# ---- orders --------------------------------------------------------------------------------------
def write_orders(
    folder: str | os.PathLike[str],
    lines: Sequence[OrderLine],
    totals: Sequence[OrderTotal],
    home_currency: str,
    ship_to: str = "",
) -> tuple[Path, ...]:
    """Write ``order_<supplier>.csv`` to send, in the supplier's money, and ``own_landed.xlsx`` to keep.

    ``lines`` are what is bought, a line a quote; ``totals`` what each supplier's order comes to, figures written as
    given. Gives the orders, then one's own file. RepaireconError is raised if there is nothing to order, a supplier
    lacks its total or its lines, a file of that name is there that is no earlier one of these or is a link, or it
    cannot be written; nothing is written then.
    """
    if not lines:
        raise RepaireconError("there is nothing to order")
    of = {key(t.supplier): [line for line in lines if key(line.supplier) == key(t.supplier)] for t in totals}
    if len(of) != len(totals) or of.keys() != {key(line.supplier) for line in lines}:
        raise RepaireconError("each supplier's order needs its lines and one total")
    files, sheets = {}, {_FIRST: _rows(dict.fromkeys(_TOTALS), _all_totals(of, totals, home_currency))}
    for name, total in zip(file_names(t.supplier for t in totals), totals, strict=True):
        order = [*map(_line, of[key(total.supplier)]), *_sums(total)]
        sent = _rows(_SENT, [{"ship_to": ship_to, **row} if "quoted" in row else row for row in order])
        files[f"order_{name}.csv"] = csv_text(sent, defuse=True).encode("utf-8-sig")
        landed: Row = {"item": LANDED, "line": total.cost_landed, "currency": home_currency}
        sheets[total.supplier] = _rows(_OWN, [*order, landed])
    files[WORKBOOK] = workbook_bytes(sheets)
    target = Path(folder)
    there = [name for name in files if os.path.lexists(target / name)]
    foreign = []
    for name in there:
        try:
            check_own(target / name, files[name])
        except RepaireconError as error:
            foreign.append(str(error))
    if foreign:
        raise RepaireconError("\n".join(foreign))
    write_all(target, files, replace=bool(there))
    return tuple(target / name for name in files)


def earlier_orders(folder: Path, written: Sequence[Path]) -> tuple[str, ...]:
    """Names of orders in a folder that were not written this time: they are of an earlier run and not to be sent."""
    others = (p for p in folder.glob("order_*.csv") if p not in written)
    return tuple(sorted(p.name for p in others if same_kind(p, csv_text([list(_SENT)]).encode())))


def _rows(headings: Mapping[str, str | None], rows: Iterable[Row]) -> Rows:
    return [list(headings), *([row.get(under or heading) for heading, under in headings.items()] for row in rows)]


def _line(line: OrderLine) -> Row:
    """A line with packs times price as written: no cents are lost to binary fractions."""
    total = float(Decimal(str(line.quoted)) * line.packs)
    return {**asdict(line), "pieces": line.pieces, "line": total, "source": str(line.source)}


def _sums(total: OrderTotal) -> list[Row]:
    sums = {
        "goods": total.quoted_goods,
        "discount": -total.quoted_discount,
        "carriage": total.quoted_carriage,
        "card fee and insurance": total.quoted_fees,
        "core surcharge, refunded against the old ones": total.quoted_core,
        "total to pay the supplier": total.quoted_total,
    }
    last = list(sums)[-1]
    said = {name: amount for name, amount in sums.items() if amount or name in ("goods", "carriage", last)}
    return [
        {"item": name, "line": amount, "currency": total.currency, "note": total.note if name == last else ""}
        for name, amount in said.items()
    ]


def _all_totals(of: Mapping[str, Sequence[OrderLine]], totals: Sequence[OrderTotal], home: str) -> list[Row]:
    rows: list[Row] = [{**asdict(t), "lines": len(of[key(t.supplier)]), "home_currency": home} for t in totals]
    landed = float(sum((Decimal(str(t.cost_landed)) for t in totals), Decimal(0)))
    many = sum(map(len, of.values()))
    return [*rows, {"supplier": "all", "lines": many, "cost_landed": landed, "home_currency": home}]
