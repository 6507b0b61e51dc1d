"""Counts against the book."""

from __future__ import annotations

from collections.abc import Mapping

from repairecon.book import history, schema, stock, things
from repairecon.book.acts import LENT, When, item_named, record
from repairecon.book.amounts import Amount, amount, day, month_or_day, pieces, words
from repairecon.book.ledger import Ledger
from repairecon.read.problems import shown
from repairecon.records import (
    BookError,
    Counted,
    Item,
)


def count(
    ledger: Ledger, locker: str, found: Mapping[str, Amount], whole: bool, date: When, note: str, write: bool,
    cure_date: When = None, lot: str = "",
) -> tuple[Counted, ...]:  # fmt: skip
    """What lies in a locker against what the book says; the differences are written as movements."""
    with ledger.writing() if write else ledger.reading():
        place = things.find(ledger, "locker", locker)
        if place == LENT:
            raise BookError(f"{shown(schema.LENT)} is no place to count in: give back what has come back")
        seen: dict[int, tuple[Item, int]] = {}
        for name, quantity in found.items():
            item = item_named(ledger, name)
            if item.number in seen:
                raise BookError(f"{shown(item.name)} is counted twice: add the two up; nothing was written")
            seen[item.number] = (item, pieces(quantity, item.measure, "count", above=False))
        if whole:
            for (number,) in ledger.rows("SELECT item FROM stock WHERE locker = ? ORDER BY item", (place,)):
                seen.setdefault(number, (things.item_by_number(ledger, number), 0))
        told = {
            "on_date": day(date, ledger.today()), "kind": "counted", "note": words(note, "note"),
            "cure_date": month_or_day(cure_date or ""), "lot": words(lot, "lot"),
        }  # fmt: skip
        name = things.lockers(ledger)[place].name
        return tuple(_counted(ledger, place, name, item, quantity, told, write) for item, quantity in seen.values())


def _counted(
    ledger: Ledger, place: int, name: str, item: Item, quantity: int, told: Mapping[str, str], write: bool
) -> Counted:
    in_book = stock.places(ledger, item.number).get(place, 0)
    change = quantity - in_book
    written = None
    if write:
        row = {
            **told,
            "item": item.number,
            "quantity": abs(change),
            "locker_from" if change < 0 else "locker_to": place,
        }
        if change <= 0:
            row |= {"cure_date": "", "lot": ""}  # marks are of what was found, not of what was missing
        written = history.movements(ledger, "movement = ?", (record(ledger, row),))[0]
    return Counted(item.name, name, amount(in_book), amount(quantity), written)
