"""Making a new spares book, and copies of one: whole, or not there at all."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path
from typing import TYPE_CHECKING

from repairecon.book import faults, schema
from repairecon.book.ledger import now
from repairecon.records import BookFileError

if TYPE_CHECKING:
    import sqlite3


def run_steps(link: sqlite3.Connection, found: int) -> None:
    """Inside a transaction: executescript would commit it, so the statements go one by one."""
    import sqlite3

    strict = sqlite3.sqlite_version_info >= (3, 37)
    for step in range(found + 1, schema.VERSION + 1):
        statement = ""
        for line in schema.script(step, strict).splitlines(keepends=True):
            statement += line
            if sqlite3.complete_statement(statement):
                link.execute(statement)
                statement = ""
    link.execute(f"PRAGMA user_version = {schema.VERSION}")


def back_up(link: sqlite3.Connection, source: Path, target: Path) -> None:
    """Copy a book that may be in use; the copy is checked, and takes its name only when it is whole."""
    import sqlite3

    part = target.with_name(f".{target.name}.part")
    try:
        with faults.told(target):
            if os.path.lexists(target):
                raise BookFileError(f"{faults.name_of(target)} is there already: nothing was written")
            part.unlink(missing_ok=True)
            with contextlib.closing(sqlite3.connect(part, isolation_level=None)) as copy:
                link.backup(copy)
                copy.execute("PRAGMA journal_mode = DELETE")  # one file, whole in itself
                sound = copy.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
            if not sound:
                raise faults.damaged(source, "its copy does not read back")
            settle(part, target)
    except BaseException:
        for leftover in (part, part.with_name(part.name + "-journal")):
            leftover.unlink(missing_ok=True)
        raise


def settle(part: Path, target: Path) -> None:
    """Give a finished file its name, never over another one."""
    with part.open("rb+") as file:
        os.fsync(file.fileno())
    try:
        os.link(part, target)
    except FileExistsError:
        raise BookFileError(f"{faults.name_of(target)} is there already: nothing was written") from None
    except OSError:  # some sticks know no second name for a file
        part.rename(target)
    part.unlink(missing_ok=True)
    with contextlib.suppress(OSError):
        folder = os.open(target.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


def create(path: Path, about: dict[str, str], written_at: str = "") -> None:
    """A new, empty book; it gets its name when it is whole, and never takes the place of a file."""
    import sqlite3

    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with faults.told(path):
            if os.path.lexists(path):
                raise BookFileError(f"{faults.name_of(path)} is there already: nothing was written")
            with contextlib.closing(sqlite3.connect(part, isolation_level=None)) as link:
                link.execute("BEGIN IMMEDIATE")
                run_steps(link, 0)
                link.execute(f"PRAGMA application_id = {schema.APPLICATION_ID}")
                for name, value in about.items():
                    link.execute("INSERT INTO about VALUES (?, ?)", (name, value))
                link.execute("INSERT INTO lockers VALUES (1)")
                link.execute(
                    "INSERT INTO locker_versions (locker, name, kind, written_at) VALUES (1, ?, 'lent', ?)",
                    (schema.LENT, written_at or now()),
                )
                link.execute("COMMIT")
            settle(part, path)
    except BaseException:
        for leftover in (part, part.with_name(part.name + "-journal")):
            leftover.unlink(missing_ok=True)
        raise
