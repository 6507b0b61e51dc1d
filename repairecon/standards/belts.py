"""Multi-rib and toothed belts: their written names, and whether one can stand for another."""

from __future__ import annotations

import re
from decimal import Decimal

from repairecon.standards.findings import Found, Judging, by_row, compare_sizes
from repairecon.standards.tables import by, rows
from repairecon.standards.words import INCH, NUMBER, Text, shown, whole

RIBBED = "multi-rib belt"
TOOTHED = "toothed belt"
LENGTH_SLACK = Decimal("1.5")
"""mm within which a length of inches and one of mm are written for the same belt."""
RIBS_NEAR_SHARE = Decimal("0.015")
"""Share of the length that a tensioner takes up (common practice, no source)."""
_RIBS = (
    re.compile(r"(?<![\w.])(?P<ribs>\d{1,2}) ?(?P<side>[DE])?(?P<profile>P[HJKLM]) ?-?(?P<length>\d{3,4})(?![\w.])"),
    re.compile(r"(?<![\w.])(?P<profile>P[HJKLM]) ?(?P<length>\d{3,4})[- /]+(?P<ribs>\d{1,2})(?![\w.])"),
    re.compile(r"(?<![\w.])(?P<length>\d{3,4}) ?(?P<profile>P[HJKLM]) ?(?P<ribs>\d{1,2})(?![\w.])"),
)
_INCH_RIBS = re.compile(r"(?<![\w.])(?P<length>\d{3,4})(?P<profile>[HJKLM]) ?(?P<ribs>\d{1,2})(?![\w.])")
_K = re.compile(r"(?<![\w.])K(?P<ribs>\d\d)0(?P<length>\d{3,4})(?![\w.])")
_METRIC = re.compile(
    rf"(?<![\w.])(?:(?P<before>{NUMBER})[ -]?)?(?P<profile>AT5|AT10|T2\.5|T5|T10)[ X/-]?(?P<length>\d{{3,4}})"
    r"(?:[X/ -](?P<width>\d{1,3})(?: ?MM)?)?(?![\w.])"
)
_INCH = re.compile(r"(?<![\w.])(?P<length>\d{2,4}) ?(?P<profile>MXL|XXH|XL|XH|L|H) ?-?(?P<width>\d{3})(?![\w.])")
_CURVED_FIRST = re.compile(
    r"(?<![\w.])(?:HTD[ -]?)?(?P<profile>3M|5M|8M|14M|20M|S\d{1,2}M)[ -](?P<length>\d{3,4})"
    r"[ -](?P<width>\d{1,3})(?![\w.])"
)
_CURVED = re.compile(
    r"(?<![\w.])(?:HTD[ -]?)?(?P<length>\d{2,4})[ -]?(?:HTD[ -]?)?(?P<profile>3M|5M|8M|14M|20M|8MGT|5MGT|S\d{1,2}M)"
    r"(?:[ -]?(?P<width>\d{1,3}))?(?![\w.])"
)
_MM = Decimal(1), Decimal(1)
_TEETH = (
    (_INCH, "{length}{profile}{width}", (INCH / 10, INCH / 100)),
    (_CURVED_FIRST, "{length}-{profile}-{width}", _MM),
    (_CURVED, "{length}-{profile}-{width}", _MM),
    (_METRIC, "{profile}/{length}", _MM),
)
"""Writings of a toothed belt, what each is called, and the units [mm] of its length and width."""


def read_ribbed(text: Text) -> Found | None:
    """A multi-rib belt: 6PK1200, PK1200-6, 470K6, K060470."""
    for pattern in _RIBS:
        if found := text.take(pattern):
            side = found.groupdict().get("side") or ""
            belt = _ribbed(found["ribs"], found["profile"], Decimal(found["length"]), side)
            said = text.take(r"(?<![\w.])(\d{1,2}) ?(?:RIBS?|GROOVES?)(?!\w)")
            if said and said[1] != found["ribs"]:
                belt.against.append(f"says {said[0]!r}, but {belt.size} has {found['ribs']}")
            return belt
    inch = text.take(_INCH_RIBS) if text.sure or not re.search(r"\d[HL]\d{3}", text.left) else None
    if inch:
        return _ribbed(inch["ribs"], f"P{inch['profile']}", Decimal(inch["length"]) / 10 * INCH)
    if maker := text.take(_K):
        belt = _ribbed(maker["ribs"], "PK", Decimal(maker["length"]) / 10 * INCH)
        belt.marks["length"] = "by the maker's number: it may be the outside length, about 13 mm more"
        return belt
    return None


