"""What lies aboard: its worth by item, locker and day bought; what runs out; which whole units to turn by hand.

Quantities in thousandths times money in millionths are whole numbers of a thousand-millionth: sums are exact.
"""

from __future__ import annotations

import datetime
import math
from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from repairecon.book.stock import day_number, day_of, last_day, whole_unit
from repairecon.formulas import valuation
from repairecon.read.reading import Defaults
from repairecon.records import Item, Lot, Movement, Passage, SpareWish, StockLine

_THOUSAND, _MILLION, _WHOLE_MONEY = 1e3, 1e6, 1e9

OVER, INSPECT, RUNS_OUT, FIT = "over", "inspect", "runs out", "fit"
_SHELF = ("item", "number", "locker", "locker_kind", "quantity", "material", "shelf_group", "cure_date", "counted_from",
          "good_until", "extended_until", "state", "inspected")  # fmt: skip
_INSURED = ("item", "makers_number", "designation", "quantity", "measure", "where", "last_bought", "supplier", "cost",
            "price_last", "replacement")  # fmt: skip
_TURN = ("item", "locker", "quantity", "last_turned", "turned_from", "every_days", "turn_by", "due")
Wholes = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True)
class Worth:
    """What all the spares are worth [home money]: at cost, and less what is out of date.

    ``average`` moves with every purchase; ``replacement`` is what they would cost at the last prices; ``unknown``
    pieces came in at no known cost and count as nothing.
    """

    fifo: float
    average: float
    written_down: float
    replacement: float
    unknown: float


@dataclass(frozen=True, kw_only=True)
class Valued:
    """Value of each item by number [home money], and what is left of each receipt."""

    fifo: dict[int, float]
    average: dict[int, float]
    receipts: pd.DataFrame
    last: dict[int, Movement]
    unknown: float


def value(movements: Sequence[Movement], standing: Sequence[Movement], items: Mapping[int, Item]) -> Valued:
    """First in first out from the movements that stand; the moving average from all, in the order written."""
    place: list[int] = []  # in time: what takes another's place stands where that stood
    for m in movements:
        place.append(place[m.corrects - 1] if m.corrects else m.number)
    # moves and loans add nothing to what the owner has
    signs = [bool(m.locker_to) - bool(m.locker_from) for m in movements]
    moved = np.array([sign * int(m.quantity * 1000) for sign, m in zip(signs, movements, strict=True)], dtype=np.int64)
    costs = [-1 if m.cost_unit is None else int(m.cost_unit * 1_000_000) for m in movements]
    days = np.array([m.on_date for m in movements], dtype="datetime64[D]")
    rows = np.array([m.number - 1 for m in standing if signs[m.number - 1] and m.quantity], dtype=np.int64)
    order = rows[np.lexsort((np.array(place, dtype=np.int64)[rows], days[rows]))]
    ordered = [movements[int(row)] for row in order]
    item = np.array([m.item_number for m in ordered], dtype=np.int64)
    quantity, own = moved[order], np.array(costs, dtype=np.int64)[order]
    # a receipt without a cost of its own takes that of the item's receipt before, else nothing is known
    paid = pd.Series(own).where((own >= 0) & (quantity > 0)).groupby(item).ffill()
    cost, known = paid.fillna(0).to_numpy(np.int64), paid.notna().to_numpy()
    change, left = valuation.fifo(item, quantity, cost)
    receipts = pd.DataFrame([
        (m.number, m.item_number, items[m.item_number].name, m.on_date, m.kind, m.person, left[k] / _THOUSAND,
         cost[k] / _MILLION, left[k] * cost[k] / _WHOLE_MONEY, bool(known[k]))
        for k, m in enumerate(ordered) if left[k] > 0
    ], columns=["movement", "number", "item", "on_date", "kind", "supplier", "left", "cost_unit", "value",
                "cost_known"])  # fmt: skip
    return Valued(
        fifo=_sums(item, change), average=_average(movements, moved, costs), receipts=receipts,
        last={m.item_number: m for m in standing if m.kind == "bought"},
        unknown=float(receipts["left"][~receipts["cost_known"].astype(bool)].sum()),
    )  # fmt: skip


def _average(movements: Sequence[Movement], moved: Wholes, costs: Sequence[int]) -> dict[int, float]:
    undone = np.array([(m.undoes or 0) - 1 for m in movements], dtype=np.int64)
    against = np.where((undone >= 0) & (moved != 0) & (moved[undone] != 0), undone, -1)
    own, item = np.array(costs, dtype=np.int64), np.array([m.item_number for m in movements], dtype=np.int64)
    found = (own < 0) & (moved > 0) & (against < 0)
    return _sums(item, valuation.moving_average(item, moved, np.maximum(own, 0), against, found))


