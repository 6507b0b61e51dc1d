"""An open spares book: plain rows out, whole transactions in, every failure in an owner's words."""

from __future__ import annotations

import contextlib
import datetime
import sqlite3
import time
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Literal

from repairecon.book import proof, schema
from repairecon.read.problems import clean
from repairecon.records import BookBusyError, BookError, BookFileError, StockError

Rows = list[tuple[Any, ...]]
SECONDS, LONGEST_CELL = 60.0, 1_000_000
"""Of one query, and characters: more than any sound book takes."""
_OUTER = ("BEGIN IMMEDIATE", "COMMIT", "ROLLBACK")
_NESTED = ("SAVEPOINT inner", "RELEASE inner", "ROLLBACK TO inner; RELEASE inner")
_BUSY = {"SQLITE_BUSY", "SQLITE_LOCKED", "SQLITE_PROTOCOL"}
_DAMAGED = {"SQLITE_CORRUPT", "SQLITE_NOTADB", "SQLITE_IOERR_SHORT_READ", "SQLITE_FORMAT"}
_READ_ONLY = {"SQLITE_READONLY", "SQLITE_PERM", "SQLITE_AUTH"}
_FULL = {"SQLITE_FULL", "SQLITE_IOERR_WRITE", "SQLITE_IOERR_FSYNC", "SQLITE_IOERR_SHMSIZE", "SQLITE_IOERR_TRUNCATE"}


def name_of(path: Path) -> str:
    """The file as an owner knows it."""
    return clean(path.name)


def read_only(path: Path) -> BookFileError:
    """Nothing may be written there."""
    return BookFileError(
        f"{name_of(path)} may only be read: nothing was written. Allow the file and its folder to be written, "
        "or work on a copy"
    )


def damaged(path: Path, how: str = "") -> BookFileError:
    """The file is broken."""
    more = f" ({how})" if how else ""
    return BookFileError(
        f"{name_of(path)} is damaged{more}: nothing was changed. Keep it as it is, and go on from the newest backup "
        f"or export, or take what is sound into a new book: repairecon spares-aboard {name_of(path)} salvage NEW.spares"
    )


def _worded(error: sqlite3.Error, path: Path) -> BookError:
    """What SQLite reports, in an owner's words."""
    name = str(getattr(error, "sqlite_errorname", ""))
    base, text = "_".join(name.split("_")[:2]), clean(str(error))
    if name == "SQLITE_CONSTRAINT_TRIGGER" and text == "not so many there":
        return StockError("not so many lie there: nothing was written. Count the locker first")
    if name in _FULL:
        return BookFileError(f"{name_of(path)}: the disk is full or cannot be written ({text}): nothing was written")
    if base in _BUSY:
        return BookBusyError(
            f"{name_of(path)} is in use by another program: nothing was written. Try again in a moment"
        )
    if base in _DAMAGED or name in _DAMAGED:
        return damaged(path, text)
    if base in _READ_ONLY:
        return read_only(path)
    if base == "SQLITE_INTERRUPT":
        return damaged(path, f"a question to it took over {int(SECONDS)} seconds")
    if base == "SQLITE_TOOBIG":
        return damaged(path, f"a cell of more than {LONGEST_CELL} characters")
    if base == "SQLITE_CANTOPEN":
        return BookFileError(f"{name_of(path)} cannot be opened ({text})")
    if base == "SQLITE_CONSTRAINT":
        return BookError(f"the book refuses this, nothing was written: {text}")
    return BookFileError(f"{name_of(path)}: {text}; nothing was written")


@contextlib.contextmanager
def worded_errors(path: Path) -> Iterator[None]:
    """Errors of SQLite and of the file system become errors fit to show."""
    try:
        yield
    except sqlite3.Error as error:
        raise _worded(error, path) from error
    except UnicodeDecodeError as error:
        raise damaged(path, "text that is none") from error
    except OSError as error:
        raise BookFileError(f"{name_of(path)}: {error.strerror or error}; nothing was written") from error


