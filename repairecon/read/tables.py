"""Rows of CSV files with their cells read as declared, whatever the spreadsheet made of them; every fault noted."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import Any, TypeAlias, TypeVar, cast

from repairecon.read import values
from repairecon.read.columns import ENDS, Column, Headings
from repairecon.read.files import Unreadable, as_meant, decoded, read_data
from repairecon.read.problems import SURE, Names, Problems, clean, closest, shown, shown_value, undecoded
from repairecon.read.sheets import Sheet, csv_rows, headed, heading, left_out, tidied
from repairecon.read.values import Cell, Limits, Misread, text_of
from repairecon.records import SHAPES, Range, Shape, Source

T = TypeVar("T")
Ends: TypeAlias = tuple[Mapping[str, Any], str, Mapping[str, str], Source]
"""Low, likely and high as written, the shape, for faults the place of each, and where they stand."""
NOTHING = Range(0.0, 0.0, 0.0, source=Source("blank"))  # a figure that is left blank where blank means none


@dataclass(kw_only=True)
class Entry(ABC):
    """Values by name, each read as it is declared; what is wrong is noted as a fault and reads as blank."""

    file: str
    cells: dict[str, Any]
    problems: Problems
    declared: Mapping[str, Column] = field(default_factory=dict)
    bad: set[str] = field(default_factory=set)

    @abstractmethod
    def place(self, name: str) -> tuple[int | None, str]:
        """Row or line, and the name as faults show it."""

    @abstractmethod
    def _ends(self, name: str) -> Ends | None:
        """What an uncertain number is made of, None where nothing of it is written or it is wrong."""

    @abstractmethod
    def lacks(self, name: str) -> bool:
        """True if it is blank where something may be written."""

    def _number(self, value: Any, limits: Limits) -> float | Misread:
        return values.number(value, limits)

    def _yes(self, value: Any) -> bool | Misread:
        return values.yes_no(value)

    def written(self, name: str) -> Any:
        """What stands there, right or wrong; None when blank."""
        return self.cells.get(name)

    def has(self, name: str) -> bool:
        """True if something, right or wrong, is written there."""
        return self.written(name) is not None

    def value(self, name: str) -> Any:
        """What stands there, None when blank or wrong."""
        return None if name in self.bad else self.written(name)

    def text(self, name: str) -> str:
        return self.value(name) or ""

    def column(self, name: str) -> Column:
        """How it is declared; one that is not is read as its reader says."""
        return self.declared.get(name) or Column(name=name)

    def shown(self, name: str) -> str:
        return shown_value(self.written(name))

    def fault(self, name: str, found: str, write: str) -> None:
        self.bad.add(name)
        row, column = self.place(name)
        self.problems.add(self.file, row, column, found, write)

    def check(self, *rules: tuple[object, str, str, str]) -> None:
        """Note the first rule that is broken of each name: whether it is, the name, what was found, what to write."""
        for broken, name, found, write in rules:
            if broken and name not in self.bad:
                self.fault(name, found, write)

    def required(self, name: str, write: str = "") -> str:
        """Words that must be there; ``write`` is what to write where the column does not say it."""
        if self.lacks(name):
            self.fault(name, "nothing", write or self.column(name).write)
        return self.text(name)

    def either(self, name: str, other: str, write: str) -> None:
        if not self.has(name) and not self.has(other):
            self.fault(name, f"neither {name} nor {other}", write)

    def named(
        self, name: str, known: Names, what: str = "", *, whole: bool | None = None, word: str | None = None,
        otherwise: str = "",
    ) -> str:  # fmt: skip
        """A name (that there, or ``word``) as ``known`` spells it; as written where that is unknown, a fault."""
        word = self.text(name) if word is None else word
        found = known.find(word)
        if word and not found and (known.whole if whole is None else whole):
            self.fault(name, f"{what}{shown(word)}", known.advice(self.problems, word, otherwise))
        return found or word

    def record(self, kind: type[T], reader: Callable[[str], Any] | None = None, /, **given: Any) -> T:
        """A record: its fields as the columns of that name are declared, but for those that are given."""
        names = {f.name for f in fields(cast(Any, kind))} - given.keys()
        return kind(**{name: (reader or self.read)(name) for name in self.declared if name in names}, **given)

    def check_needed(self) -> None:
        for name, column in self.declared.items():
            if column.need == "yes" and self.lacks(name):
                self.fault(name, "nothing", column.write)

    def _made(self, name: str, value: Any, reader: Callable[[Any], T | Misread]) -> T | None:
        """What a reader makes of a value, None when it is blank or wrong."""
        read = None if value is None else reader(value)
        if not isinstance(read, Misread):
            return read
        self.fault(name, shown_value(value), read.write)
        return None

    def number(self, name: str, limits: Limits | None = None) -> float | None:
        """A number; its default, if it has one of its own, when blank or wrong."""
        column = self.column(name)
        value = self.value(name)
        read = self._made(name, value, lambda value: self._number(value, limits or column.limits))
        return float(column.default) if read is None and column.default.isdigit() else read

    def whole(self, name: str) -> int | None:
        number = self.number(name)
        return None if number is None else int(number)

    def amount(self, name: str) -> Range:
        return self.range(name) or NOTHING

    def yes_if_written(self, name: str) -> bool | None:
        """Yes or no, None when blank or wrong."""
        return self._made(name, self.value(name), self._yes)

    def yes(self, name: str, default: bool | None = None) -> bool:
        """Yes or no; its default when blank or wrong."""
        read = self.yes_if_written(name)
        if read is None:
            return self.column(name).default == "yes" if default is None else default
        return read

    def choice(self, name: str, options: Sequence[str] = (), default: str | None = None) -> str:
        """One of the options, whatever its case; the default, if that is one of them, when blank or wrong."""
        options = options or self.column(name).options
        word = " ".join(self.text(name).casefold().split())
        if word in options:
            return word
        if word:
            self.fault(name, self.shown(name), self.problems.advice(word, options))
        default = self.column(name).default if default is None else default
        return default if default in options else ""

    def date(self, name: str) -> str:
        between = self.column(name).options
        return self._made(name, self.value(name), lambda value: values.date(value, between)) or ""

    def read(self, name: str) -> Any:
        column = self.column(name)
        if column.type == "range":
            return self.amount(name) if column.default == "0" else self.range(name)
        if column.type == "yes":
            return self.yes(name) if column.default else self.yes_if_written(name)
        readers: dict[str, Any] = {"number": self.number, "fraction": self.number, "whole": self.whole}
        readers |= {"choice": self.choice, "date": self.date}
        return readers.get(column.type, self.text)(name)

    def range(self, name: str) -> Range | None:
        found = self._ends(name)
        if found is None:
            return None
        (given, form, at, source), limits = found, self.column(name).limits
        low, likely, high = (self._made(at[e], given.get(e), lambda v: self._number(v, limits)) for e in ENDS)
        shape = form.casefold() or "pert"
        if shape not in SHAPES:
            self.fault(at["shape"], shown(form), f"write one of: {', '.join(SHAPES)}")
            shape = "pert"
        if any(at[end] in self.bad for end in ENDS):
            return None
        read = values.in_order(low, likely, high, cast(Shape, shape), source)
        if isinstance(read, Misread):
            lacking = read.found == "nothing" and at["low"] == at["high"]
            self.fault(at[read.which], f"no {read.which}" if lacking else read.found, read.write)
            return None
        return read


@dataclass(kw_only=True)
class Row(Entry):
    """One row: cells by heading, read with faults noted."""

    row: int

    @property
    def source(self) -> Source:
        return Source(self.file, self.row, self.cells.get("source", ""))

    @property
    def assumed(self) -> bool:
        """True for a default row, which says who says so."""
        return "source" in self.declared

    def place(self, name: str) -> tuple[int | None, str]:
        return self.row, name

    def written(self, name: str) -> Any:
        return self.cells.get(name) or None

    def lacks(self, name: str) -> bool:
        return name in self.cells and not self.cells[name]  # a missing column has a fault of its own

    def has_range(self, name: str) -> bool:
        """True if something, right or wrong, is written in one of the three columns."""
        return self.has(f"{name}_likely") or self.has(f"{name}_low") or self.has(f"{name}_high")

    def _ends(self, name: str) -> Ends | None:
        if not self.has_range(name):
            return None
        at = {end: f"{name}_{end}" for end in (*ENDS, "shape")}
        return {end: self.value(at[end]) for end in ENDS}, self.text(at["shape"]), at, self.source

    def having(self, **cells: str) -> Row:
        """The row with some cells written; its faults are those of the row."""
        return replace(self, cells={**self.cells, **cells})

    def misplaced(self, kind: str) -> list[Column]:
        """Columns that hold something, right or wrong, and are for rows of other kinds alone."""
        others = [c for c in self.declared.values() if c.only and kind not in c.only]
        return [c for c in others if self.has(c.name) or self.has_range(c.name)]

    def listed(self, name: str) -> list[str]:
        return values.listed(self.text(name))

    def note(self) -> str:
        return self.text("note") or self.text("description")


@dataclass
class Table:
    """The rows of one file; ``whole`` is False where some could not be read."""

    file: str
    rows: list[Row] = field(default_factory=list)
    whole: bool = True
    note: str = ""

    @property
    def given(self) -> bool:
        """True if the owner wrote rows, or tried to."""
        return bool(self.rows) or not self.whole


def _columns(cells: list[str], row: int, table: Table, headings: Headings, problems: Problems) -> list[str]:
    """Headings of the columns, faults noted; a misspelt one is read as what it was meant to be."""
    names = [heading(c) for c in cells]
    columns: list[str] = []
    for name, cell in zip(names, cells, strict=True):
        if name and name in columns:
            problems.add(table.file, row, name, f"the heading {shown(cell)} twice", "keep one of the two")
            name = ""
        elif name and name not in headings.known:
            also = (c.heading for c in headings.declared.values() if name in (c.name, *map(heading, c.also)))
            near = next(also, "") or closest(name, headings.columns, SURE)
            advice = f"did you mean {shown(near)}?" if near else problems.advice(name, headings.columns, cutoff=0.7)
            problems.add(table.file, row, cell, f"an unknown heading {shown(cell)}", advice)
            name = near if near not in names and near not in columns else ""
        columns.append(name)
    for name in headings.required:
        if name not in columns:
            table.whole = False
            problems.add(table.file, row, name, "no such column", f"add a column headed '{name}'")
    return columns


def read_table(
    source: Path | bytes | Sheet | None, file: str, headings: Headings, problems: Problems, needed: bool = False
) -> Table:
    """The rows of a CSV file (none where it is not there), of its bytes or of a sheet; all faults of its form noted."""
    if source is None or (isinstance(source, Path) and not needed and not source.exists()):
        return Table(file)
    if isinstance(source, Sheet):
        return table_of(source, headings, problems)
    try:
        data = source if isinstance(source, bytes) else read_data(source)
        return table_of(csv_rows(clean(decoded(data)), file, headings.known), headings, problems)
    except Unreadable as error:
        problems.add(file, None, "", error.found, error.write)
        return Table(file, whole=False)


def table_of(sheet: Sheet, headings: Headings, problems: Problems) -> Table:
    """The rows of a sheet, the first of which holds the headings."""
    table = Table(sheet.file, note="; ".join(sheet.notes))
    if not sheet.rows:
        table.whole = False
        write = f"write the headings {', '.join(headings.required)}, or take the file away"
        problems.add(table.file, None, "", "an empty file", write)
        return table
    head, *below = sheet.rows
    wide = [text_of(c) for c in sheet.rows[head]]
    columns = _columns(wide, head, table, headings, problems)
    width = sheet.widths.get(head, len(wide))
    bare = {k for k in range(width) if k >= len(wide) or not wide[k]}
    for number in below:
        cells = sheet.rows[number]
        if left_out(cells):
            continue
        filled = [text_of(c) for c in cells] + [""] * (len(columns) - len(cells))
        by_name = {name: cell for name, cell in zip(columns, filled, strict=False) if name}
        row = Row(file=sheet.file, row=number, cells=by_name, problems=problems, declared=headings.declared)
        _check_form(row, cells, columns, width, bare)
        if sheet.closed and sheet.widths.get(number, len(columns)) < len(columns):
            found = f"{sheet.widths[number]} cells under {len(columns)} headings"
            write = "write a mark between cells for each blank one too, or look whether the file was cut short"
            problems.add(row.file, number, "", found, write)
        row.check_needed()
        table.rows.append(row)
    if not sheet.closed:
        table.whole = False
        problems.add(table.file, max(sheet.rows), "", "a quote mark that is never closed", "close it, or take it out")
    return table


def _check_form(row: Row, cells: Sequence[Cell], columns: Sequence[str], width: int, bare: set[int]) -> None:
    """Note what is wrong with a row whatever its columns; ``bare`` are those without a heading, each noted once."""
    for k in [k for k in sorted(bare) if k < len(cells) and cells[k] is not None]:
        bare.remove(k)
        write = "write a heading over that column, or clear its cells"
        row.problems.add(row.file, row.row, "", f"no heading over {shown(text_of(cells[k]))}", write)
    if extra := next((text_of(c) for c in cells[width:] if c is not None), ""):
        write = "put text with a comma in double quotes; write decimals with a point"
        row.problems.add(row.file, row.row, "", f"more cells than headings: {shown(extra)}", write)
    for name, cell in zip(columns, cells, strict=False):
        if isinstance(cell, Misread) and name:
            row.fault(name, cell.found, cell.write)
        elif isinstance(cell, str) and name and not cell.isascii() and undecoded(cell):
            row.fault(name, shown(cell), "save the file as CSV UTF-8 and write the letters marked ? again")


def list_table(
    sheet: Sheet, known: Headings, problems: Problems, at: Mapping[str, int] | None = None, head: int = 0
) -> Table:
    """The rows of somebody's own list, whose headings its faults name; none where a column that it must have is not.

    ``at`` is the place of each column where the headings do not say it, ``head`` their row (else the first).
    """
    head = head or next(iter(sheet.rows))
    theirs = [text_of(c) for c in sheet.rows[head]]
    if at is None:
        at = {heading(h): k for k, h in reversed(list(enumerate(theirs))) if heading(h) in known.known}
    problems.headed |= {name: theirs[k] for name, k in at.items()}
    rows = {n: tuple(as_meant(c) if isinstance(c, str) else c for c in cells) for n, cells in sheet.rows.items()}
    taken, _ = tidied(headed(replace(sheet, rows=rows), head, at), known.declared)
    table = table_of(taken, known, problems)
    return table if table.whole else replace(table, rows=[])
