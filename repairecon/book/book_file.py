"""The file of a spares book: looked at, opened, brought up to this version, made anew, copied; whole or not at all."""

from __future__ import annotations

import contextlib
import datetime
import os
import sqlite3
from collections.abc import Iterator, Mapping
from pathlib import Path

from repairecon.book import proof, schema
from repairecon.book.ledger import LONGEST_CELL, Ledger, damaged, limit_time, name_of, now, worded_errors
from repairecon.records import BookFileError

LARGEST_FILE = 500_000_000
"""Bytes; 200,000 movements are 100 million."""
_HEAD = b"SQLite format 3\x00"


def _there_already(path: Path) -> BookFileError:
    return BookFileError(f"{name_of(path)} is there already: nothing was written")


def open_ledger(path: Path, wait_s: float, today: datetime.date | None, bring_up: bool = True) -> Ledger:
    """An existing book, brought up to this version; read-only where it cannot be written.

    An older book that may not be written, or is not to be (``bring_up`` False), is read from a copy in memory.
    """
    check_head(path)
    with worded_errors(path):
        link, writable = connection(path, wait_s)
    ledger = Ledger(path, link, writable, today)
    try:
        found = _version(ledger)
        _refuse_strange(ledger, found)
        if found < schema.VERSION and writable and bring_up:
            _bring_up(ledger, wait_s)
        elif found < schema.VERSION:
            newer = _brought_up_in_memory(path, link, found)
            ledger.close()
            ledger = Ledger(path, newer, False, today)
        elif writable:
            with worded_errors(path):
                link.execute("PRAGMA journal_mode = WAL")
    except BaseException:
        ledger.close()
        raise
    return ledger


def _version(ledger: Ledger) -> int:
    found = int(ledger.rows("PRAGMA user_version")[0][0])
    if found > schema.VERSION:
        raise BookFileError(
            f"{name_of(ledger.path)} was written by a newer version of this program (book {found}, this one knows "
            f"{schema.VERSION}): nothing was changed. Install the newer version"
        )
    if found < 1:
        raise damaged(ledger.path, "no version")
    return found


def _refuse_strange(ledger: Ledger, version: int) -> None:
    """A replaced view would answer what its writer likes, and may never end."""
    with worded_errors(ledger.path):
        wrong = proof.shape_faults(ledger.link, version)
    if wrong:
        raise damaged(ledger.path, "; ".join(wrong[:3]) + ("; ..." if len(wrong) > 3 else ""))


def _brought_up_in_memory(path: Path, link: sqlite3.Connection, found: int) -> sqlite3.Connection:
    copy = sqlite3.connect(":memory:", isolation_level=None)
    try:
        with worded_errors(path):
            link.backup(copy)
            copy.execute("BEGIN")
            proof.run_steps(copy, found)
            copy.execute("COMMIT")
    except BaseException:
        copy.close()
        raise
    return copy


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
    if len(head) < 100 or (whole and size < _whole_size(head) and not _log_of(path)):
        raise damaged(path, "cut short")
    if int.from_bytes(head[68:72], "big") != schema.APPLICATION_ID:
        raise BookFileError(f"{name} belongs to another program, it is no spares book: nothing was changed")


def _whole_size(head: bytes) -> int:
    """Bytes that the file says it has; SQLite itself fills up a last page that was cut."""
    page = int.from_bytes(head[16:18], "big")
    return int.from_bytes(head[28:32], "big") * (65536 if page == 1 else page) if head[24:28] == head[92:96] else 0


def _log_of(path: Path) -> Path | None:
    """The log beside the file that holds its last lines, if there is one."""
    log = path.with_name(path.name + "-wal")
    return log if log.exists() and log.stat().st_size else None


def connect(path: Path, mode: str, wait_s: float) -> sqlite3.Connection:
    """A connection in which nothing is written but by BEGIN IMMEDIATE; ``mode`` as in a SQLite URI."""
    link = sqlite3.connect(f"{path.absolute().as_uri()}?{mode}", uri=True, timeout=wait_s, isolation_level=None)
    link.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, LONGEST_CELL)
    limit_time(link)
    try:
        link.execute("PRAGMA foreign_keys = ON")
        link.execute("PRAGMA synchronous = FULL")
        link.execute("PRAGMA trusted_schema = OFF")
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
            raise BookFileError(
                f"{name_of(path)} was left in the midst of work, and its last lines are in {name_of(log)}: allow both "
                "and their folder to be written, or copy both to where that is so"
            ) from error
    return connect(path, "mode=ro&immutable=1", wait_s), False


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
            proof.run_steps(ledger.link, found)
            broken = ledger.link.execute("PRAGMA foreign_key_check").fetchall()
        if broken:
            raise damaged(path, "lines that belong to nothing")


@contextlib.contextmanager
def _new_file(path: Path) -> Iterator[Path]:
    """A file beside its place that takes the name when it is whole, and never the place of another."""
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with worded_errors(path):
            if os.path.lexists(path):
                raise _there_already(path)
            part.unlink(missing_ok=True)
            yield part
            _settle(part, path)
    finally:
        for end in ("", "-wal", "-shm", "-journal"):
            with contextlib.suppress(OSError):
                part.with_name(part.name + end).unlink(missing_ok=True)


def _settle(part: Path, target: Path) -> None:
    with part.open("rb+") as file:
        os.fsync(file.fileno())
    try:
        os.link(part, target)
    except FileExistsError:
        raise _there_already(target) from None
    except OSError:  # some sticks know no second name for a file
        part.rename(target)
    with contextlib.suppress(OSError):
        folder = os.open(target.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


@contextlib.contextmanager
def new_ledger(path: Path, about: Mapping[str, str], written_at: str = "") -> Iterator[Ledger]:
    """A new book, filled inside the ``with``; it gets its name when that ends well."""
    with _new_file(path) as part:
        with contextlib.closing(sqlite3.connect(part, isolation_level=None)) as link:
            link.execute("BEGIN IMMEDIATE")
            proof.run_steps(link, 0)
            link.execute(f"PRAGMA application_id = {schema.APPLICATION_ID}")
            link.execute("COMMIT")
        with contextlib.closing(Ledger(path, connect(part, "mode=rw", 5.0), True, None)) as ledger:
            with ledger.writing():
                ledger.insert_many("about", [{"name": name, "value": value} for name, value in about.items()])
                ledger.insert("lockers", {"locker": schema.LENT_NUMBER})
                lent = {"locker": schema.LENT_NUMBER, "name": schema.LENT, "kind": "lent"}
                ledger.insert("locker_versions", {**lent, "written_at": written_at or now()})
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
