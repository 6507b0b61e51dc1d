"""Rows to CSV text and to workbooks: numbers as numbers, and no text that a spreadsheet would obey."""

from __future__ import annotations

import csv
import datetime
import io
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, TypeAlias

from repairecon.read.problems import clean, shown
from repairecon.records import RepaireconError

Value: TypeAlias = str | int | float | bool | datetime.date | None

OBEYED = ("=", "+", "-", "@", "\t", "\r")
"""A text cell that begins with one of these may be taken for a formula."""

LONGEST_TEXT = 32_767
"""Characters that a cell of a workbook holds."""

_NOT_IN_A_NAME = re.compile(r"[\[\]:*?/\\]")
_LONGEST_NAME = 31


def _checked(value: Value) -> Value:
    """The value, clean; what no cell can hold is refused."""
    if isinstance(value, float) and not math.isfinite(value):
        raise RepaireconError("a number beyond all measure cannot be written to a cell")
    if not isinstance(value, str):
        return value
    text = clean(value).encode("utf-8", "replace").decode("utf-8")
    if len(text) > LONGEST_TEXT:
        raise RepaireconError(f"{shown(text)} is too long for a cell: {LONGEST_TEXT} characters at most")
    return text


def defused(text: str) -> str:
    """Text that a spreadsheet takes for text: with a mark ' before what it might obey, and before such a mark."""
    return f"'{text}" if text.startswith((*OBEYED, "'")) else text


def as_meant(text: str) -> str:
    """Text as it was before ``defused``."""
    return text[1:] if text.startswith("'") and text[1:].startswith((*OBEYED, "'")) else text


def csv_text(rows: Iterable[Sequence[Value]], defuse: bool = False, end: str = "\r\n") -> str:
    """CSV as RFC 4180 has it: comma, quote marks doubled; decimals with a point.

    Parameters
    ----------
    rows
        Rows of cells; dates are written year-month-day, yes and no in words.
    defuse
        True where a person will open it in a spreadsheet.
    end
        What ends a line; the standard has CRLF.

    Returns
    -------
    str
        The text.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator=end)
    for row in rows:
        writer.writerow([_written(value, defuse) for value in row])
    return out.getvalue()


def _written(value: Value, defuse: bool) -> str | int | float:
    value = _checked(value)
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime.date):
        return value.isoformat()
    return defused(value) if defuse and isinstance(value, str) else value


def sheet_names(names: Iterable[str]) -> list[str]:
    """Names that sheets may have, each its own: at most 31 characters, none of []:*?/\\."""
    made: list[str] = []
    taken: set[str] = set()
    for name in names:
        plain = " ".join(_NOT_IN_A_NAME.sub(" ", clean(name)).split()).strip("'")[:_LONGEST_NAME].strip() or "sheet"
        free, nth = plain, 2
        while free.casefold() in taken or free.casefold() == "history":
            end = f" {nth}"
            free, nth = plain[: _LONGEST_NAME - len(end)] + end, nth + 1
        taken.add(free.casefold())
        made.append(free)
    return made


def workbook_bytes(sheets: Mapping[str, Sequence[Sequence[Value]]], money: str = "0.00") -> bytes:
    """A workbook (.xlsx).

    Parameters
    ----------
    sheets
        Rows by name of the sheet; the first row is the headings.
    money
        Form in which the spreadsheet shows numbers with decimals; the cell holds the whole number.

    Returns
    -------
    bytes
        The file.
    """
    from openpyxl import Workbook
    from openpyxl.utils import get_column_letter

    book = Workbook(write_only=True)
    for name, rows in zip(sheet_names(sheets), sheets.values(), strict=True):
        sheet: Any = book.create_sheet(name)
        sheet.freeze_panes = "A2"
        for k, width in enumerate(_widths(rows), start=1):
            sheet.column_dimensions[get_column_letter(k)].width = width
        for nth, row in enumerate(rows):
            sheet.append([_xlsx_cell(sheet, _checked(value), money, bold=nth == 0) for value in row])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _widths(rows: Sequence[Sequence[Value]]) -> list[int]:
    """Widths of the columns in characters, between 8 and 40."""
    longest: dict[int, int] = {}
    for row in rows:
        for k, value in enumerate(row):
            longest[k] = max(longest.get(k, 0), len(str(value)) if isinstance(value, str) else 10)
    return [min(40, max(8, longest[k] + 2)) for k in sorted(longest)]


def _xlsx_cell(sheet: Any, value: Value, money: str, bold: bool) -> Any:
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Font

    plain: Any = ("yes" if value else "no") if isinstance(value, bool) else value
    if value == "":
        plain = value = None
    cell: Any = WriteOnlyCell(sheet, plain)
    if isinstance(value, str):
        cell.data_type = "s"  # else a leading = would make a formula of it
        cell.quotePrefix = value.startswith(OBEYED)
    elif isinstance(value, float):
        cell.number_format = money
    if bold:
        cell.font = Font(bold=True)
    return cell
