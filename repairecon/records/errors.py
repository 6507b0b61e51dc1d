"""What goes wrong on purpose: errors whose text is fit to show an owner."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """One thing wrong in a case folder, and what to write instead."""

    file: str
    row: int | None
    column: str
    found: str
    write: str

    def __str__(self) -> str:
        where = self.file if self.row is None else f"{self.file} row {self.row}"
        where += f", {self.column}" if self.column else ""
        return f"{where}: found {self.found}; {self.write}"


class RepaireconError(Exception):
    """Anything this package raises on purpose; its text is fit to show an owner."""


class CaseError(RepaireconError):
    """A case folder with faults: all of them, not the first."""

    where = "in the case folder; nothing was worked out or written"

    def __init__(self, faults: Sequence[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(f) for f in self.faults))


class SheetError(CaseError):
    """A spreadsheet with faults: all of them, not the first."""

    where = "in the spreadsheet; nothing was written"


class PassageError(CaseError):
    """A passage.toml with faults: all of them, not the first."""

    where = "in passage.toml; nothing was worked out"


class ListError(CaseError):
    """A list for the spares book with faults: all of them, not the first."""

    where = "in the list; nothing was written"


class FindingError(RepaireconError):
    """A finding that names no branch of the tree, or that contradicts another."""


class BookError(RepaireconError):
    """A spares book that cannot do what was asked; nothing was written."""


class BookFileError(BookError):
    """A file that is no spares book, or one that is damaged, newer, read-only, or without room."""


class BookBusyError(BookError):
    """Another program kept the spares book to itself for too long."""


class StockError(BookError):
    """More asked of a place than lies there."""
