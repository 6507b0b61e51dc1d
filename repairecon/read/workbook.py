"""Workbooks (.xlsx) to plain rows, looked through for bombs first, nothing in them run; a case or a boat in one."""

from __future__ import annotations

import datetime
import io
import math
import os
import re
import warnings
import zipfile
import zlib
from collections.abc import Collection, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, TypeAlias

from repairecon.read import values
from repairecon.read.columns import ANY, CASE, CASE_FILES, FILES, NUMBERS, Column, Headings, about, sections
from repairecon.read.files import Unreadable, csv_text, read_data
from repairecon.read.problems import SURE, Problems, clean, closest, shown
from repairecon.read.sheets import BOOKS, Sheet, cell_of, heading, take, tidied, tidy
from repairecon.read.tables import Row, table_of
from repairecon.read.toml_file import toml_key, toml_lines
from repairecon.read.values import Cell, Misread, figure, listed, number, text_of

MOST_EMPTY = 10_000  # empty rows together after which a sheet is taken to have ended
LAST_ROW = 1_048_576  # of a sheet (ECMA-376 part 1 has no limit; it is that of the programs)
MOST_PARTS = 2_000
LARGEST_UNPACKED = 100_000_000  # bytes of all parts together; a list of 200,000 rows takes about as much
LARGEST_SIDE_PART = 10_000_000  # bytes of styles, names, relations: neither a sheet nor the table of texts
HIGHEST_RATIO = 300  # bytes unpacked for one packed, from ``SMALL`` on; sheets of real lists stay far below
SMALL = 4_000_000
LONGEST_ROW = 4_000_000  # bytes from one row of a sheet to the next
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
_LEFT_ALONE = {"vbaproject": "macros in it are left alone",
               "externallinks/": "links in it to other files are not followed"}  # fmt: skip
_NO_RESULT = Misread("save the workbook in a spreadsheet program, or write the value", "a formula that keeps no result")
_Parts: TypeAlias = tuple[dict[str, list[tuple[str, str]]], set[str], tuple[str, ...]]
"""Of each part of a workbook its merged areas, the parts with formulas, and notes on what else it holds."""


def read_sheets(data: bytes, file: str, wanted: str | None = None) -> list[Sheet]:
    """Sheets of a workbook that are not hidden, or the one ``wanted``, blank for the only one; Unreadable if none."""
    parts = _looked_at(data)
    try:
        with warnings.catch_warnings(action="ignore"):  # of what the library leaves out
            return list(_sheets(data, file, wanted, parts))
    except Unreadable:
        raise
    except Exception as error:  # a hostile workbook can make the library raise anything
        raise Unreadable("a workbook that cannot be read", _AGAIN) from error


def _sheets(data: bytes, file: str, wanted: str | None, parts: _Parts) -> Iterator[Sheet]:
    from openpyxl import load_workbook
    from openpyxl.utils import range_boundaries

    merged, with_formulas, notes_of_all = parts
    book = load_workbook(io.BytesIO(data), read_only=True, data_only=True, keep_links=False)
    sheets: dict[str, Any] = {sheet.title: sheet for sheet in book.worksheets}
    names = [n for n, s in sheets.items() if s.sheet_state == "visible"]
    there = sorted(sheets, key=lambda name: name not in names) if wanted else names
    chosen = [n for n in there if n.casefold() == wanted.casefold()][:1] if wanted else names
    if wanted is not None and len(chosen) != 1:
        found = f"no sheet {shown(wanted)}" if wanted else f"{len(names)} sheets"
        known = f"name one of: {', '.join(shown(n) for n in there[:12])}"
        raise Unreadable(*((found, known) if there else ("no sheet that is not hidden", "name the sheet")))
    for name in chosen:
        part = sheets[name]._worksheet_path.lstrip("/")
        hidden = () if name in names else (f"{shown(name)} is a hidden sheet",)
        formulas: Iterator[tuple[Any, ...]] = iter(())
        if part in with_formulas:
            formulas = _numbered(load_workbook(io.BytesIO(data), read_only=True, keep_links=False)[name])
        areas = [(*range_boundaries(":".join(corners)), corners[0]) for corners in merged.get(part, [])]
        rows, notes = _rows(_numbered(sheets[name]), formulas, areas)
        yield Sheet(file, name, rows, (*notes_of_all, *hidden, *notes))


