"""Rolling bearings: series, bore code and the marks before and behind, or three sizes; and what can stand for what."""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal
from functools import cache
from types import MappingProxyType
from typing import NamedTuple

from repairecon.standards.findings import Found, Judging, by_row, compare_features, compare_sizes
from repairecon.standards.tables import Row, by, rows, said_of
from repairecon.standards.words import GAP, PART, Text, any_of, exact, millimetres, shown

KIND = "rolling bearing"
NOT_SAID = "not said"
DEEP_GROOVE = "deep groove ball bearing"
_TAPER = "taper roller bearing"
_BEFORE = {"S", "W"}
_TOKEN = re.compile(rf"[^\s\-/.,;:()_+\[\]{GAP}]+")
_START = r"(?:(?<![\w./])(?<!\d-)|(?<![\w.])\d{1,2}X(?=\d{4}))"
_END = r"(?!\d|X\d|MM|\.\d(?!RS|Z|RZ)|/\d(?!RS|R?Z)|-\d{3})"
_SMALL_CODES = {"00": 10, "01": 12, "02": 15, "03": 17}
_THREE_SIZES = re.compile(rf"(?<![\w.\-/])({PART}) ?X ?({PART}) ?X ?({PART})(?: ?(MM|IN(?:CH)?|\"))?(?![\w.]*\d)")
_SAME_SIZE = Decimal("0.002")
"""Rounding [mm] of sizes turned from inches."""


class Listed(NamedTuple):
    """A bearing of the tables: its name, type, sizes [mm] (d, D, B) and row."""

    name: str
    type: str
    dims: dict[str, Decimal]
    row: Row


@cache
def types(by_what: str) -> Mapping[str, str]:
    """Types of bearing by the pattern, prefix or family of a number; contact angles [degrees] by the letter behind."""
    return MappingProxyType({r["written"]: r["means"] for r in rows("bearing_types") if r["by"] == by_what})


def bore(number: str) -> float:
    """Bore [mm] that a bearing number names by the bore code."""
    if "/" in number:
        return float(number.split("/")[1].rstrip("X"))
    digits = re.sub(r"\D", "", number)
    if len(digits) == 3 and not number.startswith("N"):
        return float(digits[-1])
    return float(_SMALL_CODES.get(digits[-2:], 5 * int(digits[-2:])))


@cache
def listed() -> tuple[Listed, ...]:
    """Every bearing of the three tables: bore (under the rollers without inner ring), outside, width over all."""
    found = [(r["designation"], DEEP_GROOVE, r) for r in rows("bearings")]
    found += [(r["designation"], types("family")[r["family"]], r) for r in rows("bearings_more")]
    found += [(r["pair"], _TAPER, r) for r in rows("bearings_taper_inch")]
    parts = []
    for name, type_, row in found:
        sizes = map(exact, (row["d_mm"] or row["F_mm"], row["D_mm"], row.get("T_mm") or row["B_mm"]))
        parts.append(Listed(name, type_, dict(zip("dDB", sizes, strict=True)), row))
    return tuple(parts)


def _key(name: str) -> str:
    return name.replace(" ", "").upper()


@cache
def by_name() -> Mapping[str, Listed]:
    """Listed bearings by each of their written names without spaces."""
    found: dict[str, Listed] = {}
    for part in listed():
        names = [part.name, *part.row.get("alt_designation", "").replace(",", " ").split()]
        if cone := part.row.get("cone"):
            cup = part.row["cup"]
            # the trade leaves off what cone and cup share: L44649/10 is L44649 and L44610
            names += [f"{cup}/{cone}", *([f"{cone}/{cup[-2:]}"] if cup[:-2] == cone[:-2] else [])]
        for name in names:
            found.setdefault(_key(name), part)
    return MappingProxyType(found)


def read(text: Text) -> Found | None:
    """A rolling bearing's written name; where sure also any number of a series, and three sizes."""
    for row in said_of(KIND, "joined", "writings"):
        text.left = re.sub(row["pattern"], row["value"], text.left)
    return _inch_pair(text) or _eastern(text) or _numbered(text) or (_by_sizes(text) if text.sure else None)


