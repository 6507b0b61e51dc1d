"""O-rings and rotary shaft lip seals: their written names, and whether one can stand for another."""

from __future__ import annotations

import re
from decimal import Decimal
from functools import cache

from repairecon.records import Designation
from repairecon.standards.findings import Found, Judging, compare_features, sized
from repairecon.standards.materials import material_of, take_material
from repairecon.standards.tables import Row, by, rows
from repairecon.standards.words import INCH, NUMBER, PART, Text, exact, inches, share, shown

O_RING = "O-ring"
RING_LABELS = {"inner": "id", "outer": "od", "section": "cs", "thickness": "cs", "width": "cs", "diameter": "cs"}
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
INCH_SLACK = Decimal("0.02")
"""Half the last digit of a size in inches, and a little [mm]."""
SAME = Decimal("0.005")
"""Half the last printed digit of the tables [mm]."""


@cache
def by_size() -> dict[tuple[Decimal, Decimal], Row]:
    """Listed rings by inside diameter and section [mm]."""
    found: dict[tuple[Decimal, Decimal], Row] = {}
    for name in ("oring_as568", "oring_metric"):
        for row in rows(name):
            found.setdefault((exact(row["id_mm"]), exact(row["cs_mm"])), row)
    return found


def read_ring(text: Text, sure: bool) -> Found | None:
    """An O-ring's written name; where sure also bare numbers and sizes."""
    coded = text.take(_CODED) or text.take(_DASH) or (text.take(_BARE) if sure else None)
    found: Found | None = None
    if coded:
        found = _from_code(f"-{coded[1]}", by("oring_as568", "dash").get(f"-{coded[1]}"))
        found.marks["system"] = "inch"
    else:
        japanese = _JAPANESE.search(text.left)
        if japanese and (sure or "JIS" in text.words or text.alone == japanese[0]):
            text.take(_JAPANESE)
            code = japanese[1] + japanese[2]
            found = _from_code(code, by("oring_metric", "code").get(code))
    text.take(_METRIC_STANDARDS)
    found = found or _from_sizes(text, sure) or _without_size(text, sure)
    if found is not None:
        take_material(text, found)
        text.take(r"\bSAME SIZE\b")
        text.take(r"\bJIS\b|\bAS ?568\b")
    return found


def _from_code(code: str, row: Row | None) -> Found:
    if row is None:
        return Found(O_RING, code, listed=False, order=("id", "cs"), labels=RING_LABELS)
    return _of_size(code, exact(row["id_mm"]), exact(row["cs_mm"]), row)


def _from_sizes(text: Text, sure: bool) -> Found | None:
    if sure and (inch := text.take(_INCH_PAIR)):
        return _inch_ring(inch[1], inch[2])
    triple = _TRIPLE.search(text.left) if sure else None
    if triple:
        inner, second, third = map(Decimal, triple.groups())
        if second == inner + 2 * third:
            text.take(_TRIPLE)
            return _ring(inner, third)
        return None
    if labelled := text.take(_LABELLED_PAIR):
        first, cord = Decimal(labelled[2]), Decimal(labelled[3])
        return _ring(first if labelled[1] == "I" else first - 2 * cord, cord) if first > 2 * cord else None
    labels = {s.label for s in text.sizes}
    if sure and labels in ({"inner"}, {"outer"}) and (cord_left := text.take(rf"X ?({NUMBER})(?: ?MM)?(?![\w.])")):
        side, cord = labels.pop(), Decimal(cord_left[1])
        first_mm = sized(text, side) or Decimal(0)
        return _ring(first_mm if side == "inner" else first_mm - 2 * cord, cord) if first_mm > 2 * cord else None
    if "inner" in labels and labels & {"section", "thickness", "width"}:
        inner_mm = sized(text, "inner")
        cord_mm = sized(text, "section") or sized(text, "thickness") or sized(text, "width")
        return _ring(inner_mm, cord_mm) if inner_mm and cord_mm else None
    if sure and {"outer", "section"} <= labels:
        outer_mm, cord_mm = sized(text, "outer"), sized(text, "section")
        return _ring(outer_mm - 2 * cord_mm, cord_mm) if outer_mm and cord_mm and outer_mm > 2 * cord_mm else None
    pair = _PAIR.search(text.left)
    if pair is None:
        return None
    inner, cord = Decimal(pair[1]), Decimal(pair[2])
    plausible = Decimal("0.5") <= cord <= Decimal("16") and inner > cord / 2
    known = sure or inner > cord or (inner, cord) in by_size()
    if not (plausible and known):
        return None
    text.take(_PAIR)
    return _ring(inner, cord)


def _inch_ring(first: str, second: str) -> Found | None:
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
        return _ring(inner * INCH, cord * INCH)
    return _from_code(row.get("dash") or row["code"], row)


