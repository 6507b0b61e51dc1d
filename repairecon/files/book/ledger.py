"""The open file: plain rows out, whole transactions in."""

from __future__ import annotations

import contextlib
import datetime
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from repairecon.files.book import faults
from repairecon.records import BookError

if TYPE_CHECKING:
    import sqlite3

Rows = list[tuple[Any, ...]]


class Ledger:
    """A connection that is written to only inside ``writing``."""

    def __init__(self, path: Path, link: sqlite3.Connection, writable: bool, today: datetime.date | None) -> None:
        self.path, self.writable, self._today = path, writable, today
        self._link: sqlite3.Connection | None = link
        self._inside = False

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
        if self._inside:
            yield
            return
        if not self.writable:
            raise faults.read_only(self.path)
        with faults.told(self.path):
            self.link.execute("BEGIN IMMEDIATE")
        self._inside = True
        try:
            yield
            with faults.told(self.path):
                self.link.execute("COMMIT")
        except BaseException:
            self._roll_back()
            raise
        finally:
            self._inside = False

    @contextlib.contextmanager
    def reading(self) -> Iterator[None]:
        """Several queries of one moment, whatever another program writes meanwhile."""
        if self._inside:
            yield
            return
        with faults.told(self.path):
            self.link.execute("BEGIN")
        self._inside = True
        try:
            yield
        finally:
            self._inside = False
            self._roll_back()

    def _roll_back(self) -> None:
        if self.link.in_transaction:  # some failures have rolled back already
            with contextlib.suppress(Exception):
                self.link.execute("ROLLBACK")


def now() -> str:
    """This moment, UTC."""
    return datetime.datetime.now(datetime.UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