@cache
def _inch_names() -> tuple[re.Pattern[str], re.Pattern[str], Mapping[str, str]]:
    """Inch taper bearings by their pairs in any writing, and their cones and cups alone."""
    pairs = [name for name, part in by_name().items() if "cone" in part.row]
    halves = {row[half]: half for row in rows("bearings_taper_inch") for half in ("cone", "cup")}
    joined = any_of(pairs).replace("/", "[ /-]+")
    return (re.compile(rf"{_START}({joined})(?![\w])"),
            re.compile(rf"{_START}({any_of(halves)})(?![\w/])"), MappingProxyType(halves))  # fmt: skip


def _inch_pair(text: Text) -> Found | None:
    """Cone and cup of an inch taper bearing; one of them alone is not the whole."""
    joined, alone, halves = _inch_names()
    if pair := text.take(joined):
        part = by_name()[re.sub(r"[ /-]+", "/", pair[1])]
        return by_row(KIND, part.name, dict(part.dims), part.row, {"type": _TAPER})
    half = alone.search(text.left)
    if half and (text.sure or not half[1].isdigit()):
        text.cut(*half.span())
        other = (half[1], "not", f"the {halves[half[1]]} alone: a taper bearing is cone and cup")
        return Found(KIND, half[1], {}, {"type": _TAPER}, listed=False, others=[other])
    return None


def _numbered(text: Text) -> Found | None:
    for pattern, type_ in types("pattern").items():
        for match in re.finditer(rf"{_START}(?:(SS|S|W|INOX)[ -]?)?({pattern}){_END}", text.left):
            name = _key(match[2])
            part = by_name().get(name)
            lettered = types("prefix").get(re.sub("[^A-Z].*", "", name), "")
            clear = type_ == DEEP_GROOVE or part is not None or (text.sure and bool(type_)) or bool(lettered)
            # a bare number of four or five figures is a bearing's only where it begins the name, or signs follow
            begins = not text.left[: match.start()].replace(GAP, "").strip(" ,;:(")
            signs = re.match(r"[-/ ]?(?:2?RS|2?Z|C\d)", text.left[match.end() :])
            if clear and (type_ in ("", DEEP_GROOVE) or text.sure or begins or signs):
                text.cut(*match.span())
                found = Found(KIND, part.name if part else name, listed=part is not None)
                found.marks["type"] = part.type if part else type_ or lettered
                _build(text, found, name, match[1] or "", match.end())
                return found
    return None


def _build(text: Text, found: Found, name: str, prefix: str, end: int) -> None:
    """What a number and the signs around it say of the build, and the sizes of the tables."""
    type_ = found.marks["type"]
    letter = re.match(r"([ABCE]+[PM]?)(?![A-Z\d])", text.left[end:])
    if "angular" in type_ and letter and letter[1] in types("angle"):
        found.marks["angle"] = types("angle")[letter[1]]
        text.cut(end, end + letter.end())
    if _take_marks(text, found, prefix, end):
        found.marks.setdefault("sealing", NOT_SAID)
    sealing = found.marks.get("sealing") or text.feature("sealing") or "open"
    if re.fullmatch(r"R\d+", name) and sealing != "open" and f"{name}-2Z" in by_name():
        found.size = f"{name}-2Z"  # an inch bearing of the R series has another width where it is closed
    part = by_name().get(_key(found.size))
    found.marks |= _build_of(type_, name)
    if part is not None:
        found.dims = dict(part.dims)
        found.used.append(part.row)
    elif type_ in types("pattern").values():
        found.dims = {"d": exact(bore(name))}
    _claims(text, found)


def _eastern(text: Text) -> Found | None:
    """A number of the older eastern (GOST) numbering, where it is said or nothing else is numbered so."""
    gost = any(e.value == "GOST" for _, e in text.entries)
    clashes = (row for row in rows("bearing_name_clashes") if row["numbering_2"] == "GOST" and (
        gost or (row["meaning_1"] == "none" and (text.sure or len(row["name"]) > 4))))  # fmt: skip
    row = next((row for row in clashes if text.take(rf"{_START}{row['name']}(?![\w.])")), None)
    if row is None:
        return None
    text.drop("numbering")
    number = re.search(r"N[A-Z/]* ?\d{3,4}|\d{4,5}", row["meaning_2"])
    name = _key(number[0]) if number else row["name"]
    part = by_name().get(name.replace("N/NU", "NU"))
    marks = {"type": part.type if part else row["meaning_2"], "numbering": "GOST"}
    if sealed := re.search("two (seals|shields)", row["meaning_2"]):
        marks["sealing"] = sealed[0].replace("seals", "contact seals")
    if marks["type"].startswith("cylindrical"):
        marks["flanges"] = re.sub(r"\d", "", name)
    sizes = part.dims if part else dict(zip("dDB", map(exact, row["size_2_mm"].split("x")), strict=True))
    return Found(KIND, part.name if part else name, dict(sizes), marks, [row], part is not None)