def _numbered(sheet: Any) -> Iterator[tuple[Any, ...]]:
    """The rows of a sheet as far as it truly goes, whatever size it says it has."""
    sheet.reset_dimensions()
    return iter(sheet.iter_rows(max_row=LAST_ROW))


def _rows(
    sheet: Iterator[tuple[Any, ...]], formulas: Iterator[tuple[Any, ...]], areas: list[Any]
) -> tuple[dict[int, tuple[Cell, ...]], list[str]]:
    """Every row up to a long stretch of empty ones, and what an owner should know of the reading."""
    rows: dict[int, tuple[Cell, ...]] = {}
    results = empty = 0
    notes = []
    for n, cells in enumerate(sheet, start=1):
        read = [_cell(cell) for cell in cells]
        for k, written in enumerate(next(formulas, ())[: len(read)]):
            if written.data_type == "f":
                results += read[k] is not None
                read[k] = _NO_RESULT if read[k] is None else read[k]
        empty = 0 if any(cell is not None for cell in read) else empty + 1
        if empty >= MOST_EMPTY:
            notes.append(f"reading stopped at row {n} after {MOST_EMPTY} empty rows")
            break
        if not empty:
            # cells hidden under a merged one are faults, not taken for blank
            for left, first, right, last, corner in areas:
                hidden = Misread("unmerge the cells and write the value in each", f"a cell merged with {corner}")
                for k in range(left - 1, min(right, len(read))) if first <= n <= last else ():
                    if read[k] is None and (n, k) != (first, left - 1):
                        read[k] = hidden
            take(rows, n, read)
    if results:
        notes.insert(0, f"{results} cells are the last results of formulas, as kept in the file")
    return rows, notes


def _cell(cell: Any) -> Cell:
    value = cell.value
    if value is None:
        return None
    if cell.data_type == "e":
        return Misread(_WRITTEN, f"the error {shown(str(value))}")
    if isinstance(value, str):
        return cell_of(clean(value).strip().encode("utf-8", "replace").decode("utf-8"))
    if isinstance(value, datetime.datetime):
        return value.date() if value.time() == datetime.time() else value.isoformat(" ", "minutes")
    if isinstance(value, bool | datetime.date):
        return value
    if isinstance(value, int | float):
        wild = not math.isfinite(value) or abs(value) > 1e300
        return Misread(_WRITTEN, "a number beyond all measure") if wild else value
    return Misread(_WRITTEN, f"a time {shown(str(value))}")


def _looked_at(data: bytes) -> _Parts:
    if data.startswith(_OLE):
        found = "a workbook with a password, or one of the old format .xls"
        raise Unreadable(found, "save it as .xlsx without a password")
    if not data.startswith(b"PK"):
        raise Unreadable(*_NO_WORKBOOK)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            _check_sizes(archive.infolist(), len(data))
            merged: dict[str, list[tuple[str, str]]] = {}
            formulas = set()
            for entry in archive.infolist():
                areas: dict[tuple[str, str], None] = {}
                for piece in _pieces(archive, entry):
                    areas |= {(a.decode(), b.decode()): None for a, b in _MERGED.findall(piece)}
                    if _FORMULA.search(piece):
                        formulas.add(entry.filename)
                merged[entry.filename] = list(areas)
            names = " ".join(merged).lower()
            return merged, formulas, tuple(note for part, note in _LEFT_ALONE.items() if part in names)
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, ValueError, OSError, EOFError) as error:
        raise Unreadable("a broken workbook", _AGAIN) from error


