"""Written names of V-belts: section, the number and which circumference it names, and the lengths on every line."""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal
from functools import cache
from typing import NamedTuple

from repairecon.standards.findings import Found, sized
from repairecon.standards.tables import Row, rows
from repairecon.standards.words import INCH, NUMBER, Text, around, exact, shown


class Lengths(NamedTuple):
    """Lengths [mm] by line (Li, Ld, La), and by another catalogue where that prints otherwise."""

    known: Mapping[str, Decimal]
    other: Mapping[str, Decimal]


def outside_minus_inside(row: Row) -> Decimal | None:
    """La - Li [mm] of a section as printed, else 2 x pi x height, else None."""
    if row["La_minus_Li_mm"]:
        return exact(row["La_minus_Li_mm"])
    return around(exact(row["height_mm"])) if row["height_mm"] else None


def lengths(row: Row, value: Decimal, line: str) -> Lengths:
    """All lengths of a belt of a section, from the length [mm] of one line.

    Outside less inside is 2 x pi x height; where the datum line lies between is the section table's.
    """
    total = outside_minus_inside(row)
    steps = {"Ld_Li": _cell(row, "Ld_minus_Li_mm"), "La_Ld": _cell(row, "La_minus_Ld_mm")}
    if total is not None and steps["La_Ld"] is None and steps["Ld_Li"] is not None and row["family"] == "GOST":
        steps["La_Ld"] = total - steps["Ld_Li"]
    known = _fill(value, line, total, steps)
    other = _cell(row, "Ld_minus_Li_other_mm")
    if other is None or total is None:
        return Lengths(known, {})
    again = _fill(value, line, total, {"Ld_Li": other, "La_Ld": total - other})
    return Lengths(known, {c: v for c, v in again.items() if v != known.get(c)})


def _fill(value: Decimal, line: str, total: Decimal | None, steps: Mapping[str, Decimal | None]) -> dict[str, Decimal]:
    """Lengths of all lines that can be known."""
    inner, outer = steps["Ld_Li"], steps["La_Ld"]
    found = {line: value}
    if line == "Ld":
        if inner is not None:
            found["Li"] = value - inner
        if outer is not None:
            found["La"] = value + outer
        return found
    if total is not None:
        found["La" if line == "Li" else "Li"] = value + total if line == "Li" else value - total
    if line == "Li" and inner is not None:
        found["Ld"] = value + inner
    elif line == "La" and outer is not None:
        found["Ld"] = value - outer
    return found


def _cell(row: Row, column: str) -> Decimal | None:
    return exact(row[column]) if row[column] else None


def listed(row: Row, number: Decimal, line: str, in_inches: bool) -> Row | None:
    """The row of the length lists for a section's number, if it is there."""
    names = row["names"].split()
    for entry in rows("belts_lengths"):
        if entry["section"] not in names:
            continue
        if in_inches == entry["circumference_named"].endswith("mm)"):
            continue
        if exact(entry["number"]) == number and _NAMED_LINE[entry["circumference_named"]] == line:
            return entry
    return None


_NAMED_LINE = {"inside": "Li", "outside": "La", "datum (mm)": "Ld", "outside La (mm)": "La"}


def nearest_listed(family: str, line: str, value: Decimal) -> Row | None:
    """The listed belt of a family whose length on a line is nearest to a value [mm]."""
    section = {"wedge": "SPZ", "automotive": "AV10"}.get(family, family)
    found = [r for r in rows("belts_lengths") if r["section"] == section and _value(r, line) is not None]
    return min(found, key=lambda r: abs((_value(r, line) or Decimal(0)) - value), default=None)


def _value(entry: Row, line: str) -> Decimal | None:
    columns = {"Li": ("Li_catalogue1_mm", "Li_catalogue2_mm"), "Ld": ("Ld_catalogue1_mm",), "La": ("La_mm",)}[line]
    return next((exact(entry[c]) for c in columns if entry[c]), None)


