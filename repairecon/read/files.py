"""Files in and out: bytes to clean text; rows to CSV text, workbooks and tables of results; whole or not at all."""

from __future__ import annotations

import codecs
import contextlib
import csv
import datetime
import hashlib
import io
import itertools
import math
import os
import re
import tempfile
import zipfile
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import cache, partial
from pathlib import Path
from typing import Any, TypeAlias

from repairecon.read.problems import clean, key, shown
from repairecon.records import RepaireconError

HERE = Path(__file__).parent  # this room: data files lie in it
LARGEST_FILE = 50_000_000  # bytes; a case file of this size is a mistake
Value: TypeAlias = str | int | float | bool | datetime.date | None

OBEYED = ("=", "+", "-", "@", "\t", "\r")  # a text cell that begins with one of these may be taken for a formula
LONGEST_TEXT = 32_767  # characters that a cell of a workbook holds
_NOT_IN_A_SHEET = re.compile(r"[\[\]:*?/\\]")
_NOT_IN_A_FILE = re.compile(r"[^\w-]+")

PAGE = '<meta name="generator" content="repairecon">'  # what every page of ours carries
CREATOR = "repairecon"  # who made a workbook, as it says itself
FONT: Mapping[str, Any] = {"name": "Calibri", "size": 11}
_ROOM_A_CELL = 100  # bytes of a cell while a workbook is made
_HEAD = 4096  # bytes of a file, or of the properties of a workbook, that say what it is


@cache
def rows_of(name: str) -> tuple[dict[str, str], ...]:
    return tuple(csv.DictReader((HERE / name).read_text("utf-8").splitlines()))


class Unreadable(Exception):
    """A file that gives no text at all: what was found, what to do."""

    def __init__(self, found: str, write: str) -> None:
        self.found, self.write = found, write
        super().__init__(found)


def decoded(data: bytes) -> str:
    """Text of bytes; what is not UTF-8 stays as lone surrogates, to be found later."""
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        try:
            return data.decode("utf-16")
        except UnicodeDecodeError as error:
            raise Unreadable("broken UTF-16 text", "save the file again as CSV UTF-8") from error
    return data.decode("utf-8", "surrogateescape")  # its mark, if any, goes with the control characters


def read_data(path: Path) -> bytes:
    try:
        if not path.is_file():
            raise Unreadable("no file of text" if path.exists() else "no such file", "put a text file there")
        size = path.stat().st_size
        if size > LARGEST_FILE:
            raise Unreadable(f"a file of {size} bytes", f"keep it under {LARGEST_FILE} bytes")
        return path.read_bytes()
    except OSError as error:
        reason = error.strerror or "it cannot be read"
        raise Unreadable(f"a file that cannot be read ({reason})", "allow it to be read") from error


@contextlib.contextmanager
def _in_words(path: Path) -> Iterator[None]:
    try:
        yield
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise RepaireconError(f"{clean(str(path))} could not be written: {reason}; nothing was changed") from error


def write_whole(path: str | os.PathLike[str], data: str | bytes) -> None:
    """Write a file (text in UTF-8) as a whole: a reader sees the old file or the new one, never half."""
    with _in_words(Path(path)):
        _replace(Path(os.path.realpath(path)), data.encode("utf-8") if isinstance(data, str) else data)


def _replace(target: Path, data: bytes) -> None:
    if target.is_dir():
        raise IsADirectoryError(0, "it is a folder")
    stem = f".{target.name[:100]}.{os.getpid()}"
    part = next(p for k in itertools.count() if not os.path.lexists(p := target.with_name(f"{stem}-{k}.part")))
    try:
        with part.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        if target.exists():
            part.chmod(target.stat().st_mode & 0o777)
        part.replace(target)
    except BaseException:
        part.unlink(missing_ok=True)
        raise


def write_own(path: Path, data: str | bytes) -> None:
    """Write an output whole or not at all, new or over one of its kind; RepaireconError for a link or another."""
    made = data.encode("utf-8") if isinstance(data, str) else data
    check_own(path, made)
    write_whole(path, made)