def _check_sizes(entries: list[zipfile.ZipInfo], packed: int) -> None:
    names, as_csv = {entry.filename for entry in entries}, "ask for the list as CSV"
    if "[Content_Types].xml" not in names:
        raise Unreadable(*_NO_WORKBOOK)
    if len(entries) > MOST_PARTS or len(names) != len(entries):
        raise Unreadable("a workbook of too many parts, or of the same part twice", as_csv)
    if any(entry.flag_bits & 1 for entry in entries):
        raise Unreadable("a workbook with a password", "save it without a password")
    total = sum(entry.file_size for entry in entries)
    sizes = [(total, packed), *((entry.file_size, entry.compress_size) for entry in entries)]
    swells = any(size > SMALL and size > HIGHEST_RATIO * max(small, 1) for size, small in sizes)
    side = max((e.file_size for e in entries if not _is_long(e.filename)), default=0)
    if swells or total > LARGEST_UNPACKED or side > LARGEST_SIDE_PART:
        raise Unreadable("a workbook that unpacks to far more than a list can need", as_csv)


def _is_long(name: str) -> bool:
    return "worksheets/" in name.lower() or "sharedstrings" in name.lower()


def _pieces(archive: zipfile.ZipFile, entry: zipfile.ZipInfo) -> Iterator[bytes]:
    """A part in overlapping pieces, refused where it declares something or one row never ends."""
    by_rows = _is_long(entry.filename)
    declares, since_row, tail = _ANY_DECLARATION if by_rows else _ENTITY, 0, b""
    with archive.open(entry) as part:
        while chunk := part.read(_CHUNK):
            piece = tail + chunk.replace(b"\0", b"")
            if declares.search(piece):
                raise Unreadable("a workbook that declares entities of its own", "ask for the list as CSV")
            since_row = 0 if _ROW.search(piece) else since_row + len(chunk)
            if since_row > LONGEST_ROW and by_rows:
                raise Unreadable("a row beyond all measure", "ask for the list as CSV")
            yield piece
            tail = piece[-_OVERLAP:]


# ---- a case or a boat in one workbook: a sheet a file, sections and keys as rows --------------------
ANSWER = "answer"  # sheet that is written and never read
KEY_COLUMNS = ("section", "key", "low", "value", "high", "shape", "unit", "blank means", "meaning")
NO_WORDS = "none"  # an empty list in a cell
_KEYS = Headings(tuple(map(heading, KEY_COLUMNS)), ("section", "key", "value"))
_PLACES = {"low": "low", "value": "likely", "high": "high"}  # columns of values, and the end of a range that each is
_UNKNOWN = "unknown"
_ANY_NUMBER = values.Limits(-1e300, 1e300)


def is_workbook(path: str | os.PathLike[str]) -> bool:
    """True for the name of a workbook that is no folder."""
    return Path(path).suffix.casefold() in BOOKS and not Path(path).is_dir()


@dataclass
class CaseWorkbook:
    """The files of a case as its sheets give them; ``rows`` are the rows of the lines of ``toml``."""

    toml: bytes = b""
    rows: list[int] = field(default_factory=list)
    tables: dict[str, Sheet] = field(default_factory=dict)
    notes: dict[str, str] = field(default_factory=dict)

    def files(self, first: str = CASE) -> dict[str, bytes]:
        made = {first: self.toml}
        for file, sheet in self.tables.items():
            width = max(map(len, sheet.rows.values()))
            rows = [[text_of(c) for c in sheet.rows.get(n, ())] for n in range(1, max(sheet.rows) + 1)]
            made[file] = csv_text([[*row, *[""] * (width - len(row))] for row in rows]).encode("utf-8")
        return made


def read_case_workbook(
    path: str | os.PathLike[str], problems: Problems, first: str = CASE, files: Collection[str] = CASE_FILES
) -> CaseWorkbook:
    """Read a workbook: ``first`` is its file of sections and keys, ``files`` tables. What is none stops here."""
    name, made = Path(path).name, CaseWorkbook()
    known = {Path(file).stem: file for file in (first, *files)}
    try:
        sheets = read_sheets(read_data(Path(path)), name)
    except Unreadable as error:
        problems.refuse(name, error.found, error.write)
    for sheet in sheets:
        title = heading(sheet.name)
        file = known.get(title.removesuffix(".csv").removesuffix(".toml"), "")
        if file:
            problems.called[file] = f"{name}, sheet {sheet.name}"
            sheet = replace(sheet, file=file)
            if file == first:
                made.toml, made.rows = _toml(_tidied_keys(sheet), problems)
            else:
                made.tables[file], _ = tidied(sheet, FILES[file].declared)
        elif near := closest(sheet.name, known, cutoff=SURE) if title != ANSWER else "":
            write = f"did you mean {near}? (else give it a name less like it)"
            problems.add(sheet.file, None, "", f"a sheet {shown(sheet.name)} that nothing reads", write)
        elif title != ANSWER:
            made.notes[f"{sheet.file}, sheet {sheet.name}"] = "nothing reads this sheet"
    if first not in problems.called:
        problems.refuse(name, f"no sheet {Path(first).stem}", "add one, headed section, key, value")
    return made


