"""Writing cards: every change of an item, a locker or a unit is a further version, so the past stays readable."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from repairecon.book import schema
from repairecon.book.amounts import HOURS, Scale, maybe, month_or_day, pieces, words
from repairecon.book.ledger import Ledger, now
from repairecon.book.things import COLUMNS, SHARES, TEXTS, Sort, find, item_by_number, names
from repairecon.read.problems import Problems, key, shown
from repairecon.records import LOCKER_KINDS, MEASURES, SHELF_GROUPS, BookError


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
    found = maybe(str(value), Scale(6, 1 if what == "resale_rate" else 1_000_000, fitted=True), what)
    return None if found is None else found / 1_000_000


_COLUMNS_OF: Mapping[Sort, Callable[[Ledger, int | None, Mapping[str, Any]], dict[str, Any]]] = {
    "item": _item_columns,
    "locker": _locker_columns,
    "unit": _unit_columns,
}
