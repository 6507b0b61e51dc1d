"""The spares book: one file, only added to, that knows what is aboard, where, what it cost and what it was fitted to.

The file is a SQLite database (an open, documented format), its suffix ``.spares``: the word says in a list of files
what it holds, and no other program takes a double click on it for its own.
"""

from __future__ import annotations

import datetime
import os
from collections.abc import Iterable, Mapping
from pathlib import Path
from types import TracebackType
from typing import Any

from repairecon.book import acts, check, counting, making, opening, receiving, taking, things, undoing, whole_jobs
from repairecon.book.amounts import Amount, words
from repairecon.book.answers import Answers
from repairecon.book.card_box import CardBox
from repairecon.book.ledger import Ledger
from repairecon.records import (
    BookError,
    Counted,
    FitLine,
    Happened,
    JobInBook,
    ReceiveLine,
)

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
        making.create(place, {"home_currency": words(home_currency, "home currency", required=True).upper()})
    return SparesBook(opening.open_ledger(place, wait_s, today))


class SparesBook(CardBox, Answers):
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

    def receive(self, lines: Iterable[ReceiveLine], date: When = None, reference: str = "") -> tuple[Happened, ...]:
        """Write a delivery, all its lines or none; what it left of each item."""
        return receiving.receive(self.ledger, lines, date, reference)

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
        return taking.fit(self.ledger, item, unit, hours, date, quantity, locker, note, lot)

    def write_job(
        self,
        reference: str,
        received: Iterable[ReceiveLine],
        fitted: Iterable[FitLine],
        unit: str,
        hours: Amount | None = None,
        date: When = None,
        new_cards: Iterable[Mapping[str, Any]] = (),
        new_unit: bool = False,
        write: bool = True,
    ) -> JobInBook:
        """Write all that came and all that was fitted to a unit on one job, or nothing; once for a reference.

        ``new_cards`` are the fields of items that the book does not know yet; with ``new_unit`` the unit is added too.
        ``write=False`` shows what would happen.
        """
        job = whole_jobs.Job(reference, tuple(received), tuple(fitted), unit, hours, date, tuple(new_cards), new_unit)
        return whole_jobs.write_job(self.ledger, job, write)

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
        return taking.take_out(self.ledger, "used", item, quantity, locker, date, note, {}, lot)

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
        return taking.take_out(self.ledger, "scrapped", item, quantity, locker, date, note, {}, lot)

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
        return taking.take_out(self.ledger, "moved", item, quantity, locker, date, note, {"locker_to": into}, lot)

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
        return taking.take_out(
            self.ledger, "lent", item, quantity, locker, date, note, {"locker_to": acts.LENT, "person": who}
        )

    def give_back(
        self, item: str, borrower: str, quantity: Amount = 1, to: str | None = None, date: When = None, note: str = ""
    ) -> Happened:
        """Take back what was lent, into its own locker by default."""
        return taking.give_back(self.ledger, item, borrower, quantity, to, date, note)

    def count(
        self,
        locker: str,
        found: Mapping[str, Amount],
        whole: bool = False,
        date: When = None,
        note: str = "",
        write: bool = True,
        cure_date: When = None,
        lot: str = "",
    ) -> tuple[Counted, ...]:
        """Hold a count against the book; differences are written, or only shown with ``write=False``.

        With ``whole``, what the book has in that locker and ``found`` does not name was not there. ``cure_date`` and
        ``lot`` are those read on what is there beyond the book.
        """
        return counting.count(self.ledger, locker, found, whole, date, note, write, cure_date, lot)

    def undo(self, movement: int, date: When = None, note: str = "") -> Happened:
        """Take a movement back by its mirror, once."""
        return undoing.undo(self.ledger, movement, date, note)

    def correct(self, movement: int, **changes: Any) -> Happened:
        """Take a movement back and write it again otherwise: date, quantity, cost_unit, locker_to, ..."""
        return undoing.correct(self.ledger, movement, changes)

    def check(self) -> tuple[str, ...]:
        """What is wrong inside the file; nothing if it is sound."""
        return check.check(self.ledger)

    def backup(self, target: str | os.PathLike[str]) -> None:
        """A copy in one file, read again and found sound; never over another file."""
        making.back_up(self.ledger.link, self.ledger.path, Path(target))
