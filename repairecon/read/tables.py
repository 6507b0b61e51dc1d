"""CSV files to rows of clean cells, whatever the spreadsheet made of them."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from repairecon.read.headings import Headings
from repairecon.read.problems import SURE, Problems, closest, shown
from repairecon.read.rows import Row
from repairecon.read.text import LARGEST_FILE, Unreadable, read_text, undecoded

LONGEST_CELL = 20_000
"""Characters; a longer cell is a quote mark gone wrong."""

EXAMPLE = "example:"
"""A row whose first cell begins with this is left out."""


@dataclass
class Table:
    """The rows of one file; ``whole`` is False where some could not be read."""

    file: str
    rows: list[Row] = field(default_factory=list)
    there: bool = False
    whole: bool = True

    @property
    def given(self) -> bool:
        """True if the owner wrote rows, or tried to."""
        return bool(self.rows) or not self.whole


def _records(text: str, delimiter: str) -> Iterator[tuple[int, list[str]]]:
    """Spreadsheet row numbers (from 1) with their cells, blank rows left out but counted."""
    limit = csv.field_size_limit(LARGEST_FILE)
    try:
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
        for number, record in enumerate(reader, start=1):
            cells = [cell.strip() for cell in record]
            if any(cells):
                yield number, cells
    finally:
        csv.field_size_limit(limit)


def heading(cell: str) -> str:
    """A heading whatever its case and spaces."""
    return "_".join(cell.casefold().split())


def delimiter(text: str, known: frozenset[str]) -> str:
    """The mark between cells: the one that makes most of the first line known headings."""
    first = next((line for line in text.splitlines() if line.strip(" \t,;")), "")
    marks = (",", ";", "\t")
    return max(marks, key=lambda m: sum(heading(c.strip('" ')) in known for c in first.split(m)))


def _meant(name: str, headings: Headings) -> str:
    """The heading that an unknown one surely means, else empty."""
    single = f"{name}_likely"
    return single if single in headings.known else closest(name, headings.columns, cutoff=SURE)


def _heading_advice(name: str, headings: Headings, problems: Problems) -> str:
    near = _meant(name, headings)
    return f"did you mean {shown(near)}?" if near else problems.advice(name, headings.columns)


def _columns(cells: list[str], row: int, table: Table, headings: Headings, problems: Problems) -> list[str]:
    """Headings of the columns, faults noted; a misspelt one is read as what it was meant to be."""
    names = [heading(c) for c in cells]
    columns: list[str] = []
    for name, cell in zip(names, cells, strict=True):
        if name and name in columns:
            problems.add(table.file, row, name, f"the heading {shown(cell)} twice", "keep one of the two")
            name = ""
        elif name and name not in headings.known:
            problems.add(
                table.file,
                row,
                cell,
                f"an unknown heading {shown(cell)}",
                _heading_advice(name, headings, problems),
            )
            near = _meant(name, headings)
            name = near if near not in names and near not in columns else ""
        columns.append(name)
    for name in headings.required:
        if name not in columns:
            table.whole = False
            problems.add(table.file, row, name, "no such column", f"add a column headed '{name}'")
    return columns


def _check_cells(row: Row, cells: list[str], columns: list[str], encoded: bool) -> None:
    """Faults of cells whatever their column."""
    extra = [c for c in cells[len(columns) :] if c]
    if extra:
        row.problems.add(
            row.file,
            row.row,
            "",
            f"more cells than headings: {shown(extra[0])}",
            "put text with a comma in double quotes; write decimals with a point",
        )
    for name, cell in row.cells.items():
        if len(cell) > LONGEST_CELL:
            row.fault(name, f"{len(cell)} characters: {shown(cell)}", f"write {LONGEST_CELL} characters at most")
        elif not encoded and undecoded(cell):
            row.fault(name, shown(cell), "save the file as CSV UTF-8 and write the letters marked ? again")


def read_table(path: Path | None, file: str, headings: Headings, problems: Problems) -> Table:
    """The rows of a CSV file, cells by heading; all faults of its form noted."""
    table = Table(file)
    if path is None:
        return table
    table.there = True
    try:
        text = read_text(path)
    except Unreadable as error:
        table.whole = False
        problems.add(file, None, "", error.found, error.write)
        return table
    encoded = not undecoded(text)
    mark = delimiter(text, headings.known)
    columns: list[str] = []
    last = 0
    for number, cells in _records(text, mark):
        last = number
        if not columns:
            columns = _columns(cells, number, table, headings, problems)
        elif not cells[0].casefold().startswith(EXAMPLE):
            filled = cells + [""] * (len(columns) - len(cells))
            named = {name: cell for name, cell in zip(columns, filled, strict=False) if name}
            row = Row(file, number, named, problems)
            _check_cells(row, cells, columns, encoded)
            table.rows.append(row)
    if not columns:
        table.whole = False
        problems.add(
            file,
            None,
            "",
            "an empty file",
            f"write the headings {', '.join(headings.required)}, or take the file away",
        )
    if columns and _open_quote(text, mark):
        table.whole = False
        problems.add(file, last, "", "a quote mark that is never closed", "close it, or take it out")
    return table


def _open_quote(text: str, delimiter: str) -> bool:
    """True if a cell opens with a quote mark that nothing closes."""
    if text.count('"') % 2 == 0:
        return False
    try:
        list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True))
    except csv.Error as error:
        return "unexpected end" in str(error)
    return False
