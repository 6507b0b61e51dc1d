"""Whether one belt can stand for another, V-belts first; the names of multi-rib and toothed belts."""

from __future__ import annotations

import re
from decimal import Decimal

from repairecon.records import Designation
from repairecon.standards.belt_names import nearest_listed
from repairecon.standards.findings import Found, Judging, compare_features, sized
from repairecon.standards.tables import Row, by, rows
from repairecon.standards.words import INCH, NUMBER, Text, exact, share, shown, whole

WIDTH_SLACK = Decimal("0.8")
"""How far top widths [mm] may be apart for one groove: the printed widths of one groove differ by up to 0.7."""

HEIGHT_SLACK = Decimal("1")
"""How far heights [mm] may be apart (common practice, no source)."""

NEAR_SHARE = Decimal("0.02")
"""Share of the length that a usual tensioner takes up: common practice, no source; the published list of SPZ belts
sold for 3V ones pairs lengths up to 1.7 % apart."""

INCH_ROUNDING = Decimal("1")
"""mm within which a length of inches and one of mm are written for the same belt."""

_LINES = {"Li": "inside", "Ld": "datum", "La": "outside"}


def compare_v_belts(wanted: Designation, offered: Designation, judging: Judging) -> None:
    """All findings on two V-belts."""
    compare_features(wanted, offered, judging)
    absent = [part for part in (wanted, offered) if not part.listed]
    for part in absent:
        judging.unknown(f"{part.size} is not in the table of belt sections: measure top width, height and length")
    if absent:
        return
    for part in (wanted, offered):
        if "guess" in part.marks and wanted.size != offered.size:
            line = _LINES[part.marks["line"]]
            judging.near(f"{part.size} does not say which length it names; {line} length is taken: ask", "length")
    if _section(wanted, offered, judging):
        _length(wanted, offered, judging)


def _row(part: Designation) -> Row:
    return next(row for row in rows("belts_sections") if row["section"] == part.marks["section"])


def _profile(part: Designation) -> str:
    return f"{shown(part.dims['top_width'])} x {shown(part.dims['height']) if 'height' in part.dims else '?'} mm"


def _section(wanted: Designation, offered: Designation, judging: Judging) -> bool:
    """Findings on the sections; False where they rule the offer out."""
    if wanted.marks["section"] == offered.marks["section"]:
        judging.note(f"same section: {wanted.marks['section']}, {_profile(wanted)}")
        _build(wanted, offered, judging)
        return True
    if _alike(wanted, offered):
        judging.note(f"same section by two standards: {_label(wanted)} and {_label(offered)}, {_profile(wanted)}")
        return True
    names = f"{_label(offered)} ({_profile(offered)}) against {_label(wanted)} ({_profile(wanted)})"
    width = exact(offered.dims["top_width"]) - exact(wanted.dims["top_width"])
    judging.gap("top_width", width)
    if abs(width) > WIDTH_SLACK:
        wide = "wider: rides high" if width > 0 else "narrower: sinks into the groove"
        judging.refuse(f"{names}: {shown(abs(width))} mm {wide}", "section", "top width")
        return False
    if not _heights(wanted, offered, names, judging):
        return False
    _build(wanted, offered, judging)
    return True


def _alike(wanted: Designation, offered: Designation) -> bool:
    """True for the classical sections that two standards print alike (GOST 1284.1 gives those of ISO 4184)."""
    families = {wanted.marks["family"], offered.marks["family"]}
    alike = all(wanted.dims.get(c) == offered.dims.get(c) for c in ("top_width", "height", "datum_width"))
    if wanted.marks.get("build") != offered.marks.get("build"):
        return False
    if {wanted.marks["section"], offered.marks["section"]} == {"3V (9N)", "9N (3V)"}:
        return True
    return families == {"GOST", "classical"} and alike and wanted.marks["build"] == offered.marks["build"]


def _label(part: Designation) -> str:
    return part.marks["section"].split(" (")[0]


def _heights(wanted: Designation, offered: Designation, names: str, judging: Judging) -> bool:
    if "height" not in wanted.dims or "height" not in offered.dims:
        judging.near(f"{names}: same groove by top width; a height is not in the table", "section")
        return True
    gap = exact(offered.dims["height"]) - exact(wanted.dims["height"])
    judging.gap("height", gap)
    if abs(gap) > HEIGHT_SLACK:
        _length(wanted, offered, judging)
        what = (
            "deeper: may run on the bottom of the groove and slip" if gap > 0
            else "less deep: less wedge, lower rating; runs only as a weak stop-gap"
        )  # fmt: skip
        judging.refuse(f"{names}: like top width, but {shown(abs(gap))} mm {what}", "section", "height")
        return False
    if gap:
        deeper = "deeper: must not bottom in the groove" if gap > 0 else "less deep: a little less wedge"
        judging.near(f"{names}: like top width, {shown(abs(gap))} mm {deeper}", "section", "height")
    else:
        judging.near(f"{names}: runs in the same groove, another construction", "section")
    return True


def _build(wanted: Designation, offered: Designation, judging: Judging) -> None:
    want, has = wanted.marks.get("build", ""), offered.marks.get("build", "")
    light = [part for part in (wanted, offered) if part.marks["family"] == "light duty"]
    if len(light) == 1:
        said = "the light-duty construction, for small drives; check the power"
        judging.near(f"{_label(light[0])} is {said}", "build")
    if want != has and want and has:
        judging.near(f"{has} against {want}: bends and grips otherwise; change all belts of a set together", "build")


