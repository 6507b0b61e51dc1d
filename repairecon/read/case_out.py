"""A case or a boat written as one workbook to fill in; what a command keeps put back into its sheets."""

from __future__ import annotations

import datetime
import itertools
import os
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from repairecon.kinds import kinds
from repairecon.read import boat, columns, workbook
from repairecon.read.case_folder import file_of, open_case, read_case
from repairecon.read.columns import ANY, BOAT, CASE, CASE_FILES, ENDS, FILES, NUMBERS, Column
from repairecon.read.files import FONT, Value, add_sheet, decoded, new_workbook, put_cell, read_data, saved, write_all
from repairecon.read.problems import Names, Problems, clean, key, shown
from repairecon.read.reading import Defaults, as_text
from repairecon.read.sheets import DEFAULT, column_letters, csv_rows, heading
from repairecon.read.starter import default_line
from repairecon.read.tables import Row, Table, read_table
from repairecon.read.toml_file import TomlFile, read_toml, with_keys
from repairecon.read.values import A_DATE, ZERO_DAY, Cell, Misread, date, figure, number, plain, text_of, yes_no
from repairecon.read.workbook import is_workbook, read_case_workbook
from repairecon.records import SHAPES, STAGES, Case, RepaireconError

_LISTS = "lists"
_ROOM = 500  # rows that take lists and limits
_LONGEST_LIST = 250
"""Characters that a list of choices may have in a rule of a cell (255 with its quote marks: ECMA-376, from memory)."""
_GREY = "FF808080"
_AS_IN = re.compile(r"\bas in (\w+)\.csv")
_DAYS = ("1950-01-01", "2200-01-01")
_day = datetime.date.fromisoformat
_KEY_NOTES = {
    "section": "As in square brackets in the file; one who works has a section of his own, as in labour.yard.",
    "low": "Of an uncertain number: nine in ten are above. Blank for a sure one.",
    "value": "What holds; of an uncertain number the likely one. Blank: not said. Several words: with ; between.",
    "high": "Of an uncertain number: nine in ten are below. Blank for a sure one.",
    "blank means": "What is taken where the value is blank.",
}
_NAMED, _FOUR = ("section", "key"), ("low", "value", "high", "shape")
Rows = Sequence[Sequence[Value]]
Cells = dict[str, Value]


def write_case_workbook(folder: Path, path: Path, answer: Callable[[], Rows] = tuple) -> None:
    """Write a case, or a boat's own files, as one new workbook, with its ``answer``; RepaireconError if it cannot."""
    if path.suffix.casefold() != ".xlsx" or os.path.lexists(path):
        why = "is there already" if os.path.lexists(path) else "is no workbook"
        raise RepaireconError(f"{shown(path.name)} {why}: write a new name that ends in .xlsx; nothing was written")
    if is_workbook(folder):
        raise RepaireconError(f"{shown(folder.name)} is a workbook already: copy it; nothing was written")
    of_boat = (folder / BOAT).is_file()
    first, files = (BOAT, boat.TABLES) if of_boat else (CASE, CASE_FILES)
    assumed: Mapping[str, Sequence[Row]] = {}
    if of_boat:
        boat.read_boat(folder)
        found: dict[str, Path | None] = {f: folder / f for f in (first, *files)}
    else:
        _, reading = open_case(folder)
        reading.problems.stop_if_any()
        assumed = reading.merged
        found = {f: file_of(folder, f) for f in (first, *files)}
    toml = read_toml(found[first] or b"", Problems(), first)
    tables = {f: read_table(found.get(f), f, FILES[f], Problems()) for f in files}
    papers = None if of_boat or boat.boat_folder(path) else boat.papers_of(folder, Problems())
    if papers:  # away from its boat the case takes along what it has from her
        boat.lay_toml(papers, toml)
        boat.lay_tables(papers, tables)
    writer = _Writer()
    if rows := answer():
        writer.answer(rows)
    writer.keys(toml)
    for file, table in tables.items():
        writer.table(table, [row for row in assumed.get(file, []) if row.assumed])
    write_all(path.parent, {path.name: writer.data()})


