"""What SQLite reports, as errors in an owner's words."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path

from repairecon.read.problems import clean
from repairecon.records import BookBusyError, BookError, BookFileError, StockError

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
        "or export"
    )


def _meant(error: Exception, path: Path) -> BookError:
    name = str(getattr(error, "sqlite_errorname", ""))
    base = "_".join(name.split("_")[:2])
    text = clean(str(error))
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
    if base == "SQLITE_CANTOPEN":
        return BookFileError(f"{name_of(path)} cannot be opened ({text})")
    if base == "SQLITE_CONSTRAINT":
        return BookError(f"the book refuses this, nothing was written: {text}")
    return BookFileError(f"{name_of(path)}: {text}; nothing was written")


@contextlib.contextmanager
def told(path: Path) -> Iterator[None]:
    """Errors of SQLite and of the file system become errors fit to show."""
    import sqlite3

    try:
        yield
    except sqlite3.Error as error:
        raise _meant(error, path) from error
    except OSError as error:
        reason = error.strerror or str(error)
        raise BookFileError(f"{name_of(path)}: {reason}; nothing was written") from error
