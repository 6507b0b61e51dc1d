"""The spares book: one file, only added to, that knows what is aboard, where, what it cost and what it was fitted to.

The file is a SQLite database (an open, documented format), its suffix ``.spares``: the word says in a list of files
what it holds, and no other program takes a double click on it for its own.
"""

from __future__ import annotations

import datetime
import os
from collections.abc import Iterable, Mapping
from decimal import Decimal
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

from repairecon.files.book import acts, check, columns, opening, stock, things, undoing
from repairecon.files.book.amounts import Amount, words
from repairecon.files.book.ledger import Ledger
from repairecon.records import (
    BookError,
    Counted,
    Happened,
    Item,
    ItemVersion,
    Locker,
    Lot,
    Movement,
    ReceiveLine,
    ReorderLine,
    StockLine,
    UnitAboard,
)

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

SUFFIX = ".spares"
When = acts.When


def open_book(
    path: str | os.PathLike[str],
    create: bool = False,
    home_currency: str = "EUR",
    wait_s: float = 5.0,
    today: datetime.date | None = None,
) -> SparesBook:
    """Open a spares book.

    Parameters
    ----------
    path
        The file; ``.spares`` is added to a name without a suffix.
    create
        True to begin a new book there if there is no file.
    home_currency
        Of a new book: the money that all costs are in.
    wait_s
        Seconds to wait for another program that is writing.
    today
        The day on which acts without a date fall; by default that of the clock.

    Raises
    ------
    BookFileError
        If it is no spares book, damaged, or of a newer version; nothing is changed then.
    """
    place = Path(path)
    if not place.suffix and not place.exists():
        place = place.with_suffix(SUFFIX)
    if create and not os.path.lexists(place):
        opening.create(place, {"home_currency": words(home_currency, "home currency", required=True).upper()})
    return SparesBook(opening.open_ledger(place, wait_s, today))