def _ribbed(ribs: str, profile: str, length: Decimal, side: str = "") -> Found:
    marks = {"profile": profile, "sides": "double" if side == "D" else "", "stretch": "elastic" if side == "E" else ""}
    dims = {"ribs": Decimal(ribs), "Le": length}
    return by_row(RIBBED, f"{int(ribs)}{side}{profile}{whole(length)}", dims, by("belts_multirib", "profile")[profile],
                  marks)  # fmt: skip


def read_toothed(text: Text) -> Found | None:
    """A toothed belt: 225L050, 800-8M-30, 16 T5/510, T5-510-16."""
    if re.search(r"\d ?(?:MXL|XL|\dM|T5|T10)", text.left):
        text.take(r"\b(?:MXL|XL|HTD|AT5|AT10|T5|T10|[358]M|14M)(?= ¦)")  # said once more: XL belt 230XL037
    for pattern, name, (length_unit, width_unit) in _TEETH:
        found = pattern.search(text.left)
        said = found.groupdict() if found else {}
        wide = said.get("before") or said.get("width")
        if found is None or (pattern is _METRIC and not (text.sure or wide or "/" in found[0])):
            continue
        text.cut(*found.span())
        width = Decimal(wide) * width_unit if wide else text.sized("width")
        dims = {"length": Decimal(said["length"]) * length_unit} | ({} if width is None else {"width": width})
        return _toothed(said["profile"], name.format(**{**said, "width": said["width"] or "?"}), dims)
    return None


def _toothed(mark: str, size: str, dims: dict[str, Decimal]) -> Found:
    marked = ((r, r["mark"]) for r in rows("belts_synchronous"))
    row = next((r for r, m in marked if mark in (m.removeprefix("HTD "), *m.replace(" ", "").split("/"))), None)
    found = by_row(TOOTHED, size, dims, row, {"profile": mark})
    if row:
        found.marks["profile word"] = {"roun": "round tooth", "trap": "trapezoidal"}.get(row["profile"][:4], "")
        found.figures = {"pitch": float(row["pitch_mm"])}
    return found


def compare(judging: Judging) -> None:
    """All findings on two multi-rib or two toothed belts."""
    for part in judging.both:
        if not part.listed:
            judging.unknown(f"{part.size} is of a profile that is not in the table")
        if "length" in part.marks:
            judging.near(f"{part.size}: the length is {part.marks['length']}: ask", "length")
    want, has = judging.marks("profile")
    if want != has:
        ribs = {row["profile"]: row["rib_pitch_mm"] for row in rows("belts_multirib")}
        known = [shown(part.figures["pitch"]) if part.figures else "?" for part in judging.both]
        pitches = [ribs.get(profile, pitch) for profile, pitch in zip((want, has), known, strict=True)]
        judging.note(f"{has} has {pitches[1]} mm pitch, {want} {pitches[0]} mm")
    else:
        _compare_length(judging)
        compare_sizes(judging)


def _compare_length(judging: Judging) -> None:
    letter, slack, otherwise = "length", Decimal("0.6"), "the teeth number differs"
    if judging.wanted.kind == RIBBED:
        letter, slack, otherwise = "Le", LENGTH_SLACK, "too far"
    (want, has), gap = judging.sizes(letter), abs(judging.gap(letter))
    said = f"length {shown(has)} against {shown(want)} mm"
    if gap <= slack:
        judging.note(f"{said}: the same")
    elif letter == "Le" and gap <= RIBS_NEAR_SHARE * want:
        judging.near(f"{said}: only if the tensioner has that travel", "length")
    else:
        judging.refuse(f"{said}: {otherwise}", "length")
