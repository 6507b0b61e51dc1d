"""What an owner sends to suppliers, requests for quotes and orders, and what came by orders in actual.csv."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from typing import Any

from repairecon.read.boat import JOBS, SHARED, BoatPapers
from repairecon.read.columns import CASE, FILES
from repairecon.read.files import Value, check_own, csv_text, file_names, same_kind, workbook_bytes, write_all
from repairecon.read.lists_of_others import COLUMNS_FILE
from repairecon.read.problems import clean, key
from repairecon.read.sheets import CsvTable, read_csv_table
from repairecon.read.starter import empty_folder
from repairecon.read.toml_file import toml_lines
from repairecon.read.values import MONEY, Misread, figure, number, plain
from repairecon.records import RepaireconError, grouped

_ASKED = ("item", "designation", "material", "pieces", "price", "pack", "lead_days")
"""What a request asks; what the supplier fills in is what ``import-quotes`` reads, ``pieces`` apart."""
_PART = ("part", "quantity", "needed", "standard_size", "material")
WORKBOOK = "own_landed.xlsx"
LANDED = "landed, duty and tax included"  # the row of an order that holds its total in home money
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
_TOTALS = (
    "supplier", "lines", "quoted_goods", "quoted_discount", "quoted_carriage", "quoted_fees", "quoted_core",
    "quoted_total", "currency", "cost_landed", "home_currency", "lead_days", "note",
)  # fmt: skip
Row = Mapping[str, Value]
OrderRow = Mapping[str, Any]
Rows = list[list[Value]]
ACTUAL_FILE = "actual.csv"


# ---- requests ------------------------------------------------------------------------------------
@dataclass(frozen=True, kw_only=True)
class AskLine:
    """What to ask ``suppliers`` for, ``why`` in words: ``pieces``, or metres, litres, kilograms by ``measure``."""

    item: str
    designation: str
    material: str
    pieces: float
    measure: str
    suppliers: tuple[str, ...]
    why: tuple[str, ...]


def write_requests(folder: Path, lines: Sequence[AskLine], papers: BoatPapers) -> tuple[Path, ...]:
    """Write ``request_SUPPLIER.csv`` a supplier, and beside them a case in which the answers are compared.

    ``folder`` is new or empty; of the boat's papers money, suppliers and carriage go along. Gives the requests.
    """
    if not lines:
        raise RepaireconError("there is nothing to ask for")
    if folder.resolve().parent.name == JOBS:
        raise RepaireconError(f"{clean(str(folder))}: a list to buy is no unit that failed; write it outside {JOBS}")
    empty_folder(folder)
    sellers = list(dict.fromkeys(s for line in lines for s in line.suppliers))
    requests = {}
    for name, seller in zip(file_names(sellers), sellers, strict=True):
        wanted: Rows = [list(_ASKED)]
        for x in (line for line in lines if seller in line.suppliers):
            many = figure(x.pieces) if x.measure == "piece" else f"{figure(x.pieces)} {x.measure}"
            wanted.append([x.item, x.designation, x.material, many, None, None, None])
        requests[f"request_{name}.csv"] = csv_text(wanted, defuse=True).encode("utf-8-sig")
    write_all(folder, {**_case_to_compare(lines, sellers, papers), **requests})
    return tuple(folder / name for name in requests)


def _case_to_compare(lines: Sequence[AskLine], sellers: Sequence[str], papers: BoatPapers) -> dict[str, bytes]:
    """Files of a case that takes in what the suppliers answer, under the headings of the requests."""
    case = ["# What to buy for the boat, as a list to compare quotes by; no unit has failed."]
    case += toml_lines("[unit]", {"name": "shopping list", "safety": []})
    for name in (n for n in SHARED if n in papers.toml.data and n not in ("labour", "years")):
        case += toml_lines(f"[{name}]", papers.toml.data[name])
    asked = set(map(key, sellers))
    suppliers, carriage = ([row.cells for row in papers.tables[file].rows if key(row.text("supplier")) in asked]
                           for file in ("suppliers.csv", "carriage.csv"))  # fmt: skip
    known = {key(row["supplier"]) for row in suppliers}
    # who is not in the list of suppliers yet stands there with the name alone
    suppliers += [{"supplier": s} for s in sellers if key(s) not in known]
    columns = [{"supplier": s, "column": h, "heading": h} for s in sellers for h in _ASKED if h != "pieces"]
    parts: list[Row] = [
        {"part": x.item, "quantity": max(int(x.pieces), 1), "needed": "always", "standard_size": x.designation,
         "material": x.material} for x in lines
    ]  # fmt: skip
    tables: dict[str, tuple[Iterable[str], Sequence[Row]]] = {
        "parts.csv": (_PART, parts), "suppliers.csv": (FILES["suppliers.csv"].columns, suppliers),
        "carriage.csv": (FILES["carriage.csv"].columns, carriage), COLUMNS_FILE: (FILES[COLUMNS_FILE].columns, columns),
    }  # fmt: skip
    texts = {file: csv_text(_rows(dict.fromkeys(heads), rows), end="\n") for file, (heads, rows) in tables.items()}
    return {file: text.encode() for file, text in {CASE: "\n".join(case), **texts}.items()}


# ---- orders --------------------------------------------------------------------------------------
def write_orders(
    folder: str | os.PathLike[str], lines: Sequence[OrderRow], totals: Sequence[OrderRow], home_currency: str,
    ship_to: str = "",
) -> tuple[Path, ...]:  # fmt: skip
    """Write ``order_<supplier>.csv`` to send, in the supplier's money, and ``own_landed.xlsx`` to keep; gives paths.

    A line is packs of one quote at the price that holds for so many (``_OWN`` has what it may hold), a total what a
    supplier's order comes to on the invoice and landed (``_TOTALS``); ``quoted_core`` will be refunded.
    RepaireconError, and nothing written, if a supplier lacks its total or its lines, or a file of that name is a link
    or no earlier one of these.
    """
    if not lines:
        raise RepaireconError("there is nothing to order")
    of = grouped(lines, lambda line: key(line["supplier"]))
    if len(of) != len(totals) or of.keys() != {key(t["supplier"]) for t in totals}:
        raise RepaireconError("each supplier's order needs its lines and one total")
    home: Row = {"home_currency": home_currency}
    landed_in_all = float(sum(Decimal(str(t["cost_landed"])) for t in totals))
    every: list[OrderRow] = [{**t, "lines": len(of[key(t["supplier"])]), **home} for t in totals]
    every.append({"supplier": "all", "lines": len(lines), "cost_landed": landed_in_all, **home})
    first = "orders"
    while key(first) in of:  # a supplier of that name has the sheet
        first = f"all {first}"
    files, sheets = {}, {first: _rows(dict.fromkeys(_TOTALS), every)}
    for name, total in zip(file_names(t["supplier"] for t in totals), totals, strict=True):
        bought = [  # packs times price as written: no cents are lost to binary fractions
            {**line, "pieces": line["packs"] * line["pack"], "source": str(line["source"]),
             "line": float(Decimal(str(line["quoted"])) * line["packs"])}
            for line in of[key(total["supplier"])]
        ]  # fmt: skip
        sums = _sums(total)
        sent = _rows(_SENT, [*({"ship_to": ship_to, **row} for row in bought), *sums])
        files[f"order_{name}.csv"] = csv_text(sent, defuse=True).encode("utf-8-sig")
        landed: Row = {"item": LANDED, "line": total["cost_landed"], "currency": home_currency}
        sheets[total["supplier"]] = _rows(_OWN, [*bought, *sums, landed])
    files[WORKBOOK] = workbook_bytes(sheets)
    target = Path(folder)
    there, foreign = [name for name in files if os.path.lexists(target / name)], []
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


def _sums(total: OrderRow) -> list[Row]:
    sums = {
        "goods": total["quoted_goods"], "discount": -total["quoted_discount"], "carriage": total["quoted_carriage"],
        "card fee and insurance": total["quoted_fees"],
        "core surcharge, refunded against the old ones": total["quoted_core"],
        "total to pay the supplier": total["quoted_total"],
    }  # fmt: skip
    last = list(sums)[-1]
    said = {name: amount for name, amount in sums.items() if amount or name in ("goods", "carriage", last)}
    return [
        {"item": name, "line": amount, "currency": total["currency"], "note": total["note"] if name == last else ""}
        for name, amount in said.items()
    ]


# ---- receipts ------------------------------------------------------------------------------------
_NONE = Decimal(0)


@dataclass(frozen=True, kw_only=True)
class Came:
    """What has come of a part by orders [home money, whole cents]: ``paid`` but carriage, ``days`` the longest wait."""

    pieces: Decimal = _NONE
    paid: Decimal = _NONE
    carriage: Decimal = _NONE
    days: int | None = None
    booked: Decimal = field(default=_NONE, compare=False)  # pieces of which the sheet of the closed job had told

    def __add__(self, more: Came) -> Came:
        sums = {n: getattr(self, n) + getattr(more, n) for n in ("pieces", "paid", "carriage", "booked")}
        return Came(days=max((d for d in (self.days, more.days) if d is not None), default=None), **sums)


def write_receipts(folder: Path, before: Mapping[str, Came], after: Mapping[str, Came]) -> list[str]:
    """Bring what came since ``before`` into a job's actual.csv; sentences on rows left as the owner wrote them."""
    path = folder / ACTUAL_FILE
    changed = [p for p in {**before, **after} if before.get(p, Came()) != after.get(p, Came())]
    if not path.is_file() or not changed:
        return []
    table, notes, carriage = read_csv_table(path, FILES[ACTUAL_FILE].known), [], _NONE
    for part in changed:
        was, now = before.get(part, Came()), after.get(part, Came())
        at = _found_in(table, ("part", "unit"), part) or table.add({"kind": "part", "name": part})
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
        at = _found_in(table, ("carriage",), "all") or table.add({"kind": "carriage", "name": "all"})
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
