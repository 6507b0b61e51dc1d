"""The file of a spares book: opened, made, copied; rows out, whole transactions in, failures in an owner's words."""

from __future__ import annotations

import contextlib
import datetime
import os
import sqlite3
import time
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Literal

from repairecon.book import schema
from repairecon.read.problems import clean
from repairecon.records import BookBusyError, BookError, BookFileError, StockError

Rows = list[tuple[Any, ...]]
SECONDS, LONGEST_CELL = 60.0, 1_000_000  # of one query, and characters: more than any sound book takes
LARGEST_FILE = 500_000_000  # bytes; 200,000 movements are 100 million
_HEAD = b"SQLite format 3\x00"
_OUTER = ("BEGIN IMMEDIATE", "COMMIT", "ROLLBACK")
_NESTED = ("SAVEPOINT inner", "RELEASE inner", "ROLLBACK TO inner; RELEASE inner")
_DAMAGED = {
    **dict.fromkeys(("CORRUPT", "NOTADB", "IOERR_SHORT_READ", "FORMAT"), ""),
    "INTERRUPT": f"a question to it took over {int(SECONDS)} seconds",
    "TOOBIG": f"a cell of more than {LONGEST_CELL} characters",
}
"""What tells of a damaged file, with words of ours where those of SQLite say little."""


