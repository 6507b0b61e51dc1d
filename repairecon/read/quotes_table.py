"""quotes.csv as it stands, to be added to: every row, note and heading that was there stays."""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Iterator, Mapping
from contextlib import suppress
from pathlib import Path

from repairecon.read.headings import FILES
from repairecon.read.tables import EXAMPLE, delimiter, heading
from repairecon.read.text import LARGEST_FILE, clean, decoded, read_data

QUOTES = "quotes.csv"
_FIRST = ("item", "supplier", "quoted_likely")


class QuotesTable:
    """The records of quotes.csv; rows are counted from 1 as a spreadsheet does."""

    def __init__(self, path: Path | None) -> None:
        data = read_data(path) if path is not None else b""
        text = clean(decoded(data))
        self._marked = data.startswith((codecs.BOM_UTF8, codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
        self._delimiter = delimiter(text, FILES[QUOTES].known) if text else ","
        self._end = "\n" if "\n" in text and "\r\n" not in text else "\r\n"
        self.records = self._read(text)
        self._head = next((k for k, r in enumerate(self.records) if any(c.strip() for c in r)), -1)
        if self._head < 0:
            self.records, self._head = [list(_FIRST)], 0
        self.columns = [heading(c) for c in self.records[self._head]]

    def _read(self, text: str) -> list[list[str]]:
        limit = csv.field_size_limit(LARGEST_FILE)
        try:
            return list(csv.reader(io.StringIO(text, newline=""), delimiter=self._delimiter))
        finally:
            csv.field_size_limit(limit)

    def rows(self) -> Iterator[int]:
        """Numbers of the rows that quote something."""
        for k, record in enumerate(self.records[self._head + 1 :], start=self._head + 2):
            filled = any(c.strip() for c in record)
            if filled and not record[0].strip().casefold().startswith(EXAMPLE):
                yield k

    def get(self, row: int, column: str) -> str:
        """A cell, empty where there is none."""
        record = self.records[row - 1]
        place = self.columns.index(column) if column in self.columns else len(record)
        return record[place].strip() if place < len(record) else ""

    def put(self, row: int, cells: Mapping[str, str]) -> None:
        """Write cells of a row; a heading that is not there yet is added at the end."""
        for column, text in cells.items():
            if column not in self.columns:
                if not text:
                    continue
                self.columns.append(column)
                self.records[self._head].append(column)
            record, place = self.records[row - 1], self.columns.index(column)
            record.extend([""] * (place + 1 - len(record)))
            record[place] = text

    def add(self, cells: Mapping[str, str]) -> int:
        """A new row at the end; its number."""
        while len(self.records) > self._head + 1 and not any(c.strip() for c in self.records[-1]):
            self.records.pop()
        self.records.append([])
        self.put(len(self.records), cells)
        return len(self.records)

    def data(self) -> bytes:
        """The file, in the form in which it was read."""
        out = io.StringIO()
        writer = csv.writer(out, delimiter=self._delimiter, lineterminator=self._end)
        width = len(self.columns)
        for record in self.records:
            blank = not any(c.strip() for c in record)
            writer.writerow([] if blank else [*record, *[""] * (width - len(record))])
        text = out.getvalue()
        return (codecs.BOM_UTF8 if self._marked else b"") + text.encode("utf-8")


def same_cell(a: str, b: str) -> bool:
    """True if both say the same, as text or as numbers."""
    if a == b:
        return True
    with suppress(ValueError):
        return float(a) == float(b)
    return False
