"""What every record is made of: where a figure was read, a number that is not sure; and what goes wrong on purpose.

Standard library only in this room. Money is in the home currency unless the field starts with ``quoted``
(then in the supplier's); times are in hours or days as the field says; ``*_rate`` is a fraction (0.20 for 20 %);
``p_*`` and ``chance`` lie in 0..1.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Literal, TypeVar

SHAPES = ("pert", "triangular", "lognormal", "uniform")  # shapes an uncertain number may have
Shape = Literal["pert", "triangular", "lognormal", "uniform"]
ASSUMED = "assumed"
DAYS_A_YEAR = 365.25


@dataclass(frozen=True)
class Source:
    """Where a figure was read: a file of the case and its row, or a default."""

    file: str
    row: int | None = None
    note: str = ""

    def __str__(self) -> str:
        return self.file if self.row is None else f"{self.file}:{self.row}"


@dataclass(frozen=True)
class Range:
    """An uncertain number: low, likely, high (a sure number repeats).

    For ``lognormal`` they are the values that 10 %, 50 % and 90 % of cases stay below, and the
    curve is a lognormal shifted so that it passes through all three.
    """

    low: float
    likely: float
    high: float
    shape: Shape = "pert"
    source: Source = Source(ASSUMED)

    @property
    def sure(self) -> bool:
        return self.low == self.high

    def scaled(self, factor: float) -> Range:
        return Range(self.low * factor, self.likely * factor, self.high * factor, self.shape, self.source)


NOTHING = Range(0.0, 0.0, 0.0)  # a sure 0


@dataclass(frozen=True)
class Assumed:
    """A default that the answer used because the case does not say; ``ways`` whose lives hang on it, if they do."""

    name: str
    value: str
    unit: str
    source: str
    ways: tuple[str, ...] = ()


@dataclass(frozen=True)
class Moved(Assumed):
    """A figure that was learned from past jobs: what it was and what it is now, as numbers."""

    was: float = 0.0
    now: float = 0.0


# ---- errors whose text is fit to show an owner ------------------------------------------------------
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
    where = "in the spreadsheet; nothing was written"


class PassageError(CaseError):
    where = "in passage.toml; nothing was worked out"


class ListError(CaseError):
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


T = TypeVar("T")
K = TypeVar("K")


def grouped(things: Iterable[T], by: Callable[[T], K]) -> dict[K, list[T]]:
    """Things that are alike in something, in lists by that; all in the order in which they come."""
    made: dict[K, list[T]] = {}
    for thing in things:
        made.setdefault(by(thing), []).append(thing)
    return made