def now() -> str:
    return datetime.datetime.now(datetime.UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def name_of(path: Path) -> str:
    return clean(path.name)


def damaged(path: Path, how: str = "") -> BookFileError:
    what, advice = f"{name_of(path)} is damaged{f' ({how})' if how else ''}", "take what is sound into a new book"
    return BookFileError(
        f"{what}: nothing was changed. Keep it as it is, and go on from the newest backup or export, or {advice}: "
        f"repairecon spares-aboard {name_of(path)} salvage NEW.spares"
    )


_READ_ONLY = "{} may only be read: nothing was written. Allow the file and its folder to be written, or work on a copy"
_WORDS: tuple[tuple[str, type[BookError], str], ...] = (
    ("FULL IOERR_WRITE IOERR_FSYNC IOERR_SHMSIZE IOERR_TRUNCATE", BookFileError,
     "{}: the disk is full or cannot be written ({}): nothing was written"),
    ("BUSY LOCKED PROTOCOL", BookBusyError,
     "{} is in use by another program: nothing was written. Try again in a moment"),
    ("READONLY PERM AUTH", BookFileError, _READ_ONLY),
    ("CANTOPEN", BookFileError, "{} cannot be opened ({})"),
    ("CONSTRAINT", BookError, "the book refuses this, nothing was written: {1}"),
    ("", BookFileError, "{}: {}; nothing was written"),
)  # fmt: skip
"""Names of errors, or of their families, with our words for them; the last is for all others."""


@contextlib.contextmanager
def worded_errors(path: Path) -> Iterator[None]:
    """Errors of SQLite and of the file system become errors fit to show."""
    try:
        yield
    except sqlite3.Error as error:
        name, text = str(getattr(error, "sqlite_errorname", "")).removeprefix("SQLITE_"), clean(str(error))
        family = name.split("_")[0]
        if name == "CONSTRAINT_TRIGGER" and text == "not so many there":
            raise StockError("not so many lie there: nothing was written. Count the locker first") from error
        if family in _DAMAGED or name in _DAMAGED:
            raise damaged(path, _DAMAGED.get(family) or text) from error
        _, kind, words = next(w for w in _WORDS if not w[0] or {name, family} & set(w[0].split()))
        raise kind(words.format(name_of(path), text)) from error
    except UnicodeDecodeError as error:
        raise damaged(path, "text that is none") from error
    except FileExistsError as error:
        raise BookFileError(f"{name_of(path)} is there already: nothing was written") from error
    except OSError as error:
        raise BookFileError(f"{name_of(path)}: {error.strerror or error}; nothing was written") from error


@contextlib.contextmanager
def noting(faults: list[str], lead: str = "") -> Iterator[None]:
    """What the book refuses inside goes with the faults; a file that fails still stops everything."""
    try:
        yield
    except (BookFileError, BookBusyError):
        raise
    except BookError as error:
        faults.append(f"{lead}{error}")


class Ledger:
    """A connection that is written to only inside ``writing``."""

    def __init__(self, path: Path, link: sqlite3.Connection, writable: bool, today: datetime.date | None) -> None:
        self.path, self.writable, self._today = path, writable, today
        self._link: sqlite3.Connection | None = link
        self._inside: Literal["", "reading", "writing"] = ""

    @property
    def link(self) -> sqlite3.Connection:
        if self._link is None:
            raise BookError(f"{name_of(self.path)} is closed: open it again")
        return self._link

    def today(self) -> datetime.date:
        """The day on which acts without a date fall."""
        return self._today or datetime.date.today()

    def close(self) -> None:
        link, self._link = self._link, None
        if link:
            with worded_errors(self.path):
                link.close()

    def rows(self, sql: str, values: Sequence[object] = ()) -> Rows:
        """All rows of a query, given up after a time that no sound book takes."""
        limit_time(self.link)
        with worded_errors(self.path):
            return self.link.execute(sql, values).fetchall()

    def insert(self, table: str, *rows: Mapping[str, object]) -> int:
        """Add rows of the same columns, only inside ``writing``, stamped with this moment; the number of the last."""
        if not rows:
            return 0
        if table in ("movements", "orders") or table.endswith("_versions"):
            rows = tuple({"written_at": now(), **row} for row in rows)
        if not self.link.in_transaction:  # some failures end the transaction: nothing may follow them
            raise BookError(f"{name_of(self.path)}: nothing was written")
        sql = f"INSERT INTO {table} ({', '.join(rows[0])}) VALUES ({', '.join(f':{name}' for name in rows[0])})"
        with worded_errors(self.path):
            self.link.executemany(sql, rows)
            last = int(self.link.execute("SELECT last_insert_rowid()").fetchone()[0])
            given = [number for row in rows if isinstance(number := row.get(schema.KEYS.get(table, "")), int)]
            # what brings no number of its own is numbered by SQLite, one after the other
            schema.seal(self.link, table, given or range(last - len(rows) + 1, last + 1))
            return last

    @contextlib.contextmanager
    def writing(self) -> Iterator[None]:
        """One transaction: all that is written inside is kept, or nothing is; inside another it is part of that."""
        if not self.writable:
            raise BookFileError(_READ_ONLY.format(name_of(self.path)))
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


def limit_time(link: sqlite3.Connection, seconds: float = SECONDS) -> None:
    """From now on: work that takes longer is given up (a hostile file can ask for work without end)."""
    end = time.monotonic() + seconds
    link.set_progress_handler(lambda: time.monotonic() > end, 100_000)


def open_ledger(path: Path, wait_s: float, today: datetime.date | None, bring_up: bool = True) -> Ledger:
    """An existing book, brought up to this version; read-only where it cannot be written.

    An older book that may not be written, or is not to be (``bring_up`` False), is read from a copy in memory.
    """
    check_head(path)
    with worded_errors(path):
        link, writable = connection(path, wait_s)
    ledger = Ledger(path, link, writable, today)
    try:
        found = int(ledger.rows("PRAGMA user_version")[0][0])
        if found > schema.VERSION:
            newer = f"a newer version of this program (book {found}, this one knows {schema.VERSION})"
            raise BookFileError(
                f"{name_of(path)} was written by {newer}: nothing was changed. Install the newer version"
            )
        if found < 1:
            raise damaged(path, "no version")
        with worded_errors(path):  # a replaced view would answer what its writer likes, and may never end
            wrong = schema.shape_faults(link, found)
        if wrong:
            raise damaged(path, "; ".join(wrong[:3]) + ("; ..." if len(wrong) > 3 else ""))
        if found < schema.VERSION and writable and bring_up:
            _bring_up(ledger, wait_s)
        elif found < schema.VERSION:
            copy = sqlite3.connect(":memory:", isolation_level=None)
            ledger = Ledger(path, copy, False, today)
            with worded_errors(path), contextlib.closing(link):
                link.backup(copy)
                copy.execute("BEGIN")
                schema.run_steps(copy, found)
                copy.execute("COMMIT")
        elif writable:
            with worded_errors(path):
                link.execute("PRAGMA journal_mode = WAL")
    except BaseException:
        ledger.close()
        raise
    return ledger


def _bring_up(ledger: Ledger, wait_s: float) -> None:
    """Run the steps an older book lacks, after a backup that was read again and found sound."""
    path = ledger.path
    with ledger.writing():  # no other program writes between the backup and the steps
        found = int(ledger.rows("PRAGMA user_version")[0][0])
        if found >= schema.VERSION:  # another program was quicker
            return
        moment = now().translate({ord(c): None for c in ":-."})
        with contextlib.closing(connect(path, "mode=ro", wait_s)) as copy:
            back_up(copy, path, path.with_name(f"{path.stem}-before-version-{found + 1}-{moment}{path.suffix}"))
        with worded_errors(path):
            schema.run_steps(ledger.link, found)
            broken = ledger.link.execute("PRAGMA foreign_key_check").fetchall()
        if broken:
            raise damaged(path, "lines that belong to nothing")


def check_head(path: Path, whole: bool = True) -> None:
    """Refuse what is no spares book before SQLite touches it; with ``whole``, what was cut short too."""
    name = name_of(path)
    if not path.exists():
        raise BookFileError(f"{name}: no such file. To begin a new spares book: repairecon spares-aboard {name} new")
    if not path.is_file():
        raise BookFileError(f"{name} is no file: name a spares book")
    with worded_errors(path), path.open("rb") as file:
        head, size = file.read(100), path.stat().st_size
    if not head:
        raise BookFileError(f"{name} is an empty file, no spares book. Look for a backup; nothing was changed")
    if not head.startswith(_HEAD):
        raise BookFileError(f"{name} is no spares book: nothing was changed. A table of yours can be imported instead")
    if size > LARGEST_FILE:
        raise BookFileError(f"{name} is of {size} bytes, over {LARGEST_FILE}: no spares book grows so large")
    page, pages = int.from_bytes(head[16:18], "big"), int.from_bytes(head[28:32], "big")
    # the size that the file says it has: SQLite itself fills up a last page that was cut
    says = pages * (65536 if page == 1 else page) if head[24:28] == head[92:96] else 0
    if len(head) < 100 or (whole and size < says and not _log_of(path)):
        raise damaged(path, "cut short")
    if int.from_bytes(head[68:72], "big") != schema.APPLICATION_ID:
        raise BookFileError(f"{name} belongs to another program, it is no spares book: nothing was changed")


def _log_of(path: Path) -> Path | None:
    log = path.with_name(path.name + "-wal")
    return log if log.exists() and log.stat().st_size else None


def connect(path: Path, mode: str, wait_s: float) -> sqlite3.Connection:
    """A connection in which nothing is written but by BEGIN IMMEDIATE; ``mode`` as in a SQLite URI."""
    link = sqlite3.connect(f"{path.absolute().as_uri()}?{mode}", uri=True, timeout=wait_s, isolation_level=None)
    link.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, LONGEST_CELL)
    limit_time(link)
    try:
        for setting in ("foreign_keys = ON", "synchronous = FULL", "trusted_schema = OFF"):
            link.execute(f"PRAGMA {setting}")
        link.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except BaseException:
        link.close()
        raise
    return link


