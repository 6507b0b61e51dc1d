"""The uncertain inputs of a case by name."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from math import inf

from repairecon.formulas import ranges
from repairecon.records import Range, Source

ONE = ("1",)
Atom = tuple[object, ...]
"""A product of inputs ``("*", i, j)``, a longest wait ``("max", (i, ...), floor)`` or ``ONE``.

The floor of a wait is a sum of input means: ``((i, coefficient), ...)``."""


def mean_of(r: Range) -> float:
    """Expected value of a range."""
    return float(ranges.mean(r.low, r.likely, r.high, r.shape))


@dataclass(frozen=True)
class Input:
    """One uncertain number. ``key`` names its random stream and never changes with other inputs.

    Above ``takeover`` a price is no longer paid: the next cheapest quote is taken.
    """

    key: str
    label: str
    unit: str
    range: Range
    shared_hours: bool = False
    is_chance: bool = False
    takeover: float = inf
    item: str = ""

    @cached_property
    def mean(self) -> float:
        """Expected value [unit of the input]."""
        return self.range.likely if self.is_chance else mean_of(self.range)


@dataclass
class Inputs:
    """Register of inputs in order of first use."""

    items: list[Input] = field(default_factory=list)
    index: dict[str, int] = field(default_factory=dict)

    def add(self, item: Input) -> int:
        """Position of the input, added on first use."""
        if item.key not in self.index:
            self.index[item.key] = len(self.items)
            self.items.append(item)
        return self.index[item.key]

    def number(
        self, key: str, label: str, unit: str, range_: Range, *, hours: bool = False,
        takeover: float = inf, item: str = "",
    ) -> Atom:  # fmt: skip
        """Atom for an uncertain number."""
        return ("*", self.add(Input(key, label, unit, range_, hours, False, takeover, item)))

    def chance(self, key: str, label: str, p: float, source: Source) -> Atom:
        """Atom that is one with chance ``p``, else nought."""
        return ("*", self.add(Input(key, label, "1", Range(p, p, p, source=source), is_chance=True)))


def times(a: Atom, b: Atom) -> Atom:
    """Product of two product atoms of independent inputs."""
    return ("*", *a[1:], *b[1:])
