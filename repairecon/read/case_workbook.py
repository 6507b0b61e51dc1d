"""A case or a boat in one workbook: a sheet a file, and case.toml as a sheet of sections, keys and values.

Cells are read as a spreadsheet leaves them: dates as dates, numbers as text or with a decimal comma.
"""

from __future__ import annotations

import os
import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from repairecon.read.columns import ANY, CASE, CASE_FILES, FILES, NUMBERS, Column, Headings, about, sections
from repairecon.read.files import Unreadable, csv_text, read_data
from repairecon.read.loose_cells import agreed_mark, date_text, number_text, tidied
from repairecon.read.problems import SURE, Problems, closest, shown
from repairecon.read.sheets import BOOKS, Cell, Sheet, heading, left_out, text_of
from repairecon.read.tables import Row, table_of
from repairecon.read.toml_file import toml_key, toml_lines
from repairecon.read.values import Limits, Misread, figure, listed, number, yes_no
from repairecon.read.workbook import read_sheets

ANSWER = "answer"
"""Sheet that is written and never read."""
COUNT = re.compile(r"rows: ([0-9]+)")
"""A cell in the line of headings: the rows that the sheet had when it was written."""
KEY_COLUMNS = ("section", "key", "low", "value", "high", "shape", "unit", "blank means", "meaning")
NO_WORDS = "none"
"""An empty list in a cell."""
_KEYS = Headings(KEY_COLUMNS, ("section", "key", "value"), frozenset(heading(c) for c in KEY_COLUMNS))
_PLACES = {"low": "low", "value": "likely", "high": "high"}
"""Columns of values, and the end of a range that each is."""
_UNKNOWN = "unknown"
_ANY_NUMBER = Limits(-1e300, 1e300)


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
    """Read a workbook; a fault names sheet, row and column, and what is no such workbook stops here.

    ``first`` is the file of sections and keys, case.toml or boat.toml; ``files`` are its tables.
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
        if file:
            problems.called[file] = f"{name}, sheet {sheet.name}"
            _take(replace(sheet, file=file), first, made, problems)
        elif near := closest(sheet.name, known, cutoff=SURE) if title != ANSWER else "":
            write = f"did you mean {near}? (else give it a name less like it)"
            problems.add(sheet.file, None, "", f"a sheet {shown(sheet.name)} that nothing reads", write)
        elif title != ANSWER:
            made.notes[f"{sheet.file}, sheet {sheet.name}"] = "nothing reads this sheet"
    if first not in problems.called:
        problems.add(name, None, "", f"no sheet {sheet_title(first)}", "add one, headed section, key, value")
        problems.stop_if_any()
    return made


def _take(sheet: Sheet, first: str, made: CaseWorkbook, problems: Problems) -> None:
    """Keep a sheet as that of a file, and say where rows of it are gone."""
    sheet, count = _counted(sheet)
    below = list(sheet.rows.values())[1:]
    if sheet.file == first:
        sheet = _tidied_keys(sheet)
        own = sum(any(c is not None for c in _values(sheet, cells).values()) for cells in below)
        made.toml, made.rows = _toml(sheet, problems)
    else:
        own = sum(not left_out(cells) for cells in below)
    lost = f"written with {count} rows, and {own or 'none'} are there: look whether the sheet was cut"
    lost = lost if count is not None and own < count else ""
    if sheet.file != first and (own or count is None):
        sheet, _ = tidied(sheet, FILES[sheet.file].declared)
        made.tables[sheet.file] = replace(sheet, notes=(*sheet.notes, lost) if lost else sheet.notes)
    elif lost:
        made.notes[sheet.file] = lost


def _counted(sheet: Sheet) -> tuple[Sheet, int | None]:
    """The sheet without the count of rows with which it was written, and that count."""
    head = next(iter(sheet.rows), 0)
    cells = sheet.rows.get(head, ())
    counts = [int(m[1]) for c in cells if (m := COUNT.fullmatch(text_of(c)))]
    kept = [None if COUNT.fullmatch(text_of(c)) else c for c in cells]
    while kept and kept[-1] is None:
        kept.pop()
    return (replace(sheet, rows={**sheet.rows, head: tuple(kept)}), counts[0]) if counts else (sheet, None)


def sheet_csv(sheet: Sheet | None) -> bytes:
    """A sheet as CSV, each row where it stands; nothing for none."""
    if sheet is None:
        return b""
    width = max(map(len, sheet.rows.values()))
    rows = [[text_of(c) for c in sheet.rows.get(n, ())] for n in range(1, max(sheet.rows) + 1)]
    return csv_text([[*row, *[""] * (width - len(row))] for row in rows]).encode("utf-8")


# ---- sections and keys ---------------------------------------------------------------------------
def _values(sheet: Sheet, cells: tuple[Cell, ...]) -> dict[str, Cell]:
    names = [heading(text_of(c)) for c in next(iter(sheet.rows.values()))]
    return {name: cell for name, cell in zip(names, cells, strict=False) if name in _PLACES}


def _tidied_keys(sheet: Sheet) -> Sheet:
    """The sheet with numbers and dates as a case folder has them, by the type of each key."""
    head, *below = sheet.rows or [0]
    names = [heading(text_of(c)) for c in sheet.rows.get(head, ())]
    types = {}
    for n in below:
        by_name = dict(zip(names, map(text_of, sheet.rows[n]), strict=False))
        types[n] = _declared(sheet.file, by_name.get("section", ""), by_name.get("key", "")).type
    figures = [_values(sheet, sheet.rows[n]).values() for n in below if types[n] in NUMBERS]
    mark = agreed_mark(c for cells in figures for c in cells if isinstance(c, str))

    def read(cell: Cell, type_: str, place: int) -> Cell:
        if cell is None or place >= len(names) or names[place] not in _PLACES:
            return cell
        return number_text(cell, mark) if type_ in NUMBERS else date_text(cell) if type_ == "date" else cell

    rows = {n: tuple(read(c, types[n], k) for k, c in enumerate(sheet.rows[n])) for n in below}
    return replace(sheet, rows={**sheet.rows, **rows})


def _toml(sheet: Sheet, problems: Problems) -> tuple[bytes, list[int]]:
    tables: dict[tuple[str, int], dict[str, tuple[object, int]]] = {}
    latest: dict[str, int] = {}
    for row in table_of(sheet, _KEYS, problems).rows:
        section, name = row.text("section"), row.text("key")
        if not any(row.text(c) for c in _PLACES):
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
            value = _value(row, _declared(sheet.file, section, name))
            tables.setdefault((section, nth), {})[name] = (value, row.row)
    made = list(_lines(tables))
    return "\n".join(line for line, _ in made).encode("utf-8", "replace"), [row for _, row in made]


def _declared(file: str, section: str, name: str) -> Column:
    known = sections(file)
    some = known.get(section) or known.get(f"{section.split('.', 1)[0]}.{ANY}") or {}
    return some.get(name) or some.get(ANY) or Column(name=name, type=_UNKNOWN)


def _many(section: str) -> bool:
    return section in sections(CASE) and about(CASE, section)[1].startswith("[[")


def _lines(tables: Mapping[tuple[str, int], Mapping[str, tuple[object, int]]]) -> Iterator[tuple[str, int]]:
    for (section, _), entries in tables.items():
        dotted = ".".join(map(toml_key, section.split(".", 1)))
        said = {name: value for name, (value, _) in entries.items() if value is not None}
        first = next(iter(entries.values()))[1]
        rows = [first, *(entries[name][1] for name in said), first]
        yield from zip(toml_lines(f"[[{dotted}]]" if _many(section) else f"[{dotted}]", said), rows, strict=True)


def _value(row: Row, column: Column) -> object:
    """The value of a row as TOML has it, None where it is a fault."""
    text = row.text("value")
    ends = {end: _figure(row.text(place)) for place, end in _PLACES.items() if row.text(place)}
    if column.type == "range":
        shape = {"shape": row.text("shape")} if row.text("shape") else {}
        if shape or len(ends) == 2 or "likely" not in ends:
            return {**ends, **shape}
        return ends["likely"] if len(ends) == 1 else list(ends.values())
    for place in ("low", "high"):
        if place in ends:
            row.fault(place, shown(row.text(place)), "clear it: this key has one value")
            break
    if not text:
        return None
    if column.type in (*NUMBERS, _UNKNOWN):
        return _figure(text)
    if column.type == "yes" and isinstance(said := yes_no(text), bool):
        return said
    if column.type == "list":
        return [] if text == NO_WORDS else listed(text)
    return text


def _figure(text: str) -> object:
    read = number(text, _ANY_NUMBER)
    return text if isinstance(read, Misread) else figure(read)