def _take_marks(text: Text, found: Found, prefix: str, end: int) -> bool:
    """Take the signs anywhere beside a number whose gap ends at a place; True where one joined to it is not known."""
    codes, unread = _codes(text, end)
    if prefix:
        codes.insert(0, prefix if prefix in _BEFORE else "SS")
    said: dict[str, list[str]] = {}
    for row in (by("bearing_marks", "code")[code] for code in codes):
        found.used.append(row)
        said.setdefault(row["feature"], []).append(row["value"])
    for feature, values in said.items():
        found.marks[feature] = _two_sides(values) if feature == "sealing" else values[0]
        several = list(dict.fromkeys(values))
        if len(several) > 1 and not (feature == "sealing" and "one" in values[0]):
            found.against.append(f"says two things of its {feature}: {' and '.join(several)}")
    return unread


def _codes(text: Text, end: int) -> tuple[list[str], bool]:
    """The codes of the signs that are taken, and whether one that is joined to the number is not known."""
    # one code of a sign that is made of codes without a rest
    any_code = any_of(by("bearing_marks", "code").keys() - _BEFORE)
    one_code = re.compile(rf"({any_code})(?=(?:{any_code})*$)")
    codes, unread = list[str](), False
    for token in list(_TOKEN.finditer(text.left)):
        joined = token.start() >= end and not re.search(rf"[\s,;()\[\]{GAP}]", text.left[end : token.start()])
        pieces = one_code.findall(token[0])
        if "".join(pieces) == token[0] and (joined or len(pieces) == 1 or re.search(r"\d", token[0])):
            text.cut(*token.span())
            codes += pieces
        elif joined:
            unread = True
        end = token.end() if joined else end
    return codes, unread


def _two_sides(values: list[str]) -> str:
    """The sealing that some signs say; two signs of one side each, such as Z and RS, are of the two sides."""
    whole = [value for value in values if not value.startswith("one ")]
    if whole or len(values) == 1:
        return (whole or values)[0]
    halves = sorted({value.removeprefix("one ") for value in values})
    return f"two {halves[0]}s" if len(halves) == 1 else " and ".join(f"one {half}" for half in halves)


def _build_of(type_: str, name: str) -> dict[str, str]:
    """What a number says of the build, against which words beside it are held."""
    marks = {"row": "two" if re.search("double row|spherical|self-al", type_) else "one"}
    if type_.startswith("cylindrical"):
        marks["flanges"] = re.sub(r"[\d ]", "", name)
    if type_.startswith("needle"):
        marks["form"] = "cage and rollers" if "cage" in type_ else "machined rings"
        marks["inner ring"] = "yes" if "with inner" in type_ else "no"
    if "drawn cup" in type_:
        marks |= {"form": "drawn cup", "ends": "closed" if name.startswith("BK") else "open"}
    return marks


def _claims(text: Text, found: Found) -> None:
    """The type in words must be that of the number."""
    type_ = found.marks["type"]
    for words, entry in text.entries:
        if entry.feature == "type" and type_ and not _is_a(type_, entry.value):
            found.against.append(f"says {words!r}, but {found.size} is a {type_}")
    text.drop("type")


def _is_a(type_: str, claim: str) -> bool:
    return claim in type_ or (claim == "ball" and type_ == "insert bearing")


def _by_sizes(text: Text) -> Found | None:
    if chain := text.take(_THREE_SIZES):
        sizes = [millimetres(s, chain[4]) for s in chain.group(1, 2, 3)]
    else:
        sizes = [text.sized("bore", "inner", "shaft"), text.sized("outer"), text.sized("width")]
    dims = {c: s for c, s in zip("dDB", sizes, strict=True) if s is not None}
    if len(dims) < 3:
        return None
    options, certain = _could_be(text, dims)
    one = certain and len({p.name for p in options}) == 1
    best = next((p for p in options if one or p.type == DEEP_GROOVE), None)
    found = Found(KIND, "x".join(map(shown, dims.values())), dims, {"type": ""}, listed=bool(options))
    if best is not None:
        found = Found(KIND, best.name, dict(best.dims), {"type": best.type}, [best.row])
    _take_marks(text, found, "", len(text.left))
    if found.marks["type"] in ("", DEEP_GROOVE):
        found.marks.setdefault("sealing", NOT_SAID)
    if best is not None:
        found.marks |= _build_of(best.type, _key(best.name))
        _claims(text, found)
    if not certain:
        found.marks |= {"type said": "no", "could be": ", ".join(p.name for p in options)}
    text.drop("type")
    return found


