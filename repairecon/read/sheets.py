"""A CSV file or a sheet of a workbook as plain rows, and what may stand in a cell."""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections import Counter
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace
from itertools import islice
from pathlib import Path

from repairecon.read.columns import NUMBERS, SUPPLIERS_MONEY, Column, column_of
from repairecon.read.files import LARGEST_FILE, Unreadable, decoded, read_data
from repairecon.read.problems import SURE, clean, closest, key, shown, undecoded
from repairecon.read.values import Cell, Misread, agreed_mark, date_text, number_text, text_of
from repairecon.records import Fault, SheetError

LONGEST_CELL = 20_000  # characters; a longer cell is a quote mark gone wrong
MOST_ROWS = 200_000  # rows with something in them; a price list of more is a mistake
MOST_COLUMNS = 256  # columns that may hold something
LOOKED_THROUGH = 50  # rows among which the headings of an owner's or a supplier's list must stand
EXAMPLE, DEFAULT = "example:", "default:"  # a row whose first cell begins with one of these is left out
_MARKS = (",", ";", "\t")
_NAMED_MARK = re.compile(r' *"?sep=([,;\t])"?[ \r]*\n', re.IGNORECASE)
_REST = re.compile(r"[^a-z0-9 ]+")
_LOOKED_AT = 100
_TEXT = (".csv", ".txt", ".tsv")
BOOKS = (".xlsx", ".xlsm", ".xltx", ".xltm")
_SAVED = "save it as CSV UTF-8"
_EMPTY = ("an empty file", "give a file with headings and rows")


@dataclass(frozen=True)
class Sheet:
    """The rows of one sheet that hold something, by their number from 1; ``notes`` tell how it was read."""

    file: str
    name: str
    rows: Mapping[int, tuple[Cell, ...]]
    notes: tuple[str, ...] = ()
    widths: Mapping[int, int] = field(default_factory=dict)  # cells that each row of a text file has, blank ones too
    closed: bool = True  # False where a quote mark was


def heading(cell: str) -> str:
    """A heading whatever its case and spaces."""
    return "_".join(cell.casefold().split())


def left_out(cells: Sequence[Cell]) -> bool:
    """True for an example, or a row that shows a default."""
    return bool(cells) and text_of(cells[0]).casefold().startswith((EXAMPLE, DEFAULT))


def column_letters(index: int) -> str:
    """Letters of a column counted from 0: A, B, ... Z, AA."""
    from openpyxl.utils import get_column_letter

    return str(get_column_letter(index + 1))


def cell_of(text: str) -> Cell:
    if len(text) > LONGEST_CELL:
        return Misread(f"write {LONGEST_CELL} characters at most", f"{len(text)} characters: {shown(text)}")
    return text or None


def take(rows: dict[int, tuple[Cell, ...]], number: int, cells: list[Cell]) -> None:
    """Keep a row if it holds something; too many rows or columns stop the reading."""
    while cells and cells[-1] is None:
        cells.pop()
    if not cells:
        return
    if len(cells) > MOST_COLUMNS:
        found = f"something as far out as cell {column_letters(len(cells) - 1)}{number}"
        raise Unreadable(found, f"keep a list within {MOST_COLUMNS} columns: clear what lies beyond")
    if len(rows) >= MOST_ROWS:
        raise Unreadable(f"more than {MOST_ROWS} rows", "cut the list down to what you may buy")
    rows[number] = tuple(cells)


# ---- lists of others -----------------------------------------------------------------------------
def read_sheet(path: Path, sheet: str = "", headings: Collection[str] = ()) -> Sheet:
    """A sheet of a workbook (blank: the only one that is not hidden) or of a text file with known ``headings``.

    SheetError is raised if there is nothing that can be taken.
    """
    suffix = path.suffix.casefold()
    with _naming(path):
        if suffix not in _TEXT + BOOKS:
            raise Unreadable(f"a file of the kind {shown(suffix)}", "save it as .xlsx or as CSV UTF-8")
        data = read_data(path)
        if suffix in BOOKS:
            from repairecon.read.workbook import read_sheets

            return read_sheets(data, path.name, sheet)[0]
        if data.startswith(b"PK"):
            raise Unreadable("a workbook named as text", "name it .xlsx")
        if sheet:
            raise Unreadable("a text file, which has no sheets", "leave the name of the sheet out")
        return read_csv_sheet(data, path.name, headings)


