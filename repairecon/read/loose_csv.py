"""CSV files as others write them: comma, semicolon or tab; UTF-8, UTF-16 or Windows-1252."""

from __future__ import annotations

import codecs
import csv
import io
from collections import Counter
from collections.abc import Collection
from contextlib import suppress
from itertools import islice

from repairecon.read.problems import shown
from repairecon.read.sheets import BadCell, BadSheet, Cell, Sheet, take
from repairecon.read.tables import LONGEST_CELL, heading
from repairecon.read.text import LARGEST_FILE, clean

_MARKS = (";", "\t", ",")
_LOOKED_AT = 100
_SAVED = "save it as CSV UTF-8"


def read_csv_sheet(data: bytes, file: str, headings: Collection[str] = ()) -> Sheet:
    """The rows of a CSV file (RFC 4180, or with another mark between the cells).

    Parameters
    ----------
    data
        The bytes of the file.
    file
        Its name, as faults show it.
    headings
        Headings that it is known to have: they settle the mark between the cells.

    Returns
    -------
    Sheet
        Rows that hold something; every cell is text.

    Raises
    ------
    BadSheet
        If it is no text.
    """
    text, notes = _decoded(data)
    if "\0" in text[:4096]:
        raise BadSheet("a file that is no text", _SAVED)
    text = clean(text)
    mark, text, skipped = _said(text)
    mark = mark or _mark(text, headings)
    rows: dict[int, tuple[Cell, ...]] = {}
    for number, record in _records(text, mark):
        take(rows, number + skipped, [_cell(c) for c in record])
    if not rows:
        raise BadSheet("an empty file", "give a file with headings and rows")
    return Sheet(file, "", rows, tuple(notes))


def _decoded(data: bytes) -> tuple[str, list[str]]:
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        try:
            return data.decode("utf-16"), []
        except UnicodeDecodeError as error:
            raise BadSheet("broken UTF-16 text", _SAVED) from error
    with suppress(UnicodeDecodeError):
        return data.decode("utf-8"), []  # its mark, if any, goes with the control characters
    try:
        return data.decode("cp1252"), ["letters were read as Windows-1252: look at names with accents"]
    except UnicodeDecodeError as error:
        raise BadSheet("letters of an unknown alphabet", _SAVED) from error


def _said(text: str) -> tuple[str, str, int]:
    """The mark that a first line ``sep=;`` names, and the text after it with the lines left out."""
    first, end, rest = text.partition("\n")
    said = first.strip().strip('"').casefold()
    if end and len(said) == 5 and said.startswith("sep=") and said[4] in _MARKS:
        return said[4], rest, 1
    return "", text, 0


def _records(text: str, mark: str, most: int | None = None) -> list[tuple[int, list[str]]]:
    limit = csv.field_size_limit(LARGEST_FILE)
    try:
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark)
        return [(number, [c.strip() for c in record]) for number, record in islice(enumerate(reader, start=1), most)]
    except csv.Error as error:
        raise BadSheet("a file that is no CSV", _SAVED) from error
    finally:
        csv.field_size_limit(limit)


def _mark(text: str, headings: Collection[str]) -> str:
    """The mark that finds most of the headings, then the one that gives most rows the same number of cells."""
    known = {heading(h) for h in headings}
    sample = "\n".join(islice(io.StringIO(text, newline=""), 4 * _LOOKED_AT)) if known else text[:200_000]
    best, most = _MARKS[-1], (0, 0, 0)
    for mark in _MARKS:
        records = [record for _, record in _records(sample, mark, _LOOKED_AT) if any(record)]
        found = max((len(known & {heading(c) for c in record}) for record in records), default=0)
        widths = Counter(len(record) for record in records if len(record) > 1)
        width, times = max(widths.items(), key=lambda item: (item[1], item[0]), default=(0, 0))
        if (found, times, width) > most:
            best, most = mark, (found, times, width)
    return best


def _cell(text: str) -> Cell:
    if len(text) > LONGEST_CELL:
        return BadCell(f"{len(text)} characters: {shown(text)}", f"write {LONGEST_CELL} characters at most")
    return text or None
