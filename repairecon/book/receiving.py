"""Deliveries."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from repairecon.book import schema, things
from repairecon.book.acts import LENT, When, happened, item_named, record
from repairecon.book.amounts import MONEY, RATE, day, maybe, month_or_day, pieces, words
from repairecon.book.ledger import Ledger
from repairecon.read.problems import shown
from repairecon.read.values import plain
from repairecon.records import (
    BookBusyError,
    BookError,
    BookFileError,
    Happened,
    ReceiveLine,
)


def receive(ledger: Ledger, lines: Iterable[ReceiveLine], date: When, reference: str) -> tuple[Happened, ...]:
    """A delivery: all its lines, or none; every fault of it in one go."""
    faults: list[str] = []
    made: dict[int, list[int]] = {}
    with ledger.writing():
        on_date = day(date, ledger.today())
        for place, line in enumerate(lines, start=1):
            try:
                columns = _received(ledger, line)
                number = record(ledger, {**columns, "on_date": on_date, "reference": words(reference, "reference")})
                made.setdefault(columns["item"], []).append(number)
            except (BookFileError, BookBusyError):
                raise
            except BookError as error:
                faults.append(f"line {place}: {error}")
        if faults:
            raise BookError("the delivery was not written:\n" + "\n".join(faults))
        return tuple(happened(ledger, item, numbers) for item, numbers in made.items())


def _received(ledger: Ledger, line: ReceiveLine) -> dict[str, Any]:
    item = item_named(ledger, line.item)
    locker = line.locker or item.locker
    if not locker:
        raise BookError(f"{shown(item.name)} has no locker of its own: say which one it goes into")
    into = things.find(ledger, "locker", locker)
    if into == LENT:
        raise BookError(f"{shown(schema.LENT)} is for what is lent: say which locker it goes into")
    count, cost = pieces(line.quantity, item.measure), maybe(line.cost_unit, MONEY, "cost of one")
    check_value(count, cost)
    return {
        "kind": "bought", "item": item.number, "quantity": count, "locker_to": into, "cost_unit": cost,
        "currency": words(line.currency, "currency").upper(), "rate": maybe(line.rate, RATE, "rate") or None,
        "quoted_unit": maybe(line.quoted_unit, MONEY, "quoted for one"), "person": words(line.supplier, "supplier"),
        "lot": words(line.lot, "lot"), "cure_date": month_or_day(line.cure_date), "note": words(line.note, "note"),
    }  # fmt: skip


def check_value(count: int, cost: int | None) -> None:
    """Refuse a line worth more than sums of whole numbers can hold for ever."""
    if cost is not None and count * cost > schema.LARGEST_VALUE * 10**9:
        raise BookError(f"quantity times cost is over {plain(schema.LARGEST_VALUE)}: write it as several movements")
