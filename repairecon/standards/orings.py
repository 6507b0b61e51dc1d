"""O-rings: dash numbers, metric and Japanese sizes, and sizes written out."""

from __future__ import annotations

import re
from decimal import Decimal
from functools import cache

from repairecon.records import Designation
from repairecon.standards.judging import Judging, compare_features
from repairecon.standards.materials import material_of, take_material
from repairecon.standards.reading import Found, sized
from repairecon.standards.tables import Row, by, rows
from repairecon.standards.words import INCH, NUMBER, PART, Text, exact, inches, share, shown

KIND = "O-ring"
LABELS = {"inner": "id", "outer": "od", "section": "cs", "thickness": "cs", "width": "cs", "diameter": "cs"}
_CODED = re.compile(
    r"\b(?:AS ?-?568 ?[A-D]?|BS(?: ?1806)?|ISO ?3601(?:-1)?|DASH(?: NO\.?)?|(?<![\w.-])2(?=-\d{3}))"
    r"[ :-]*-?(\d{3})(?![\d.X])"
)
_DASH = re.compile(r"(?:^|(?<=[\s¦]))-(\d{3})(?![\d.X])")
_BARE = re.compile(r"(?:^|(?<=[\s¦]))(?:OR[ -]?)?(\d{3})(?![\w.X\"]| ?MM)")
_JAPANESE = re.compile(r"(?:\bJIS(?: ?B ?2401)?[ -]*)?(?:(?<=\s)|^|(?<=[-¦]))([PG])[ -]?(\d{1,3}(?:\.\d)?A?)(?![\w.])")
_METRIC_STANDARDS = re.compile(r"\b(?:DIN|ISO) ?(?:3771|3601(?:-1)?)(?=[ :,])|\bGB/?T ?3452(?:\.1)?|\bJIS ?B ?2401\b")
_PAIR = re.compile(rf"(?<![\w./-])(?:OR ?)?({NUMBER})X({NUMBER})(?:X?(?= ?MM))?(?: ?MM)?(?![\w/]*X|\d|\.\d)(?!\w)")
_TRIPLE = re.compile(rf"(?<![\w./-])({NUMBER})X({NUMBER})X({NUMBER})(?: ?MM)?(?![\w/])")
_LABELLED_PAIR = re.compile(rf"\b([IO])\.?D\.? ?[=:]? ?({NUMBER})X({NUMBER})(?: ?MM)?(?![\w/]*X|\d|\.\d)(?!\w)")
_INCH_PAIR = re.compile(rf"(?<![\w./-])({PART})\s*(?:\"|IN(?:CH)?)?\s*X\s*({PART})\s*(?:\"|IN\b|INCH)")
_NOMINAL = {
    "1/16": Decimal("0.070"), "3/32": Decimal("0.103"), "1/8": Decimal("0.139"), "3/16": Decimal("0.210"),
    "1/4": Decimal("0.275"),
}  # fmt: skip
"""Real sections [in] of the nominal ones that inch rings are called by (AS568, from memory)."""
NOMINAL_SLACK = Decimal("0.03")
"""How far the real inside diameter may be from the nominal one [in]."""
SLACK = Decimal("0.02")
"""Half the last digit of a size in inches, and a little [mm]."""
SAME = Decimal("0.005")
"""Half the last printed digit of the tables [mm]."""


def _dash(row: Row) -> tuple[str]:
    return (row["dash"].lstrip("-"),)


def _metric(row: Row) -> tuple[str]:
    return (row["code"].upper(),)


@cache
def by_size() -> dict[tuple[Decimal, Decimal], Row]:
    """Listed rings by inside diameter and section [mm]."""
    found: dict[tuple[Decimal, Decimal], Row] = {}
    for name in ("oring_as568", "oring_metric"):
        for row in rows(name):
            found.setdefault((exact(row["id_mm"]), exact(row["cs_mm"])), row)
    return found


def read(text: Text, sure: bool) -> Found | None:
    """An O-ring's written name; where sure also bare numbers and sizes."""
    coded = text.take(_CODED) or text.take(_DASH) or (text.take(_BARE) if sure else None)
    found: Found | None = None
    if coded:
        found = _from_code(f"-{coded[1]}", by("oring_as568", _dash).get(coded[1]))
        found.marks["system"] = "inch"
    else:
        japanese = _JAPANESE.search(text.left)
        if japanese and (sure or "JIS" in text.words or text.alone == japanese[0]):
            text.take(_JAPANESE)
            code = japanese[1] + japanese[2]
            found = _from_code(code, by("oring_metric", _metric).get(code))
    text.take(_METRIC_STANDARDS)
    found = found or _from_sizes(text, sure) or _without_size(text, sure)
    if found is not None:
        take_material(text, found)
        text.take(r"\bSAME SIZE\b")
        text.take(r"\bJIS\b|\bAS ?568\b")
    return found


