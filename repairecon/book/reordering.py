"""What is to be bought again, from whom it came last and at what price."""

from __future__ import annotations

from collections.abc import Mapping

from repairecon.book import things
from repairecon.book.amounts import amount
from repairecon.book.history import last_bought, movements, stands, undone
from repairecon.book.ledger import Ledger
from repairecon.book.stock import by_kind, places
from repairecon.records import Item, Movement, ReorderLine


def reorder(ledger: Ledger, only: int | None = None) -> tuple[ReorderLine, ...]:
    """Carried items under their minimum, critical ones first, then those most short."""
    with ledger.reading():
        few = _few(ledger, only)
        where = things.lockers(ledger)
        cards = things.items(ledger) if only is None else {k: things.item_by_number(ledger, k) for k in few}
        undone_by = undone(ledger)
        bought = (
            {k: last_bought(ledger, k, undone_by) for k in few} if only is not None else _all_bought(ledger, undone_by)
        )
        numbers = sorted(m for k in few if (m := bought.get(k)) is not None)
        last = {m.item_number: m for m in _numbered(ledger, numbers)}
    made = [_line(cards[k], by_kind(held, where), last.get(k)) for k, held in few.items()]
    return tuple(sorted(made, key=lambda r: (not r.item.critical, -r.short / r.item.minimum, r.item.name)))


def _few(ledger: Ledger, only: int | None) -> dict[int, dict[int, int]]:
    """What lies where of the carried items that have fewer aboard than their minimum."""
    if only is not None:
        card, held_there = things.item_by_number(ledger, only), places(ledger, only)
        aboard = amount(by_kind(held_there, things.lockers(ledger))["aboard"])
        return {only: held_there} if card.carried and aboard < card.minimum else {}
    rows = ledger.rows(
        "SELECT c.item, s.locker, coalesce(s.quantity, 0), c.minimum, l.kind FROM current_items c "
        "LEFT JOIN stock s ON s.item = c.item LEFT JOIN current_lockers l ON l.locker = s.locker "
        "WHERE c.carried AND c.minimum > 0 ORDER BY c.item, s.locker"
    )
    held: dict[int, dict[int, int]] = {}
    missing: dict[int, int] = {}
    for item, locker, quantity, minimum, kind in rows:
        places_of = held.setdefault(item, {})
        missing.setdefault(item, minimum)
        if locker is not None:
            places_of[locker] = quantity
            missing[item] -= quantity if kind == "aboard" else 0
    return {item: found for item, found in held.items() if missing[item] > 0}


def _all_bought(ledger: Ledger, undone_by: Mapping[int, int]) -> dict[int, int | None]:
    rows = ledger.rows("SELECT item, max(movement) FROM movements WHERE kind = 'bought' GROUP BY item")
    return {i: m if stands(m, undone_by) else last_bought(ledger, i, undone_by) for i, m in rows}


def _numbered(ledger: Ledger, numbers: list[int]) -> tuple[Movement, ...]:
    """Movements by their numbers, some hundreds to a query."""
    found: list[Movement] = []
    for k in range(0, len(numbers), 500):
        part = tuple(numbers[k : k + 500])
        found += movements(ledger, f"movement IN ({', '.join('?' * len(part))})", part)
    return tuple(found)


def _line(item: Item, held: Mapping[str, int], last: Movement | None) -> ReorderLine:
    aboard = amount(held["aboard"])
    return ReorderLine(item, aboard, amount(held["ashore"]), amount(held["lent"]), item.minimum - aboard, last)