def connection(path: Path, wait_s: float) -> tuple[sqlite3.Connection, bool]:
    """Writable if the file and its folder are; a log that is left beside it needs both to be read."""
    if os.access(path, os.W_OK) and os.access(path.parent, os.W_OK):
        return connect(path, "mode=rw", wait_s), True
    if log := _log_of(path):
        try:
            return connect(path, "mode=ro", wait_s), False
        except Exception as error:
            left = f"{name_of(path)} was left in the midst of work, and its last lines are in {name_of(log)}"
            write = "allow both and their folder to be written, or copy both to where that is so"
            raise BookFileError(f"{left}: {write}") from error
    return connect(path, "mode=ro&immutable=1", wait_s), False


@contextlib.contextmanager
def _new_file(path: Path) -> Iterator[Path]:
    """A file beside its place that takes the name when it is whole, and never the place of another."""
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with worded_errors(path):
            if os.path.lexists(path):
                raise FileExistsError(0, "there already")
            part.unlink(missing_ok=True)
            yield part
            with part.open("rb+") as file:
                os.fsync(file.fileno())
            try:
                os.link(part, path)
            except FileExistsError:
                raise
            except OSError:  # some sticks know no second name for a file
                part.rename(path)
            with contextlib.suppress(OSError):
                folder = os.open(path.parent, os.O_RDONLY)
                try:
                    os.fsync(folder)
                finally:
                    os.close(folder)
    finally:
        for end in ("", "-wal", "-shm", "-journal"):
            with contextlib.suppress(OSError):
                part.with_name(part.name + end).unlink(missing_ok=True)


@contextlib.contextmanager
def new_ledger(path: Path, about: Mapping[str, str], written_at: str = "") -> Iterator[Ledger]:
    """A new book, filled inside the ``with``; it gets its name when that ends well."""
    with _new_file(path) as part:
        with contextlib.closing(sqlite3.connect(part, isolation_level=None)) as link:
            link.execute("BEGIN IMMEDIATE")
            schema.run_steps(link, 0)
            link.execute(f"PRAGMA application_id = {schema.APPLICATION_ID}")
            link.execute("COMMIT")
        with contextlib.closing(Ledger(path, connect(part, "mode=rw", 5.0), True, None)) as ledger:
            with ledger.writing():
                ledger.insert("about", *({"name": name, "value": value} for name, value in about.items()))
                ledger.insert("lockers", {"locker": schema.LENT_NUMBER})
                lent = {"locker": schema.LENT_NUMBER, "name": schema.LENT, "kind": "lent"}
                ledger.insert("locker_versions", lent | ({"written_at": written_at} if written_at else {}))
            yield ledger
            ledger.link.execute("PRAGMA journal_mode = WAL")  # else the first opening would change the file


def back_up(link: sqlite3.Connection, source: Path, target: Path) -> None:
    """Copy a book that may be in use; the copy is checked, and takes its name only when it is whole."""
    with _new_file(target) as part:
        with contextlib.closing(sqlite3.connect(part, isolation_level=None)) as copy:
            link.backup(copy)
            copy.execute("PRAGMA journal_mode = DELETE")  # one file, whole in itself
            sound = copy.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        if not sound:
            raise damaged(source, "its copy does not read back")
