"""A supplier's list against the quotes of a case: what each of its rows adds, changes, or why it is left out."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from repairecon.read.case_folder import file_of, open_case
from repairecon.read.column_map import known_columns, saved_columns
from repairecon.read.list_items import Items
from repairecon.read.problems import Problems, shown
from repairecon.read.quotes_table import QUOTES, QuotesTable, same_cell
from repairecon.read.reading import Reading
from repairecon.read.sheet_quotes import SheetRow, decimal_marks, find_headings, sheet_rows
from repairecon.read.spreadsheets import read_sheet
from repairecon.read.tables import heading
from repairecon.read.values import Misread, date
from repairecon.records import Case, CaseError, SheetError

ADDED, CHANGED, SAME, LEFT_OUT = "added", "changed", "as it was", "left out"
_TOLD_APART_BY = ("designation", "part_class", "pack")


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

    file: str
    sheet: str
    columns: Mapping[str, str]
    rows: tuple[ImportedRow, ...]
    notes: tuple[str, ...]
    quotes: bytes
    written: bool = False

    def those(self, becomes: str) -> tuple[ImportedRow, ...]:
        """The rows that are added, changed, as they were, or left out."""
        return tuple(r for r in self.rows if r.becomes == becomes)


class ListIntoQuotes:
    """One reading of a list against a case."""

    def __init__(
        self,
        folder: Path,
        spreadsheet: Path,
        columns: Mapping[str, str] | None,
        supplier: str,
        sheet: str,
        quoted_on: str,
        decimal: str,
    ) -> None:
        self.folder, self.spreadsheet, self.sheet_name = folder, spreadsheet, sheet
        self.problems = Problems()
        self.case, self.reading = _names(folder)
        self.supplier = self._seller(supplier)
        if columns is None:
            columns = saved_columns(folder, supplier, self.problems)
        self.columns = dict(columns)
        self.known = known_columns(columns, spreadsheet.name, self.problems)
        self._check_choices(quoted_on, decimal)
        self.quoted_on, self.decimal = quoted_on, decimal
        self._stop()

    def _stop(self) -> None:
        if len(self.problems):
            raise SheetError(self.problems.faults)

    def _seller(self, supplier: str) -> str:
        found = self.reading.suppliers.find(supplier)
        if supplier and not found:
            advice = self.reading.suppliers.advice(self.problems, supplier, "add its row to suppliers.csv first")
            self.problems.add(self.spreadsheet.name, None, "supplier", f"an unknown supplier {shown(supplier)}", advice)
        return found

    def _check_choices(self, quoted_on: str, decimal: str) -> None:
        file, columns = self.spreadsheet.name, set(self.known.values())
        if isinstance(date(quoted_on), Misread) and quoted_on:
            self.problems.add(file, None, "quoted_on", shown(quoted_on), "write a date such as 2026-03-31")
        if decimal not in ("", ",", "."):
            self.problems.add(file, None, "decimal", shown(decimal), "write , or .")
        if len(self.problems):
            return
        if not self.supplier and "supplier" not in columns:
            self.problems.add(file, None, "supplier", "nothing", "say who quotes, or which heading is the supplier")
        if not columns & {"item", "designation"}:
            self.problems.add(file, None, "item", "nothing", "say which heading is the item or the designation")
        if "quoted_likely" not in columns:
            self.problems.add(file, None, "quoted_likely", "nothing", "say which heading is the price")

    def run(self) -> QuotesImport:
        sheet = read_sheet(self.spreadsheet, self.sheet_name, self.known)
        head, places = find_headings(sheet, self.known, {heading(w): w for w in self.columns}, self.problems)
        self._stop()
        money = {s.supplier: s.currency for s in self.case.suppliers}
        marks = decimal_marks(sheet, head, places, self.decimal)
        read = sheet_rows(sheet, head, places, money.get(self.supplier, ""), marks)
        wrong: dict[int, str] = {}
        while True:  # rows with which the case could not be read are left out, until it can
            table = QuotesTable(file_of(self.folder, QUOTES))
            rows = self._apply(table, read, wrong)
            more = self._faults(table, rows)
            if not more:
                break
            wrong |= more
        return QuotesImport(
            sheet.file,
            sheet.name,
            self.columns,
            tuple(rows),
            (*sheet.notes, f"headings found in row {head}", *_told_of(marks, places)),
            table.data(),
        )

    def _apply(self, table: QuotesTable, read: list[SheetRow], wrong: Mapping[int, str]) -> list[ImportedRow]:
        items = Items(self.case, table)
        taken: dict[int, int] = {}
        rows = []
        for row in read:
            seller = self.reading.suppliers.find(row.cells.get("supplier", "")) if "supplier" in row.cells else ""
            seller = seller or ("" if "supplier" in row.cells else self.supplier)
            item, why = items.find(row.cells.get("item", ""), row.cells.get("designation", ""), seller)
            if not seller:
                why = f"no supplier {shown(row.cells.get('supplier', ''))} in suppliers.csv"
            why = wrong.get(row.row, "") or row.wrong or why or ("" if row.cells.get("quoted_likely") else "no price")
            if why:
                rows.append(ImportedRow(row.row, item or row.cells.get("item", ""), seller, LEFT_OUT, why))
            else:
                rows.append(self._one(table, items, row, item, seller, taken))
        return rows

    def _one(
        self, table: QuotesTable, items: Items, row: SheetRow, item: str, seller: str, taken: dict[int, int]
    ) -> ImportedRow:
        """Add a row, or change the one that quotes the same."""
        cells = {**row.cells, "item": item, "supplier": seller}
        if self.quoted_on and not cells.get("quoted_on"):
            cells["quoted_on"] = self.quoted_on
        same = [k for k in items.quoted(item, seller) if _quotes_same(table, k, cells)]
        if len(same) > 1:
            listed = ", ".join(map(str, same))
            why = f"rows {listed} of quotes.csv quote the same: bring in designation, part_class or pack"
            return ImportedRow(row.row, item, seller, LEFT_OUT, why)
        if not same:
            number = table.add(cells)
            items.note(number, item, seller)
            taken[number] = row.row
            return ImportedRow(row.row, item, seller, ADDED, "", number)
        (target,) = same
        if target in taken:
            return ImportedRow(row.row, item, seller, LEFT_OUT, f"row {taken[target]} of the list quotes the same")
        taken[target] = row.row
        changes = _changes(table, target, cells)
        told = "; ".join(f"{c}: {table.get(target, c) or 'blank'} -> {new or 'blank'}" for c, new in changes.items())
        table.put(target, changes)
        return ImportedRow(row.row, item, seller, CHANGED if changes else SAME, told, target)

    def _faults(self, table: QuotesTable, rows: list[ImportedRow]) -> dict[int, str]:
        """What would be wrong in quotes.csv, by row of the list."""
        with tempfile.TemporaryDirectory() as place:
            path = Path(place) / QUOTES
            path.write_bytes(table.data())
            _, reading = open_case(self.folder, instead={QUOTES: path})
        ours = {r.quotes_row: r.row for r in rows if r.quotes_row is not None and r.becomes in (ADDED, CHANGED)}
        found = [f for f in reading.problems.faults if f.file == QUOTES]
        mine = {ours[f.row]: f"{f.column}: found {f.found}; {f.write}" for f in found if f.row in ours}
        if found and not mine:
            raise CaseError(found)
        return mine


def _told_of(marks: Mapping[int, str], places: Mapping[int, str]) -> list[str]:
    """How numbers in words were read, column by column."""
    words = {",": "comma", ".": "point"}
    return [f"{places[k]}: numbers with a decimal {words[mark]}" for k, mark in marks.items() if mark]


def _quotes_same(table: QuotesTable, target: int, cells: Mapping[str, str]) -> bool:
    """True if nothing that both have tells a row of quotes.csv from a new one."""
    for column in _TOLD_APART_BY:
        there, new = table.get(target, column), cells.get(column, "")
        if new and there and not same_cell(there.casefold(), new.casefold()):
            return False
    return True


def _changes(table: QuotesTable, target: int, cells: Mapping[str, str]) -> dict[str, str]:
    """Cells to be written; a firm price takes the place of a range."""
    fixed = ("item", "supplier")
    changes = {c: text for c, text in cells.items() if c not in fixed and not same_cell(table.get(target, c), text)}
    for name in [c.removesuffix("_likely") for c in cells if c.endswith("_likely")]:
        for end in (f"{name}_low", f"{name}_high"):
            there = table.get(target, end)
            if end not in cells and there and not same_cell(there, cells[f"{name}_likely"]):
                changes[end] = ""
    return changes


def _names(folder: Path) -> tuple[Case, Reading]:
    """The case as far as names and quotes go; other faults are for the day on which it is reckoned."""
    case, reading = open_case(folder)
    broken = {f for f in ("parts.csv", "ways.csv", "suppliers.csv", QUOTES) if not reading.tables[f].whole}
    found = [f for f in reading.problems.faults if f.file in broken | {QUOTES}]
    if found:
        raise CaseError(found)
    return case, reading
