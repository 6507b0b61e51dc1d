"""A supplier's price list into quotes.csv: told first, then written whole or not at all."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from repairecon.read.case_folder import file_of
from repairecon.read.column_map import COLUMNS_FILE, columns_with
from repairecon.read.list_into_quotes import ADDED, CHANGED, LEFT_OUT, SAME, ImportedRow, ListIntoQuotes, QuotesImport
from repairecon.read.problems import Problems
from repairecon.read.quotes_table import QUOTES
from repairecon.read.writing import replace_all
from repairecon.records import Fault, SheetError

__all__ = ["ADDED", "CHANGED", "LEFT_OUT", "SAME", "ImportedRow", "QuotesImport", "import_quotes", "preview"]


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
