"""Opening a spares book: is it one, is it whole, is it of this version."""

from __future__ import annotations

import contextlib
import datetime
import os
from pathlib import Path
from typing import TYPE_CHECKING

from repairecon.book import faults, schema
from repairecon.book.ledger import Ledger, now
from repairecon.book.making import back_up, run_steps
from repairecon.records import BookFileError

if TYPE_CHECKING:
    import sqlite3

_HEAD = b"SQLite format 3\x00"


def connect(path: Path, mode: str, wait_s: float) -> sqlite3.Connection:
    """A connection in which nothing is written but by BEGIN IMMEDIATE; ``mode`` as in a SQLite URI."""
    import sqlite3

    uri = f"{path.absolute().as_uri()}?{mode}"
    link = sqlite3.connect(uri, uri=True, timeout=wait_s, isolation_level=None)
    try:
        link.execute("PRAGMA foreign_keys = ON")
        link.execute("PRAGMA synchronous = FULL")
        link.execute("PRAGMA trusted_schema = OFF")
        link.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except BaseException:
        link.close()
        raise
    return link


def check_head(path: Path) -> None:
    """Refuse what is no spares book before SQLite touches it."""
    name = faults.name_of(path)
    if not path.exists():
        raise BookFileError(f"{name}: no such file. To begin a new spares book: repairecon spares-aboard {name} new")
    if not path.is_file():
        raise BookFileError(f"{name} is no file: name a spares book")
    with faults.told(path), path.open("rb") as file:
        head = file.read(100)
    if not head:
        raise BookFileError(f"{name} is an empty file, no spares book. Look for a backup; nothing was changed")
    if not head.startswith(_HEAD):
        raise BookFileError(f"{name} is no spares book: nothing was changed. A table of yours can be imported instead")
    if len(head) < 100:
        raise faults.damaged(path, "cut short")
    if int.from_bytes(head[68:72], "big") != schema.APPLICATION_ID:
        raise BookFileError(f"{name} belongs to another program, it is no spares book: nothing was changed")


def open_ledger(path: Path, wait_s: float, today: datetime.date | None) -> Ledger:
    """An existing book, brought up to this version; read-only where it cannot be written."""
    check_head(path)
    with faults.told(path):
        link, writable = _connection(path, wait_s)
    ledger = Ledger(path, link, writable, today)
    try:
        _check_version(ledger, wait_s)
        if writable:
            with faults.told(path):
                link.execute("PRAGMA journal_mode = WAL")
    except BaseException:
        ledger.close()
        raise
    return ledger


def _connection(path: Path, wait_s: float) -> tuple[sqlite3.Connection, bool]:
    """Writable if the file and its folder are; a log that is left beside it needs both to be read."""
    if os.access(path, os.W_OK) and os.access(path.parent, os.W_OK):
        link = connect(path, "mode=rw", wait_s)
        return link, True
    log = path.with_name(path.name + "-wal")
    if log.exists() and log.stat().st_size:
        try:
            return connect(path, "mode=ro", wait_s), False
        except Exception as error:
            raise BookFileError(
                f"{faults.name_of(path)} was left in the midst of work, and its last lines are in "
                f"{faults.name_of(log)}: allow both and their folder to be written, or copy both to where that is so"
            ) from error
    return connect(path, "mode=ro&immutable=1", wait_s), False


def _check_version(ledger: Ledger, wait_s: float) -> None:
    found = int(ledger.rows("PRAGMA user_version")[0][0])
    name = faults.name_of(ledger.path)
    if found > schema.VERSION:
        raise BookFileError(
            f"{name} was written by a newer version of this program (book {found}, this one knows {schema.VERSION}): "
            "nothing was changed. Install the newer version"
        )
    if found == schema.VERSION:
        return
    if found < 1:
        raise faults.damaged(ledger.path, "no version")
    if not ledger.writable:
        raise BookFileError(f"{name} is of an older version and has to be brought up first, but it may only be read")
    _bring_up(ledger, wait_s)


def _bring_up(ledger: Ledger, wait_s: float) -> None:
    """Run the steps an older book lacks, after a backup that was read again and found sound."""
    with ledger.writing():  # no other program writes between the backup and the steps
        found = int(ledger.rows("PRAGMA user_version")[0][0])
        if found >= schema.VERSION:
            return
        copy = connect(ledger.path, "mode=ro", wait_s)
        with contextlib.closing(copy):
            back_up(copy, ledger.path, _backup_name(ledger.path, found))
        with faults.told(ledger.path):
            run_steps(ledger.link, found)
            broken = ledger.link.execute("PRAGMA foreign_key_check").fetchall()
        if broken:
            raise faults.damaged(ledger.path, "lines that belong to nothing")


def _backup_name(path: Path, found: int) -> Path:
    moment = now().replace(":", "").replace("-", "").replace(".", "")
    return path.with_name(f"{path.stem}-before-version-{found + 1}-{moment}{path.suffix}")
