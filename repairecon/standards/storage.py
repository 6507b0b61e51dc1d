"""How long rubber may lie on a shelf, by each rule that names its family."""

from __future__ import annotations

import re
from typing import NamedTuple

from repairecon.standards.materials import material_of
from repairecon.standards.tables import Row, rows


class ShelfLife(NamedTuple):
    """The last years of storage by one rule; None where the rule sets no end."""

    rule: str
    material: str
    last_year: int | None
    last_year_if_inspected: int | None
    note: str
    status: str
    source: str


def shelf_life(material: str, cured: int) -> tuple[ShelfLife, ...]:
    """The last years in which a part of a rubber, cured in a year, may be taken from the shelf.

    Every rule of the table that names the rubber speaks; where one prints a span of years its shorter end counts.
    Empty where none names it. They hold for cool, dark, dry storage without ozone and without strain.
    """
    name = material_of(material)
    return tuple(_life(row, name, cured) for row in rows("rubber_storage") if name and name in _families(row))


def _families(row: Row) -> set[str]:
    return set(re.findall(r"[A-Z]{2,5}", row["material_families"]))


def _life(row: Row, name: str, cured: int) -> ShelfLife:
    first, total = _years(row["initial_years"]), _years(row["total_years"])
    more = _years(row["extension_years"])
    if total is None and first is not None and more is not None:
        total = first + more
    last = None if first is None else cured + first
    inspected = None if first is None else cured + (total or first)
    return ShelfLife(row["standard"], name, last, inspected, row["note"], row["status"], row["source"])


def _years(cell: str) -> int | None:
    found = re.match(r"\d+", cell)
    return None if found is None else int(found[0])
