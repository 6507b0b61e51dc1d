"""O-rings, lip seals and pump shaft seals: their written names, and whether one can stand for another."""

from __future__ import annotations

import re
from decimal import Decimal
from functools import cache

from repairecon.standards.findings import TAKEN_AS_WRITTEN, Found, Judging, by_row, compare
from repairecon.standards.rubber import material_of, take_material, written_bore
from repairecon.standards.tables import Row, by, rows, said_of
from repairecon.standards.words import INCH, NUMBER, PART, Text, exact, inches, share, shown

O_RING = "O-ring"
_JAPANESE = re.compile(r"(?:\bJIS(?: ?B ?2401)?[ -]*)?(?:(?<=\s)|^|(?<=[-¦]))([PG])[ -]?(\d{1,3}(?:\.\d)?A?)(?![\w.])")
_PAIR = re.compile(rf"(?<![\w./-])(?:OR ?)?({NUMBER})X({NUMBER})(?:X?(?= ?MM))?(?: ?MM)?(?![\w/]*X|\d|\.\d)(?!\w)")
_TRIPLE = re.compile(rf"(?<![\w./-])({NUMBER})X({NUMBER})X({NUMBER})(?: ?MM)?(?![\w/])")
_LABELLED_PAIR = re.compile(rf"\b([IO])\.?D\.? ?[=:]? ?({NUMBER})X({NUMBER})(?: ?MM)?(?![\w/]*X|\d|\.\d)(?!\w)")
_INCH_PAIR = re.compile(rf"(?<![\w./-])({PART})\s*(?:\"|IN(?:CH)?)?\s*X\s*({PART})\s*(?:\"|IN\b|INCH)")
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
    for row in (*rows("oring_as568"), *rows("oring_metric")):
        found.setdefault((exact(row["id_mm"]), exact(row["cs_mm"])), row)
    return found


def read_ring(text: Text) -> Found | None:
    """An O-ring's written name; where sure also bare numbers and sizes."""
    coded = text.written("dash") or (text.written("bare dash") if text.sure else {})
    found: Found | None = None
    if coded:
        dash = f"-{next(iter(coded.values()))}"
        found = _from_row(dash, by("oring_as568", "dash").get(dash))
        found.marks["system"] = "inch"
    else:
        japanese = _JAPANESE.search(text.left)
        if japanese and (text.sure or "JIS" in text.words or text.alone == japanese[0]):
            text.cut(*japanese.span())
            code = japanese[1] + japanese[2]
            found = _from_row(code, by("oring_metric", "code").get(code))
    text.written("standard")
    found = found or _from_sizes(text)
    if found is None and text.sure and material_of(text.left):
        found = Found(O_RING)  # a ring of which only the material is said
    if found is not None:
        take_material(text, found)
        text.take(r"\bSAME SIZE\b")
        text.take(r"\bJIS\b|\bAS ?568\b")
    return found


def _from_row(code: str, row: Row | None) -> Found:
    inner, cord = (exact(row["id_mm"]), exact(row["cs_mm"])) if row else (Decimal(0), Decimal(0))
    return by_row(O_RING, code, {"id": inner, "cs": cord, "od": inner + 2 * cord} if row else {}, row)


def _ring(diameter: Decimal | None, cord: Decimal | None, outside: bool = False) -> Found | None:
    """A ring of a diameter and a section [mm], where there can be one."""
    if not diameter or not cord or (outside and diameter <= 2 * cord):
        return None
    inner = diameter - 2 * cord if outside else diameter
    dims = {"id": inner, "cs": cord, "od": inner + 2 * cord}
    return by_row(O_RING, f"{shown(inner)}x{shown(cord)}", dims, by_size().get((inner, cord)))


def _from_sizes(text: Text) -> Found | None:
    if text.sure and (inch := text.take(_INCH_PAIR)):
        return _inch_ring(inch[1], inch[2])
    if text.sure and (triple := _TRIPLE.search(text.left)):
        inner, outer, cord = map(Decimal, triple.groups())
        return _ring(inner, cord) if outer == inner + 2 * cord and text.take(_TRIPLE) else None
    return _labelled_ring(text) or _bare_ring(text)


