"""Files in and out: bytes to clean text; written whole or not at all."""

from __future__ import annotations

import codecs
import contextlib
import itertools
import os
from collections.abc import Iterator, Mapping
from pathlib import Path

from repairecon.read.problems import clean
from repairecon.records import RepaireconError

HERE = Path(__file__).parent
"""This room: data files lie in it."""

LARGEST_FILE = 50_000_000
"""Bytes; a case file of this size is a mistake."""


class Unreadable(Exception):
    """A file that gives no text at all: what was found, what to do."""

    def __init__(self, found: str, write: str) -> None:
        self.found, self.write = found, write
        super().__init__(found)


def decoded(data: bytes) -> str:
    """Text of bytes; what is not UTF-8 stays as lone surrogates."""
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        try:
            return data.decode("utf-16")
        except UnicodeDecodeError as error:
            raise Unreadable("broken UTF-16 text", "save the file again as CSV UTF-8") from error
    return data.decode("utf-8", "surrogateescape")  # its mark, if any, goes with the control characters


def read_text(path: Path) -> str:
    """The clean text of a file; bytes that are not UTF-8 stay as lone surrogates to be found later."""
    return clean(decoded(read_data(path)))


def read_data(path: Path) -> bytes:
    """The bytes of a file of sensible size."""
    try:
        if not path.is_file():
            raise Unreadable("no file of text" if path.exists() else "no such file", "put a text file there")
        size = path.stat().st_size
        if size > LARGEST_FILE:
            raise Unreadable(f"a file of {size} bytes", f"keep it under {LARGEST_FILE} bytes")
        return path.read_bytes()
    except OSError as error:
        reason = error.strerror or "it cannot be read"
        raise Unreadable(f"a file that cannot be read ({reason})", "allow it to be read") from error


@contextlib.contextmanager
def _in_words(path: Path) -> Iterator[None]:
    """Failures of the file system in an owner's words."""
    try:
        yield
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise RepaireconError(f"{clean(str(path))} could not be written: {reason}; nothing was changed") from error


def write_whole(path: str | os.PathLike[str], text: str) -> None:
    """Write a text file as a whole: a reader sees the old file or the new one, never half.

    Parameters
    ----------
    path
        The file; its folder must be there.
    text
        What it shall hold, written as UTF-8.

    Raises
    ------
    RepaireconError
        If it cannot be written; the old file is then as it was.
    """
    with _in_words(Path(path)):
        target = Path(os.path.realpath(path))
        _replace(target, text.encode("utf-8"))


def _free_name(target: Path) -> Path:
    """A name in the same folder that nothing has."""
    stem = f".{target.name[:100]}.{os.getpid()}"
    return next(path for k in itertools.count() if not os.path.lexists(path := target.with_name(f"{stem}-{k}.part")))


def _replace(target: Path, data: bytes) -> None:
    if target.is_dir():
        raise IsADirectoryError(0, "it is a folder")
    part = _free_name(target)
    try:
        with part.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        if target.exists():
            part.chmod(target.stat().st_mode & 0o777)
        part.replace(target)
    except BaseException:
        part.unlink(missing_ok=True)
        raise


def replace_all(folder: Path, files: Mapping[str, bytes]) -> None:
    """Write files of a folder, new or in place of old ones: all of them, or the folder is as it was."""
    old: dict[Path, bytes | None] = {}
    with _in_words(folder):
        try:
            for name, data in files.items():
                target = Path(os.path.realpath(folder / name))
                before = target.read_bytes() if target.exists() else None
                _replace(target, data)
                old[target] = before
        except BaseException:
            for target, before in old.items():
                with contextlib.suppress(OSError):
                    target.unlink() if before is None else _replace(target, before)
            raise


def write_all(folder: Path, files: Mapping[str, bytes]) -> None:
    """Write new files, folders made as needed: all of them, or none and no folder either."""
    made: list[Path] = []
    with _in_words(folder):
        try:
            for name, data in files.items():
                target = folder / name
                for parent in (*reversed(target.parent.parents), target.parent):
                    if not parent.exists():
                        parent.mkdir()
                        made.append(parent)
                if target.exists() or target.is_symlink():
                    raise FileExistsError(0, f"{name} is there already")
                _replace(target, data)
                made.append(target)
        except BaseException:
            for path in reversed(made):
                with contextlib.suppress(OSError):
                    path.rmdir() if path.is_dir() else path.unlink()
            raise
