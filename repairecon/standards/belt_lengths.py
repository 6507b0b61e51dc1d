"""Inside, datum and outside length of a V-belt from one of them, and the lengths that lists hold."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import NamedTuple

from repairecon.standards.tables import Row, rows
from repairecon.standards.words import around, exact


class Lengths(NamedTuple):
    """Lengths [mm] by line (Li, Ld, La), and by another catalogue where that prints otherwise."""

    known: Mapping[str, Decimal]
    other: Mapping[str, Decimal]


def outside_minus_inside(row: Row) -> Decimal | None:
    """La - Li [mm] of a section as printed, else 2 x pi x height, else None."""
    if row["La_minus_Li_mm"]:
        return exact(row["La_minus_Li_mm"])
    return around(exact(row["height_mm"])) if row["height_mm"] else None


def lengths(row: Row, value: Decimal, line: str) -> Lengths:
    """All lengths of a belt of a section, from the length [mm] of one line.

    Outside less inside is 2 x pi x height; where the datum line lies between is the section table's.
    """
    total = outside_minus_inside(row)
    steps = {"Ld_Li": _cell(row, "Ld_minus_Li_mm"), "La_Ld": _cell(row, "La_minus_Ld_mm")}
    if total is not None and steps["La_Ld"] is None and steps["Ld_Li"] is not None and row["family"] == "GOST":
        steps["La_Ld"] = total - steps["Ld_Li"]
    known = _fill(value, line, total, steps)
    other = _cell(row, "Ld_minus_Li_other_mm")
    if other is None or total is None:
        return Lengths(known, {})
    again = _fill(value, line, total, {"Ld_Li": other, "La_Ld": total - other})
    return Lengths(known, {c: v for c, v in again.items() if v != known.get(c)})


def _fill(value: Decimal, line: str, total: Decimal | None, steps: Mapping[str, Decimal | None]) -> dict[str, Decimal]:
    """Lengths of all lines that can be known."""
    inner, outer = steps["Ld_Li"], steps["La_Ld"]
    found = {line: value}
    if line == "Ld":
        if inner is not None:
            found["Li"] = value - inner
        if outer is not None:
            found["La"] = value + outer
        return found
    if total is not None:
        found["La" if line == "Li" else "Li"] = value + total if line == "Li" else value - total
    if line == "Li" and inner is not None:
        found["Ld"] = value + inner
    elif line == "La" and outer is not None:
        found["Ld"] = value - outer
    return found


def _cell(row: Row, column: str) -> Decimal | None:
    return exact(row[column]) if row[column] else None


def listed(row: Row, number: Decimal, line: str, in_inches: bool) -> Row | None:
    """The row of the length lists for a section's number, if it is there."""
    names = row["names"].split()
    for entry in rows("belts_lengths"):
        if entry["section"] not in names:
            continue
        if in_inches == entry["circumference_named"].endswith("mm)"):
            continue
        if exact(entry["number"]) == number and _LINE[entry["circumference_named"]] == line:
            return entry
    return None


_LINE = {"inside": "Li", "outside": "La", "datum (mm)": "Ld", "outside La (mm)": "La"}


def nearest_listed(family: str, line: str, value: Decimal) -> Row | None:
    """The listed belt of a family whose length on a line is nearest to a value [mm]."""
    section = {"wedge": "SPZ", "automotive": "AV10"}.get(family, family)
    found = [r for r in rows("belts_lengths") if r["section"] == section and _value(r, line) is not None]
    return min(found, key=lambda r: abs((_value(r, line) or Decimal(0)) - value), default=None)


def _value(entry: Row, line: str) -> Decimal | None:
    columns = {"Li": ("Li_catalogue1_mm", "Li_catalogue2_mm"), "Ld": ("Ld_catalogue1_mm",), "La": ("La_mm",)}[line]
    return next((exact(entry[c]) for c in columns if entry[c]), None)