# ---- sections and keys ---------------------------------------------------------------------------
def _tidied_keys(sheet: Sheet) -> Sheet:
    """The sheet with numbers and dates as a case folder has them, by the type of each key."""
    head, *below = sheet.rows or [0]
    names = [heading(text_of(c)) for c in sheet.rows.get(head, ())]
    rows, types = {n: list(sheet.rows[n]) for n in below}, dict[tuple[int, int], str]()
    for n, row in rows.items():
        by_name = dict(zip(names, map(text_of, row), strict=False))
        kind = _declared(sheet.file, by_name.get("section", ""), by_name.get("key", "")).type
        types |= {(n, k): kind for k, name in enumerate(names[: len(row)]) if name in _PLACES}
    tidy(rows, types)
    return replace(sheet, rows={**sheet.rows, **{n: tuple(row) for n, row in rows.items()}})


def _toml(sheet: Sheet, problems: Problems) -> tuple[bytes, list[int]]:
    """The sections and keys as TOML, and the row that each line of it stands for."""
    tables: dict[tuple[str, int], dict[str, tuple[object, int]]] = {}
    latest: dict[str, int] = {}
    for row in (row for row in table_of(sheet, _KEYS, problems).rows if any(row.has(c) for c in _PLACES)):
        section, name = row.text("section"), row.text("key")
        for column, text in (("section", section), ("key", name)):
            if not text:
                row.fault(column, "nothing", f"name the {column} that this value is of")
        nth = latest.setdefault(section, 0)
        if name in tables.get((section, nth), {}):
            if not _many(section):
                row.fault("key", f"{shown(name)} again", f"keep one of it and row {tables[section, nth][name][1]}")
                continue
            nth = latest[section] = nth + 1
        if section and name:
            value = _value(row, _declared(sheet.file, section, name))
            tables.setdefault((section, nth), {})[name] = (value, row.row)
    lines: list[str] = []
    rows: list[int] = []
    for (section, _), entries in tables.items():
        dotted = ".".join(map(toml_key, section.split(".", 1)))
        said = {name: value for name, (value, _) in entries.items() if value is not None}
        lines += toml_lines(f"[[{dotted}]]" if _many(section) else f"[{dotted}]", said)
        first = next(iter(entries.values()))[1]
        rows += [first, *(entries[name][1] for name in said), first]
    return "\n".join(lines).encode("utf-8", "replace"), rows


def _declared(file: str, section: str, name: str) -> Column:
    known = sections(file)
    some = known.get(section) or known.get(f"{section.split('.', 1)[0]}.{ANY}") or {}
    return some.get(name) or some.get(ANY) or Column(name=name, type=_UNKNOWN)


def _many(section: str) -> bool:
    return section in sections(CASE) and about(CASE, section)[1].startswith("[[")


def _value(row: Row, column: Column) -> object:
    text = row.text("value")
    ends = {end: _figure(row.text(place)) for place, end in _PLACES.items() if row.text(place)}
    if column.type == "range":
        shaped = ends | ({"shape": row.text("shape")} if row.text("shape") else {})
        return ends["likely"] if list(shaped) == ["likely"] else shaped
    for place in ("low", "high"):
        row.check((place in ends, place, row.shown(place), "clear it: this key has one value"))
    if not text:
        return None
    if column.type in (*NUMBERS, _UNKNOWN):
        return _figure(text)
    if column.type == "yes" and isinstance(said := values.yes_no(text), bool):
        return said
    if column.type == "list":
        return [] if text == NO_WORDS else listed(text)
    return text


def _figure(text: str) -> object:
    read = number(text, _ANY_NUMBER)
    return text if isinstance(read, Misread) else figure(read)
