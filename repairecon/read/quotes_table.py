"""quotes.csv as it stands, to be added to: every row, note and heading stays; and which item a list's row is about."""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Iterator, Mapping
from contextlib import suppress
from pathlib import Path

from repairecon.read.columns import FILES
from repairecon.read.files import LARGEST_FILE, decoded, read_data
from repairecon.read.problems import Names, Problems, clean, key, shown
from repairecon.read.sheets import delimiter, heading
from repairecon.read.tables import DEFAULT, EXAMPLE
from repairecon.records import Case

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
            if filled and not record[0].strip().casefold().startswith((EXAMPLE, DEFAULT)):
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


class Items:
    """Finds items by name, by what the supplier quoted before, by standard size."""

    def __init__(self, case: Case, table: QuotesTable) -> None:
        self._names = Names([*(p.part for p in case.parts), *(w.way for w in case.ways)])
        self._sizes: dict[str, list[str]] = {}
        for part in case.parts:
            if part.standard_size:
                self._sizes.setdefault(key(part.standard_size), []).append(part.part)
        self._rows: dict[tuple[str, str], list[int]] = {}
        self._called: dict[tuple[str, str], dict[str, None]] = {}
        self._problems = Problems()
        for row in table.rows():
            item, seller = table.get(row, "item"), table.get(row, "supplier")
            self.note(row, item, seller)
            called = table.get(row, "designation")
            if called:
                spelt = self._names.find(item) or item
                self._called.setdefault((key(seller), key(called)), {})[spelt] = None

    def note(self, row: int, item: str, seller: str) -> None:
        """Remember that a row of quotes.csv quotes an item."""
        self._rows.setdefault((key(item), key(seller)), []).append(row)

    def quoted(self, item: str, seller: str) -> list[int]:
        """Rows of quotes.csv in which the supplier quotes the item."""
        return self._rows.get((key(item), key(seller)), [])

    def find(self, name: str, designation: str, seller: str) -> tuple[str, str]:
        """The item, or why there is none."""
        if name and (found := self._names.find(name)):
            return found, ""
        for sort, known in (
            ("quotes of this supplier for", list(self._called.get((key(seller), key(designation)), {}))),
            ("parts of the size", self._sizes.get(key(designation), [])),
        ):
            if designation and len(known) == 1:
                return known[0], ""
            if designation and known:
                some = ", ".join(shown(n) for n in known[:6])
                return "", f"{len(known)} {sort} {shown(designation)}: {some}; name the item"
        word = name or designation
        if not word:
            return "", "no item"
        near = self._problems.advice(word, [*self._names, *self._sizes], "no part, way or standard size of that name")
        return "", f"{shown(word)}: {near}"
