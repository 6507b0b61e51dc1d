"""Written names of rolling bearings: series, bore code and the marks before and behind, or three sizes."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from decimal import Decimal
from functools import cache
from types import MappingProxyType
from typing import NamedTuple

from repairecon.standards.findings import Found, sized
from repairecon.standards.tables import Row, by, rows
from repairecon.standards.words import GAP, PART, Text, exact, millimetres, shown

_JOINED = (
    (re.compile(r"ABEC[ -]?(\d)"), r"ABEC\1"),
    (re.compile(r"\bC[ -](\d)\b"), r"C\1"),
    (re.compile(r"\b2[ -](?=RS|RZ|Z\b|ZR)"), "2"),
    (re.compile(r"\bP6/?3\b"), "P6 C3"),
    (re.compile(r"\bCO\b"), "C0"),
)
_BEFORE = {"S", "W"}
_TOKEN = re.compile(rf"[^\s\-/.,;:()_+\[\]{GAP}]+")


class Marks(NamedTuple):
    """What the signs beside a number say."""

    said: dict[str, str]
    rows: list[Row]
    clashing: list[str]
    unread_joined: bool


@cache
def _pieces() -> re.Pattern[str]:
    codes = sorted((c for c in by("bearing_marks", "code") if c not in _BEFORE), key=len, reverse=True)
    return re.compile("|".join(map(re.escape, codes)))


def _split(token: str) -> list[str]:
    """The codes that a token is made of without a rest, the longest first; empty if there is a rest."""
    for length in range(len(token), 0, -1):
        if _pieces().fullmatch(token[:length]):
            rest = _split(token[length:])
            if rest or length == len(token):
                return [token[:length], *rest]
    return []


def one_writing(words: str) -> str:
    """Signs that are written apart, written together: ABEC 5, C 3, 2-RS, P63."""
    for pattern, instead in _JOINED:
        words = pattern.sub(instead, words)
    return words


def take_marks(text: Text, prefix: str, end: int) -> Marks:
    """Take the signs anywhere beside a number whose gap ends at a place, in any order."""
    table = by("bearing_marks", "code")
    said: dict[str, list[str]] = {}
    used: list[Row] = []
    unread = False
    if prefix:
        said["material"] = ["stainless"]
        used.append(table["S" if prefix == "S" else "W" if prefix == "W" else "SS"])
    for token in list(_TOKEN.finditer(text.left)):
        joined = token.start() >= end and not re.search(rf"[\s,;()\[\]{GAP}]", text.left[end : token.start()])
        codes = _split(token[0])
        if codes and (joined or len(codes) == 1 or any(map(str.isdigit, token[0]))):
            text.cut(*token.span())
            end = token.end() if joined else end
            for code in codes:
                said.setdefault(table[code]["feature"], []).append(table[code]["value"])
                used.append(table[code])
        elif joined:
            unread = True
            end = token.end()
    return _sum_up(said, used, unread)


def _sum_up(said: dict[str, list[str]], used: list[Row], unread: bool) -> Marks:
    found: dict[str, str] = {}
    clashing: list[str] = []
    for feature, values in said.items():
        found[feature] = _both_sides(values) if feature == "sealing" else values[0]
        if feature != "sealing" and len(set(values)) > 1:
            clashing.append(f"says two things of its {feature}: {' and '.join(dict.fromkeys(values))}")
    if "one" not in str(said.get("sealing", ["one"])[0]) and len(set(said["sealing"])) > 1:
        clashing.append(f"says two things of its sealing: {' and '.join(dict.fromkeys(said['sealing']))}")
    return Marks(found, used, clashing, unread)


def _both_sides(values: list[str]) -> str:
    one = [v for v in values if v.startswith("one ")]
    two = [v for v in values if not v.startswith("one ")]
    if two:
        return two[0]
    if len(one) == 1:
        return one[0]
    kinds = sorted({v.removeprefix("one ") for v in one})
    return f"two {kinds[0]}s" if len(kinds) == 1 else " and ".join(f"one {k}" for k in kinds)


KIND = "rolling bearing"
NOT_SAID = "not said"
DEEP_GROOVE = "deep groove ball bearing"
ORDER = ("d", "D", "B")
LABELS = {"bore": "d", "inner": "d", "shaft": "d", "outer": "D", "width": "B", "thickness": "B", "height": "B"}
_DEEP = r"6(?:18|19)/\d(?:\.5)?|6[0234]/\d{2,3}|16[01]\d\d|6(?:18|19|22|23|30)\d\d|6[0234689]\d\d|6[02389][1-9]"
_LETTERED = (
    r"N(?:UP|U|J|F)?[ -]?(?:10|22|23|2|3|4)\d\d|UC ?2\d\d(?:-\d\d?)?|[HB]K ?\d{4}|NKI? ?\d+/\d+"
    r"|R?NA ?49(?:/\d\d|\d\d)|R(?:LS|MS)? ?\d{1,2}(?:\.5|[- ]1/2)?A?|K ?\d+X\d+X\d+(?:\.\d)?"
)
_START = r"(?:(?<![\w./])(?<!\d-)|(?<![\w.])\d{1,2}X(?=\d{4}))"
_END = r"(?!\d|X\d|MM|\.\d(?!RS|Z|RZ)|/\d(?!RS|R?Z)|-\d{3})"
_SMALL_CODES = {"00": 10, "01": 12, "02": 15, "03": 17}
_CHAIN = re.compile(rf"(?<![\w.\-/])({PART}) ?X ?({PART}) ?X ?({PART})(?: ?(MM|IN(?:CH)?|\"))?(?![\w.]*\d)")


class Listed(NamedTuple):
    """A bearing of the tables: its name, type, sizes [mm] and row."""

    name: str
    type: str
    dims: tuple[Decimal, Decimal, Decimal]
    row: Row


@cache
def types(by_what: str) -> Mapping[str, str]:
    """Types of bearing by the pattern, prefix or family of a number; contact angles [degrees] by the letter behind."""
    return MappingProxyType({r["written"]: r["means"] for r in rows("bearing_types") if r["by"] == by_what})


def bore(number: str) -> float | None:
    """Bore [mm] that a bearing number names by the bore code."""
    if "/" in number:
        return float(number.split("/")[1].rstrip("X"))
    digits = re.sub(r"\D", "", number)
    if len(digits) == 3 and not number.startswith("N"):
        return float(digits[-1])
    return float(_SMALL_CODES.get(digits[-2:], 5 * int(digits[-2:])))


@cache
def listed() -> tuple[Listed, ...]:
    """Every bearing of the three tables."""
    found = [Listed(r["designation"], DEEP_GROOVE, _sizes(r), r) for r in rows("bearings")]
    found += [Listed(r["designation"], types("family")[r["family"]], _sizes(r), r) for r in rows("bearings_more")]
    return (*found, *(Listed(r["pair"], "taper roller bearing", _sizes(r), r) for r in rows("bearings_taper_inch")))


def _sizes(row: Row) -> tuple[Decimal, Decimal, Decimal]:
    """Bore (under the rollers where there is no inner ring), outside diameter and width over all."""
    inner = row["d_mm"] or row["F_mm"]
    width = row.get("T_mm") or row["B_mm"]
    return exact(inner), exact(row["D_mm"]), exact(width)


@cache
def by_name() -> Mapping[str, Listed]:
    """Listed bearings by each of their written names without spaces."""
    found: dict[str, Listed] = {}
    for part in listed():
        names = [part.name, *part.row.get("alt_designation", "").replace(",", " ").split()]
        for name in names:
            found.setdefault(name.replace(" ", "").upper(), part)
    return MappingProxyType(found)


def of_size(dims: Sequence[Decimal], slack: Decimal = Decimal("0.002")) -> list[Listed]:
    """Listed bearings of three sizes [mm]."""
    return [p for p in listed() if all(abs(a - b) <= slack for a, b in zip(p.dims, dims, strict=True))]


def read(text: Text, sure: bool) -> Found | None:
    """A rolling bearing's written name; where sure also any number of a series, and three sizes."""
    text.left = one_writing(text.left)
    pair = _inch_pair(text, sure)
    if pair is not None:
        return pair
    eastern = _eastern(text, sure)
    if eastern is not None:
        return eastern
    number = _number(text, sure)
    if number is not None:
        return _numbered(text, *number)
    return _by_sizes(text) if sure else None