class Ledger:
    """A connection that is written to only inside ``writing``."""

    def __init__(self, path: Path, link: sqlite3.Connection, writable: bool, today: datetime.date | None) -> None:
        self.path, self.writable, self._today = path, writable, today
        self._link: sqlite3.Connection | None = link
        self._inside: Literal["", "reading", "writing"] = ""

    @property
    def link(self) -> sqlite3.Connection:
        """The connection, while it is open."""
        if self._link is None:
            raise BookError(f"{name_of(self.path)} is closed: open it again")
        return self._link

    @property
    def is_open(self) -> bool:
        """False after ``close``."""
        return self._link is not None

    def today(self) -> datetime.date:
        """The day on which acts without a date fall."""
        return self._today or datetime.date.today()

    def close(self) -> None:
        """Let go of the file; a second time does nothing."""
        link, self._link = self._link, None
        if link is not None:
            with worded_errors(self.path):
                link.close()

    def rows(self, sql: str, values: Sequence[object] = ()) -> Rows:
        """All rows of a query, given up after a time that no sound book takes."""
        limit_time(self.link)
        with worded_errors(self.path):
            return self.link.execute(sql, values).fetchall()

    def insert(self, table: str, values: Mapping[str, object]) -> int:
        """Add a row, only inside ``writing``; its number."""
        return self.insert_many(table, [values])

    def insert_many(self, table: str, rows: Sequence[Mapping[str, object]]) -> int:
        """Add rows of the same columns, only inside ``writing``; the number of the last."""
        if not rows:
            return 0
        if not self.link.in_transaction:  # some failures end the transaction: nothing may follow them
            raise BookError(f"{name_of(self.path)}: nothing was written")
        sql = f"INSERT INTO {table} ({', '.join(rows[0])}) VALUES ({', '.join(f':{name}' for name in rows[0])})"
        with worded_errors(self.path):
            self.link.executemany(sql, rows)
            last = int(self.link.execute("SELECT last_insert_rowid()").fetchone()[0])
            given = [number for row in rows if isinstance(number := row.get(schema.KEYS.get(table, "")), int)]
            # what brings no number of its own is numbered by SQLite, one after the other
            proof.seal(self.link, table, given or range(last - len(rows) + 1, last + 1))
            return last

    @contextlib.contextmanager
    def writing(self) -> Iterator[None]:
        """One transaction: all that is written inside is kept, or nothing is; inside another it is part of that."""
        if not self.writable:
            raise read_only(self.path)
        if self._inside == "reading":
            raise BookError(f"{name_of(self.path)} is being read: write when that is done")
        begin, keep, drop = _NESTED if self._inside else _OUTER
        with worded_errors(self.path):
            self.link.execute(begin)
        before, self._inside = self._inside, "writing"
        try:
            yield
            with worded_errors(self.path):
                self.link.execute(keep)
        except BaseException:
            self._roll_back(drop)
            raise
        finally:
            self._inside = before
        if not before:
            # An owner copies the one file and must have all. The act is kept already: a disk that is full now, or a
            # program that is reading, only puts this off.
            with contextlib.suppress(Exception):
                self.link.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchall()

    @contextlib.contextmanager
    def reading(self) -> Iterator[None]:
        """Several queries of one moment, whatever another program writes meanwhile."""
        if self._inside:
            yield
            return
        with worded_errors(self.path):
            self.link.execute("BEGIN")
        self._inside = "reading"
        try:
            yield
        finally:
            self._inside = ""
            self._roll_back(_OUTER[2])

    def _roll_back(self, how: str) -> None:
        if self.link.in_transaction:  # some failures have rolled back already
            with contextlib.suppress(Exception):
                for statement in how.split(";"):
                    self.link.execute(statement)


def now() -> str:
    """This moment, UTC."""
    return datetime.datetime.now(datetime.UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def limit_time(link: sqlite3.Connection, seconds: float = SECONDS) -> None:
    """From now on: work that takes longer is given up (a hostile file can ask for work without end)."""
    end = time.monotonic() + seconds
    link.set_progress_handler(lambda: time.monotonic() > end, 100_000)