@contextmanager
def _naming(path: Path) -> Iterator[None]:
    try:
        yield
    except Unreadable as error:
        name = path.name if path.name.isprintable() else shown(path.name)
        raise SheetError([Fault(name, None, "", error.found, error.write)]) from error


def read_csv_sheet(data: bytes, file: str, headings: Collection[str] = ()) -> Sheet:
    """The rows of a CSV file (RFC 4180 or near it), in UTF-8, UTF-16 or Windows-1252, with known ``headings``."""
    text, notes = _letters(data)
    if "\0" in text[:4096]:
        raise Unreadable("a file that is no text", _SAVED)
    sheet = csv_rows(clean(text), file, headings, notes)
    if not sheet.rows:
        raise Unreadable(*_EMPTY)
    return sheet


def read_csv_table(path: Path, known: Collection[str]) -> CsvTable:
    """A CSV file to be changed; SheetError if there is none that can be taken."""
    with _naming(path):
        table = CsvTable(read_data(path), known)
        if not table.columns:
            raise Unreadable(*_EMPTY)
        return table


def _letters(data: bytes) -> tuple[str, tuple[str, ...]]:
    text = decoded(data)
    if not undecoded(text):
        return text, ()
    with suppress(UnicodeDecodeError):
        return data.decode("cp1252"), ("letters were read as Windows-1252: look at names with accents",)
    raise Unreadable("letters of an unknown alphabet", _SAVED)


def heading_row(sheet: Sheet, likeness: Callable[[tuple[Cell, ...]], int]) -> int:
    """The row most like a row of headings, among the first of a sheet; 0 where it is empty."""
    rows = [n for n in sheet.rows if n <= next(iter(sheet.rows)) + LOOKED_THROUGH]
    return max(rows, key=lambda n: likeness(sheet.rows[n]), default=0)


def places_meant(headings: Sequence[object], words: Mapping[str, Sequence[str]]) -> dict[str, int]:
    """The place of the heading that surely means each field, its ``words`` likelier first; each is used once."""
    left = {_plain(h): k for k, h in reversed(list(enumerate(headings))) if _plain(h)}
    found: dict[str, int] = {}
    for misspelt in (False, True):  # what is written right first
        for name in [n for n in words if n not in found]:
            meant = map(_plain, words[name])
            near = [closest(word, left, SURE) if misspelt else word for word in meant]
            if here := next((word for word in near if word in left), ""):
                found[name] = left.pop(here)
    return {name: found[name] for name in words if name in found}


def _plain(heading: object) -> str:
    return " ".join(_REST.sub(" ", key(str(heading)).replace("'s", "s")).split())


def headed(sheet: Sheet, head: int, places: Mapping[str, int]) -> Sheet:
    """The rows from the headings on, our headings over the columns that are taken."""
    rows: dict[int, tuple[Cell, ...]] = {head: tuple(places)}
    for number, cells in sheet.rows.items():
        taken = tuple(cells[k] if k < len(cells) else None for k in places.values())
        if number > head and any(c is not None for c in taken):
            rows[number] = taken
    return replace(sheet, rows=rows, widths={})


def tidied(
    sheet: Sheet, declared: Mapping[str, Column], decimal: str = "", currency: str = ""
) -> tuple[Sheet, dict[str, str]]:
    """The sheet with numbers and dates as a case folder has them, a cell that is neither as a fault; decimal marks.

    ``declared`` are its columns; ``decimal`` is the mark where a column does not give it away, ``currency`` may stand
    beside the supplier's money.
    """
    head, *below = sheet.rows or (0,)
    rows = {n: list(sheet.rows[n]) for n in below if not left_out(sheet.rows[n])}
    marks: dict[str, str] = {}
    for k, cell in enumerate(sheet.rows.get(head, ())):
        name = heading(text_of(cell))
        column, end = column_of(name, declared)
        kind = column.type if column and end != "shape" else ""
        money = currency if column and column.unit == SUPPLIERS_MONEY else ""
        mark = tidy(rows, {(n, k): kind for n, row in rows.items() if k < len(row)}, decimal, money)
        if kind in NUMBERS:
            marks[name] = mark
    return replace(sheet, rows={**sheet.rows, **{n: tuple(row) for n, row in rows.items()}}), marks