def _number(text: Text, sure: bool) -> tuple[str, str, str, int] | None:
    """Prefix, type and number, and where it ends."""
    patterns = [(DEEP_GROOVE, _DEEP), ("", _LETTERED), *((t, p) for p, t in types("pattern").items())]
    for type_, pattern in patterns:
        for found in re.finditer(rf"{_START}(?:(SS|S|W|INOX)[ -]?)?({pattern}){_END}", text.left):
            name = found[2].replace(" ", "").upper()
            part = by_name().get(name)
            prefix = re.match("[A-Z]*", name)
            lettered = types("prefix").get(prefix[0] if prefix else "", "")
            clear = type_ == DEEP_GROOVE or part is not None or (sure and bool(type_)) or bool(lettered)
            if not clear or (type_ and type_ != DEEP_GROOVE and not sure and not _stands_alone(text, found)):
                continue
            text.cut(*found.span())
            return found[1] or "", part.type if part else type_ or lettered, name, found.end()
    return None


def _stands_alone(text: Text, found: re.Match[str]) -> bool:
    """A bare number of four or five figures is a bearing's only where it begins the name, or signs follow."""
    before = text.left[: found.start()].replace("¦", "").strip(" ,;:(")
    return not before or bool(re.match(r"[-/ ]?(?:2?RS|2?Z|C\d)", text.left[found.end() :]))


