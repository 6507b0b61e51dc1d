"""The spares book to papers that any other program reads, and an owner's own list into it."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import fields
from decimal import Decimal
from pathlib import Path
from typing import Any

from repairecon.book.spares_book import SparesBook
from repairecon.book.spares_csv import dump_sql, export_book
from repairecon.book.spares_import import ImportPlan, plan_import
from repairecon.read.files import write_all
from repairecon.read.problems import Problems
from repairecon.read.sheet_writing import Value, workbook_bytes
from repairecon.read.sheets import BadCell, read_sheet
from repairecon.records import ListError

WORKBOOK, SQL = "spares.xlsx", "spares.sql"


def export_papers(book: SparesBook, folder: str | os.PathLike[str]) -> tuple[Path, ...]:
    """Write the whole book as CSV files, as one workbook and as plain SQL; never over other files.

    Raises
    ------
    RepaireconError
        If one of these files is there already or cannot be written.
    """
    place = Path(folder)
    sheets = {
        "stock": _rows(book.stock()), "items": _rows(book.items()), "lockers": _rows(book.lockers()),
        "units": _rows(book.units()), "movements": _rows(book.movements()),
    }  # fmt: skip
    workbook = workbook_bytes(sheets)
    export_book(book, place)
    write_all(place, {WORKBOOK: workbook})
    dump_sql(book, place / SQL)
    return tuple(sorted(place.iterdir()))


def _rows(records: tuple[Any, ...]) -> list[list[Value]]:
    if not records:
        return [["nothing"]]
    names = [f.name for f in fields(records[0])]
    return [list(names), *([_plain(getattr(r, n)) for n in names] for r in records)]


def _plain(value: Any) -> Value:
    if isinstance(value, Decimal):
        return int(value) if value == value.to_integral_value() else float(value)
    return "; ".join(value) if isinstance(value, tuple) else value


def plan_of_list(
    book: SparesBook, path: Path, columns: Mapping[str, str] | None = None, locker: str = "", sheet: str = ""
) -> ImportPlan:
    """Look at an owner's own spreadsheet; nothing is written.

    Parameters
    ----------
    book
        The book that it is to go into.
    path
        The list: .xlsx, .csv, .txt or .tsv; its first row holds the headings.
    columns
        Heading of each field; by default those that surely mean one.
    locker
        Where things lie whose row names no locker.
    sheet
        Sheet of a workbook.

    Raises
    ------
    ListError
        For cells that cannot be read at all.
    """
    read = read_sheet(path, sheet)
    first, last = min(read.rows), max(read.rows)
    problems = Problems()
    for number, cells in read.rows.items():
        for cell in cells:
            if isinstance(cell, BadCell):
                problems.add(read.file, number, "", cell.found, cell.write)
    problems.stop_if_any(ListError)
    rows = [read.rows.get(number, ()) for number in range(first + 1, last + 1)]
    headings = ["" if cell is None else cell for cell in read.rows[first]]
    return plan_import(book, headings, rows, columns, locker, path.name, first + 1)