def _from_code(code: str, row: Row | None) -> Found:
    if row is None:
        return Found(KIND, code, listed=False, order=("id", "cs"), labels=LABELS)
    return _listed(code, exact(row["id_mm"]), exact(row["cs_mm"]), row)


def _from_sizes(text: Text, sure: bool) -> Found | None:
    if sure and (inch := text.take(_INCH_PAIR)):
        return _inch(inch[1], inch[2])
    triple = _TRIPLE.search(text.left) if sure else None
    if triple:
        inner, second, third = map(Decimal, triple.groups())
        if second == inner + 2 * third:
            text.take(_TRIPLE)
            return _sized(inner, third)
        return None
    if labelled := text.take(_LABELLED_PAIR):
        first, cord = Decimal(labelled[2]), Decimal(labelled[3])
        return _sized(first if labelled[1] == "I" else first - 2 * cord, cord) if first > 2 * cord else None
    labels = {s.label for s in text.sizes}
    if sure and labels in ({"inner"}, {"outer"}) and (cord_left := text.take(rf"X ?({NUMBER})(?: ?MM)?(?![\w.])")):
        side, cord = labels.pop(), Decimal(cord_left[1])
        first_mm = sized(text, side) or Decimal(0)
        return _sized(first_mm if side == "inner" else first_mm - 2 * cord, cord) if first_mm > 2 * cord else None
    if "inner" in labels and labels & {"section", "thickness", "width"}:
        inner_mm = sized(text, "inner")
        cord_mm = sized(text, "section") or sized(text, "thickness") or sized(text, "width")
        return _sized(inner_mm, cord_mm) if inner_mm and cord_mm else None
    if sure and {"outer", "section"} <= labels:
        outer_mm, cord_mm = sized(text, "outer"), sized(text, "section")
        return _sized(outer_mm - 2 * cord_mm, cord_mm) if outer_mm and cord_mm and outer_mm > 2 * cord_mm else None
    pair = _PAIR.search(text.left)
    if pair is None:
        return None
    inner, cord = Decimal(pair[1]), Decimal(pair[2])
    plausible = Decimal("0.5") <= cord <= Decimal("16") and inner > cord / 2
    known = sure or inner > cord or (inner, cord) in by_size()
    if not (plausible and known):
        return None
    text.take(_PAIR)
    return _sized(inner, cord)


def _inch(first: str, second: str) -> Found | None:
    """A ring of inches; a section written as a fraction is the nominal one, thinner than the real ring."""
    inner, cord = inches(first), inches(second)
    if not inner or not cord:
        return None
    real = _NOMINAL.get(second)
    if real is not None:
        same_cord = (r for r in rows("oring_as568") if exact(r["cs_in"]) == real)
        best = min(same_cord, key=lambda r: abs(exact(r["id_in"]) - inner))
        if abs(exact(best["id_in"]) - inner) <= NOMINAL_SLACK:
            return _from_code(best["dash"], best)
    row = by_size().get(_nearest(inner * INCH, cord * INCH))
    if row is None:
        return _sized(inner * INCH, cord * INCH)
    return _from_code(row.get("dash") or row["code"], row)


def _nearest(inner: Decimal, cord: Decimal) -> tuple[Decimal, Decimal]:
    """The listed size within the rounding of inches, else the size itself."""
    close = (k for k in by_size() if abs(k[0] - inner) <= SLACK and abs(k[1] - cord) <= SLACK)
    return next(close, (inner, cord))


def _sized(inner: Decimal, cord: Decimal) -> Found:
    return _listed(f"{shown(inner)}x{shown(cord)}", inner, cord, by_size().get((inner, cord)))


def _listed(size: str, inner: Decimal, cord: Decimal, row: Row | None) -> Found:
    dims = {"id": inner, "cs": cord, "od": inner + 2 * cord}
    printed = {} if row is None else {c: row[c] for c in ("id_in", "cs_in") if c in row}
    figures = {c: float(v) for c, v in printed.items()}
    used = [] if row is None else [row]
    return Found(KIND, size, dims, {}, figures, used, row is not None, ("id", "cs"), LABELS)


