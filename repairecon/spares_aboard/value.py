"""Part of the job spares-aboard: what lies aboard is worth, by item, locker, system and day bought.

Quantities in thousandths times money in millionths are whole numbers of a thousand-millionth: sums are exact.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from repairecon.book.spares_book import SparesBook
from repairecon.formulas import valuation, write_down
from repairecon.records import MOVEMENT_KINDS, Item, Movement

THOUSAND, MILLION = 1e3, 1e6
WHOLE_MONEY = 1e9
Columns = dict[str, NDArray[Any]]
Wholes = NDArray[np.int64]


@dataclass(frozen=True)
class Valued:
    """Value of each item by number [home money], and what is left of each receipt."""

    fifo: dict[int, float]
    average: dict[int, float]
    average_by_year: float
    receipts: pd.DataFrame
    last: dict[int, Movement]
    unknown: dict[int, float]


def value(book: SparesBook, items: dict[int, Item]) -> Valued:
    """First in first out from the movements that stand; the moving average from all, in the order written."""
    columns: Columns = dict(book.columns())
    moved = _signed(columns)
    rows = np.flatnonzero(columns["stands"] & (moved != 0))
    order = rows[np.lexsort((_place(columns)[rows], columns["on_date"][rows]))]
    cost, known = _cost_of_receipts(columns, moved, order)
    item, quantity = columns["item"][order], moved[order]
    change, left = valuation.fifo(item, quantity, cost, np.zeros(len(order), dtype=np.int64))
    fifo = _sums(item, change)
    lying = np.flatnonzero(left > 0)
    receipts = pd.DataFrame({
        "movement": columns["movement"][order][lying], "number": item[lying],
        "item": [items[int(i)].name for i in item[lying]],
        "on_date": [str(d) for d in columns["on_date"][order][lying]],
        "kind": [MOVEMENT_KINDS[int(k)] for k in columns["kind"][order][lying]],
        "supplier": [str(p) for p in columns["person"][order][lying]],
        "left": left[lying] / THOUSAND, "cost_unit": cost[lying] / MILLION,
        "value": left[lying] * cost[lying] / WHOLE_MONEY, "cost_known": known[lying],
    })  # fmt: skip
    unsure = receipts[~receipts["cost_known"].astype(bool)].groupby("number")["left"].sum()
    last = {m.item_number: m for m in book.movements() if m.kind == "bought" and columns["stands"][m.number - 1]}
    years = columns["on_date"][order].astype("datetime64[Y]").astype(np.int64)
    unknown = {int(k): float(v) for k, v in unsure.items()}
    return Valued(fifo, _average(columns, moved), _by_year(item, quantity, cost, years), receipts, last, unknown)


def _signed(columns: Columns) -> Wholes:
    """What a movement adds to what the owner has; moves and loans add nothing."""
    come, gone = columns["locker_to"] > 0, columns["locker_from"] > 0
    return np.where(come & ~gone, columns["quantity"], np.where(gone & ~come, -columns["quantity"], 0)).astype(np.int64)


def _place(columns: Columns) -> Wholes:
    """Where a movement belongs in time: what takes another's place stands where that stood."""
    place = columns["movement"].copy()
    for row in np.flatnonzero(columns["corrects"] > 0):
        place[row] = place[columns["corrects"][row] - 1]
    return place


def _cost_of_receipts(columns: Columns, moved: Wholes, order: Wholes) -> tuple[Wholes, NDArray[np.bool_]]:
    """Cost of one of each receipt; without one of its own, that of the item's receipt before, else nothing known."""
    last: dict[int, int] = {}
    cost, known = np.zeros(len(order), dtype=np.int64), np.ones(len(order), dtype=bool)
    for k, row in enumerate(order):
        if moved[row] < 0:
            continue
        item, own = int(columns["item"][row]), int(columns["cost_unit"][row])
        if own >= 0:
            last[item] = own
        cost[k], known[k] = last.get(item, 0), item in last
    return cost, known


def _average(columns: Columns, moved: Wholes) -> dict[int, float]:
    undone = columns["undoes"] - 1
    against = np.where((undone >= 0) & (moved != 0) & (moved[undone] != 0), undone, -1)
    own = columns["cost_unit"]
    change = valuation.moving_average(
        columns["item"], moved, np.maximum(own, 0), against, (own < 0) & (moved > 0) & (against < 0)
    )
    return _sums(columns["item"], change)


