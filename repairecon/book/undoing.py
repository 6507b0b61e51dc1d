"""Taking back: a counter-movement, once for each movement; and correcting, a counter-movement and what should stand."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from repairecon.book import acts, history, receiving, stock, things
from repairecon.book.amounts import HOURS, MONEY, RATE, amount, day, maybe, month_or_day, pieces, words
from repairecon.book.ledger import Ledger
from repairecon.read.problems import Problems, shown
from repairecon.records import BookError, Happened, StockError

_COPIED = (
    "item", "quantity", "locker_from", "locker_to", "cost_unit", "currency", "rate", "quoted_unit", "person", "unit",
    "hours", "lot", "cure_date", "reference",
)  # fmt: skip
_MORE = ("on_date", "kind", "undoes", "note")
CHANGES = (
    "date", "item", "quantity", "locker_from", "locker_to", "cost_unit", "currency", "rate", "quoted_unit", "person",
    "unit", "hours", "lot", "cure_date", "reference", "note",
)  # fmt: skip
"""What ``correct`` may set."""


def _whole_row(ledger: Ledger, number: int) -> dict[str, Any]:
    columns = (*_COPIED, *_MORE)
    rows = ledger.rows(f"SELECT {', '.join(columns)} FROM movements WHERE movement = ?", (number,))
    if not rows:
        last = ledger.rows("SELECT coalesce(max(movement), 0) FROM movements")[0][0]
        raise BookError(f"there is no movement {number}: they run from 1 to {last}")
    return dict(zip(columns, rows[0], strict=True))


def _counter(ledger: Ledger, number: int, kind: str, date: acts.When, note: str) -> dict[str, Any]:
    """The mirror of a movement, and the row it mirrors."""
    row = _whole_row(ledger, number)
    if number in history.undone(ledger):
        raise BookError(f"movement {number} is undone already, by movement {history.undone(ledger)[number]}")
    if row["kind"] == "corrected":
        instead = ledger.rows("SELECT movement FROM movements WHERE corrects = ?", (row["undoes"],))[0][0]
        raise BookError(
            f"movement {number} took back what was corrected: undo or correct movement {instead}, which stands instead"
        )
    gone = row["locker_to"]
    lying = stock.places(ledger, row["item"]).get(gone, 0) if gone else 0
    if gone and kind == "undone" and lying < row["quantity"]:
        item, place = things.item_by_number(ledger, row["item"]), things.lockers(ledger)[gone].name
        raise StockError(
            f"movement {number} brought {amount(row['quantity'])} of {shown(item.name)} to {shown(place)}, where only "
            f"{amount(lying)} lie now: undo what took them away first, or count the locker; nothing was written"
        )
    return {
        **{name: row[name] for name in _COPIED},
        "on_date": day(date, ledger.today()) if date else row["on_date"],
        "kind": kind,
        "locker_from": row["locker_to"],
        "locker_to": row["locker_from"],
        "undoes": number,
        "note": words(note, "note"),
    }


def undo(ledger: Ledger, number: int, date: acts.When, note: str) -> Happened:
    """Take a movement back, on its own date by default; undoing an undoing lets the first stand again."""
    with ledger.writing():
        row = _counter(ledger, number, "undone", date, note)
        made = acts.record(ledger, row)
        return acts.happened(ledger, row["item"], [made])


def correct(ledger: Ledger, number: int, changes: Mapping[str, Any]) -> Happened:
    """Take a movement back and write it again with some of its fields otherwise."""
    for name in changes:
        if name not in CHANGES:
            raise BookError(f"a movement has no field {shown(name)}; {Problems().advice(name, CHANGES)}")
    with ledger.writing():
        before = _whole_row(ledger, number)
        if before["undoes"] is not None:
            raise BookError(f"movement {number} is a counter-movement: undo it, or correct what stands")
        counter = _counter(ledger, number, "corrected", None, changes.get("note", ""))
        after = {name: before[name] for name in (*_COPIED, "on_date", "kind", "note")} | _changed(
            ledger, before, changes
        )
        receiving.check_value(after["quantity"], after["cost_unit"])
        replacement = {**after, "corrects": number}
        gone = counter["locker_from"]
        lying = stock.places(ledger, before["item"]).get(gone, 0) if gone else 0
        rows = (counter, replacement) if not gone or lying >= counter["quantity"] else (replacement, counter)
        made = [_enough(ledger, number, row) for row in rows]
        return acts.happened(ledger, after["item"], made)


def _enough(ledger: Ledger, number: int, row: Mapping[str, Any]) -> int:
    """One of the two movements of a correction; what it takes must lie there."""
    gone = row["locker_from"]
    lying = stock.places(ledger, row["item"]).get(gone, 0) if gone else 0
    if gone and lying < row["quantity"]:
        item, place = things.item_by_number(ledger, row["item"]), things.lockers(ledger)[gone].name
        raise StockError(
            f"movement {number} cannot be corrected like that: it would take {amount(row['quantity'])} of "
            f"{shown(item.name)} from {shown(place)}, where {amount(lying)} lie. Count the locker first; "
            "nothing was written"
        )
    return acts.record(ledger, row)


def _changed(ledger: Ledger, before: Mapping[str, Any], changes: Mapping[str, Any]) -> dict[str, Any]:
    """The fields that are set otherwise, as the book keeps them."""
    made: dict[str, Any] = {}
    item = things.find(ledger, "item", changes["item"]) if "item" in changes else before["item"]
    made["item"] = item
    if "quantity" in changes:
        measure = things.item_by_number(ledger, item).measure
        made["quantity"] = pieces(changes["quantity"], measure)
    if "date" in changes:
        made["on_date"] = day(changes["date"], ledger.today())
    for name in ("locker_from", "locker_to"):
        if name in changes:
            if before[name] is None:
                raise BookError(
                    f"movement {name}: a movement that is {before['kind']} has none here; undo it and write another"
                )
            made[name] = things.find(ledger, "locker", changes[name])
    if "unit" in changes:
        made["unit"] = things.find(ledger, "unit", changes["unit"]) if changes["unit"] else None
    scales = {"cost_unit": MONEY, "quoted_unit": MONEY, "rate": RATE, "hours": HOURS}
    made |= {name: maybe(changes[name], scale, name) for name, scale in scales.items() if name in changes}
    made |= {n: words(changes[n], n) for n in ("currency", "person", "lot", "reference", "note") if n in changes}
    if "cure_date" in changes:
        made["cure_date"] = month_or_day(changes["cure_date"])
    return made
