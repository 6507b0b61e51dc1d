"""The orders that an owner sends: a file a supplier without own figures, and the landed costs in one's own file."""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from decimal import Decimal
from pathlib import Path

from repairecon.read.files import Value, csv_text, workbook_bytes, write_all
from repairecon.read.problems import clean, key
from repairecon.read.sheets import read_sheet
from repairecon.records import OrderLine, OrderTotal, RepaireconError, SheetError

WORKBOOK = "own_landed.xlsx"
LANDED = "landed, duty and tax included"
"""The row of an order that holds its total in home money."""
_SENT = (
    "part", "designation", "material", "packs", "pieces a pack", "pieces", "price a pack", "price", "currency",
    "ship to",
)  # fmt: skip
_HEADINGS = (
    "item", "designation", "part_class", "packs", "pieces_a_pack", "pieces", "quoted_a_pack", "quoted_line",
    "currency", "source", "note",
)  # fmt: skip
_MONEY = ("quoted_goods", "quoted_discount", "quoted_carriage", "quoted_fees", "quoted_core", "quoted_total")
_TOTALS = ("supplier", "lines", *_MONEY, "currency", "cost_landed", "home_currency", "lead_days", "note")
_FIRST = "orders"
"""Sheet of one's own file with a row a supplier."""
_NOT_IN_A_FILE = re.compile(r"[^\w-]+")
Rows = list[list[Value]]


def write_orders(
    folder: str | os.PathLike[str],
    lines: Sequence[OrderLine],
    totals: Sequence[OrderTotal],
    home_currency: str,
    ship_to: str = "",
) -> tuple[Path, ...]:
    """Write ``order_<supplier>.csv`` to send, in the supplier's money, and ``own_landed.xlsx`` to keep.

    Parameters
    ----------
    folder
        Where the files shall stand; made if need be.
    lines
        What is bought, a line a quote.
    totals
        What each supplier's order comes to; figures are written as given.
    home_currency
        Currency of ``cost_landed``.
    ship_to
        Where the goods shall go, for the orders.

    Returns
    -------
    tuple of Path
        The files: the orders, then one's own.

    Raises
    ------
    RepaireconError
        If there is nothing to order, a supplier lacks its total or its lines, a file of that name is there that is no
        earlier one of these or is a link, or it cannot be written; nothing is written then.
    """
    by_supplier = _by_supplier(lines, totals)
    names = _file_names([t.supplier for t in totals])
    files = {
        name: csv_text(_sent(by_supplier[key(t.supplier)], t, ship_to), defuse=True).encode("utf-8-sig")
        for name, t in zip(names, totals, strict=True)
    }
    own = {t.supplier: _table(by_supplier[key(t.supplier)], t, home_currency) for t in totals}
    files[WORKBOOK] = workbook_bytes({_FIRST: _all_totals(by_supplier, totals, home_currency), **own})
    target = Path(folder)
    there = [name for name in files if os.path.lexists(target / name)]
    if foreign := [why for name in there if (why := _not_ours(target / name))]:
        raise RepaireconError("\n".join(foreign) + "\nnothing was written")
    write_all(target, files, replace=bool(there))
    return tuple(target / name for name in files)


def earlier_orders(folder: Path, written: Sequence[Path]) -> tuple[str, ...]:
    """Names of orders in a folder that were not written this time: they are of an earlier run and not to be sent."""
    return tuple(sorted(p.name for p in folder.glob("order_*.csv") if p not in written and not _not_ours(p)))


def _not_ours(path: Path) -> str:
    """Why a file may not be replaced, '' for one that was written here before."""
    name, own = clean(str(path)), path.name == WORKBOOK
    if path.is_symlink():
        return f"{name} is a link; remove it, or write to another folder"
    try:
        rows = read_sheet(path, _FIRST if own else "").rows
    except SheetError:
        rows = {}
    if list(next(iter(rows.values()), ())) == list(_TOTALS if own else _SENT):
        return ""
    return f"{name} is there already and is no order of an earlier run; write to another folder"


def _by_supplier(lines: Sequence[OrderLine], totals: Sequence[OrderTotal]) -> dict[str, list[OrderLine]]:
    if not lines:
        raise RepaireconError("there is nothing to order")
    grouped: dict[str, list[OrderLine]] = {}
    for line in lines:
        grouped.setdefault(key(line.supplier), []).append(line)
    known = [key(t.supplier) for t in totals]
    if sorted(known) != sorted(grouped):
        raise RepaireconError("each supplier's order needs its lines and one total")
    return grouped


def _line_total(line: OrderLine) -> float:
    """Packs times price as written: no cents are lost to binary fractions."""
    return float(Decimal(str(line.quoted)) * line.packs)


def _sent(lines: Sequence[OrderLine], total: OrderTotal, ship_to: str) -> Rows:
    """An order as the supplier reads it: what and how much, at the prices quoted."""
    rows: Rows = [list(_SENT)]
    for line in lines:
        what: list[Value] = [line.item, line.designation, line.material, line.packs, line.pack, line.pieces]
        rows.append([*what, line.quoted, _line_total(line), line.currency, ship_to])
    sums = _sums(total)
    return rows + [[name, "", "", None, None, None, None, amount, total.currency, ""] for name, amount in sums]


def _sums(total: OrderTotal) -> list[tuple[str, float]]:
    """What the supplier's invoice should come to, charge by charge."""
    sums = [
        ("goods", total.quoted_goods),
        ("discount", -total.quoted_discount),
        ("carriage", total.quoted_carriage),
        ("card fee and insurance", total.quoted_fees),
        ("core surcharge, refunded against the old ones", total.quoted_core),
        ("total to pay the supplier", total.quoted_total),
    ]
    return [(name, amount) for name, amount in sums if amount or name in ("goods", "carriage", sums[-1][0])]


def _table(lines: Sequence[OrderLine], total: OrderTotal, home: str) -> Rows:
    rows: Rows = [list(_HEADINGS)]
    for line in lines:
        what: list[Value] = [line.item, line.designation, line.part_class, line.packs, line.pack, line.pieces]
        rows.append([*what, line.quoted, _line_total(line), line.currency, str(line.source), line.note])
    sums = [(name, amount, total.currency) for name, amount in _sums(total)] + [(LANDED, total.cost_landed, home)]
    return rows + [
        [name, "", "", None, None, None, None, amount, money, "", total.note if name == sums[-2][0] else ""]
        for name, amount, money in sums
    ]


def _all_totals(by_supplier: dict[str, list[OrderLine]], totals: Sequence[OrderTotal], home: str) -> Rows:
    rows: Rows = [list(_TOTALS)]
    for t in totals:
        money = [getattr(t, name) for name in _MONEY]
        count = len(by_supplier[key(t.supplier)])
        rows.append([t.supplier, count, *money, t.currency, t.cost_landed, home, t.lead_days, t.note])
    landed = float(sum((Decimal(str(t.cost_landed)) for t in totals), Decimal(0)))
    blanks: list[Value] = [None] * len(_MONEY)
    return [*rows, ["all", sum(map(len, by_supplier.values())), *blanks, "", landed, home, None, ""]]


def _file_names(suppliers: Sequence[str]) -> list[str]:
    """A name a supplier that any file system takes, each its own."""
    made: list[str] = []
    for supplier in suppliers:
        plain = _NOT_IN_A_FILE.sub("_", key(supplier)).strip("_")[:60] or "supplier"
        name, nth = f"order_{plain}.csv", 2
        while name in made:
            name, nth = f"order_{plain}_{nth}.csv", nth + 1
        made.append(name)
    return made
