"""V-belts: section, the number and which circumference it names, lengths on every line; what can stand for what."""

from __future__ import annotations

import re
from decimal import Decimal
from functools import cache

from repairecon.records import Designation
from repairecon.standards.findings import Found, Judging, compare_features, sized
from repairecon.standards.tables import Row, rows
from repairecon.standards.words import INCH, NUMBER, Text, around, exact, share, shown

KIND = "V-belt"
_ENDS = r"(?:\s*(?:MM)?\s*[-/]?\s*\(?(LI|LD|LW|LP|LA|LE|INSIDE|OUTSIDE|PITCH|DATUM|EFFECTIVE)\)?)?(?:\s*MM)?"
_LINES = {
    "LI": "Li", "INSIDE": "Li", "LD": "Ld", "LW": "Ld", "LP": "Ld", "PITCH": "Ld", "DATUM": "Ld",
    "LA": "La", "LE": "La", "OUTSIDE": "La", "EFFECTIVE": "La",
}  # fmt: skip
_BY_WIDTH = {"Li": ("classical",), "Ld": ("classical", "wedge"), "La": ("automotive",)}
_LARGEST_INCH = Decimal(360)
"""A larger number behind a letter of a classical section is of mm."""
_SHORTEST = Decimal(100)
"""mm; no closed V-belt is shorter."""
WIDTH_SLACK = Decimal("0.8")
"""How far top widths [mm] may be apart for one groove: the printed widths of one groove differ by up to 0.7."""
HEIGHT_SLACK = Decimal("1")
"""How far heights [mm] may be apart (common practice, no source)."""
NEAR_SHARE = Decimal("0.02")
"""Share of the length that a usual tensioner takes up: common practice, no source; the published list of SPZ belts
sold for 3V ones pairs lengths up to 1.7 % apart."""
INCH_ROUNDING = Decimal("1")
"""mm within which a length of inches and one of mm are written for the same belt."""
LINES = {"Li": "inside", "Ld": "datum", "La": "outside"}
MEANS = {name: line for line, name in LINES.items()}
_NAMED_LINE = {"inside": "Li", "outside": "La", "datum (mm)": "Ld", "outside La (mm)": "La"}
_OUTSIDE_INCHES = {"A": 2, "B": 3, "C": 4}
"""What an American number, the inside length, lacks of the outside length [in]."""
_FM = re.compile(r"(?<![\w.-])2(\d{3})(?![\w.])")
_BEARING = r"2[23](?:[01]\d|2[0-2])"
_GOST_LETTERS = {"Б": "GOSTB", "В": "GOSTC", "Г": "GOSTD", "Д": "GOSTE", "А": "GOSTA", "О": "GOSTZ"}


def outside_minus_inside(row: Row) -> Decimal | None:
    """La - Li [mm] of a section as printed, else 2 x pi x height, else None."""
    return _cell(row, "La_minus_Li_mm") or (around(exact(row["height_mm"])) if row["height_mm"] else None)


def _cell(row: Row, column: str) -> Decimal | None:
    return exact(row[column]) if row[column] else None


def lengths(row: Row, value: Decimal, line: str) -> dict[str, Decimal]:
    """The lengths [mm] (Li, Ld, La) of a belt of a section that can be known from the length [mm] of one line.

    Outside less inside is 2 x pi x height; where the datum line lies between is the section table's.
    """
    total = outside_minus_inside(row)
    inner, outer = _cell(row, "Ld_minus_Li_mm"), _cell(row, "La_minus_Ld_mm")
    if outer is None and total is not None and inner is not None and row["family"] == "GOST":
        outer = total - inner
    steps = {"Li": {"La": total, "Ld": inner}, "Ld": {"Li": inner and -inner, "La": outer},
             "La": {"Li": total and -total, "Ld": outer and -outer}}[line]  # fmt: skip
    return {line: value} | {other: value + step for other, step in steps.items() if step is not None}


def _listed(row: Row, number: Decimal, line: str, in_inches: bool) -> Row | None:
    """The row of the length lists for a section's number, if it is there."""
    for entry in rows("belts_lengths"):
        named = entry["circumference_named"]
        of_section = entry["section"] in row["names"].split() and in_inches != named.endswith("mm)")
        if of_section and exact(entry["number"]) == number and _NAMED_LINE[named] == line:
            return entry
    return None


@cache
def sections() -> dict[str, Row]:
    """Rows of the sections by each of their written names."""
    return {name: row for row in reversed(rows("belts_sections")) for name in row["names"].split()}