def _eastern(text: Text, sure: bool) -> Found | None:
    """A number of the older eastern (GOST) numbering, where it is said or nothing else is numbered so."""
    gost = any(e.value == "GOST" for _, e in text.said("feature"))
    for row in rows("bearing_name_clashes"):
        numbered = gost or (row["meaning_1"] == "none" and row["numbering_2"] == "GOST")
        if row["numbering_2"] == "GOST" and numbered and (sure or len(row["name"]) > 4 or gost):
            found = text.take(rf"{_START}{row['name']}(?![\w.])")
            if found:
                text.entries = [(w, e) for w, e in text.entries if e.feature != "numbering"]
                return _of_eastern(row)
    return None


def _of_eastern(row: Row) -> Found:
    meaning = row["meaning_2"]
    number = re.search(r"N[A-Z/]* ?\d{3,4}|\d{4,5}", meaning)
    name = number[0].replace(" ", "").upper() if number else row["name"]
    part = by_name().get(name.replace("N/NU", "NU"))
    marks = {"type": part.type if part else meaning, "numbering": "GOST"}
    sizes = tuple(map(exact, row["size_2_mm"].split("x")))
    if "two seals" in meaning:
        marks["sealing"] = "two contact seals"
    elif "two shields" in meaning:
        marks["sealing"] = "two shields"
    if marks["type"].startswith("cylindrical"):
        marks["flanges"] = re.sub(r"[\d]", "", name)
    dims = dict(zip(ORDER, part.dims if part else sizes, strict=True))
    size = part.name if part else name
    return Found(KIND, size, dims, marks, used=[row], listed=part is not None, order=ORDER, labels=LABELS)


