"""Limits of use: wear by manuals, how long rubber may lie on a shelf, whether a shaft is good enough for a lip seal."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import NamedTuple

from repairecon.standards.materials import material_of
from repairecon.standards.tables import Row, rows
from repairecon.standards.words import exact


class Wear(NamedTuple):
    """One limit and what a measured value means by it."""

    unit: str
    item: str
    limit: float
    measure: str
    worn: bool
    action: str
    note: str
    status: str
    source: str


def judge_wear(unit: str, item: str, measured: float) -> tuple[Wear, ...]:
    """What a measured value means by every limit of the table for a unit's item, the most general first.

    ``unit`` and ``item`` are words: ``starter``, ``commutator runout``. The limits are those of the manuals named;
    the unit's own manual goes before. Rows without a figure for a limit do not speak.
    """
    found = [row for row in rows("wear_limits") if row["worn_when"] and _names(row["unit"], unit)]
    spoken = sorted((row for row in found if _names(row["item"], item)), key=_qualified)
    return tuple(_judged_wear(row, measured) for row in spoken)


def _names(cell: str, words: str) -> bool:
    plain = cell.casefold()
    return bool(words.split()) and all(word in plain for word in words.casefold().split())


def _qualified(row: Row) -> bool:
    """True for a row that holds for one size only."""
    return "(" in row["item"] or "," in row["item"]


def _judged_wear(row: Row, measured: float) -> Wear:
    limit, value = exact(row["limit"]), exact(measured)
    worn = value > limit if row["worn_when"] == "over" else value < limit
    action = row["action_at_limit"] if worn else "keep"
    measure = row["unit_of_measure"]
    return Wear(
        row["unit"], row["item"], float(limit), measure, worn, action, row["note"], row["status"], row["source"]
    )


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


class Shaft(NamedTuple):
    """What one rule says of a shaft."""

    rule: str
    ok: bool
    reasons: tuple[str, ...]
    note: str
    status: str
    source: str


def judge_seal_shaft(hardness_hrc: float, roughness_um: float, speed_m_s: float) -> tuple[Shaft, ...]:
    """What each rule says of a shaft of a hardness (HRC), a roughness Ra [um] and a speed at the lip [m/s]."""
    hardness, roughness, speed = exact(hardness_hrc), exact(roughness_um), exact(speed_m_s)
    return tuple(_judged_shaft(row, hardness, roughness) for row in rows("seal_shafts") if _holds(row, speed))


def _holds(row: Row, speed: Decimal) -> bool:
    over, to = exact(row["speed_over_m_s"]), row["speed_to_m_s"]
    # a rule that starts at zero holds for a standing shaft too
    return (over < speed or over == speed == 0) and (not to or speed <= exact(to))


def _judged_shaft(row: Row, hardness: Decimal, roughness: Decimal) -> Shaft:
    reasons = []
    if hardness < exact(row["hrc_min"]):
        reasons.append(f"asks {row['hrc_min']} HRC at least, the shaft has {hardness}")
    if not exact(row["Ra_min_um"]) <= roughness <= exact(row["Ra_max_um"]):
        reasons.append(f"asks Ra {row['Ra_min_um']} to {row['Ra_max_um']} um, the shaft has {roughness}")
    return Shaft(row["rule"], not reasons, tuple(reasons), row["note"], row["status"], row["source"])
