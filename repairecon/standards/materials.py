"""Rubbers: the words that name them, how hard they are, what fluids they stand, how long they may lie on a shelf."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import NamedTuple

from repairecon.standards.findings import Found, Judging
from repairecon.standards.tables import Row, by, rows
from repairecon.standards.words import NUMBER, Text, plain

_RUBBER, _METAL = ({
    row["means"]: re.compile(rf"{before}(?:{row['pattern']}){behind}")
    for row in rows("material_words") if row["kind"] == kind
} for kind, before, behind in (
    ("rubber", r"(?<![A-Z0-9])", r"(?![A-Z]|\d{3}|\.\d)"), ("metal", r"(?<![A-Z0-9.])", r"(?![A-Z0-9])")
))  # fmt: skip
_SHORE = r"(?<![\d.])(\d\d) ?(?:SHORE(?: ?A)?|SHA?|IRHD)(?!\w)|(?:SHORE|IRHD) ?A? ?(\d\d)(?!\d)"
KIND = "rubber part"
_PART = re.compile(r"\b(?:SEALS?|GASKETS?|IMPELLERS?|HOSES?|DIAPHRAGMS?|MEMBRANES?|BELLOWS|RUBBER|RINGS?|PACKING)\b")


def material_of(text: str) -> str:
    """The rubber or metal that a text names, or empty."""
    words = plain(text)
    return next((name for name, pattern in (*_RUBBER.items(), *_METAL.items()) if pattern.search(words)), "")


def take_material(text: Text, found: Found) -> None:
    """Take the rubber and its hardness that a name says."""
    hard = rf"(?:[ -]?(?:{_SHORE}|(\d\d)(?![\d.X/\w]|-\d)))?"
    for name, pattern in _RUBBER.items():
        if pattern.search(text.left) and (match := text.take(rf"(?:{pattern.pattern})(?: RUBBER)?{hard}")):
            if found.marks.get("material", name) != name:
                found.against.append(f"says two materials: {found.marks['material']} and {name}")
            found.marks["material"] = name
            if hardness := next(filter(None, match.groups()), ""):
                found.marks["hardness"] = hardness
    if shore := text.take(_SHORE):
        hardness = shore[1] or shore[2]
        if found.marks.get("hardness", hardness) != hardness:
            found.against.append(f"says two hardnesses: {found.marks['hardness']} and {hardness}")
        found.marks["hardness"] = hardness


def read(text: Text) -> Found | None:
    """A rubber part of which no more is said than its material."""
    alone = " " not in text.alone and bool(material_of(text.alone))
    if material_of(text.words) not in _RUBBER or not (_PART.search(text.words) or alone):
        return None
    found, part = Found(KIND), text.take(_PART)
    take_material(text, found)
    text.take(r"SAME SIZE")
    found.marks["part"] = part[0].removesuffix("S") if part else ""
    return found


_WORDS = {row["pattern"]: row["means"] for row in rows("material_words") if row["kind"] == "fluid name"}
_FLUIDS = [(r["pattern"], tuple(r["means"].split("|"))) for r in rows("material_words") if r["kind"] == "fluid"]
_SWELLING = ("mineral oil", "engine oil", "diesel", "fuel")
SAME_SIZE = Decimal("0.06")
"""mm within which two names in one text name one size."""

USUAL_HARDNESS = "70"
"""Shore A of rings and lips where nobody says another (common practice, from memory)."""

HOT = 60.0
"""Degrees Celsius from which hot water counts."""


def no_size(judging: Judging) -> None:
    """What can be said on the sizes where none is given: that it is to be the same."""
    want, has = judging.marks("part")
    if want and has and want != has:
        judging.refuse(f"one is a {has.lower()}, the other a {want.lower()}", "kind")
    judging.note("no size is given to compare: the same size is taken as said")


def fluids_of(text: str) -> tuple[tuple[str, ...], ...]:
    """For each fluid that a text names, the table's fluids that may speak for it, nearest first."""
    words, found = plain(text), []
    for pattern, names in _FLUIDS:
        if re.search(pattern, words):
            found.append(names)
            words = re.sub(pattern, " ", words)
    return tuple(found)


def rating(material: str, fluids: tuple[str, ...]) -> Row | None:
    """How a material stands the first of some fluids that the table has for it."""
    known = {row["fluid"]: row for row in rows("seal_materials") if row["material"] == material}
    return next((known[fluid] for fluid in fluids if fluid in known), None)


def compare(judging: Judging, fluid: str) -> None:
    """All findings on two rubbers in a fluid, and on their hardness; an empty one is one that nobody said."""
    (want, has), (wanted, offered) = judging.marks("hardness"), judging.marks("material")
    if want and has and want != has:
        judging.near(f"hardness {has} against {want} Shore: seals and holds pressure otherwise", "hardness")
    elif want != has and (want or has) != USUAL_HARDNESS:
        judging.near(f"only one of the two says its hardness, {want or has} Shore: ask", "hardness")
    met = fluids_of(fluid)
    of_offer = [rating(offered, names) for names in met]
    for names in met:
        _in_fluid(wanted, offered, names, judging)
    if wanted and offered and wanted != offered:
        _other(wanted, offered, bool(met), judging)
    elif wanted and not offered:
        judging.near(f"the offer does not say its material, {wanted} is wanted: ask", "material")
    elif offered and not wanted:
        said = f"the offer is of {offered}; what the old part is of was not said"
        # NBR is what rings and lip seals are of where nobody says more; any other rubber must suit the fluid
        if offered == "NBR" or (met and all(row and row["rating"] == "good" for row in of_offer)):
            judging.note(said)
        else:
            judging.near(f"{said}: ask, and say the fluid", "material")
    # hot coolant or water also counts as hot water, which ages without ruining at once
    degrees = [float(t) for t in re.findall(rf"({NUMBER})\s*°?\s*C\b", plain(fluid))]
    watery = any(names[0] in ("glycol_coolant", "water_cold", "seawater") for names in met)
    hot = "HOT" in plain(fluid).split() or any(t >= HOT for t in degrees)
    row = rating(offered or wanted, ("hot_water_steam",))
    if watery and hot and row and row["rating"] == "bad":
        judging.used(row)
        if offered and offered != wanted:
            judging.near(f"{offered} ages in hot water: shorter life", "material")
        else:
            judging.caution(f"{offered or wanted} ages in hot water.")


