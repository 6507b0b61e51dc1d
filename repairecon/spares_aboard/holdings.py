"""What lies aboard: its worth by item, locker and day bought; what runs out; which whole units to turn by hand.

Quantities in thousandths times money in millionths are whole numbers of a thousand-millionth: sums are exact.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from repairecon.book.on_hand import day_number, shelf_years
from repairecon.formulas import valuation
from repairecon.read.passage_toml import PassageDefaults
from repairecon.records import MOVEMENT_KINDS, Item, Lot, Movement, SpareWish, StockLine

_THOUSAND, _MILLION, _WHOLE_MONEY = 1e3, 1e6, 1e9

OVER, INSPECT, RUNS_OUT, FIT = "over", "inspect", "runs out", "fit"
_EPOCH = datetime.date(1970, 1, 1)
_SHELF = ("item", "number", "locker", "locker_kind", "quantity", "material", "shelf_group", "cure_date", "counted_from",
          "good_until", "extended_until", "state", "inspected")  # fmt: skip
_TURN = ("item", "locker", "quantity", "last_turned", "turned_from", "every_days", "turn_by", "due")
Columns = Mapping[str, NDArray[Any]]
Wholes = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True)
class Worth:
    """What all the spares are worth [home money]: at cost, and less what is out of date.

    ``average`` moves with every purchase; ``average_by_year`` is that of each calendar year's opening stock and
    purchases (nan where a use is dated before its purchase); ``replacement`` is what they would cost at the last
    prices; ``unknown`` pieces came in at no known cost and count as nothing.
    """

    fifo: float
    average: float
    average_by_year: float
    written_down: float
    replacement: float
    unknown: float


@dataclass(frozen=True, kw_only=True)
class Valued:
    """Value of each item by number [home money], and what is left of each receipt."""

    fifo: dict[int, float]
    average: dict[int, float]
    average_by_year: float
    receipts: pd.DataFrame
    last: dict[int, Movement]
    unknown: float


def value(columns: Columns, movements: Sequence[Movement], items: Mapping[int, Item]) -> Valued:
    """First in first out from the movements that stand; the moving average from all, in the order written."""
    moved = _signed(columns)
    rows = np.flatnonzero(columns["stands"] & (moved != 0))
    order = rows[np.lexsort((_place(columns)[rows], columns["on_date"][rows]))]
    cost, known = _cost_of_receipts(columns, moved, order)
    item, quantity = columns["item"][order], moved[order]
    change, left = valuation.fifo(item, quantity, cost)
    lying = np.flatnonzero(left > 0)
    receipts = pd.DataFrame({
        "movement": columns["movement"][order][lying], "number": item[lying],
        "item": [items[int(i)].name for i in item[lying]],
        "on_date": [str(d) for d in columns["on_date"][order][lying]],
        "kind": [MOVEMENT_KINDS[int(k)] for k in columns["kind"][order][lying]],
        "supplier": [str(p) for p in columns["person"][order][lying]],
        "left": left[lying] / _THOUSAND, "cost_unit": cost[lying] / _MILLION,
        "value": left[lying] * cost[lying] / _WHOLE_MONEY, "cost_known": known[lying],
    })  # fmt: skip
    years = columns["on_date"][order].astype("datetime64[Y]").astype(np.int64)
    return Valued(
        fifo=_sums(item, change), average=_average(columns, moved),
        average_by_year=_by_year(item, quantity, cost, years), receipts=receipts,
        last={m.item_number: m for m in movements if m.kind == "bought" and columns["stands"][m.number - 1]},
        unknown=float(receipts["left"][~receipts["cost_known"].astype(bool)].sum()),
    )  # fmt: skip


def _signed(columns: Columns) -> Wholes:
    """What a movement adds to what the owner has; moves and loans add nothing."""
    come, gone = columns["locker_to"] > 0, columns["locker_from"] > 0
    return np.where(come & ~gone, columns["quantity"], np.where(gone & ~come, -columns["quantity"], 0)).astype(np.int64)


def _place(columns: Columns) -> Wholes:
    """Where a movement belongs in time: what takes another's place stands where that stood."""
    place: Wholes = columns["movement"].copy()
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
    found = (own < 0) & (moved > 0) & (against < 0)
    change = valuation.moving_average(columns["item"], moved, np.maximum(own, 0), against, found)
    return _sums(columns["item"], change)


def _by_year(item: Wholes, quantity: Wholes, cost: Wholes, years: Wholes) -> float:
    try:
        return float(valuation.period_average(item, quantity, cost, years).sum()) / _WHOLE_MONEY
    except ValueError:  # a count or a purchase was dated into a later year than its use
        return float("nan")


def _sums(item: NDArray[Any], change: NDArray[Any]) -> dict[int, float]:
    totals = pd.Series(change).groupby(item).sum()
    return {int(i): float(v) / _WHOLE_MONEY for i, v in totals.items()}


def holdings(
    stock: Sequence[StockLine], items: Mapping[int, Item], valued: Valued, over: Mapping[tuple[int, str], float]
) -> pd.DataFrame:
    """A row an item and locker: how many, their share of the item's value, what is past any use of them."""
    total: dict[int, float] = {}
    for line in stock:
        total[line.item_number] = total.get(line.item_number, 0.0) + float(line.quantity)
    rows = []
    for line in stock:
        number, quantity = line.item_number, float(line.quantity)
        card, last, part = items[number], valued.last.get(number), quantity / total[number]
        rows.append((
            card.name, number, card.system, line.locker, line.locker_kind, quantity, card.measure,
            valued.fifo.get(number, 0.0) * part, valued.average.get(number, 0.0) * part, last.on_date if last else "",
            last.person if last else "",
            float(last.cost_unit) if last and last.cost_unit is not None else math.nan,
            1.0 if card.resale_rate is None else card.resale_rate, over.get((number, line.locker), 0.0),
        ))  # fmt: skip
    frame = pd.DataFrame(rows, columns=[
        "item", "number", "system", "locker", "locker_kind", "quantity", "measure", "fifo", "average", "last_bought",
        "supplier", "price_last", "resale_rate", "expired",
    ])  # fmt: skip
    # What is out of date brings nothing (IAS 2, paragraph 9: the lower of cost and what it would bring)
    each = frame["fifo"].to_numpy(float) / np.maximum(frame["quantity"].to_numpy(float), 1e-9)
    frame["written_down"] = frame["expired"].to_numpy(float) * each
    return frame


