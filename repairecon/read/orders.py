"""The orders that an owner sends: a file a supplier without own figures, and the landed costs in one's own file."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from decimal import Decimal
from pathlib import Path

from repairecon.read.files import Value, check_own, csv_text, file_names, same_kind, workbook_bytes, write_all
from repairecon.read.problems import key
from repairecon.records import OrderLine, OrderTotal, RepaireconError

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
Row = dict[str, Value]


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


def _rows(headings: Mapping[str, str | None], rows: Iterable[Row]) -> list[list[Value]]:
    return [list(headings), *([row.get(under or heading) for heading, under in headings.items()] for row in rows)]


def _line(line: OrderLine) -> Row:
    """A line with packs times price as written: no cents are lost to binary fractions."""
    total = float(Decimal(str(line.quoted)) * line.packs)
    return {**asdict(line), "pieces": line.pieces, "line": total, "source": str(line.source)}


def _sums(total: OrderTotal) -> list[Row]:
    """What the supplier's invoice should come to, charge by charge."""
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
