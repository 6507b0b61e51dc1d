"""Multi-rib and toothed belts: profile, length, and ribs or width."""

from __future__ import annotations

import re
from decimal import Decimal

from repairecon.records import Designation
from repairecon.standards.judging import Judging, compare_features
from repairecon.standards.reading import Found, sized
from repairecon.standards.tables import Row, by, rows
from repairecon.standards.words import INCH, NUMBER, Text, exact, shown, whole

RIBBED = "multi-rib belt"
TOOTHED = "toothed belt"
LENGTH_SLACK = Decimal("1.5")
"""mm within which a length of inches and one of mm are written for the same belt."""
NEAR_SHARE = Decimal("0.015")
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
_TEETH = re.compile(r"(?<![\w.])(\d{2,3}) ?(?:TEETH|TOOTH|Z)(?!\w)")


def _profile(row: Row) -> tuple[str]:
    return (row["profile"],)


def _mark(row: Row) -> tuple[str, ...]:
    return tuple({row["mark"].removeprefix("HTD "), *row["mark"].replace(" ", "").split("/")})


def read_ribbed(text: Text, sure: bool) -> Found | None:
    """A multi-rib belt: 6PK1200, PK1200-6, 470K6, K060470."""
    for pattern in _RIBS:
        if found := text.take(pattern):
            side = found.groupdict().get("side") or ""
            belt = _ribbed(int(found["ribs"]), found["profile"], Decimal(found["length"]), side)
            said = text.take(r"(?<![\w.])(\d{1,2}) ?(?:RIBS?|GROOVES?)(?!\w)")
            if said and said[1] != found["ribs"]:
                belt.against.append(f"says {said[0]!r}, but {belt.size} has {found['ribs']}")
            return belt
    inch = text.take(_INCH_RIBS) if sure or not re.search(r"\d[HL]\d{3}", text.left) else None
    maker = None if inch else text.take(_K)
    if inch or maker:
        match = inch or maker
        assert match is not None
        profile = f"P{inch['profile']}" if inch else "PK"
        length = Decimal(match["length"]) / 10 * INCH
        ribbed = _ribbed(int(match["ribs"]), profile, length, "")
        if maker:
            ribbed.marks["length"] = "by the maker's number: it may be the outside length, about 13 mm more"
        return ribbed
    return None


def _ribbed(ribs: int, profile: str, length: Decimal, side: str) -> Found:
    row = by("belts_multirib", _profile)[profile]
    dims = {"ribs": Decimal(ribs), "Le": length}
    marks = {"profile": profile, "sides": "double" if side == "D" else "", "stretch": "elastic" if side == "E" else ""}
    size = f"{ribs}{side}{profile}{whole(length)}"
    labels = {"length": "Le", "width": "width"}
    found = Found(RIBBED, size, dims, marks, used=[row], labels=labels)
    found.figures = {"width": float(ribs * exact(row["rib_pitch_mm"]))}
    return found


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
        width_mm = Decimal(curved[3]) if curved[3] else sized(text, "width")
        return _toothed(curved[2], Decimal(curved[1]), width_mm, f"{curved[1]}-{curved[2]}-{curved[3] or '?'}")
    metric = _METRIC.search(text.left)
    if metric and (sure or metric[1] or metric[4] or "/" in metric[0]):
        text.cut(*metric.span())
        width_mm = Decimal(metric[1] or metric[4]) if metric[1] or metric[4] else sized(text, "width")
        return _toothed(metric[2], Decimal(metric[3]), width_mm, f"{metric[2]}/{metric[3]}")
    return None


def _toothed(mark: str, length: Decimal, width: Decimal | None, size: str) -> Found:
    row = by("belts_synchronous", _mark).get(mark)
    dims = {"length": length} | ({} if width is None else {"width": width})
    labels = {"length": "length", "width": "width"}
    marks = {"profile": mark}
    if row is None:
        return Found(TOOTHED, size, dims, marks, listed=False, labels=labels)
    if row["profile"].startswith("round"):
        marks["profile word"] = "round tooth"
    elif row["profile"].startswith("trap"):
        marks["profile word"] = "trapezoidal"
    found = Found(TOOTHED, size, dims, marks, used=[row], labels=labels)
    found.figures = {"pitch": float(row["pitch_mm"]), "teeth": float(whole(length / exact(row["pitch_mm"])))}
    return found


def compare(wanted: Designation, offered: Designation, judging: Judging) -> None:
    """All findings on two multi-rib or two toothed belts."""
    compare_features(wanted, offered, judging)
    for part in (wanted, offered):
        if not part.listed:
            judging.unknown(f"{part.size} is of a profile that is not in the table")
        if "length" in part.marks:
            judging.near(f"{part.size}: the length is {part.marks['length']}: ask", "length")
    if wanted.marks["profile"] != offered.marks["profile"]:
        pitches = [_pitch(part) for part in (wanted, offered)]
        judging.note(f"{offered.marks['profile']} has {pitches[1]} mm pitch, {wanted.marks['profile']} {pitches[0]} mm")
        return
    letter = "Le" if wanted.kind == RIBBED else "length"
    _lengths(exact(wanted.dims[letter]), exact(offered.dims[letter]), letter, judging)
    if wanted.kind == RIBBED:
        _ribs(wanted, offered, judging)
    else:
        _widths(wanted, offered, judging)


def _pitch(part: Designation) -> str:
    for row in rows("belts_multirib"):
        if row["profile"] == part.marks["profile"]:
            return row["rib_pitch_mm"]
    return shown(part.figures["pitch"]) if "pitch" in part.figures else "?"


def _lengths(want: Decimal, has: Decimal, letter: str, judging: Judging) -> None:
    gap = has - want
    judging.gap(letter, gap)
    said = f"length {shown(has)} against {shown(want)} mm"
    slack = LENGTH_SLACK if letter == "Le" else Decimal("0.6")
    if abs(gap) <= slack:
        judging.note(f"{said}: the same")
    elif letter == "Le" and abs(gap) <= NEAR_SHARE * want:
        judging.near(f"{said}: only if the tensioner has that travel", "length")
    else:
        judging.refuse(f"{said}: {'the teeth number differs' if letter == 'length' else 'too far'}", "length")


def _ribs(wanted: Designation, offered: Designation, judging: Judging) -> None:
    gap = exact(offered.dims["ribs"]) - exact(wanted.dims["ribs"])
    judging.gap("ribs", gap)
    if gap < 0:
        judging.near(f"{shown(-gap)} rib(s) fewer: carries less; a stop-gap on an alternator", "ribs")
    elif gap > 0:
        judging.near(f"{shown(gap)} rib(s) more: stands over the pulley unless that is wide enough", "ribs")


def _widths(wanted: Designation, offered: Designation, judging: Judging) -> None:
    if "width" not in wanted.dims or "width" not in offered.dims:
        if "width" in wanted.dims or "width" in offered.dims:
            judging.near("only one of the two says its width", "width")
        return
    gap = exact(offered.dims["width"]) - exact(wanted.dims["width"])
    judging.gap("width", gap)
    if abs(gap) <= Decimal("0.3"):
        return
    what = "wider: stands over the pulley" if gap > 0 else "narrower: carries less; a stop-gap"
    judging.near(f"{shown(abs(gap))} mm {what}", "width")