def _nearest(inner: Decimal, cord: Decimal) -> tuple[Decimal, Decimal]:
    """The listed size within the rounding of inches, else the size itself."""
    close = (k for k in by_size() if abs(k[0] - inner) <= INCH_SLACK and abs(k[1] - cord) <= INCH_SLACK)
    return next(close, (inner, cord))


def _ring(inner: Decimal, cord: Decimal) -> Found:
    return _of_size(f"{shown(inner)}x{shown(cord)}", inner, cord, by_size().get((inner, cord)))


def _of_size(size: str, inner: Decimal, cord: Decimal, row: Row | None) -> Found:
    dims = {"id": inner, "cs": cord, "od": inner + 2 * cord}
    printed = {} if row is None else {c: row[c] for c in ("id_in", "cs_in") if c in row}
    figures = {c: float(v) for c, v in printed.items()}
    used = [] if row is None else [row]
    return Found(O_RING, size, dims, {}, figures, used, row is not None, ("id", "cs"), RING_LABELS)


def _without_size(text: Text, sure: bool) -> Found | None:
    """A ring of which only the material is said."""
    return Found(O_RING) if sure and material_of(text.left) else None


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


def compare_rings(wanted: Designation, offered: Designation, judging: Judging) -> None:
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


LIP_SEAL = "lip seal"
LABELS = {"shaft": "d", "inner": "d", "bore": "D d", "outer": "D", "width": "b", "thickness": "b", "height": "b"}
_METRIC = re.compile(
    rf"(?<![\d./A-Z])({NUMBER})[X/-]({NUMBER})[X/-]({NUMBER})(?:[X/-]({NUMBER}))?(?: ?MM)?(?![\d/]|[X-]\d)"
)
_GOST = re.compile(rf"\b([12])\.\d-({NUMBER})X({NUMBER})-({NUMBER})(?![\d.])")
_MARK = r"\s*(?:\"|IN(?:CH(?:ES)?)?)?\s*"
_INCH = re.compile(rf"(?<![\w./-])({PART}){_MARK}X\s*({PART}){_MARK}X\s*({PART})(?:\s*(\"|IN(?:CH(?:ES)?)?\b))?")
_THINNEST = Decimal(3)
"""A shaft [mm] thinner than any lip seal is made for: a smaller number is of inches."""
SLACK = Decimal("0.05")
"""Half the last printed digit of an inch size turned into mm [mm]."""
LETTERS = ("d", "D", "b")


def read_lip_seal(text: Text, sure: bool) -> Found | None:
    """A lip seal's written name."""
    found = _sizes(text, sure)
    if found is None:
        return None
    type_ = found.marks.get("type") or _type(text)
    if type_:
        found.marks["type"] = type_
        row = by("seal_types", "code")[type_]
        found.used.append(row)
        # the words for lips and case say what the letters say
        found.marks["lips"] = "double" if row["dust_lip"] == "yes" else "single"
        found.marks["case"] = "rubber" if row["case"].startswith("rubber") else "metal"
    take_material(text, found)
    return found


def _sizes(text: Text, sure: bool) -> Found | None:
    gost = text.take(_GOST)
    if gost:
        return _lip_seal(tuple(map(Decimal, gost.groups()[1:])), {"1": "A", "2": "AS"}[gost[1]])
    inch = _inches(text.left)
    if inch is not None:
        text.take(_INCH)
        return _lip_seal(inch, "")
    metric = _METRIC.search(text.left)
    if metric:
        sizes = tuple(Decimal(s) for s in metric.groups() if s is not None)
        fits = sizes[0] < sizes[1] and (sure or sizes[2] < sizes[1])
        said = sure or material_of(text.left) or _type(text, look=True)
        if fits and (said or "X" in metric[0] or text.alone == metric[0]):
            text.take(_METRIC)
            return _lip_seal(sizes, "")
        return None
    labels = {s.label for s in text.sizes}
    if sure and labels & {"shaft", "inner"} and labels & {"outer", "bore"}:
        labelled = [sized(text, "shaft") or sized(text, "inner"), sized(text, "outer") or sized(text, "bore"),
                    sized(text, "width") or sized(text, "thickness")]  # fmt: skip
        if all(labelled):
            return _lip_seal(tuple(s for s in labelled if s), "")
    return None


def _inches(words: str) -> tuple[Decimal, ...] | None:
    """Sizes [mm] of a seal written in inches: by their sign, by fractions, or by a shaft too thin for mm."""
    found = _INCH.search(words)
    if found is None:
        return None
    sizes = [inches(s) for s in found.group(1, 2, 3)]
    said = found[4] or "/" in found[0]
    if not all(sizes) or sizes[0] is None or sizes[1] is None or sizes[0] >= sizes[1]:
        return None
    return tuple(s * INCH for s in sizes if s) if said or sizes[0] < _THINNEST else None