class _Writer:
    def __init__(self) -> None:
        self.book = new_workbook()
        self.lists: dict[tuple[str, ...], str] = {}

    def data(self) -> bytes:
        if self.lists:
            add_sheet(self.book, _LISTS, [*itertools.zip_longest(*self.lists)], heads=0).sheet_state = "hidden"
        return saved(self.book)

    def _sheet(self, title: str, rows: Rows, notes: Sequence[str], frozen: str) -> Any:
        from openpyxl.comments import Comment

        sheet = add_sheet(self.book, title, rows, frozen, heads=len(notes))
        for c, note in enumerate(notes, start=1):
            sheet.cell(1, c).comment = Comment(note, "", height=90, width=260) if note else None
        sheet.page_setup.orientation, sheet.page_setup.fitToHeight = "landscape", 0
        sheet.sheet_properties.pageSetUpPr.fitToPage = True  # on paper no column is lost
        return sheet

    def answer(self, rows: Rows) -> None:
        from openpyxl.styles import Font

        sheet = self._sheet(workbook.ANSWER, rows, (), "A4")
        sheet.column_dimensions["A"].width = 12  # lines run on over the blank cells beside them
        for (cell,) in sheet.iter_rows(min_row=4, max_col=1):
            cell.font = Font(name="Courier New")

    def table(self, table: Table, assumed: Sequence[Row]) -> None:
        given = {c for row in table.rows for c, text in row.cells.items() if text}
        declared = {c: _declared(table.file, c) for c in FILES[table.file].columns}
        declared = {c: (column, end) for c, (column, end) in declared.items() if end != "shape" or c in given}
        own = [[row.cells.get(c, "") for c in declared] for row in table.rows]
        grey = [default_line(row, list(declared)) for row in assumed]
        typed = [[_typed(x, *of) for x, of in zip(row, declared.values(), strict=True)] for row in (*own, *grey)]
        rows: Rows = [[*declared], *typed]
        sheet = self._sheet(Path(table.file).stem, rows, [_note(*of) for of in declared.values()], "B2")
        _in_grey(sheet, range(len(own) + 2, len(rows) + 1), range(1, len(declared) + 1))
        for place, (column, end) in enumerate(declared.values(), start=1):
            letter = column_letters(place - 1)
            if not end and column.type not in (*NUMBERS, "date"):
                sheet.column_dimensions[letter].number_format = "@"  # a size that is typed is no date
                for r in range(2, len(rows) + 1):
                    sheet.cell(r, place).number_format = "@"
            self._rule(sheet, column, end, f"{letter}2:{letter}{max(_ROOM, len(rows) + 1)}")

    def keys(self, toml: TomlFile) -> None:
        """The sheet of sections and keys; what is blank stands with what a blank means, in grey."""
        listed = list(_key_rows(toml))
        shaped = any(cells["shape"] for _, cells in listed)
        names = [name for name in workbook.KEY_COLUMNS if shaped or name != "shape"]
        rows: Rows = [names, *([cells[name] for name in names] for _, cells in listed)]
        sheet = self._sheet(Path(toml.file).stem, rows, [_KEY_NOTES.get(n, "") for n in names], "C2")
        _in_grey(sheet, range(2, len(rows) + 1), range(names.index("unit") + 1, len(names) + 1))
        letters = {name: column_letters(place) for place, name in enumerate(names)}
        for r, (column, cells) in enumerate(listed, start=2):
            self._rule(sheet, column, "", f"{letters['value']}{r}")
            if column.type == "range":
                self._rule(sheet, column, "low", f"{letters['low']}{r} {letters['high']}{r}")
            if cells["value"] is None:
                _in_grey(sheet, [r], (1, 2))

    def _rule(self, sheet: Any, column: Column, end: str, area: str) -> None:
        """Let cells take what may stand there: limits, or a list of choices."""
        from openpyxl.worksheet.cell_range import MultiCellRange
        from openpyxl.worksheet.datavalidation import DataValidation

        options = SHAPES if end == "shape" else ("yes", "no") if column.type == "yes" else column.options
        as_in, rule = _AS_IN.search(column.meaning), dict[str, Any]()
        if column.type == "date":
            low, high = (str((_day(text) - ZERO_DAY).days) for text in column.options or _DAYS)
            rule = {"type": "date", "formula1": low, "formula2": high, "error": column.write or A_DATE}
        elif column.type in NUMBERS and end != "shape":
            low, high = plain(column.limits.low), plain(column.limits.high)
            rule = {"type": "whole" if column.limits.whole else "decimal", "formula1": low, "formula2": high}
            rule |= {"error": column.write or f"write a number from {low} to {high}"}
        elif as_in and column.type == "text":
            rule = {"formula1": f"{as_in[1]}!$A$2:$A${_ROOM}"}
        elif column.name == "kind" and column.default == "from the name":
            rule = {"formula1": self._list(tuple(kinds()))}
        elif options:
            rule = {"formula1": self._list(tuple(options)), "showErrorMessage": column.type != "list"}
            rule |= {"error": f"choose one of: {', '.join(options)}"[:_LONGEST_LIST]}
        if rule:
            between = {"operator": "between", "showErrorMessage": True} if "formula2" in rule else {"type": "list"}
            made = DataValidation(**{"allow_blank": True, **between, **rule})
            made.sqref = MultiCellRange(area)
            sheet.add_data_validation(made)

    def _list(self, options: tuple[str, ...]) -> str:
        words = ",".join(options)
        if len(words) <= _LONGEST_LIST and len(words.split(",")) == len(options):
            return f'"{words}"'
        letter = self.lists.setdefault(options, column_letters(len(self.lists)))
        return f"{_LISTS}!${letter}$1:${letter}${len(options)}"


