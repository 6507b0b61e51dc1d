"""Items, lockers and units: every change is a further version, so the past stays readable."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Literal

from repairecon.book.amounts import HOURS, amount, maybe_amount
from repairecon.book.ledger import Ledger
from repairecon.read.problems import Problems, key, shown
from repairecon.records import BookError, Item, ItemVersion, Locker, UnitAboard

Sort = Literal["item", "locker", "unit"]
TEXTS = ("system", "makers_number", "cross_reference", "designation", "material", "needs", "note")
SHARES = ("weight_kg", "volume_litres", "resale_rate")
MANY = 500
"""Names asked for at a time; for more than that all are read."""

COLUMNS = (
    "name", "system", "units", "makers_number", "cross_reference", "designation", "material", "measure", "minimum",
    "locker", "shelf_group", "critical", "needs", "weight_kg", "volume_litres", "resale_rate", "carried", "note",
)  # fmt: skip
"""Fields of an item's card, in the order in which they are read and written."""


def lockers(ledger: Ledger) -> dict[int, Locker]:
    """All lockers as they read now, by number."""
    rows = ledger.rows("SELECT locker, name, place, kind, note FROM current_lockers ORDER BY locker")
    return {row[0]: Locker(*row) for row in rows}


def units(ledger: Ledger) -> dict[int, UnitAboard]:
    """All units as they read now, with the newest of the clock readings noted with them or with what was fitted."""
    rows = ledger.rows("SELECT unit, name, kind, hours, hours_on, note FROM current_units ORDER BY unit")
    newest: dict[int, tuple[str, int]] = {}
    for unit, on_date, hours in ledger.rows(
        "SELECT unit, on_date, hours FROM movements WHERE unit IS NOT NULL AND hours IS NOT NULL AND undoes IS NULL "
        "AND movement NOT IN (SELECT undoes FROM movements WHERE undoes IS NOT NULL) ORDER BY on_date, movement"
    ):
        newest[unit] = (on_date, hours)
    made = {}
    for unit, name, kind, hours, on_date, note in rows:
        seen_on, seen = newest.get(unit, ("", None))
        if seen is None or (hours is not None and on_date >= seen_on):
            seen_on, seen = on_date, hours
        made[unit] = UnitAboard(unit, name, kind, maybe_amount(seen, HOURS), seen_on, note)
    return made


def names(ledger: Ledger, sort: Sort, only: Iterable[int] | None = None) -> dict[int, str]:
    """The names of all things of a sort, or of some, as they read now."""
    some = None if only is None else sorted(set(only))
    if some is None or len(some) > MANY:
        return dict(ledger.rows(f"SELECT {sort}, name FROM current_{sort}s ORDER BY {sort}"))
    marks = ", ".join("?" * len(some))
    return dict(ledger.rows(f"SELECT {sort}, name FROM current_{sort}s WHERE {sort} IN ({marks})", some))


def _card(number: int, row: tuple[Any, ...], places: Mapping[int, str], aboard: Mapping[int, str]) -> Item:
    told = dict(zip(COLUMNS, row, strict=True))
    told["units"] = tuple(aboard[int(u)] for u in told["units"].split(";") if u)
    told["locker"] = places[told["locker"]] if told["locker"] else ""
    told["minimum"] = amount(told["minimum"])
    told |= {name: bool(told[name]) for name in ("critical", "carried")}
    return Item(number, **told)


def items(ledger: Ledger) -> dict[int, Item]:
    """All items as their cards read now, by number."""
    places, aboard = names(ledger, "locker"), names(ledger, "unit")
    rows = ledger.rows(f"SELECT item, {', '.join(COLUMNS)} FROM current_items ORDER BY item")
    return {row[0]: _card(row[0], row[1:], places, aboard) for row in rows}


def item_by_number(ledger: Ledger, number: int) -> Item:
    """One item as its card reads now."""
    row = ledger.rows(f"SELECT {', '.join(COLUMNS)} FROM current_items WHERE item = ?", (number,))[0]
    return _card(number, row, names(ledger, "locker"), names(ledger, "unit"))


def versions(ledger: Ledger, number: int) -> tuple[ItemVersion, ...]:
    """All that an item's card has read, oldest first."""
    places, aboard = names(ledger, "locker"), names(ledger, "unit")
    rows = ledger.rows(
        f"SELECT written_at, {', '.join(COLUMNS)} FROM item_versions WHERE item = ? ORDER BY version", (number,)
    )
    return tuple(ItemVersion(row[0], _card(number, row[1:], places, aboard)) for row in rows)


def find(ledger: Ledger, sort: Sort, name: str) -> int:
    """The number of a thing by its name whatever its case; else a sentence with the nearest name."""
    spelt = ledger.rows(f"SELECT DISTINCT {sort} FROM {sort}_versions WHERE name = ?", (str(name),))
    for (number,) in spelt:
        if names(ledger, sort, [number])[number] == name:
            return int(number)
    known_as = names(ledger, sort)
    wanted = key(str(name))
    for number, known in known_as.items():
        if key(known) == wanted:
            return int(number)
    more = _by_other_marks(ledger, wanted) if sort == "item" else []
    if len(more) == 1:
        return more[0]
    if len(more) > 1:
        called = ", ".join(shown(known_as[k]) for k in more)
        raise BookError(f"{shown(name)} is the number or size of several items ({called}): name the one you mean")
    advice = Problems().advice(str(name), tuple(known_as.values()))
    raise BookError(f"the book has no {sort} {shown(str(name))}: {advice}")


def _by_other_marks(ledger: Ledger, wanted: str) -> list[int]:
    """Items by maker's number, cross-reference or standard size, or by a name they had before."""
    if not wanted:
        return []
    now_read = ledger.rows("SELECT item, makers_number, cross_reference, designation FROM current_items")
    found = [r[0] for r in now_read if any(key(mark) == wanted for mark in r[1:])]
    if not found:
        found = [r[0] for r in ledger.rows("SELECT item, name FROM item_versions") if key(r[1]) == wanted]
    return list(dict.fromkeys(found))