def check_own(path: Path, made: bytes = PAGE.encode()) -> None:
    """Refuse a place where an output (its first bytes will do, for a workbook all) may not go."""
    with _in_words(path):
        if path.is_dir():
            raise IsADirectoryError(0, "it is a folder; give the name of a file")
        if not path.parent.is_dir():
            raise NotADirectoryError(0, f"{path.parent} is no folder; make it first")
        if path.is_symlink():
            raise FileExistsError(0, "it is a link; give another name")
        if path.exists() and not same_kind(path, made):
            raise FileExistsError(0, "it is there already and no earlier output of this kind; give another name")


def same_kind(path: Path, made: bytes) -> bool:
    """True for a file (no link) that is an earlier output of the kind of this one."""
    if not _kind(made) or path.is_symlink() or not path.is_file():
        return False
    with path.open("rb") as file:
        return _kind(file.read(LARGEST_FILE)) == _kind(made)


def _kind(data: bytes) -> bytes:
    """What outputs of a kind have in common, and no other file: a mark, who made it of what, or the first line."""
    if data.startswith(b"PK"):
        try:
            with zipfile.ZipFile(io.BytesIO(data)) as book, book.open("docProps/core.xml") as about:
                said = about.read(_HEAD)
        except (zipfile.BadZipFile, KeyError, OSError, ValueError, NotImplementedError, RuntimeError):
            return b""
        made = [re.search(rb"<dc:%b>(.*?)</dc:%b>" % (tag, tag), said) for tag in (b"creator", b"title")]
        return b"|".join(m[1] for m in made if m) if made[0] and made[0][1] == CREATOR.encode() else b""
    if PAGE.encode() in data[:_HEAD]:
        return PAGE.encode()
    return data[:_HEAD].removeprefix(codecs.BOM_UTF8).split(b"\n")[0].strip()


def write_all(folder: Path, files: Mapping[str, bytes], replace: bool = False) -> None:
    """Write files, all of them or none: new ones with their folders, or with ``replace`` in place of what is there."""
    undo: list[Callable[[], object]] = []
    with _in_words(folder):
        try:
            for name, data in files.items():
                target = Path(os.path.realpath(folder / name)) if replace else folder / name
                for parent in () if replace else (*reversed(target.parent.parents), target.parent):
                    if not parent.exists():
                        parent.mkdir()
                        undo.append(parent.rmdir)
                if not replace and os.path.lexists(target):
                    raise FileExistsError(0, f"{name} is there already: name another folder")
                before = target.read_bytes() if target.exists() else None
                _replace(target, data)
                undo.append(target.unlink if before is None else partial(_replace, target, before))
        except BaseException:
            for step in reversed(undo):
                with contextlib.suppress(OSError):
                    step()
            raise


# ---- rows to cells: numbers as numbers, and no text that a spreadsheet would obey ----------------------
def _checked(value: Value) -> str | int | float | datetime.date | None:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float) and not math.isfinite(value):
        raise RepaireconError("a number beyond all measure cannot be written to a cell")
    if not isinstance(value, str):
        return value
    text = clean(value).encode("utf-8", "replace").decode("utf-8")
    if len(text) > LONGEST_TEXT:
        raise RepaireconError(f"{shown(text)} is too long for a cell: {LONGEST_TEXT} characters at most")
    return text or None


def defused(text: str) -> str:
    """Text that a spreadsheet takes for text: with a mark ' before what it might obey, and before such a mark."""
    return f"'{text}" if text.startswith((*OBEYED, "'")) else text


def as_meant(text: str) -> str:
    return text[1:] if text.startswith("'") and text[1:].startswith((*OBEYED, "'")) else text


def csv_text(rows: Iterable[Sequence[Value]], defuse: bool = False, end: str = "\r\n") -> str:
    """CSV as RFC 4180 has it: comma, quote marks doubled; decimals with a point, dates year-month-day, yes and no.

    ``defuse`` where a person will open it in a spreadsheet; ``end`` ends a line, the standard has CRLF.
    """
    out, cells = io.StringIO(), (map(_checked, row) for row in rows)
    as_shown = ([defused(cell) if defuse and isinstance(cell, str) else cell for cell in row] for row in cells)
    csv.writer(out, lineterminator=end).writerows(as_shown)
    return out.getvalue()


def distinct(names: Iterable[str], longest: int, mark: str, barred: str = "") -> list[str]:
    """Names cut to so many characters, each its own whatever its case: the second of a name ends in 2."""
    made: list[str] = []
    for name in names:
        free, nth = name[:longest], 2
        while free.casefold() in (barred, *map(str.casefold, made)):
            end = f"{mark}{nth}"
            free, nth = name[: longest - len(end)] + end, nth + 1
        made.append(free)
    return made


