"""Workbooks (.xlsx) to plain rows: looked through for bombs first; nothing in them is evaluated, followed or run.

Formulas give the last result kept beside them; macros and links to other files are left alone.
"""

from __future__ import annotations

import datetime
import io
import math
import re
import warnings
import zipfile
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from repairecon.read.problems import clean, shown
from repairecon.read.sheets import LAST_ROW, LONGEST_CELL, MOST_EMPTY, BadCell, BadSheet, Cell, Sheet, choose, take

MOST_PARTS = 2_000
LARGEST_UNPACKED = 100_000_000
"""Bytes of all parts together; a list of 200,000 rows takes about as much."""
LARGEST_SIDE_PART = 10_000_000
"""Bytes of a part that is neither a sheet nor the table of texts: styles, names, relations."""
HIGHEST_RATIO = 300
"""Bytes unpacked for one packed, from ``SMALL`` on; sheets of real lists stay far below."""
SMALL = 4_000_000
LONGEST_ROW = 4_000_000
"""Bytes from one row of a sheet to the next."""
_ENTITY = re.compile(rb"<!\s*(?:DOCTYPE|ENTITY)", re.IGNORECASE)
_ANY_DECLARATION = re.compile(rb"<!")
_ROW = re.compile(rb"<(?:\w+:)?(?:row|si)[\s>/]")
_MERGED = re.compile(rb"""mergeCell\s[^>]*?ref\s*=\s*["']([A-Z]{1,3}[0-9]{1,7}):([A-Z]{1,3}[0-9]{1,7})["']""")
_FORMULA = re.compile(rb"<(?:\w+:)?f[\s>/]")
_CHUNK = 1_000_000
_OVERLAP = 256
_OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_NO_WORKBOOK = ("a file that is no workbook", "save it as .xlsx or as CSV UTF-8")
_AGAIN = "open it in a spreadsheet program and save it again as .xlsx"
_WRITTEN = "write what is meant, or clear the cell"


@dataclass(frozen=True)
class Parts:
    """What the parts of a workbook hold beside its cells, by the name of the part."""

    merged: dict[str, list[tuple[str, str]]]
    formulas: frozenset[str]
    macros: bool
    links: bool


def read_workbook(data: bytes, file: str, wanted: str = "") -> Sheet:
    """One sheet of a workbook; ``wanted`` is blank for the only one that is not hidden.

    ``file`` is its name for faults. BadSheet is raised if there is nothing in it that can be taken.
    """
    return _read(data, file, lambda names, hidden: [choose(names, hidden, wanted)])[0]


def read_sheets(data: bytes, file: str) -> list[Sheet]:
    """All sheets of a workbook that are not hidden."""
    return _read(data, file, lambda names, _: names)


def _read(data: bytes, file: str, chosen: Callable[[list[str], list[str]], list[str]]) -> list[Sheet]:
    parts = looked_at(data)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of what the library leaves out
        try:
            return list(_sheets(data, file, chosen, parts))
        except BadSheet:
            raise
        except Exception as error:  # a hostile workbook can make the library raise anything
            raise BadSheet("a workbook that cannot be read", _AGAIN) from error


def _sheets(
    data: bytes, file: str, chosen: Callable[[list[str], list[str]], list[str]], parts: Parts
) -> Iterator[Sheet]:
    from openpyxl import load_workbook

    book = load_workbook(io.BytesIO(data), read_only=True, data_only=True, keep_links=False)
    sheets = {sheet.title: sheet for sheet in book.worksheets}
    names = [n for n, s in sheets.items() if s.sheet_state == "visible"]
    common = ["macros in it are left alone"] if parts.macros else []
    common += ["links in it to other files are not followed"] if parts.links else []
    for name in chosen(names, [n for n in sheets if n not in names]):
        part, notes = _part(sheets[name]), list(common)
        if name not in names:
            notes.append(f"{shown(name)} is a hidden sheet")
        formulas = None
        if part in parts.formulas:
            written = load_workbook(io.BytesIO(data), read_only=True, data_only=False, keep_links=False)
            formulas = _numbered(written[name])
        reader = _Rows(parts.merged.get(part, []))
        reader.read(_numbered(sheets[name]), formulas)
        yield Sheet(file, name, reader.rows, (*notes, *reader.notes()))


def _part(sheet: Any) -> str:
    return str(sheet._worksheet_path).lstrip("/")


def _numbered(sheet: Any) -> Iterator[tuple[Any, ...]]:
    """The rows of a sheet as far as it truly goes, whatever size it says it has."""
    sheet.reset_dimensions()
    return iter(sheet.iter_rows(max_row=LAST_ROW))