@cache
def _inch_names() -> tuple[re.Pattern[str], Mapping[str, Row], re.Pattern[str], Mapping[str, tuple[str, str]]]:
    """Inch taper bearings by their pairs in any writing, and their cones and cups alone."""
    pairs: dict[str, Row] = {}
    halves: dict[str, tuple[str, str]] = {}
    for row in rows("bearings_taper_inch"):
        cone, cup = row["cone"], row["cup"]
        # the trade leaves off what cone and cup share: L44649/10 is L44649 and L44610
        short = [f"{cone}/{cup[-2:]}"] if cup[:-2] == cone[:-2] else []
        pairs |= dict.fromkeys((f"{cone}/{cup}", f"{cup}/{cone}", *short), row)
        halves |= {cone: (cone, "cone"), cup: (cup, "cup")}
    joined = "|".join(re.escape(n).replace("/", "[ /-]+") for n in sorted(pairs, key=len, reverse=True))
    alone = "|".join(sorted(halves, key=len, reverse=True))
    return (re.compile(rf"{_START}({joined})(?![\w])"), MappingProxyType(pairs),
            re.compile(rf"{_START}({alone})(?![\w/])"), MappingProxyType(halves))  # fmt: skip


def _inch_pair(text: Text, sure: bool) -> Found | None:
    """Cone and cup of an inch taper bearing; one of them alone is not the whole."""
    joined, pairs, alone, halves = _inch_names()
    if pair := text.take(joined):
        row = pairs[re.sub(r"[ /-]+", "/", pair[1])]
        dims = dict(zip(ORDER, _sizes(row), strict=True))
        marks = {"type": "taper roller bearing"}
        return Found(KIND, row["pair"], dims, marks, used=[row], order=ORDER, labels=LABELS)
    half = alone.search(text.left)
    if half and (sure or not half[1].isdigit()):
        text.cut(*half.span())
        name, what = halves[half[1]]
        part = (name, "not", f"the {what} alone: a taper bearing is cone and cup")
        return Found(KIND, name, {}, {"type": "taper roller bearing"}, listed=False, others=[part])
    return None


def _numbered(text: Text, prefix: str, type_: str, name: str, end: int) -> Found:
    part = by_name().get(name)
    found = Found(KIND, part.name if part else name, order=ORDER, labels=LABELS, listed=part is not None)
    letter = re.match(r"([ABCE]+[PM]?)(?![A-Z\d])", text.left[end:]) if "angular" in type_ else None
    if letter and letter[1] in types("angle"):
        found.marks["angle"] = types("angle")[letter[1]]
        text.cut(end, end + letter.end())
    marks = take_marks(text, prefix, end)
    found.marks |= {"type": type_, **marks.said}
    if type_.startswith("cylindrical"):
        found.marks["flanges"] = re.sub(r"[\d ]", "", name)
    found.against += marks.clashing
    found.used = list(marks.rows)
    if marks.unread_joined and "sealing" not in found.marks:
        found.marks["sealing"] = NOT_SAID
    _closed_is_wider(text, found, name)
    part = by_name().get(found.size.replace(" ", "").upper())
    _intrinsic(found, name)
    if part is None:
        inner = bore(name) if type_ in (DEEP_GROOVE, *types("pattern").values()) else None
        found.dims = {} if inner is None else {"d": exact(inner)}
    else:
        found.dims = dict(zip(ORDER, part.dims, strict=True))
        found.used.append(part.row)
        gap = clearance(float(part.dims[0]), found.marks.get("clearance", "CN")) if type_ == DEEP_GROOVE else None
        if gap is not None:
            found.figures = {c: float(gap[c]) for c in ("clearance_min_um", "clearance_max_um")}
    _claims(text, found)
    return found


def _closed_is_wider(text: Text, found: Found, name: str) -> None:
    """Inch bearings of the R series have another width where they are closed."""
    sealing = found.marks.get("sealing") or next((e.value for _, e in text.entries if e.feature == "sealing"), "open")
    if re.fullmatch(r"R\d+", name) and sealing != "open" and f"{name}-2Z" in by_name():
        found.size = f"{name}-2Z"