def _by_year(item: Wholes, quantity: Wholes, cost: Wholes, years: Wholes) -> float:
    try:
        return float(valuation.period_average(item, quantity, cost, years).sum()) / WHOLE_MONEY
    except ValueError:  # a count or a purchase was dated into a later year than its use
        return float("nan")


def _sums(item: NDArray[Any], change: NDArray[Any]) -> dict[int, float]:
    from repairecon.formulas.ledger import total_by

    codes, totals = total_by(item, change)
    return {int(i): float(v) / WHOLE_MONEY for i, v in zip(codes, totals, strict=True)}


def holdings(book: SparesBook, items: dict[int, Item], valued: Valued, expired: dict[tuple[int, str], float]) -> Any:
    """A row an item and locker: how many, their share of the item's value, what is out of date of them."""
    stock = book.stock()
    total: dict[int, float] = {}
    for line in stock:
        total[line.item_number] = total.get(line.item_number, 0.0) + float(line.quantity)
    rows = []
    for line in stock:
        number, quantity = line.item_number, float(line.quantity)
        card, last, share = items[number], valued.last.get(number), quantity / total[number]
        rows.append({
            "item": card.name, "number": number, "system": card.system, "locker": line.locker,
            "locker_kind": line.locker_kind, "quantity": quantity, "measure": card.measure,
            "fifo": valued.fifo.get(number, 0.0) * share, "average": valued.average.get(number, 0.0) * share,
            "last_bought": last.on_date if last else "", "supplier": last.person if last else "",
            "price_last": float(last.cost_unit) if last and last.cost_unit is not None else float("nan"),
            "resale_rate": card.resale_rate if card.resale_rate is not None else 1.0,
            "expired": expired.get((number, line.locker), 0.0),
        })  # fmt: skip
    frame = pd.DataFrame(rows, columns=[
        "item", "number", "system", "locker", "locker_kind", "quantity", "measure", "fifo", "average", "last_bought",
        "supplier", "price_last", "resale_rate", "expired",
    ])  # fmt: skip
    each = frame["fifo"].to_numpy(float) / np.maximum(frame["quantity"].to_numpy(float), 1e-9)
    brings = write_down.net_realisable(each, frame["resale_rate"].to_numpy(float), 0.0, frame["expired"] > 0, 0.0)
    frame["written_down"] = write_down.lower_of_cost(frame["expired"].to_numpy(float), each, brings)[1]
    return frame


def by(frame: pd.DataFrame, column: str) -> pd.DataFrame:
    """Value by place, system or whatever a column says, the dearest first."""
    named = frame.assign(**{column: frame[column].replace("", "none named")})
    sums = named.groupby(column)[["fifo", "average", "written_down"]].sum()
    return sums.sort_values("fifo", ascending=False, kind="stable")


def by_date(receipts: pd.DataFrame) -> pd.DataFrame:
    """What is left of the purchases of each month, at first in first out."""
    return receipts.assign(month=[str(d)[:7] for d in receipts["on_date"]]).groupby("month")[["left", "value"]].sum()


def insurance(items: dict[int, Item], frame: pd.DataFrame) -> pd.DataFrame:
    """A list for an insurer: what, how many, where, bought when and from whom, what it cost and would cost now."""
    rows = []
    for number, lines in frame.groupby("number", sort=False):
        card, first = items[int(str(number))], lines.iloc[0]
        quantity = float(lines["quantity"].sum())
        rows.append({
            "item": card.name, "makers_number": card.makers_number, "designation": card.designation,
            "quantity": quantity, "measure": card.measure, "where": "; ".join(lines["locker"]),
            "last_bought": first["last_bought"], "supplier": first["supplier"], "cost": float(lines["fifo"].sum()),
            "price_last": float(first["price_last"]), "replacement": quantity * float(first["price_last"]),
        })  # fmt: skip
    columns = ["item", "makers_number", "designation", "quantity", "measure", "where", "last_bought", "supplier",
               "cost", "price_last", "replacement"]  # fmt: skip
    return pd.DataFrame(rows, columns=columns).sort_values("item", ignore_index=True)
