"""Lists as others write them: a supplier's prices into quotes.csv, shown first; an owner's units as units.csv."""

from __future__ import annotations

import datetime
import os
import re
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TypeAlias

from repairecon.read import sheets
from repairecon.read.boat import units_of
from repairecon.read.case_folder import open_case
from repairecon.read.case_out import file_bytes, keep_files
from repairecon.read.columns import FILES, SUPPLIERS_MONEY, Column
from repairecon.read.files import OBEYED, csv_text
from repairecon.read.problems import SURE, Names, Problems, closest, key, shown
from repairecon.read.reading import Reading
from repairecon.read.sheets import CsvTable, Sheet, heading, heading_row, places_meant, read_sheet
from repairecon.read.tables import Row, list_table, read_table
from repairecon.read.values import Cell, Misread, date, text_of
from repairecon.read.workbook import is_workbook
from repairecon.records import Case, CaseError, Fault, RepaireconError, SheetError

COLUMNS_FILE = "columns.csv"  # which heading of a supplier's is which column
ADDED, CHANGED, SAME, LEFT_OUT = "added", "changed", "as it was", "left out"
QUOTES = "quotes.csv"
_FIRST = ("item", "supplier", "quoted_likely")
_DIFFER_BY = ("designation", "part_class", "pack")  # columns that tell two quotes of one item and supplier apart
_QUOTES, _UNITS = FILES["quotes.csv"], FILES["units.csv"]
_SHORT = {heading(word): c.heading for c in _QUOTES.declared.values() for word in (*c.also, c.name)}
_SHORT |= {"core": _SHORT["quoted_core"], "price_from_10": "price_from_10"}
_BREAK = re.compile(r"price_from_([1-9][0-9]{0,5})")
_PLAIN_SIGN = re.compile(r"[+-][\w.,/ x-]*")


def known_columns(
    columns: Mapping[str, str], file: str, problems: Problems, names: Sequence[str] = _QUOTES.columns,
    short: Mapping[str, str] = _SHORT,
) -> dict[str, str]:  # fmt: skip
    """Our column by the owner's heading: one of ``names`` or ``short`` for one; others are faults."""
    known: dict[str, str] = {}
    for theirs, ours in columns.items():
        column = short.get(heading(ours), heading(ours))
        if column not in names and not _BREAK.fullmatch(column):
            write = problems.advice(column, [*names, *short])
            problems.add(file, None, theirs, f"an unknown column {shown(ours)}", write)
        elif column in known.values():
            problems.add(file, None, theirs, f"a second heading for {column}", "keep one of the two")
        elif not heading(theirs) or heading(theirs) in map(heading, known):
            problems.add(file, None, theirs, f"a heading {shown(theirs)} twice or blank", "name each heading once")
        else:
            known[theirs] = column
    if not known and not len(problems):
        problems.add(file, None, "", "no columns", "say which heading is which column, as in price=Unit price")
    return known


def saved_columns(folder: Path, problems: Problems) -> list[Row]:
    return read_table(folder / COLUMNS_FILE, COLUMNS_FILE, FILES[COLUMNS_FILE], problems).rows


def find_headings(sheet: Sheet, known: Mapping[str, str], problems: Problems) -> tuple[int, dict[str, int]]:
    """The row of the headings, and our column by its place; what is missing or double is a fault."""
    plain = {heading(theirs) for theirs in known}

    def likeness(cells: tuple[Cell, ...]) -> int:
        return len(plain & {heading(text_of(c)) for c in cells})

    row = heading_row(sheet, likeness)
    cells = sheet.rows.get(row, ())
    names = [heading(text_of(c)) for c in cells]
    there = {heading(text_of(c)): text_of(c) for c in cells if c is not None}
    for theirs in known:
        if heading(theirs) not in names:
            near = there.get(closest(heading(theirs), there, cutoff=0.6 if likeness(cells) else SURE), "")
            others = ", ".join(shown(n) for n in list(there.values())[:12])
            write = f"did you mean {shown(near)}?" if near else f"name one of the headings: {others}"
            problems.add(sheet.file, row or None, theirs, "no such heading", write)
        elif names.count(heading(theirs)) > 1:
            problems.add(sheet.file, row, theirs, "the heading twice", "rename one of the two")
    return row, {ours: names.index(heading(theirs)) for theirs, ours in known.items() if heading(theirs) in names}