def _without_size(text: Text, sure: bool) -> Found | None:
    """A ring of which only the material is said."""
    return Found(KIND) if sure and material_of(text.left) else None


def series(inner: Decimal, cord: Decimal) -> str:
    """Whether a ring is of the inch, the metric or the Japanese series; an unlisted one goes by its section."""
    row = by_size().get((inner, cord))
    if row is None:
        return "inch" if any(exact(r["cs_mm"]) == cord for r in rows("oring_as568")) else "metric"
    if "dash" in row:
        return "inch"
    return "Japanese" if row["standard"].startswith("JIS") else "metric"


def tolerances(inner: Decimal, cord: Decimal) -> tuple[Decimal, Decimal, list[Row]]:
    """Tolerance of inside diameter and of section [mm] by the listed inch size nearest to a ring, with its rows.

    The metric tables here print no tolerance of the inside diameter, so the nearest size of the other one speaks.
    """
    by_id = min(rows("oring_as568"), key=lambda r: (abs(exact(r["id_mm"]) - inner), abs(exact(r["cs_mm"]) - cord)))
    both = [r for name in ("oring_as568", "oring_metric") for r in rows(name) if r["cs_tol_mm"]]
    by_cord = min(both, key=lambda r: abs(exact(r["cs_mm"]) - cord))
    return exact(by_id["id_tol_mm"]), exact(by_cord["cs_tol_mm"]), [by_id, by_cord]


def compare(wanted: Designation, offered: Designation, judging: Judging) -> None:
    """All findings on the sizes and features of two O-rings."""
    compare_features(wanted, offered, judging)
    missing = [part for part in (wanted, offered) if not part.dims]
    for part in missing:
        if part.size:
            judging.unknown(f"{part.size} is not in the table: measure inside diameter and section")
    if missing:
        _sizes_not_said(wanted, offered, judging)
        return
    gaps = {c: exact(offered.dims[c]) - exact(wanted.dims[c]) for c in ("id", "cs", "od")}
    for letter, gap in gaps.items():
        judging.gap(letter, gap)
    for part in (wanted, offered):
        if not part.listed:
            judging.note(f"{part.size} is not in the table of sizes; it is taken as written")
    if max(abs(gaps["id"]), abs(gaps["cs"])) <= SAME:
        judging.note(f"same size: {shown(wanted.dims['id'])} x {shown(wanted.dims['cs'])} mm")
        return
    _gaps(wanted, offered, gaps, judging)


def _sizes_not_said(wanted: Designation, offered: Designation, judging: Judging) -> None:
    sizes = [part.size for part in (wanted, offered)]
    if sizes[0] == sizes[1] == "" or "same size" in offered.text.casefold():
        judging.note("no size is given to compare: the same size is taken as said")
    elif "" in sizes and sizes != ["", ""]:
        judging.unknown("only one of the two says its size", "size")


def _gaps(wanted: Designation, offered: Designation, gaps: dict[str, Decimal], judging: Judging) -> None:
    inner, cord = exact(wanted.dims["id"]), exact(wanted.dims["cs"])
    id_tol, cs_tol, used = tolerances(inner, cord)
    judging.used(*used)
    has = f"{shown(offered.dims['id'])} x {shown(offered.dims['cs'])} mm"
    judging.note(f"{has} against {shown(inner)} x {shown(cord)} mm")
    kinds = series(inner, cord), series(exact(offered.dims["id"]), exact(offered.dims["cs"]))
    if kinds[0] != kinds[1] and gaps["cs"]:
        judging.note(f"one section is of the {kinds[0]} series, the other of the {kinds[1]}: look-alikes")
    for letter, name, tolerance in (("cs", "section", cs_tol), ("id", "inside diameter", id_tol)):
        gap = gaps[letter]
        if abs(gap) <= SAME:
            continue
        way = "over" if gap > 0 else "below"
        whole = cord if letter == "cs" else inner
        said = f"{name} {shown(abs(gap))} mm {way} ({share(gap, whole)} %), tolerance {shown(tolerance)} mm"
        if abs(gap) > tolerance:
            judging.refuse(said, name)
        else:
            judging.near(f"{said}: inside it, so it may be used, not taken for the same", name)
