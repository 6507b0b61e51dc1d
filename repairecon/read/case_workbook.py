"""A case or a boat in one workbook, read as a spreadsheet leaves it: a sheet a file, sections and keys as rows."""

from __future__ import annotations

import os
import re
from collections.abc import Collection
from dataclasses import dataclass, field, replace
from pathlib import Path

from repairecon.read import values
from repairecon.read.columns import ANY, CASE, CASE_FILES, FILES, NUMBERS, Column, Headings, about, sections
from repairecon.read.files import Unreadable, csv_text, read_data
from repairecon.read.problems import SURE, Problems, closest, shown
from repairecon.read.sheets import BOOKS, Sheet, heading, left_out, take, tidied
from repairecon.read.tables import Row, table_of
from repairecon.read.toml_file import toml_key, toml_lines
from repairecon.read.values import Misread, date_text, figure, listed, number, number_text, text_of
from repairecon.read.workbook import read_sheets

ANSWER = "answer"  # sheet that is written and never read
COUNT = re.compile(r"rows: ([0-9]+)")  # a cell in the line of headings: the rows that the sheet had when it was written
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
        """The files, tables as CSV with each row where it stands."""
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
        problems.add(name, None, "", f"no sheet {Path(first).stem}", "add one, headed section, key, value")
        problems.stop_if_any()
    return made


def _take(sheet: Sheet, first: str, made: CaseWorkbook, problems: Problems) -> None:
    """Keep a sheet as that of a file, and say where rows of it are gone."""
    head, count, rows = next(iter(sheet.rows), 0), None, dict(sheet.rows)
    heads = rows.get(head, ())
    if counts := [m for c in heads if (m := COUNT.fullmatch(text_of(c)))]:
        count = int(counts[0][1])
        take(rows, head, [None if COUNT.fullmatch(text_of(c)) else c for c in heads])
        sheet = replace(sheet, rows=rows)
    if sheet.file == first:
        own, made.toml, made.rows = _toml(_tidied_keys(sheet), problems)
    else:
        own = sum(not left_out(cells) for cells in [*rows.values()][1:])
    lost = f"written with {count} rows, and {own or 'none'} are there: look whether the sheet was cut"
    lost = lost if count is not None and own < count else ""
    if sheet.file != first and (own or count is None):
        sheet, _ = tidied(sheet, FILES[sheet.file].declared)
        made.tables[sheet.file] = replace(sheet, notes=(*sheet.notes, lost) if lost else sheet.notes)
    elif lost:
        made.notes[sheet.file] = lost


# ---- sections and keys ---------------------------------------------------------------------------
def _tidied_keys(sheet: Sheet) -> Sheet:
    """The sheet with numbers and dates as a case folder has them, by the type of each key."""
    head, *below = sheet.rows or [0]
    names = [heading(text_of(c)) for c in sheet.rows.get(head, ())]
    types = {}
    for n in below:
        by_name = dict(zip(names, map(text_of, sheet.rows[n]), strict=False))
        types[n] = _declared(sheet.file, by_name.get("section", ""), by_name.get("key", "")).type
    rows = {n: list(sheet.rows[n]) for n in below}
    at = [(n, k) for n, row in rows.items() for k, (name, cell) in enumerate(zip(names, row, strict=False))
          if name in _PLACES and cell is not None]  # fmt: skip
    figures = (rows[n][k] for n, k in at if types[n] in NUMBERS)
    mark = values.agreed_mark(c for c in figures if isinstance(c, str))
    for n, k in at:
        if types[n] in NUMBERS:
            rows[n][k] = number_text(rows[n][k], mark)
        elif types[n] == "date":
            rows[n][k] = date_text(rows[n][k])
    return replace(sheet, rows={**sheet.rows, **{n: tuple(row) for n, row in rows.items()}})


def _toml(sheet: Sheet, problems: Problems) -> tuple[int, bytes, list[int]]:
    """How many values there are, the sections and keys as TOML, and the row that each line of it stands for."""
    tables: dict[tuple[str, int], dict[str, tuple[object, int]]] = {}
    latest: dict[str, int] = {}
    filled = [row for row in table_of(sheet, _KEYS, problems).rows if any(row.has(c) for c in _PLACES)]
    for row in filled:
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
    return len(filled), "\n".join(lines).encode("utf-8", "replace"), rows


def _declared(file: str, section: str, name: str) -> Column:
    known = sections(file)
    some = known.get(section) or known.get(f"{section.split('.', 1)[0]}.{ANY}") or {}
    return some.get(name) or some.get(ANY) or Column(name=name, type=_UNKNOWN)


def _many(section: str) -> bool:
    return section in sections(CASE) and about(CASE, section)[1].startswith("[[")


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
    if column.type == "yes" and isinstance(said := values.yes_no(text), bool):
        return said
    if column.type == "list":
        return [] if text == NO_WORDS else listed(text)
    return text


def _figure(text: str) -> object:
    read = number(text, _ANY_NUMBER)
    return text if isinstance(read, Misread) else figure(read)
