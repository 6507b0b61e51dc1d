"""Multi-rib, toothed and V-belts: sections, profiles, which circumference a number names, what can stand for what."""

from __future__ import annotations

import math
import re
from decimal import Context, Decimal
from functools import cache

from repairecon.records import Designation
from repairecon.standards.findings import Found, Judging, by_row, compare_sizes
from repairecon.standards.tables import Row, by, rows, said_of
from repairecon.standards.words import INCH, NUMBER, Text, any_of, exact, share, shown, whole

RIBBED = "multi-rib belt"
TOOTHED = "toothed belt"
V_BELT = "V-belt"


def read_ribbed(text: Text) -> Found | None:
    """A multi-rib belt: 6PK1200, PK1200-6, 470K6, K060470."""
    for writing in said_of(RIBBED, "part", "writings"):
        unit, length = exact(writing["length_mm"]), writing["note"]
        sure = unit == 1 or length or text.sure or not re.search(r"\d[HL]\d{3}", text.left)
        if found := text.take(writing["pattern"]) if sure else None:
            side, ribs = found.groupdict().get("side") or "", found["ribs"]
            profile = f"P{found['profile'].removeprefix('P')}"
            dims = {"ribs": Decimal(ribs), "Le": Decimal(found["length"]) * unit}
            marks = {"profile": profile, "length": length, "sides": "double" if side == "D" else "",
                     "stretch": "elastic" if side == "E" else ""}  # fmt: skip
            size, row = f"{int(ribs)}{side}{profile}{whole(dims['Le'])}", by("belts_multirib", "profile")[profile]
            belt = by_row(RIBBED, size, dims, row, marks)
            said = text.take(r"(?<![\w.])(\d{1,2}) ?(?:RIBS?|GROOVES?)(?!\w)") if unit == 1 else None
            if said and said[1] != ribs:
                belt.against.append(f"says {said[0]!r}, but {belt.size} has {ribs}")
            return belt
    return None


def read_toothed(text: Text) -> Found | None:
    """A toothed belt: 225L050, 800-8M-30, 16 T5/510, T5-510-16."""
    if re.search(r"\d ?(?:MXL|XL|\dM|T5|T10)", text.left):
        text.take(r"\b(?:MXL|XL|HTD|AT5|AT10|T5|T10|[358]M|14M)(?= ¦)")  # said once more: XL belt 230XL037
    for writing in said_of(TOOTHED, "part", "writings"):
        found = re.search(writing["pattern"], text.left)
        said = found.groupdict() if found else {}
        wide = said.get("before") or said.get("width")
        if found is None or ("before" in said and not (text.sure or wide or "/" in found[0])):
            continue
        text.cut(*found.span())
        width = Decimal(wide) * exact(writing["width_mm"]) if wide else text.sized("width")
        dims = {"length": Decimal(said["length"]) * exact(writing["length_mm"])}
        dims |= {} if width is None else {"width": width}
        mark, marked = said["profile"], ((r, r["mark"]) for r in rows("belts_synchronous"))
        row = next((r for r, m in marked if mark in (m.removeprefix("HTD "), *m.replace(" ", "").split("/"))), None)
        size = writing["name"].format(**{**said, "width": said["width"] or "?"})
        belt = by_row(TOOTHED, size, dims, row, {"profile": mark})
        if row:
            belt.marks["profile word"] = {"roun": "round tooth", "trap": "trapezoidal"}.get(row["profile"][:4], "")
            belt.figures = {"pitch": float(row["pitch_mm"])}
        return belt
    return None


