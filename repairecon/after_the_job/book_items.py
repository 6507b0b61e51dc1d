"""Which item and which unit of the spares book are meant by a job's movements."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from repairecon.after_the_job.answer import BookLine
from repairecon.book.spares_book import SparesBook
from repairecon.read.problems import Names, Problems, key, shown
from repairecon.records import BookBusyError, BookError, BookFileError, Case, Item, Part, StoresMoved


@dataclass(frozen=True)
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

    def __init__(self, case: Case, book: SparesBook, wishes: BookWishes) -> None:
        self.case, self.book, self.wishes = case, book, wishes
        self.parts = {p.part: p for p in case.parts}
        self.called = {key(name): item for name, item in wishes.called.items()}
        self.problems: list[str] = []
        self.items: dict[str, Item] = {}
        self.cards: dict[str, dict[str, Any]] = {}
        self.unit, self.new_unit = self._unit()

    def _unit(self) -> tuple[str, bool]:
        """The unit of the book that was worked on, and whether it is to be added."""
        wish, unit = self.wishes.unit, self.case.unit
        aboard = Names(u.name for u in self.book.units())
        tried = [wish] if wish else [unit.name, unit.kind]
        known = next((found for name in tried if name and (found := aboard.find(name))), "")
        if not known and not self.wishes.new_cards:
            self.problems.append(f"the book has no unit {shown(tried[0])}: {aboard.advice(Problems(), tried[0])}")
        return known or tried[0], not known

    def lines(self, moved: tuple[StoresMoved, ...]) -> tuple[BookLine, ...]:
        """Each movement with its item."""
        names = Names(m.item for m in moved)
        for name in self.wishes.called:
            if name not in names:
                advice = names.advice(Problems(), name)
                self.problems.append(f"{shown(name)} is not among what was bought or fitted: {advice}")
        found = {name: self._found(name) for name in dict.fromkeys(m.item for m in moved)}
        return tuple(BookLine(m, **found[m.item]) for m in moved)

    def _found(self, name: str) -> dict[str, Any]:
        """The item of a name of the case, as fields of a line."""
        part = self.parts.get(name)
        if key(name) in self.called:
            return self._told(self.called[key(name)])
        own = name if part else f"{self.unit}, {name}"
        item = self._named(name) or self._named(own)
        if item is not None:
            return {"item": item.name, "known_by": "name"}
        if part and part.standard_size:
            item = self._named(part.standard_size)
            if item is not None and self._other_material(part, item):
                return {"item": ""}
            if item is not None:
                return {"item": item.name, "known_by": part.standard_size}
        if self.wishes.new_cards:
            self.cards[own] = self._card(own, part)
            return {"item": own, "new_card": True}
        near = Names(i.name for i in self.book.items()).advice(Problems(), name, "name its item, or make a card for it")
        self.problems.append(f"the book has no item {shown(name)}: {near}")
        return {"item": ""}

    def _told(self, word: str) -> dict[str, Any]:
        if not word.strip():
            return {"item": "", "left_out": True}
        item = self._named(word, told=True)
        return {"item": item.name if item else "", "known_by": "your word"}

    def _named(self, word: str, told: bool = False) -> Item | None:
        try:
            item = self.book.item(word)
        except (BookFileError, BookBusyError):
            raise
        except BookError as error:
            if told:
                self.problems.append(str(error))
            return None
        self.items[item.name] = item
        return item

    def _other_material(self, part: Part, item: Item) -> bool:
        other = bool(part.material and item.material) and key(part.material) != key(item.material)
        if other:
            self.problems.append(
                f"{shown(part.part)}: {shown(item.name)} is of that size but of {shown(item.material)}, not "
                f"{shown(part.material)}: name its item, or make a card for it"
            )
        return other

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
