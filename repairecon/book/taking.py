"""What leaves a place: fitted, used, scrapped, moved, lent; and what a borrower brings back."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from repairecon.book import history, things
from repairecon.book.acts import LENT, When, from_where, happened, item_named, record
from repairecon.book.amounts import HOURS, Amount, amount, day, maybe, pieces, words
from repairecon.book.ledger import Ledger
from repairecon.read.problems import key, shown
from repairecon.records import (
    BookError,
    Happened,
    StockError,
)


def take_out(
    ledger: Ledger, kind: str, name: str, quantity: Amount, locker: str | None, date: When, note: str,
    more: Mapping[str, Any], lot: str = "",
) -> Happened:  # fmt: skip
    """Used, scrapped, moved or lent: a quantity leaves a place."""
    with ledger.writing():
        item = item_named(ledger, name)
        count = pieces(quantity, item.measure)
        label = words(lot, "lot")
        chosen = from_where(ledger, item, locker, count, label)
        if more.get("locker_to") == chosen:
            raise BookError(f"{shown(item.name)} lies in that locker already: nothing was written")
        number = record(ledger, {
            "on_date": day(date, ledger.today()), "kind": kind, "item": item.number, "quantity": count,
            "locker_from": chosen, "note": words(note, "note"), "lot": label, **more,
        })  # fmt: skip
        return happened(ledger, item.number, [number])


def fit(
    ledger: Ledger, name: str, unit: str, hours: Amount | None, date: When, quantity: Amount, locker: str | None,
    note: str, lot: str, reference: str = "",
) -> Happened:  # fmt: skip
    """Take a spare from stock and write it into the history of the unit it went into."""
    with ledger.writing():
        item = item_named(ledger, name)
        into = things.find(ledger, "unit", unit)
        count = pieces(quantity, item.measure)
        label = words(lot, "lot")
        chosen = from_where(ledger, item, locker, count, label)
        undone = history.undone(ledger)
        fitted = history.movements(
            ledger, "item = ? AND locker_from IS NOT NULL AND +unit = ? AND kind = 'fitted'", (item.number, into)
        )
        before = max(
            (m for m in fitted if history.stands(m.number, undone)), key=lambda m: (m.on_date, m.number), default=None
        )
        number = record(ledger, {
            "on_date": day(date, ledger.today()), "kind": "fitted", "item": item.number, "quantity": count,
            "locker_from": chosen, "unit": into, "hours": maybe(hours, HOURS, "hours on the clock"),
            "note": words(note, "note"), "lot": label, "reference": words(reference, "reference"),
        })  # fmt: skip
        return happened(ledger, item.number, [number], before)


def out_with(ledger: Ledger, item: int) -> dict[str, Decimal]:
    """How many of an item each borrower has."""
    rows = ledger.rows(
        "SELECT person, quantity, locker_to FROM movements WHERE item = ? AND (locker_to = ? OR locker_from = ?) "
        "ORDER BY movement",
        (item, LENT, LENT),
    )
    names: dict[str, str] = {}
    sums: dict[str, int] = {}
    for person, quantity, locker_to in rows:
        who = key(person)
        names.setdefault(who, person)
        sums[who] = sums.get(who, 0) + (quantity if locker_to == LENT else -quantity)
    return {names[who]: amount(q) for who, q in sums.items() if q}


def give_back(
    ledger: Ledger, name: str, borrower: str, quantity: Amount, to: str | None, date: When, note: str
) -> Happened:  # fmt: skip
    """What a borrower brings back, no more than was lent to him."""
    with ledger.writing():
        item = item_named(ledger, name)
        count_back = pieces(quantity, item.measure)
        out = out_with(ledger, item.number)
        who = next((person for person in out if key(person) == key(borrower)), None)
        if who is None or out[who] < amount(count_back):
            has = ", ".join(f"{shown(p)} has {q}" for p, q in out.items()) or "nobody has any"
            raise StockError(
                f"{shown(item.name)}: {shown(borrower)} has not borrowed {amount(count_back)} ({has}); "
                "nothing was written"
            )
        locker = to or item.locker
        if not locker:
            raise BookError(f"{shown(item.name)} has no locker of its own: say which one it goes into")
        number = record(ledger, {
            "on_date": day(date, ledger.today()), "kind": "returned", "item": item.number, "quantity": count_back,
            "locker_from": LENT, "locker_to": things.find(ledger, "locker", locker), "person": who,
            "note": words(note, "note"),
        })  # fmt: skip
        return happened(ledger, item.number, [number])