def compare_profiles(judging: Judging) -> None:
    """All findings on two multi-rib or two toothed belts."""
    for part in judging.both:
        if not part.listed:
            judging.unknown(f"{part.size} is of a profile that is not in the table")
        if "length" in part.marks:
            judging.near(f"{part.size}: the length is {part.marks['length']}: ask", "length")
    profiles = judging.marks("profile")
    if profiles[0] != profiles[1]:
        ribs = {row["profile"]: row["rib_pitch_mm"] for row in rows("belts_multirib")}
        known = [shown(part.figures["pitch"]) if part.figures else "?" for part in judging.both]
        pitches = [ribs.get(profile, pitch) for profile, pitch in zip(profiles, known, strict=True)]
        judging.note(f"{profiles[1]} has {pitches[1]} mm pitch, {profiles[0]} {pitches[0]} mm")
        return
    letter, slack, otherwise = "length", Decimal("0.6"), "the teeth number differs"
    if judging.wanted.kind == RIBBED:
        letter, slack, otherwise = "Le", Decimal("1.5"), "too far"  # 1.5 mm: one of inches, one of mm
    (want, has), gap = judging.sizes(letter), abs(judging.gap(letter))
    said = f"length {shown(has)} against {shown(want)} mm"
    taken_up = letter == "Le" and gap <= Decimal("0.015") * want  # by a tensioner (common practice, no source)
    judging.first(
        (gap <= slack, "same", f"{said}: the same"),
        (taken_up, "near", f"{said}: only if the tensioner has that travel", "length"),
        (True, "not", f"{said}: {otherwise}", "length"),
    )
    compare_sizes(judging)


_ENDS = r"(?:\s*(?:MM)?\s*[-/]?\s*\(?(LI|LD|LW|LP|LA|LE|INSIDE|OUTSIDE|PITCH|DATUM|EFFECTIVE)\)?)?(?:\s*MM)?"
_LINES = {
    "LI": "Li", "INSIDE": "Li", "LD": "Ld", "LW": "Ld", "LP": "Ld", "PITCH": "Ld", "DATUM": "Ld",
    "LA": "La", "LE": "La", "OUTSIDE": "La", "EFFECTIVE": "La",
}  # fmt: skip
_BY_WIDTH = {"Li": ("classical",), "Ld": ("classical", "wedge"), "La": ("automotive",)}
"""Families of sections that are named by their width and a length of a line."""
WIDTH_SLACK = Decimal("0.8")
"""How far top widths [mm] may be apart for one groove: the printed widths of one groove differ by up to 0.7."""
HEIGHT_SLACK = Decimal("1")
"""How far heights [mm] may be apart (common practice, no source)."""
INCH_ROUNDING = Decimal("1")
"""mm within which a length of inches and one of mm are written for the same belt."""
LINES = {"Li": "inside", "Ld": "datum", "La": "outside"}
MEANS = {name: line for line, name in LINES.items()}
_OUTSIDE_INCHES = {"A": 2, "B": 3, "C": 4}
"""What an American number, the inside length, lacks of the outside length [in]."""
_FM = re.compile(r"(?<![\w.-])2(\d{3})(?![\w.])")
_GOST = re.compile(rf"(?:[^\s(]\(([БВГДАО])\)|(?<!\w)([БВГДАО])|(?<!\w)Z ?\([0O]\))[ -]*({NUMBER})")
_SIZES = re.compile(rf"(?<![\w.])(?:AVX? ?)?({NUMBER})X({NUMBER}){_ENDS}(?![\w.])")


def lengths(row: Row, value: Decimal, line: str) -> dict[str, Decimal]:
    """The lengths [mm] (Li, Ld, La) of a belt of a section that can be known from the length [mm] of one line.

    Outside less inside is as printed, else 2 x pi x height; where the datum line lies between is the section table's.
    """
    columns = ("height_mm", "La_minus_Li_mm", "Ld_minus_Li_mm", "La_minus_Ld_mm")
    height, total, inner, outer = (exact(row[column]) if row[column] else None for column in columns)
    total = total or (height and Context(prec=4).multiply(Decimal(2 * math.pi), height))
    if outer is None and total is not None and inner is not None and row["family"] == "GOST":
        outer = total - inner
    steps = {"Li": {"La": total, "Ld": inner}, "Ld": {"Li": inner and -inner, "La": outer},
             "La": {"Li": total and -total, "Ld": outer and -outer}}[line]  # fmt: skip
    return {line: value} | {other: value + step for other, step in steps.items() if step is not None}


@cache
def sections() -> dict[str, Row]:
    """Rows of the sections by each of their written names."""
    return {name: row for row in reversed(rows("belts_sections")) for name in row["names"].split()}


@cache
def _named_pattern() -> re.Pattern[str]:
    letters = [n for n in sections() if not n.isdigit() and n != "FM" and not re.match("GOST|JIS|SAE|AMER|[А-Я]", n)]
    words = any_of(letters)
    others = r"CX|DX|[58]V|5VX|8VX|3VX|XPC|[ABC]A|15N|25N"
    prefix = r"(?:(JIS|GOST|SAE)[ -]?(?:K ?6323 ?)?)?"
    width = r"(?:\s*\(\d+\))?([ -]*\d\d?(?:\.\d)?X)?"
    sae = r"(?:9\.5|1\d)A"
    name = f"{others}|{words}|{sae}"
    return re.compile(rf"(?<![\w.]){prefix}({name}){width}(?:[ :X/-]*({NUMBER}))?{_ENDS}(?![\w.])")


