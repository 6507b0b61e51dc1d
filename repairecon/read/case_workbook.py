"""A case or a boat in one workbook: a sheet a file, and case.toml as a sheet of sections, keys and values.

Cells are read as a spreadsheet leaves them: dates as dates, numbers as text or with a decimal comma.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from repairecon.read.columns import ANY, CASE, CASE_FILES, ENDS, FILES, Column, Headings, about, sections
from repairecon.read.files import Unreadable, csv_text, read_data
from repairecon.read.price_list import agreed_mark, date_text, number_text
from repairecon.read.problems import SURE, Problems, closest, shown
from repairecon.read.sheets import BOOKS, BadCell, Cell, Sheet, heading, text_of
from repairecon.read.tables import DEFAULT, EXAMPLE, Row, table_of
from repairecon.read.toml_file import toml_value
from repairecon.read.values import plain, yes_no
from repairecon.read.workbook import read_sheets

ANSWER = "answer"
"""Sheet that is written and never read."""
COUNT = re.compile(r"rows: ([0-9]+)")
"""A cell in the line of headings: the rows that the sheet had when it was written."""
KEY_COLUMNS = ("section", "key", "low", "value", "high", "shape", "unit", "blank means", "meaning")
NO_WORDS = "none"
"""An empty list in a cell."""
NUMBERS = ("number", "whole", "fraction", "range")
_KEYS = Headings(KEY_COLUMNS, ("section", "key", "value"), frozenset(heading(c) for c in KEY_COLUMNS))
_UNKNOWN = "unknown"
_BARE = re.compile(r"[A-Za-z0-9_-]+")


def is_workbook(path: str | os.PathLike[str]) -> bool:
    """True for the name of a workbook that is no folder."""
    return Path(path).suffix.casefold() in BOOKS and not Path(path).is_dir()


def sheet_title(file: str) -> str:
    """The sheet of a file."""
    return file.rsplit(".", 1)[0]


@dataclass
class CaseWorkbook:
    """The files of a case as its sheets give them; ``rows`` are the rows of the lines of ``toml``."""

    toml: bytes = b""
    rows: list[int] = field(default_factory=list)
    tables: dict[str, Sheet] = field(default_factory=dict)
    notes: dict[str, str] = field(default_factory=dict)

    def sources(self, first: str = CASE) -> dict[str, Any]:
        """What is read in place of files."""
        return {first: self.toml, **self.tables}

    def lines(self, lines: Mapping[str, int]) -> dict[str, int]:
        """Rows in place of lines."""
        return {name: self.rows[line - 1] for name, line in lines.items()}


def read_case_workbook(
    path: str | os.PathLike[str], problems: Problems, first: str = CASE, files: Collection[str] = CASE_FILES
) -> CaseWorkbook:
    """Read a workbook; a fault names sheet, row and column.

    Parameters
    ----------
    path
        The workbook.
    problems
        Where faults are noted; what is no such workbook stops here.
    first
        The file of sections and keys: case.toml or boat.toml.
    files
        Its tables.
    """
    name, made = Path(path).name, CaseWorkbook()
    known = {sheet_title(file): file for file in (first, *files)}
    try:
        sheets = read_sheets(read_data(Path(path)), name)
    except Unreadable as error:
        problems.add(name, None, "", error.found, error.write)
        sheets = []
    problems.stop_if_any()
    for sheet in sheets:
        title = heading(sheet.name)
        file = known.get(title.removesuffix(".csv").removesuffix(".toml"), "")
        if not file and title != ANSWER:
            _unknown(sheet, known, made, problems)
        elif file:
            problems.called[file] = f"{name}, sheet {sheet.name}"
            _take(sheet, file, first, made, problems)
    if first not in problems.called:
        problems.add(name, None, "", f"no sheet {sheet_title(first)}", "add one, headed section, key, value")
        problems.stop_if_any()
    return made


def _unknown(sheet: Sheet, known: Mapping[str, str], made: CaseWorkbook, problems: Problems) -> None:
    near = closest(sheet.name, known, cutoff=SURE)
    if near:
        write = f"did you mean {near}? (else give it a name less like it)"
        problems.add(sheet.file, None, "", f"a sheet {shown(sheet.name)} that nothing reads", write)
    else:
        made.notes[f"{sheet.file}, sheet {sheet.name}"] = "nothing reads this sheet"


def _take(sheet: Sheet, file: str, first: str, made: CaseWorkbook, problems: Problems) -> None:
    """Keep a sheet as that of a file."""
    if file == first:
        sheet, count = tidied(replace(sheet, file=file), {})
        made.toml, made.rows = _toml(sheet, first, problems)
        said = sum(any(c is not None for c in cells.values()) for cells in list(_raw(sheet).values())[1:])
        if count is not None and said < count:
            made.notes[file] = _lost(said, count)
        return
    sheet, count = tidied(replace(sheet, file=file), FILES[file].declared)
    if own_rows(sheet) or count is None:
        lost = (_lost(own_rows(sheet), count),) if count is not None and own_rows(sheet) < count else ()
        made.tables[file] = replace(sheet, notes=(*sheet.notes, *lost))
    elif count:
        made.notes[file] = _lost(0, count)


def _lost(own: int, count: int) -> str:
    return f"written with {count} rows, and {own or 'none'} are there: look whether the sheet was cut"


def sheet_csv(sheet: Sheet | None) -> bytes:
    """A sheet as CSV, each row where it stands; nothing for none."""
    if sheet is None:
        return b""
    width = max(map(len, sheet.rows.values()))
    rows = [[text_of(c) for c in sheet.rows.get(n, ())] for n in range(1, max(sheet.rows) + 1)]
    return csv_text([[*row, *[""] * (width - len(row))] for row in rows]).encode("utf-8")


def own_rows(sheet: Sheet) -> int:
    """Rows below the headings that are the owner's."""
    below = [cells for cells in list(sheet.rows.values())[1:] if cells]
    return sum(not text_of(cells[0]).casefold().startswith((EXAMPLE, DEFAULT)) for cells in below)