def file_names(names: Iterable[str]) -> list[str]:
    """Names as parts of the names of files that any file system takes."""
    return distinct((_NOT_IN_A_FILE.sub("_", key(name)).strip("_")[:60] or "supplier" for name in names), 60, "_")


def sheet_names(names: Iterable[str]) -> list[str]:
    """Names that sheets may have, each its own: at most 31 characters, none of []:*?/\\."""
    plain = (" ".join(_NOT_IN_A_SHEET.sub(" ", clean(name)).split()).strip("'")[:31].strip() for name in names)
    return distinct((name or "sheet" for name in plain), 31, " ", "history")


def workbook_bytes(
    sheets: Mapping[str, Sequence[Sequence[Value]]], money: str = "0.00", filters: bool = False
) -> bytes:
    """A workbook of sheets by name, the first row the headings; ``money`` is the form in which decimals are shown."""
    book, names = new_workbook(), sheet_names(sheets)
    book.properties.creator, book.properties.title = CREATOR, next(iter(names), None)
    for name, rows in zip(names, sheets.values(), strict=True):
        sheet = add_sheet(book, name, rows, filters=filters)
        for row, values in enumerate(rows, start=1):
            for column in (k for k, value in enumerate(values, start=1) if isinstance(value, float)):
                sheet.cell(row, column).number_format = money
    return saved(book)


def new_workbook() -> Any:
    from openpyxl import Workbook

    book: Any = Workbook()
    book.remove(book.active)
    return book


def add_sheet(
    book: Any, name: str, rows: Sequence[Sequence[Value]], frozen: str = "A2", heads: int | None = None,
    filters: bool = True,
) -> Any:  # fmt: skip
    """A sheet of rows, of which the first begins with so many headings (None: all); ``filters`` are put on these."""
    from openpyxl.styles import Font
    from openpyxl.utils import get_column_letter

    sheet = book.create_sheet(name)
    for r, row in enumerate(rows, start=1):
        for c, value in enumerate(row, start=1):
            put_cell(sheet, r, c, value)
    for c, column in enumerate(itertools.zip_longest(*rows, fillvalue=""), start=1):
        longest = max(len(value) if isinstance(value, str) else 10 for value in column)
        sheet.column_dimensions[get_column_letter(c)].width = min(40, max(8, longest + 2))  # characters
    heads = len(rows[0]) if rows and heads is None else heads or 0
    for c in range(1, heads + 1):
        sheet.cell(1, c).font = Font(**FONT, bold=True)
    if heads and filters:
        sheet.auto_filter.ref = f"A1:{get_column_letter(heads)}{max(2, len(rows))}"
    sheet.freeze_panes = frozen
    return sheet


def put_cell(sheet: Any, row: int, column: int, value: Value) -> None:
    """Write a cell of a workbook; text is never taken for a formula, yes and no are words."""
    cell = sheet.cell(row, column)
    cell.value = _checked(value)
    if isinstance(cell.value, str):
        cell.data_type = "s"  # else a leading = would make a formula of it
        cell.quotePrefix = cell.value.startswith(OBEYED)


def saved(book: Any) -> bytes:
    out = io.BytesIO()
    with _in_words(Path("the workbook")):
        # its sheets go through files of the system's own folder: without room there the library ends in a noise
        with tempfile.TemporaryFile() as room:
            room.write(bytes(_ROOM_A_CELL * (50 + sum(len(sheet._cells) for sheet in book.worksheets))))
        book.save(out)
    return out.getvalue()


# ---- tables of an answer ---------------------------------------------------------------------------
BOOK, INDEX = "tables.xlsx", "tables.csv"
_HEADINGS = ["job", "file", "rows", "hash"]
MARK = "made_of"  # column that says of what a row was made: a hash of its files and of what was asked


