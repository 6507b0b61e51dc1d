"""Rotary shaft lip seals: shaft x bore x width, type and material."""

from __future__ import annotations

import re
from decimal import Decimal

from repairecon.records import Designation
from repairecon.standards.judging import Judging, compare_features
from repairecon.standards.materials import material_of, take_material
from repairecon.standards.reading import Found, sized
from repairecon.standards.tables import Row, by
from repairecon.standards.words import INCH, NUMBER, PART, Text, exact, inches, shown

KIND = "lip seal"
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


def _size(row: Row) -> tuple[str]:
    return (row["designation"].upper(),)


def _code(row: Row) -> tuple[str]:
    return (row["code"],)


def read(text: Text, sure: bool) -> Found | None:
    """A lip seal's written name."""
    found = _sizes(text, sure)
    if found is None:
        return None
    type_ = found.marks.get("type") or _type(text)
    if type_:
        found.marks["type"] = type_
        row = by("seal_types", _code)[type_]
        found.used.append(row)
        # the words for lips and case say what the letters say
        found.marks["lips"] = "double" if row["dust_lip"] == "yes" else "single"
        found.marks["case"] = "rubber" if row["case"].startswith("rubber") else "metal"
    take_material(text, found)
    return found


def _sizes(text: Text, sure: bool) -> Found | None:
    gost = text.take(_GOST)
    if gost:
        return _found(tuple(map(Decimal, gost.groups()[1:])), {"1": "A", "2": "AS"}[gost[1]])
    inch = _inches(text.left)
    if inch is not None:
        text.take(_INCH)
        return _found(inch, "")
    metric = _METRIC.search(text.left)
    if metric:
        sizes = tuple(Decimal(s) for s in metric.groups() if s is not None)
        fits = sizes[0] < sizes[1] and (sure or sizes[2] < sizes[1])
        said = sure or material_of(text.left) or _type(text, look=True)
        if fits and (said or "X" in metric[0] or text.alone == metric[0]):
            text.take(_METRIC)
            return _found(sizes, "")
        return None
    labels = {s.label for s in text.sizes}
    if sure and labels & {"shaft", "inner"} and labels & {"outer", "bore"}:
        labelled = [sized(text, "shaft") or sized(text, "inner"), sized(text, "outer") or sized(text, "bore"),
                    sized(text, "width") or sized(text, "thickness")]  # fmt: skip
        if all(labelled):
            return _found(tuple(s for s in labelled if s), "")
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
    table = by("seal_types", _code)
    for token in re.finditer(r"(?<![A-Z0-9.])([A-Z]{1,4})(?![A-Z0-9.])", text.left):
        if token[1] in table:
            if not look:
                text.cut(*token.span())
            return table[token[1]]["type"]
    return ""


def _found(sizes: tuple[Decimal, ...], type_: str) -> Found:
    size = "x".join(shown(s) for s in sizes)
    row = by("seals", _size).get(size.upper())
    dims = dict(zip((*LETTERS, "b_over_lip"), sizes, strict=False))
    used = [] if row is None else [row]
    marks = {"type": type_} if type_ else {}
    return Found(KIND, size, dims, marks, {}, used, row is not None, LETTERS, LABELS)


def compare(wanted: Designation, offered: Designation, judging: Judging) -> None:
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
