"""The acts of an owner, each one transaction: what was done, what it left, what is to be reordered."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import Any

from repairecon.files.book import schema, stock, things
from repairecon.files.book.amounts import (
    HOURS,
    MONEY,
    RATE,
    Amount,
    amount,
    day,
    maybe,
    month_or_day,
    pieces,
    words,
)
from repairecon.files.book.ledger import Ledger, now
from repairecon.files.book.lots import Lots
from repairecon.files.names import key
from repairecon.files.problems import shown
from repairecon.files.values import plain
from repairecon.records import (
    BookBusyError,
    BookError,
    BookFileError,
    Counted,
    Happened,
    Item,
    Movement,
    ReceiveLine,
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
    made = stock.movements(ledger, f"movement IN ({', '.join('?' * len(listed))})", listed)
    held, where = stock.places(ledger, item), things.lockers(ledger)
    few = stock.reorder(ledger, item)
    run = None
    if before is not None and before.hours is not None and made[0].hours is not None:
        run = made[0].hours - before.hours
    return Happened(
        things.item_by_number(ledger, item),
        made,
        {where[k].name: amount(q) for k, q in held.items()},
        amount(stock.by_kind(held, where)["aboard"]),
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
    there = [x for x in stock.lots(ledger, item.number) if x.lot == lot]
    state = Lots().run(stock.steps(ledger, item.number)).places.get((item.number, locker), {})
    left = sum(q for came, q in state.items() if any(x.came_by == came for x in there))
    if left < quantity:
        raise StockError(
            f"{shown(item.name)}: {amount(quantity)} asked of lot {shown(lot)}, {amount(left)} left there; "
            "nothing was written"
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
    note: str, lot: str,
) -> Happened:  # fmt: skip
    """Take a spare from stock and write it into the history of the unit it went into."""
    with ledger.writing():
        item = item_named(ledger, name)
        into = things.find(ledger, "unit", unit)
        count = pieces(quantity, item.measure)
        label = words(lot, "lot")
        chosen = from_where(ledger, item, locker, count, label)
        undone = stock.undone(ledger)
        fitted = stock.movements(
            ledger, "item = ? AND locker_from IS NOT NULL AND +unit = ? AND kind = 'fitted'", (item.number, into)
        )
        before = max(
            (m for m in fitted if stock.stands(m.number, undone)), key=lambda m: (m.on_date, m.number), default=None
        )
        number = record(ledger, {
            "on_date": day(date, ledger.today()), "kind": "fitted", "item": item.number, "quantity": count,
            "locker_from": chosen, "unit": into, "hours": maybe(hours, HOURS, "hours on the clock"),
            "note": words(note, "note"), "lot": label,
        })  # fmt: skip
        return happened(ledger, item.number, [number], before)


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


def count(
    ledger: Ledger, locker: str, found: Mapping[str, Amount], whole: bool, date: When, note: str, write: bool
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
        return tuple(_counted(ledger, place, item, quantity, date, note, write) for item, quantity in seen.values())


def _counted(ledger: Ledger, place: int, item: Item, quantity: int, date: When, note: str, write: bool) -> Counted:
    in_book = stock.places(ledger, item.number).get(place, 0)
    change = quantity - in_book
    written = None
    if write:
        number = record(ledger, {
            "on_date": day(date, ledger.today()), "kind": "counted", "item": item.number, "quantity": abs(change),
            "locker_from" if change < 0 else "locker_to": place, "note": words(note, "note"),
        })  # fmt: skip
        written = stock.movements(ledger, "movement = ?", (number,))[0]
    name = things.lockers(ledger)[place].name
    return Counted(item.name, name, amount(in_book), amount(quantity), written)


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
