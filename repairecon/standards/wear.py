"""Wear limits from manuals: keep a part, or what to do at its limit."""

from __future__ import annotations

from typing import NamedTuple

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
    return tuple(_judged(row, measured) for row in spoken)


def _names(cell: str, words: str) -> bool:
    plain = cell.casefold()
    return bool(words.split()) and all(word in plain for word in words.casefold().split())


def _qualified(row: Row) -> bool:
    """True for a row that holds for one size only."""
    return "(" in row["item"] or "," in row["item"]


def _judged(row: Row, measured: float) -> Wear:
    limit, value = exact(row["limit"]), exact(measured)
    worn = value > limit if row["worn_when"] == "over" else value < limit
    action = row["action_at_limit"] if worn else "keep"
    measure = row["unit_of_measure"]
    return Wear(
        row["unit"], row["item"], float(limit), measure, worn, action, row["note"], row["status"], row["source"]
    )
