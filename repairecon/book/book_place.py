"""A spares book wherever it is kept: the book file itself, or a folder of CSV files that one is built from."""

from __future__ import annotations

import contextlib
import datetime
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

from repairecon.book.spares_book import SUFFIX, SparesBook, open_book
from repairecon.book.spares_csv import book_from_csv
from repairecon.read.passage_toml import read_passage
from repairecon.records import BookError, Passage


@contextlib.contextmanager
def book_at(
    place: str | os.PathLike[str], today: datetime.date | None = None, writing: bool = False
) -> Iterator[SparesBook]:
    """Open a book file, or a folder as a book to read.

    Parameters
    ----------
    place
        The book, or a folder of CSV files (items.csv, lockers.csv, ...): a book is then built from it for the while,
        and the folder stays as it is.
    today
        The day on which acts without a date fall.
    writing
        True where something is to be written, which a folder cannot take.

    Raises
    ------
    BookError
        If a folder is to be written to.
    """
    path = Path(place)
    if not path.is_dir():
        with open_book(path, today=today) as book:
            yield book
        return
    if writing:
        raise BookError(f"{path.name} is a folder of CSV files: build a book from it first, and write in that")
    with tempfile.TemporaryDirectory() as folder:
        built = Path(folder) / f"{path.resolve().name}{SUFFIX}"
        book_from_csv(path, built)
        with open_book(built, today=today) as book:
            yield book


def begin_book(place: str | os.PathLike[str], home_currency: str = "EUR") -> SparesBook:
    """A new, empty book.

    Raises
    ------
    BookError
        If something of that name is there already.
    """
    path = Path(place)
    for name in (path, path.with_suffix(SUFFIX) if not path.suffix else path):
        if os.path.lexists(name):
            raise BookError(f"{name.name} is there already: nothing was written")
    return open_book(path, create=True, home_currency=home_currency)


def passage_for(place: str | os.PathLike[str], book: SparesBook) -> Passage:
    """What passage.toml says that lies beside the book, or in the folder it is kept in."""
    path = Path(place)
    items = book.items()
    folder = path if path.is_dir() else path.resolve().parent
    return read_passage(folder, [i.name for i in items], [i.system for i in items if i.system])


@contextlib.contextmanager
def book_copy(place: str | os.PathLike[str], today: datetime.date | None = None) -> Iterator[SparesBook]:
    """A copy of a book to try things on; it is gone at the end, and the book is as it was."""
    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / f"copy{SUFFIX}"
        with book_at(place, today) as book:
            book.backup(target)
        with open_book(target, today=today) as copy:
            yield copy
