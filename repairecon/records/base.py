"""What every record is made of: where a figure was read, and a number that is not sure.

Standard library only in this room. Money is in the home currency unless the field starts with ``quoted``
(then in the supplier's); times are in hours or days as the field says; ``*_rate`` is a fraction (0.20 for 20 %);
``p_*`` and ``chance`` lie in 0..1.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

SHAPES = ("pert", "triangular", "lognormal", "uniform")
"""Shapes an uncertain number may have."""
Shape = Literal["pert", "triangular", "lognormal", "uniform"]
ASSUMED = "assumed"


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
        """True when nothing about the number is uncertain."""
        return self.low == self.high

    def scaled(self, factor: float) -> Range:
        """The same range with every value times ``factor``."""
        return Range(self.low * factor, self.likely * factor, self.high * factor, self.shape, self.source)


NOTHING = Range(0.0, 0.0, 0.0)
"""A sure 0."""


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
