"""The open file: plain rows out, whole transactions in."""

from __future__ import annotations

import contextlib
import datetime
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from repairecon.book import faults
from repairecon.records import BookError

if TYPE_CHECKING:
    import sqlite3

Rows = list[tuple[Any, ...]]
_OUTER = ("BEGIN IMMEDIATE", "COMMIT", "ROLLBACK")
_NESTED = ("SAVEPOINT inner", "RELEASE inner", "ROLLBACK TO inner; RELEASE inner")


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
            raise BookError(f"{faults.name_of(self.path)} is closed: open it again")
        return self._link

    def today(self) -> datetime.date:
        """The day on which acts without a date fall."""
        return self._today or datetime.date.today()

    def close(self) -> None:
        """Let go of the file; a second time does nothing."""
        link, self._link = self._link, None
        if link is not None:
            with faults.told(self.path):
                link.close()

    def rows(self, sql: str, values: Sequence[object] = ()) -> Rows:
        """All rows of a query."""
        with faults.told(self.path):
            return self.link.execute(sql, values).fetchall()

    def insert(self, table: str, values: Mapping[str, object]) -> int:
        """Add a row, only inside ``writing``; its number."""
        if not self.link.in_transaction:  # some failures end the transaction: nothing may follow them
            raise BookError(f"{faults.name_of(self.path)}: nothing was written")
        marks = ", ".join("?" * len(values))
        with faults.told(self.path):
            sql = f"INSERT INTO {table} ({', '.join(values)}) VALUES ({marks})"
            return int(self.link.execute(sql, tuple(values.values())).lastrowid or 0)

    def insert_many(self, table: str, rows: Sequence[Mapping[str, object]]) -> None:
        """Add rows of the same columns, only inside ``writing``; faster than one by one."""
        if not rows:
            return
        if not self.link.in_transaction:
            raise BookError(f"{faults.name_of(self.path)}: nothing was written")
        sql = f"INSERT INTO {table} ({', '.join(rows[0])}) VALUES ({', '.join(f':{name}' for name in rows[0])})"
        with faults.told(self.path):
            self.link.executemany(sql, rows)

    @contextlib.contextmanager
    def writing(self) -> Iterator[None]:
        """One transaction: all that is written inside is kept, or nothing is; inside another it is part of that."""
        if not self.writable:
            raise faults.read_only(self.path)
        if self._inside == "reading":
            raise BookError(f"{faults.name_of(self.path)} is being read: write when that is done")
        begin, keep, drop = _NESTED if self._inside else _OUTER
        with faults.told(self.path):
            self.link.execute(begin)
        before, self._inside = self._inside, "writing"
        try:
            yield
            with faults.told(self.path):
                self.link.execute(keep)
        except BaseException:
            self._roll_back(drop)
            raise
        finally:
            self._inside = before
        if not before:
            self._into_the_file()

    @contextlib.contextmanager
    def reading(self) -> Iterator[None]:
        """Several queries of one moment, whatever another program writes meanwhile."""
        if self._inside:
            yield
            return
        with faults.told(self.path):
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

    def _into_the_file(self) -> None:
        """Bring what the log keeps into the file itself, so that an owner who copies the one file copies all.

        The act is kept already: a disk that is full now, or a program that is reading, only puts this off.
        """
        with contextlib.suppress(Exception):
            self.link.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchall()


def now() -> str:
    """This moment, UTC."""
    return datetime.datetime.now(datetime.UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
