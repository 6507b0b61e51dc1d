"""lockers.csv, units.csv and items.csv to rows of the book: a row a thing, or a row a version where numbers repeat."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from repairecon.book import cells, schema
from repairecon.book.amounts import HOURS, QUANTITY, month_or_day
from repairecon.book.things import SHARES, TEXTS
from repairecon.read.problems import Names, Problems, key, shown
from repairecon.read.tables import Row, Table
from repairecon.records import LOCKER_KINDS, MEASURES, SHELF_GROUPS


@dataclass
class Cards:
    """Versions of one sort of thing as they are to be written, and the numbers of the names that hold now."""

    sort: str
    versions: list[dict[str, Any]] = field(default_factory=list)
    numbers: dict[str, int] = field(default_factory=dict)
    names: Names = field(default_factory=Names)
    measures: dict[int, str] = field(default_factory=dict)

    @property
    def count(self) -> int:
        """How many things there are."""
        return max((v[self.sort] for v in self.versions), default=0)


def read(table: Table, sort: str, written_at: str, fill: Callable[[Row, dict[str, Any]], None]) -> Cards:
    """Versions of a file, each with its number; the last name of each number holds."""
    cards = Cards(sort)
    cards.names.whole = table.whole
    last: dict[int, tuple[str, Row]] = {}
    for row in table.rows:
        number = _number(row, cards.count + (1 if sort != "locker" or cards.versions else 2))
        name = cells.text_of(row, "name")
        if "name" in row.cells and not name:
            row.fault("name", "nothing", f"name the {sort}")
        made: dict[str, Any] = {sort: number, "name": name, "note": cells.text_of(row, "note")}
        fill(row, made)
        made["written_at"] = cells.text_of(row, "written_at") or written_at
        cards.versions.append(made)
        last[number] = (name, row)
    for number, (name, row) in last.items():
        if name and not cards.names.add(name):
            row.fault("name", f"{shown(name)} again", f"use another name: another {sort} has this one")
        elif name:
            cards.numbers[key(name)] = number
    return cards


def _number(row: Row, following: int) -> int:
    """The number of a thing: the next one, or that of an earlier row, of which this is a further version."""
    text = row.text("number")
    if not text:
        return following
    if not (text.isascii() and text.isdecimal()) or not 1 <= int(text[:9]) <= following:
        row.fault(
            "number", shown(text), f"write {following}, or the number of a row above of which this is a later card"
        )
        return following
    return int(text)


def locker(row: Row, made: dict[str, Any]) -> None:
    """The further columns of a locker; the one for what is lent is there from the start."""
    made["place"] = cells.text_of(row, "place")
    made["kind"] = row.choice("kind", LOCKER_KINDS, "aboard")
    lent = key(made["name"]) == schema.LENT
    if lent != (made["kind"] == "lent"):
        row.fault("kind", shown(row.text("kind")), f"only {shown(schema.LENT)} is of the kind lent")
    if lent:
        made["locker"] = 1
    elif made["locker"] == 1:
        row.fault("number", "'1'", f"number lockers from 2: 1 is for {shown(schema.LENT)}")


def unit(row: Row, made: dict[str, Any]) -> None:
    """The further columns of a unit."""
    made["kind"] = cells.text_of(row, "kind")
    made["hours"] = cells.whole_of(row, "hours", HOURS)
    made["hours_on"] = cells.read_by(row, "hours_on", month_or_day)


def item_with(lockers: Cards, units: Cards, problems: Problems) -> Callable[[Row, dict[str, Any]], None]:
    """The further columns of an item, which names lockers and units."""

    def item(row: Row, made: dict[str, Any]) -> None:
        made |= {name: cells.text_of(row, name) for name in TEXTS}
        made |= {name: cells.share_of(row, name) for name in SHARES}
        made["measure"] = row.choice("measure", MEASURES, "piece")
        made["minimum"] = cells.whole_of(row, "minimum", QUANTITY) or 0
        if made["measure"] == "piece" and made["minimum"] % 1000:
            row.fault("minimum", shown(row.text("minimum")), "write a whole number: these come in pieces")
        group = row.text("shelf_group").upper()
        if group not in SHELF_GROUPS:
            row.fault("shelf_group", shown(group), "write A, B or C, or nothing")
        made["shelf_group"] = group
        made["critical"], made["carried"] = int(row.yes("critical")), int(row.yes("carried", True))
        made["locker"] = named(row, "locker", lockers, problems)
        text = cells.as_meant(row.text("units"))
        numbers = [named(row, "units", units, problems, name) for name in text.split(";") if name.strip()]
        made["units"] = ";".join(str(n) for n in dict.fromkeys(numbers) if n)

    return item


def named(row: Row, column: str, cards: Cards, problems: Problems, name: str | None = None) -> int | None:
    """The number of what a cell names; an unknown name is a fault."""
    text = cells.as_meant(row.text(column)) if name is None else name
    if not text:
        return None
    found = cards.numbers.get(key(text))
    if found is None and cards.names.whole:
        row.fault(column, shown(text), cards.names.advice(problems, text))
    return found
