"""The spares book as plain files: CSV out and in again, and the SQL that builds it anew. No owner is locked in."""

from __future__ import annotations

import contextlib
import csv
import datetime
import io
import os
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from repairecon.book import cards_in, cells, faults, making, opening, schema
from repairecon.book.amounts import HOURS, MONEY, QUANTITY, RATE, Scale, amount
from repairecon.book.ledger import Ledger, now
from repairecon.book.moves_in import Moves
from repairecon.book.spares_book import SparesBook
from repairecon.read.files import write_all, write_whole
from repairecon.read.problems import Problems
from repairecon.read.tables import read_table
from repairecon.records import BookFileError, ListError

_SCALES: dict[str, Scale] = {
    "minimum": QUANTITY, "quantity": QUANTITY, "hours": HOURS, "cost_unit": MONEY, "quoted_unit": MONEY, "rate": RATE,
}  # fmt: skip
_NUMBERED = {"movements.csv": ("movements", "movement"), "items.csv": ("item_versions", "item"),
             "lockers.csv": ("locker_versions", "locker"), "units.csv": ("unit_versions", "unit")}  # fmt: skip


def export_book(book: SparesBook, folder: str | os.PathLike[str]) -> None:
    """Write the whole book as CSV files, a file a table, every version and movement; never over other files."""
    ledger = book.ledger
    with ledger.reading():
        files = {"about.csv": _csv(cells.ABOUT, ledger.rows("SELECT name, value FROM about ORDER BY rowid"))}
        for file in ("lockers.csv", "units.csv", "items.csv", "movements.csv"):
            files[file] = _csv(cells.FILES[file].columns, _rows(ledger, file))
    write_all(Path(folder), files)


def _csv(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> bytes:
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(rows)
    return out.getvalue().encode("utf-8")


def _rows(ledger: Ledger, file: str) -> Iterable[list[object]]:
    """The rows of a table with names for numbers, and numbers as an owner writes them."""
    table, number = _NUMBERED[file]
    columns = cells.FILES[file].columns
    names: dict[str, dict[int, str]] = {
        sort: dict(ledger.rows(f"SELECT {sort}, name FROM current_{sort}s")) for sort in ("locker", "unit", "item")
    }
    refers = {"locker": "locker", "locker_from": "locker", "locker_to": "locker", "unit": "unit", "item": "item"}
    of = ", ".join(number if name == "number" else name for name in columns)
    key = "movement" if table == "movements" else "version"
    for row in ledger.rows(f"SELECT {of} FROM {table} ORDER BY {key}"):
        yield [
            _cell(name, value, names.get(refers.get(name, ""), {}), names["unit"])
            for name, value in zip(columns, row, strict=True)
        ]


def _cell(name: str, value: Any, names: dict[int, str], units: dict[int, str]) -> object:
    if value is None:
        return ""
    if names:
        return cells.defused(names[value])
    if name == "units":
        return cells.defused("; ".join(units[int(u)] for u in value.split(";") if u))
    if name in _SCALES:
        return str(amount(value, _SCALES[name]))
    if name in ("critical", "carried"):
        return "yes" if value else "no"
    return cells.defused(value) if isinstance(value, str) else repr(value)


def book_from_csv(folder: str | os.PathLike[str], target: str | os.PathLike[str]) -> None:
    """Build a book from a folder of CSV files such as ``export_book`` writes or an owner types.

    Parameters
    ----------
    folder
        With lockers.csv, items.csv and, if there are any, units.csv, movements.csv and about.csv.
    target
        The new book; never over another file.

    Raises
    ------
    CaseError
        With every fault of the folder, by file, row and column; no book is left then.
    """
    problems, place = Problems(), Path(folder)
    if not place.is_dir():
        raise BookFileError(f"{faults.name_of(place)} is no folder: name one that holds items.csv")
    tables = {}
    for file, headings in cells.FILES.items():
        path = place / file
        there = path.exists() or file in ("items.csv", "lockers.csv")
        tables[file] = read_table(path if there else None, file, headings, problems)
    written_at = now()
    lockers = cards_in.read(tables["lockers.csv"], "locker", written_at, cards_in.locker)
    lent = next((v["written_at"] for v in lockers.versions if v["locker"] == 1), written_at)
    lockers.names.add(schema.LENT)
    lockers.numbers[schema.LENT] = 1
    units = cards_in.read(tables["units.csv"], "unit", written_at, cards_in.unit)
    items = cards_in.read(tables["items.csv"], "item", written_at, cards_in.item_with(lockers, units, problems))
    items.measures = {v["item"]: v["measure"] for v in items.versions}
    moves = Moves(items, lockers, units, problems, written_at).read(tables["movements.csv"])
    about = {cells.text_of(row, "name"): cells.text_of(row, "value") for row in tables["about.csv"].rows}
    problems.stop_if_any(ListError)
    lockers.versions = [v for v in lockers.versions if v["locker"] != 1]
    _write(Path(target), {"home_currency": "EUR", **about}, lent, (lockers, units, items), moves)


def _write(
    target: Path, about: dict[str, str], lent: str, sorts: Sequence[cards_in.Cards], moves: list[dict[str, Any]]
) -> None:
    """The book beside its place first, so that a whole one takes the name."""
    part = target.with_name(f".{target.name}.{os.getpid()}.new")
    try:
        with faults.told(target):
            if os.path.lexists(target):
                raise BookFileError(f"{faults.name_of(target)} is there already: nothing was written")
        making.create(part, about, lent)
        with contextlib.closing(opening.open_ledger(part, 5.0, datetime.date.today())) as ledger, ledger.writing():
            for cards in sorts:
                numbers = dict.fromkeys(v[cards.sort] for v in cards.versions)
                ledger.insert_many(f"{cards.sort}s", [{cards.sort: number} for number in numbers])
                ledger.insert_many(f"{cards.sort}_versions", cards.versions)
            ledger.insert_many("movements", moves)
        with faults.told(target):
            making.settle(part, target)
    finally:
        for end in ("", "-wal", "-shm", "-journal"):
            part.with_name(part.name + end).unlink(missing_ok=True)


def dump_sql(book: SparesBook, path: str | os.PathLike[str]) -> None:
    """Write the SQL that builds the book anew in any SQLite: tables, rules and all rows as plain text."""
    ledger = book.ledger
    with ledger.reading(), faults.told(ledger.path):
        lines = list(ledger.link.iterdump())
    head = [f"PRAGMA application_id = {schema.APPLICATION_ID};", f"PRAGMA user_version = {schema.VERSION};"]
    write_whole(path, "\n".join([*head, *lines, ""]))