def _labelled_ring(text: Text) -> Found | None:
    labels = {s.label for s in text.sizes}
    sides = labels & {"inner", "outer"}
    if pair := text.take(_LABELLED_PAIR):
        diameter, cord = Decimal(pair[2]), Decimal(pair[3])
        return _ring(diameter, cord, outside=pair[1] == "O") if diameter > 2 * cord else None
    if text.sure and len(sides) == len(labels) == 1 and (left := text.take(rf"X ?({NUMBER})(?: ?MM)?(?![\w.])")):
        diameter, cord = text.sized(*sides) or Decimal(0), Decimal(left[1])
        return _ring(diameter, cord, outside=sides == {"outer"}) if diameter > 2 * cord else None
    if "inner" in sides:
        return _ring(text.sized("inner"), text.sized("section", "thickness", "width"))
    return _ring(text.sized("outer"), text.sized("section"), outside=True) if text.sure else None


def _bare_ring(text: Text) -> Found | None:
    bare = _PAIR.search(text.left)
    if bare is None:
        return None
    inner, cord = map(Decimal, bare.groups())
    plausible = Decimal("0.5") <= cord <= 16 and inner > cord / 2
    if not plausible or not (text.sure or inner > cord or (inner, cord) in by_size()):
        return None
    text.cut(*bare.span())
    return _ring(inner, cord)


def _inch_ring(first: str, second: str) -> Found | None:
    """A ring of inches; a section written as a fraction is the nominal one, thinner than the real ring."""
    inner, cord = inches(first), inches(second)
    if not inner or not cord:
        return None
    # real sections [in] of the nominal ones that inch rings are called by
    known = (row["value"] for row in said_of(O_RING, "nominal section", "writings") if row["pattern"] == second)
    if real := exact(next(known, 0)):
        same_cord = (r for r in rows("oring_as568") if exact(r["cs_in"]) == real)
        best = min(same_cord, key=lambda r: abs(exact(r["id_in"]) - inner))
        if abs(exact(best["id_in"]) - inner) <= NOMINAL_SLACK:
            return _from_row(best["dash"], best)
    size = inner * INCH, cord * INCH
    row = next((r for k, r in by_size().items() if all(abs(a - b) <= INCH_SLACK for a, b in zip(k, size, strict=True))),
               None)  # fmt: skip
    return _ring(*size) if row is None else _from_row(row.get("dash") or row["code"], row)


def _series(inner: Decimal, cord: Decimal) -> str:
    """Whether a ring is of the inch, the metric or the Japanese series; an unlisted one goes by its section."""
    row = by_size().get((inner, cord))
    if row is None:
        return "inch" if any(exact(r["cs_mm"]) == cord for r in rows("oring_as568")) else "metric"
    return "inch" if "dash" in row else "Japanese" if row["standard"].startswith("JIS") else "metric"


def compare_rings(judging: Judging) -> None:
    wanted, offered = judging.both
    missing = [part for part in judging.both if not part.dims]
    for part in missing:
        if part.size:
            judging.unknown(f"{part.size} is not in the table: measure inside diameter and section")
    if missing:
        if wanted.size == offered.size == "" or "same size" in offered.text.casefold():
            judging.note("no size is given to compare: the same size is taken as said")
        elif not (wanted.size and offered.size):
            judging.unknown("only one of the two says its size", "size")
        return
    gaps = {c: judging.gap(c) for c in ("id", "cs", "od")}
    judging.absent(TAKEN_AS_WRITTEN, "same")
    if max(abs(gaps["id"]), abs(gaps["cs"])) <= SAME:
        judging.note(f"same size: {shown(wanted.dims['id'])} x {shown(wanted.dims['cs'])} mm")
    else:
        _gaps(gaps, judging)