def write_tables(
    folder: str | os.PathLike[str], job: str, tables: Mapping[str, Sequence[Sequence[Value]]]
) -> tuple[Path, ...]:
    """Write every table (headings first) as ``<name>.csv``, all in ``tables.xlsx``, ``tables.csv`` as the list of them.

    RepaireconError, and nothing written, if one of them is there that is not as an earlier run of this job wrote it.
    """
    place = Path(folder)
    files = {f"{name}.csv": csv_text(rows, defuse=True).encode("utf-8-sig") for name, rows in tables.items()}
    counts = {f"{name}.csv": len(rows) - 1 for name, rows in tables.items()}
    files[BOOK] = workbook_bytes(tables, money="General", filters=True)
    listed = [[job, name, counts.get(name), _hash(data)] for name, data in files.items()]
    files[INDEX] = csv_text([_HEADINGS, *listed]).encode("utf-8")
    if place.exists() and not place.is_dir():
        raise RepaireconError(f"{shown(str(place))} is a file: name a folder for the tables; nothing was written")
    text = (place / INDEX).read_text(encoding="utf-8", errors="replace") if _hash_of(place / INDEX) else ""
    rows = csv.DictReader(text.splitlines())
    earlier = {row["file"]: row["hash"] for row in rows if rows.fieldnames == _HEADINGS and row["job"] == job}
    there = {name: _hash_of(place / name) for name in {**files, **earlier} if os.path.lexists(place / name)}
    for name in (name for name in files if name in there):
        if not (earlier if name == INDEX else earlier.get(name) == there[name]):
            why = "is not as an earlier run of this job wrote it: name another folder; nothing was written"
            raise RepaireconError(f"{name} in {shown(str(place))} {why}")
    write_all(place, files, replace=place.exists())
    for name in earlier.keys() - files.keys():  # of an earlier answer, and none of this one
        if earlier[name] == there.get(name):
            (place / name).unlink()
    return tuple(place / name for name in files)


def _hash(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()[:20]


def _hash_of(path: Path) -> str:
    return _hash(path.read_bytes()) if path.is_file() and not path.is_symlink() else ""


# ---- a table that grows --------------------------------------------------------------------------
def mark_of(folder: str | os.PathLike[str], asked: Iterable[object] = ()) -> str:
    """A hash of a file, or of all in a folder but in none within, and of what is asked; "" where there is neither."""
    place, made = Path(folder), hashlib.sha256(repr(tuple(asked)).encode())
    if not place.exists():
        return ""
    for path in sorted(p for p in place.iterdir() if p.is_file()) if place.is_dir() else [place]:
        made.update(path.name.encode() + b"\0")
        made.update(hashlib.sha256(path.read_bytes()).digest())
    return made.hexdigest()[:20]


class ResultTable:
    """A CSV file of results, the mark in the last column, written row by row; one of these columns is gone on with.

    Rows whose mark is not ``wanted`` are taken out.
    """

    def __init__(self, path: str | os.PathLike[str], columns: Sequence[str], wanted: Iterable[str]) -> None:
        self.path, self.columns = Path(path), (*columns, MARK)
        marks = set(wanted) - {""}
        check_own(self.path, csv_text([self.columns]).encode())
        text = self.path.read_text(encoding="utf-8", errors="replace") if self.path.exists() else ""
        rows = csv.DictReader(io.StringIO(text[: text.rfind("\n") + 1]))  # a last row that was cut off is none
        whole = [row for row in rows if None not in row.values() and None not in row]
        kept = [row for row in whole if row[MARK] in marks]
        write_own(self.path, csv_text([self.columns, *([row[c] for c in self.columns] for row in kept)], end="\n"))
        self.done = {row[MARK]: {k: v for k, v in row.items() if k != MARK} for row in kept}

    def add(self, row: Mapping[str, Any], mark: str) -> None:
        cells = [*(row[c] for c in self.columns[:-1]), mark]
        with self.path.open("a", encoding="utf-8", newline="") as file:
            file.write(csv_text([cells], end="\n"))


def to_parquet(path: Path, to: Path) -> None:
    try:
        import pandas as pd
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError as error:
        raise RepaireconError("Parquet needs the extra fleet: pip install 'repairecon[fleet]'") from error
    if os.path.lexists(to):
        raise RepaireconError(f"{shown(str(to))} is there already; give another name")
    part = to.with_name(f".{to.name}.part")
    writer = None
    for rows in pd.read_csv(path, chunksize=1000):
        table = pa.Table.from_pandas(rows, schema=writer.schema if writer else None, preserve_index=False)
        writer = writer or pq.ParquetWriter(part, table.schema)
        writer.write_table(table)
    if writer:
        writer.close()
        part.replace(to)