def meant_headings(sheet: Sheet, words: Mapping[str, Sequence[str]]) -> tuple[int, dict[str, int]]:
    """The row of the headings, and the place of each column that one of them surely means by its ``words``."""
    head = heading_row(sheet, lambda cells: len(places_meant([text_of(c) for c in cells], words)))
    return head, places_meant([text_of(c) for c in sheet.rows.get(head, ())], words)


SheetRow: TypeAlias = tuple[int, dict[str, str], str]
"""A row of the list: its number, cells by our columns, and the first thing wrong with it."""


def sheet_rows(
    sheet: Sheet, head: int, places: Mapping[str, int], decimal: str, currency: str
) -> tuple[list[SheetRow], list[str]]:
    """The rows below the headings that hold something under one of them, and how their numbers were read."""
    breaks = {c: Column(name=c, type="number", unit=SUPPLIERS_MONEY) for c in places if _BREAK.fullmatch(c)}
    read, marks = sheets.tidied(sheets.headed(sheet, head, places), {**_QUOTES.declared, **breaks}, decimal, currency)
    words = {",": "comma", ".": "point"}
    notes = [f"{name}: numbers with a decimal {words[mark]}" for name, mark in marks.items() if mark]
    made = []
    for number, row in (item for item in read.rows.items() if item[0] != head):
        cells, prices, wrong = dict[str, str](), dict[int, str](), ""
        for (column, k), cell in zip(places.items(), row, strict=False):
            text, bad = " ".join(text_of(cell).split()), cell if isinstance(cell, Misread) else None
            if bad is None and text.startswith(OBEYED) and not _PLAIN_SIGN.fullmatch(text):
                bad = Misread("text that a spreadsheet would obey: write it without the mark in front", shown(text))
            if bad is not None:
                wrong = wrong or f"{sheets.column_letters(k)}{number}, {column}: found {bad.found}; {bad.write}"
            elif text and (match := _BREAK.fullmatch(column)):
                prices[int(match[1])] = text
            elif text:
                cells[column] = text
        if prices:
            listed = [f"{packs} at {prices[packs]}" for packs in sorted(prices)]
            cells["breaks"] = "; ".join(filter(None, [cells.get("breaks", ""), *listed]))
        made.append((number, cells, wrong))
    return made, notes


@dataclass(frozen=True)
class ImportedRow:
    """What becomes of a row of the list; ``row`` is that of the list, ``quotes_row`` that of quotes.csv."""

    row: int
    item: str
    supplier: str
    becomes: str
    why: str = ""
    quotes_row: int | None = None


@dataclass(frozen=True)
class QuotesImport:
    """What a list brings into quotes.csv; ``columns`` is our column by the heading of the list."""

    folder: Path
    supplier: str
    file: str
    sheet: str
    columns: Mapping[str, str]
    rows: tuple[ImportedRow, ...]
    notes: tuple[str, ...]
    quotes: bytes
    written: bool = False

    def those(self, becomes: str) -> tuple[ImportedRow, ...]:
        return tuple(r for r in self.rows if r.becomes == becomes)

    def write(self, keep_columns: bool = False) -> QuotesImport:
        """Bring the list into quotes.csv, and with ``keep_columns`` its columns into columns.csv, or neither."""
        if keep_columns and is_workbook(self.folder):
            raise RepaireconError("columns are kept in a case folder: name the columns each time for a workbook")
        if keep_columns and not self.supplier:
            raise SheetError([Fault(self.file, None, "supplier", "nothing", "say whose columns to keep")])
        files = {QUOTES: self.quotes} if self.those(ADDED) or self.those(CHANGED) else {}
        if keep_columns:
            problems, names = Problems(), FILES[COLUMNS_FILE].columns
            saved = saved_columns(self.folder, problems)
            problems.stop_if_any()
            others = [[r.text(c) for c in names] for r in saved if key(r.text("supplier")) != key(self.supplier)]
            kept = [[self.supplier, ours, theirs, "", ""] for theirs, ours in self.columns.items()]
            files[COLUMNS_FILE] = csv_text([names, *others, *kept]).encode()
        keep_files(self.folder, files)
        return replace(self, written=bool(files))


