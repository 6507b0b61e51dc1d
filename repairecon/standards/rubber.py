"""Rubbers: what names them, how hard they are, which fluids they stand, how long they keep; hoses made of them."""

from __future__ import annotations

import re
from decimal import Decimal
from functools import lru_cache
from typing import NamedTuple

from repairecon.standards.findings import Found, Judging, compare_features
from repairecon.standards.tables import Row, by, rows
from repairecon.standards.words import INCH, NUMBER, PART, Size, Text, exact, millimetres, plain, shown

_RUBBER, _METAL = ({
    row["means"]: re.compile(rf"{before}(?:{row['pattern']}){behind}")
    for row in rows("material_words") if row["kind"] == kind
} for kind, before, behind in (
    ("rubber", r"(?<![A-Z0-9])", r"(?![A-Z]|\d{3}|\.\d)"), ("metal", r"(?<![A-Z0-9.])", r"(?![A-Z0-9])")
))  # fmt: skip
_SHORE = r"(?<![\d.])(\d\d) ?(?:SHORE(?: ?A)?|SHA?|IRHD)(?!\w)|(?:SHORE|IRHD) ?A? ?(\d\d)(?!\d)"
RUBBER = "rubber part"
_PART = re.compile(r"\b(?:SEALS?|GASKETS?|IMPELLERS?|HOSES?|DIAPHRAGMS?|MEMBRANES?|BELLOWS|RUBBER|RINGS?|PACKING)\b")


@lru_cache(maxsize=4096)
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


def read_rubber(text: Text) -> Found | None:
    """A rubber part of which no more is said than its material."""
    alone = " " not in text.alone and bool(material_of(text.alone))
    if material_of(text.words) not in _RUBBER or not (_PART.search(text.words) or alone):
        return None
    found, part = Found(RUBBER), text.take(_PART)
    take_material(text, found)
    text.take(r"SAME SIZE")
    found.marks["part"] = part[0].removesuffix("S").lower() if part else ""
    return found


_WORDS = {row["pattern"]: row["means"] for row in rows("material_words") if row["kind"] == "fluid name"}
_FLUIDS = [(r["pattern"], tuple(r["means"].split("|"))) for r in rows("material_words") if r["kind"] == "fluid"]
_SWELLING = ("mineral oil", "engine oil", "diesel", "fuel")
SAME_SIZE = Decimal("0.06")
"""mm within which two names in one text name one size."""

HOT = 60.0
"""Degrees Celsius from which hot water counts."""


def no_size(judging: Judging) -> None:
    """What can be said on the sizes where none is given: that it is to be the same."""
    judging.note("no size is given to compare: the same size is taken as said")


@lru_cache(maxsize=256)
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


def compare_materials(judging: Judging, fluid: str) -> None:
    """All findings on two rubbers in a fluid; an empty one is one that nobody said."""
    (wanted, offered), met = judging.marks("material"), fluids_of(fluid)
    if not (wanted or offered):
        return
    for names in met:
        _in_fluid(wanted, offered, names, judging)
    if not wanted:
        said = f"the offer is of {offered}; what the old part is of was not said"
        # NBR is what rings and lip seals are of where nobody says more; any other rubber must suit the fluid
        ratings = {row["rating"] if (row := rating(offered, names)) else "" for names in met}
        if offered == "NBR" or ratings == {"good"}:
            judging.note(said)
        else:
            judging.near(f"{said}: ask, and say the fluid", "material")
    elif not offered:
        judging.near(f"the offer does not say its material, {wanted} is wanted: ask", "material")
    elif wanted != offered:
        _other(wanted, offered, bool(met), judging)
    _in_hot_water(wanted, offered, fluid, judging)


def _in_hot_water(wanted: str, offered: str, fluid: str, judging: Judging) -> None:
    """Hot coolant or water also counts as hot water, which ages without ruining at once."""
    degrees = re.findall(rf"({NUMBER})\s*°?\s*C\b", plain(fluid))
    watery = {names[0] for names in fluids_of(fluid)} & {"glycol_coolant", "water_cold", "seawater"}
    hot = "HOT" in plain(fluid).split() or any(float(t) >= HOT for t in degrees)
    row = rating(offered or wanted, ("hot_water_steam",)) if watery and hot else None
    if row is None or row["rating"] != "bad":
        return
    judging.used(row)
    if offered not in ("", wanted):
        judging.near(f"{offered} ages in hot water: shorter life", "material")
    else:
        judging.caution(f"{offered or wanted} ages in hot water.")