def _intrinsic(found: Found, name: str) -> None:
    """What a number says of the build, against which words beside it are held."""
    type_ = found.marks["type"]
    found.marks["row"] = "two" if "double row" in type_ or "spherical" in type_ or "self-al" in type_ else "one"
    if type_.startswith("needle"):
        drawn, cage = "drawn cup" in type_, "cage" in type_
        found.marks["form"] = "drawn cup" if drawn else "cage and rollers" if cage else "machined rings"
        found.marks["inner ring"] = "yes" if "with inner" in type_ else "no"
        if drawn:
            found.marks["ends"] = "closed" if name.startswith("BK") else "open"


def _claims(text: Text, found: Found) -> None:
    """The type in words must be that of the number."""
    type_ = found.marks.get("type", "")
    for words, entry in text.entries:
        if entry.feature == "type" and type_ and not _is_a(type_, entry.value):
            found.against.append(f"says {words!r}, but {found.size} is a {type_}")
    text.entries = [(w, e) for w, e in text.entries if e.feature != "type" or e.kind != KIND]


def _is_a(type_: str, claim: str) -> bool:
    if claim == "roller":
        return "roller" in type_
    if claim == "ball":
        return "ball" in type_ or type_ == "insert bearing"
    return claim in type_


def _by_sizes(text: Text) -> Found | None:
    """A bearing named by its three sizes and by words for its type."""
    chain = text.take(_CHAIN)
    if chain:
        sizes = [millimetres(s, chain[4]) for s in chain.group(1, 2, 3)]
    else:
        inner = sized(text, "bore") or sized(text, "inner") or sized(text, "shaft")
        sizes = [inner, sized(text, "outer"), sized(text, "width")]
    dims = [s for s in sizes if s is not None]
    if len(dims) < 3:
        return None
    claims = [e.value for _, e in text.entries if e.feature == "type" and e.kind == KIND]
    said = {e.feature: e.value for _, e in text.entries if e.feature in ("ends", "form", "inner ring", "row")}
    options = [p for p in of_size(dims) if all(_is_a(p.type, c) for c in claims) and _built(p, said)]
    size = "x".join(map(shown, dims))
    found = Found(KIND, size, dict(zip(ORDER, dims, strict=True)), order=ORDER, labels=LABELS, listed=bool(options))
    sure = len({p.type for p in options}) == 1 and (claims != ["ball"] or len({p.type for p in of_size(dims)}) == 1)
    sure = sure and bool(claims or said)
    deep = [p for p in options if p.type == DEEP_GROOVE]
    best = options[:1] if sure and len({p.name for p in options}) == 1 else deep[:1]
    marks = take_marks(text, "", len(text.left))
    found.marks = {"type": best[0].type if best else "", **marks.said}
    found.marks.setdefault("sealing", NOT_SAID if not best or best[0].type == DEEP_GROOVE else "")
    if best:
        found.size, found.used = best[0].name, [best[0].row, *marks.rows]
        found.dims = dict(zip(ORDER, best[0].dims, strict=True))
        _intrinsic(found, best[0].name.replace(" ", "").upper())
        if best[0].type.startswith("cylindrical"):
            found.marks["flanges"] = re.sub(r"[\d ]", "", best[0].name)
        _claims(text, found)
    if not sure:
        found.marks["type said"] = "no"
        found.marks["could be"] = ", ".join(p.name for p in options)
    text.entries = [(w, e) for w, e in text.entries if e.feature != "type" or e.kind != KIND]
    return found


def _built(part: Listed, said: Mapping[str, str]) -> bool:
    probe = Found(KIND, marks={"type": part.type})
    _intrinsic(probe, part.name.replace(" ", "").upper())
    return all(probe.marks.get(name, value) == value for name, value in said.items())


def clearance(inner: float, group: str) -> Row | None:
    """The row of radial internal clearance for a bore [mm] and a group."""
    for row in rows("bearing_clearance"):
        if row["group"] == group and float(row["bore_over_mm"]) < inner <= float(row["bore_to_mm"]):
            return row
    return None
