"""The side of the spares book that keeps the cards of items, lockers and units."""

from __future__ import annotations

from typing import Any

from repairecon.book import cards, things
from repairecon.book.amounts import Amount
from repairecon.book.ledger import Ledger
from repairecon.records import Item, ItemVersion, Locker, UnitAboard


class CardBox:
    """Cards of an open book."""

    ledger: Ledger

    def add_item(self, name: str, **fields: Any) -> Item:
        """A new item; ``fields`` are those of the record Item."""
        return self._item(cards.add(self.ledger, "item", {"name": name, **fields}))

    def change_item(self, item: str, **fields: Any) -> Item:
        """Another name, minimum, locker or whatever of an item; its earlier cards stay readable."""
        number = things.find(self.ledger, "item", item)
        cards.change(self.ledger, "item", number, fields)
        return self._item(number)

    def item(self, name: str) -> Item:
        """An item by name, an earlier name, maker's number, cross-reference or standard size."""
        return self._item(things.find(self.ledger, "item", name))

    def items(self) -> tuple[Item, ...]:
        """All items as their cards read now."""
        with self.ledger.reading():
            return tuple(things.items(self.ledger).values())

    def item_versions(self, item: str) -> tuple[ItemVersion, ...]:
        """All that an item's card has read, oldest first."""
        return things.versions(self.ledger, things.find(self.ledger, "item", item))

    def add_locker(self, name: str, place: str = "", kind: str = "aboard", note: str = "") -> Locker:
        """A new locker, aboard or ashore."""
        told = {"name": name, "place": place, "kind": kind, "note": note}
        number = cards.add(self.ledger, "locker", told)
        return things.lockers(self.ledger)[number]

    def change_locker(self, locker: str, **fields: Any) -> Locker:
        """Another name, place or kind of a locker."""
        number = things.find(self.ledger, "locker", locker)
        cards.change(self.ledger, "locker", number, fields)
        return things.lockers(self.ledger)[number]

    def lockers(self) -> tuple[Locker, ...]:
        """All lockers, with the one that stands for what is lent out."""
        return tuple(things.lockers(self.ledger).values())

    def add_unit(self, name: str, kind: str = "", hours: Amount | None = None, **fields: Any) -> UnitAboard:
        """A new unit aboard."""
        told = {"name": name, "kind": kind, "hours": hours, **fields}
        number = cards.add(self.ledger, "unit", told)
        return things.units(self.ledger)[number]

    def change_unit(self, unit: str, **fields: Any) -> UnitAboard:
        """Another name or kind, or the hours now on the clock."""
        number = things.find(self.ledger, "unit", unit)
        cards.change(self.ledger, "unit", number, fields)
        return things.units(self.ledger)[number]

    def units(self) -> tuple[UnitAboard, ...]:
        """All units aboard."""
        with self.ledger.reading():
            return tuple(things.units(self.ledger).values())

    def _item(self, number: int) -> Item:
        return things.item_by_number(self.ledger, number)