def _in_fluid(wanted: str, offered: str, names: tuple[str, ...], judging: Judging) -> None:
    material = offered or wanted
    row = rating(material, names)
    name, stands = (row["fluid"], row["rating"]) if row else (names[0], "")
    fluid, right = _WORDS.get(name, name), ""
    if row is not None:
        judging.used(row)
    if stands == "good":
        judging.note(f"{material} stands {fluid}")
        return
    if stands == "bad":
        swells = ": it swells" if fluid in ("diesel", "fuel") or "oil" in fluid else ""
        said, right = f"{material} is bad in {fluid}{swells}", "; ask whether the wanted material is right"
    elif row:
        said = f"the sources disagree on {material} in {fluid}: {row['note']}"
    else:
        said = f"the table does not say how {material} stands {fluid}: ask"
    if material == wanted:
        judging.caution(f"{said[0].upper()}{said[1:]}{right}.")
    else:
        judging.find("not" if stands == "bad" else "near", said, "material")


def _other(wanted: str, offered: str, fluid_said: bool, judging: Judging) -> None:
    table = rows("seal_materials")
    rated = {(row["material"], row["fluid"]): row["rating"] for row in table}
    bad = [row for row in table if row["material"] == offered and row["rating"] == "bad"
           and rated.get((wanted, row["fluid"])) == "good"]  # fmt: skip
    judging.used(*bad)
    weak = [_WORDS.get(row["fluid"], row["fluid"]) for row in bad]
    swelling = [fluid for fluid in weak if fluid in _SWELLING]
    if swelling and not fluid_said:
        said = f"{offered} for {wanted}: it swells in {', '.join(swelling)}, which {wanted} stands"
        judging.refuse(f"{said}; say the fluid if it meets none of them", "material")
        return
    strange = [name for name in (wanted, offered) if not any(material == name for material, _ in rated)]
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


# ---- hoses -------------------------------------------------------------------------------------------
HOSE = "hose"
SAME_BORE = Decimal("0.45")
"""mm within which a bore of inches and one of mm are of one nominal size, where the table has none."""
_DASH = re.compile(r"(?:(?<=\s)|(?<=¦)|^)-(\d{1,2})(?![\w.])|\bDASH ?(\d{1,2})\b")
_BORE = re.compile(rf"(?<![\w.\-/])(?:DN ?)?({PART})\s*(MM|IN(?:CH(?:ES)?)?|\")?(?![\w/]|\.\d)")
_SOLD_LENGTH = re.compile(r"(?<![\w.])\d+(?:\.\d+)? ?(?:M|METRES?|METERS?|FT|FEET)(?!\w)")
FUEL = ("fuel", "diesel fuel")
_FUEL_STANDARDS = ("ISO7840", "ISO8469", "J1527")


def nominal(bore: Decimal) -> Row | None:
    """The row of nominal bores that a size [mm] names: its own number, or its inch size."""
    for row in rows("hose_bores"):
        inch = row["inch_as_mm"] and abs(exact(row["inch_as_mm"]) - bore) <= Decimal("0.06")
        if exact(row["bore_nominal_mm"]) == bore or inch:
            return row
    return None


def read_hose(text: Text) -> Found | None:
    """A hose: its bore in mm, inches or as a dash number, what it carries, its standard and class."""
    text.left = re.sub(r"(\d)X\d+(?:\.\d+)? ?M(?!\w)", r"\1 MM", text.left)  # 25 mm x 2 m: the length sold
    marks = {name: re.sub(r"[ ]|^SAE", "", said) for name, said in text.written("standard").items()}
    while text.take(_SOLD_LENGTH):
        pass
    marks |= text.written("class")
    services = [e.value for _, e in text.entries if (e.kind, e.feature) == (HOSE, "service")]
    text.drop("service", "measure")
    if several := [s for s in dict.fromkeys(services) if s != "water"] or services[:1]:
        marks["service"] = several[0] if set(several) <= set(FUEL) else " and ".join(several)
    bore = text.sized("bore", "inner", "diameter") or _bare_bore(text)
    if bore is None:
        return None
    row = nominal(bore)
    found = Found(HOSE, f"{shown(bore) if row is None else row['bore_nominal_mm']} mm", {"bore": bore}, marks)
    take_material(text, found)
    listed = (r for r in rows("hose_standards") if marks.get("class", r["mark"]) == r["mark"]
              and marks.get("standard", "-") in re.sub(r"[ ]|SAE", "", r["standard"]))  # fmt: skip
    found.used = [r for r in (row, next(listed, None)) if r is not None]
    return found


