"""The spares book as files that any program reads, and in again: CSV and a workbook. No owner is locked in.

A row of cards (lockers.csv, items.csv, units.csv) is a thing, or a further version of one where its number repeats.
"""

from __future__ import annotations

import os
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import fields
from decimal import Decimal
from functools import partial
from pathlib import Path
from typing import Any

from repairecon.book import schema
from repairecon.book.cards import SHARES
from repairecon.book.ledger import name_of, new_ledger, now
from repairecon.book.lists import read_by
from repairecon.book.schema import SCALES, Sort, amount, month_or_day, typed, words
from repairecon.book.spares_book import SparesBook
from repairecon.read import values
from repairecon.read.columns import Headings
from repairecon.read.files import Value, as_meant, csv_text, defused, workbook_bytes, write_all
from repairecon.read.problems import Names, Problems, key, shown
from repairecon.read.tables import Row, Table, read_table
from repairecon.read.toml_records import PASSAGE
from repairecon.read.values import Limits, plain
from repairecon.records import LOCKER_KINDS, MEASURES, MOVEMENT_KINDS, SHELF_GROUPS, BookFileError, ListError

_SCALES = {**SCALES, **dict.fromkeys(("packs", "expected_days"), schema.COUNT)}
_REFERS: dict[str, Sort] = {"locker": "locker", "locker_from": "locker", "locker_to": "locker", "unit": "unit",
                            "item": "item"}  # fmt: skip
_ROW_OF = {"order_number": "orders", "order_line": "order_lines", "undoes": "movements", "corrects": "movements"}
_ZERO = {"quantity", "quoted_pack", "carriage_unit", "duty_unit"}  # amounts that are 0 where nothing is written
_YES_NO = ("critical", "carried", "whole_unit")
_CHOICES = {("locker", "kind"): (LOCKER_KINDS, "aboard"), ("item", "measure"): (MEASURES, "piece"),
            ("movement", "kind"): (MOVEMENT_KINDS, "")}  # fmt: skip
_SIDES = {
    "bought": (False, True), "used": (True, False), "fitted": (True, False), "scrapped": (True, False),
    "moved": (True, True), "lent": (True, True), "returned": (True, True),
}  # fmt: skip
"""Whether a movement of a kind must name the locker it leaves and the one it comes to; else that side stays blank."""
_TABLES = {
    "lockers.csv": ("locker_versions", "locker", (*schema.CARDS["locker"], "written_at"), ("name",)),
    "units.csv": ("unit_versions", "unit", (*schema.CARDS["unit"], "written_at"), ("name",)),
    "items.csv": ("item_versions", "item", (*schema.CARDS["item"], "written_at"), ("name",)),
    "orders.csv": ("orders", "number", (*schema.ORDER, "written_at"), ("on_date", "supplier", "job")),
    "order_lines.csv": ("order_lines", "line", ("order_number", *schema.ORDER_LINE),
                        ("order_number", "part", "pieces", "packs", "cost_unit")),
    "movements.csv": ("movements", "movement", (*schema.MOVEMENT, "written_at"),
                      ("on_date", "kind", "item", "quantity")),
}  # fmt: skip
"""Of each file the table, what numbers its rows there, its columns after that, and which of them must be filled."""
FILES = {"about.csv": Headings(("name", "value"), ("name", "value"))} | {
    file: Headings(("number", *columns), required) for file, (_, _, columns, required) in _TABLES.items()
}


def export_book(book: SparesBook, folder: str | os.PathLike[str]) -> tuple[Path, ...]:
    """Write the whole book, never over other files: CSV, a file a table, and one workbook; all of them or none."""
    with book.ledger.reading():
        names = {sort: book.names(sort) for sort in schema.CARDS}
        tables: dict[str, Iterable[tuple[Value, ...]]] = {"about.csv": list(book.about.items())}
        for file, (table, number, columns, _) in _TABLES.items():
            rows = book.ledger.rows(f"SELECT {number}, {', '.join(columns)} FROM {table} ORDER BY rowid")
            tables[file] = [tuple(map(partial(_cell, names), FILES[file].columns, row)) for row in rows]
        sheets = {name: _sheet(getattr(book, name)()) for name in ("stock", "items", "lockers", "units", "movements")}
    files = {n: csv_text([FILES[n].columns, *rows], end="\n").encode("utf-8") for n, rows in tables.items()}
    files["spares.xlsx"] = workbook_bytes(sheets)
    write_all(Path(folder), files)
    return tuple(sorted(Path(folder) / name for name in files))


