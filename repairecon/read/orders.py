"""What an owner sends to suppliers, requests for quotes and orders, and what came by orders in actual.csv."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from decimal import Decimal
from pathlib import Path

from repairecon.read.boat import JOBS, SHARED, BoatPapers
from repairecon.read.columns import CASE, FILES
from repairecon.read.files import Value, check_own, csv_text, file_names, same_kind, workbook_bytes, write_all
from repairecon.read.price_list import COLUMNS_FILE
from repairecon.read.problems import clean, key
from repairecon.read.sheets import CsvTable, read_csv_table
from repairecon.read.starter import empty_folder
from repairecon.read.tables import Table
from repairecon.read.toml_file import toml_lines
from repairecon.read.values import MONEY, Misread, figure, number, plain
from repairecon.records import OrderLine, OrderTotal, RepaireconError

_ASKED = ("item", "designation", "material", "pieces", "price", "pack", "lead_days")
"""What a request asks; what the supplier fills in is what ``import-quotes`` reads, ``pieces`` apart."""
_PART = ("part", "quantity", "needed", "standard_size", "material")
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
ACTUAL_FILE = "actual.csv"
_NONE = Decimal(0)


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
    parts: Rows = [[x.item, max(int(x.pieces), 1), "always", x.designation, x.material] for x in lines]
    kept = [h for h in _ASKED if h != "pieces"]
    files = {
        CASE: "\n".join(_case(papers)), "parts.csv": csv_text([_PART, *parts], end="\n"),
        COLUMNS_FILE: _text(COLUMNS_FILE, [{"supplier": s, "column": h, "heading": h} for s in sellers for h in kept]),
    }  # fmt: skip
    files |= {name: _of_these(papers.tables[name], sellers) for name in ("suppliers.csv", "carriage.csv")}
    requests = {
        f"request_{name}.csv": csv_text(_request(lines, seller), defuse=True).encode("utf-8-sig")
        for name, seller in zip(file_names(sellers), sellers, strict=True)
    }
    write_all(folder, {**{name: text.encode() for name, text in files.items()}, **requests})
    return tuple(folder / name for name in requests)


def _request(lines: Sequence[AskLine], seller: str) -> list[Sequence[Value]]:
    rows: list[Sequence[Value]] = [_ASKED]
    for x in (line for line in lines if seller in line.suppliers):
        many: Value = figure(x.pieces)
        many = many if x.measure == "piece" else f"{many} {x.measure}"
        rows.append([x.item, x.designation, x.material, many, None, None, None])
    return rows


def _case(papers: BoatPapers) -> Iterator[str]:
    yield "# What to buy for the boat, as a list to compare quotes by; no unit has failed."
    yield from toml_lines("[unit]", {"name": "shopping list", "safety": []})
    for name in SHARED:
        if name in papers.toml.data and name not in ("labour", "years"):
            yield from toml_lines(f"[{name}]", papers.toml.data[name])


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
    first = _FIRST
    while key(first) in of:  # a supplier of that name has the sheet
        first = f"all {first}"
    files, sheets = {}, {first: _rows(dict.fromkeys(_TOTALS), _all_totals(of, totals, home_currency))}
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
        "goods": total.quoted_goods, "discount": -total.quoted_discount, "carriage": total.quoted_carriage,
        "card fee and insurance": total.quoted_fees, "core surcharge, refunded against the old ones": total.quoted_core,
        "total to pay the supplier": total.quoted_total,
    }  # fmt: skip
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


# ---- receipts ------------------------------------------------------------------------------------
@dataclass(frozen=True, kw_only=True)
class Came:
    """What has come of a part by orders [home money, whole cents]: ``paid`` but carriage, ``days`` the longest wait.

    ``booked`` pieces came into the book when the job was closed: its sheet had them already.
    """

    pieces: Decimal = _NONE
    paid: Decimal = _NONE
    carriage: Decimal = _NONE
    days: int | None = None
    booked: Decimal = _NONE

    def __add__(self, more: Came) -> Came:
        sums = {n: getattr(self, n) + getattr(more, n) for n in ("pieces", "paid", "carriage", "booked")}
        return Came(days=max((d for d in (self.days, more.days) if d is not None), default=None), **sums)


def write_receipts(folder: Path, before: Mapping[str, Came], after: Mapping[str, Came]) -> list[str]:
    """Bring what has come since ``before``, or was taken back, into the actual.csv of a job if it is there.

    Returns sentences on the rows that were left as the owner wrote them.
    """
    path = folder / ACTUAL_FILE
    changed = [p for p in {**before, **after} if _of_orders(before, p) != _of_orders(after, p)]
    if not path.is_file() or not changed:
        return []
    table, notes, carriage = read_csv_table(path, FILES[ACTUAL_FILE].known), [], _NONE
    for part in changed:
        was, now = before.get(part, Came()), after.get(part, Came())
        at = _row_of(table, ("part", "unit"), part)
        row = table.cells(at)
        bought = _bought(row, was, bool(_found_in(table, ("refund",), part)))
        if bought is None:
            came = now.pieces + now.booked
            notes.append(f"{folder.name}/{ACTUAL_FILE}: {part} stays as you wrote it; by the book {came} came")
            continue
        made = {"paid": _amount((_said(row, "paid") or _NONE) + now.paid - was.paid)}
        if row.get("kind", "").casefold() == "part":
            made["bought"] = _amount(bought + now.pieces - was.pieces)
        if row.get("days", "") in ("", str(was.days)):
            made["days"] = "" if now.days is None else str(now.days)
        table.put(at, made)
        carriage += now.carriage - was.carriage
    if carriage:
        at = _row_of(table, ("carriage",), "all")
        paid = _said(table.cells(at), "paid")
        if paid is None:
            notes.append(f"{folder.name}/{ACTUAL_FILE}: carriage stays as you wrote it; by the book {carriage} more")
        else:
            table.put(at, {"paid": _amount(paid + carriage)})
    write_all(folder, {ACTUAL_FILE: table.data()}, replace=True)
    return notes


def _found_in(table: CsvTable, kinds: tuple[str, ...], name: str) -> int:
    rows = ((at, table.cells(at)) for at in table.rows())
    same = (at for at, row in rows if row.get("kind", "").casefold() in kinds and key(row.get("name", "")) == key(name))
    return next(same, 0)


def _row_of(table: CsvTable, kinds: tuple[str, ...], name: str) -> int:
    return _found_in(table, kinds, name) or table.add({"kind": kinds[0], "name": name})


def _of_orders(came: Mapping[str, Came], part: str) -> Came:
    return replace(came.get(part, Came()), booked=_NONE)


def _bought(row: Mapping[str, str], was: Came, core: bool) -> Decimal | None:
    """Pieces that a row says were bought; None where it says other than deliveries and the closing of the job did."""
    said, paid = _said(row, "bought"), _said(row, "paid")
    if row.get("kind", "").casefold() == "unit":  # a core surcharge comes back: what was paid is the owner's to write
        said = was.pieces if paid == was.paid and not core else None
    elif not row.get("bought", "") and (row.get("paid", "") or was.booked):  # as many as were fitted
        said = _said(row, "quantity")
    with_tax = row.get("vat", "").casefold() in ("", "in")
    return said if with_tax and paid is not None and said in (was.pieces, was.pieces + was.booked) else None


def _said(row: Mapping[str, str], column: str) -> Decimal | None:
    read = number(row.get(column, "") or "0", MONEY)
    return None if isinstance(read, Misread) else Decimal(str(read))


def _amount(amount: Decimal) -> str:
    return plain(float(amount)) if amount else ""
