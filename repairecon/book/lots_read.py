"""Lots as records: what is left of each in each place, and what a movement took."""

from __future__ import annotations

from typing import Any

from repairecon.book import things
from repairecon.book.amounts import MONEY, amount, maybe_amount
from repairecon.book.ledger import Ledger
from repairecon.book.lots import Lots, Step
from repairecon.records import Locker, Lot


def steps(ledger: Ledger, item: int | None = None) -> list[Step]:
    """What lots need to know of the movements."""
    which, values = ("", ()) if item is None else (" WHERE item = ?", (item,))
    rows = ledger.rows(
        "SELECT movement, item, quantity, coalesce(locker_from, 0), coalesce(locker_to, 0), coalesce(undoes, 0), "
        f"on_date, lot FROM movements{which} ORDER BY movement",
        values,
    )
    return [Step(*row) for row in rows]


def lots(ledger: Ledger, item: int | None = None) -> tuple[Lot, ...]:
    """What is left of each lot in each place, the oldest of a place first."""
    with ledger.reading():
        state = Lots().run(steps(ledger, item))
        names = things.names(ledger, "item", (place[0] for place in state.places))
        where = things.lockers(ledger)
        came = _came(ledger, item)
    made = []
    for (number, locker), heap in sorted(state.places.items()):
        for lot in sorted(heap, key=lambda m: (came[m][0], m)):
            made.append(_lot(number, names[number], where[locker], heap[lot], lot, came[lot]))
    return tuple(made)


def taken(ledger: Ledger, item: int, movement: int) -> tuple[Lot, ...]:
    """The lots that a movement took or brought, with the place that they came from, else went to."""
    with ledger.reading():
        heap = Lots().run(steps(ledger, item)).taken.get(movement, {})
        came, where, name = _came(ledger, item), things.lockers(ledger), things.names(ledger, "item", [item])[item]
        ((gone, come),) = ledger.rows("SELECT locker_from, locker_to FROM movements WHERE movement = ?", (movement,))
    return tuple(_lot(item, name, where[gone or come], quantity, lot, came[lot]) for lot, quantity in heap.items())


def _came(ledger: Ledger, item: int | None) -> dict[int, tuple[Any, ...]]:
    """Date, cost, label and cure date of what each movement brought."""
    which, values = ("", ()) if item is None else (" WHERE item = ?", (item,))
    rows = ledger.rows(f"SELECT movement, on_date, cost_unit, lot, cure_date FROM movements{which}", values)
    return {row[0]: row[1:] for row in rows}


def _lot(number: int, name: str, place: Locker, quantity: int, lot: int, came: tuple[Any, ...]) -> Lot:
    on_date, cost, label, cure = came
    each = maybe_amount(cost, MONEY)
    return Lot(number, name, place.name, place.kind, amount(quantity), lot, on_date, each, label, cure)