def _sums(item: NDArray[Any], change: NDArray[Any]) -> dict[int, float]:
    totals = pd.Series(change).groupby(item).sum()
    return {int(i): float(v) / _WHOLE_MONEY for i, v in totals.items()}


def holdings(
    stock: Sequence[StockLine], items: Mapping[int, Item], valued: Valued, over: Mapping[tuple[int, str], float]
) -> pd.DataFrame:
    """A row an item and locker: how many, their share of the item's value, what is past any use of them."""
    total: dict[int, float] = defaultdict(float)
    for line in stock:
        total[line.item_number] += float(line.quantity)
    rows = []
    for line in stock:
        number, quantity = line.item_number, float(line.quantity)
        card, last, part = items[number], valued.last.get(number), quantity / total[number]
        expired, fifo = over.get((number, line.locker), 0.0), valued.fifo.get(number, 0.0) * part
        rows.append((
            card.name, number, card.system, line.locker, line.locker_kind, quantity, card.measure, fifo,
            valued.average.get(number, 0.0) * part, last.on_date if last else "", last.person if last else "",
            (float(last.cost_unit) if last and last.cost_unit is not None else math.nan), expired,
            # what is out of date brings nothing (IAS 2, paragraph 9: the lower of cost and what it would bring)
            expired * (fifo / quantity),
        ))  # fmt: skip
    return pd.DataFrame(rows, columns=[
        "item", "number", "system", "locker", "locker_kind", "quantity", "measure", "fifo", "average", "last_bought",
        "supplier", "price_last", "expired", "written_down",
    ])  # fmt: skip


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
    return pd.DataFrame(rows, columns=list(_INSURED)).sort_values("item", ignore_index=True)


def shelf_table(
    lots: Sequence[Lot], items: Mapping[int, Item], kinds: Mapping[int, str], inspected: Collection[str],
    period: tuple[datetime.date, datetime.date],
) -> pd.DataFrame:  # fmt: skip
    """A row a lot of rubber, the most pressing first; ``kinds`` of the movements they came by."""
    rows = []
    today, until = map(day_number, period)
    for lot in lots:
        card, looked_at = items[lot.item_number], items[lot.item_number].name in inspected
        good, extended = (last_day(card, lot.cure_date or lot.came_on, found) for found in (False, True))
        if math.isinf(good):
            continue
        last = extended if looked_at else good
        late = INSPECT if extended >= today else OVER
        rows.append((
            card.name, card.number, lot.locker, lot.locker_kind, float(lot.quantity), card.material, card.shelf_group,
            lot.cure_date,
            "cure date" if lot.cure_date else "day bought" if kinds[lot.came_by] == "bought" else "day found",
            day_of(good), day_of(extended), late if last < today else RUNS_OUT if last < until else FIT, looked_at,
        ))  # fmt: skip
    frame = pd.DataFrame(rows, columns=list(_SHELF))
    return frame.sort_values(["good_until", "item"], kind="stable", ignore_index=True)


def out_of_date(frame: pd.DataFrame) -> dict[tuple[int, str], float]:
    """Units of these lots by item and locker."""
    sums = frame.groupby(["number", "locker"])["quantity"].sum()
    return {(int(k[0]), str(k[1])): float(v) for k, v in sums.items()}


def turning_table(
    lots: Sequence[Lot], items: Mapping[int, Item], passage: Passage, defaults: Defaults, until: datetime.date
) -> pd.DataFrame:
    """Whole units that lie aboard, and the day by which to turn each by hand."""
    rows = []
    wishes = {w.item: w for w in passage.items}
    for lot in lots:
        card = items[lot.item_number]
        wish = wishes.get(card.name) or SpareWish(item=card.name)
        said = bool(wish.turned or wish.turn_every_days)
        whole = whole_unit(card, wish) or (said and wish.whole_unit is None)
        if lot.locker_kind == "lent" or not whole:
            continue
        if not said and not wish.whole_unit:
            defaults.text("whole_unit_word")
        every = wish.turn_every_days or defaults.number("turn_every_days")
        turned, source = (wish.turned, "noted") if wish.turned else (lot.came_on, "day it came")
        by_day = day_of(day_number(turned) + every)
        rows.append((card.name, lot.locker, float(lot.quantity), turned, source, every, by_day, by_day <= until))
    return pd.DataFrame(rows, columns=list(_TURN)).sort_values(["turn_by", "item"], kind="stable", ignore_index=True)