class SparesBook:
    """An open book; use it in a ``with`` statement, or close it."""

    def __init__(self, ledger: Ledger) -> None:
        self.ledger = ledger

    def __enter__(self) -> SparesBook:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file."""
        self.ledger.close()

    @property
    def writable(self) -> bool:
        """False if the file may only be read."""
        return self.ledger.writable

    @property
    def about(self) -> dict[str, str]:
        """The home currency, and whatever else the book says of itself."""
        return dict(self.ledger.rows("SELECT name, value FROM about"))

    # cards

    def add_item(self, name: str, **fields: Any) -> Item:
        """A new item; ``fields`` are those of the record Item."""
        return self._item(things.add(self.ledger, "item", {"name": name, **fields}))

    def change_item(self, item: str, **fields: Any) -> Item:
        """Another name, minimum, locker or whatever of an item; its earlier cards stay readable."""
        number = things.find(self.ledger, "item", item)
        things.change(self.ledger, "item", number, fields)
        return self._item(number)

    def item(self, name: str) -> Item:
        """An item by name, an earlier name, maker's number, cross-reference or standard size."""
        return self._item(things.find(self.ledger, "item", name))

    def items(self) -> tuple[Item, ...]:
        """All items as their cards read now."""
        with self.ledger.reading():
            return tuple(things.items(self.ledger).values())

    def item_versions(self, item: str) -> tuple[ItemVersion, ...]:
        """All that an item's card has read, oldest first."""
        return things.versions(self.ledger, things.find(self.ledger, "item", item))

    def add_locker(self, name: str, place: str = "", kind: str = "aboard", note: str = "") -> Locker:
        """A new locker, aboard or ashore."""
        told = {"name": name, "place": place, "kind": kind, "note": note}
        number = things.add(self.ledger, "locker", told)
        return things.lockers(self.ledger)[number]

    def change_locker(self, locker: str, **fields: Any) -> Locker:
        """Another name, place or kind of a locker."""
        number = things.find(self.ledger, "locker", locker)
        things.change(self.ledger, "locker", number, fields)
        return things.lockers(self.ledger)[number]

    def lockers(self) -> tuple[Locker, ...]:
        """All lockers, with the one that stands for what is lent out."""
        return tuple(things.lockers(self.ledger).values())

    def add_unit(self, name: str, kind: str = "", hours: Amount | None = None, **fields: Any) -> UnitAboard:
        """A new unit aboard."""
        told = {"name": name, "kind": kind, "hours": hours, **fields}
        number = things.add(self.ledger, "unit", told)
        return things.units(self.ledger)[number]

    def change_unit(self, unit: str, **fields: Any) -> UnitAboard:
        """Another name or kind, or the hours now on the clock."""
        number = things.find(self.ledger, "unit", unit)
        things.change(self.ledger, "unit", number, fields)
        return things.units(self.ledger)[number]

    def units(self) -> tuple[UnitAboard, ...]:
        """All units aboard."""
        with self.ledger.reading():
            return tuple(things.units(self.ledger).values())

    # acts

    def receive(self, lines: Iterable[ReceiveLine], date: When = None, reference: str = "") -> tuple[Happened, ...]:
        """Write a delivery, all its lines or none; what it left of each item."""
        return acts.receive(self.ledger, lines, date, reference)

    def fit(
        self,
        item: str,
        unit: str,
        hours: Amount | None = None,
        date: When = None,
        quantity: Amount = 1,
        locker: str | None = None,
        note: str = "",
        lot: str = "",
    ) -> Happened:
        """Take a spare from stock, write it into the unit's history, say whether it is now to be reordered."""
        return acts.fit(self.ledger, item, unit, hours, date, quantity, locker, note, lot)

    def use(
        self,
        item: str,
        quantity: Amount = 1,
        locker: str | None = None,
        date: When = None,
        note: str = "",
        lot: str = "",
    ) -> Happened:
        """Use something up without fitting it to a unit."""
        return acts.take_out(self.ledger, "used", item, quantity, locker, date, note, {}, lot)

    def scrap(
        self,
        item: str,
        quantity: Amount = 1,
        locker: str | None = None,
        date: When = None,
        note: str = "",
        lot: str = "",
    ) -> Happened:
        """Throw away what is perished, seized or out of date."""
        return acts.take_out(self.ledger, "scrapped", item, quantity, locker, date, note, {}, lot)

    def move(
        self,
        item: str,
        to: str,
        quantity: Amount = 1,
        locker: str | None = None,
        date: When = None,
        note: str = "",
        lot: str = "",
    ) -> Happened:
        """Put something into another locker."""
        into = things.find(self.ledger, "locker", to)
        if into == acts.LENT:
            raise BookError("to lend something, say to whom")
        return acts.take_out(self.ledger, "moved", item, quantity, locker, date, note, {"locker_to": into}, lot)

    def lend(
        self,
        item: str,
        borrower: str,
        quantity: Amount = 1,
        locker: str | None = None,
        date: When = None,
        note: str = "",
    ) -> Happened:
        """Lend something; it stays the owner's, but is not aboard."""
        who = words(borrower, "borrower", required=True)
        return acts.take_out(
            self.ledger, "lent", item, quantity, locker, date, note, {"locker_to": acts.LENT, "person": who}
        )

    def give_back(
        self, item: str, borrower: str, quantity: Amount = 1, to: str | None = None, date: When = None, note: str = ""
    ) -> Happened:
        """Take back what was lent, into its own locker by default."""
        return acts.give_back(self.ledger, item, borrower, quantity, to, date, note)

    def lent(self, item: str) -> dict[str, Decimal]:
        """How many of an item each borrower has."""
        return acts.out_with(self.ledger, things.find(self.ledger, "item", item))

    def count(
        self,
        locker: str,
        found: Mapping[str, Amount],
        whole: bool = False,
        date: When = None,
        note: str = "",
        write: bool = True,
    ) -> tuple[Counted, ...]:
        """Hold a count against the book; differences are written, or only shown with ``write=False``.

        With ``whole``, what the book has in that locker and ``found`` does not name was not there.
        """
        return acts.count(self.ledger, locker, found, whole, date, note, write)

    def undo(self, movement: int, date: When = None, note: str = "") -> Happened:
        """Take a movement back by its mirror, once."""
        return undoing.undo(self.ledger, movement, date, note)

    def correct(self, movement: int, **changes: Any) -> Happened:
        """Take a movement back and write it again otherwise: date, quantity, cost_unit, locker_to, ..."""
        return undoing.correct(self.ledger, movement, changes)

    # what it adds up to

    def stock(self, item: str | None = None) -> tuple[StockLine, ...]:
        """How many of each item lie in each locker."""
        return stock.lines(self.ledger, None if item is None else things.find(self.ledger, "item", item))

    def lots(self, item: str | None = None) -> tuple[Lot, ...]:
        """What is left of each lot in each place, the oldest taken first; their sum is the stock."""
        return stock.lots(self.ledger, None if item is None else things.find(self.ledger, "item", item))

    def reorder_list(self) -> tuple[ReorderLine, ...]:
        """Items under their minimum aboard, critical ones first, with supplier and price of the last purchase."""
        return stock.reorder(self.ledger)

    def movements(self, item: str | None = None) -> tuple[Movement, ...]:
        """Movements of one item or of all, in the order in which they were written."""
        if item is None:
            return stock.movements(self.ledger)
        return stock.movements(self.ledger, "item = ?", (things.find(self.ledger, "item", item),))

    def columns(self) -> dict[str, NDArray[np.generic]]:
        """All movements as one array a field, fast for many; see ``files/book/columns.py``."""
        return columns.columns(self.ledger)

    def unit_history(self, unit: str) -> tuple[Movement, ...]:
        """What was fitted to a unit and stands, by date."""
        return stock.unit_history(self.ledger, things.find(self.ledger, "unit", unit))

    def last_bought(self, item: str) -> Movement | None:
        """The newest purchase of an item that stands."""
        number = stock.last_bought(self.ledger, things.find(self.ledger, "item", item))
        return None if number is None else stock.movements(self.ledger, "movement = ?", (number,))[0]

    # the file

    def check(self) -> tuple[str, ...]:
        """What is wrong inside the file; nothing if it is sound."""
        return check.check(self.ledger)

    def backup(self, target: str | os.PathLike[str]) -> None:
        """A copy in one file, read again and found sound; never over another file."""
        opening.back_up(self.ledger.link, self.ledger.path, Path(target))

    def _item(self, number: int) -> Item:
        return things.item_by_number(self.ledger, number)
