"""A case or a boat written as one workbook to fill in."""

from __future__ import annotations

import datetime
import io
import os
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from repairecon.kinds import kinds
from repairecon.read import boat
from repairecon.read.case_folder import file_of, open_case
from repairecon.read.case_workbook import ANSWER, KEY_COLUMNS, NO_WORDS, is_workbook, sheet_title
from repairecon.read.columns import (
    ANY,
    BOAT,
    CASE,
    CASE_FILES,
    ENDS,
    FILES,
    NUMBERS,
    Column,
    about,
    column_of,
    sections,
)
from repairecon.read.defaults import Defaults, as_text
from repairecon.read.files import Value, put_cell, widths, write_all
from repairecon.read.problems import Problems, shown
from repairecon.read.starter import default_line
from repairecon.read.tables import Table, read_table
from repairecon.read.toml_file import TomlFile, read_toml
from repairecon.read.values import Misread, date, number, plain, yes_no
from repairecon.records import SHAPES, RepaireconError

_LISTS = "lists"
_ROOM = 500
"""Rows that take lists and limits."""
_LONGEST_LIST = 250
"""Characters that a list of choices may have in a rule of a cell (255 with its quote marks: ECMA-376, from memory)."""
_GREY = "FF808080"
_FONT: dict[str, Any] = {"name": "Calibri", "size": 11}
_AS_IN = re.compile(r"\bas in (\w+)\.csv")
_DAYS = (datetime.date(1950, 1, 1), datetime.date(2200, 1, 1))
Rows = Sequence[Sequence[Value]]


def write_case_workbook(folder: Path, path: Path, answer: Callable[[], Rows] = tuple) -> None:
    """Write a case, or a boat's own files, as one workbook.

    Parameters
    ----------
    folder
        Folder of the case or the boat.
    path
        The workbook; one that is there already is left alone, and a fault.
    answer
        Gives the rows of the sheet that holds the answer; none leaves it out.

    Raises
    ------
    RepaireconError
        If the case has faults, or the workbook cannot be written.
    """
    if path.suffix.casefold() != ".xlsx" or os.path.lexists(path):
        why = "is there already" if os.path.lexists(path) else "is no workbook"
        raise RepaireconError(f"{shown(path.name)} {why}: write a new name that ends in .xlsx; nothing was written")
    if is_workbook(folder):
        raise RepaireconError(f"{shown(folder.name)} is a workbook already: copy it; nothing was written")
    of_boat = (folder / BOAT).is_file()
    first, files = (BOAT, boat.TABLES) if of_boat else (CASE, CASE_FILES)
    assumed: Mapping[str, Any] = {}
    if of_boat:
        boat.read_boat(folder)
    else:
        _, reading = open_case(folder)
        reading.problems.stop_if_any()
        assumed = reading.merged
    found = {f: _found(folder, f) for f in (first, *files)}
    toml = read_toml(found[first] or b"", Problems(), first)
    tables = {f: read_table(found[f], f, FILES[f], Problems()) for f in files}
    papers = None if of_boat or boat.boat_folder(path) else boat.papers_of(folder, Problems())
    if papers:  # away from its boat the case takes along what it has from her
        boat.lay_toml(papers, toml)
        boat.lay_tables(papers, tables)
    writer = _Writer()
    if rows := answer():
        writer.answer(rows)
    writer.keys(toml)
    for file, table in tables.items():
        grey = [row for row in assumed.get(file, []) if row.assumed]
        writer.table(file, table, grey)
    write_all(path.parent, {path.name: writer.data()})


def _found(folder: Path, file: str) -> Path | None:
    path = folder / file if (folder / file).is_file() else None
    return path or (file_of(folder, file) if file != BOAT and not (folder / BOAT).is_file() else None)


