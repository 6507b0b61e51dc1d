"""One row of a CSV file: cells read with faults noted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from repairecon.read import values
from repairecon.read.problems import Problems, shown
from repairecon.read.values import Limits, Misread
from repairecon.records import Range, Source


@dataclass
class Row:
    """One row: cells by heading, read with faults noted."""

    file: str
    row: int
    cells: dict[str, str]
    problems: Problems
    bad: set[str] = field(default_factory=set)

    @property
    def source(self) -> Source:
        """Where this row stands."""
        return Source(self.file, self.row)

    def fault(self, column: str, found: str, write: str) -> None:
        """Note a fault of this row."""
        self.bad.add(column)
        self.problems.add(self.file, self.row, column, found, write)

    def text(self, column: str) -> str:
        """The cell, empty when blank or unreadable."""
        return "" if column in self.bad else self.cells.get(column, "")

    def has(self, column: str) -> bool:
        """True if something, right or wrong, is written there."""
        return bool(self.cells.get(column))

    def has_range(self, name: str) -> bool:
        """True if something, right or wrong, is written in one of the three columns."""
        return self.has(f"{name}_likely") or self.has(f"{name}_low") or self.has(f"{name}_high")

    def required(self, column: str, write: str) -> str:
        """The cell; a blank one is a fault (once a missing column is not)."""
        if column in self.cells and not self.cells[column]:
            self.fault(column, "nothing", write)
        return self.text(column)

    def number(self, column: str, limits: Limits) -> float | None:
        """The number in the cell, None when blank or wrong."""
        text = self.text(column)
        if not text:
            return None
        read = values.number(text, limits)
        if isinstance(read, Misread):
            self.fault(column, shown(text), read.write)
            return None
        return read

    def range(self, name: str, limits: Limits) -> Range | None:
        """The range in ``name_low``, ``name_likely``, ``name_high``, None when blank or wrong."""
        if not self.has_range(name):
            return None
        columns = [f"{name}_{end}" for end in ("low", "likely", "high")]
        low, likely, high = (self.number(c, limits) for c in columns)
        form = values.shape(self.text(f"{name}_shape"))
        if isinstance(form, Misread):
            self.fault(f"{name}_shape", shown(self.text(f"{name}_shape")), form.write)
            form = "pert"
        if any(c in self.bad for c in columns):
            return None
        read = values.in_order(low, likely, high, form, self.source)
        if isinstance(read, Misread):
            self.fault(f"{name}_{read.which}", read.found, read.write)
            return None
        return read

    def yes(self, column: str, default: bool = False) -> bool:
        """Yes or no."""
        text = self.text(column)
        if not text:
            return default
        read = values.yes_no(text)
        if isinstance(read, Misread):
            self.fault(column, shown(text), read.write)
            return default
        return read

    def choice(self, column: str, options: Sequence[str], default: str) -> str:
        """One of the options, whatever its case; the default when blank or wrong."""
        word = " ".join(self.text(column).casefold().split())
        if not word:
            return default
        if word in options:
            return word
        self.fault(column, shown(self.cells[column]), self.problems.advice(word, options))
        return default

    def date(self, column: str) -> str:
        """A date as year-month-day, empty when blank or wrong."""
        text = self.text(column)
        if not text:
            return ""
        read = values.date(text)
        if isinstance(read, Misread):
            self.fault(column, shown(text), read.write)
            return ""
        return read

    def note(self) -> str:
        """Free words about the row."""
        return self.text("note") or self.text("description")
