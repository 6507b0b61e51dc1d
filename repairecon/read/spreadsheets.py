"""A spreadsheet, workbook or text, to one sheet of plain rows."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path

from repairecon.read.loose_csv import read_csv_sheet
from repairecon.read.problems import shown
from repairecon.read.sheets import BadSheet, Sheet
from repairecon.read.text import Unreadable, read_data
from repairecon.read.workbook import read_workbook
from repairecon.records import Fault, SheetError

_TEXT = (".csv", ".txt", ".tsv")
_BOOKS = (".xlsx", ".xlsm", ".xltx", ".xltm")


def read_sheet(path: Path, sheet: str = "", headings: Collection[str] = ()) -> Sheet:
    """One sheet of a spreadsheet.

    Parameters
    ----------
    path
        A workbook (.xlsx, .xlsm; macros are left alone) or a text file (.csv, .txt, .tsv).
    sheet
        Name of the sheet of a workbook; blank for the only one that is not hidden.
    headings
        Headings that a text file is known to have.

    Returns
    -------
    Sheet
        Rows that hold something.

    Raises
    ------
    SheetError
        If there is nothing that can be taken.
    """
    suffix = path.suffix.casefold()
    try:
        if suffix not in _TEXT + _BOOKS:
            raise BadSheet(f"a file of the kind {shown(suffix)}", "save it as .xlsx or as CSV UTF-8")
        data = read_data(path)
        if suffix in _BOOKS:
            return read_workbook(data, path.name, sheet)
        if data.startswith(b"PK"):
            raise BadSheet("a workbook named as text", "name it .xlsx")
        if sheet:
            raise BadSheet("a text file, which has no sheets", "leave the name of the sheet out")
        return read_csv_sheet(data, path.name, headings)
    except (BadSheet, Unreadable) as error:
        name = path.name if path.name.isprintable() else shown(path.name)
        raise SheetError([Fault(name, None, "", error.found, error.write)]) from error