class _Writer:
    """A workbook as it is made, sheet by sheet."""

    def __init__(self) -> None:
        from openpyxl import Workbook

        made: Any = Workbook()
        self.book = made
        del self.book[self.book.active.title]
        self.lists: dict[tuple[str, ...], str] = {}

    def data(self) -> bytes:
        """The file; the long lists of choices go to a hidden sheet."""
        if self.lists:
            sheet = self.book.create_sheet(_LISTS)
            sheet.sheet_state = "hidden"
            for place, options in enumerate(self.lists, start=1):
                for row, option in enumerate(options, start=1):
                    put_cell(sheet, row, place, option)
        out = io.BytesIO()
        self.book.save(out)
        return out.getvalue()

    def _sheet(self, title: str, rows: Rows, notes: Sequence[str], frozen: str) -> Any:
        """A sheet with its headings, which hold notes, and a filter."""
        from openpyxl.comments import Comment
        from openpyxl.styles import Font
        from openpyxl.utils import get_column_letter

        sheet = self.book.create_sheet(title)
        for r, row in enumerate(rows, start=1):
            for c, value in enumerate(row, start=1):
                put_cell(sheet, r, c, value)
        for c, note in enumerate(notes, start=1):
            sheet.cell(1, c).font = Font(**_FONT, bold=True)
            if note:
                sheet.cell(1, c).comment = Comment(note, "", height=90, width=260)
        for c, width in enumerate(widths(rows), start=1):
            sheet.column_dimensions[get_column_letter(c)].width = width
        sheet.freeze_panes = frozen
        sheet.page_setup.orientation, sheet.page_setup.fitToHeight = "landscape", 0
        sheet.sheet_properties.pageSetUpPr.fitToPage = True  # on paper no column is lost
        if notes:
            sheet.auto_filter.ref = f"A1:{get_column_letter(len(notes))}{max(2, len(rows))}"
        return sheet

    def answer(self, rows: Rows) -> None:
        """The sheet of the answer, which nothing reads."""
        from openpyxl.styles import Font

        sheet = self._sheet(ANSWER, rows, (), "A4")
        sheet.column_dimensions["A"].width = 12  # lines run on over the blank cells beside them
        for (cell,) in sheet.iter_rows(min_row=4, max_col=1):
            cell.font = Font(name="Courier New")

    def table(self, file: str, table: Table, assumed: Sequence[Any]) -> None:
        """The sheet of a table: the owner's rows, then in grey what is assumed."""
        given = {c for row in table.rows for c, text in row.cells.items() if text}
        columns = [c for c in FILES[file].columns if _declared(file, c)[1] != "shape" or c in given]
        own: list[list[Value]] = [[typed(row.cells.get(c, ""), file, c) for c in columns] for row in table.rows]
        marked = [default_line(row, columns) for row in assumed]
        grey: list[list[Value]] = [[typed(x, file, c) for x, c in zip(r, columns, strict=True)] for r in marked]
        rows: list[list[Value]] = [[*columns, f"rows: {len(own)}"], *own, *grey]
        sheet = self._sheet(sheet_title(file), rows, [_note(*_declared(file, c)) for c in columns], "B2")
        _in_grey(sheet, range(len(own) + 2, len(rows) + 1), range(1, len(columns) + 1))
        for place, name in enumerate(columns, start=1):
            column, end = _declared(file, name)
            if not end and column.type not in (*NUMBERS, "date"):
                sheet.column_dimensions[_letter(place)].number_format = "@"  # a size that is typed is no date
                for r in range(2, len(rows) + 1):
                    sheet.cell(r, place).number_format = "@"
            self._rule(sheet, column, end, f"{_letter(place)}2:{_letter(place)}{max(_ROOM, len(rows) + 1)}")

    def keys(self, toml: TomlFile) -> None:
        """The sheet of sections and keys; what is blank stands with what a blank means, in grey."""
        listed = list(key_rows(toml))
        shaped = any(cells[5] for _, cells in listed)
        keep = [k for k, name in enumerate(KEY_COLUMNS) if shaped or name != "shape"]
        count = sum(cells[3] is not None for _, cells in listed)
        rows: list[list[Value]] = [[*(KEY_COLUMNS[k] for k in keep), f"rows: {count}"]]
        rows += [[cells[k] for k in keep] for _, cells in listed]
        names = [KEY_COLUMNS[k] for k in keep]
        sheet = self._sheet(sheet_title(toml.file), rows, [_KEY_NOTES.get(n, "") for n in names], "C2")
        at = {name: place for place, name in enumerate(names, start=1)}
        _in_grey(sheet, range(2, len(rows) + 1), range(at["unit"], at["meaning"] + 1))
        for r, (column, cells) in enumerate(listed, start=2):
            self._rule(sheet, column, "", f"{_letter(at['value'])}{r}")
            if column.type == "range":
                self._rule(sheet, column, "low", f"{_letter(at['low'])}{r} {_letter(at['high'])}{r}")
            if cells[3] is None:
                _in_grey(sheet, [r], (1, 2))

    def _rule(self, sheet: Any, column: Column, end: str, area: str) -> None:
        """Lists to choose from and limits of cells."""
        from openpyxl.worksheet.datavalidation import DataValidation

        rule = _limits(column, end) if end != "shape" else None
        options = SHAPES if end == "shape" else ("yes", "no") if column.type == "yes" else column.options
        as_in = _AS_IN.search(column.meaning)
        if rule is not None:
            made = DataValidation(operator="between", showErrorMessage=True, **rule)
            made.error = column.write or f"write a number from {rule['formula1']} to {rule['formula2']}"
        elif as_in and column.type == "text":
            made = DataValidation(type="list", formula1=f"{as_in[1]}!$A$2:$A${_ROOM}", showErrorMessage=False)
        elif column.name == "kind" and column.default == "from the name":
            made = DataValidation(type="list", formula1=self._list(tuple(kinds())), showErrorMessage=False)
        elif options and column.type != "date":
            made = DataValidation(type="list", formula1=self._list(tuple(options)))
            made.showErrorMessage = column.type != "list"  # several words may stand there
            made.error = f"choose one of: {', '.join(options)}"[:_LONGEST_LIST]
        else:
            return
        made.allow_blank, made.sqref = True, _area(area)
        sheet.add_data_validation(made)

    def _list(self, options: tuple[str, ...]) -> str:
        """Choices as a rule has them; long ones, or with a comma, in the sheet of lists."""
        words = ",".join(options)
        if len(words) <= _LONGEST_LIST and len(words.split(",")) == len(options):
            return f'"{words}"'
        self.lists.setdefault(options, _letter(len(self.lists) + 1))
        letter = self.lists[options]
        return f"{_LISTS}!${letter}$1:${letter}${len(options)}"