def tidy(
    rows: Mapping[int, list[Cell]], types: Mapping[tuple[int, int], str], decimal: str = "", currency: str = ""
) -> str:
    """Write the cells at these places as a case folder has numbers and dates; the decimal mark that they share."""
    there = {(n, k): kind for (n, k), kind in types.items() if not isinstance(rows[n][k], Misread | None)}
    figures = (rows[n][k] for (n, k), kind in there.items() if kind in NUMBERS)
    mark = decimal or agreed_mark(c for c in figures if isinstance(c, str))
    for (n, k), kind in there.items():
        if kind in NUMBERS:
            rows[n][k] = number_text(rows[n][k], mark, currency)
        elif kind == "date":
            rows[n][k] = date_text(rows[n][k])
    return mark


# ---- text with marks between its cells -----------------------------------------------------------
def csv_rows(text: str, file: str, headings: Collection[str] = (), notes: tuple[str, ...] = ()) -> Sheet:
    """The rows of a text; the mark between its cells is found out, or named by a first line ``sep=;``."""
    named = _NAMED_MARK.match(text)
    text = text[named.end() :] if named else text
    mark = named[1] if named else delimiter(text, headings)
    rows: dict[int, tuple[Cell, ...]] = {}
    widths: dict[int, int] = {}
    for number, record in enumerate(records_of(text, mark), start=2 if named else 1):
        widths[number] = len(record)
        take(rows, number, [cell_of(c.strip()) for c in record])
    closed = True
    if text and not text.endswith(("\n", "\r")):
        notes = (*notes, "its last line has no end: look whether the file is whole")
    if text.count('"') % 2:
        try:
            list(csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True))
        except csv.Error as error:
            closed = "unexpected end" not in str(error)
    return Sheet(file, "", rows, notes, widths, closed)


def records_of(text: str, mark: str) -> Iterator[list[str]]:
    limit = csv.field_size_limit(LARGEST_FILE)
    try:
        yield from csv.reader(io.StringIO(text, newline=""), delimiter=mark)
    except csv.Error as error:
        raise Unreadable("a file that is no CSV", _SAVED) from error
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


class CsvTable:
    """The rows of a CSV file to be changed and written back in its form; ``first`` are headings of an empty one."""

    def __init__(self, data: bytes, known: Collection[str], first: Sequence[str] = ()) -> None:
        text = clean(_letters(data)[0])
        self._marked = data.startswith((codecs.BOM_UTF8, codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
        self._mark = delimiter(text, known)
        self._end = "\n" if "\n" in text and "\r\n" not in text else "\r\n"
        self.records = list(records_of(text, self._mark))
        self._head = next((k for k, r in enumerate(self.records) if any(c.strip() for c in r)), -1)
        if self._head < 0:
            self.records, self._head = [list(first)], 0
        self.columns = [heading(c) for c in self.records[self._head]]

    def rows(self) -> Iterator[int]:
        """Numbers of the rows that say something."""
        for number, record in enumerate(self.records[self._head + 1 :], start=self._head + 2):
            if any(c.strip() for c in record) and not left_out([record[0].strip()]):
                yield number

    def cells(self, row: int) -> dict[str, str]:
        return {name: cell.strip() for name, cell in zip(self.columns, self.records[row - 1], strict=False)}

    def put(self, row: int, cells: Mapping[str, str]) -> None:
        """Write cells of a row; a heading that is not there yet is added at the end."""
        record = self.records[row - 1]
        for column, text in cells.items():
            if column not in self.columns and text:
                self.columns.append(column)
                self.records[self._head].append(column)
            if column in self.columns:
                place = self.columns.index(column)
                record.extend([""] * (place + 1 - len(record)))
                record[place] = text

    def add(self, cells: Mapping[str, str]) -> int:
        """A new row at the end; its number."""
        while len(self.records) > self._head + 1 and not any(c.strip() for c in self.records[-1]):
            self.records.pop()
        self.records.append([])
        self.put(len(self.records), cells)
        return len(self.records)

    def data(self) -> bytes:
        out = io.StringIO()
        writer = csv.writer(out, delimiter=self._mark, lineterminator=self._end)
        for record in self.records:
            blank = not any(c.strip() for c in record)
            writer.writerow([] if blank else [*record, *[""] * (len(self.columns) - len(record))])
        return (codecs.BOM_UTF8 if self._marked else b"") + out.getvalue().encode("utf-8")
