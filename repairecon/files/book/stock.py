"""What the ledger adds up to: stock by place, movements as records, what to reorder."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from repairecon.files.book import things
from repairecon.files.book.amounts import HOURS, MONEY, QUANTITY, RATE, amount, maybe_amount
from repairecon.files.book.ledger import Ledger, Rows
from repairecon.files.book.lots import Lots, Step
from repairecon.records import Item, Locker, Lot, Movement, ReorderLine, StockLine

_FIELDS = (
    "movement, on_date, kind, item, quantity, locker_from, locker_to, cost_unit, currency, rate, quoted_unit, person, "
    "unit, hours, lot, cure_date, reference, note, undoes, corrects, written_at"
)


def places(ledger: Ledger, item: int) -> dict[int, int]:
    """Thousandths of an item in each locker that has any."""
    return dict(row[1:] for row in _of_one(ledger, item))


def _of_one(ledger: Ledger, item: int) -> Rows:
    """The view ``stock`` for one item, without adding up all others first."""
    return ledger.rows(
        "SELECT item, locker, sum(quantity) FROM ("
        "SELECT item, locker_to AS locker, quantity FROM movements WHERE item = ?1 AND locker_to IS NOT NULL "
        "UNION ALL SELECT item, locker_from, -quantity FROM movements WHERE item = ?1 AND locker_from IS NOT NULL) "
        "GROUP BY locker HAVING sum(quantity) <> 0 ORDER BY locker",
        (item,),
    )


def lines(ledger: Ledger, item: int | None = None) -> tuple[StockLine, ...]:
    """Stock by item and locker."""
    with ledger.reading():
        where = things.lockers(ledger)
        every = "SELECT item, locker, quantity FROM stock ORDER BY item, locker"
        rows = ledger.rows(every) if item is None else _of_one(ledger, item)
        names = things.names(ledger, "item", (r[0] for r in rows))
    return tuple(StockLine(i, names[i], where[k].name, where[k].kind, amount(q)) for i, k, q in rows)


def by_kind(held: Mapping[int, int], where: Mapping[int, Locker]) -> dict[str, int]:
    """Thousandths aboard, ashore and lent."""
    sums = {"aboard": 0, "ashore": 0, "lent": 0}
    for locker, quantity in held.items():
        sums[where[locker].kind] += quantity
    return sums


def undone(ledger: Ledger) -> dict[int, int]:
    """The counter-movement of each movement that has one."""
    return dict(ledger.rows("SELECT undoes, movement FROM movements WHERE undoes IS NOT NULL"))


def stands(movement: int, undone_by: Mapping[int, int]) -> bool:
    """False for what was undone, unless the undoing was undone."""
    held = True
    while movement in undone_by:
        movement, held = undone_by[movement], not held
    return held


def movements(ledger: Ledger, where: str = "1", values: tuple[object, ...] = ()) -> tuple[Movement, ...]:
    """Movements as records, in the order in which they were written."""
    with ledger.reading():
        lockers, units = things.names(ledger, "locker"), things.names(ledger, "unit")
        undone_by = undone(ledger)
        rows = ledger.rows(f"SELECT {_FIELDS} FROM movements WHERE {where} ORDER BY movement", values)
        names = things.names(ledger, "item", (r[3] for r in rows))
    return tuple(
        Movement(
            number=r[0], on_date=r[1], kind=r[2], item_number=r[3], item=names[r[3]], quantity=amount(r[4]),
            locker_from=lockers.get(r[5], ""), locker_to=lockers.get(r[6], ""), cost_unit=maybe_amount(r[7], MONEY),
            currency=r[8], rate=maybe_amount(r[9], RATE), quoted_unit=maybe_amount(r[10], MONEY), person=r[11],
            unit=units.get(r[12], ""), hours=maybe_amount(r[13], HOURS), lot=r[14], cure_date=r[15], reference=r[16],
            note=r[17], undoes=r[18], corrects=r[19], undone_by=undone_by.get(r[0]), written_at=r[20],
        )
        for r in rows
    )  # fmt: skip


def last_bought(ledger: Ledger, item: int, undone_by: Mapping[int, int] | None = None) -> int | None:
    """The newest purchase of an item that stands."""
    known = undone(ledger) if undone_by is None else undone_by
    rows = ledger.rows(
        "SELECT movement FROM movements WHERE kind = 'bought' AND item = ? ORDER BY movement DESC", (item,)
    )
    return next((m for (m,) in rows if stands(m, known)), None)


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
    which, values = ("", ()) if item is None else (" WHERE item = ?", (item,))
    with ledger.reading():
        state = Lots().run(steps(ledger, item))
        names = things.names(ledger, "item", (place[0] for place in state.places))
        where = things.lockers(ledger)
        came = {
            r[0]: r[1:]
            for r in ledger.rows(f"SELECT movement, on_date, cost_unit, lot, cure_date FROM movements{which}", values)
        }
    made = []
    for (number, locker), heap in sorted(state.places.items()):
        for lot in sorted(heap, key=lambda m: (came[m][0], m)):
            on_date, cost, label, cure = came[lot]
            place = where[locker]
            left, each = amount(heap[lot], QUANTITY), maybe_amount(cost, MONEY)
            made.append(Lot(number, names[number], place.name, place.kind, left, lot, on_date, each, label, cure))
    return tuple(made)


def total(held: Mapping[str, Decimal]) -> Decimal:
    """All there is, wherever it lies."""
    return sum(held.values(), Decimal(0))


def unit_history(ledger: Ledger, unit: int) -> tuple[Movement, ...]:
    """What was fitted to a unit and stands, by date."""
    with ledger.reading():
        undone_by = undone(ledger)
        fitted = movements(ledger, "unit = ? AND undoes IS NULL", (unit,))
    return tuple(sorted((m for m in fitted if stands(m.number, undone_by)), key=lambda m: (m.on_date, m.number)))