def _limits(column: Column, end: str) -> dict[str, Any] | None:
    if column.type == "date":
        first, last = column.options or (d.isoformat() for d in _DAYS)
        days = [(datetime.date.fromisoformat(d) - datetime.date(1899, 12, 30)).days for d in (first, last)]
        return {"type": "date", "formula1": str(days[0]), "formula2": str(days[1])}
    if column.type not in NUMBERS and not end:
        return None
    sort = "whole" if column.limits.whole else "decimal"
    return {"type": sort, "formula1": plain(column.limits.low), "formula2": plain(column.limits.high)}


def _area(words: str) -> Any:
    from openpyxl.worksheet.cell_range import MultiCellRange

    return MultiCellRange(words)


def _letter(place: int) -> str:
    from openpyxl.utils import get_column_letter

    return str(get_column_letter(place))


def _in_grey(sheet: Any, rows: Sequence[int] | range, columns: Sequence[int] | range) -> None:
    from openpyxl.styles import Font

    for r in rows:
        for c in columns:
            sheet.cell(r, c).font = Font(**_FONT, color=_GREY)


# ---- what a cell and a note say ------------------------------------------------------------------
_KEY_NOTES = {
    "section": "As in square brackets in the file; one who works has a section of his own, as in labour.yard.",
    "low": "Of an uncertain number: nine in ten are above. Blank for a sure one.",
    "value": "What holds; of an uncertain number the likely one. Blank: not said. Several words: with ; between.",
    "high": "Of an uncertain number: nine in ten are below. Blank for a sure one.",
    "blank means": "What is taken where the value is blank.",
}