class _Rows:
    """Rows as they are read, and what was met on the way."""

    def __init__(self, merged: list[tuple[str, str]]) -> None:
        self.rows: dict[int, tuple[Cell, ...]] = {}
        from openpyxl.utils import range_boundaries

        self._areas = [(*range_boundaries(":".join(corners)), corners[0]) for corners in merged]
        self._results = 0
        self._stopped = 0

    def read(self, rows: Iterator[tuple[Any, ...]], formulas: Iterator[tuple[Any, ...]] | None) -> None:
        """Take every row up to a long stretch of empty ones."""
        empty = 0
        for number, cells in enumerate(rows, start=1):
            written = next(formulas, ()) if formulas is not None else ()
            read = [_cell(cell) for cell in cells]
            if written:
                self._formulas(read, written)
            if not any(cell is not None for cell in read):
                empty += 1
                if empty >= MOST_EMPTY:
                    self._stopped = number
                    return
                continue
            empty = 0
            self._merged(number, read)
            take(self.rows, number, read)

    def notes(self) -> list[str]:
        """What an owner should know of the reading."""
        notes = []
        if self._results:
            notes.append(f"{self._results} cells are the last results of formulas, as kept in the file")
        if self._stopped:
            notes.append(f"reading stopped at row {self._stopped} after {MOST_EMPTY} empty rows")
        return notes

    def _formulas(self, read: list[Cell], written: tuple[Any, ...]) -> None:
        for k, cell in enumerate(written[: len(read)]):
            if getattr(cell, "data_type", "n") != "f":
                continue
            if read[k] is None:
                write = "save the workbook in a spreadsheet program, or write the value"
                read[k] = BadCell("a formula that keeps no result", write)
            else:
                self._results += 1

    def _merged(self, number: int, read: list[Cell]) -> None:
        """Cells hidden under a merged one are faults, not taken for blank."""
        for left, first, right, last, corner in self._areas:
            if not first <= number <= last:
                continue
            for k in range(left - 1, min(right, len(read))):
                if read[k] is None and (number, k) != (first, left - 1):
                    read[k] = BadCell(f"a cell merged with {corner}", "unmerge the cells and write the value in each")


def _cell(cell: Any) -> Cell:
    value = cell.value
    if value is None:
        return None
    if cell.data_type == "e":
        return BadCell(f"the error {shown(str(value))}", _WRITTEN)
    if isinstance(value, str):
        text = clean(value[: LONGEST_CELL + 1]).strip()
        if not text.isascii():
            text = text.encode("utf-8", "replace").decode("utf-8")
        if len(value) > LONGEST_CELL:
            return BadCell(f"{len(value)} characters: {shown(text)}", f"write {LONGEST_CELL} characters at most")
        return text or None
    if isinstance(value, datetime.datetime):
        return value.date() if value.time() == datetime.time() else value.isoformat(" ", "minutes")
    if isinstance(value, bool | datetime.date):
        return value
    if isinstance(value, int | float):
        wild = not math.isfinite(value) or abs(value) > 1e300
        return BadCell("a number beyond all measure", _WRITTEN) if wild else value
    return BadCell(f"a time {shown(str(value))}", _WRITTEN)


def looked_at(data: bytes) -> Parts:
    """The parts, once they are known to be safe to unpack."""
    if data.startswith(_OLE):
        found = "a workbook with a password, or one of the old format .xls"
        raise BadSheet(found, "save it as .xlsx without a password")
    if not data.startswith(b"PK"):
        raise BadSheet(*_NO_WORKBOOK)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            entries = archive.infolist()
            _check_sizes(entries, len(data))
            return _scan(archive, entries)
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, ValueError, OSError, EOFError) as error:
        raise BadSheet("a broken workbook", _AGAIN) from error


def _check_sizes(entries: list[zipfile.ZipInfo], packed: int) -> None:
    bomb = ("a workbook that unpacks to far more than a list can need", "ask for the list as CSV")
    names = {entry.filename for entry in entries}
    if "[Content_Types].xml" not in names:
        raise BadSheet(*_NO_WORKBOOK)
    if len(entries) > MOST_PARTS or len(names) != len(entries):
        raise BadSheet("a workbook of too many parts, or of the same part twice", bomb[1])
    total = sum(entry.file_size for entry in entries)
    if total > LARGEST_UNPACKED or (total > SMALL and total > HIGHEST_RATIO * packed):
        raise BadSheet(*bomb)
    for entry in entries:
        if entry.flag_bits & 1:
            raise BadSheet("a workbook with a password", "save it without a password")
        if entry.file_size > SMALL and entry.file_size > HIGHEST_RATIO * max(entry.compress_size, 1):
            raise BadSheet(*bomb)
        if entry.file_size > LARGEST_SIDE_PART and not _is_long(entry.filename):
            raise BadSheet(*bomb)


def _is_long(name: str) -> bool:
    """Sheets and the table of texts are read row by row, so they may be long."""
    return "worksheets/" in name.lower() or "sharedstrings" in name.lower()


def _scan(archive: zipfile.ZipFile, entries: list[zipfile.ZipInfo]) -> Parts:
    merged: dict[str, list[tuple[str, str]]] = {}
    formulas = set()
    for entry in entries:
        areas: dict[tuple[str, str], None] = {}
        for piece in _pieces(archive, entry):
            areas |= {(a.decode(), b.decode()): None for a, b in _MERGED.findall(piece)}
            if _FORMULA.search(piece):
                formulas.add(entry.filename)
        if areas:
            merged[entry.filename] = list(areas)
    names = [entry.filename.lower() for entry in entries]
    return Parts(
        merged,
        frozenset(formulas),
        any("vbaproject" in name for name in names),
        any("externallinks/" in name for name in names),
    )


def _pieces(archive: zipfile.ZipFile, entry: zipfile.ZipInfo) -> Iterator[bytes]:
    """A part in overlapping pieces, refused where it declares something or one row never ends."""
    declares = _ANY_DECLARATION if _is_long(entry.filename) else _ENTITY
    since_row, tail = 0, b""
    with archive.open(entry) as part:
        while chunk := part.read(_CHUNK):
            piece = tail + chunk.replace(b"\0", b"")
            if declares.search(piece):
                raise BadSheet("a workbook that declares entities of its own", "ask for the list as CSV")
            starts = _ROW.search(piece) is not None
            since_row = 0 if starts else since_row + len(chunk)
            if since_row > LONGEST_ROW and _is_long(entry.filename):
                raise BadSheet("a row beyond all measure", "ask for the list as CSV")
            yield piece
            tail = piece[-_OVERLAP:]
