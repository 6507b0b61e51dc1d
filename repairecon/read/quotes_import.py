"""A supplier's price list into quotes.csv: shown first, then written whole or not at all."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from repairecon.read.case_folder import file_of, open_case
from repairecon.read.files import replace_all
from repairecon.read.price_list import (
    COLUMNS_FILE,
    SheetRow,
    columns_with,
    decimal_marks,
    find_headings,
    known_columns,
    saved_columns,
    sheet_rows,
)
from repairecon.read.problems import Problems, shown
from repairecon.read.quotes_table import QUOTES, Items, QuotesTable, same_cell
from repairecon.read.reading import Reading
from repairecon.read.sheets import heading, read_sheet
from repairecon.read.values import Misread, date
from repairecon.records import Case, CaseError, Fault, SheetError

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


def preview(
    case_folder: str | os.PathLike[str],
    spreadsheet: str | os.PathLike[str],
    columns: Mapping[str, str] | None = None,
    supplier: str = "",
    sheet: str = "",
    quoted_on: str = "",
    decimal: str = "",
) -> QuotesImport:
    """What a supplier's list would bring into quotes.csv; nothing is written.

    Parameters
    ----------
    case_folder
        The case; its parts, ways and suppliers are what may be quoted.
    spreadsheet
        The list: .xlsx, .csv, .txt or .tsv.
    columns
        Our column (of quotes.csv, or ``price_from_10`` for a price from ten packs on) by the list's heading.
        Left out: those kept in columns.csv for the supplier.
    supplier
        Who quotes, as in suppliers.csv; may be left out where a heading stands for the column ``supplier``.
    sheet
        Sheet of a workbook; may be left out where only one is not hidden.
    quoted_on
        Day of the list, for rows that give none.
    decimal
        Decimal mark, "," or ".", where the numbers of a column do not give it away.

    Returns
    -------
    QuotesImport
        Every row of the list: added, changed, as it was, or left out and why.

    Raises
    ------
    SheetError
        If the list or the columns cannot be taken at all.
    CaseError
        If quotes.csv or the names in the case cannot be read.

    Notes
    -----
    An item is found by its name, else by a designation that the supplier quoted before, else by the part's standard
    size; never by likeness. A row that quotes the same item, supplier, designation, class and pack (as far as the list
    has them) as one in quotes.csv changes that one.
    """
    return ListIntoQuotes(Path(case_folder), Path(spreadsheet), columns, supplier, sheet, quoted_on, decimal).run()


def import_quotes(
    case_folder: str | os.PathLike[str],
    spreadsheet: str | os.PathLike[str],
    columns: Mapping[str, str] | None = None,
    supplier: str = "",
    sheet: str = "",
    quoted_on: str = "",
    decimal: str = "",
    keep_columns: bool = False,
) -> QuotesImport:
    """Bring a supplier's list into quotes.csv, whole or not at all; the parameters are those of ``preview``.

    Parameters
    ----------
    case_folder, spreadsheet, columns, supplier, sheet, quoted_on, decimal
        As in ``preview``.
    keep_columns
        True to keep the columns for this supplier in columns.csv of the case.

    Returns
    -------
    QuotesImport
        What was done.

    Raises
    ------
    SheetError, CaseError
        As in ``preview``.
    RepaireconError
        If it cannot be written; the folder is then as it was.
    """
    folder = Path(case_folder)
    if keep_columns and not supplier:
        fault = Fault(Path(spreadsheet).name, None, "supplier", "nothing", "say whose columns are to be kept")
        raise SheetError([fault])
    told = preview(folder, spreadsheet, columns, supplier, sheet, quoted_on, decimal)
    files: dict[str, bytes] = {}
    if told.those(ADDED) or told.those(CHANGED):
        path = file_of(folder, QUOTES)
        files[path.name if path else QUOTES] = told.quotes
    if keep_columns:
        problems = Problems()
        files[COLUMNS_FILE] = columns_with(folder, supplier, told.columns, problems)
        problems.stop_if_any()
    replace_all(folder, files)
    return replace(told, written=bool(files))


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
        _, reading = open_case(self.folder, instead={QUOTES: table.data()})
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
    """The case as far as names and quotes go; other faults are for the day on which it is worked out."""
    case, reading = open_case(folder)
    broken = {f for f in ("parts.csv", "ways.csv", "suppliers.csv", QUOTES) if not reading.tables[f].whole}
    found = [f for f in reading.problems.faults if f.file in broken | {QUOTES}]
    if found:
        raise CaseError(found)
    return case, reading
