"""Items, lockers and units: every change is a further version, so the past stays readable."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any, Literal

from repairecon.files.book import schema
from repairecon.files.book.amounts import HOURS, QUANTITY, amount, maybe, maybe_amount, month_or_day, pieces, words
from repairecon.files.book.ledger import Ledger, now
from repairecon.files.names import key
from repairecon.files.problems import Problems, shown
from repairecon.records import LOCKER_KINDS, MEASURES, SHELF_GROUPS, BookError, Item, ItemVersion, Locker, UnitAboard

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


def _free(ledger: Ledger, sort: Sort, name: str, but: int | None = None) -> str:
    """A name that nothing else of the sort has."""
    line = words(name, f"{sort} name", required=True)
    for number, known in names(ledger, sort).items():
        if key(known) == key(line) and number != but:
            raise BookError(f"there is a {sort} {shown(known)} already: use another name, or change that one")
    return line


def _choice(value: str, options: tuple[str, ...], what: str) -> str:
    word = str(value).strip()
    found = next((o for o in options if o.casefold() == word.casefold()), None)
    if found is None:
        raise BookError(f"{what}: found {shown(word)}; {Problems().advice(word, [o for o in options if o])}")
    return found


def add(ledger: Ledger, sort: Sort, told: Mapping[str, Any]) -> int:
    """A new item, locker or unit; its number."""
    with ledger.writing():
        columns = _COLUMNS_OF[sort](ledger, None, told)
        if "name" not in columns:
            raise BookError(f"{sort} name: found nothing; write a name")
        number = ledger.insert(
            f"{sort}s", {sort: ledger.rows(f"SELECT coalesce(max({sort}), 0) + 1 FROM {sort}s")[0][0]}
        )
        ledger.insert(f"{sort}_versions", {sort: number, **columns, "written_at": now()})
    return number


def change(ledger: Ledger, sort: Sort, number: int, told: Mapping[str, Any]) -> None:
    """A further version of an item, locker or unit: what is not told stays."""
    with ledger.writing():
        columns = _COLUMNS_OF[sort](ledger, number, told)
        kept = ", ".join(c for c in _KEPT[sort])
        before = dict(
            zip(
                _KEPT[sort],
                ledger.rows(f"SELECT {kept} FROM current_{sort}s WHERE {sort} = ?", (number,))[0],
                strict=True,
            )
        )
        ledger.insert(f"{sort}_versions", {sort: number, **before, **columns, "written_at": now()})


_KEPT: Mapping[Sort, tuple[str, ...]] = {
    "item": COLUMNS,
    "locker": ("name", "place", "kind", "note"),
    "unit": ("name", "kind", "hours", "hours_on", "note"),
}


def _known(sort: Sort, told: Mapping[str, Any]) -> None:
    for name in told:
        if name not in _KEPT[sort]:
            raise BookError(f"{sort}: no such field {shown(name)}; {Problems().advice(name, _KEPT[sort])}")


def _locker_columns(ledger: Ledger, number: int | None, told: Mapping[str, Any]) -> dict[str, Any]:
    _known("locker", told)
    made = {name: words(told[name], name) for name in ("place", "note") if name in told}
    if "name" in told:
        made["name"] = _free(ledger, "locker", told["name"], number)
    if "kind" in told:
        made["kind"] = _choice(told["kind"], LOCKER_KINDS[:2], "kind of locker")
    if number == 1:
        raise BookError(f"{shown(schema.LENT)} is where the book keeps what is lent: it stays as it is")
    return made


def _unit_columns(ledger: Ledger, number: int | None, told: Mapping[str, Any]) -> dict[str, Any]:
    _known("unit", told)
    made: dict[str, Any] = {name: words(told[name], name) for name in ("kind", "note") if name in told}
    if "name" in told:
        made["name"] = _free(ledger, "unit", told["name"], number)
    if told.get("hours") is not None:
        made["hours"] = maybe(told["hours"], HOURS, "hours on the clock")
        made["hours_on"] = month_or_day(told.get("hours_on") or ledger.today(), "date of the hours")
    return made


def _item_columns(ledger: Ledger, number: int | None, told: Mapping[str, Any]) -> dict[str, Any]:
    _known("item", told)
    made: dict[str, Any] = {name: words(told[name], name) for name in TEXTS if name in told}
    if "name" in told:
        made["name"] = _free(ledger, "item", told["name"], number)
    made |= {name: int(bool(told[name])) for name in ("critical", "carried") if name in told}
    made |= {name: _share(told[name], name) for name in SHARES if name in told}
    if "shelf_group" in told:
        made["shelf_group"] = _choice(told["shelf_group"], SHELF_GROUPS, "shelf group")
    measure = item_by_number(ledger, number).measure if number else "piece"
    if "measure" in told:
        made["measure"] = _choice(told["measure"], MEASURES, "measure")
        if (
            number
            and made["measure"] != measure
            and ledger.rows("SELECT 1 FROM movements WHERE item = ? LIMIT 1", (number,))
        ):
            raise BookError("measure: the item has movements already; add a new item with that measure instead")
        measure = made["measure"]
    if "minimum" in told:
        made["minimum"] = pieces(told["minimum"], measure, "minimum", above=False)
    if "locker" in told:
        made["locker"] = find(ledger, "locker", told["locker"]) if told["locker"] else None
    if "units" in told:
        named = told["units"].split(";") if isinstance(told["units"], str) else told["units"]
        made["units"] = ";".join(str(find(ledger, "unit", n)) for n in dict.fromkeys(named) if n.strip())
    return made


def _share(value: object, what: str) -> float | None:
    if value is None or value == "":
        return None
    found = maybe(str(value), QUANTITY.__class__(6, 1 if what == "resale_rate" else 1_000_000, True), what)
    return None if found is None else found / 1_000_000


_COLUMNS_OF: Mapping[Sort, Callable[[Ledger, int | None, Mapping[str, Any]], dict[str, Any]]] = {
    "item": _item_columns,
    "locker": _locker_columns,
    "unit": _unit_columns,
}
