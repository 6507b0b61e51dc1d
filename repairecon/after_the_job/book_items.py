"""The items of a spares book that the parts of a job are, and what of them has come into it already.

A part is matched by the line of the order that brought it, else by its standard size, else by the name of a card; a
card of another size is never taken, whatever it is called.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from repairecon.book.ledger import noting
from repairecon.book.spares_book import JOB, SparesBook
from repairecon.read.problems import Names, Problems, key, shown
from repairecon.records import Case, Item, Part, StoresMoved
from repairecon.standards.equivalents import equivalent

_CLAIM = re.compile(r"(\d+(?:\.\d+)?) of movement (\d+)\b")
"""Words of a note by which a later job sees that pieces of a delivery are taken."""


@dataclass(frozen=True, kw_only=True)
class BookLine:
    """A movement of the job and the item of the book that it is of, empty where there is none.

    ``received`` are the movements by which pieces of it had come into the book before, with how many of each are this
    job's; ``on_order`` are lines of its orders that more of them were still to come by.
    """

    moved: StoresMoved
    item: str
    known_by: str = ""
    new_card: bool = False
    left_out: bool = False
    received: tuple[tuple[int, float], ...] = ()
    on_order: tuple[tuple[int, float], ...] = ()

    @property
    def in_book(self) -> float:
        """Pieces that the book has already."""
        return sum(pieces for _, pieces in self.received)


@dataclass(frozen=True, kw_only=True)
class BookWishes:
    """What an owner says besides, by the options of the command; ``called`` gives the item of the book for a part or
    unit of the case, an empty name to leave it out."""

    called: Mapping[str, str] = field(default_factory=dict)
    unit: str = ""
    hours: float | None = None
    on: str = ""
    locker: str = ""
    new_cards: bool = False


NO_WISHES = BookWishes()


class BookItems:
    """Items by the names of the case; ``problems`` says of each that is not known what to do."""

    def __init__(self, case: Case, book: SparesBook, wishes: BookWishes, job: str, decided_on: str) -> None:
        self.case, self.book, self.wishes = case, book, wishes
        self.parts = {p.part: p for p in case.parts}
        self.standing = book.standing()
        self.orders = {x.line: (o, x) for o in book.orders() if key(o.job) == key(job) for x in o.lines}
        self.called = {key(name): item for name, item in wishes.called.items()}
        # what an order brought is of the job that it was for, whenever it came
        bought = (m for m in self.standing if m.kind == "bought" and not m.reference.startswith(JOB))
        self.deliveries = [
            m for m in bought if (m.order_line in self.orders if m.order_line else m.on_date >= decided_on)
        ]
        self.problems: list[str] = []
        self.cards: dict[str, dict[str, Any]] = {}
        units = Names(u.name for u in book.units())
        tried = [wishes.unit] if wishes.unit else [case.unit.name, case.unit.kind]
        known = next((found for name in tried if name and (found := units.find(name))), "")
        self.unit = known or tried[0]
        if not known and not wishes.new_cards:
            self.problems.append(f"the book has no unit {shown(tried[0])}: {units.advice(Problems(), tried[0])}")

    def lines(self, moved: tuple[StoresMoved, ...]) -> tuple[BookLine, ...]:
        """Each movement with its item, and with what of it the book has already."""
        names = Names(m.item for m in moved)
        for name in self.wishes.called:
            if name not in names:
                advice = names.advice(Problems(), name)
                self.problems.append(f"{shown(name)} is not among what was bought or fitted: {advice}")
        found = {name: self._found(name) for name in dict.fromkeys(m.item for m in moved)}
        left = self._unclaimed()
        still = {line: (_ordered_as(x.part), float(x.open)) for line, (_, x) in self.orders.items()}
        made = []
        for m in moved:
            of, part = found[m.item], _ordered_as(m.item)
            taken: list[tuple[int, float]] = []
            ordered: list[tuple[int, float]] = []
            if m.movement == "bought" and of["item"]:
                for what in (part, of["item"]) if not of.get("new_card") else ():
                    taken += _take(left, what, m.quantity - sum(n for _, n in taken))
                ordered += _take(still, part, m.quantity - sum(n for _, n in taken))
            made.append(BookLine(moved=m, received=tuple(taken), on_order=tuple(ordered), **of))
        return tuple(made)

    def _unclaimed(self) -> dict[int, tuple[str, float]]:
        """Deliveries with the pieces that no other job has taken as its own."""
        left: dict[int, tuple[str, float]] = {}
        for d in self.deliveries:
            what = _ordered_as(self.orders[d.order_line][1].part) if d.order_line else d.item
            left[d.number] = what, float(d.quantity)
        notes = " ".join(m.note for m in self.standing if m.reference.startswith(JOB))
        for pieces, number in _CLAIM.findall(notes):
            if int(number) in left:
                what, rest = left[int(number)]
                left[int(number)] = what, rest - float(pieces)
        return left

    def _found(self, name: str) -> dict[str, Any]:
        """The item of a name of the case, as fields of a line: the first of these ways that knows it."""
        for way in (self._as_said, self._by_order, self._by_delivery, self._by_size, self._by_name):
            if found := way(name):
                return found
        if not any(p.startswith(f"{shown(name)}: ") for p in self.problems):
            names = tuple(i.name for i in self.book.items())
            near = Problems().advice(name, names, "name its item, or make a card for it")
            self.problems.append(f"the book has no item {shown(name)}: {near}")
        return {"item": ""}

    def _own(self, name: str) -> str:
        """The name of a card of its own: that of the part, or the unit and what was bought for it."""
        return name if name in self.parts else f"{self.unit}, {name}"

    def _as_said(self, name: str) -> dict[str, Any] | None:
        """By the owner's word; an empty one leaves it out."""
        if key(name) not in self.called:
            return None
        word = self.called[key(name)].strip()
        item = self._named(word, must=True) if word else None
        return {"item": item.name if item else "", "known_by": "your word" if word else "", "left_out": not word}

    def _by_order(self, name: str) -> dict[str, Any] | None:
        for order, line in self.orders.values():
            if key(line.part) == key(name) and (line.item or line.received):
                card = self.book.card_of(line, order.unit)
                assert card is not None
                return {"item": card.name, "known_by": "name" if key(card.name) == key(name) else "its order"}
        return None

    def _by_delivery(self, name: str) -> dict[str, Any] | None:
        """By the card that an order without lines, named as the part is, came in under since the decision."""
        for m in self.deliveries:
            called = key(name) in (key(m.item), key(m.note)) or key(self._own(name)) == key(m.item)
            item = self._named(m.item) if called and not m.order_line else None
            if item and self._fits(name, item, quiet=True):
                return {"item": item.name, "known_by": "name" if key(item.name) == key(name) else "the order received"}
        return None

    def _by_size(self, name: str) -> dict[str, Any] | None:
        """By the standard size of a part, where one card has it."""
        part = self.parts.get(name)
        if part is None or not part.standard_size:
            return None
        same = [i for i in self.book.items() if i.designation and _verdict(part, i) == "same"]
        item = same[0] if len(same) == 1 else self._named(part.standard_size)
        if item is None or not self._fits(name, item):
            return None
        return {"item": item.name, "known_by": part.standard_size}

    def _by_name(self, name: str) -> dict[str, Any] | None:
        """By the name of a card; where the owner wants cards made, else a new one."""
        own, part, new = self._own(name), self.parts.get(name), self.wishes.new_cards
        item = self._named(name) or self._named(own)
        if item is not None:
            if self._fits(name, item, quiet=new):
                return {"item": item.name, "known_by": "name"}
            own = f"{name}, {self.unit}"
        if not new:
            return {"item": ""} if item else None
        # not kept aboard as a rule: it has no minimum and asks for no reordering
        self.cards[own] = {
            "name": own, "designation": part.standard_size if part else "", "units": [self.unit],
            "material": part.material if part else "", "locker": self.wishes.locker, "carried": False,
        }  # fmt: skip
        return {"item": own, "new_card": True}

    def _fits(self, name: str, item: Item, quiet: bool = False) -> bool:
        """Whether a card can be the part: of no other size and no other material, as far as either is known."""
        part = self.parts.get(name)
        if part is None:
            return True
        if part.material and item.material and key(part.material) != key(item.material):
            differs, make = f"is of that size but of {shown(item.material)}, not {shown(part.material)}", "make a card"
        elif part.standard_size and item.designation and _verdict(part, item) not in ("same", "unknown"):
            differs = f"of the book is a {item.designation}, the case takes {part.standard_size}"
            make = "make a card of another name"
        else:
            return True
        problem = f"{shown(part.part)}: {shown(item.name)} {differs}: name its item, or {make} for it"
        if not quiet and problem not in self.problems:
            self.problems.append(problem)
        return False

    def _named(self, word: str, must: bool = False) -> Item | None:
        with noting(self.problems if must else []):
            return self.book.item(word)
        return None

    def locker(self, item: str) -> str:
        """Where an item belongs; empty where nobody has said."""
        return ("" if item in self.cards else self.book.item(item).locker) or self.wishes.locker


def _ordered_as(part: str) -> str:
    """A part of an order, never to be taken for the name of an item."""
    return f"ordered: {key(part)}"


def _take(left: dict[int, tuple[str, float]], item: str, pieces: float) -> Iterator[tuple[int, float]]:
    """Pieces of an item or a part out of what has come or is to come, the first one first."""
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
    materials = {"material_wanted": part.material, "material_offered": item.material}
    return str(equivalent(part.standard_size, item.designation, **materials).verdict)
