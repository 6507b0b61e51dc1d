"""Multi-rib and toothed belts: their written names, and whether one can stand for another."""

from __future__ import annotations

import re
from decimal import Decimal

from repairecon.standards.findings import Found, Judging, by_row, compare_features, sized
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
_INCH_TEETH = re.compile(r"(?<![\w.])(\d{2,4}) ?(MXL|XXH|XL|XH|L|H) ?-?(\d{3})(?![\w.])")
_CURVED = re.compile(
    r"(?<![\w.])(?:HTD[ -]?)?(\d{2,4})[ -]?(?:HTD[ -]?)?(3M|5M|8M|14M|20M|8MGT|5MGT|S\d{1,2}M)"
    r"(?:[ -]?(\d{1,3}))?(?![\w.])"
)
_CURVED_FIRST = re.compile(r"(?<![\w.])(?:HTD[ -]?)?(3M|5M|8M|14M|20M|S\d{1,2}M)[ -](\d{3,4})[ -](\d{1,3})(?![\w.])")
_METRIC = re.compile(
    rf"(?<![\w.])(?:({NUMBER})[ -]?)?(AT5|AT10|T2\.5|T5|T10)[ X/-]?(\d{{3,4}})(?:[X/ -](\d{{1,3}})(?: ?MM)?)?(?![\w.])"
)


def read_ribbed(text: Text, sure: bool) -> Found | None:
    """A multi-rib belt: 6PK1200, PK1200-6, 470K6, K060470."""
    for pattern in _RIBS:
        if found := text.take(pattern):
            side = found.groupdict().get("side") or ""
            belt = _ribbed(found["ribs"], found["profile"], Decimal(found["length"]), side)
            said = text.take(r"(?<![\w.])(\d{1,2}) ?(?:RIBS?|GROOVES?)(?!\w)")
            if said and said[1] != found["ribs"]:
                belt.against.append(f"says {said[0]!r}, but {belt.size} has {found['ribs']}")
            return belt
    inch = text.take(_INCH_RIBS) if sure or not re.search(r"\d[HL]\d{3}", text.left) else None
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


def read_toothed(text: Text, sure: bool) -> Found | None:
    """A toothed belt: 225L050, 800-8M-30, 16 T5/510, T5-510-16."""
    if re.search(r"\d ?(?:MXL|XL|\dM|T5|T10)", text.left):
        text.take(r"\b(?:MXL|XL|HTD|AT5|AT10|T5|T10|[358]M|14M)(?= ¦)")  # said once more: XL belt 230XL037
    if inch := text.take(_INCH_TEETH):
        length, width = Decimal(inch[1]) / 10 * INCH, Decimal(inch[3]) / 100 * INCH
        return _toothed(inch[2], length, width, "".join(inch.groups()))
    if curved := text.take(_CURVED_FIRST):
        return _toothed(curved[1], Decimal(curved[2]), Decimal(curved[3]), f"{curved[2]}-{curved[1]}-{curved[3]}")
    if curved := text.take(_CURVED):
        wide = Decimal(curved[3]) if curved[3] else sized(text, "width")
        return _toothed(curved[2], Decimal(curved[1]), wide, f"{curved[1]}-{curved[2]}-{curved[3] or '?'}")
    metric = _METRIC.search(text.left)
    if metric and (sure or metric[1] or metric[4] or "/" in metric[0]):
        text.cut(*metric.span())
        wide = Decimal(metric[1] or metric[4]) if metric[1] or metric[4] else sized(text, "width")
        return _toothed(metric[2], Decimal(metric[3]), wide, f"{metric[2]}/{metric[3]}")
    return None


def _toothed(mark: str, length: Decimal, width: Decimal | None, size: str) -> Found:
    marked = ((r, r["mark"]) for r in rows("belts_synchronous"))
    row = next((r for r, m in marked if mark in (m.removeprefix("HTD "), *m.replace(" ", "").split("/"))), None)
    marks = {"profile": mark}
    for start, words in (("round", "round tooth"), ("trap", "trapezoidal")):
        if row and row["profile"].startswith(start):
            marks["profile word"] = words
    dims = {"length": length} | ({} if width is None else {"width": width})
    found = by_row(TOOTHED, size, dims, row, marks)
    if row:
        found.figures = {"pitch": float(row["pitch_mm"])}
    return found


def compare(judging: Judging) -> None:
    """All findings on two multi-rib or two toothed belts."""
    compare_features(judging)
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
    elif judging.wanted.kind == RIBBED:
        _compare_length(judging, "Le", LENGTH_SLACK, "too far")
        if gap := judging.gap("ribs"):
            what = "more: stands over the pulley unless that is wide enough"
            if gap < 0:
                what = "fewer: carries less; a stop-gap on an alternator"
            judging.near(f"{shown(abs(gap))} rib(s) {what}", "ribs")
    else:
        _compare_length(judging, "length", Decimal("0.6"), "the teeth number differs")
        if judging.have("width") == 1:
            judging.near("only one of the two says its width", "width")
        elif judging.have("width") and abs(gap := judging.gap("width")) > Decimal("0.3"):
            what = "wider: stands over the pulley" if gap > 0 else "narrower: carries less; a stop-gap"
            judging.near(f"{shown(abs(gap))} mm {what}", "width")


def _compare_length(judging: Judging, letter: str, slack: Decimal, otherwise: str) -> None:
    (want, has), gap = judging.sizes(letter), abs(judging.gap(letter))
    said = f"length {shown(has)} against {shown(want)} mm"
    if gap <= slack:
        judging.note(f"{said}: the same")
    elif letter == "Le" and gap <= RIBS_NEAR_SHARE * want:
        judging.near(f"{said}: only if the tensioner has that travel", "length")
    else:
        judging.refuse(f"{said}: {otherwise}", "length")
