"""The tables of a spares book, as the steps of ``schema.sql``, and what the rest of the book must know of them.

Quantities are integer thousandths and clock hours too, money is integer millionths of home money, rates integer
thousand-millionths: sums are exact for ever. Millionths, as a pack that cost 10.00 holds 7 pieces at 1.428571:
multiplied back, that is right to half a cent for packs of up to 10,000 pieces.
"""

from __future__ import annotations

from pathlib import Path

APPLICATION_ID = int.from_bytes(b"sprB", "big")
"""In the head of the file: bytes 68 to 71, SQLite's place for the kind of document."""

LENT, LENT_NUMBER = "lent out", 1
"""The locker that stands for what is lent out: its name and number."""
LARGEST_QUANTITY = 1_000_000
LARGEST_VALUE = 1_000_000_000
"""Pieces, and home money, of one movement."""

SIDES = ("bought", "used", "fitted", "scrapped", "moved", "lent", "returned")
NEEDS_FROM = ("used", "fitted", "scrapped", "moved", "lent", "returned")
NEEDS_TO = ("bought", "moved", "lent", "returned")
"""Kinds of movement that must name the locker they leave and the one they come to; the other side then stays blank."""

KEYS = {
    "about": "name", "lockers": "locker", "locker_versions": "version", "units": "unit", "unit_versions": "version",
    "items": "item", "item_versions": "version", "orders": "number", "order_lines": "line", "movements": "movement",
}  # fmt: skip
TABLES = (*KEYS, "about_versions")
"""Tables whose rows are sealed, each after those that it refers to."""
ORDERS_FROM = 4
"""Version of the book from which it holds orders."""

_, *STEPS = (Path(__file__).parent / "schema.sql").read_text("utf-8").split("-- step ")
VERSION = len(STEPS)
SEALED_FROM = 3
"""Version of the book from which every row has a seal."""


def tables(version: int) -> tuple[str, ...]:
    """The sealed tables of a book of a version."""
    return tuple(t for t in TABLES if version >= ORDERS_FROM or not t.startswith("order"))


def script(step: int, strict: bool) -> str:
    """The SQL of a step (from 1); tables that check types where SQLite can (from its version 3.37 on)."""
    text = STEPS[step - 1].partition("\n")[2]
    return text if strict else text.replace(") STRICT;", ");")
