"""Cells of the book's CSV files: numbers exact, text that no spreadsheet takes for a formula."""

from __future__ import annotations

from collections.abc import Callable

from repairecon.book.amounts import Scale, scaled, words
from repairecon.read import values
from repairecon.read.columns import Headings
from repairecon.read.problems import shown
from repairecon.read.tables import Row
from repairecon.read.values import Limits, Misread
from repairecon.records import BookError

LOCKERS = ("number", "name", "place", "kind", "note", "written_at")
UNITS = ("number", "name", "kind", "hours", "hours_on", "note", "written_at")
ITEMS = (
    "number", "name", "system", "units", "makers_number", "cross_reference", "designation", "material", "measure",
    "minimum", "locker", "shelf_group", "critical", "needs", "weight_kg", "volume_litres", "resale_rate", "carried",
    "note", "written_at",
)  # fmt: skip
MOVEMENTS = (
    "number", "on_date", "kind", "item", "quantity", "locker_from", "locker_to", "cost_unit", "currency", "rate",
    "quoted_unit", "person", "unit", "hours", "lot", "cure_date", "reference", "note", "undoes", "corrects",
    "written_at",
)  # fmt: skip
ABOUT = ("name", "value")


def _headings(columns: tuple[str, ...], *required: str) -> Headings:
    return Headings(columns, required, frozenset(columns))


FILES = {
    "about.csv": _headings(ABOUT, "name", "value"),
    "lockers.csv": _headings(LOCKERS, "name"),
    "units.csv": _headings(UNITS, "name"),
    "items.csv": _headings(ITEMS, "name"),
    "movements.csv": _headings(MOVEMENTS, "on_date", "kind", "item", "quantity"),
}
"""What a folder may hold; lockers.csv and items.csv it must."""

_RISKY = ("=", "+", "-", "@", "\t", "\r", "'")


def defused(text: str) -> str:
    """Text with an apostrophe before what a spreadsheet would reckon as a formula."""
    return f"'{text}" if text.startswith(_RISKY) else text


def as_meant(text: str) -> str:
    """Text as it was before ``defused``."""
    return text[1:] if text.startswith("'") and text[1:].startswith(_RISKY) else text


def text_of(row: Row, column: str) -> str:
    """Words of a cell."""
    try:
        return words(as_meant(row.text(column)), column)
    except BookError as error:
        row.fault(column, shown(row.text(column)), str(error).split("; ")[-1])
        return ""


def whole_of(row: Row, column: str, scale: Scale) -> int | None:
    """The whole number that the book keeps for the amount in a cell, None when blank or wrong."""
    text = row.text(column)
    if not text:
        return None
    read: float | Misread = values.number(text, Limits(0.0, scale.largest))
    found = read if isinstance(read, Misread) else scaled(text, scale)
    if isinstance(found, Misread):
        row.fault(column, shown(text), found.write)
        return None
    return found


def share_of(row: Row, column: str) -> float | None:
    """A weight, a volume or a fraction."""
    limits = values.FRACTION if column.endswith("_rate") else Limits(0.0, 1e6)
    return row.number(column, limits)


def read_by(row: Row, column: str, reader: Callable[[str], str]) -> str:
    """A cell by a reader that raises what is wrong."""
    try:
        return reader(row.text(column))
    except BookError as error:
        row.fault(column, shown(row.text(column)), str(error).split("; ")[-1])
        return ""
