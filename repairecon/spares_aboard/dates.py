"""Part of the job spares-aboard: what runs out before or during the passage, and which whole units to turn."""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping

import pandas as pd

from repairecon.book.spares_book import SparesBook
from repairecon.formulas import shelf
from repairecon.read.passage_toml import PassageDefaults
from repairecon.records import Item, Lot, Movement, SpareWish
from repairecon.standards.storage import shelf_life

RULE = "ISO 2230:2002"
GROUP_RUBBER: Mapping[str, str] = {"A": "NR", "B": "NBR", "C": "EPDM"}
"""A rubber of each group of ISO 2230, for what is a kit or of an unknown rubber of that group."""

OVER, INSPECT, RUNS_OUT, FIT, UNKNOWN = "over", "inspect", "runs out", "fit", "unknown"
_EPOCH = datetime.date(1970, 1, 1)
_SHELF = ("item", "number", "locker", "locker_kind", "quantity", "material", "shelf_group", "cure_date", "counted_from",
          "good_until", "extended_until", "state", "inspected")  # fmt: skip
_TURN = ("item", "locker", "quantity", "last_turned", "turned_from", "every_days", "turn_by", "due")


def day_number(day: datetime.date | str) -> float:
    """A day as a number; nan for none."""
    if not day:
        return math.nan
    return float(((datetime.date.fromisoformat(day) if isinstance(day, str) else day) - _EPOCH).days)


def day_of(number: float) -> datetime.date:
    """The day of a number."""
    return _EPOCH + datetime.timedelta(days=int(number))


def years_of(card: Item) -> tuple[float, float]:
    """Initial years of storage, and what an inspection adds; no end for what is no rubber."""
    for rubber in (card.material, GROUP_RUBBER.get(card.shelf_group, "")):
        for life in shelf_life(rubber, 0) if rubber else ():
            if life.rule == RULE and life.last_year is not None:
                return float(life.last_year), float((life.last_year_if_inspected or life.last_year) - life.last_year)
    return math.inf, 0.0


def shelf_table(
    lots: tuple[Lot, ...], items: Mapping[int, Item], came: Mapping[int, Movement], wishes: Mapping[str, SpareWish],
    today: datetime.date, until: datetime.date,
) -> pd.DataFrame:  # fmt: skip
    """A row a lot of rubber, the most pressing first."""
    rows = []
    for lot in lots:
        card = items[lot.item_number]
        initial, extension = years_of(card)
        if math.isinf(initial):
            continue
        wish = wishes.get(card.name)
        rows.append(_shelf_row(lot, card, (initial, extension), came[lot.came_by].kind,
                               wish is not None and wish.inspected, (today, until)))  # fmt: skip
    frame = pd.DataFrame(rows, columns=list(_SHELF))
    return frame.sort_values(["good_until", "item"], kind="stable", ignore_index=True)


def _shelf_row(
    lot: Lot, card: Item, years: tuple[float, float], came: str, inspected: bool,
    period: tuple[datetime.date, datetime.date],
) -> dict[str, object]:  # fmt: skip
    start, assumed = shelf.counted_from(day_number(lot.cure_date), day_number(lot.came_on))
    ends = [float(shelf.expiry_day(start, *years, inspected=found)) for found in (False, True)]
    counted = ("day bought" if came == "bought" else "day found") if assumed else "cure date"
    last = ends[1] if inspected else ends[0]
    today, until = (day_number(d) for d in period)
    late = INSPECT if ends[1] >= today else OVER
    code = int(shelf.when_over(last, today, until))
    state = {shelf.OVER: late, shelf.RUNS_OUT: RUNS_OUT}.get(code, FIT)
    return dict(zip(_SHELF, (
        card.name, card.number, lot.locker, lot.locker_kind, float(lot.quantity), card.material, card.shelf_group,
        lot.cure_date, counted, day_of(ends[0]), day_of(ends[1]), state, inspected,
    ), strict=True))  # fmt: skip


def good_until(card: Item, cure_date: str) -> datetime.date | None:
    """Last day of the initial shelf life of a lot whose cure date is known; None for what has no end."""
    initial, _ = years_of(card)
    if math.isinf(initial) or not cure_date:
        return None
    return day_of(float(shelf.expiry_day(day_number(cure_date), initial)))


def out_of_date(frame: pd.DataFrame) -> dict[tuple[int, str], float]:
    """Units by item and locker that are over or wait for an inspection."""
    late = frame[frame["state"].isin([OVER, INSPECT])]
    sums = late.groupby(["number", "locker"])["quantity"].sum()
    return {(int(k[0]), str(k[1])): float(v) for k, v in sums.items()}


def worthless(frame: pd.DataFrame) -> dict[tuple[int, str], float]:
    """Units by item and locker that no inspection can bring back."""
    return out_of_date(frame[frame["state"] == OVER])


def turning_table(
    book: SparesBook, items: Mapping[int, Item], wishes: Mapping[str, SpareWish], defaults: PassageDefaults,
    until: datetime.date,
) -> pd.DataFrame:  # fmt: skip
    """Whole units that lie aboard, and the day by which to turn each by hand."""
    rows = []
    word = str(defaults.peek("whole_unit_word")).casefold()
    for lot in book.lots():
        card = items[lot.item_number]
        wish = wishes.get(card.name)
        told = wish is not None and (wish.turned or wish.turn_every_days)
        named = word in card.name.casefold().replace(",", " ").split()
        whole = wish.whole_unit if wish and wish.whole_unit is not None else told or named
        if lot.locker_kind == "lent" or not whole:
            continue
        if not told and not (wish and wish.whole_unit):
            defaults.text("whole_unit_word")
        every = wish.turn_every_days if wish and wish.turn_every_days else defaults.number("turn_every_days")
        turned = wish.turned if wish and wish.turned else lot.came_on
        by = day_of(float(shelf.turn_by(day_number(turned), every)))
        source = "told" if wish and wish.turned else "day it came"
        rows.append((card.name, lot.locker, float(lot.quantity), turned, source, every, by, by <= until))
    return pd.DataFrame(rows, columns=list(_TURN)).sort_values(["turn_by", "item"], kind="stable", ignore_index=True)