def preview(
    case_folder: str | os.PathLike[str], spreadsheet: str | os.PathLike[str],
    columns: Mapping[str, str] | None = None, supplier: str = "", sheet: str = "", quoted_on: str = "",
    decimal: str = "",
) -> QuotesImport:  # fmt: skip
    """What a supplier's list (.xlsx, .csv, .txt or .tsv) would bring into quotes.csv; ``write`` then writes it.

    An item is found by its name, else by a designation that the supplier quoted before, else by the part's standard
    size; never by likeness. A row that quotes the same item, supplier, designation, class and pack (as far as the list
    has them) as one in quotes.csv changes it. ``columns`` has our column (of quotes.csv, or ``price_from_10`` for a
    price from ten packs on) by the list's heading; left out: those kept in columns.csv for the supplier. ``supplier``
    may be left out where a heading stands for that column, ``sheet`` where only one is not hidden; ``quoted_on`` is the
    day of rows that give none, ``decimal`` the decimal mark where a column does not give it away. SheetError if the
    list or the columns cannot be taken at all, CaseError if quotes.csv or the names of the case cannot be.
    """
    folder, path, problems = Path(case_folder), Path(spreadsheet), Problems()
    case, reading = _case_of_names(folder)
    seller = reading.suppliers.find(supplier)
    if columns is None:
        saved = saved_columns(folder, problems)
        columns = {r.text("heading"): r.text("column") for r in saved if key(r.text("supplier")) == key(supplier)}
    known = known_columns(columns, path.name, problems)
    ours, bad_day = set(known.values()), quoted_on and isinstance(date(quoted_on), Misread)
    unknown = reading.suppliers.advice(problems, supplier, "add its row to suppliers.csv first") if supplier else ""
    problems.check(
        path.name, (supplier and not seller, "supplier", f"an unknown supplier {shown(supplier)}", unknown),
        (bad_day, "quoted_on", shown(quoted_on), "write a date such as 2026-03-31"),
        (decimal not in ("", ",", "."), "decimal", shown(decimal), "write , or ."),
    )  # fmt: skip
    problems.stop_if_any(SheetError)
    problems.check(
        path.name, (not seller and "supplier" not in ours, "supplier", "nothing",
                    "say who quotes, or which heading is the supplier"),
        (not ours & {"item", "designation"}, "item", "nothing", "say which heading is the item or the designation"),
        ("quoted_likely" not in ours, "quoted_likely", "nothing", "say which heading is the price"),
    )  # fmt: skip
    problems.stop_if_any(SheetError)
    listed = read_sheet(path, sheet, known)
    head, places = find_headings(listed, known, problems)
    problems.stop_if_any(SheetError)
    money = next((s.currency for s in case.suppliers if s.supplier == seller), "")
    read, read_as = sheet_rows(listed, head, places, decimal, money)
    table, rows = _settled(folder, read, partial(_Quotes, case, reading.suppliers, seller, quoted_on))
    notes = (*listed.notes, f"headings found in row {head}", *read_as)
    return QuotesImport(folder, supplier, listed.file, listed.name, dict(columns), rows, notes, table.data())