KIND = "V-belt"
LABELS = {"width": "top_width", "height": "height", "thickness": "height", "length": "Ld Li La"}
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
_NARROWEST = Decimal("0.8")
"""How far a written width may be from the table's [mm]."""
_FM = re.compile(r"(?<![\w.-])2(\d{3})(?![\w.])")
_BEARING = r"2[23](?:[01]\d|2[0-2])"
_GOST_LETTERS = {"Б": "GOSTB", "В": "GOSTC", "Г": "GOSTD", "Д": "GOSTE", "А": "GOSTA", "О": "GOSTZ"}


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
    found = _named_belt(text, sure)
    if found is None:
        return None
    builds = [e.value for _, e in text.entries if e.feature == "build" and e.kind == KIND]
    if builds:
        # a word for the build goes before the letter: a cogged A belt is an AX one
        found.marks["build"] = builds[0]
        text.entries = [(w, e) for w, e in text.entries if e.feature != "build"]
    text.take(r"(?:(?<=¦)|(?<=\s))X(?=\s|$)")
    return found


def _named_belt(text: Text, sure: bool) -> Found | None:
    text.left = re.sub(r"\b(AVX?) (?=1[037]\b|1[037]X)", r"\1", text.left)
    found = _eastern(text) or _automotive(text, sure) or _raw_edge(text, sure)
    if found is not None:
        return found
    named = _named_pattern().search(text.left)
    if named and _may_be_named(named, text, sure):
        text.cut(*named.span())
        name = "".join(named.group(1, 2)) if named[1] else named[2]
        # DIN 2215 writes a classical belt as width x inside length
        line = _LINES.get(named[5] or "", "Li" if named[3] else "")
        number = named[4] or ""
        if named[3] and number and number == sections().get(name, {}).get("height_mm"):
            number = ""  # width x height names the section once more
        return _by_section(name, number or _labelled_length(text), line)
    sizes = _SIZES.search(text.left)
    said = sure or bool(sizes and sizes[3])
    if sizes and (sure or _plausible(Decimal(sizes[1]), Decimal(sizes[2]), said)):
        text.cut(*sizes.span())
        return _by_width(Decimal(sizes[1]), sizes[2], _LINES.get(sizes[3] or "", ""))
    return None


def _labelled_length(text: Text) -> str:
    length = sized(text, "length")
    return "" if length is None else shown(length)


def _eastern(text: Text) -> Found | None:
    """The eastern (GOST 1284.1) writing, by a Cyrillic letter or as Z(0)-1000."""
    found = text.take(rf"(?:[^\s(]\(([БВГДАО])\)|(?<!\w)([БВГДАО]))[ -]*({NUMBER})")
    if found:
        return _by_section(_GOST_LETTERS[found[1] or found[2]], found[3], "")
    found = text.take(rf"(?<!\w)Z ?\([0OО]\)[ -]*({NUMBER})")
    return _by_section("GOSTZ", found[1], "") if found else None


def _automotive(text: Text, sure: bool) -> Found | None:
    """10A0850 and the like: without SAE it cannot be known whether the width is of mm or of SAE J636."""
    pattern = r"(?<![\w.-])(SAE ?)?(9\.5|1[0-7])A[- ]?(\d{3,4})(?![\w.])"
    found = text.take(pattern) if sure or "A0" in text.left else None
    if found is None or found[1]:
        return _by_section(f"SAE{found[2]}A", shown(Decimal(found[3])), "") if found else None
    width = Decimal(found[2])
    size = f"{found[2]}A{found[3]}"
    note = ("doubtful: without the word SAE", "unknown", f"{found[2]}A may be metric or SAE: measure the top width")
    dims = {"top_width": width, "La": Decimal(found[3])}
    return Found(KIND, size, dims, {"section": size}, listed=False, others=[note])


def _raw_edge(text: Text, sure: bool) -> Found | None:
    code = _FM.search(text.left)
    if code and (sure or text.alone == code[0]) and not (not sure and re.fullmatch(_BEARING, code[0])):
        text.cut(*code.span())
        return _by_section("FM", code[1], "")
    return None


def _plausible(width: Decimal, length: Decimal, said: bool) -> bool:
    return 5 <= width <= 50 and length > (2 * width if said else 15 * width)


def _may_be_named(found: re.Match[str], text: Text, sure: bool) -> bool:
    """A single letter needs a number, alone on its line, or a word that says belt."""
    name, number, words = found[2], found[4], text.alone
    if found[1] or sure:
        return True
    if name == "M" or re.fullmatch(r"1\dA", name):
        return False
    if len(name) > 1 and (number or words == found[0]):
        return not name.isalpha() or len(name) == 3 or bool(number)
    if number is None:
        return words == found[0] and name in ("Z",)
    return words == found[0] and Decimal(number) >= 10