def tidied(sheet: Sheet, declared: Mapping[str, Column]) -> tuple[Sheet, int | None]:
    """The sheet with numbers and dates as a case folder has them, and the count of rows with which it was written.

    ``declared`` are its columns, by name without the ends of a range.
    """
    if not sheet.rows:
        return sheet, None
    head, *below = sheet.rows
    marks = [COUNT.fullmatch(text_of(c)) for c in sheet.rows[head]]
    count = next((int(m[1]) for m in marks if m), None)
    rows = {head: tuple(None if m else c for m, c in zip(marks, sheet.rows[head], strict=True))}
    readers = [_reader(heading(text_of(c)), k, sheet, below, declared) for k, c in enumerate(rows[head])]
    for number in below:
        cells = list(sheet.rows[number])
        left_out = text_of(cells[0]).casefold().startswith((EXAMPLE, DEFAULT))
        for k, read in enumerate(readers[: 0 if left_out else len(cells)]):
            cells[k] = read(cells[k]) if read and cells[k] is not None else cells[k]
        rows[number] = tuple(cells)
    while rows[head] and rows[head][-1] is None:
        rows[head] = rows[head][:-1]
    return replace(sheet, rows=rows), count


def _reader(
    name: str, place: int, sheet: Sheet, below: Sequence[int], declared: Mapping[str, Column]
) -> Callable[[Cell], Cell] | None:
    """How the cells of a column are read; None for words."""
    base = next((name.removesuffix(f"_{end}") for end in ENDS if name.endswith(f"_{end}")), name)
    column = declared.get(name) or declared.get(base)
    if column is None:
        return None
    if column.type == "date":
        return date_text
    if column.type not in NUMBERS or (name.endswith("_shape") and name not in declared):
        return None
    texts = [c for n in below if place < len(sheet.rows[n]) and isinstance(c := sheet.rows[n][place], str)]
    mark = agreed_mark(texts)
    return lambda cell: number_text(cell, mark)