def _gaps(gaps: dict[str, Decimal], judging: Judging) -> None:
    """Findings on sizes that differ, against the tolerances of the listed sizes nearest to the wanted ring."""
    (inner, its_inner), (cord, its_cord) = judging.sizes("id"), judging.sizes("cs")
    # the metric tables here print no tolerance of the inside diameter, so the nearest inch size speaks
    of_id = min(rows("oring_as568"), key=lambda r: (abs(exact(r["id_mm"]) - inner), abs(exact(r["cs_mm"]) - cord)))
    both = [r for name in ("oring_as568", "oring_metric") for r in rows(name) if r["cs_tol_mm"]]
    of_cord = min(both, key=lambda r: abs(exact(r["cs_mm"]) - cord))
    judging.used(of_id, of_cord)
    judging.note(f"{shown(its_inner)} x {shown(its_cord)} mm against {shown(inner)} x {shown(cord)} mm")
    kinds = _series(inner, cord), _series(its_inner, its_cord)
    if kinds[0] != kinds[1] and gaps["cs"]:
        judging.note(f"one section is of the {kinds[0]} series, the other of the {kinds[1]}: look-alikes")
    for name, gap, whole, tolerance in (
        ("section", gaps["cs"], cord, exact(of_cord["cs_tol_mm"])),
        ("inside diameter", gaps["id"], inner, exact(of_id["id_tol_mm"])),
    ):
        way = "over" if gap > 0 else "below"
        said = f"{name} {shown(abs(gap))} mm {way} ({share(gap, whole)} %), tolerance {shown(tolerance)} mm"
        if abs(gap) > max(SAME, tolerance):
            judging.refuse(said, name)
        elif abs(gap) > SAME:
            judging.near(f"{said}: inside it, so it may be used, not taken for the same", name)


LIP_SEAL = "lip seal"
_METRIC = re.compile(
    rf"(?<![\d./A-Z])({NUMBER})[X/-]({NUMBER})[X/-]({NUMBER})(?:[X/-]({NUMBER}))?(?: ?MM)?(?![\d/]|[X-]\d)"
)
_GOST = re.compile(rf"\b([12])\.\d-({NUMBER})X({NUMBER})-({NUMBER})(?![\d.])")
_MARK = r"\s*(?:\"|IN(?:CH(?:ES)?)?)?\s*"
_INCH = re.compile(rf"(?<![\w./-])({PART}){_MARK}X\s*({PART}){_MARK}X\s*({PART})(?:\s*(\"|IN(?:CH(?:ES)?)?\b))?")
_THINNEST = Decimal(3)
"""A shaft [mm] thinner than any lip seal is made for: a smaller number is of inches."""
_LARGEST_INCH_STEP = Decimal(3)
"""How much larger [in] than its shaft the bore of a seal in inches may be (common practice, no source)."""


def read_lip_seal(text: Text) -> Found | None:
    """A lip seal by its sizes [mm]: shaft, bore, width and a second width over the lip where there is one."""
    gost = text.take(_GOST)
    sizes = [Decimal(s) for s in gost.groups()[1:]] if gost else _inch_lip_sizes(text) or _metric_lip_sizes(text)
    if not sizes and text.sure:
        labels = (("shaft", "inner"), ("outer", "bore"), ("width", "thickness"))
        labelled = [said for names in labels if (said := text.sized(*names))]
        sizes = labelled if len(labelled) == 3 else []
    if not sizes:
        return None
    size = "x".join(map(shown, sizes))
    dims = dict(zip(("d", "D", "b", "b_over_lip"), sizes, strict=False))
    found = by_row(LIP_SEAL, size, dims, by("seals", "designation").get(size))
    if type_ := {"1": "A", "2": "AS"}[gost[1]] if gost else _type(text):
        row = by("seal_types", "code")[type_]
        found.used.append(row)
        # the words for lips and case say what the letters say
        lips, case = "double" if row["dust_lip"] == "yes" else "single", "metal"
        found.marks |= {"type": type_, "lips": lips, "case": "rubber" if row["case"].startswith("rubber") else case}
    take_material(text, found)
    return found