@cache
def _named_pattern() -> re.Pattern[str]:
    letters = [n for n in sections() if not n.isdigit() and n != "FM" and not re.match("GOST|JIS|SAE|AMER|[А-Я]", n)]
    words = "|".join(sorted((re.escape(n) for n in letters), key=len, reverse=True))
    others = r"CX|DX|[58]V|5VX|8VX|3VX|XPC|[ABC]A|15N|25N"
    prefix = r"(?:(JIS|GOST|SAE)[ -]?(?:K ?6323 ?)?)?"
    width = r"(?:\s*\(\d+\))?([ -]*\d\d?(?:\.\d)?X)?"
    return re.compile(rf"(?<![\w.]){prefix}({others}|{words}|1\dA){width}(?:[ :X/-]*({NUMBER}))?{_ENDS}(?![\w.])")


_SIZES = re.compile(rf"(?<![\w.])(?:AVX? ?)?({NUMBER})X({NUMBER}){_ENDS}(?![\w.])")


def read(text: Text, sure: bool) -> Found | None:
    """A V-belt's written name; where sure also a bare section and a bare width x length."""
    text.left = re.sub(r"\b(AVX?) (?=1[037]\b|1[037]X)", r"\1", text.left)
    found = _eastern(text) or _automotive(text, sure) or _raw_edge(text, sure) or _named(text, sure)
    if found is None:
        return None
    builds = [e.value for _, e in text.entries if e.feature == "build" and e.kind == KIND]
    if builds:
        # a word for the build goes before the letter: a cogged A belt is an AX one
        found.marks["build"] = builds[0]
        text.entries = [(w, e) for w, e in text.entries if e.feature != "build"]
    text.take(r"(?:(?<=¦)|(?<=\s))X(?=\s|$)")
    return found


def _named(text: Text, sure: bool) -> Found | None:
    named = _named_pattern().search(text.left)
    if named and _may_be_named(named, text, sure):
        text.cut(*named.span())
        name = "".join(named.group(1, 2)) if named[1] else named[2]
        # DIN 2215 writes a classical belt as width x inside length
        line = _LINES.get(named[5] or "", "Li" if named[3] else "")
        number = named[4] or ""
        if named[3] and number and number == sections().get(name, {}).get("height_mm"):
            number = ""  # width x height names the section once more
        if not number and (labelled := sized(text, "length")) is not None:
            number = shown(labelled)
        return _by_section(name, number, line)
    sizes = _SIZES.search(text.left)
    if sizes and (sure or _plausible(Decimal(sizes[1]), Decimal(sizes[2]), bool(sizes[3]))):
        text.cut(*sizes.span())
        return _by_width(Decimal(sizes[1]), sizes[2], _LINES.get(sizes[3] or "", ""))
    return None


def _eastern(text: Text) -> Found | None:
    """The eastern (GOST 1284.1) writing, by a Cyrillic letter or as Z(0)-1000."""
    if found := text.take(rf"(?:[^\s(]\(([БВГДАО])\)|(?<!\w)([БВГДАО]))[ -]*({NUMBER})"):
        return _by_section(_GOST_LETTERS[found[1] or found[2]], found[3], "")
    found = text.take(rf"(?<!\w)Z ?\([0OО]\)[ -]*({NUMBER})")
    return _by_section("GOSTZ", found[1], "") if found else None


def _automotive(text: Text, sure: bool) -> Found | None:
    """10A0850 and the like: without SAE it cannot be known whether the width is of mm or of SAE J636."""
    pattern = r"(?<![\w.-])(SAE ?)?(9\.5|1[0-7])A[- ]?(\d{3,4})(?![\w.])"
    found = text.take(pattern) if sure or "A0" in text.left else None
    if found is None or found[1]:
        return _by_section(f"SAE{found[2]}A", shown(Decimal(found[3])), "") if found else None
    size = f"{found[2]}A{found[3]}"
    note = ("doubtful: without the word SAE", "unknown", f"{found[2]}A may be metric or SAE: measure the top width")
    dims = {"top_width": Decimal(found[2]), "La": Decimal(found[3])}
    return Found(KIND, size, dims, {"section": size}, listed=False, others=[note])


def _raw_edge(text: Text, sure: bool) -> Found | None:
    code = _FM.search(text.left)
    if code and (sure or (text.alone == code[0] and not re.fullmatch(_BEARING, code[0]))):
        text.cut(*code.span())
        return _by_section("FM", code[1], "")
    return None


def _plausible(width: Decimal, length: Decimal, said: bool) -> bool:
    return 5 <= width <= 50 and length > (2 * width if said else 15 * width)


def _may_be_named(found: re.Match[str], text: Text, sure: bool) -> bool:
    """A single letter needs a number, alone on its line, or a word that says belt."""
    name, number, alone = found[2], found[4], text.alone == found[0]
    if found[1] or sure:
        return True
    if name == "M" or re.fullmatch(r"1\dA", name):
        return False
    if len(name) > 1 and (number or alone):
        return not name.isalpha() or len(name) == 3 or bool(number)
    return alone and (name == "Z" if number is None else Decimal(number) >= 10)


