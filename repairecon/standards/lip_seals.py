"""Rotary shaft lip seals: shaft x bore x width, type and material."""

from __future__ import annotations

import re
from decimal import Decimal

from repairecon.records import Designation
from repairecon.standards.figures import INCH, NUMBER, exact, inches, text
from repairecon.standards.judging import Judging
from repairecon.standards.material_names import material_of, rubber_marks
from repairecon.standards.tables import Row, by, trust

KIND = "lip seal"
_WORD = re.compile(r"\b(?:LIP|OIL|SHAFT|ROTARY|RADIAL)[ -]?(?:SHAFT )?SEALS?\b|\bSEALS?\b")
_METRIC = re.compile(rf"(?<![\d./])({NUMBER})[X/-]({NUMBER})[X/-]({NUMBER})(?:[X/-]({NUMBER}))?(?![\d/])")
_GOST = re.compile(rf"\b([12])\.\d-({NUMBER})X({NUMBER})-({NUMBER})(?![\d.])")
_PART = r"(?:\d+[ -])?\d+/\d+|\d*\.\d+|\d+(?:\.\d+)?"
_MARK = r"\s*(?:\"|IN(?:CH(?:ES)?)?)?\s*"
_INCH = re.compile(rf"(?<![\w./-])({_PART}){_MARK}X\s*({_PART}){_MARK}X\s*({_PART})(?:\s*(\"|IN(?:CH(?:ES)?)?\b))?")
_THINNEST = Decimal(3)
"""A shaft [mm] thinner than any lip seal is made for: a smaller number is of inches."""
SLACK = Decimal("0.05")
"""Half the last printed digit of an inch size turned into mm [mm]."""
LETTERS = ("d", "D", "b")


def _size(row: Row) -> tuple[str]:
    return (row["designation"].upper(),)


def _code(row: Row) -> tuple[str]:
    return (row["code"],)


def says(words: str) -> bool:
    """True if the words say that it is a lip seal."""
    return _WORD.search(words) is not None


def read(words: str, hint: bool = False) -> Designation | None:
    """A lip seal's written name."""
    gost = _GOST.search(words)
    inch = _inches(words)
    metric = _METRIC.search(words)
    if gost:
        sizes = tuple(map(Decimal, gost.groups()[1:]))
        return _designation(words, sizes, {"1": "A", "2": "AS"}[gost[1]])
    if inch is not None:
        return _designation(words, inch, _type(words))
    if metric:
        sizes = tuple(Decimal(s) for s in metric.groups() if s is not None)
        fits = sizes[0] < sizes[1] and (hint or sizes[2] < sizes[1])
        told = hint or says(words) or material_of(words) or _type(words)
        if fits and (told or "X" in metric[0] or words == metric[0]):
            return _designation(words, sizes, _type(words))
    return None


def _inches(words: str) -> tuple[Decimal, ...] | None:
    """Sizes [mm] of a seal written in inches: by their sign, by fractions, or by a shaft too thin for mm."""
    found = _INCH.search(words)
    if found is None:
        return None
    sizes = [inches(s) for s in found.group(1, 2, 3)]
    told = found[4] or "/" in found[0]
    if not all(sizes) or sizes[0] is None or sizes[1] is None or sizes[0] >= sizes[1]:
        return None
    return tuple(s * INCH for s in sizes if s) if told or sizes[0] < _THINNEST else None


def _type(words: str) -> str:
    table = by("seal_types", _code)
    for token in re.findall(r"(?<![A-Z])([A-Z]{1,4})(?![A-Z.])", words):
        if token in table:
            return table[token]["type"]
    return ""


def _designation(words: str, sizes: tuple[Decimal, ...], type_: str) -> Designation:
    size = "x".join(text(s) for s in sizes)
    row = by("seals", _size).get(size.upper())
    marks = ({"type": type_} if type_ else {}) | rubber_marks(words)
    dims = dict(zip(LETTERS, map(float, sizes), strict=False))
    if len(sizes) > len(LETTERS):
        dims["b_over_lip"] = float(sizes[3])
    status, sources = trust([r for r in (row, by("seal_types", _code).get(type_)) if r is not None])
    return Designation(words, KIND, size, dims, {}, marks, (), row is not None, status, sources)


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
        words = " x ".join(text(wanted.dims[c]) for c in ("d", "D"))
        judging.note(f"same shaft and bore: {words} mm")
        _width(gaps["b"], judging)
        _types(wanted, offered, judging)
        _lips(wanted, offered, judging)
    judging.caution("Feel the shaft where the lip ran: on a groove a new seal of any make will leak.")


def _fits(gaps: dict[str, Decimal], judging: Judging) -> bool:
    shaft, outer = gaps["d"], gaps["D"]
    if abs(shaft) > SLACK:
        judging.refuse(
            f"made for a shaft {text(abs(shaft))} mm {'thicker' if shaft > 0 else 'thinner'}: "
            + ("the lip does not touch" if shaft > 0 else "the lip is overstretched, wears and runs hot"),
            "shaft",
        )
    if abs(outer) > SLACK:
        judging.refuse(
            f"outside diameter {text(abs(outer))} mm {'larger' if outer > 0 else 'smaller'}: "
            + ("does not go into the bore" if outer > 0 else "is loose in the bore"),
            "outside diameter",
        )
    return abs(shaft) <= SLACK and abs(outer) <= SLACK


def _width(gap: Decimal, judging: Judging) -> None:
    if abs(gap) <= SLACK:
        return
    if gap > 0:
        said = f"{text(gap)} mm wider: only if the bore is deep enough and the lip finds good shaft"
    else:
        said = f"{text(-gap)} mm narrower: goes in, the lip runs on another track; press it where the shaft is good"
    judging.near(said, "width")


def _types(wanted: Designation, offered: Designation, judging: Judging) -> None:
    want, has = wanted.marks.get("type", ""), offered.marks.get("type", "")
    if not want or want == has:
        if has and not want:
            judging.note(f"the offer is of type {has}; the type of the old seal was not said")
        return
    if not has:
        judging.near(f"the offer does not say its type, {want} is wanted: ask", "type")
        return
    table = by("seal_types", _code)
    old, new = table[want], table[has]
    if old["dust_lip"] != new["dust_lip"]:
        said = (
            "loses the dust lip that keeps spray and dirt out" if old["dust_lip"] == "yes"
            else "an extra dust lip, slightly more heat"
        )  # fmt: skip
        judging.near(f"type {has} against {want}: {said}", "dust lip")
    if old["case"] != new["case"]:
        judging.near(f"{new['case']} outside against {old['case']}: seats otherwise in a worn or soft bore", "case")


def _lips(wanted: Designation, offered: Designation, judging: Judging) -> None:
    if wanted.dims.get("b_over_lip") != offered.dims.get("b_over_lip"):
        judging.near("only one of the two is written with a second width over the lip", "width")
