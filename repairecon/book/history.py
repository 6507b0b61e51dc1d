"""Movements as records, and which of them stand."""

from __future__ import annotations

from collections.abc import Mapping

from repairecon.book import things
from repairecon.book.amounts import HOURS, MONEY, RATE, amount, maybe_amount
from repairecon.book.ledger import Ledger
from repairecon.records import Movement

_FIELDS = (
    "movement, on_date, kind, item, quantity, locker_from, locker_to, cost_unit, currency, rate, quoted_unit, person, "
    "unit, hours, lot, cure_date, reference, note, undoes, corrects, written_at"
)


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


def unit_history(ledger: Ledger, unit: int) -> tuple[Movement, ...]:
    """What was fitted to a unit and stands, by date."""
    with ledger.reading():
        undone_by = undone(ledger)
        fitted = movements(ledger, "unit = ? AND undoes IS NULL", (unit,))
    return tuple(sorted((m for m in fitted if stands(m.number, undone_by)), key=lambda m: (m.on_date, m.number)))