def _bare_bore(text: Text) -> Decimal | None:
    bore = written_bore(text)
    outer = next((size for size in text.sizes if size.label == "outer" and size.shown[0].isdigit()), None)
    if bore and outer and re.search(rf"{re.escape(outer.shown)} *{PART}", text.words):
        # 38 mm OD 47 mm: OD is of the number behind it, if that can be; no outside diameter is a bore
        text.sizes[text.sizes.index(outer)] = Size("outer", bore, f"OD {shown(bore)} MM")
        return outer.value if outer.value < bore else None
    return bore


def written_bore(text: Text) -> Decimal | None:
    """A bore [mm] written in mm, inches or as a dash number."""
    if dash := text.take(_DASH):
        return int(dash[1] or dash[2]) * INCH / 16
    written = text.take(_BORE)
    return None if written is None else millimetres(written[1], written[2])


def compare_hoses(judging: Judging) -> None:
    want, has = judging.sizes("bore")
    judging.gap("bore")
    listed = nominal(want), nominal(has)
    if listed[0] is listed[1] if all(listed) else abs(want - has) <= SAME_BORE or _one_tail(want, has):
        judging.note(f"same nominal bore: {judging.wanted.size}")
    else:
        what = "does not go on the tail and throttles the flow" if has < want else "is loose on the tail and leaks"
        judging.refuse(f"bore {shown(has)} against {shown(want)} mm: {what}", "bore")
    old, new = judging.marks("service")
    if old in FUEL or judging.wanted.marks.get("standard") in _FUEL_STANDARDS:
        _fuel(judging)
    elif old and new and old != new:
        _service(old, new, judging)
    compare_features(judging, after="sizes")
    if not any(judging.marks("material")):
        judging.caution("Ask the working pressure and temperature; a suction hose needs a wire helix.")


def _service(old: str, new: str, judging: Judging) -> None:
    listed = rows("hose_unfit_words")
    unfit = next((row for row in listed if old in row["wanted_service"] and new in row["offered_words"]), None)
    if unfit:
        judging.used(unfit)
        judging.refuse(f"a hose for {new} for {old}: {unfit['note']}", "service")
    elif {old, new} == {"water", "raw water"}:
        judging.near(f"for {new} against {old}: ask whether it stands suction", "service")
    else:
        judging.refuse(f"a hose for {new} is not one for {old}", "service")


def _one_tail(*bores: Decimal) -> bool:
    """Whether two bores are sold for one hose tail, one named in inches and one in mm."""
    for row in rows("hose_tails"):
        tail = exact(row["tail_mm"])
        sold = [tail, *map(exact, re.findall(r"\d+(?:\.\d+)?", row["hose_bore_mm_sold"]))]
        near = [[abs(b - known) < Decimal("0.03") for known in sold] for b in bores]
        if any(of_tail for of_tail, *_ in near) and all(map(any, near)):
            return True
    return False


def _fuel(judging: Judging) -> None:
    """A fuel hose goes by its printed mark; without one it is unfit."""
    service, material = (judging.offered.marks.get(name, "") for name in ("service", "material"))
    want, has = ((part.marks.get("standard", "").replace("USCG", "J1527"), part.marks.get("class", ""))
                 for part in judging.both)  # fmt: skip
    unfit = (service and service not in FUEL) or material in ("PVC", "VMQ")
    if want == has and has[0] and not unfit:
        return
    unmarked = "the offer names no standard and no class: ask for the printed mark; treat as unfit until then"
    said = f"{' '.join(has)} against {' '.join(want)}"
    fire = [c.startswith("A") or s == "ISO7840" for s, c in (want, has)]
    other, differs = ("class of permeation", "class") if want[0] == has[0] else ("test", "standard")
    judging.first(
        (unfit, "not", f"a hose for {service or material} swells or lets fuel through", "service"),
        (not has[0], "unknown", unmarked, "standard"),
        (not want[0], "near", f"the offer is {' '.join(has)}; the class of the old hose was not said: ask", "standard"),
        (has[0] not in _FUEL_STANDARDS, "not", f"{said}: car or other hose, not fire tested", "standard"),
        (fire[0] > fire[1], "not", f"{said}: same use, but not fire resistant: not for an engine space", "standard"),
        ("1" in want[1] and "2" in has[1], "not",
         f"{said}: class 2 is for vent and fill, not for a line always full of fuel", "class"),
        (bool(want[1]) != bool(has[1]), "near", f"{said}: only one of the two says its class: ask", "class"),
        (True, "near", f"{said}: another {other}; ask which one the rules of the boat name", differs),
    )  # fmt: skip
