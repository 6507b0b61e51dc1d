"""The acts of an owner, each one transaction: what was done, what it left, what is to be reordered."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping
from typing import Any

from repairecon.book import history, lots_read, reordering, stock, things
from repairecon.book.amounts import (
    amount,
)
from repairecon.book.ledger import Ledger, now
from repairecon.book.lots import Lots
from repairecon.read.problems import shown
from repairecon.records import (
    Happened,
    Item,
    Movement,
    StockError,
)

When = datetime.date | str | None
LENT = 1
"""The locker that stands for what is lent out."""


def record(ledger: Ledger, columns: Mapping[str, Any]) -> int:
    """Add one movement; its number."""
    return ledger.insert("movements", {**columns, "written_at": now()})


def item_named(ledger: Ledger, name: str) -> Item:
    """An item by whatever it is known by."""
    return things.item_by_number(ledger, things.find(ledger, "item", name))


def happened(ledger: Ledger, item: int, numbers: Iterable[int], before: Movement | None = None) -> Happened:
    """What an act left behind."""
    listed = tuple(numbers)
    made = history.movements(ledger, f"movement IN ({', '.join('?' * len(listed))})", listed)
    held, where = stock.places(ledger, item), things.lockers(ledger)
    few = reordering.reorder(ledger, item)
    run = None
    clock = next((m.hours for m in made if m.hours is not None), None)
    if before is not None and before.hours is not None and clock is not None:
        run = clock - before.hours
    return Happened(
        things.item_by_number(ledger, item),
        made,
        {where[k].name: amount(q) for k, q in held.items()},
        amount(stock.by_kind(held, where)["aboard"]),
        lots_read.taken(ledger, item, listed[0]),
        few[0] if few else None,
        before,
        run if run is None or run >= 0 else None,  # the clock may have been changed
    )


def _lying(held: Mapping[int, int], names: Mapping[int, str]) -> str:
    return ", ".join(f"{amount(q)} in {shown(names[k])}" for k, q in held.items()) or "none anywhere"


def from_where(ledger: Ledger, item: Item, locker: str | None, quantity: int, lot: str = "") -> int:
    """The locker that a quantity is taken from; a sentence with what lies where if it does not lie there."""
    where = things.lockers(ledger)
    names = {k: place.name for k, place in where.items()}
    held = stock.places(ledger, item.number)
    asked = amount(quantity)
    if locker:
        chosen = things.find(ledger, "locker", locker)
    else:
        enough = [k for k, q in held.items() if q >= quantity and where[k].kind != "lent"]
        home = [k for k in enough if item.locker and names[k] == item.locker]
        aboard = [k for k in enough if where[k].kind == "aboard"]
        choices = home or aboard or enough
        if len(choices) > 1:
            raise StockError(f"{shown(item.name)}: {_lying(held, names)}; say which locker {asked} came from")
        if not choices:
            raise StockError(
                f"{shown(item.name)}: {asked} asked, {_lying(held, names)}; nothing was written. If it lies elsewhere "
                "or there are more, count the locker first"
            )
        chosen = choices[0]
    if held.get(chosen, 0) < quantity:
        elsewhere = {k: q for k, q in held.items() if k != chosen}
        raise StockError(
            f"{shown(item.name)}: {asked} asked, {amount(held.get(chosen, 0))} in {shown(names[chosen])} by the book "
            f"(elsewhere: {_lying(elsewhere, names)}); nothing was written. If there are more, count the locker first"
        )
    _check_lot(ledger, item, chosen, quantity, lot)
    return chosen


def _check_lot(ledger: Ledger, item: Item, locker: int, quantity: int, lot: str) -> None:
    if not lot:
        return
    there = [x for x in lots_read.lots(ledger, item.number) if x.lot == lot]
    state = Lots().run(lots_read.steps(ledger, item.number)).places.get((item.number, locker), {})
    left = sum(q for came, q in state.items() if any(x.came_by == came for x in there))
    if left < quantity:
        raise StockError(
            f"{shown(item.name)}: {amount(quantity)} asked of lot {shown(lot)}, {amount(left)} left there; "
            "nothing was written"
        )