def _sheet(records: tuple[Any, ...]) -> list[list[Value]]:
    names = [f.name for f in fields(records[0])] if records else ["nothing"]
    rows = [[getattr(r, n) for n in names] for r in records]
    as_cell: dict[type, Any] = {Decimal: lambda value: values.figure(float(value)), tuple: "; ".join}
    return [[*names], *([as_cell.get(type(x), lambda value: value)(x) for x in row] for row in rows)]


def _cell(names: dict[Sort, dict[int, str]], name: str, value: Any) -> str:
    if value is None:
        return ""
    if name in _REFERS:
        value = names[_REFERS[name]][value]
    elif name == "units":
        value = "; ".join(names["unit"][int(u)] for u in value.split(";") if u)
    elif name in _SCALES:
        return str(amount(value, _SCALES[name]))
    elif name in _YES_NO:
        return "yes" if value else "no"
    return defused(value) if isinstance(value, str) else repr(value)


def book_from_csv(folder: str | os.PathLike[str], target: str | os.PathLike[str], home_currency: str = "") -> None:
    """Build a book, never over another file, from CSV files such as ``export_book`` writes or an owner types.

    ListError with every fault of them; ``home_currency`` is for where about.csv names none.
    """
    place = Path(folder)
    if not place.is_dir():
        raise BookFileError(f"{name_of(place)} is no folder: name one that holds items.csv")
    found = _Folder(place)
    found.problems.stop_if_any(ListError)
    theirs = found.about.get("home_currency", "")
    if home_currency and theirs and home_currency.upper() != theirs.upper():
        raise BookFileError(f"about.csv says that the costs are in {theirs}: leave --currency {home_currency} out")
    about = {"home_currency": home_currency.upper() or "EUR", **found.about}
    with new_ledger(Path(target), about, found.lent_at) as ledger, ledger.writing():
        for sort, every in found.versions.items():
            versions = [v for v in every if sort != "locker" or v["locker"] != schema.LENT_NUMBER]
            ledger.insert(f"{sort}s", *({sort: number} for number in dict.fromkeys(v[sort] for v in versions)))
            ledger.insert(f"{sort}_versions", *versions)
        for table, rows in found.rows.items():
            ledger.insert(table, *rows)


def keep_passage(folder: str | os.PathLike[str], beside: Path) -> str:
    """Copy the passage.toml of a folder beside the book built from it; what was done, in words."""
    source, target = Path(folder) / PASSAGE, beside / PASSAGE
    if not source.is_file() or source.resolve() == target.resolve():
        return ""
    if target.exists():
        return f"{PASSAGE} lies beside the book already: that of {folder} was not taken"
    write_all(beside, {PASSAGE: source.read_bytes()})
    return f"{PASSAGE} was copied beside it"


