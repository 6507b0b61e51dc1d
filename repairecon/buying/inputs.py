"""The uncertain inputs of a case by name, and what a bill multiplies: products of inputs, the longest of some waits."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

from repairecon.formulas import ranges
from repairecon.records import Range, Source


@dataclass(frozen=True)
class Product:
    """Inputs multiplied with each other, by their places; none of them is the number one."""

    inputs: tuple[int, ...] = ()

    def times(self, other: Product) -> Product:
        """Both multiplied; they share no input, so that the mean is the product of the means."""
        return Product((*self.inputs, *other.inputs))


@dataclass(frozen=True)
class LongestWait:
    """The longest of several waits, by the places of the inputs, and no less than the work done meanwhile.

    ``floor`` is that work in days: coefficients of inputs, which count at their means. ``often`` are chances, by the
    places of their inputs, without which there is no such wait.
    """

    waits: tuple[int, ...]
    floor: tuple[tuple[int, float], ...] = ()
    often: tuple[int, ...] = ()


Term = Product | LongestWait
ONE = Product()


def inputs_of(term: Term) -> tuple[int, ...]:
    """Places of the inputs in a term."""
    return term.inputs if isinstance(term, Product) else (*term.waits, *(i for i, _ in term.floor), *term.often)


def mean_of(r: Range) -> float:
    return float(ranges.mean(r.low, r.likely, r.high, r.shape))


@dataclass(frozen=True)
class Input:
    """One uncertain number. ``key`` names its random stream and never changes with other inputs.

    ``shared_hours``: hours, which go with the worker's pace. ``is_chance``: one with a chance, else 0. ``is_wait``:
    days to wait for something ordered. ``item`` is the part or way whose price it is, ``offer`` the place of the quote
    among the offers of :class:`~repairecon.buying.buying.Buying` (-1: none).
    """

    key: str
    label: str
    unit: str
    range: Range
    shared_hours: bool = False
    is_chance: bool = False
    is_wait: bool = False
    item: str = ""
    offer: int = -1

    @cached_property
    def mean(self) -> float:
        return self.range.likely if self.is_chance else mean_of(self.range)


@dataclass
class Inputs:
    """Register of inputs in order of first use."""

    items: list[Input] = field(default_factory=list)
    index: dict[str, int] = field(default_factory=dict)

    def add(self, item: Input) -> Product:
        """The input as a product of itself alone, registered on first use."""
        if item.key not in self.index:
            self.index[item.key] = len(self.items)
            self.items.append(item)
        return Product((self.index[item.key],))

    def number(self, key: str, label: str, unit: str, range_: Range, *, item: str = "", offer: int = -1) -> Product:
        return self.add(Input(key, label, unit, range_, item=item, offer=offer))

    def hours(self, key: str, label: str, range_: Range) -> Product:
        """Hours of work, quick or slow with the worker's pace."""
        return self.add(Input(key, label, "hours", range_, shared_hours=True))

    def wait(self, key: str, label: str, range_: Range) -> Product:
        return self.add(Input(key, label, "days", range_, is_wait=True))

    def chance(self, key: str, label: str, p: float, source: Source) -> Product:
        """One with chance ``p``, else 0."""
        return self.add(Input(key, label, "1", Range(p, p, p, source=source), is_chance=True))
