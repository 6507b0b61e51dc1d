"""Which card of the spares book a part of the case is, and what of it has come into the book already.

A part is matched by the line of the order that was received for it, else by its standard size, else by the name of a
card; a card of another size is never taken, whatever it is called.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from repairecon.book.spares_book import SparesBook
from repairecon.read.problems import Names, Problems, key, shown
from repairecon.read.values import plain
from repairecon.records import (
    BookBusyError,
    BookError,
    BookFileError,
    Case,
    Item,
    Movement,
    Part,
    StoresMoved,
)
from repairecon.standards.equivalents import equivalent

JOB = "job decided "
"""Begins the reference of whatever a closed job wrote; deliveries have the name of their file, or what was typed."""

_CLAIM = re.compile(r"(\d+(?:\.\d+)?) of movement (\d+)\b")


@dataclass(frozen=True, kw_only=True)
class BookLine:
    """A movement of the job and the item of the book that it is of.

    ``item`` is empty where the book knows none, or where the owner leaves it out of the book. ``known_by`` is what the
    item was found by; ``new_card`` says that the item is added with this job. ``received`` are the movements by which
    pieces of it had come into the book before, with how many of each are this job's.
    """

    moved: StoresMoved
    item: str
    known_by: str = ""
    new_card: bool = False
    left_out: bool = False
    received: tuple[tuple[int, float], ...] = ()

    @property
    def in_book(self) -> float:
        """Pieces that the book has already."""
        return sum(pieces for _, pieces in self.received)


@dataclass(frozen=True, kw_only=True)
class BookWishes:
    """What an owner says besides: names of the book for those of the case, and what it does not know yet.

    ``called`` gives the item of the book for a part or unit of the case, an empty name to leave it out. ``unit`` is the
    unit of the book that was worked on (by default the one that is called as in the case), ``hours`` its clock,
    ``on`` the day of the movements (by default that on which the job was done), ``locker`` where things without a
    locker of their own go. ``new_cards`` adds items and a unit that the book does not know.
    """

    called: Mapping[str, str] = field(default_factory=dict)
    unit: str = ""
    hours: float | None = None
    on: str = ""
    locker: str = ""
    new_cards: bool = False


class BookItems:
    """Items by the names of the case; ``problems`` says of each that is not known what to do."""

    def __init__(self, case: Case, book: SparesBook, wishes: BookWishes, decided_on: str) -> None:
        self.case, self.book, self.wishes = case, book, wishes
        self.parts = {p.part: p for p in case.parts}
        self.called = {key(name): item for name, item in wishes.called.items()}
        self.deliveries = [m for m in _standing(book) if _came(m) and m.on_date >= decided_on]
        self.problems: list[str] = []
        self.items: dict[str, Item] = {}
        self.cards: dict[str, dict[str, Any]] = {}
        self.unit, self.new_unit = self._unit()

    def _unit(self) -> tuple[str, bool]:
        """The unit of the book that was worked on, and whether it is to be added."""
        wish, unit = self.wishes.unit, self.case.unit
        units = Names(u.name for u in self.book.units())
        tried = [wish] if wish else [unit.name, unit.kind]
        known = next((found for name in tried if name and (found := units.find(name))), "")
        if not known and not self.wishes.new_cards:
            self.problems.append(f"the book has no unit {shown(tried[0])}: {units.advice(Problems(), tried[0])}")
        return known or tried[0], not known

    def lines(self, moved: tuple[StoresMoved, ...]) -> tuple[BookLine, ...]:
        """Each movement with its item, and with what of it the book has already."""
        names = Names(m.item for m in moved)
        for name in self.wishes.called:
            if name not in names:
                advice = names.advice(Problems(), name)
                self.problems.append(f"{shown(name)} is not among what was bought or fitted: {advice}")
        found = {name: self._found(name) for name in dict.fromkeys(m.item for m in moved)}
        left = self._unclaimed()
        made = []
        for m in moved:
            of = found[m.item]
            known = m.movement == "bought" and of["item"] and not of.get("new_card")
            taken = tuple(_take(left, of["item"], m.quantity)) if known else ()
            made.append(BookLine(moved=m, received=taken, **of))
        return tuple(made)

    def _unclaimed(self) -> dict[int, tuple[str, float]]:
        """Deliveries since the decision with the pieces that no other job has taken as its own."""
        left = {m.number: (m.item, float(m.quantity)) for m in self.deliveries}
        for m in _standing(self.book):
            for pieces, number in _CLAIM.findall(m.note) if m.reference.startswith(JOB) else ():
                if int(number) in left:
                    item, rest = left[int(number)]
                    left[int(number)] = item, rest - float(pieces)
        return left

    def _found(self, name: str) -> dict[str, Any]:
        """The item of a name of the case, as fields of a line."""
        part = self.parts.get(name)
        if key(name) in self.called:
            word = self.called[key(name)].strip()
            item = self._named(word, must=True) if word else None
            return {"item": item.name if item else "", "known_by": "your word" if word else "", "left_out": not word}
        own = name if part else f"{self.unit}, {name}"
        if (item := self._ordered(name, own)) is not None:
            return {"item": item.name, "known_by": "name" if key(item.name) == key(name) else "the order received"}
        if part and part.standard_size and (item := self._sized(part)) is not None:
            return {"item": item.name, "known_by": part.standard_size}
        item = self._named(name) or self._named(own)
        if item is not None and (part is None or self._fits(part, item)):
            return {"item": item.name, "known_by": "name"}
        if self.wishes.new_cards and item is None:
            self.cards[own] = self._card(own, part)
            return {"item": own, "new_card": True}
        if item is None and not any(p.startswith(f"{shown(name)}: ") for p in self.problems):
            near = Names(i.name for i in self.book.items()).advice(
                Problems(), name, "name its item, or make a card for it"
            )
            self.problems.append(f"the book has no item {shown(name)}: {near}")
        return {"item": ""}

    def _ordered(self, name: str, own: str) -> Item | None:
        """The card that a line of an order, named as the part is, came in under since the decision."""
        part = self.parts.get(name)
        for m in self.deliveries:
            if key(name) in (key(m.item), key(m.note)) or key(own) == key(m.item):
                item = self._named(m.item)
                if item is not None and (part is None or self._fits(part, item, quiet=True)):
                    return item
        return None

    def _sized(self, part: Part) -> Item | None:
        """The card of the same standard size; one of the same size in another material is said to be in the way."""
        same = [i for i in self.book.items() if i.designation and _verdict(part, i) == "same"]
        item = same[0] if len(same) == 1 else self._named(part.standard_size)
        if item is None or not self._fits(part, item):
            return None
        self.items[item.name] = item
        return item

    def _fits(self, part: Part, item: Item, quiet: bool = False) -> bool:
        """Whether a card can be the part: of no other size and no other material, as far as either is known."""
        problem = ""
        if part.material and item.material and key(part.material) != key(item.material):
            problem = (
                f"{shown(part.part)}: {shown(item.name)} is of that size but of {shown(item.material)}, not "
                f"{shown(part.material)}: name its item, or make a card for it"
            )
        elif part.standard_size and item.designation and _verdict(part, item) not in ("same", "unknown"):
            problem = (
                f"{shown(part.part)}: {shown(item.name)} of the book is a {item.designation}, the case takes "
                f"{part.standard_size}: name its item, or make a card of another name for it"
            )
        if problem and not quiet and problem not in self.problems:
            self.problems.append(problem)
        return not problem

    def _named(self, word: str, must: bool = False) -> Item | None:
        try:
            item = self.book.item(word)
        except (BookFileError, BookBusyError):
            raise
        except BookError as error:
            if must:
                self.problems.append(str(error))
            return None
        self.items[item.name] = item
        return item

    def _card(self, name: str, part: Part | None) -> dict[str, Any]:
        """A card for what is not kept aboard as a rule: it has no minimum and asks for no reordering."""
        size, material = (part.standard_size, part.material) if part else ("", "")
        return {
            "name": name, "designation": size, "material": material, "units": [self.unit],
            "locker": self.wishes.locker, "carried": False,
        }  # fmt: skip

    def locker(self, item: str) -> str:
        """Where an item belongs; empty where nobody has said."""
        card = self.items.get(item)
        return (card.locker if card else "") or self.wishes.locker


def _standing(book: SparesBook) -> list[Movement]:
    return [m for m in book.movements() if m.undone_by is None and m.undoes is None]


def _came(m: Movement) -> bool:
    return m.kind == "bought" and not m.reference.startswith(JOB)


def _take(left: dict[int, tuple[str, float]], item: str, pieces: float) -> Iterator[tuple[int, float]]:
    """Pieces of an item out of what has come, the first delivery first."""
    for number, (name, rest) in sorted(left.items()):
        some = min(rest, pieces)
        if name == item and some > 0:
            left[number] = name, rest - some
            pieces -= some
            yield number, some


def _verdict(part: Part, item: Item) -> str:
    """Whether a card's size is that of the part; the same words are the same size."""
    if key(part.standard_size) == key(item.designation):
        return "same"
    judged = equivalent(
        part.standard_size, item.designation, material_wanted=part.material, material_offered=item.material
    )
    return str(judged.verdict)


def claim(number: int, pieces: float) -> str:
    """Words of a note by which a later job sees that pieces of a delivery are taken."""
    return f"{plain(pieces)} of movement {number}"


def came_later(book: SparesBook, reference: str, decided_on: str) -> list[str]:
    """Deliveries that came into the book after the job had booked the same things as bought: they count twice."""
    job = [m for m in _standing(book) if m.reference == reference]
    bought = {m.item: m for m in job if m.kind == "bought"}
    last = max((m.number for m in job), default=0)
    return [
        f"movement {m.number} ({m.reference or m.on_date}) brought {plain(float(m.quantity))} of "
        f"{shown(m.item)} that the job had booked before (movement {bought[m.item].number}): if they are the same "
        f"pieces, undo movement {m.number}"
        for m in _standing(book)
        if _came(m) and m.number > last and m.item in bought and m.on_date >= decided_on
    ]
