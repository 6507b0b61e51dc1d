"""A look at the parts of a workbook before anything is unpacked: bombs, passwords, entities."""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass

from repairecon.read.sheets import BadSheet

MOST_PARTS = 2_000
LARGEST_UNPACKED = 100_000_000
"""Bytes of all parts together; a list of 200,000 rows takes about as much."""

LARGEST_SIDE_PART = 10_000_000
"""Bytes of a part that is neither a sheet nor the table of texts: styles, names, relations."""

HIGHEST_RATIO = 300
"""Bytes unpacked for one packed, from ``SMALL`` on; sheets of real lists stay far below."""

SMALL = 4_000_000
LONGEST_ROW = 4_000_000
"""Bytes from one row of a sheet to the next."""

_ENTITY = re.compile(rb"<!\s*(?:DOCTYPE|ENTITY)", re.IGNORECASE)
_ANY_DECLARATION = re.compile(rb"<!")
_ROW = re.compile(rb"<(?:\w+:)?(?:row|si)[\s>/]")
_MERGED = re.compile(rb"""mergeCell\s[^>]*?ref\s*=\s*["']([A-Z]{1,3}[0-9]{1,7}):([A-Z]{1,3}[0-9]{1,7})["']""")
_FORMULA = re.compile(rb"<(?:\w+:)?f[\s>/]")
_CHUNK = 1_000_000
_OVERLAP = 256
_OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_NO_WORKBOOK = ("a file that is no workbook", "save it as .xlsx or as CSV UTF-8")


@dataclass(frozen=True)
class Parts:
    """What the parts of a workbook hold beside its cells, by the name of the part."""

    merged: dict[str, list[tuple[str, str]]]
    formulas: frozenset[str]
    macros: bool
    links: bool


def looked_at(data: bytes) -> Parts:
    """The parts, once they are known to be safe to unpack."""
    if data.startswith(_OLE):
        raise BadSheet(
            "a workbook with a password, or one of the old format .xls", "save it as .xlsx without a password"
        )
    if not data.startswith(b"PK"):
        raise BadSheet(*_NO_WORKBOOK)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            entries = archive.infolist()
            _check_sizes(entries, len(data))
            return _scan(archive, entries)
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, ValueError, OSError, EOFError) as error:
        raise BadSheet("a broken workbook", "open it in a spreadsheet program and save it again as .xlsx") from error


def _check_sizes(entries: list[zipfile.ZipInfo], packed: int) -> None:
    bomb = ("a workbook that unpacks to far more than a list can need", "ask for the list as CSV")
    names = {entry.filename for entry in entries}
    if "[Content_Types].xml" not in names:
        raise BadSheet(*_NO_WORKBOOK)
    if len(entries) > MOST_PARTS or len(names) != len(entries):
        raise BadSheet("a workbook of too many parts, or of the same part twice", bomb[1])
    total = sum(entry.file_size for entry in entries)
    if total > LARGEST_UNPACKED or (total > SMALL and total > HIGHEST_RATIO * packed):
        raise BadSheet(*bomb)
    for entry in entries:
        if entry.flag_bits & 1:
            raise BadSheet("a workbook with a password", "save it without a password")
        if entry.file_size > SMALL and entry.file_size > HIGHEST_RATIO * max(entry.compress_size, 1):
            raise BadSheet(*bomb)
        if entry.file_size > LARGEST_SIDE_PART and not _is_long(entry.filename):
            raise BadSheet(*bomb)


def _is_long(name: str) -> bool:
    """Sheets and the table of texts are read row by row, so they may be long."""
    return "worksheets/" in name.lower() or "sharedstrings" in name.lower()


def _scan(archive: zipfile.ZipFile, entries: list[zipfile.ZipInfo]) -> Parts:
    merged: dict[str, list[tuple[str, str]]] = {}
    formulas = set()
    for entry in entries:
        areas: dict[tuple[str, str], None] = {}
        for piece in _pieces(archive, entry):
            areas |= {(a.decode(), b.decode()): None for a, b in _MERGED.findall(piece)}
            if _FORMULA.search(piece):
                formulas.add(entry.filename)
        if areas:
            merged[entry.filename] = list(areas)
    names = [entry.filename.lower() for entry in entries]
    return Parts(
        merged,
        frozenset(formulas),
        any("vbaproject" in name for name in names),
        any("externallinks/" in name for name in names),
    )


def _pieces(archive: zipfile.ZipFile, entry: zipfile.ZipInfo) -> Iterator[bytes]:
    """A part in overlapping pieces, refused where it declares something or one row never ends."""
    declares = _ANY_DECLARATION if _is_long(entry.filename) else _ENTITY
    since_row, tail = 0, b""
    with archive.open(entry) as part:
        while chunk := part.read(_CHUNK):
            piece = tail + chunk.replace(b"\0", b"")
            if declares.search(piece):
                raise BadSheet("a workbook that declares entities of its own", "ask for the list as CSV")
            starts = _ROW.search(piece) is not None
            since_row = 0 if starts else since_row + len(chunk)
            if since_row > LONGEST_ROW and _is_long(entry.filename):
                raise BadSheet("a row beyond all measure", "ask for the list as CSV")
            yield piece
            tail = piece[-_OVERLAP:]