def read_v_belt(text: Text) -> Found | None:
    """A V-belt's written name; where sure also a bare section."""
    text.left = re.sub(r"\b(AVX?) (?=1[037]\b|1[037]X)", r"\1", text.left)
    # the eastern writing (GOST 1284.1) by a Cyrillic letter or as Z(0)-1000
    eastern = text.take(_GOST)
    found = (
        _by_section(eastern[1] or eastern[2] or "GOSTZ", eastern[3], "") if eastern else _raw_edge(text) or _named(text)
    )
    if found is None:
        return None
    if build := text.feature("build"):
        # a word for the build goes before the letter: a cogged A belt is an AX one
        found.marks["build"] = build
        text.drop("build")
    text.take(r"(?:(?<=¦)|(?<=\s))X(?=\s|$)")
    return found


def _raw_edge(text: Text) -> Found | None:
    """A raw edge belt by its four digits, alone where they are no spherical roller bearing's."""
    raw = _FM.search(text.left)
    if raw is None or not (text.sure or (text.alone == raw[0] and not re.fullmatch(r"2[23](?:[01]\d|2[0-2])", raw[0]))):
        return None
    text.cut(*raw.span())
    return _by_section("FM", raw[1], "")


def _named(text: Text) -> Found | None:
    named = _named_pattern().search(text.left)
    if not (named and (named[1] or text.sure or _is_section(named[2], named[4] or "", text.alone == named[0]))):
        return _sized(text)
    text.cut(*named.span())
    name, number = f"{named[1] or ''}{named[2]}", (named[4] or "").lstrip("0")
    # DIN 2215 writes a classical belt as width x inside length
    line = _LINES.get(named[5] or "", "Li" if named[3] else "")
    if named[3] and number == sections().get(name, {}).get("height_mm"):
        number = ""  # width x height names the section once more
    if not number and (labelled := text.sized("length")) is not None:
        number = shown(labelled)
    return _by_section(name, number, line)


def _sized(text: Text) -> Found | None:
    """A width with a length of a line; one that does not say which line names neither section nor length."""
    sizes = _SIZES.search(text.left)
    if sizes is None:
        return None
    width, length = Decimal(sizes[1]), Decimal(sizes[2])
    plausible = 5 <= width <= 50 and length > (2 if sizes[3] else 15) * width
    if not (text.sure or plausible):
        return None
    text.cut(*sizes.span())
    if sizes[3]:
        return _by_width(width, sizes[2], _LINES[sizes[3]])
    size = f"{shown(width)} x {sizes[2]}"
    why = "names neither the section nor the line of the length: write AV, SAE or a letter, or Li, Ld or La"
    return Found(V_BELT, size, {"top_width": width}, listed=False, others=[(size, "unknown", why)])


def _is_section(name: str, number: str, alone: bool) -> bool:
    """Whether a name that does not say belt is of one: a single letter needs a number, alone on its line."""
    if name == "M" or re.fullmatch(r"(?:9\.5|1\d)A", name):
        return False
    if len(name) > 1 and (number or alone):
        return bool(number) or len(name) == 3 or not name.isalpha()
    return alone and (Decimal(number) >= 10 if number else name == "Z")


def _by_section(name: str, number: str, line: str) -> Found:
    if (row := sections().get(name)) is None:
        return Found(V_BELT, f"{name} {number}".strip(), marks={"section": name}, listed=False)
    found = _of_row(row, row["names"].split()[0])
    if name.startswith("AVX"):
        found.marks["build"] = "cogged"
    if number:
        found.size += f" {number}{f' {line}' if line else ''}"
        _add_length(found, row, Decimal(number), line)
    return found


def _of_row(row: Row, size: str) -> Found:
    marks = {name: row[name] for name in ("section", "family", "build")}
    marks["profile"] = {"wedge": "narrow", "classical": "classical"}.get(row["family"], "")
    dims = {c: exact(row[f"{c}_mm"]) for c in ("top_width", "height", "datum_width") if row[f"{c}_mm"]}
    return Found(V_BELT, size, dims, marks, [row])