def _in_grey(sheet: Any, rows: Iterable[int], places: Sequence[int]) -> None:
    from openpyxl.styles import Font

    for r in rows:
        for c in places:
            sheet.cell(r, c).font = Font(**FONT, color=_GREY)


# ---- what a cell and a note say ------------------------------------------------------------------
def _declared(file: str, name: str) -> tuple[Column, str]:
    column, end = columns.column_of(name, FILES[file].declared)
    return column or Column(name=name), end


def _note(column: Column, end: str) -> str:
    said = [column.meaning or column.name.replace("_", " "), f"Unit: {column.unit}" if column.unit else ""]
    said += [f"The {end} one of three; a sure number has the likely one alone." if end in ENDS else ""]
    blank = _blank(column)
    said += ["Must be filled in." if column.need == "yes" else f"Blank: {blank}." if blank else "May be blank."]
    return "\n".join(filter(None, said))


def _blank(column: Column) -> str:
    name = column.default.removeprefix("@")
    return as_text(Defaults().peek(name)) if name != column.default else column.default


def _typed(text: str, column: Column, end: str = "") -> Value:
    if not text or end == "shape":
        return text or None
    others: dict[str, Callable[[str], Any]] = {"date": date, "yes": yes_no}
    read = number(text, column.limits) if column.type in NUMBERS else others.get(column.type, str)(text)
    if isinstance(read, Misread):
        return text
    return figure(read) if isinstance(read, float) else _day(read) if column.type == "date" else read


def _key_rows(toml: TomlFile) -> Iterator[tuple[Column, Cells]]:
    """A row for each key, said or not; a free name and a section of its own as often as there are."""
    for section, declared in columns.sections(toml.file).items():
        keys = {name: column for name, column in declared.items()
                if column.type != "section" and (column.meaning or column.examples or name == ANY)}  # fmt: skip
        for (title, values), (name, column) in itertools.product(_said(toml, section), keys.items()):
            about = {"unit": column.unit or None, "blank means": _blank(column) or None,
                     "meaning": column.meaning or columns.about(CASE, section)[0]}  # fmt: skip
            free = [n for n in values if n not in declared] or [""]
            for called in free if name == ANY else [name]:
                four = dict(zip(_FOUR, _four(values.get(called), column), strict=True))
                yield column, {"section": title, "key": called or None, **four, **about}


def _said(toml: TomlFile, section: str) -> list[tuple[str, dict[str, Any]]]:
    """What a file says under a section: once, or as often as it has the section."""
    head, _, rest = section.partition(".")
    given = toml.data.get(head, {})
    if rest == ANY:
        _, example = columns.about(CASE, section)
        return [(f"{head}.{name}", values) for name, values in given.items()] or [(example.strip("[]"), {})]
    if isinstance(given, list):
        return [(section, values) for values in given]
    return [(section, given.get(rest, {}) if rest else given)]


def _four(value: Any, column: Column) -> tuple[Value, ...]:
    if isinstance(value, dict):
        return tuple(value.get(name) for name in (*ENDS, "shape"))
    if isinstance(value, list) and column.type == "range":
        return (*value, None)
    if isinstance(value, list):
        return None, "; ".join(value) or workbook.NO_WORDS, None, None
    return None, _typed(value, column) if isinstance(value, str) and column.type == "date" else value, None, None


# ---- what a command keeps ------------------------------------------------------------------------
def file_bytes(folder: Path, file: str) -> bytes:
    """A file of a case as it is, of a workbook with every row where it stands; nothing where there is none."""
    if is_workbook(folder):
        return read_case_workbook(folder, Problems()).files().get(file, b"")
    path = file_of(folder, file)
    return read_data(path) if path else b""


def folder_of(path: Path, write: bool = False) -> Path:
    """The folder beside a workbook that has its name; with ``write`` it is made out of the sheets."""
    folder = path.with_suffix("")
    if write:
        read_case(path)  # with faults it is none to be written
        files = read_case_workbook(path, Problems()).files()
        there = {f for f, data in files.items() if (p := folder / f).is_file() and p.read_bytes() == data}
        write_all(folder, {f: data for f, data in files.items() if f not in there})
    return folder


