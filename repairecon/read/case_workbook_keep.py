"""What a command keeps of a case in one workbook, put back into its sheets; and the sheets as files of a folder."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from repairecon.read.case_folder import file_of, open_case
from repairecon.read.case_workbook import (
    COUNT,
    KEY_COLUMNS,
    is_workbook,
    read_case_workbook,
    sheet_csv,
    sheet_title,
)
from repairecon.read.case_workbook_out import key_rows, typed
from repairecon.read.columns import CASE, FILES
from repairecon.read.files import Value, put_cell, read_data, write_all
from repairecon.read.problems import Problems
from repairecon.read.sheets import DEFAULT, csv_rows, heading, text_of
from repairecon.read.toml_file import TomlFile, read_toml


def file_bytes(folder: Path, file: str) -> bytes:
    """A table of a case as it is, of a workbook with every row where it stands; nothing where there is none."""
    if is_workbook(folder):
        return sheet_csv(read_case_workbook(folder, Problems()).tables.get(file))
    path = file_of(folder, file)
    return read_data(path) if path else b""


def folder_of(path: Path, write: bool = False) -> Path:
    """The folder beside a workbook that has its name; with ``write`` it is made out of the sheets."""
    folder = path.with_suffix("")
    if write:
        _, reading = open_case(path)
        reading.problems.stop_if_any()
        book = read_case_workbook(path, Problems())
        files = {CASE: book.toml, **{file: sheet_csv(sheet) for file, sheet in book.tables.items()}}
        there = {f for f, data in files.items() if (p := folder / f).is_file() and p.read_bytes() == data}
        write_all(folder, {f: data for f, data in files.items() if f not in there})
    return folder


def keep_in_workbook(path: Path, files: Mapping[str, bytes]) -> None:
    """Write files into their sheets; all else in the workbook stays as it is."""
    from openpyxl import load_workbook

    book: Any = load_workbook(path)
    sheets = {heading(s.title): s for s in book.worksheets}
    for file, data in files.items():
        title = sheet_title(file)
        sheet = sheets.get(title) or sheets.get(file) or book.create_sheet(title)
        if file == CASE:
            _keep_keys(sheet, read_toml(data, Problems()))
        else:
            _keep_rows(sheet, file, _csv_cells(data, file))
    out = io.BytesIO()
    book.save(out)
    write_all(path.parent, {path.name: out.getvalue()}, replace=True)


def _csv_cells(data: bytes, file: str) -> list[list[str]]:
    """The cells of a CSV text by row."""
    rows = csv_rows(data.decode("utf-8"), file, FILES[file].known).rows
    return [[text_of(c) for c in rows.get(n, ())] for n in range(1, max(rows) + 1)]


def _keep_rows(sheet: Any, file: str, rows: Sequence[Sequence[str]]) -> None:
    head = next(n for n, row in enumerate(rows) if any(row))
    names = [heading(name) for name in rows[head]]
    counts = [c for c in sheet[head + 1] if COUNT.fullmatch(str(c.value or ""))]
    for cell in counts:  # the count stands beside the headings, of which there may be more now
        cell.value = None
    for r, row in enumerate(rows, start=1):
        for c, name in enumerate(names, start=1):
            text = row[c - 1] if c <= len(row) else ""
            known = name in FILES[file].known and r > head + 1 and not text.startswith(DEFAULT)
            put_cell(sheet, r, c, typed(text, file, name) if known else text or None)
    if counts:
        put_cell(sheet, head + 1, len(names) + 1, f"rows: {sum(any(r) for r in rows) - 1}")


def _keep_keys(sheet: Any, toml: TomlFile) -> None:
    """Put values into the rows of their keys, and rows below for those that have none."""
    names = {heading(str(c.value or "")): c.column for c in sheet[1]}
    wanted = {(str(c[0]), str(c[1])): c for _, c in key_rows(toml) if c[1] and c[0] != "waiver"}
    for r in range(2, sheet.max_row + 1):
        at = (str(sheet.cell(r, names["section"]).value or ""), str(sheet.cell(r, names["key"]).value or ""))
        cells = wanted.pop(at, None)
        free = at[0] in ("found", "measured")
        if cells is not None or (free and at[1]):
            _put_key(sheet, r, names, cells or [None] * len(KEY_COLUMNS))
    for c in (c for c in sheet[1] if COUNT.fullmatch(str(c.value or ""))):
        put_cell(sheet, 1, c.column, f"rows: {sum(c[3] is not None for _, c in key_rows(toml))}")
    for cells in wanted.values():
        if cells[3] is not None:
            r = sheet.max_row + 1
            _put_key(sheet, r, names, cells)
            for name in ("section", "key"):
                put_cell(sheet, r, names[name], cells[KEY_COLUMNS.index(name)])


def _put_key(sheet: Any, row: int, names: Mapping[str, int], cells: Sequence[Value]) -> None:
    for name in ("low", "value", "high", "shape"):
        if name in names:
            put_cell(sheet, row, names[name], cells[KEY_COLUMNS.index(name)])