def _inch_lip_sizes(text: Text) -> list[Decimal]:
    """Sizes of inches: by their sign, by a shaft too thin for mm, or by fractions."""
    inch = _INCH.search(text.left)
    shaft, bore, width = [inches(s) or Decimal(0) for s in inch.group(1, 2, 3)] if inch else [Decimal(0)] * 3
    if inch is None or not (0 < shaft < bore and width):
        return []
    # 30x52x7/8 is 7 mm wide and 8 over the lip
    fractions = "/" in inch[0] and bore - shaft < _LARGEST_INCH_STEP
    if not (inch[4] or fractions or shaft < _THINNEST):
        return []
    text.cut(*inch.span())
    return [s * INCH for s in (shaft, bore, width)]


def _metric_lip_sizes(text: Text) -> list[Decimal]:
    metric = _METRIC.search(text.left)
    sizes = [Decimal(s) for s in metric.groups() if s is not None] if metric else []
    if metric is None or sizes[0] >= sizes[1]:
        return []
    if not text.sure:
        said = material_of(text.left) or _type(text, look=True) or "X" in metric[0] or text.alone == metric[0]
        if sizes[2] >= sizes[1] or not said:
            return []
    text.cut(*metric.span())
    return sizes


def _type(text: Text, look: bool = False) -> str:
    table = by("seal_types", "code")
    for token in re.finditer(r"(?<![A-Z0-9.])([A-Z]{1,4})(?![A-Z0-9.])", text.left):
        if token[1] in table:
            if not look:
                text.cut(*token.span())
            return table[token[1]]["type"]
    return ""


def compare_lip_seals(judging: Judging) -> None:
    judging.absent(TAKEN_AS_WRITTEN, "same")
    compare(judging)


PUMP_SEAL = "pump shaft seal"
_PUMP_SEAL = re.compile(r"(?<![\w])([NK])([UB]) ?(0\d\d|100)(?:([RLS])([01]))?(?!\w)")
_PARTS = {"face": "face", "seat face": "face", "secondary seal": "secondary seal", "spring": "spring or metal",
          "metal": "spring or metal"}  # fmt: skip
"""What the five letters of EN 12756 are of, and in the words of mechanical_seal_materials.csv."""


def read_pump_seal(text: Text) -> Found | None:
    """A mechanical seal of a pump: by EN 12756 (NU043S0 and five letters of what it is made of) or by its shaft."""
    if code := text.take(_PUMP_SEAL):
        size, lengths = "".join(code.group(1, 2, 3)), "normal" if code[1] == "N" else "short"
        listed = (r for r in rows("mechanical_seals") if r[f"designation_{lengths}"] == size.replace("B", "U"))
        row, hand = next(listed, None), {"R": "right", "L": "left"}.get(code[4] or "", "")
        balance = "unbalanced" if code[2] == "U" else "balanced"
        marks = {"lengths": lengths, "balance": balance, "hand": hand, "seat": code[5] or ""}
        means = {(r["part"], r["code"]): r["material"] for r in rows("mechanical_seal_materials")}
        letters = ("|".join(letter for of, letter in means if of == part) for part in _PARTS.values())
        if made := text.take(rf"(?<![\w.]){''.join(f'({letter})' for letter in letters)}(?!\w)"):
            marks |= {name: means[part, c] for (name, part), c in zip(_PARTS.items(), made.groups(), strict=True)}
        found = by_row(PUMP_SEAL, size, {"shaft": Decimal(code[3])}, row, marks)
    elif text.sure and (shaft := text.sized("shaft", "inner", "diameter", "bore") or written_bore(text)):
        found = Found(PUMP_SEAL, f"{shown(shaft)} mm shaft", {"shaft": shaft}, listed=False)
    else:
        return None
    take_material(text, found)
    return found


def compare_pump_seals(judging: Judging) -> None:
    """All findings on two pump shaft seals: all sizes but the shaft are the maker's unless the standard is said."""
    compare(judging)
    if not all(judging.marks("lengths")) and judging.wanted.text != judging.offered.text:
        judging.unknown("only the shaft is said: ask for seat bore, seat depth and working length, or EN 12756", "size")
