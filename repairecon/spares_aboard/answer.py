"""What the job spares-aboard finds: read at once, each part of it worked out when it is first asked for."""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import pandas as pd
from numpy.typing import NDArray

from repairecon.book.ledger import damaged
from repairecon.book.spares_book import SparesBook
from repairecon.read.passage_toml import PassageDefaults
from repairecon.records import Assumed, Item, Lot, Movement, Passage, ReorderLine, SpareWish, StockLine, UnitAboard
from repairecon.spares_aboard import demand, holdings
from repairecon.spares_aboard.carry import Carried, Risk
from repairecon.spares_aboard.demand import CaseWorth
from repairecon.spares_aboard.holdings import Valued, Worth

LOOKED_THROUGH = 20_000
"""Movements up to which a book is looked through each time, which takes a second; beyond that only ``check`` does."""


@dataclass(frozen=True, kw_only=True)
class BookRead:
    """All that the job takes from a book, at one moment; the book may be closed afterwards."""

    about: Mapping[str, str]
    boat: str
    items: Mapping[int, Item]
    units: tuple[UnitAboard, ...]
    movements: tuple[Movement, ...]
    columns: Mapping[str, NDArray[Any]]
    stock: tuple[StockLine, ...]
    lots: tuple[Lot, ...]
    below_minimum: tuple[ReorderLine, ...]


def read_all(book: SparesBook) -> BookRead:
    """Take from a book what the job needs; BookFileError from one that is not as it was written."""
    few = book.ledger.rows("SELECT count(*) FROM movements")[0][0] <= LOOKED_THROUGH
    wrong = book.check() if few else ()
    if wrong:
        raise damaged(book.ledger.path, "; ".join(wrong[:3]))
    with book.ledger.reading():
        about = book.about
        return BookRead(
            about=about, boat=about.get("boat", "") or book.ledger.path.stem, items=book.items_by_number(),
            units=book.units(), movements=book.movements(), columns=book.columns(), stock=book.stock(),
            lots=book.lots(), below_minimum=book.reorder_list(),
        )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Limits:
    """What may be spent [home money], added [kg] and filled [litres]; None where nothing is said."""

    budget: float | None = None
    weight_kg: float | None = None
    room_litres: float | None = None


@dataclass(frozen=True, kw_only=True)
class Period:
    """The passage [days], and the longer time until a part can be had; running hours in it where they are known."""

    today: datetime.date
    passage: float
    whole: float
    hours: float | None
    assumed: tuple[Assumed, ...] = ()

    @property
    def until(self) -> datetime.date:
        """Last day of the passage."""
        return self.today + datetime.timedelta(days=math.ceil(self.passage))