# ---- sections and keys ---------------------------------------------------------------------------
def _toml(sheet: Sheet, file: str, problems: Problems) -> tuple[bytes, list[int]]:
    """The text of the sheet as TOML, and the row of each of its lines."""
    tables: dict[tuple[str, int], dict[str, tuple[str, int]]] = {}
    latest: dict[str, int] = {}
    listed = table_of(sheet, _KEYS, problems).rows
    raw = _raw(sheet)
    figures = [r.row for r in listed if _declared(file, r.text("section"), r.text("key")).type in NUMBERS]
    mark = agreed_mark(c for n in figures for c in raw[n].values() if isinstance(c, str))
    for row in listed:
        section, name = row.text("section"), row.text("key")
        if not any(row.text(c) for c in ("low", "value", "high")):
            continue
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
            value = _value(row, _declared(file, section, name), _Cells(raw[row.row], mark))
            tables.setdefault((section, nth), {})[name] = (value, row.row)
    lines, rows = [], []
    for line, number in _lines(tables):
        lines.append(line)
        rows.append(number)
    return "\n".join(lines).encode("utf-8", "replace"), rows


def _raw(sheet: Sheet) -> dict[int, dict[str, Cell]]:
    """The cells of values by row, as they are."""
    if not sheet.rows:
        return {}
    names = [heading(text_of(c)) for c in next(iter(sheet.rows.values()))]
    pairs = {n: zip(names, cells, strict=False) for n, cells in sheet.rows.items()}
    return {n: {name: c for name, c in some if name in ("low", "value", "high")} for n, some in pairs.items()}


@dataclass(frozen=True)
class _Cells:
    """The values of a row as they are, and the decimal mark of those that are text."""

    cells: Mapping[str, Cell]
    mark: str

    def number(self, row: Row, place: str) -> str:
        """A number as TOML has it, empty where it is blank or wrong."""
        if self.cells.get(place) is None:
            return ""
        read = number_text(self.cells[place], self.mark)
        if isinstance(read, BadCell):
            row.fault(place, read.found, read.write)
            return ""
        return plain(float(read))


def _declared(file: str, section: str, name: str) -> Column:
    known = sections(file)
    some = known.get(section) or known.get(f"{section.split('.', 1)[0]}.{ANY}") or {}
    return some.get(name) or some.get(ANY) or Column(name=name, type=_UNKNOWN)


def _many(section: str) -> bool:
    """True for a section that may stand several times."""
    return section in sections(CASE) and about(CASE, section)[1].startswith("[[")


def _lines(tables: Mapping[tuple[str, int], Mapping[str, tuple[str, int]]]) -> Iterator[tuple[str, int]]:
    for (section, _), entries in tables.items():
        dotted = ".".join(map(_name, section.split(".", 1)))
        yield f"[[{dotted}]]" if _many(section) else f"[{dotted}]", next(iter(entries.values()))[1]
        for name, (value, row) in entries.items():
            if value:
                yield f"{_name(name)} = {value}", row


def _name(word: str) -> str:
    return word if _BARE.fullmatch(word) else toml_value(word)


def _value(row: Row, column: Column, given: _Cells) -> str:
    """The value of a row as TOML has it, empty where it is a fault."""
    text = row.text("value")
    ends = [end for end in ("low", "high") if row.text(end)]
    if ends and column.type != "range":
        row.fault(ends[0], shown(row.text(ends[0])), "clear it: this key has one value")
    if column.type == "range":
        return _range(row, given)
    if column.type in NUMBERS or (column.type == _UNKNOWN and type(given.cells.get("value")) in (int, float)):
        return given.number(row, "value")
    if column.type == "date" and not isinstance(day := date_text(text), BadCell):
        return toml_value(day)
    if column.type == "yes" and isinstance(said := yes_no(text), bool):
        return toml_value(said)
    if column.type == "list":
        words = [w.strip() for w in text.split(";") if w.strip() and text != NO_WORDS]
        return f"[{', '.join(map(toml_value, words))}]"
    return toml_value(text)


def _range(row: Row, given: _Cells) -> str:
    places = dict(zip(ENDS, ("low", "value", "high"), strict=True))
    ends = {end: read for end, place in places.items() if (read := given.number(row, place))}
    if shape := row.text("shape"):
        inside = [f"{end} = {read}" for end, read in ends.items()] + [f"shape = {toml_value(shape)}"]
        return f"{{{', '.join(inside)}}}"
    if len(ends) == 1:
        return ends.get("likely") or f"{{{next(f'{end} = {read}' for end, read in ends.items())}}}"
    if len(ends) == 3:
        return f"[{', '.join(ends.values())}]"
    return f"{{{', '.join(f'{end} = {read}' for end, read in ends.items())}}}" if ends else ""