def _length(wanted: Designation, offered: Designation, judging: Judging) -> None:
    missing = [part for part in (wanted, offered) if "line" not in part.marks]
    if missing:
        if len(missing) == 1:
            said = wanted if missing == [offered] else offered
            judging.near(f"{missing[0].size} says no length; {_wish(said, missing[0])}", "length")
        elif wanted.marks["section"] != offered.marks["section"]:
            judging.near("no length is said, and the two name their lengths differently: compare in mm", "length")
        return
    line = _common_line(wanted, offered)
    if not line:
        judging.unknown("the tables cannot bring their lengths to one line: measure round the outside", "length")
        return
    want, has = exact(wanted.dims[line]), exact(offered.dims[line])
    _judge_gap(wanted, offered, line, want, has, judging)


def _common_line(wanted: Designation, offered: Designation) -> str:
    """The line on which to compare: what both name, else outside where both are known, else any other."""
    if wanted.marks["line"] == offered.marks["line"]:
        return wanted.marks["line"]
    alike = wanted.marks["section"] == offered.marks["section"]
    order = ("Ld", "Li", "La") if alike else ("La", "Ld", "Li")
    return next((c for c in order if c in wanted.dims and c in offered.dims), "")


def _judge_gap(
    wanted: Designation, offered: Designation, line: str, want: Decimal, has: Decimal, judging: Judging
) -> None:
    inch = [part.figures.get("outside_in") for part in (wanted, offered)]
    name = _LINES[line]
    if inch[0] is not None and inch[1] is not None and (line == "La" or wanted.marks["line"] != offered.marks["line"]):
        want, has, name = exact(inch[0]) * Decimal("25.4"), exact(inch[1]) * Decimal("25.4"), "outside"
        said = f"outside length {shown(inch[1])} in against {shown(inch[0])} in (A, B, C: number + 2, 3, 4 in)"
    else:
        said = f"{name} length {shown(has)} mm against {shown(want)} mm"
    gap = has - want
    judging.gap(line, gap)
    units = {part.marks["number"] for part in (wanted, offered)}
    slack = INCH_ROUNDING if len(units) > 1 else Decimal("0.5")
    if abs(gap) <= slack:
        judging.note(f"{said}: the same")
        return
    if _catalogue(wanted, offered, line):
        judging.note(f"{said}: a list sells the one as the other")
        return
    way = "longer" if gap > 0 else "shorter"
    words = f"{said}: {shown(abs(gap))} mm ({share(gap, want)} %) {way}"
    if abs(gap) <= NEAR_SHARE * want:
        judging.near(f"{words}; only if the tensioner has that travel", "length")
    elif "JIS" in (wanted.marks["family"], offered.marks["family"]):
        judging.unknown(f"{words}; but what a JIS number names is doubtful: measure round the outside", "length")
    else:
        judging.refuse(f"{words}, more than a tensioner usually takes up", "length")


def _catalogue(wanted: Designation, offered: Designation, line: str) -> bool:
    """True if a catalogue lists the number of one under the inside length of the other."""
    if wanted.marks["section"] != offered.marks["section"] or line != "Li":
        return False
    for part, other in ((wanted, offered), (offered, wanted)):
        printed = [v for k, v in part.figures.items() if k.startswith("Li_catalogue")]
        if other.dims["Li"] in printed:
            return True
    return False


def _wish(said: Designation, missing: Designation) -> str:
    """Which length of the other section would stand for a belt."""
    if said.marks["section"] == missing.marks["section"]:
        return f"wanted is {said.size}"
    row = _row(missing)
    line = {"datum": "Ld", "inside": "Li", "outside": "La"}[row["number"].split()[0]] if row["number"] else "La"
    if line not in said.dims:
        return f"{said.size} is {shown(said.dims['La'])} mm outside" if "La" in said.dims else "ask for it"
    value = exact(said.dims[line])
    found = nearest_listed(row["family"], line, value)
    words = f"{said.size} is {shown(value)} mm {_LINES[line]} length"
    if found is None or row["family"] != "wedge":
        return words
    gap = exact(found["number"]) - value
    how = f"{shown(abs(gap))} mm {'longer' if gap > 0 else 'shorter'}" if gap else "the same"
    return f"{words}; the nearest wedge belt length of the list is {found['number']}, {how}"


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
    row = by("belts_multirib", "profile")[profile]
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
    row = next(
        (
            r
            for r in rows("belts_synchronous")
            if mark in (r["mark"].removeprefix("HTD "), *r["mark"].replace(" ", "").split("/"))
        ),
        None,
    )
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


def compare_ribs_teeth(wanted: Designation, offered: Designation, judging: Judging) -> None:
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
    _other_lengths(exact(wanted.dims[letter]), exact(offered.dims[letter]), letter, judging)
    if wanted.kind == RIBBED:
        _ribs(wanted, offered, judging)
    else:
        _widths(wanted, offered, judging)


def _pitch(part: Designation) -> str:
    for row in rows("belts_multirib"):
        if row["profile"] == part.marks["profile"]:
            return row["rib_pitch_mm"]
    return shown(part.figures["pitch"]) if "pitch" in part.figures else "?"


def _other_lengths(want: Decimal, has: Decimal, letter: str, judging: Judging) -> None:
    gap = has - want
    judging.gap(letter, gap)
    said = f"length {shown(has)} against {shown(want)} mm"
    slack = LENGTH_SLACK if letter == "Le" else Decimal("0.6")
    if abs(gap) <= slack:
        judging.note(f"{said}: the same")
    elif letter == "Le" and abs(gap) <= RIBS_NEAR_SHARE * want:
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