class SparesAnswer:
    """All that the job found.

    ``holdings`` has a row an item and locker; ``by_locker``, ``by_system``, ``by_date`` sum the value (first in first
    out, average, written_down); ``receipts`` is what is left of each purchase with its movement. ``shelf`` has a row a
    lot of rubber, ``expiring`` those that are over or run out before the passage ends, ``turning`` the whole units and
    when to turn them. ``carry`` has a row an item: have, buy, carry, p_short before and after, worth, cost.
    ``budget_curve`` a row a purchase in the best order. ``missing`` what is worth having and is not bought, ``surplus``
    what costs more by lying there than it saves, ``insurance`` a list for an insurer.
    """

    def __init__(self, read: BookRead, passage: Passage, period: Period, limits: Limits) -> None:
        self._read, self.passage, self._period, self._limits = read, passage, period, limits
        self._wishes: dict[str, SpareWish] = {w.item: w for w in passage.items}
        # Defaults are listed as they are used: a list of its own for each part, the same in any order of asking
        self._of_carry, self._of_turning = PassageDefaults(), PassageDefaults()
        self.boat, self.currency = read.boat, read.about.get("home_currency", "EUR")
        self.figures = read.about.get("figures", "")
        self.today, self.until = period.today, period.until
        self.passage_days, self.period_days, self.running_hours = period.passage, period.whole, period.hours
        self.budget, self.below_minimum = limits.budget, read.below_minimum

    @cached_property
    def shelf(self) -> pd.DataFrame:
        """A row a lot of rubber, the most pressing first."""
        kinds = {m.number: m.kind for m in self._read.movements}
        inspected = {w.item for w in self.passage.items if w.inspected}
        return holdings.shelf_table(self._read.lots, self._read.items, kinds, inspected, (self.today, self.until))

    @cached_property
    def expiring(self) -> pd.DataFrame:
        """Lots that are over, wait for an inspection or run out before the passage ends."""
        return self.shelf[self.shelf["state"] != holdings.FIT].reset_index(drop=True)

    @cached_property
    def turning(self) -> pd.DataFrame:
        """Whole units, and the day by which to turn each by hand."""
        return holdings.turning_table(self._read.lots, self._read.items, self._wishes, self._of_turning, self.until)

    @cached_property
    def _valued(self) -> Valued:
        return holdings.value(self._read.columns, self._read.movements, self._read.items)

    @property
    def receipts(self) -> pd.DataFrame:
        """What is left of each purchase."""
        return self._valued.receipts

    @cached_property
    def holdings(self) -> pd.DataFrame:
        """A row an item and locker."""
        over = holdings.out_of_date(self.shelf[self.shelf["state"] == holdings.OVER])
        return holdings.holdings(self._read.stock, self._read.items, self._valued, over)

    @cached_property
    def by_locker(self) -> pd.DataFrame:
        """Value by locker."""
        return holdings.by(self.holdings, "locker")

    @cached_property
    def by_system(self) -> pd.DataFrame:
        """Value by system."""
        return holdings.by(self.holdings, "system")

    @cached_property
    def by_date(self) -> pd.DataFrame:
        """What is left of the purchases of each month, at first in first out."""
        months = [str(d)[:7] for d in self.receipts["on_date"]]
        return self.receipts.assign(month=months).groupby("month")[["left", "value"]].sum()

    @cached_property
    def insurance(self) -> pd.DataFrame:
        """A list for an insurer."""
        return holdings.insurance(self._read.items, self.holdings)

    @cached_property
    def worth(self) -> Worth:
        """What all the spares are worth."""
        return holdings.worth(self.holdings, self.insurance, self._valued)

    @cached_property
    def cases(self) -> tuple[CaseWorth, ...]:
        """Whole units whose worth as spare is that of their own case."""
        return tuple(demand.case_worth(w) for w in self.passage.items if w.case)

    @cached_property
    def _carried(self) -> Carried:
        read, passage, defaults = self._read, self.passage, self._of_carry
        out = holdings.out_of_date(self.shelf[self.shelf["state"].isin([holdings.OVER, holdings.INSPECT])])
        record = demand.record_of(read.movements, read.columns["stands"], read.units, self.today)
        look = demand.Look(
            items=read.items, passage=passage, days=self.period_days, hours=self.running_hours, record=record,
            cases={c.item: c for c in self.cases}, defaults=defaults, today=self.today,
        )  # fmt: skip
        lines = [
            line for card in read.items.values()
            if (line := demand.line_of(look, card, self._aboard(card, out), self._valued.last.get(card.number)))
        ]  # fmt: skip
        covers = {w.item: (w.covers, demand.p_useful(w, defaults)) for w in passage.items if w.covers}
        assurance = passage.assurance if passage.assurance is not None else defaults.number("assurance")
        limits = self._limits
        return Carried(lines, (limits.budget, limits.weight_kg, limits.room_litres), covers, assurance)

    def _aboard(self, card: Item, out: Mapping[tuple[int, str], float]) -> tuple[float, float]:
        """How many lie aboard, and how many of them are in date."""
        here = [s for s in self._read.stock if s.item_number == card.number and s.locker_kind == "aboard"]
        lying = float(sum(s.quantity for s in here))
        return lying, max(lying - sum(out.get((card.number, s.locker), 0.0) for s in here), 0.0)

    @property
    def carry(self) -> pd.DataFrame:
        """A row an item: have, buy, carry, and why."""
        return self._carried.carry

    @property
    def budget_curve(self) -> pd.DataFrame:
        """A row a purchase, in the order in which money is best spent."""
        return self._carried.curve

    @property
    def missing(self) -> pd.DataFrame:
        """What is worth having and is not bought."""
        return self._carried.missing

    @property
    def surplus(self) -> pd.DataFrame:
        """What costs more by lying there than it saves."""
        return self._carried.surplus

    @property
    def spend(self) -> float:
        """What the purchases cost [home money]."""
        return self._carried.spend

    @property
    def most_lost(self) -> float:
        """What another choice could be worth more, at most [home money]."""
        return self._carried.most_lost

    @property
    def risk(self) -> Risk:
        """Being without, with what is aboard and with what is bought."""
        return self._carried.risk

    @cached_property
    def assumed(self) -> tuple[Assumed, ...]:
        """Every default that the whole answer rests on."""
        _ = self._carried, self.turning
        listed = (*self._period.assumed, *self._of_carry.used, *self._of_turning.used)
        return tuple(dict.fromkeys(listed))