def keep_files(place: Path, files: Mapping[str, bytes]) -> None:
    """Write files of a case, or their sheets if it is a workbook, in which all else stays as it is."""
    if not is_workbook(place):
        called = {file: path.name if (path := file_of(place, file)) else file for file in files}
        write_all(place, {called[file]: data for file, data in files.items()}, replace=True)
        return
    from openpyxl import load_workbook

    book: Any = load_workbook(place)
    sheets = {heading(s.title): s for s in book.worksheets}
    for file, data in files.items():
        title = Path(file).stem
        sheet = sheets.get(title) or sheets.get(file) or book.create_sheet(title)
        if file == CASE:
            _keep_keys(sheet, read_toml(data, Problems()))
        else:
            _keep_table(sheet, file, csv_rows(data.decode("utf-8"), file, FILES[file].known).rows)
    write_all(place.parent, {place.name: saved(book)}, replace=True)


def _keep_table(sheet: Any, file: str, rows: Mapping[int, Sequence[Cell]]) -> None:
    head = next(iter(rows))
    declared = [_declared(file, heading(text_of(name))) for name in rows[head]]
    for r in range(1, max(rows) + 1):
        texts = [text_of(c) for c in rows.get(r, ())]
        for c, (text, of) in enumerate(itertools.zip_longest(texts[: len(declared)], declared, fillvalue=""), start=1):
            put_cell(sheet, r, c, text if r <= head or text.startswith(DEFAULT) else _typed(text, *of))


def _keep_keys(sheet: Any, toml: TomlFile) -> None:
    """Put values into the rows of their keys, and rows below for those that have none."""
    places = {heading(str(c.value or "")): c.column for c in sheet[1]}
    rows = {tuple(str(sheet.cell(r, places[n]).value or "") for n in _NAMED): r for r in range(sheet.max_row, 1, -1)}
    # what is found no more is blank
    kept: dict[tuple[str, ...], Cells] = {at: {} for at in rows if at[0] in ("found", "measured") and at[1]}
    kept |= {
        tuple(str(c[name]) for name in _NAMED): c for _, c in _key_rows(toml) if c["key"] and c["section"] != "waiver"
    }
    for at, cells in kept.items():
        if at in rows or cells["value"] is not None:
            row = rows.get(at, sheet.max_row + 1)
            for name in places.keys() & (_FOUR if at in rows else (*_NAMED, *_FOUR)):
                put_cell(sheet, row, places[name], cells.get(name))


_WORD = re.compile(r"\w+")


def keep_findings(
    folder: str | os.PathLike[str], found: Mapping[str, str], stage: str = "", measured: Mapping[str, str] | None = None
) -> Case:
    """Keep in a case, a folder or a workbook, what was found, and give the case as it is then.

    ``found`` is the outcome by event (an empty one takes the finding back), ``stage`` the last that is done,
    ``measured`` a value with its unit by measure. RepaireconError, and nothing written, if there are faults.
    """
    place = Path(folder)
    case = read_case(place)
    names, said = Names([*(b.event for b in case.branches), *(b.outcome for b in case.branches)]), dict[str, str]()
    for event, outcome in found.items():
        if event != outcome:
            said[names.find(event) or event] = names.find(outcome) or outcome
            continue
        # as it is said on the screen, or some of its words: the only outcome that has them, with its event's
        words = set(key(outcome).split())
        alike = (b for b in case.branches if words <= set(_WORD.findall(key(f"{b.event} {b.outcome}"))))
        meant = dict.fromkeys((b.event, b.outcome) for b in alike)
        if len(meant) != 1:
            seen = [(b.event, b.outcome) for b in case.branches if b.seen_at in STAGES[:4]]
            known = dict.fromkeys(f"{e}={o}" for e, o in meant or seen)
            raise RepaireconError(f"found: {shown(outcome)}; write one of: {'; '.join(known)}")
        said |= dict([*meant])
    return _write(place, {"found": said, "measured": measured or {}, "done": {"stage": stage} if stage else {}})


def keep_changes(folder: str | os.PathLike[str], sections: Mapping[str, Mapping[str, str | float]]) -> Path:
    """Write keys of case.toml by section if the case is then sound; gives the path of the copy made before."""
    place = Path(folder)
    path = place if is_workbook(place) else file_of(place, CASE) or place / CASE
    copies = (path.with_name(f"{path.stem}_before{n or ''}{path.suffix}") for n in itertools.count())
    copy, before = next(c for c in copies if not os.path.lexists(c)), path.read_bytes()
    _write(place, sections)
    write_all(copy.parent, {copy.name: before})
    return copy


def _write(place: Path, sections: Mapping[str, Mapping[str, str | float]]) -> Case:
    text = clean(decoded(file_bytes(place, CASE)))
    for section, entries in sections.items():
        text = with_keys(text, section, entries)
    made, reading = open_case(place, instead={CASE: text.encode("utf-8")})
    reading.problems.stop_if_any()
    keep_files(place, {CASE: text.encode("utf-8")})
    return made
