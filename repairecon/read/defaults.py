"""Defaults out of the data files beside this one, and the list of those that were used."""

from __future__ import annotations

import tomllib
from dataclasses import fields, replace
from functools import cache
from typing import Any, TypeVar, cast

from repairecon.kinds import facts, kinds
from repairecon.read.files import HERE
from repairecon.read.tables import Entry
from repairecon.read.values import plain
from repairecon.records import ASSUMED, Assumed, Range, Source

T = TypeVar("T")
DEFINITION = "by the kind of way"  # source of what follows from the kind of way: nothing is assumed there


@cache
def shipped(name: str) -> dict[str, Any]:
    return tomllib.loads((HERE / name).read_text(encoding="utf-8"))


def as_text(value: Any) -> str:
    """A default as the list of assumed figures shows it."""
    if isinstance(value, Range):
        value = [value.low, value.likely, value.high]
    if isinstance(value, list):
        return " / ".join(as_text(v) for v in value)
    return plain(value) if isinstance(value, int | float) else str(value)


class Defaults:
    """Hands out defaults and remembers which."""

    def __init__(self) -> None:
        self._values = shipped("defaults.toml")
        self._used: dict[tuple[str, str], Assumed] = {}

    @property
    def used(self) -> tuple[Assumed, ...]:
        """The defaults handed out, in order."""
        return tuple(self._used.values())

    def note(self, name: str, value: str, unit: str, source: str, life_of: str = "") -> None:
        """List something assumed, and the way whose life hangs on it."""
        known = self._used.setdefault((name, value), Assumed(name, value, unit, source))
        if life_of and life_of not in known.ways:
            self._used[name, value] = replace(known, ways=(*known.ways, life_of))

    def _take(self, name: str, of: str, unit: str = "", life_of: str = "") -> Any:
        entry = self._values[name]
        title = f"{name.split('.')[0]} ({of})" if of else name
        if entry["source"] == DEFINITION:
            return entry["value"]
        self.note(title, as_text(entry["value"]), unit or entry["unit"], entry["source"], life_of)
        return entry["value"]

    def has(self, name: str) -> bool:
        return name in self._values

    def peek(self, name: str) -> Any:
        """A value, without listing it as used."""
        return self._values[name]["value"]

    def text(self, name: str, of: str = "") -> str:
        return str(self._take(name, of))

    def number(self, name: str, of: str = "", unit: str = "", life_of: str = "") -> float:
        return float(self._take(name, of, unit, life_of))

    def range(self, name: str, of: str = "", unit: str = "", life_of: str = "") -> Range:
        value = self._take(name, of, unit, life_of)
        low, likely, high = value if isinstance(value, list) else (value, value, value)
        return Range(float(low), float(likely), float(high), source=Source(ASSUMED, None, self._values[name]["source"]))

    def record(self, kind: type[T], entry: Entry, /, **given: Any) -> T:
        """A record of what is written, and of the defaults that columns name where nothing is, listed as used."""
        names = {f.name for f in fields(cast(Any, kind))} - given.keys()
        readers: dict[str, Any] = {"range": self.range, "number": self.number, "fraction": self.number}
        for name, column in entry.declared.items():
            if name in names and column.default.startswith("@"):
                given[name], default = entry.read(name), column.default[1:]
                if given[name] in (None, ""):
                    read = readers.get(column.type, self.text)
                    given[name] = int(self.number(default)) if column.type == "whole" else read(default)
        return entry.record(kind, **given)

    def life_years(self, kind: str, life_of: str = "") -> Range:
        """Median life of a new unit of a kind, in years of standing."""
        known = facts(kind).life_years if kind in kinds() else None
        if known is None:
            return self.range("life_years", life_of=life_of)
        words, unit = as_text(known), self._values["life_years"]["unit"]
        self.note(f"life_years ({kind})", words, unit, f"assumed: {known.source.note}", life_of)
        return known


def cautions(classes: tuple[str, ...]) -> tuple[str, ...]:
    """What each class of units whose failure can hurt asks for, cautions for every unit, and who has the last word."""
    said = shipped("cautions.toml")
    return (*(f"{c.capitalize()}: {said['barred']}" for c in classes), *said["general"], said["law"])
