"""Small books for the tests."""

from __future__ import annotations

import datetime
from pathlib import Path

from repairecon.book.spares_book import SparesBook, open_book
from repairecon.records import Movement, ReceiveLine

TODAY = datetime.date(2026, 6, 1)
SEAL, BELT, OIL = "seal, shaft, raw water pump", "belt, alternator", "oil, engine"


def new_book(folder: Path, name: str = "boat.spares") -> SparesBook:
    """Three lockers, two units, three items, nothing in stock."""
    book = open_book(folder / name, create=True, today=TODAY, wait_s=0.2)
    book.add_locker("A1", "under the chart table")
    book.add_locker("B2", "engine room, port")
    book.add_locker("shed", kind="ashore")
    book.add_unit("engine", "auxiliary diesel", hours=1200, hours_on="2026-01-01")
    book.add_unit("raw water pump")
    book.add_item(
        SEAL, units=("raw water pump",), designation="20x35x7", makers_number="RW-20", material="NBR", minimum=2,
        locker="A1", shelf_group="B", critical=True, needs="circlip pliers; seal 16x3 O-ring",
    )  # fmt: skip
    book.add_item(BELT, units=("engine",), designation="13x1000 Li", minimum=1, locker="B2")
    book.add_item(OIL, units=("engine",), measure="litre", minimum="5", locker="B2")
    return book


def stocked_book(folder: Path, name: str = "boat.spares") -> SparesBook:
    """The same with a delivery of four seals, two belts and nine litres of oil."""
    book = new_book(folder, name)
    book.receive(
        [
            ReceiveLine(
                SEAL,
                4,
                "bearing stockist",
                "6.25",
                currency="EUR",
                rate=1,
                quoted_unit="5.10",
                cure_date="2Q25",
                lot="K7",
            ),
            ReceiveLine(BELT, 2, "chandler", "14.2", currency="GBP", rate="1.17", quoted_unit="11.5"),
            ReceiveLine(OIL, "9", "chandler", "7.333333"),
        ],
        "2026-02-01",
        "order 12",
    )
    return book


def held(book: SparesBook) -> dict[tuple[str, str], str]:
    """Stock as text by item and locker."""
    return {(line.item, line.locker): str(line.quantity) for line in book.stock()}


def fitted_to(book: SparesBook, unit: str) -> list[Movement]:
    """What was fitted to a unit and stands, by date."""
    stands = [m for m in book.movements() if m.unit == unit and m.undoes is None and m.undone_by is None]
    return sorted(stands, key=lambda m: (m.on_date, m.number))


def corrected(book: SparesBook, number: int, **columns: int) -> None:
    """Write what a movement should have been, and take it back: so a folder of an owner, or an older book, may say."""
    names = "on_date, kind, item, quantity, locker_from, locker_to, cost_unit, person, unit, lot, cure_date, reference"
    (row,) = book.ledger.rows(f"SELECT {names} FROM movements WHERE movement = ?", (number,))
    before = dict(zip(names.split(", "), row, strict=True))
    back = {**before, "kind": "corrected", "undoes": number, "written_at": "2026-06-01T00:00:00.000Z"}
    back |= {"locker_from": before["locker_to"], "locker_to": before["locker_from"]}
    with book.ledger.writing():
        book.ledger.insert("movements", {**before, **columns, "corrects": number, "written_at": back["written_at"]})
        book.ledger.insert("movements", back)
