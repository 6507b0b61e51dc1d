"""The spares book: one file, only added to, that knows what is aboard, where, what it cost and what it was fitted to.

The file is a SQLite database (an open, documented format), its suffix ``.spares``: the word says in a list of files
what it holds, and no other program takes a double click on it for its own. Read from here down an act passes two
places: the class that knows it (``cards``, ``stock``, ``acts``, ``on_order``) and the file (``ledger``).
"""

from __future__ import annotations

import contextlib
import datetime
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType

from repairecon.book import proof
from repairecon.book.amounts import words
from repairecon.book.ledger import back_up, damaged, limit_time, new_ledger, open_ledger
from repairecon.book.on_order import Orders
from repairecon.read.boat import BOOK, book_path, today_of
from repairecon.read.columns import BOAT
from repairecon.read.files import write_all
from repairecon.read.toml_records import PASSAGE, read_passage
from repairecon.records import BookError, Passage

SUFFIX = ".spares"
_OF_WRONG_CELLS = (TypeError, ValueError, LookupError, ArithmeticError)
"""What cells of a wrong kind, in a damaged or hostile file, may lead to anywhere."""


class SparesBook(Orders):
    """An open book; use it in a ``with`` statement, or close it."""

    def __enter__(self) -> SparesBook:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        """An error that is none of ours, in a book that is not sound, is that of the book."""
        wrong: tuple[str, ...] = ()
        if isinstance(error, _OF_WRONG_CELLS):
            with contextlib.suppress(BookError):  # a closed book
                wrong = self.check()
        self.close()
        if wrong:
            raise damaged(self.ledger.path, wrong[0]) from error

    def close(self) -> None:
        """Let go of the file."""
        self.ledger.close()

    @property
    def about(self) -> dict[str, str]:
        """The home currency, and whatever else the book says of itself."""
        first: dict[str, str] = dict(self.ledger.rows("SELECT name, value FROM about ORDER BY rowid"))
        return first | dict(self.ledger.rows("SELECT name, value FROM about_versions ORDER BY version"))

    def say(self, name: str, value: str) -> None:
        """Another name of the boat, or home money while no cost is written in the one before."""
        with self.ledger.writing():
            word = words(value, name, required=True)
            if name == "home_currency":
                word = word.upper()
                if word != self.currency and self.ledger.rows("SELECT 1 FROM movements WHERE cost_unit > 0 LIMIT 1"):
                    raise BookError(
                        f"the book holds costs in {self.currency}: they would be taken for {word}. Export it, write "
                        "the costs anew, and build a book from that folder"
                    )
            self.ledger.insert("about_versions", {"name": name, "value": word})

    @property
    def currency(self) -> str:
        """Home money, in which all costs are."""
        return self.about.get("home_currency", "EUR")

    def check(self) -> tuple[str, ...]:
        """What is wrong inside the file; nothing if it is sound."""
        limit_time(self.ledger.link)
        return proof.check(self.ledger.link)

    def backup(self, target: str | os.PathLike[str]) -> None:
        """A copy in one file, read again and found sound; never over another file."""
        back_up(self.ledger.link, self.ledger.path, Path(target))


def open_book(
    path: str | os.PathLike[str], create: bool = False, home_currency: str = "EUR", wait_s: float = 5.0,
    today: datetime.date | None = None, bring_up: bool = True,
) -> SparesBook:  # fmt: skip
    """Open a spares book; BookFileError if it is none, damaged, or of a newer version: nothing is changed then.

    ``.spares`` is added to a name without a suffix. With ``create`` a new book is begun if there is no file, all its
    costs in ``home_currency``. Another program that is writing is waited for ``wait_s`` seconds; acts without a date
    fall on ``today`` (default: the clock's). Without ``bring_up`` a book of an older version stays as it is, and can
    only be read.
    """
    place = Path(path)
    if not place.suffix and not place.exists():
        place = place.with_suffix(SUFFIX)
    if create and not os.path.lexists(place):
        currency = words(home_currency, "home currency", required=True).upper()
        with new_ledger(place, {"home_currency": currency}):
            pass
    return SparesBook(open_ledger(place, wait_s, today, bring_up))


def begin_book(place: str | os.PathLike[str], home_currency: str = "EUR") -> SparesBook:
    """A new, empty book; BookError if something of that name is there already."""
    path = Path(place)
    for name in (path, path if path.suffix else path.with_suffix(SUFFIX)):
        if os.path.lexists(name):
            raise BookError(f"{name.name} is there already: nothing was written")
    return open_book(path, create=True, home_currency=home_currency)


def book_place(place: str | os.PathLike[str]) -> Path:
    """The book of a boat whose folder is named; else the place itself."""
    path = Path(place)
    return (book_path(path) or path / BOOK) if (path / BOAT).is_file() else path


@contextlib.contextmanager
def book_at(
    place: str | os.PathLike[str], today: datetime.date | None = None, writing: bool = False
) -> Iterator[SparesBook]:
    """Open a book file, a boat's book by her folder, or a folder of CSV files (items.csv, ...) as a book to read.

    A book is built from the folder for the while, and the folder stays as it is: with ``writing`` it is a BookError.
    """
    from repairecon.book.csv_folder import book_from_csv

    path = book_place(place)
    if path != Path(place) and not writing:  # a boat's: her own day
        today = today or today_of(Path(place))
    if not path.is_dir():
        with open_book(path, today=today, bring_up=writing) as book:
            yield book
        return
    if writing:
        raise BookError(f"{path.name} is a folder of CSV files: build a book from it first, and write in that")
    with tempfile.TemporaryDirectory() as folder:
        built = Path(folder) / f"{path.resolve().name}{SUFFIX}"
        book_from_csv(path, built)
        with open_book(built, today=today) as book:
            yield book


@contextlib.contextmanager
def book_copy(place: str | os.PathLike[str], today: datetime.date | None = None) -> Iterator[SparesBook]:
    """A copy of a book to try things on; it is gone at the end, and the book is as it was."""
    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / f"copy{SUFFIX}"
        with book_at(place, today) as book:
            book.backup(target)
        with open_book(target, today=today) as copy:
            yield copy


def passage_for(place: str | os.PathLike[str], book: SparesBook) -> Passage:
    """What passage.toml says that lies beside the book, or in the folder it is kept in."""
    path, items = Path(place), book.items()
    folder = path if path.is_dir() else path.resolve().parent
    return read_passage(folder, [i.name for i in items], [i.system for i in items if i.system])


def keep_passage(folder: str | os.PathLike[str], beside: Path) -> str:
    """Copy the passage.toml of a folder beside the book built from it; what was done, in words."""
    source, target = Path(folder) / PASSAGE, beside / PASSAGE
    if not source.is_file() or source.resolve() == target.resolve():
        return ""
    if target.exists():
        return f"{PASSAGE} lies beside the book already: that of {folder} was not taken"
    write_all(beside, {PASSAGE: source.read_bytes()})
    return f"{PASSAGE} was copied beside it"
