"""A CSV file or a sheet of a workbook as plain rows, and what may stand in a cell."""

from __future__ import annotations

import csv
import datetime
import io
from collections import Counter
from collections.abc import Collection, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import TypeAlias

from repairecon.read.files import LARGEST_FILE, Unreadable, decoded, read_data
from repairecon.read.problems import clean, shown, undecoded
from repairecon.records import Fault, SheetError

LONGEST_CELL = 20_000
"""Characters; a longer cell is a quote mark gone wrong."""
MOST_ROWS = 200_000
"""Rows with something in them; a price list of more is a mistake."""
MOST_COLUMNS = 256
"""Columns that may hold something."""
MOST_EMPTY = 10_000
"""Empty rows together after which a sheet is taken to have ended."""
LAST_ROW = 1_048_576
"""The last row that a sheet of this format can have (ECMA-376 part 1 has no limit; it is that of the programs)."""
_MARKS = (",", ";", "\t")
_LOOKED_AT = 100
_TEXT = (".csv", ".txt", ".tsv")
BOOKS = (".xlsx", ".xlsm", ".xltx", ".xltm")
_SAVED = "save it as CSV UTF-8"


@dataclass(frozen=True)
class BadCell:
    """A cell with no value that could be taken: what was found, what to write instead."""

    found: str
    write: str


Cell: TypeAlias = str | int | float | bool | datetime.date | BadCell | None
"""Text is clean and stripped; blank text is None."""


@dataclass(frozen=True)
class Sheet:
    """The rows of one sheet that hold something, by their number from 1; ``notes`` tell how it was read.

    ``widths`` are the cells that each row of a text file has, blank ones too; ``ends`` is False where its last line was
    left without an end, ``closed`` where a quote mark was.
    """

    file: str
    name: str
    rows: Mapping[int, tuple[Cell, ...]]
    notes: tuple[str, ...] = ()
    widths: Mapping[int, int] = field(default_factory=dict)
    ends: bool = True
    closed: bool = True


class BadSheet(Unreadable):
    """A spreadsheet that gives no rows at all."""


def text_of(cell: Cell) -> str:
    """The cell as an owner reads it."""
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, datetime.date):
        return cell.isoformat()
    if isinstance(cell, float) and cell == int(cell) and abs(cell) < 1e15:
        return str(int(cell))
    return cell.found if isinstance(cell, BadCell) else str(cell)


def column_letters(index: int) -> str:
    """Letters of a column counted from 0: A, B, ... Z, AA."""
    from openpyxl.utils import get_column_letter

    return str(get_column_letter(index + 1))


def take(rows: dict[int, tuple[Cell, ...]], number: int, cells: list[Cell]) -> None:
    """Keep a row if it holds something; too many rows or columns stop the reading."""
    while cells and cells[-1] is None:
        cells.pop()
    if not cells:
        return
    if len(cells) > MOST_COLUMNS:
        found = f"something as far out as cell {column_letters(len(cells) - 1)}{number}"
        raise BadSheet(found, f"keep a list within {MOST_COLUMNS} columns: clear what lies beyond")
    if len(rows) >= MOST_ROWS:
        raise BadSheet(f"more than {MOST_ROWS} rows", "cut the list down to what you may buy")
    rows[number] = tuple(cells)


def choose(names: list[str], hidden: list[str], wanted: str) -> str:
    """The sheet to read: the one named, or the only one that is not hidden."""
    everything = [*names, *hidden] if wanted else names
    known = ", ".join(shown(n) for n in everything[:12])
    same = [n for n in everything if n.casefold() == wanted.casefold()] if wanted else names
    if wanted and not same:
        raise BadSheet(f"no sheet {shown(wanted)}", f"name one of: {known}")
    if not same:
        raise BadSheet("no sheet that is not hidden", "name the sheet")
    if len(same) > 1 and not wanted:
        raise BadSheet(f"{len(names)} sheets", f"say which: {known}")
    return same[0]


def heading(cell: str) -> str:
    """A heading whatever its case and spaces."""
    return "_".join(cell.casefold().split())