def _add_length(found: Found, row: Row, number: Decimal, line: str) -> None:
    """The lengths that a number names, by the line that was said or the one that the section's numbers mean."""
    means, unit = row["number"].split()
    if unit == "in" and number > 360:
        unit = "mm"  # a larger number behind a letter is of mm
        means = "datum"  # ISO 4184 names classical belts in mm by their datum length (from memory)
    if unit == "in/10" and line:
        unit = "mm"
    line = line or MEANS[means]
    value = number * {"mm": Decimal(1), "in": INCH, "in/10": INCH / 10}[unit]
    found.marks |= {"line": line, "number": unit[:2]}
    known = lengths(row, value, line)
    if min(known.values()) < 100:  # mm; no closed V-belt is shorter
        found.listed = False
        return
    found.dims |= known
    letter = row["names"].removeprefix("AMERICAN")[0]
    if unit != "mm" and line == "La":
        found.figures["outside_in"] = float(value / INCH)
    elif unit != "mm" and row["family"] in ("classical", "American") and letter in _OUTSIDE_INCHES and line == "Li":
        found.figures["outside_in"] = float(number + _OUTSIDE_INCHES[letter])
    if entry := _entry(row, number, line, unit != "mm"):
        found.used.append(entry)
        keys = ("Li_catalogue1_mm", "Li_catalogue2_mm")
        found.figures |= {key: float(entry[key]) for key in keys if entry[key]}


def _entry(section: Row, number: Decimal, line: str, in_inches: bool) -> Row | None:
    """The row of the lists of lengths for a number of a section, by the line and the unit that it is of."""
    for row in rows("belts_lengths"):
        if row["section"] in section["names"].split() and exact(row["number"]) == number:
            named = row["circumference_named"]
            if in_inches != named.endswith("mm)") and MEANS[named.split()[0]] == line:
                return row
    return None


def _by_width(width: Decimal, number: str, line: str) -> Found:
    def near(row: Row) -> Decimal:
        return abs(exact(row["top_width_mm"]) - width)

    named = [row for row in rows("belts_sections") if row["family"] in _BY_WIDTH[line] and row["number"]
             and row["build"] != "cogged" and not row["section"].startswith("SAE")]  # fmt: skip
    row, size = min(named, key=near), f"{shown(width)} x {number} {line}"
    if near(row) > WIDTH_SLACK:
        return Found(V_BELT, size, {"top_width": width}, listed=False)
    belt = _of_row(row, size)
    _add_length(belt, row, Decimal(number), line)
    return belt


def compare_v_belts(judging: Judging) -> None:
    if judging.absent("is not in the table of belt sections: measure top width, height and length"):
        return
    if _section(judging):
        _length(judging)


def _section(judging: Judging) -> bool:
    """Findings on the sections; False where the one does not lie in the groove of the other."""
    (want, has), builds = judging.marks("section"), judging.marks("build")
    profiles = [f"{shown(part.dims['top_width'])} x {shown(part.dims['height']) if 'height' in part.dims else '?'} mm"
                for part in judging.both]  # fmt: skip
    if want == has:
        judging.note(f"same section: {want}, {profiles[0]}")
        return True
    labels, dims = [section.split(" (")[0] for section in (want, has)], [part.dims for part in judging.both]
    printed = all(dims[0].get(c) == dims[1].get(c) for c in ("top_width", "height", "datum_width"))
    # GOST 1284.1 gives the classical sections of ISO 4184
    eastern = set(judging.marks("family")) == {"GOST", "classical"} and printed and bool(builds[0])
    if builds[0] == builds[1] and (eastern or {want, has} == {"3V (9N)", "9N (3V)"}):
        judging.note(f"same section by two standards: {labels[0]} and {labels[1]}, {profiles[0]}")
        return True
    names = f"{labels[1]} ({profiles[1]}) against {labels[0]} ({profiles[0]})"
    width, tall = judging.gap("top_width"), judging.have("height") == 2
    wide = "wider: rides high" if width > 0 else "narrower: sinks into the groove"
    fits, most = abs(width) <= WIDTH_SLACK, HEIGHT_SLACK
    gap = judging.gap("height") if fits and tall else Decimal(0)
    far = f"{names}: like top width, {shown(abs(gap))} mm"
    judging.first(
        (not fits, "not", f"{names}: {shown(abs(width))} mm {wide}", "section", "top width"),
        (not tall, "near", f"{names}: same groove by top width; a height is not in the table", "section"),
        (gap > most, "not", f"{far} deeper: may run on the bottom of the groove and slip", "section", "height"),
        (gap < -most, "not", f"{far} less deep: less wedge, lower rating; a weak stop-gap", "section", "height"),
        (gap > 0, "near", f"{far} deeper: must not bottom in the groove", "section", "height"),
        (gap < 0, "near", f"{far} less deep: a little less wedge", "section", "height"),
        (True, "near", f"{names}: runs in the same groove, another construction", "section"),
    )
    return fits