def _by_section(name: str, number: str, line: str) -> Found:
    row = sections().get(name)
    if row is None:
        return Found(KIND, f"{name} {number}".strip(), marks={"section": name}, listed=False)
    found = _of_row(row)
    if name.startswith("AVX"):
        found.marks["build"] = "cogged"
    found.size = row["names"].split()[0]
    if not number:
        return found
    found.size += f" {number}{f' {line}' if line else ''}"
    return _with_length(found, row, Decimal(number), line)


def _of_row(row: Row) -> Found:
    marks = {"section": row["section"], "family": row["family"], "build": row["build"],
             "profile": {"wedge": "narrow", "classical": "classical"}.get(row["family"], "")}  # fmt: skip
    dims = {c: exact(row[f"{c}_mm"]) for c in ("top_width", "height", "datum_width") if row[f"{c}_mm"]}
    return Found(KIND, "", dims, {name: value for name, value in marks.items() if value}, [row])


def _with_length(found: Found, row: Row, number: Decimal, line: str) -> Found:
    named, value, in_inches = _named_length(row, number, line)
    found.marks |= {"line": named, "number": "in" if in_inches else "mm"}
    entry = _listed(row, number, named, in_inches)
    known = lengths(row, value, named)
    if min(known.values()) < _SHORTEST:
        found.listed = False
        return found
    found.dims |= known
    letter = row["names"].removeprefix("AMERICAN")[0]
    if in_inches and named == "La":
        found.figures["outside_in"] = float(value / INCH)
    elif in_inches and named == "Li" and row["family"] in ("classical", "American") and letter in _OUTSIDE_INCHES:
        found.figures["outside_in"] = float(number + _OUTSIDE_INCHES[letter])
    if entry is not None:
        found.used.append(entry)
        keys = ("Li_catalogue1_mm", "Li_catalogue2_mm")
        found.figures |= {key: float(entry[key]) for key in keys if entry[key]}
    return found


def _named_length(row: Row, number: Decimal, line: str) -> tuple[str, Decimal, bool]:
    """The line that a number names, its length [mm], and whether it was written in inches."""
    meaning = row["number"]
    in_inches = meaning.endswith(" in") and number <= _LARGEST_INCH
    if line:
        return line, number * INCH if in_inches else number, in_inches
    named = MEANS[meaning.split()[0]]
    if meaning.endswith("in/10"):
        return named, number / 10 * INCH, True
    # ISO 4184 names classical belts in mm by their datum length (from memory)
    line = "Ld" if meaning.endswith(" in") and not in_inches else named
    return line, number * INCH if in_inches else number, in_inches


def _by_width(width: Decimal, number: str, line: str) -> Found:
    table = rows("belts_sections")
    found = [r for r in table if r["family"] in _BY_WIDTH[line or "La"] and r["build"] != "cogged" and r["number"]]
    if line in ("", "La"):
        found = [r for r in found if not r["section"].startswith("SAE") and (line or r["section"] != "AV17")]
    near = [r for r in found if abs(exact(r["top_width_mm"]) - width) <= WIDTH_SLACK]
    size = f"{shown(width)} x {number}{f' {line}' if line else ''}"
    if not near and not line:
        near = [r for r in table if r["family"] == "classical" and exact(r["top_width_mm"]) == width]
    if not near:
        return Found(KIND, size, {"top_width": width}, listed=False)
    row = min(near, key=lambda r: abs(exact(r["top_width_mm"]) - width))
    belt = _of_row(row)
    belt.size = size
    if not line:
        belt.marks["guess"] = "bare width x length"
    return _with_length(belt, row, Decimal(number), line or ("La" if row["family"] == "automotive" else "Li"))


def compare(judging: Judging) -> None:
    """All findings on two V-belts."""
    wanted, offered = judging.both
    compare_features(judging)
    absent = [part for part in judging.both if not part.listed]
    for part in absent:
        judging.unknown(f"{part.size} is not in the table of belt sections: measure top width, height and length")
    if absent:
        return
    for part in judging.both:
        if "guess" in part.marks and wanted.size != offered.size:
            line = LINES[part.marks["line"]]
            judging.near(f"{part.size} does not say which length it names; {line} length is taken: ask", "length")
    if _section(judging):
        _length(judging)


