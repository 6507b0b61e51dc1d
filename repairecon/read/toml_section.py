"""One table of a TOML file such as case.toml, its values read with faults noted."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from repairecon.read import values
from repairecon.read.problems import SURE, Problems, closest, shown
from repairecon.read.text import clean
from repairecon.read.values import Limits, Misread
from repairecon.records import Range, Source

FILE = "case.toml"


@dataclass
class Section:
    """One table of the file."""

    name: str
    values: dict[str, Any]
    problems: Problems
    lines: Mapping[str, int] = field(default_factory=dict)
    nth: int = 0
    bad: set[str] = field(default_factory=set)
    file: str = FILE

    def line(self, key: str = "") -> int | None:
        """The line of a key, else of the section, as far as it can be told."""
        path = f"{self.name}#{self.nth}" if self.nth else self.name
        if key and f"{path}.{key}" in self.lines:
            return self.lines[f"{path}.{key}"]
        return self.lines.get(path)

    def column(self, key: str) -> str:
        """The key with its section, as faults name it."""
        return f"{self.name}.{key}" if self.name else key

    def source(self, key: str) -> Source:
        """Where a key stands."""
        return Source(self.file, self.line(key), self.column(key))

    def fault(self, key: str, found: str, write: str) -> None:
        """Note a fault."""
        self.bad.add(key)
        self.problems.add(self.file, self.line(key), self.column(key), found, write)

    def has(self, key: str) -> bool:
        """True if something, right or wrong, is written there."""
        return key in self.values

    def get(self, key: str) -> Any:
        """The value, None if absent or wrong."""
        return None if key in self.bad else self.values.get(key)

    def text(self, key: str) -> str:
        """Text, clean and on one line; empty if absent or wrong."""
        value = self.get(key)
        if value is None:
            return ""
        if isinstance(value, str):
            return " ".join(clean(value).split())
        self.fault(key, shown_value(value), "write words in double quotes")
        return ""

    def required(self, key: str, write: str) -> str:
        """Text that must be there."""
        text = self.text(key)
        if not text and key not in self.bad:
            self.fault(key, "nothing", write)
        return text

    def number(self, key: str, limits: Limits) -> float | None:
        """A number, None if absent or wrong."""
        value = self.get(key)
        return None if value is None else self._number(key, value, limits)

    def _number(self, key: str, value: object, limits: Limits) -> float | None:
        read = values.toml_number(value, limits)
        if isinstance(read, Misread):
            self.fault(key, shown_value(value), read.write)
            return None
        return read

    def range(self, key: str, limits: Limits) -> Range | None:
        """A number, [low, likely, high] or {low=, likely=, high=, shape=}; None if absent or wrong."""
        value = self.get(key)
        if value is None:
            return None
        ends: Sequence[object] = (None, value, None)
        form = "pert"
        if isinstance(value, list):
            if len(value) != 3:
                self.fault(key, shown_value(value), "write one number or [low, likely, high]")
                return None
            ends = value
        elif isinstance(value, dict):
            self._unknown(key, value)
            form = str(value.get("shape", "pert"))
            ends = [value.get(end) for end in ("low", "likely", "high")]
        numbers = [None if end is None else self._number(key, end, limits) for end in ends]
        shape = values.shape(clean(form))
        if isinstance(shape, Misread):
            self.fault(key, shown(form), shape.write)
        if key in self.bad or isinstance(shape, Misread):
            return None
        read = values.in_order(numbers[0], numbers[1], numbers[2], shape, self.source(key))
        if isinstance(read, Misread):
            self.fault(key, read.found if read.found != "nothing" else f"no {read.which}", read.write)
            return None
        return read

    def _unknown(self, key: str, value: Mapping[str, object]) -> None:
        known = ("low", "likely", "high", "shape")
        for name in value:
            if name not in known:
                self.fault(key, f"an unknown key {shown(name)}", self.problems.advice(name, known))

    def choice(self, key: str, options: Sequence[str], default: str) -> str:
        """One of the options; the default if absent or wrong."""
        word = self.text(key).casefold()
        if not word:
            return default
        if word in options:
            return word
        self.fault(key, shown(word), self.problems.advice(word, options))
        return default

    def date(self, key: str) -> str:
        """A date, empty if absent or wrong."""
        value = self.get(key)
        if value is None:
            return ""
        read = values.date(value)
        if isinstance(read, Misread):
            self.fault(key, shown_value(value), read.write)
            return ""
        return read

    def only(self, known: Sequence[str]) -> Section:
        """Note unknown keys; a misspelt one is read as what it was meant to be."""
        for name in list(self.values):
            if name in known:
                continue
            self.fault(name, f"an unknown key {shown(name)}", self.problems.advice(name, known))
            near = closest(name, known, cutoff=SURE)
            if near and near not in self.values:
                self.values[near] = self.values[name]
        return self


def shown_value(value: object) -> str:
    if isinstance(value, str):
        return shown(value)
    try:
        return shown(str(value))
    except ValueError:  # a whole number of thousands of digits has no text
        return "a number beyond all measure"
