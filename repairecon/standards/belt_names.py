"""Written names of V-belts: section, the number, and which circumference it names."""

from __future__ import annotations

import re
from decimal import Decimal
from functools import cache

from repairecon.records import Designation
from repairecon.standards.belt_lengths import Lengths, lengths, listed
from repairecon.standards.figures import INCH, NUMBER, exact, text
from repairecon.standards.tables import Row, rows, trust

KIND = "V-belt"
_WORD = re.compile(
    r"\b(?:(?:V|DRIVE|FAN|WEDGE|ALTERNATOR|COGGED|RAW[ -]EDGE)[ -])?BELTS?\b"
    r"|\bDIN[ -]?(?:2215|7753)(?:-\d)?\b|\bISO[ -]?(?:2790|4184)\b"
)
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


def read(words: str, hint: bool = False) -> Designation | None:
    """A V-belt's written name; with a hint also a bare section and a bare width x length."""
    sure = hint or bool(_WORD.search(words))
    bare = _WORD.sub(" ", words).strip(" ,;:")
    cyrillic = re.search(rf"(?:[^\s(]\(([БВГДАО])\)|([БВГДАО]))[ -]*({NUMBER})", bare)
    if cyrillic:
        return _by_section(words, _GOST_LETTERS[cyrillic[1] or cyrillic[2]], cyrillic[3], "")
    code = _FM.fullmatch(bare) or (_FM.search(bare) if sure else None)
    if code and (hint or not re.fullmatch(r"2[23](?:[01]\d|2[0-2])", code[0])):
        return _by_section(words, "FM", code[1], "")
    found = _named_pattern().search(bare)
    if found and _may_be_named(found, bare, sure):
        name = "".join(found.group(1, 2)) if found[1] else found[2]
        # DIN 2215 writes a classical belt as width x inside length
        line = _LINES.get(found[5] or "", "Li" if found[3] else "")
        number = found[4] or ""
        if found[3] and number and number == sections().get(name, {}).get("height_mm"):
            number = ""  # width x height names the section once more
        return _by_section(words, name, number, line)
    sizes = _SIZES.search(bare)
    if sizes and (hint or _plausible(Decimal(sizes[1]), Decimal(sizes[2]), sure or bool(sizes[3]))):
        return _by_width(words, Decimal(sizes[1]), sizes[2], _LINES.get(sizes[3] or "", ""))
    return None


def _plausible(width: Decimal, length: Decimal, said: bool) -> bool:
    return 5 <= width <= 50 and length > (2 * width if said else 15 * width)


def _may_be_named(found: re.Match[str], words: str, sure: bool) -> bool:
    """A single letter needs a number, alone on its line, or a word that says belt."""
    name, number = found[2], found[4]
    if found[1] or sure:
        return True
    if name == "M" or re.fullmatch(r"1\dA", name):
        return False
    if len(name) > 1 and (number or words == found[0]):
        return not name.isalpha() or len(name) == 3 or bool(number)
    if number is None:
        return words == found[0] and name in ("Z",)
    return words == found[0] and Decimal(number) >= 10


def _by_section(words: str, name: str, number: str, line: str) -> Designation | None:
    row = sections().get(name)
    if row is None:
        return Designation(words, KIND, f"{name} {number}".strip(), marks={"section": name}, listed=False)
    marks = {"section": row["section"], "family": row["family"]}
    if row["build"]:
        marks["build"] = row["build"]
    dims = {c: float(row[f"{c}_mm"]) for c in ("top_width", "height", "datum_width") if row[f"{c}_mm"]}
    label = row["names"].split()[0]
    if not number:
        status, sources = trust([row])
        return Designation(words, KIND, label, dims, {}, marks, (), True, status, sources)
    size = f"{label} {number}{f' {line}' if line else ''}"
    return _with_length(words, size, row, dims, marks, Decimal(number), line)


def _with_length(
    words: str, size: str, row: Row, dims: dict[str, float], marks: dict[str, str], number: Decimal, line: str
) -> Designation | None:
    named, value, in_inches = _named(row, number, line)
    marks["line"] = named
    marks["number"] = "in" if in_inches else "mm"
    entry = listed(row, number, named, in_inches)
    found = lengths(row, value, named)
    if min(found.known.values()) < _SHORTEST:
        return None
    dims |= {c: float(v) for c, v in found.known.items()}
    figures = _figures(row, number, named, in_inches, found)
    if entry is not None:
        status, sources = trust([row, entry])
        for key in ("Li_catalogue1_mm", "Li_catalogue2_mm"):
            if entry[key]:
                figures[key] = float(entry[key])
    else:
        status, sources = trust([row])
    return Designation(words, KIND, size, dims, figures, marks, (), True, status, sources)


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


def _by_width(words: str, width: Decimal, number: str, line: str) -> Designation | None:
    families = _BY_WIDTH[line or "La"]
    found = [r for r in rows("belts_sections") if r["family"] in families and r["build"] != "cogged" and r["number"]]
    if line in ("", "La"):
        found = [r for r in found if not r["section"].startswith("SAE") and (line or r["section"] != "AV17")]
    near = [r for r in found if abs(exact(r["top_width_mm"]) - width) <= _NARROWEST]
    size = f"{text(width)} x {number}{f' {line}' if line else ''}"
    if not near:
        if line or words.count("X") != 1:
            return Designation(words, KIND, size, {"top_width": float(width)}, listed=False)
        near = [r for r in rows("belts_sections") if r["family"] == "classical" and exact(r["top_width_mm"]) == width]
        if not near:
            return Designation(words, KIND, size, {"top_width": float(width)}, listed=False)
    row = min(near, key=lambda r: abs(exact(r["top_width_mm"]) - width))
    marks = {"section": row["section"], "family": row["family"]}
    if row["build"]:
        marks["build"] = row["build"]
    dims = {c: float(row[f"{c}_mm"]) for c in ("top_width", "height", "datum_width") if row[f"{c}_mm"]}
    if not line:
        marks["guess"] = "bare width x length"
    named = line or ("La" if row["family"] == "automotive" else "Li")
    return _with_length(words, size, row, dims, marks, Decimal(number), named)
