"""Circlips of shaft and bore, parallel keys and Woodruff keys."""

from __future__ import annotations

import re
from decimal import Decimal

from repairecon.records import Designation
from repairecon.standards.figures import NUMBER, exact, text
from repairecon.standards.judging import Judging
from repairecon.standards.material_names import material_of
from repairecon.standards.tables import Row, by, rows, trust

CIRCLIP = "circlip"
KEY = "parallel key"
WOODRUFF = "Woodruff key"
_RING = re.compile(r"\b(?:CIRCLIPS?|RETAINING RINGS?|SNAP RINGS?)\b|\bDIN[ -]?47[12]\b")
_PLACE = (
    ("shaft", r"DIN[ -]?471\b|\bSHAFT\b|\bEXTERNAL\b|\bOUTER\b"),
    ("bore", r"DIN[ -]?472\b|\bBORE\b|\bINTERNAL\b|\bINNER\b"),
)
_KEY = re.compile(r"\bDIN[ -]?6885(?:-1)?\b|\bISO ?/?R? ?773\b|\b(?:PARALLEL )?KEYS?\b(?!WAY)|\bFEATHER KEY\b")
_WOODRUFF = re.compile(r"\bWOODRUFF(?: KEYS?)?\b|\bDIN[ -]?6888\b|\bISO ?3912\b|\bHALF[ -]?MOON KEYS?\b")
_STANDARD = r"\b(?:DIN|ISO)[ -]?(?:/?R ?)?\d{3,4}(?:-1\b)?"
_SIZE = re.compile(rf"(?<![\d.])({NUMBER})(?:X({NUMBER}))?(?:X({NUMBER}))?(?!\d)")


def _ring_key(row: Row) -> tuple[str]:
    if row["item"] != CIRCLIP:
        return ("",)
    place = "shaft" if "shaft" in row["standard"] else "bore"
    return (f"{text(exact(row['nominal_mm']))} {place}",)


def read(words: str, hint: str = "") -> Designation | None:
    """A circlip's or key's written name; the hint is a kind of this module."""
    if _RING.search(words) or hint == CIRCLIP:
        return _ring(words)
    if _WOODRUFF.search(words) or hint == WOODRUFF:
        return _key(words, WOODRUFF)
    return _key(words, KEY) if _KEY.search(words) or hint == KEY else None


def _sizes(words: str) -> list[Decimal]:
    found = _SIZE.search(re.sub(_STANDARD, " ", words))
    return [] if found is None else [Decimal(s) for s in found.groups() if s is not None]


def _ring(words: str) -> Designation | None:
    place = next((name for name, signs in _PLACE if re.search(signs, words)), "")
    sizes = _sizes(words)
    if not sizes:
        return None
    marks = {"place": place} if place else {}
    if material_of(words):
        marks["material"] = material_of(words)
    row = by("circlips_keys", _ring_key).get(f"{text(sizes[0])} {place}")
    dims = {"nominal": float(sizes[0])}
    if row is not None:
        dims |= {c: float(row[f"{c}_mm"]) for c in ("thickness_s", "groove_d", "groove_width_m")}
    if len(sizes) > 1:
        dims["thickness_s"] = float(sizes[1])
    status, sources = trust([] if row is None else [row])
    size = f"{text(sizes[0])} {place}".strip()
    return Designation(words, CIRCLIP, size, dims, {}, marks, (), row is not None, status, sources)


def _key(words: str, kind: str) -> Designation | None:
    sizes = _sizes(words)
    if len(sizes) < 2:
        return None
    form = re.search(r"(?<![A-Z])(?:FORM ?)?([AB])(?= ?\d|$| )", re.sub(_STANDARD, " ", words))
    marks = {"form": form[1]} if form and kind == KEY else {}
    if material_of(words):
        marks["material"] = material_of(words)
    dims = dict(zip(("b", "h", "length"), map(float, sizes), strict=False))
    used = [r for r in rows("circlips_keys") if r["item"] == kind and _same_section(r, sizes)]
    status, sources = trust(used[:1])
    size = "x".join(text(s) for s in sizes)
    return Designation(words, kind, size, dims, {}, marks, (), bool(used), status, sources)