def _case_of_names(folder: Path) -> tuple[Case, Reading]:
    case, reading = open_case(folder)
    broken = {f for f in ("parts.csv", "ways.csv", "suppliers.csv") if not reading.tables[f].whole}
    named = {reading.problems.called.get(f, f) for f in (*broken, QUOTES)}
    if found := [f for f in reading.problems.faults if f.file in named]:
        raise CaseError(found)
    for row in reading.boat.tables["suppliers.csv"].rows if reading.boat else ():
        reading.suppliers.add(row.text("supplier"))  # of the boat's own a case takes those alone that have quoted
    return case, reading


def _settled(
    folder: Path, read: list[SheetRow], into: Callable[[CsvTable], _Quotes]
) -> tuple[CsvTable, tuple[ImportedRow, ...]]:
    """The rows brought in, again and again without those with which the case could not be read, till none is left."""
    wrong: dict[int, str] = {}
    while True:
        table = CsvTable(file_bytes(folder, QUOTES), _QUOTES.known, _FIRST)
        quotes = into(table)
        rows = tuple(quotes.bring(n, cells, wrong.get(n) or bad) for n, cells, bad in read)
        _, reading = open_case(folder, instead={QUOTES: table.data()})
        ours = {r.quotes_row: r.row for r in rows if r.becomes in (ADDED, CHANGED)}
        found = [f for f in reading.problems.faults if f.file == reading.problems.called.get(QUOTES, QUOTES)]
        more = {ours[f.row]: f"{f.column}: found {f.found}; {f.write}" for f in found if f.row in ours}
        if found and not more:
            raise CaseError(found)
        if not more:
            return table, rows
        wrong |= more


class _Quotes:
    """quotes.csv, into which rows of a list are brought one by one."""

    def __init__(self, case: Case, suppliers: Names, seller: str, quoted_on: str, table: CsvTable) -> None:
        self._suppliers, self._table, self._seller, self._quoted_on = suppliers, table, seller, quoted_on
        self._names = Names([*(p.part for p in case.parts), *(w.way for w in case.ways)])
        self._sizes: dict[str, list[str]] = defaultdict(list)
        for part in (p for p in case.parts if p.standard_size):
            self._sizes[key(part.standard_size)].append(part.part)
        self._rows: dict[tuple[str, str], list[int]] = defaultdict(list)  # by item and supplier
        self._called: dict[tuple[str, str], dict[str, None]] = defaultdict(dict)
        self._met: dict[int, int] = {}  # row of the list by the row that it was brought into
        self._problems = Problems()
        for number in table.rows():
            row = table.cells(number)
            item, by, called = (row.get(c, "") for c in ("item", "supplier", "designation"))
            self._rows[key(item), key(by)].append(number)
            if called:
                self._called[key(by), key(called)][self._names.find(item) or item] = None

    def _find(self, name: str, designation: str, seller: str) -> tuple[str, str]:
        """The item by its name, by what the supplier quoted before, by standard size; else why there is none."""
        if name and (found := self._names.find(name)):
            return found, ""
        if not (word := name or designation):
            return "", "no item"
        for sort, known in (
            ("quotes of this supplier for", [*self._called.get((key(seller), key(designation)), ())]),
            ("parts of the size", self._sizes.get(key(designation), [])),
        ):
            if len(known) == 1:
                return known[0], ""
            if known:
                some = ", ".join(shown(n) for n in known[:6])
                return "", f"{len(known)} {sort} {shown(designation)}: {some}; name the item"
        near = self._problems.advice(word, [*self._names, *self._sizes], "no part, way or standard size of that name")
        return "", f"{shown(word)}: {near}"

    def bring(self, row: int, cells: Mapping[str, str], wrong: str) -> ImportedRow:
        """Add a row, change the one that quotes the same, or leave it out."""
        named = cells.get("supplier")
        seller = self._seller if named is None else self._suppliers.find(named)
        item, why = self._find(cells.get("item", ""), cells.get("designation", ""), seller)
        if not seller:
            why = f"no supplier {shown(named or '')} in suppliers.csv"
        why = wrong or why or ("" if cells.get("quoted_likely") else "no price")
        made = ImportedRow(row, item or cells.get("item", ""), seller, LEFT_OUT, why)
        if why:
            return made
        day = cells.get("quoted_on") or self._quoted_on
        cells = {**cells, "item": item, "supplier": seller, **({"quoted_on": day} if day else {})}
        numbers = self._rows[key(item), key(seller)]
        same = [n for n in numbers if self._quotes_the_same(n, cells)]
        if len(same) > 1:
            why = f"rows {', '.join(map(str, same))} of quotes.csv quote the same"
            return replace(made, why=f"{why}: bring in designation, part_class or pack")
        if not same:
            added = self._table.add(cells)
            self._met[added] = row
            numbers.append(added)
            return replace(made, becomes=ADDED, quotes_row=added)
        if same[0] in self._met:
            return replace(made, why=f"row {self._met[same[0]]} of the list quotes the same")
        self._met[same[0]] = row
        before = self._table.cells(same[0])
        changes = _changes(before, cells)
        why = "; ".join(f"{c}: {before.get(c) or 'blank'} -> {new or 'blank'}" for c, new in changes.items())
        self._table.put(same[0], changes)
        return replace(made, becomes=CHANGED if changes else SAME, why=why, quotes_row=same[0])

    def _quotes_the_same(self, number: int, cells: Mapping[str, str]) -> bool:
        """Whether a row of quotes.csv is for the same thing, as far as both say what it is."""
        there = self._table.cells(number)
        pairs = ((there.get(c, "").casefold(), cells.get(c, "").casefold()) for c in _DIFFER_BY)
        return all(_same_cell(*both) for both in pairs if all(both))


