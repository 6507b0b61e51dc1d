"""What lies aboard in date, for a job that may take it; and a case read together with the spares of its boat."""

from __future__ import annotations

import datetime
import math
import os
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from repairecon.read.boat import boat_folder, book_path, today_of
from repairecon.read.case_folder import read_case
from repairecon.records import Case, Item, Lot, OnHand, SpareWish

if TYPE_CHECKING:  # a case alone needs no book: its command starts without one
    from repairecon.book.spares_book import SparesBook

_RULE = "ISO 2230:2002"
_GROUP_RUBBER: Mapping[str, str] = {"A": "NR", "B": "NBR", "C": "EPDM"}
"""A rubber of each group of ISO 2230, for what is a kit or of an unknown rubber of that group."""

_EPOCH = datetime.date(1970, 1, 1).toordinal()


def day_number(day: datetime.date | str) -> float:
    """A day as a number; nan for none."""
    if not day:
        return math.nan
    return float((datetime.date.fromisoformat(day) if isinstance(day, str) else day).toordinal() - _EPOCH)


def day_of(number: float) -> datetime.date:
    """The day of a number."""
    return datetime.date.fromordinal(int(number) + _EPOCH)


def last_day(card: Item, start: datetime.date | str, inspected: bool = False) -> float:
    """Day number on which what is so old runs out; endless for what is no rubber, nan where no day is known."""
    from repairecon.formulas import valuation
    from repairecon.standards.rubber import shelf_life

    first, more = math.inf, 0.0  # initial years of storage, and what an inspection adds
    rubbers = filter(None, (card.material, _GROUP_RUBBER.get(card.shelf_group, "")))
    lives = (x for rubber in rubbers for x in shelf_life(rubber, 0) if x.rule == _RULE and x.last_year is not None)
    if life := next(lives, None):
        first = float(life.last_year or 0)
        more = float(life.last_year_if_inspected or first) - first
    return float(valuation.expiry_day(day_number(start), first, more, inspected=inspected))


def on_hand(book: SparesBook, today: datetime.date | None = None, job: str = "") -> tuple[OnHand, ...]:
    """Spares that lie aboard, whole pieces of them, rubber in date ``today`` (default: that of the book), by name.

    ``job`` is the folder name of the job that may take it: what came by orders of other jobs waits for those till they
    are closed.
    """
    from repairecon.book.spares_book import passage_for

    wishes = {w.item: w for w in passage_for(book.ledger.path, book).items}
    cards = book.items_by_number()
    day = day_number(today or book.ledger.today())
    lying: dict[int, list[Lot]] = defaultdict(list)
    waiting = book.waiting_for_others(job) if job else frozenset()
    for lot in book.lots():
        card = cards[lot.item_number]
        wish = wishes.get(card.name)
        late = last_day(card, lot.cure_date or lot.came_on, bool(wish and wish.inspected)) < day
        if not late and lot.came_by not in waiting and lot.locker_kind == "aboard" and card.measure == "piece":
            lying[card.number].append(lot)
    made = []
    for number, lots in lying.items():
        card = cards[number]
        lots.sort(key=lambda lot: lot.came_on)
        costs = [float(lot.cost_unit) for lot in lots if lot.cost_unit is not None]
        if many := int(sum(lot.quantity for lot in lots)):
            made.append(replace(
                piece_of(card), quantity=many, price=costs[-1] if costs else None, since=lots[0].came_on,
                whole=whole_unit(card, wishes.get(card.name)),
            ))  # fmt: skip
    return tuple(sorted(made, key=lambda x: x.item))


def whole_unit(card: Item, wish: SpareWish | None) -> bool:
    """Whether an item is a unit complete: as the owner says, else by the word in its name."""
    from repairecon.read.defaults import Defaults

    if wish is not None and wish.whole_unit is not None:
        return wish.whole_unit
    word = str(Defaults().peek("whole_unit_word")).casefold()
    return word in card.name.casefold().replace(",", " ").split()


def piece_of(card: Item) -> OnHand:
    """A piece of an item, to hold against the parts of a job."""
    return OnHand(item=card.name, units=card.units, designation=card.designation, material=card.material,
                  makers_number=card.makers_number, quantity=1, price=None, whole=False, since="")  # fmt: skip


def read_case_aboard(folder: str | os.PathLike[str], years: bool = False, order: bool | None = None) -> Case:
    """A case as :func:`read_case` has it; of one in a boat the spares aboard are taken into account.

    What lies aboard costs what replacing it costs and needs no wait; ``from_stock`` says what that is. CaseError with
    every fault of the case, BookError if the book cannot be read.
    """
    home = boat_folder(folder)
    path = book_path(home) if home else None
    if home is None or path is None:
        return read_case(folder, years, order)
    from repairecon.book.spares_book import book_at

    with book_at(path) as book:
        stock = on_hand(book, today_of(home), os.path.basename(os.path.realpath(folder)))  # noqa: PTH119
    return read_case(folder, years, order, stock=stock)