def _length(judging: Judging) -> None:
    said = [part for part in judging.both if "line" in part.marks]
    (want, has), lines = judging.marks("section"), judging.marks("line")
    if len(said) == 1:
        _one_length(judging, said[0])
    elif not said:
        if want != has:
            judging.near("no length is said, and the two name their lengths differently: compare in mm", "length")
    else:
        # what both name, else outside where both are known, else any other
        order = [lines[0]] if lines[0] == lines[1] else ["Ld", "Li", "La"] if want == has else ["La", "Ld", "Li"]
        if line := next((c for c in order if judging.have(c) == 2), ""):
            _compare_line(judging, line)
        else:
            judging.unknown("the tables cannot bring their lengths to one line: measure round the outside", "length")


def _one_length(judging: Judging, said: Designation) -> None:
    """What to ask where only one of the two says its length; of a wedge belt also which is the nearest to be had."""
    missing = next(part for part in judging.both if part is not said)
    known = ", ".join(f"{shown(said.dims[c])} mm {name} length" for c, name in LINES.items() if c in said.dims)
    if missing.marks["family"] == "wedge" and (value := exact(said.dims.get("Ld", 0))):
        listed = (r for r in rows("belts_lengths") if r["section"] == "SPZ" and r["Ld_catalogue1_mm"])
        gap = min((exact(row["number"]) - value for row in listed), key=abs)
        how = f"{shown(abs(gap))} mm {'shorter' if gap < 0 else 'longer'}"
        known += f"; the nearest wedge belt length of the list is {shown(value + gap)}, {how}"
    judging.near(f"{missing.size} says no length; {said.size} is {known}: ask for it", "length")


def _compare_line(judging: Judging, line: str) -> None:
    (want, has), lines = judging.sizes(line), judging.marks("line")
    gap = judging.gap(line)
    inch = [part.figures["outside_in"] for part in judging.both if "outside_in" in part.figures]
    said = f"{LINES[line]} length {shown(has)} mm against {shown(want)} mm"
    if len(inch) == 2 and (line == "La" or lines[0] != lines[1]):
        want = exact(inch[0]) * INCH
        gap = judging.gap(line, exact(inch[1]) * INCH - want)
        said = f"outside length {shown(inch[1])} in against {shown(inch[0])} in (A, B, C: number + 2, 3, 4 in)"
    slack = INCH_ROUNDING if len(set(judging.marks("number"))) > 1 else Decimal("0.5")
    # a catalogue lists the number of one under the inside length of the other
    printed = line == "Li" and len(set(judging.marks("section"))) == 1 and any(
        part.figures.get(f"Li_catalogue{n}_mm") == other.dims.get("Li") for n in (1, 2)
        for part, other in (judging.both, judging.both[::-1]))  # fmt: skip
    # a usual tensioner takes up 2 % (common practice, no source); the published list of SPZ sold for 3V goes to 1.7 %
    taken_up, doubtful = abs(gap) <= Decimal("0.02") * want, "but what a JIS number names is doubtful"
    words = f"{said}: {shown(abs(gap))} mm ({share(gap, want)} %) {'longer' if gap > 0 else 'shorter'}"
    judging.first(
        (abs(gap) <= slack, "same", f"{said}: the same"),
        (printed, "same", f"{said}: a list sells the one as the other"),
        (taken_up, "near", f"{words}; only if the tensioner has that travel", "length"),
        ("JIS" in judging.marks("family"), "unknown", f"{words}; {doubtful}: measure round the outside", "length"),
        (True, "not", f"{words}, more than a tensioner usually takes up", "length"),
    )