def _changes(there: Mapping[str, str], cells: Mapping[str, str]) -> dict[str, str]:
    """Cells to be written; a firm price takes the place of a range."""
    fixed = ("item", "supplier")
    changes = {c: text for c, text in cells.items() if c not in fixed and not _same_cell(there.get(c, ""), text)}
    for name in [c.removesuffix("_likely") for c in cells if c.endswith("_likely")]:
        for end in (f"{name}_low", f"{name}_high"):
            if end not in cells and there.get(end) and not _same_cell(there[end], cells[f"{name}_likely"]):
                changes[end] = ""
    return changes


def _same_cell(was: str, now: str) -> bool:
    with suppress(ValueError):
        return was == now or float(was) == float(now)
    return False


# ---- units -----------------------------------------------------------------------------------------
def read_units_list(path: Path) -> tuple[bytes, int, tuple[str, ...]]:
    """A list of units as units.csv has it, how many, and the headings of which nothing was taken.

    Headings are taken for those that they surely mean; SheetError has every fault of the list.
    """
    sheet, problems = read_sheet(path, "", _UNITS.known), Problems()
    words = {name: [name] for name in _UNITS.columns}
    for c in _UNITS.declared.values():
        words[c.heading] += [c.name, *c.also]
    head, meant = meant_headings(sheet, words)
    if "unit" not in meant:
        known = ", ".join(("unit", *_UNITS.declared["unit"].also))
        problems.add(sheet.file, head, "unit", "no such column", f"head the column of their names one of: {known}")
    problems.stop_if_any(SheetError)
    table = list_table(sheet, _UNITS, problems, meant, head)
    units_of(table, datetime.date.today().isoformat())
    problems.stop_if_any(SheetError)
    made = [[row.cells.get(c, "") for c in _UNITS.columns] for row in table.rows]
    left_out = tuple(text_of(c) for k, c in enumerate(sheet.rows[head]) if c and k not in meant.values())
    return csv_text([_UNITS.columns, *made]).encode("utf-8"), len(made), left_out