def _could_be(text: Text, dims: dict[str, Decimal]) -> tuple[list[Listed], bool]:
    """Listed bearings of these sizes and of what the words say, and whether the words leave one type only."""
    claims = [e.value for _, e in text.entries if e.feature == "type"]
    said = {e.feature: e.value for _, e in text.entries if e.feature in ("ends", "form", "inner ring", "row")}
    alike = [p for p in listed() if max(abs(p.dims[c] - dims[c]) for c in dims) <= _SAME_SIZE]
    options = [p for p in alike if _as_said(p, claims, said)]
    # the word ball alone is sure only where no bearing of rollers has these sizes
    left = {p.type for p in (alike if claims == ["ball"] else options)}
    return options, bool(options and (claims or said)) and len(left) == 1


def _as_said(part: Listed, claims: list[str], said: Mapping[str, str]) -> bool:
    build = _build_of(part.type, _key(part.name))
    return all(_is_a(part.type, c) for c in claims) and said.items() <= {**said, **build}.items()


def compare(judging: Judging) -> None:
    wanted, offered = judging.both
    want, has = judging.marks("type")
    if want and has and want != has:
        judging.refuse(f"another type of bearing: {has} {offered.size} against {want} {wanted.size}", "type")
        return
    absent = [part for part in judging.both if not part.listed]
    for part in absent:
        coded = "d" in part.dims and part.marks.get("type")
        known = f"; its bore code says {shown(part.dims['d'])} mm" if coded else ""
        judging.unknown(f"{part.size} is not in the table{known}: measure it, or ask for d x D x B")
    if absent or not compare_sizes(judging):
        return
    if wanted.size != offered.size:
        said = f"{offered.size} and {wanted.size} have the same three sizes; corners, steel or build may differ: ask"
        judging.near(said, "number")
    elif wanted.text != offered.text and wanted.marks == offered.marks:
        judging.note("the two names are two writings of the same bearing")
    for part in judging.both:
        if "type said" in part.marks and wanted.text != offered.text:
            judging.near(f"{part.size}: size alone is not identity, it could be {part.marks['could be']}: ask", "type")
    _clearance(judging)
    compare_features(judging, after="sizes")


def clearance(inner: float, group: str) -> Row | None:
    """The row of radial internal clearance for a bore [mm] and a group."""
    return next((row for row in rows("bearing_clearance") if row["group"] == group
                 and float(row["bore_over_mm"]) < inner <= float(row["bore_to_mm"])), None)  # fmt: skip


def _clearance(judging: Judging) -> None:
    want, has = judging.marks("clearance", "CN")
    if want == has:
        return
    words = []
    for part, group in zip(judging.both, (want, has), strict=True):
        span = "(not in the table)"
        if row := clearance(part.dims["d"], group):
            judging.used(row)
            span = f"{row['clearance_min_um']}-{row['clearance_max_um']} um"
        words.append(f"{group} {span}")
    said = f"radial clearance differs at this bore: wanted {words[0]}, offered {words[1]}"
    closer, smaller = "CM is a closer choice inside CN, made for electric motors", "a smaller clearance can jam"
    judging.first(
        ({want, has} == {"CN", "CM"}, "near", f"{said}; {closer}", "clearance"),
        (has in ("C1", "C2"), "not", f"{said}; {smaller} the bearing when hot or pressed on", "clearance"),
        (True, "near", said, "clearance"),
    )
    rising = ("CM", "CN", "C3", "C4", "C5")
    if {want, has} <= set(rising) and rising.index(want) > max(rising.index("CN"), rising.index(has)):
        keep = "Keep the larger clearance where the maker fits it (hot running, tight fits, motors, alternators)"
        judging.caution(f"{keep}: less clearance can make the bearing run hot and fail.")