def _type(text: Text, look: bool = False) -> str:
    table = by("seal_types", "code")
    for token in re.finditer(r"(?<![A-Z0-9.])([A-Z]{1,4})(?![A-Z0-9.])", text.left):
        if token[1] in table:
            if not look:
                text.cut(*token.span())
            return table[token[1]]["type"]
    return ""


def _lip_seal(sizes: tuple[Decimal, ...], type_: str) -> Found:
    size = "x".join(shown(s) for s in sizes)
    row = by("seals", "designation").get(size)
    dims = dict(zip((*LETTERS, "b_over_lip"), sizes, strict=False))
    used = [] if row is None else [row]
    marks = {"type": type_} if type_ else {}
    return Found(LIP_SEAL, size, dims, marks, {}, used, row is not None, LETTERS, LABELS)


def compare_lip_seals(wanted: Designation, offered: Designation, judging: Judging) -> None:
    """All findings on the sizes and types of two lip seals."""
    gaps = {c: exact(offered.dims[c]) - exact(wanted.dims[c]) for c in LETTERS}
    for letter, gap in gaps.items():
        judging.gap(letter, gap)
    for part in (wanted, offered):
        if not part.listed:
            judging.note(f"{part.size} is not in the table of sizes; it is taken as written")
    fits = _fits(gaps, judging)
    if fits:
        words = " x ".join(shown(wanted.dims[c]) for c in ("d", "D"))
        judging.note(f"same shaft and bore: {words} mm")
        _width(gaps["b"], judging)
        _types(wanted, offered, judging)
        _lips(wanted, offered, judging)
        compare_features(wanted, offered, judging)
    judging.caution("Feel the shaft where the lip ran: on a groove a new seal of any make will leak.")


def _fits(gaps: dict[str, Decimal], judging: Judging) -> bool:
    shaft, outer = gaps["d"], gaps["D"]
    if abs(shaft) > SLACK:
        judging.refuse(
            f"made for a shaft {shown(abs(shaft))} mm {'thicker' if shaft > 0 else 'thinner'}: "
            + ("the lip does not touch" if shaft > 0 else "the lip is overstretched, wears and runs hot"),
            "shaft",
        )
    if abs(outer) > SLACK:
        judging.refuse(
            f"outside diameter {shown(abs(outer))} mm {'larger' if outer > 0 else 'smaller'}: "
            + ("does not go into the bore" if outer > 0 else "is loose in the bore"),
            "outside diameter",
        )
    return abs(shaft) <= SLACK and abs(outer) <= SLACK


def _width(gap: Decimal, judging: Judging) -> None:
    if abs(gap) <= SLACK:
        return
    if gap > 0:
        said = f"{shown(gap)} mm wider: only if the bore is deep enough and the lip finds good shaft"
    else:
        said = f"{shown(-gap)} mm narrower: goes in, the lip runs on another track; press it where the shaft is good"
    judging.near(said, "width")


def _types(wanted: Designation, offered: Designation, judging: Judging) -> None:
    want, has = wanted.marks.get("type", ""), offered.marks.get("type", "")
    if not want and not {"lips", "case"} & set(wanted.marks):
        has_said = [offered.marks[name] for name in ("type", "lips", "case") if name in offered.marks]
        if has_said and (set(has_said) & {"triple", "metal"}):
            judging.near(f"the offer says {', '.join(has_said)}; that of the old seal was not said: ask", "type")
        elif has_said:
            judging.note(f"the offer says {', '.join(has_said)}; that of the old seal was not said")
        return
    if want and not has and "lips" not in offered.marks:
        judging.near(f"the offer does not say its type, {want} is wanted: ask", "type")
        return
    lips = [(p.marks.get("lips", ""), p.marks.get("case", "")) for p in (wanted, offered)]
    if "double" in (lips[0][0], lips[1][0]) and all(x[0] for x in lips) and lips[0][0] != lips[1][0]:
        loses = lips[0][0] == "double"
        said = "loses the dust lip that keeps spray and dirt out" if loses else "an extra dust lip, slightly more heat"
        judging.near(f"{lips[1][0]} lip against {lips[0][0]} lip: {said}", "dust lip")
    cases = lips[0][1], lips[1][1]
    if all(cases) and cases[0] != cases[1]:
        judging.near(f"{cases[1]} outside against {cases[0]}: seats otherwise in a worn or soft bore", "case")
    for name, at in (("lips", 0), ("case", 1)):
        one, other = lips[0][at], lips[1][at]
        if bool(one) != bool(other) and (one or other) != "rubber":
            judging.near(f"only one of the two says its {name}, {one or other}: ask", name)


def _lips(wanted: Designation, offered: Designation, judging: Judging) -> None:
    if wanted.dims.get("b_over_lip") != offered.dims.get("b_over_lip"):
        judging.near("only one of the two is written with a second width over the lip", "width")