def read_sheet(path: Path, sheet: str = "", headings: Collection[str] = ()) -> Sheet:
    """One sheet of a spreadsheet: a workbook (.xlsx, .xlsm; macros are left alone) or a text file (.csv, .txt, .tsv).

    ``sheet`` is blank for the only one that is not hidden; ``headings`` are those that a text file is known to have.
    SheetError is raised if there is nothing that can be taken.
    """
    suffix = path.suffix.casefold()
    try:
        if suffix not in _TEXT + BOOKS:
            raise BadSheet(f"a file of the kind {shown(suffix)}", "save it as .xlsx or as CSV UTF-8")
        data = read_data(path)
        if suffix in BOOKS:
            from repairecon.read.workbook import read_workbook

            return read_workbook(data, path.name, sheet)
        if data.startswith(b"PK"):
            raise BadSheet("a workbook named as text", "name it .xlsx")
        if sheet:
            raise BadSheet("a text file, which has no sheets", "leave the name of the sheet out")
        return read_csv_sheet(data, path.name, headings)
    except Unreadable as error:
        name = path.name if path.name.isprintable() else shown(path.name)
        raise SheetError([Fault(name, None, "", error.found, error.write)]) from error


def read_csv_sheet(data: bytes, file: str, headings: Collection[str] = ()) -> Sheet:
    """The rows of a CSV file (RFC 4180, or with another mark between the cells), in UTF-8, UTF-16 or Windows-1252.

    ``file`` is its name for faults; ``headings`` that it is known to have settle the mark between the cells.
    """
    text, notes = _letters(data)
    if "\0" in text[:4096]:
        raise BadSheet("a file that is no text", _SAVED)
    sheet = csv_rows(clean(text), file, headings, tuple(notes))
    if not sheet.rows:
        raise BadSheet("an empty file", "give a file with headings and rows")
    return sheet


def _letters(data: bytes) -> tuple[str, list[str]]:
    try:
        text = decoded(data)
    except Unreadable as error:
        raise BadSheet(error.found, _SAVED) from error
    if not undecoded(text):
        return text, []
    with suppress(UnicodeDecodeError):
        return data.decode("cp1252"), ["letters were read as Windows-1252: look at names with accents"]
    raise BadSheet("letters of an unknown alphabet", _SAVED)


def csv_rows(text: str, file: str, headings: Collection[str] = (), notes: tuple[str, ...] = ()) -> Sheet:
    """The rows of a text; the mark between its cells is found out."""
    mark, text, skipped = _named_mark(text)
    mark = mark or delimiter(text, headings)
    rows: dict[int, tuple[Cell, ...]] = {}
    widths: dict[int, int] = {}
    for number, record in enumerate(records_of(text, mark), start=1 + skipped):
        widths[number] = len(record)
        take(rows, number, [_cell(c.strip()) for c in record])
    ends = not text or text.endswith(("\n", "\r"))
    return Sheet(file, "", rows, notes, widths, ends, not _open_quote(text, mark))


def _named_mark(text: str) -> tuple[str, str, int]:
    """The mark that a first line ``sep=;`` names, and the text after it with the lines left out."""
    first, end, rest = text.partition("\n")
    word = first.strip().strip('"').casefold()
    if end and len(word) == 5 and word.startswith("sep=") and word[4] in _MARKS:
        return word[4], rest, 1
    return "", text, 0


def records_of(text: str, mark: str) -> Iterator[list[str]]:
    """The rows with their cells as they stand."""
    limit = csv.field_size_limit(LARGEST_FILE)
    try:
        yield from csv.reader(io.StringIO(text, newline=""), delimiter=mark)
    except csv.Error as error:
        raise BadSheet("a file that is no CSV", _SAVED) from error
    finally:
        csv.field_size_limit(limit)


def delimiter(text: str, headings: Collection[str] = ()) -> str:
    """The mark that finds most of the headings, then the one that gives most rows the same number of cells."""
    known = {heading(h) for h in headings}
    sample = "".join(islice(io.StringIO(text, newline=""), 4 * _LOOKED_AT)) if known else text[:200_000]
    best, most = _MARKS[0], (0, 0, 0)
    for mark in (";", "\t", ","):
        records = [record for record in islice(records_of(sample, mark), _LOOKED_AT) if any(map(str.strip, record))]
        found = max((len(known & {heading(c) for c in record}) for record in records), default=0)
        widths = Counter(len(record) for record in records if len(record) > 1)
        width, times = max(widths.items(), key=lambda item: (item[1], item[0]), default=(0, 0))
        if (found, times, width) > most:
            best, most = mark, (found, times, width)
    return best


def _open_quote(text: str, mark: str) -> bool:
    """True if a cell opens with a quote mark that nothing closes."""
    if text.count('"') % 2 == 0:
        return False
    try:
        list(csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True))
    except csv.Error as error:
        return "unexpected end" in str(error)
    return False


def _cell(text: str) -> Cell:
    if len(text) > LONGEST_CELL:
        return BadCell(f"{len(text)} characters: {shown(text)}", f"write {LONGEST_CELL} characters at most")
    return text or None