def _by_section(name: str, number: str, line: str) -> Found:
    row = sections().get(name)
    if row is None:
        return Found(KIND, f"{name} {number}".strip(), marks={"section": name}, listed=False)
    found = _of_row(row)
    if name.startswith("AVX"):
        found.marks["build"] = "cogged"
    label = row["names"].split()[0]
    if not number:
        found.size = label
        return found
    found.size = f"{label} {number}{f' {line}' if line else ''}"
    return _with_length(found, row, Decimal(number), line)


def _of_row(row: Row) -> Found:
    marks = {"section": row["section"], "family": row["family"]}
    if row["build"]:
        marks["build"] = row["build"]
    if row["family"] in ("classical", "wedge"):
        marks["profile"] = "narrow" if row["family"] == "wedge" else "classical"
    dims = {c: exact(row[f"{c}_mm"]) for c in ("top_width", "height", "datum_width") if row[f"{c}_mm"]}
    return Found(KIND, "", dims, marks, used=[row], order=("top_width", "height"), labels=LABELS)


def _with_length(found: Found, row: Row, number: Decimal, line: str) -> Found:
    named, value, in_inches = _named(row, number, line)
    found.marks |= {"line": named, "number": "in" if in_inches else "mm"}
    entry = listed(row, number, named, in_inches)
    known = lengths(row, value, named)
    if min(known.known.values()) < _SHORTEST:
        found.listed = False
        return found
    found.dims |= {**known.known}
    found.figures = _figures(row, number, named, in_inches, known)
    if entry is not None:
        found.used.append(entry)
        for key in ("Li_catalogue1_mm", "Li_catalogue2_mm"):
            if entry[key]:
                found.figures[key] = float(entry[key])
    return found


def _named(row: Row, number: Decimal, line: str) -> tuple[str, Decimal, bool]:
    """The line that a number names, its length [mm], and whether it was written in inches."""
    meaning = row["number"]
    if line:
        classical = meaning.endswith(" in") and number <= _LARGEST_INCH
        return line, number * INCH if classical else number, classical
    named = {"inside": "Li", "datum": "Ld", "outside": "La"}[meaning.split()[0]]
    if meaning.endswith("in/10"):
        return named, number / 10 * INCH, True
    if meaning.endswith(" in"):
        if number <= _LARGEST_INCH:
            return named, number * INCH, True
        # ISO 4184 names classical belts in mm by their datum length (from memory)
        return "Ld", number, False
    return named, number, False


def _figures(row: Row, number: Decimal, named: str, in_inches: bool, found: Lengths) -> dict[str, float]:
    figures = {f"{k}_other": float(v) for k, v in found.other.items()}
    if not in_inches:
        return figures
    american = sections().get(f"AMERICAN{row['names'][0]}")
    if named == "Li" and row["family"] in ("classical", "American") and american is not None:
        outside = number + {"A": 2, "B": 3, "C": 4}[row["names"].removeprefix("AMERICAN")[0]]
        figures["outside_in"] = float(outside)
    elif named == "La":
        figures["outside_in"] = float(number / 10 if row["number"].endswith("in/10") else number)
    return figures


def _by_width(width: Decimal, number: str, line: str) -> Found:
    families = _BY_WIDTH[line or "La"]
    found = [r for r in rows("belts_sections") if r["family"] in families and r["build"] != "cogged" and r["number"]]
    if line in ("", "La"):
        found = [r for r in found if not r["section"].startswith("SAE") and (line or r["section"] != "AV17")]
    near = [r for r in found if abs(exact(r["top_width_mm"]) - width) <= _NARROWEST]
    size = f"{shown(width)} x {number}{f' {line}' if line else ''}"
    if not near and not line:
        near = [r for r in rows("belts_sections") if r["family"] == "classical" and exact(r["top_width_mm"]) == width]
    if not near:
        return Found(KIND, size, {"top_width": width}, listed=False, order=("top_width",), labels=LABELS)
    row = min(near, key=lambda r: abs(exact(r["top_width_mm"]) - width))
    belt = _of_row(row)
    belt.size = size
    if not line:
        belt.marks["guess"] = "bare width x length"
    named = line or ("La" if row["family"] == "automotive" else "Li")
    return _with_length(belt, row, Decimal(number), named)