def _section(judging: Judging) -> bool:
    """Findings on the sections; False where they rule the offer out."""
    (want, has), profiles = judging.marks("section"), [_profile(part) for part in judging.both]
    if want == has:
        judging.note(f"same section: {want}, {profiles[0]}")
        return True
    labels = [section.split(" (")[0] for section in (want, has)]
    if _alike(judging):
        judging.note(f"same section by two standards: {labels[0]} and {labels[1]}, {profiles[0]}")
        return True
    names = f"{labels[1]} ({profiles[1]}) against {labels[0]} ({profiles[0]})"
    width = judging.gap("top_width")
    if abs(width) > WIDTH_SLACK:
        wide = "wider: rides high" if width > 0 else "narrower: sinks into the groove"
        judging.refuse(f"{names}: {shown(abs(width))} mm {wide}", "section", "top width")
        return False
    if judging.have("height") < 2:
        judging.near(f"{names}: same groove by top width; a height is not in the table", "section")
        return True
    gap = judging.gap("height")
    if abs(gap) > HEIGHT_SLACK:
        _length(judging)
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


def _profile(part: Designation) -> str:
    return f"{shown(part.dims['top_width'])} x {shown(part.dims['height']) if 'height' in part.dims else '?'} mm"


def _alike(judging: Judging) -> bool:
    """True for the classical sections that two standards print alike (GOST 1284.1 gives those of ISO 4184)."""
    wanted, offered = (part.dims for part in judging.both)
    builds = judging.marks("build")
    if builds[0] != builds[1]:
        return False
    printed = all(wanted.get(c) == offered.get(c) for c in ("top_width", "height", "datum_width"))
    eastern = set(judging.marks("family")) == {"GOST", "classical"} and printed and bool(builds[0])
    return eastern or set(judging.marks("section")) == {"3V (9N)", "9N (3V)"}


def _length(judging: Judging) -> None:
    wanted, offered = judging.both
    missing = [part for part in judging.both if "line" not in part.marks]
    if len(missing) == 1:
        said = wanted if missing == [offered] else offered
        judging.near(f"{missing[0].size} says no length; {_wish(said, missing[0])}", "length")
    elif missing and wanted.marks["section"] != offered.marks["section"]:
        judging.near("no length is said, and the two name their lengths differently: compare in mm", "length")
    if missing:
        return
    lines, sections_ = judging.marks("line"), judging.marks("section")
    # what both name, else outside where both are known, else any other
    order = ("Ld", "Li", "La") if sections_[0] == sections_[1] else ("La", "Ld", "Li")
    line = lines[0] if lines[0] == lines[1] else next((c for c in order if judging.have(c) == 2), "")
    if line:
        _compare_line(judging, line)
    else:
        judging.unknown("the tables cannot bring their lengths to one line: measure round the outside", "length")


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
    if abs(gap) <= slack:
        judging.note(f"{said}: the same")
        return
    if line == "Li" and _listed_alike(judging):
        judging.note(f"{said}: a list sells the one as the other")
        return
    words = f"{said}: {shown(abs(gap))} mm ({share(gap, want)} %) {'longer' if gap > 0 else 'shorter'}"
    if abs(gap) <= NEAR_SHARE * want:
        judging.near(f"{words}; only if the tensioner has that travel", "length")
    elif "JIS" in judging.marks("family"):
        judging.unknown(f"{words}; but what a JIS number names is doubtful: measure round the outside", "length")
    else:
        judging.refuse(f"{words}, more than a tensioner usually takes up", "length")


def _listed_alike(judging: Judging) -> bool:
    """True if a catalogue lists the number of one under the inside length of the other."""
    sections_, (wanted, offered) = judging.marks("section"), judging.both
    return sections_[0] == sections_[1] and any(
        key.startswith("Li_catalogue") and other.dims["Li"] == printed
        for part, other in ((wanted, offered), (offered, wanted))
        for key, printed in part.figures.items()
    )


def _wish(said: Designation, missing: Designation) -> str:
    """Which length of the other section would stand for a belt."""
    if said.marks["section"] == missing.marks["section"]:
        return f"wanted is {said.size}"
    row = next(row for row in rows("belts_sections") if row["section"] == missing.marks["section"])
    line = MEANS[row["number"].split()[0]] if row["number"] else "La"
    if line not in said.dims:
        return f"{said.size} is {shown(said.dims['La'])} mm outside" if "La" in said.dims else "ask for it"
    value = exact(said.dims[line])
    words = f"{said.size} is {shown(value)} mm {LINES[line]} length"
    wedge = [exact(r["number"]) for r in rows("belts_lengths") if r["section"] == "SPZ" and r["Ld_catalogue1_mm"]]
    if row["family"] != "wedge" or not wedge:
        return words
    nearest = min(wedge, key=lambda length: abs(length - value))
    gap = nearest - value
    how = f"{shown(abs(gap))} mm {'longer' if gap > 0 else 'shorter'}" if gap else "the same"
    return f"{words}; the nearest wedge belt length of the list is {nearest}, {how}"