def by(frame: pd.DataFrame, column: str) -> pd.DataFrame:
    """Value by place, system or whatever a column says, the dearest first."""
    named = frame.assign(**{column: frame[column].replace("", "none named")})
    sums = named.groupby(column)[["fifo", "average", "written_down"]].sum()
    return sums.sort_values("fifo", ascending=False, kind="stable")


def insurance(items: Mapping[int, Item], frame: pd.DataFrame) -> pd.DataFrame:
    """A list for an insurer: what, how many, where, bought when and from whom, what it cost and would cost now."""
    rows = []
    for number, lines in frame.groupby("number", sort=False):
        card, first = items[int(str(number))], lines.iloc[0]
        quantity, price = float(lines["quantity"].sum()), float(first["price_last"])
        rows.append((
            card.name, card.makers_number, card.designation, quantity, card.measure, "; ".join(lines["locker"]),
            first["last_bought"], first["supplier"], float(lines["fifo"].sum()), price, quantity * price,
        ))  # fmt: skip
    columns = ["item", "makers_number", "designation", "quantity", "measure", "where", "last_bought", "supplier",
               "cost", "price_last", "replacement"]  # fmt: skip
    return pd.DataFrame(rows, columns=columns).sort_values("item", ignore_index=True)


def _day_of(number: float) -> datetime.date:
    return _EPOCH + datetime.timedelta(days=int(number))


def good_until(card: Item, cure_date: str) -> datetime.date | None:
    """Last day of the initial shelf life of a lot whose cure date is known; None for what has no end."""
    initial, _ = shelf_years(card)
    if math.isinf(initial) or not cure_date:
        return None
    return _day_of(float(valuation.expiry_day(day_number(cure_date), initial)))


def shelf_table(
    lots: Sequence[Lot], items: Mapping[int, Item], kinds: Mapping[int, str], inspected: Collection[str],
    period: tuple[datetime.date, datetime.date],
) -> pd.DataFrame:  # fmt: skip
    """A row a lot of rubber, the most pressing first; ``kinds`` of the movements they came by."""
    rows = []
    for lot in lots:
        card = items[lot.item_number]
        years = shelf_years(card)
        if not math.isinf(years[0]):
            rows.append(_shelf_row(lot, card, years, kinds[lot.came_by], card.name in inspected, period))
    frame = pd.DataFrame(rows, columns=list(_SHELF))
    return frame.sort_values(["good_until", "item"], kind="stable", ignore_index=True)


def _shelf_row(
    lot: Lot, card: Item, years: tuple[float, float], came: str, inspected: bool,
    period: tuple[datetime.date, datetime.date],
) -> tuple[object, ...]:  # fmt: skip
    cured, bought = day_number(lot.cure_date), day_number(lot.came_on)
    counted = "cure date" if lot.cure_date else "day bought" if came == "bought" else "day found"
    start = cured if lot.cure_date else bought
    ends = [float(valuation.expiry_day(start, *years, inspected=found)) for found in (False, True)]
    last = ends[1] if inspected else ends[0]
    today, until = map(day_number, period)
    late = INSPECT if ends[1] >= today else OVER
    state = late if last < today else RUNS_OUT if last < until else FIT
    return (
        card.name, card.number, lot.locker, lot.locker_kind, float(lot.quantity), card.material, card.shelf_group,
        lot.cure_date, counted, _day_of(ends[0]), _day_of(ends[1]), state, inspected,
    )  # fmt: skip


def out_of_date(frame: pd.DataFrame) -> dict[tuple[int, str], float]:
    """Units of these lots by item and locker."""
    sums = frame.groupby(["number", "locker"])["quantity"].sum()
    return {(int(k[0]), str(k[1])): float(v) for k, v in sums.items()}


def turning_table(
    lots: Sequence[Lot], items: Mapping[int, Item], wishes: Mapping[str, SpareWish], defaults: PassageDefaults,
    until: datetime.date,
) -> pd.DataFrame:  # fmt: skip
    """Whole units that lie aboard, and the day by which to turn each by hand."""
    rows = []
    word = str(defaults.peek("whole_unit_word")).casefold()
    for lot in lots:
        card = items[lot.item_number]
        wish = wishes.get(card.name) or SpareWish(item=card.name)
        said = bool(wish.turned or wish.turn_every_days)
        named = word in card.name.casefold().replace(",", " ").split()
        whole = wish.whole_unit if wish.whole_unit is not None else said or named
        if lot.locker_kind == "lent" or not whole:
            continue
        if not said and not wish.whole_unit:
            defaults.text("whole_unit_word")
        every = wish.turn_every_days or defaults.number("turn_every_days")
        turned, source = (wish.turned, "noted") if wish.turned else (lot.came_on, "day it came")
        by_day = _day_of(day_number(turned) + every)
        rows.append((card.name, lot.locker, float(lot.quantity), turned, source, every, by_day, by_day <= until))
    return pd.DataFrame(rows, columns=list(_TURN)).sort_values(["turn_by", "item"], kind="stable", ignore_index=True)