class _Folder:
    """One look at a folder: its rows as the book keeps them, every fault noted."""

    def __init__(self, place: Path) -> None:
        self.problems, self.written_at = Problems(), now()
        tables = {file: read_table(place / file, file, headings, self.problems, file in ("items.csv", "lockers.csv"))
                  for file, headings in FILES.items()}  # fmt: skip
        self.versions: dict[str, list[dict[str, Any]]] = {}
        self._names: dict[str, Names] = {}  # those that hold now
        self._numbers: dict[tuple[str, str], int] = {("locker", schema.LENT): schema.LENT_NUMBER}  # by sort and name
        for sort in ("locker", "unit", "item"):
            self._cards(tables[f"{sort}s.csv"], sort)
        lent = (v["written_at"] for v in self.versions["locker"] if v["locker"] == schema.LENT_NUMBER)
        self.lent_at = next(lent, self.written_at)
        self._measures = {v["item"]: v["measure"] for v in self.versions["item"]}
        self._locker_names = {self._numbers["locker", key(name)]: name for name in self._names["locker"]}
        self._held: dict[tuple[int | None, int | None], int] = defaultdict(int)
        self._undone: dict[int, int] = {}
        self.rows: dict[str, list[dict[str, Any]]] = {"orders": [], "order_lines": [], "movements": []}
        for table, made in self.rows.items():
            for row in tables[f"{table}.csv"].rows:
                made.append(self._numbered(row, table, len(made) + 1))
        self.about = {_text(row, "name"): _text(row, "value") for row in tables["about.csv"].rows}

    def _cards(self, table: Table, sort: Sort) -> None:
        names = self._names[sort] = Names(whole=table.whole)
        self.versions[sort], last = [], dict[int, tuple[str, Row]]()
        highest = 1 if sort == "locker" else 0
        for row in table.rows:
            following = highest + 1
            advice = f"write {following}, or the number of a row above of which this is a later card"
            number = _among(row, "number", following, advice) or following
            highest = max(highest, number)
            made = {sort: number, **{n: self._cell(row, n, sort) for n in (*schema.CARDS[sort], "written_at")}}
            if "name" in row.cells and not made["name"]:
                row.fault("name", "nothing", f"name the {sort}")
            if sort == "locker":
                self._locker(row, made)
            elif sort == "item":
                self._item(row, made)
            self.versions[sort].append(made)
            last[made[sort]] = (made["name"], row)  # "lent out" has its own number
        for number, (name, row) in last.items():
            if name and not names.add(name):
                row.fault("name", f"{shown(name)} again", f"use another name: another {sort} has this one")
            elif name:
                self._numbers[sort, key(name)] = number
        if sort == "locker":
            names.add(schema.LENT)

    def _number_of(self, row: Row, column: str, sort: str, text: str) -> int | None:
        return self._numbers.get((sort, key(row.named(column, self._names[sort], word=text))))

    def _cell(self, row: Row, name: str, sort: str) -> Any:
        if (sort, name) in _CHOICES:
            return row.choice(name, *_CHOICES[sort, name])
        if name in _SCALES:  # the whole number that the book keeps for an amount, None when blank or wrong
            return read_by(row, name, lambda text: typed(text, _SCALES[name]) if text else None)
        if name in _ROW_OF:
            table, most = _ROW_OF[name], len(self.rows[_ROW_OF[name]])
            what = "an earlier movement" if table == "movements" else f"a row of {table}.csv"
            return _among(row, name, most, f"write the number of {what} (1 to {most})")
        if name in _REFERS:
            return self._number_of(row, name, _REFERS[name], as_meant(row.text(name)))
        if name in SHARES:
            return row.number(name, values.FRACTION if name == "resale_rate" else Limits(0.0, 1e6))
        if name in _YES_NO:
            return int(row.yes(name, name == "carried"))
        if name == "on_date":
            return row.date(name)
        if name in ("hours_on", "cure_date"):
            return read_by(row, name, month_or_day) or ""
        return _text(row, name) or (self.written_at if name == "written_at" else "")

    def _locker(self, row: Row, made: dict[str, Any]) -> None:
        lent, kind = key(made["name"]) == schema.LENT, made["kind"] == "lent"
        row.check(
            (lent != kind, "kind", shown(row.text("kind")), f"only {shown(schema.LENT)} is of the kind lent"),
            (not lent and made["locker"] == schema.LENT_NUMBER, "number", "'1'",
             f"number lockers from 2: 1 is for {shown(schema.LENT)}"),
        )  # fmt: skip
        if lent:
            made["locker"] = schema.LENT_NUMBER

    def _item(self, row: Row, made: dict[str, Any]) -> None:
        made |= {"minimum": made["minimum"] or 0, "shelf_group": made["shelf_group"].upper()}
        part = made["measure"] == "piece" and made["minimum"] % 1000
        row.check(
            (part, "minimum", shown(row.text("minimum")), "write a whole number: these come in pieces"),
            (made["shelf_group"] not in SHELF_GROUPS, "shelf_group", shown(made["shelf_group"]),
             "write A, B or C, or nothing"),
        )  # fmt: skip
        numbers = [self._number_of(row, "units", "unit", name) for name in values.listed(made["units"])]
        made["units"] = ";".join(str(n) for n in dict.fromkeys(numbers) if n)

    def _numbered(self, row: Row, table: str, number: int) -> dict[str, Any]:
        """A row of a table that is numbered in the order of its rows."""
        if row.text("number") not in ("", str(number)):
            row.fault("number", shown(row.text("number")), f"write {number}: rows are numbered in their order")
        for column in FILES[row.file].required:
            row.required(column, f"write the {column.removeprefix('on_').replace('_', ' ')}")
        made = {name: self._cell(row, name, table.removesuffix("s")) for name in FILES[row.file].columns[1:]}
        made |= {name: made[name] or 0 for name in _ZERO & made.keys()}
        if table == "movements":
            self._movement(row, made, number)
        return made

    def _movement(self, row: Row, made: dict[str, Any], number: int) -> None:
        """Hold a movement against what the rows above leave; a row with a fault is left out of the sums."""
        if not row.bad:
            row.check(
                *((broken, column, shown(row.text(column)), write) for broken, column, write in self._rules(made))
            )
        if not row.bad:
            for locker, sign in ((made["locker_from"], -1), (made["locker_to"], 1)):
                self._held[made["item"], locker] += sign * made["quantity"]
            if made["undoes"] is not None:
                self._undone[made["undoes"]] = number

    def _rules(self, made: dict[str, Any]) -> Iterator[tuple[object, str, str]]:
        """What must hold of a movement whose cells are right one by one: if it is broken, the column, what to write."""
        kind, quantity, gone, come = made["kind"], made["quantity"], made["locker_from"], made["locker_to"]
        for column, needed in zip(("locker_from", "locker_to"), _SIDES.get(kind, ()), strict=False):
            side = f"{'name the locker' if needed else 'leave it blank'}: something is {kind}"
            yield needed != (made[column] is not None), column, side
        lying, value = self._held[made["item"], gone], quantity * (made["cost_unit"] or 0)
        few = f"only {amount(lying)} lie in {shown(self._locker_names.get(gone, ''))} by the rows above"
        in_pieces, undoing = self._measures.get(made["item"]) == "piece", kind in ("undone", "corrected")
        no_mirror = self._no_mirror(made)
        yield from (
            (not quantity and kind != "counted" and not undoing, "quantity", "write more than 0"),
            (in_pieces and quantity % 1000, "quantity", "write a whole number: these come in pieces"),
            (gone is not None and lying < quantity, "quantity", few),
            (kind == "counted" and (gone is None) == (come is None), "locker_to",
             "name locker_to if more were found, locker_from if fewer"),
            (gone is not None and gone == come, "locker_to", "name another locker than locker_from"),
            (kind == "fitted" and made["unit"] is None, "unit", "name the unit that it was fitted to"),
            (made["rate"] == 0, "rate", "write more than 0"),
            (value > schema.LARGEST_VALUE * 10**9, "cost_unit", f"keep a line under {plain(schema.LARGEST_VALUE)}"),
            ((made["undoes"] is not None) != undoing, "undoes", "number what is undone or corrected, and only there"),
            (no_mirror, "undoes", no_mirror),
        )  # fmt: skip

    def _no_mirror(self, made: dict[str, Any]) -> str:
        """What to write where a movement is no mirror of the one that it undoes."""
        if made["undoes"] is None:
            return ""
        if made["undoes"] in self._undone:
            return f"movement {self._undone[made['undoes']]} undoes that one already"
        of = self.rows["movements"][made["undoes"] - 1]
        mirror = {**of, "locker_from": of["locker_to"], "locker_to": of["locker_from"]}
        alike = all(mirror[name] == made[name] for name in ("item", "quantity", "locker_from", "locker_to"))
        return "" if alike else "write the same item and quantity, the lockers changed over"


def _among(row: Row, column: str, most: int, write: str) -> int | None:
    """The whole number from 1 to ``most`` in a cell, None when blank or wrong."""
    text = row.text(column)
    if text.isascii() and text.isdecimal() and 1 <= int(text[:9]) <= most:
        return int(text)
    if text:
        row.fault(column, shown(text), write)
    return None


def _text(row: Row, column: str) -> str:
    return read_by(row, column, lambda text: words(as_meant(text), column)) or ""
