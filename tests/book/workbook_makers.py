"""Workbooks for the tests, good ones and hostile ones. The figures in them are invented."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import openpyxl

SHEET = "xl/worksheets/sheet1.xml"
ROWS: Sequence[Sequence[Any]] = (("Item", "Price", "Pack"), ("seal", 6.5, 1), ("bearing", 12, 2))


def book(
    rows: Sequence[Sequence[Any]] = ROWS, title: str = "list", change: Callable[[Any], None] | None = None
) -> bytes:
    """A workbook of one sheet; ``change`` may do something to it."""
    made = openpyxl.Workbook()
    sheet = made.active
    sheet.title = title
    for row in rows:
        sheet.append(row)
    if change is not None:
        change(sheet)
    return saved(made)


def saved(made: Any) -> bytes:
    """The bytes of a workbook."""
    out = io.BytesIO()
    made.save(out)
    return out.getvalue()


def parts(data: bytes) -> dict[str, bytes]:
    """The parts of a workbook by name."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def packed(files: Mapping[str, bytes]) -> bytes:
    """A workbook of these parts."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return out.getvalue()


def with_part(data: bytes, name: str, change: Callable[[bytes], bytes]) -> bytes:
    """The workbook with one part changed, or a new one."""
    files = parts(data)
    changed = change(files.get(name, b""))
    assert changed != files.get(name)
    return packed({**files, name: changed})


def with_rows(data: bytes, rows: bytes) -> bytes:
    """The workbook with rows of raw XML at the end of its sheet."""
    return with_part(data, SHEET, lambda xml: xml.replace(b"</sheetData>", rows + b"</sheetData>"))
