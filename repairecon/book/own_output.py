"""Files that an act writes beside the book: an earlier one of the same kind is replaced, nothing else ever."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from repairecon.book.ledger import name_of
from repairecon.read.files import write_all
from repairecon.read.problems import shown
from repairecon.read.sheets import read_sheet
from repairecon.records import RepaireconError, SheetError

_HEAD = 4_096


def write_own(path: Path, data: bytes, book: Path, is_ours: Callable[[Path], bool], kind: str) -> None:
    """Write a file whole or not at all.

    Parameters
    ----------
    path
        Where to.
    data
        What it shall hold.
    book
        The book, or the folder that it was built from: neither it nor what lies in that folder is replaced.
    is_ours
        Whether a file that is there already is an earlier one of this kind.
    kind
        What the file is called in a refusal.

    Raises
    ------
    RepaireconError
        If something else is there, or it cannot be written; nothing is changed then.
    """
    name = shown(name_of(path))
    if path.is_symlink():
        raise RepaireconError(f"{name} is a link: nothing was written. Name the file itself, or another")
    if path.exists():
        if not path.is_file():
            raise RepaireconError(f"{name} is no file: nothing was written")
        if _is_input(path, book):
            raise RepaireconError(f"{name} is what this is made from: nothing was written. Name another file")
        if not is_ours(path):
            raise RepaireconError(f"{name} is there already and is no {kind}: nothing was written. Name another file")
    write_all(path.parent, {path.name: data}, replace=True)


def _is_input(path: Path, book: Path) -> bool:
    folder = book if book.is_dir() else book.parent
    inputs = [book, folder / "passage.toml", *(folder.glob("*.csv") if book.is_dir() else ())]
    return any(there.exists() and path.samefile(there) for there in inputs)


def has_headings(headings: Sequence[str], sheet: str = "") -> Callable[[Path], bool]:
    """A test for a table of ours: its first row is these headings."""

    def is_ours(path: Path) -> bool:
        try:
            rows = read_sheet(path, sheet if path.suffix.casefold() == ".xlsx" else "").rows
        except (SheetError, OSError):
            return False
        return bool(rows) and [str(cell) for cell in next(iter(rows.values()))] == list(headings)

    return is_ours


def begins_with(mark: str) -> Callable[[Path], bool]:
    """A test for a text of ours: words that stand in its beginning."""

    def is_ours(path: Path) -> bool:
        try:
            with path.open("rb") as file:
                return mark.encode("utf-8") in file.read(_HEAD)
        except OSError:
            return False

    return is_ours
