"""movements.csv to rows of the book: every line is held against what the lines above it leave."""

from __future__ import annotations

from typing import Any

from repairecon.book import cells, schema
from repairecon.book.amounts import HOURS, MONEY, QUANTITY, RATE, amount, month_or_day
from repairecon.book.cards_in import Cards, named
from repairecon.read.problems import Problems, key, shown
from repairecon.read.tables import Row, Table
from repairecon.read.values import plain
from repairecon.records import MOVEMENT_KINDS

_PLACES = {
    "bought": (False, True), "used": (True, False), "fitted": (True, False), "scrapped": (True, False),
    "moved": (True, True), "lent": (True, True), "returned": (True, True),
}  # fmt: skip
_TEXTS = ("currency", "person", "lot", "reference", "note")


class Moves:
    """The movements as they are to be written."""

    def __init__(self, items: Cards, lockers: Cards, units: Cards, problems: Problems, written_at: str) -> None:
        self.rows: list[dict[str, Any]] = []
        self._items, self._lockers, self._units = items, lockers, units
        self._problems, self._written_at = problems, written_at
        self._held: dict[tuple[int, int], int] = {}
        self._undone: dict[int, int] = {}
        self._names = {lockers.numbers[key(name)]: name for name in lockers.names}

    def read(self, table: Table) -> list[dict[str, Any]]:
        """All movements of the file; a line with a fault is left out of the sums."""
        for row in table.rows:
            number = len(self.rows) + 1
            told = row.text("number")
            if told and told != str(number):
                row.fault("number", shown(told), f"write {number}: movements are numbered in the order of the rows")
            made = self._columns(row)
            if not row.bad:
                self._check(row, made)
            if not row.bad:
                self._keep(made)
            self.rows.append(made)
        return self.rows

    def _columns(self, row: Row) -> dict[str, Any]:
        made: dict[str, Any] = {"on_date": row.date("on_date"), "kind": row.choice("kind", MOVEMENT_KINDS, "")}
        for column in ("on_date", "kind", "item", "quantity"):
            row.required(column, f"write the {column.replace('on_', '')} of the movement")
        made["item"] = named(row, "item", self._items, self._problems)
        made["quantity"] = cells.whole_of(row, "quantity", QUANTITY) or 0
        made["locker_from"] = named(row, "locker_from", self._lockers, self._problems)
        made["locker_to"] = named(row, "locker_to", self._lockers, self._problems)
        made["unit"] = named(row, "unit", self._units, self._problems)
        made["cost_unit"] = cells.whole_of(row, "cost_unit", MONEY)
        made["quoted_unit"] = cells.whole_of(row, "quoted_unit", MONEY)
        made["rate"] = cells.whole_of(row, "rate", RATE)
        made["hours"] = cells.whole_of(row, "hours", HOURS)
        made |= {name: cells.text_of(row, name) for name in _TEXTS}
        made["cure_date"] = cells.read_by(row, "cure_date", month_or_day)
        made["undoes"], made["corrects"] = self._earlier(row, "undoes"), self._earlier(row, "corrects")
        made["written_at"] = cells.text_of(row, "written_at") or self._written_at
        return made

    def _earlier(self, row: Row, column: str) -> int | None:
        text = row.text(column)
        if not text:
            return None
        most = len(self.rows)
        if text.isascii() and text.isdecimal() and 1 <= int(text[:9]) <= most:
            return int(text)
        row.fault(column, shown(text), f"write the number of an earlier movement (1 to {most})")
        return None

    def _check(self, row: Row, made: dict[str, Any]) -> None:
        kind, quantity, gone, come = made["kind"], made["quantity"], made["locker_from"], made["locker_to"]
        if not quantity and kind not in ("counted", "undone", "corrected"):
            row.fault("quantity", shown(row.text("quantity")), "write more than 0")
        if self._items.measures.get(made["item"]) == "piece" and quantity % 1000:
            row.fault("quantity", shown(row.text("quantity")), "write a whole number: these come in pieces")
        for column, there, wanted in zip(
            ("locker_from", "locker_to"), (gone, come), _PLACES.get(kind, ()), strict=False
        ):
            if wanted != (there is not None):
                write = f"name the locker: something is {kind}" if wanted else f"leave it blank: something is {kind}"
                row.fault(column, shown(row.text(column)), write)
        if kind == "counted" and (gone is None) == (come is None):
            row.fault(
                "locker_to", shown(row.text("locker_to")), "name locker_to if more were found, locker_from if fewer"
            )
        if gone is not None and gone == come:
            row.fault("locker_to", shown(row.text("locker_to")), "name another locker than locker_from")
        if kind == "fitted" and made["unit"] is None:
            row.fault("unit", "nothing", "name the unit that it was fitted to")
        if made["rate"] == 0:
            row.fault("rate", shown(row.text("rate")), "write more than 0")
        if made["cost_unit"] is not None and quantity * made["cost_unit"] > schema.LARGEST_VALUE * 10**9:
            row.fault("cost_unit", shown(row.text("cost_unit")), f"keep a line under {plain(schema.LARGEST_VALUE)}")
        self._check_counter(row, made)
        lying = self._held.get((made["item"], gone or 0), 0)
        if gone is not None and lying < quantity and "quantity" not in row.bad:
            where = shown(self._names.get(gone, ""))
            row.fault("quantity", shown(row.text("quantity")), f"only {amount(lying)} lie in {where} by the rows above")

    def _check_counter(self, row: Row, made: dict[str, Any]) -> None:
        undoes = made["undoes"]
        if (undoes is not None) != (made["kind"] in ("undone", "corrected")):
            row.fault("undoes", shown(row.text("undoes")), "number what is undone or corrected, and only there")
        elif undoes in self._undone:
            row.fault("undoes", shown(row.text("undoes")), f"movement {self._undone[undoes]} undoes that one already")
        elif undoes is not None:
            of = self.rows[undoes - 1]
            mirror = (of["item"], of["quantity"], of["locker_to"], of["locker_from"])
            if mirror != (made["item"], made["quantity"], made["locker_from"], made["locker_to"]):
                row.fault(
                    "undoes", shown(row.text("undoes")), "write the same item and quantity, the lockers changed over"
                )

    def _keep(self, made: dict[str, Any]) -> None:
        for locker, sign in ((made["locker_from"], -1), (made["locker_to"], 1)):
            if locker is not None:
                place = (made["item"], locker)
                self._held[place] = self._held.get(place, 0) + sign * made["quantity"]
        if made["undoes"] is not None:
            self._undone[made["undoes"]] = len(self.rows) + 1