def _declared(file: str, name: str) -> tuple[Column, str]:
    """The column of a heading, and the end of a range that it is."""
    column, end = column_of(name, FILES[file].declared)
    assert column is not None
    return column, end


def _note(column: Column, end: str = "") -> str:
    """Meaning, unit and what a blank means."""
    said = [column.meaning or column.name.replace("_", " "), f"Unit: {column.unit}" if column.unit else ""]
    said += [f"The {end} one of three; a sure number has the likely one alone." if end in ENDS else ""]
    blank = _blank(column)
    said += ["Must be filled in." if column.need == "yes" else f"Blank: {blank}." if blank else "May be blank."]
    return "\n".join(filter(None, said))


def _blank(column: Column) -> str:
    """What a blank means, in words or as the default."""
    name = column.default.removeprefix("@")
    return as_text(Defaults().peek(name)) if name != column.default else column.default


def typed(text: str, file: str, name: str) -> Value:
    """A cell as a spreadsheet has it: numbers as numbers, days as days."""
    column, end = _declared(file, name)
    return _value(text, column) if end != "shape" else text


def _value(text: str, column: Column) -> Value:
    if not text:
        return None
    if column.type in NUMBERS:
        read = number(text, column.limits)
        return text if isinstance(read, Misread) else int(read) if read == int(read) and abs(read) < 1e15 else read
    if column.type == "date" and not isinstance(day := date(text), Misread):
        return datetime.date.fromisoformat(day)
    if column.type == "yes" and isinstance(said := yes_no(text), bool):
        return said
    return text


def key_rows(toml: TomlFile) -> Iterator[tuple[Column, list[Value]]]:
    """A row for each key, said or not; a free name and a section of its own as often as there are."""
    for section, declared in sections(toml.file).items():
        head, _, rest = section.partition(".")
        given = toml.data.get(head, {})
        if rest == ANY:
            _, example = about(CASE, section)
            named = [f"{head}.{n}" for n in given] or [example.strip("[]")]
            for name in named:
                yield from _section_rows(name, declared, given.get(name.partition(".")[2], {}))
        elif isinstance(given, list):
            for one in given:
                yield from _section_rows(section, declared, one)
        else:
            yield from _section_rows(section, declared, given.get(rest, {}) if rest else given)


def _section_rows(
    section: str, declared: Mapping[str, Column], given: Mapping[str, Any]
) -> Iterator[tuple[Column, list[Value]]]:
    for name, column in declared.items():
        if column.type == "section" or (column.meaning == "" and not column.examples and name != ANY):
            continue
        for said in [n for n in given if n not in declared] or [""] if name == ANY else [name]:
            meaning = column.meaning or about(CASE, section)[0]
            tail = [column.unit or None, _blank(column) or None, meaning]
            yield column, [section, said or None, *_four(given.get(said), column), *tail]


def _four(value: Any, column: Column) -> list[Value]:
    """Low, value, high and shape."""
    if isinstance(value, dict):
        return [value.get("low"), value.get("likely"), value.get("high"), value.get("shape")]
    if isinstance(value, list) and column.type == "range":
        return [*value, None]
    if isinstance(value, list):
        return [None, "; ".join(value) or NO_WORDS, None, None]
    day = isinstance(value, str) and column.type == "date" and not isinstance(date(value), Misread)
    return [None, datetime.date.fromisoformat(value) if day else value, None, None]
