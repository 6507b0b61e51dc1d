"""The orders that an owner sends: one CSV file a supplier, and all of them in one workbook."""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from decimal import Decimal
from pathlib import Path

from repairecon.read.files import write_all
from repairecon.read.problems import key
from repairecon.read.sheet_writing import Value, csv_text, workbook_bytes
from repairecon.records import OrderLine, OrderTotal, RepaireconError

WORKBOOK = "orders.xlsx"
LANDED = "landed, duty and tax included"
"""The row of an order that holds its total in home money."""
_HEADINGS = (
    "item", "designation", "part_class", "packs", "pieces_a_pack", "pieces", "quoted_a_pack", "quoted_line", "currency",
    "source", "note",
)  # fmt: skip
_TOTALS = (
    "supplier", "lines", "quoted_goods", "quoted_discount", "quoted_carriage", "quoted_fees", "quoted_core",
    "quoted_total", "currency", "cost_landed", "home_currency", "lead_days", "note",
)  # fmt: skip
_NOT_IN_A_FILE = re.compile(r"[^\w-]+")
Rows = list[list[Value]]


def write_orders(
    folder: str | os.PathLike[str],
    lines: Sequence[OrderLine],
    totals: Sequence[OrderTotal],
    home_currency: str,
    workbook: bool = True,
) -> tuple[Path, ...]:
    """Write an order a supplier as ``order_<supplier>.csv``, and all of them as ``orders.xlsx``.

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
    workbook
        False for the CSV files alone.

    Returns
    -------
    tuple of Path
        The files.

    Raises
    ------
    RepaireconError
        If there is nothing to order, a supplier lacks its total or its lines, a file of that name is there already, or
        it cannot be written; nothing is written then.
    """
    by_supplier = _by_supplier(lines, totals)
    tables = {t.supplier: _table(by_supplier[key(t.supplier)], t, home_currency) for t in totals}
    names = _file_names([t.supplier for t in totals])
    files = {
        name: csv_text(table, defuse=True).encode("utf-8-sig")
        for name, table in zip(names, tables.values(), strict=True)
    }
    if workbook:
        files[WORKBOOK] = workbook_bytes({"orders": _all_totals(by_supplier, totals, home_currency), **tables})
    target = Path(folder)
    write_all(target, files)
    return tuple(target / name for name in files)


def _by_supplier(lines: Sequence[OrderLine], totals: Sequence[OrderTotal]) -> dict[str, list[OrderLine]]:
    if not lines:
        raise RepaireconError("there is nothing to order")
    grouped: dict[str, list[OrderLine]] = {}
    for line in lines:
        grouped.setdefault(key(line.supplier), []).append(line)
    told = [key(t.supplier) for t in totals]
    if sorted(told) != sorted(grouped):
        raise RepaireconError("each supplier's order needs its lines and one total")
    return grouped


def _line_total(line: OrderLine) -> float:
    """Packs times price as written: no cents are lost to binary fractions."""
    return float(Decimal(str(line.quoted)) * line.packs)


def _table(lines: Sequence[OrderLine], total: OrderTotal, home: str) -> Rows:
    rows: Rows = [list(_HEADINGS)]
    for line in lines:
        what: list[Value] = [line.item, line.designation, line.part_class, line.packs, line.pack, line.pieces]
        rows.append([*what, line.quoted, _line_total(line), line.currency, str(line.source), line.note])
    sums = [
        ("goods", total.quoted_goods, total.currency),
        ("discount", -total.quoted_discount, total.currency),
        ("carriage", total.quoted_carriage, total.currency),
        ("card fee and insurance", total.quoted_fees, total.currency),
        ("core surcharge, refunded against the old ones", total.quoted_core, total.currency),
        ("total to pay the supplier", total.quoted_total, total.currency),
        (LANDED, total.cost_landed, home),
    ]
    always = {"goods", "carriage", sums[-2][0], sums[-1][0]}
    rows += [
        [name, "", "", None, None, None, None, amount, money, "", total.note if name == sums[-1][0] else ""]
        for name, amount, money in sums
        if amount or name in always
    ]
    return rows


def _all_totals(by_supplier: dict[str, list[OrderLine]], totals: Sequence[OrderTotal], home: str) -> Rows:
    rows: Rows = [list(_TOTALS)]
    for t in totals:
        count = len(by_supplier[key(t.supplier)])
        money = [t.quoted_goods, t.quoted_discount, t.quoted_carriage, t.quoted_fees, t.quoted_core, t.quoted_total]
        rows.append([t.supplier, count, *money, t.currency, t.cost_landed, home, t.lead_days, t.note])
    landed = float(sum((Decimal(str(t.cost_landed)) for t in totals), Decimal(0)))
    blanks: list[Value] = [None] * 6
    rows.append(["all", sum(map(len, by_supplier.values())), *blanks, "", landed, home, None, ""])
    return rows


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