def _same_section(row: Row, sizes: list[Decimal]) -> bool:
    if row["item"] == WOODRUFF:
        return re.search(rf"(?<![\d.]){text(sizes[0])}x{text(sizes[1])}(?![\d.])", row["identify"]) is not None
    return exact(row["b_mm"]) == sizes[0] and exact(row["h_mm"]) == sizes[1]


def compare(wanted: Designation, offered: Designation, judging: Judging) -> None:
    """All findings on two circlips or two keys."""
    for part in (wanted, offered):
        if not part.listed and (part.kind != CIRCLIP or "place" in part.marks):
            judging.note(f"{part.size} is not in the table; it is taken as written")
    if wanted.kind == CIRCLIP:
        _rings(wanted, offered, judging)
    else:
        _keys(wanted, offered, judging)
    want, has = wanted.marks.get("material", ""), offered.marks.get("material", "")
    if "stainless" in (want, has) and want != has:
        words = f"{has or 'ordinary steel'} against {want or 'ordinary steel'}"
        judging.near(f"{words}: corrosion and springing differ", "material")


def _rings(wanted: Designation, offered: Designation, judging: Judging) -> None:
    places = wanted.marks.get("place", ""), offered.marks.get("place", "")
    if all(places) and places[0] != places[1]:
        judging.refuse(f"one is a ring for a {places[0]}, the other for a {places[1]}", "place")
    elif not all(places):
        judging.unknown("say whether the ring sits on a shaft (DIN 471) or in a bore (DIN 472)", "place")
    gap = exact(offered.dims["nominal"]) - exact(wanted.dims["nominal"])
    judging.gap("nominal", gap)
    if gap:
        words = f"{text(offered.dims['nominal'])} against {text(wanted.dims['nominal'])} mm"
        judging.refuse(f"nominal diameter {words}", "size")
        return
    if judging.verdict == "same":
        judging.note(f"same nominal diameter: {text(wanted.dims['nominal'])} mm")
    if "thickness_s" in wanted.dims and "thickness_s" in offered.dims:
        _thickness(wanted, offered, judging)


def _thickness(wanted: Designation, offered: Designation, judging: Judging) -> None:
    want, has = exact(wanted.dims["thickness_s"]), exact(offered.dims["thickness_s"])
    judging.gap("thickness_s", has - want)
    groove = wanted.dims.get("groove_width_m")
    if has == want:
        return
    said = f"{text(has)} mm thick against {text(want)} mm"
    if groove is not None and has > exact(groove):
        judging.refuse(f"{said}: does not go into a groove {text(groove)} mm wide", "thickness")
    else:
        judging.near(f"{said}: holds less, or is loose in the groove" if has < want else said, "thickness")


def _keys(wanted: Designation, offered: Designation, judging: Judging) -> None:
    for letter, name in (("b", "width"), ("h", "height")):
        gap = exact(offered.dims[letter]) - exact(wanted.dims[letter])
        judging.gap(letter, gap)
        if gap:
            judging.refuse(f"{name} {text(offered.dims[letter])} against {text(wanted.dims[letter])} mm", name)
    if judging.verdict == "same":
        judging.note(f"same width and height: {text(wanted.dims['b'])} x {text(wanted.dims['h'])} mm")
    if "length" in wanted.dims and "length" in offered.dims:
        gap = exact(offered.dims["length"]) - exact(wanted.dims["length"])
        judging.gap("length", gap)
        if gap:
            what = "longer: cut it to length" if gap > 0 else "shorter: less flank carries the torque"
            judging.near(f"{text(abs(gap))} mm {what}", "length")
    elif ("length" in wanted.dims) != ("length" in offered.dims):
        judging.near("only one of the two says its length", "length")
    forms = wanted.marks.get("form", ""), offered.marks.get("form", "")
    if all(forms) and forms[0] != forms[1]:
        judging.near(f"form {forms[1]} against {forms[0]}: A has round ends, B square ones; see the keyway", "form")
    elif forms[0] and not forms[1]:
        judging.near(f"the offer does not say its form, {forms[0]} is wanted: ask", "form")