def _in_fluid(wanted: str, offered: str, names: tuple[str, ...], judging: Judging) -> None:
    material, another = offered or wanted, bool(offered) and offered != wanted
    if not material:
        return
    row = rating(material, names)
    name = row["fluid"] if row else names[0]
    fluid, stands = _WORDS.get(name, name), row["rating"] if row else ""
    if row:
        judging.used(row)
    if stands == "good":
        judging.note(f"{material} stands {fluid}")
    elif stands == "bad":
        said = f"{material} is bad in {fluid}{': it swells' if fluid in ('diesel', 'fuel') or 'oil' in fluid else ''}"
        if material == wanted:
            judging.caution(f"{said}; ask whether the wanted material is right.")
        if another:
            judging.refuse(said, "material")
    else:
        said = f"the table does not say how {material} stands {fluid}: ask"
        warned = f"T{said[1:]}."
        if row:
            said = warned = f"the sources disagree on {material} in {fluid}: {row['note']}"
        if another:
            judging.near(said, "material")
        else:
            judging.caution(warned)


def _other(wanted: str, offered: str, fluid_said: bool, judging: Judging) -> None:
    table = rows("seal_materials")
    good = {row["fluid"] for row in table if row["material"] == wanted and row["rating"] == "good"}
    bad = [r for r in table if r["material"] == offered and r["rating"] == "bad" and r["fluid"] in good]
    weak = [_WORDS.get(row["fluid"], row["fluid"]) for row in bad]
    judging.used(*bad)
    swelling = [fluid for fluid in weak if fluid in _SWELLING]
    if swelling and not fluid_said:
        said = f"{offered} for {wanted}: it swells in {', '.join(swelling)}, which {wanted} stands"
        judging.refuse(f"{said}; say the fluid if it meets none of them", "material")
        return
    strange = [name for name in (wanted, offered) if name not in {row["material"] for row in table}]
    said = "another material; the table names nothing in which it is worse"
    if strange:
        said = f"{' and '.join(strange)} not in the table of materials: ask"
    elif weak:
        said = f"it is worse in {', '.join(weak)}; shorter life where it meets them"
    judging.near(f"{offered} for {wanted}: {said}", "material")
    spans = by("seal_ranges", "material")
    if wanted in spans and offered in spans:
        judging.used(spans[wanted], spans[offered])
        words = [f"{m} {spans[m]['low_C']} to {spans[m]['high_C']} °C" for m in (wanted, offered)]
        judging.note(f"working range in lip seals: {words[0]}, {words[1]}")


MAKERS = "maker's number"


def read_makers(text: Text) -> Found | None:
    """A part that no public standard sizes: its maker's number."""
    number = text.take(r"(?<![\w])[A-Z]{0,4}[- ]?\d[\w./-]{2,}(?!\w)")
    if number is None or re.search(r"\dX\d", number[0]):
        return None
    return Found(MAKERS, re.sub(r"[\s./-]", "", number[0]), listed=False)


def compare_makers(judging: Judging) -> None:
    """Two parts of makers' numbers: equal numbers or nothing can be said."""
    if judging.wanted.size == judging.offered.size:
        judging.note("no public standard sizes such a part: the two bear the same maker's number")
        judging.caution("Compared by the maker's number alone: lay the old part beside the new one.")
    else:
        said = "no public standard sizes such a part, and the maker's numbers differ"
        judging.unknown(f"{said}: ask the seller which number it replaces, and measure", "number")


class ShelfLife(NamedTuple):
    """The last years of storage by one rule; None where the rule sets no end."""

    rule: str
    last_year: int | None
    last_year_if_inspected: int | None
    status: str


def shelf_life(material: str, cured: int) -> tuple[ShelfLife, ...]:
    """The last years in which a part of a rubber, cured in a year, may be taken from the shelf. Every rule of the table
    that names the rubber speaks; where one prints a span of years its shorter end counts. Empty where none names it.
    They hold for cool, dark, dry storage without ozone and without strain."""
    name, found = material_of(material), []
    for row in rows("rubber_storage"):
        if name and name in re.findall(r"[A-Z]{2,5}", row["material_families"]):
            cells = (re.match(r"\d+", row[f"{column}_years"]) for column in ("initial", "total", "extension"))
            first, total, more = (int(cell[0]) if cell else None for cell in cells)
            total = total or ((first or 0) + more if more else first)
            last, inspected = (None if first is None else cured + (years or 0) for years in (first, total))
            found.append(ShelfLife(row["standard"], last, inspected, row["status"]))
    return tuple(found)
