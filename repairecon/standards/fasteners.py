"""Circlips of shaft and bore, parallel keys, Woodruff keys, pins; bolts, nuts and pipe fittings by their threads."""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal
from functools import cache
from types import MappingProxyType

from repairecon.records import AlikeVerdict
from repairecon.standards.findings import (
    TAKEN_AS_WRITTEN,
    Found,
    Judging,
    by_row,
    compare,
    compare_features,
    compare_sizes,
)
from repairecon.standards.tables import Row, by, rows, said_of
from repairecon.standards.words import NUMBER, PART, Text, exact, millimetres, shown

CIRCLIP = "circlip"
KEY = "parallel key"
WOODRUFF = "Woodruff key"
PIN = "pin"
_SIZE = re.compile(
    rf"(?<![\w./])(?:([AB]{{1,2}}) ?)?({NUMBER})(?:X({NUMBER}))?(?:X({NUMBER}))?(?: ?MM)?(?![\d/\"]|X\d|\.\d)(?!\w)"
)
_INCH_SIGN = r"(?:\"|IN(?:CH(?:ES)?)?)"
_INCH = re.compile(
    rf"(?<![\w./])({PART}){_INCH_SIGN}? ?X ?({PART})(?:{_INCH_SIGN}? ?X ?({PART}))? ?({_INCH_SIGN})?(?!\w)"
)
_KEY_NUMBER = re.compile(r"(?<![\w./])(?:#|NO\.? ?|NR\.? ?)?(\d{3,4}(?:\.5)?)(?![\w./]| ?MM)")
_STANDARD_PIN = re.compile(rf"(?<![\w./])({NUMBER})(?: ?M6|H8)?(?:X({NUMBER}))?(?: ?MM)?(?![\d/]|X\d|\.\d)(?!\w)")


@cache
def rings() -> Mapping[tuple[Decimal, str, str], Row]:
    """Retaining rings by nominal diameter, place and type (``""``, ``heavy``, ``E``)."""
    listed = [(row, row["standard"], "") for row in rows("circlips_keys") if row["item"] == CIRCLIP]
    listed += [(row, row["item"], "heavy") for row in rows("retaining_rings_heavy")]
    listed += [(row, "shaft", "E") for row in rows("pins_clips") if row["item"].startswith("E-clip")]
    return MappingProxyType({
        (exact(row["nominal_mm"]), "shaft" if "shaft" in place else "bore", type_): row for row, place, type_ in listed
    })  # fmt: skip


def read_ring(text: Text) -> Found | None:
    """A circlip by its standard or place and its nominal diameter."""
    place = text.feature("place")
    heavy = text.take(r"(?<=[\s¦])H(?=[\s-]*\d)") or text.feature("duty") == "heavy"
    type_ = "heavy" if heavy else text.feature("form")
    label = next((s.label for s in text.sizes if s.label in ("shaft", "bore", "diameter")), "")
    size = None if label else text.take(_SIZE)
    nominal = Decimal(size[2]) if size else text.sized(label)
    if nominal is None:
        return None
    thick = Decimal(size[3]) if size and size[3] else text.sized("thickness")
    said = label.replace("diameter", "")
    against = [f"says both {place} and {said}"] if place and said not in ("", place) else []
    place = place or said or {"E": "shaft"}.get(type_, "")
    heavy_row = rings().get((nominal, place, "heavy"))
    if not type_ and heavy_row and exact(heavy_row["thickness_s_mm"]) == thick:
        type_ = "heavy"
    row = rings().get((nominal, place, type_))
    # in the table of E-clips the thickness has another name
    columns = {"thickness_mm": "thickness_s", **{f"{c}_mm": c for c in ("thickness_s", "groove_d", "groove_width_m")}}
    dims = {"nominal": nominal} | _sizes_of(row, columns) | ({} if thick is None else {"thickness_s": thick})
    marks = {"place": place, "duty": type_.replace("E", ""), "form": type_.replace("heavy", "")}
    ring = by_row(CIRCLIP, " ".join(filter(None, (type_, shown(nominal), place))), dims, row, marks)
    ring.against += against
    return ring


def _sizes_of(row: Row | None, columns: Mapping[str, str]) -> dict[str, Decimal]:
    return {letter: exact(row[c]) for c, letter in columns.items() if row.get(c)} if row else {}


def read_key(text: Text) -> Found | None:
    """A parallel key: b x h x length, with its form."""
    inch = _INCH.search(text.left)
    if inch and ("/" in inch[0] or inch[4]):
        text.cut(*inch.span())
        known = filter(None, (millimetres(s, "IN") for s in inch.group(1, 2, 3) if s))
        return Found(KEY, inch[0].strip(), dict(zip(("b", "h", "length"), known, strict=False)), listed=False)
    size = text.take(_SIZE)
    if size is None or size[3] is None:
        return None
    form = size[1] or text.written("form").get("form", "")
    dims = dict(zip(("b", "h", "length"), [Decimal(s) for s in size.group(2, 3, 4) if s], strict=False))
    if "length" not in dims and (long := text.sized("length")):
        dims["length"] = long
    keys = (r for r in rows("circlips_keys") if r["item"] == KEY)
    row = next((r for r in keys if (exact(r["b_mm"]), exact(r["h_mm"])) == (dims["b"], dims["h"])), None)
    return by_row(KEY, "x".join(map(shown, dims.values())), dims, row, {"form": form})


def read_woodruff(text: Text) -> Found | None:
    """A Woodruff key: b x h, b x h x diameter, or an inch key by its number or by width x diameter."""
    size = _SIZE.search(text.left)
    if size is None or size[3] is None:
        return _woodruff_number(text)
    text.take(_SIZE)
    dims = {"b": Decimal(size[2]), "h": Decimal(size[3])}
    name = "x".join(map(shown, dims.values()))
    row = by("woodruff_metric", "designation").get(name)
    if row is not None:
        dims["D"] = exact(row["diameter_D_mm"])
    found = by_row(WOODRUFF, name, dims, row)
    if size[4]:
        third = found.dims.setdefault("D", Decimal(size[4]))
        if abs(third - Decimal(size[4])) > Decimal("0.5"):
            found.against.append(f"says diameter {size[4]}, but {name} has {shown(third)}")
    return found


def _woodruff_number(text: Text) -> Found | None:
    """An inch key by its number, or by the width x diameter that the number names: 1/8 x 1/2."""
    table, inch, row = by("woodruff_inch", "key_number"), _INCH.search(text.left), None
    if inch and "/" in inch[0] and not inch[3]:
        sizes = [millimetres(s, "IN") or Decimal(0) for s in inch.group(1, 2)]
        row = next((r for r in table.values() if all(
            abs(exact(r[c]) - s) < Decimal("0.01") for c, s in zip(("width_mm", "diameter_mm"), sizes, strict=True)
        )), None)  # fmt: skip
    if row:
        text.take(_INCH)
        number = row["key_number"]
    elif written := text.take(_KEY_NUMBER):
        number, row = written[1], table.get(written[1])
    else:
        return None
    dims = _sizes_of(row, {"width_mm": "b", "height_mm": "h", "diameter_mm": "D"})
    return by_row(WOODRUFF, f"No. {number}", dims, row, {"system": "inch"} if row else {})


def read_pin(text: Text) -> Found | None:
    """A pin by its standard or name, nominal diameter and length."""
    item = text.feature("item")
    size = text.take(_STANDARD_PIN) if item else None
    if size is None:
        return None
    if item.startswith("spring pin") and (duty := text.feature("duty")):
        item = "spring pin, coiled" if "coiled" in item else f"spring pin, {duty}"
        text.drop("duty", "item")
    dims = {"nominal": Decimal(size[1])} | ({"length": Decimal(size[2])} if size[2] else {})
    standard = next(row["value"] for row in said_of(PIN, "standard") if row["name"] == item)
    row = by("pins_clips", "designation").get(f"{standard} - {shown(dims['nominal'])}")
    return by_row(PIN, f"{item} {'x'.join(map(shown, dims.values()))}", dims, row, {"item": item})


def compare_keyed(judging: Judging) -> None:
    """All findings on two circlips, two keys or two pins."""
    wanted, offered = judging.both
    if wanted.kind != CIRCLIP and wanted.size == offered.size and wanted.dims:
        judging.absent(TAKEN_AS_WRITTEN, "same")
    else:
        judging.absent("is not in the table of sizes: measure it", "unknown", "size")
    alike = compare(judging) if wanted.dims and offered.dims else False
    if alike and judging.have("thickness_s") == 2 and (gap := judging.gap("thickness_s")):
        want, has = judging.sizes("thickness_s")
        groove = wanted.dims.get("groove_width_m")
        said = f"{shown(has)} mm thick against {shown(want)} mm"
        if groove is not None and has > exact(groove):
            judging.refuse(f"{said}: does not go into a groove {shown(groove)} mm wide", "thickness")
        else:
            judging.near(f"{said}: holds less, or is loose in the groove" if gap < 0 else said, "thickness")


THREADED = "threaded part"
STEEPEST = Decimal("0.26")
"""Largest pitch as a share of the diameter; a second number above is a length (ISO 261 sizes)."""
_METRIC = re.compile(
    rf"(?<![\w.])M ?(\d{{1,2}}(?:\.\d)?|1[0-6]\d)(?![\d])"
    rf"(?: ?[X-] ?({NUMBER}))?(?: ?[X-] ?({NUMBER}))?(?: ?MM)?(?![\w.]*\d)"
)
_UNIFIED = re.compile(
    r"(?<![\w./])(#?\d+(?: \d/\d+|/\d+)?|\d+-\d/\d+) ?[- ] ?(\d{1,2}) ?"
    r"(UNC|UNF|UN|UNS|BSW|BSF|JIC(?: ?37)?|ORB|NPSM)?(?![\w/])"
)
_NAMED = re.compile(r"(?<![\w./])(#\d+|(?:\d+[ -])?\d+/\d+|\d)\"? ?(UNC|UNF|BSW|BSF)(?!\w)")
_PIPE_NAMES = r"BSPP|BSPT|BSP|NPTF|NPT|NPSM|RP|RC|G|R"
_PIPE = (
    re.compile(rf"(?<![\w./])({_PIPE_NAMES}) ?-? ?((?:\d+[ -])?\d/\d+|\d(?![\d./]))(?: ?\"| ?IN(?:CH)?)?(?![\w/])"),
    re.compile(rf"(?<![\w./])()((?:\d+[ -])?\d/\d+|\d(?![\d./]))(?:\"| ?IN(?:CH)?)? ?-? ?({_PIPE_NAMES})(?![\w])"),
)
_LENGTH = re.compile(rf"X ?({PART})\"?(?![\w/])")
_FAMILIES = {"BSPP": "G", "G": "G", "BSPT": "R", "R": "R", "RC": "Rc", "RP": "Rp", "BSP": "BSP", "NPT": "NPT",
             "NPTF": "NPTF", "NPSM": "NPSM"}  # fmt: skip
_DASH_FORMS = {"JIC": ("jic_37_thread", "37"), "ORB": ("orb_thread", "O-ring port"),
               "ORFS": ("orfs_thread", "O-ring face")}  # fmt: skip


@cache
def by_name() -> Mapping[str, Row]:
    """Listed threads by their names without spaces, coarse metric ones with and without pitch."""
    found: dict[str, Row] = {}
    for row in rows("threads"):
        for name in (row["designation"], row["alt_designation"].removesuffix(" (male)")):
            if name and "near" not in name:
                found.setdefault(name.replace(" ", "").upper(), row)
    return MappingProxyType(found)


def read_thread(text: Text) -> Found | None:
    """A thread, with length, grade and head where said."""
    found = _metric(text) or _dash_size(text) or _pipe(text) or _unified(text)
    if found is None:
        return None
    _tapered(text, found)
    if grade := text.written("grade"):
        steel = grade.get("steel") or grade.get("grade", "")
        found.marks |= {"steel": steel, "class": grade.get("class", ""), "material": "stainless" if steel else ""}
    if re.search(r"\bDIN ?93[13]\b|\bISO ?401[47]\b", text.words):
        found.marks |= {"item": "bolt", "head": "hexagon"}
    features = {e.feature: e.value for _, e in text.entries}
    bolt = "head" not in features and "bolt" in features.values()
    if bolt or re.search(r"\bHEX|\bSECHSKANT", text.words):
        found.marks.setdefault("head", "hexagon")  # what a bolt has where nobody says more (common practice)
    found.marks |= text.written("cone", "bend")
    if "length" not in found.dims and (long := text.sized("length")):
        found.dims["length"] = long
    if found.marks["thread"][0] == "M" and text.sure and "pitch word" in features:
        if found.used and found.used[0]["series"] == "metric coarse":
            found.against.append(f"says fine, but {found.size} is coarse where no pitch is said")
        text.drop("pitch word")
    return found


def _tapered(text: Text, found: Found) -> None:
    """BSP with the word parallel is G, with taper R; the word must agree with any other pipe thread."""
    said = text.feature("taper")
    text.drop("taper")
    family, _, size = found.marks["thread"].partition(" ")
    if said and family == "BSP":
        found.size = found.marks["thread"] = f"{'G' if said == 'parallel' else 'R'} {size}"
        return
    is_ = "tapered" if family in ("R", "Rc", "NPT", "NPTF") else "parallel"
    if said not in ("", is_):
        found.against.append(f"says {said}, but {found.size} is {is_}")


def _dash_size(text: Text) -> Found | None:
    """A hydraulic fitting by its dash size: JIC -8, -8 ORB: one dash names another thread for each form of seal."""
    said = text.written("dash size")
    if not said:
        return None
    form, dash = said["form"], f"-{int(said['dash'])}"
    row, (column, cone) = by("hose_fittings_dash", "dash").get(dash), _DASH_FORMS[form]
    listed = row is not None and bool(row[column])
    marks = {"thread": row[column], "cone": cone} if row and listed else {"thread": f"{form} {dash}"}
    return by_row(THREADED, f"{form} {dash}", {}, row if listed else None, marks)


def _metric(text: Text) -> Found | None:
    match = text.take(_METRIC)
    if match is None:
        return None
    major, pitch, length = Decimal(match[1]), *(Decimal(n) if n else None for n in match.group(2, 3))
    if pitch is not None and pitch > STEEPEST * major:
        pitch, length = None, pitch
    name = f"M{shown(major)}" + (f"x{shown(pitch)}" if pitch else "")
    found = _known(name, by_name().get(name.upper()), {"major": major})
    if length is not None:
        found.dims["length"] = length
        found.size = f"{name}x{shown(length)}"
    return found


def _known(name: str, row: Row | None, dims: dict[str, Decimal] | None = None) -> Found:
    sizes = _sizes_of(row, {"major_d_mm": "major", "pitch_mm": "pitch"})
    return by_row(THREADED, name, {**(dims or {}), **sizes}, row, {"thread": row["designation"] if row else name})


def _pipe(text: Text) -> Found | None:
    for pattern, family_at in ((_PIPE[0], 1), (_PIPE[1], 3)):
        match = pattern.search(text.left)
        if match and (text.sure or match[family_at] not in ("G", "R", "RC", "RP") or "/" in match[2]):
            text.cut(*match.span())
            family, size = _FAMILIES[match[family_at]], match[2].replace("-", " ")
            listed_as = {"Rc": "R", "Rp": "R", "BSP": "G", "NPTF": "NPT", "NPSM": "NPT"}.get(family, family)
            found = _known(f"{family} {size}", by_name().get(f"{listed_as}{size}".replace(" ", "")))
            found.marks["thread"] = f"{family} {size}"
            return found
    return None


def _unified(text: Text) -> Found | None:
    match = text.take(_UNIFIED) if text.sure or re.search(r"UN[CFS]?\b|BS[WF]\b|JIC|SAE ?45", text.left) else None
    if match:
        size, tpi, series = match[1], match[2], match[3] or ""
        names = [f"{size}-{tpi}{s}" for s in ([series] if series.startswith(("UN", "BS")) else ["UNC", "UNF"])]
    elif match := text.take(_NAMED):
        size, tpi, series = match[1], "", match[2]
        names = [r["designation"] for r in rows("threads") if r["series"] == series and
                 r["designation"].rsplit("-", 1)[0] == size]  # fmt: skip
    else:
        return None
    row = next(filter(None, (by_name().get(n.replace(" ", "")) for n in names)), None)
    label = row["designation"] if row else f"{size}-{tpi} {'UN' if series[:2] in ('JI', 'OR') else series}".strip(" -")
    found = _known(label, row)
    length = text.take(_LENGTH)
    if length and (value := millimetres(length[1], "IN")):
        found.dims["length"] = value
    if series.startswith(("JIC", "ORB")):
        found.marks["cone"] = _DASH_FORMS[series[:3]][1]
    return found


def compare_threads(judging: Judging) -> None:
    if not _threads(judging):
        return
    compare_sizes(judging)
    _steels(judging)
    (want, has), listed = judging.marks("class"), rows("stainless_classes")
    # tensile strength [N/mm2]; the figure before the point of a steel class is a hundredth of it (ISO 898-1)
    table = {row["mark"].split("-")[-1]: Decimal(row["tensile_N_mm2"]) for row in listed}
    least, tensile = (table.get(c) or Decimal(c.split(".")[0]) * 100 if "." in c else table.get(c) for c in (want, has))
    if least and tensile and tensile < least:
        judging.refuse(f"strength {has} ({tensile} N/mm2) against {want} ({least} N/mm2): weaker", "class")
    elif want and has and want != has:
        judging.near(f"strength {has} against {want}: stronger is not tougher; ask", "class")
    compare_features(judging, after="sizes")


def _threads(judging: Judging) -> bool:
    """Findings on the threads; False where they do not join."""
    want, has = judging.marks("thread")
    # what the table of threads that are taken for each other says, in either order, of two sizes or two families
    families = {want.split()[0], has.split()[0]} if want.split()[1:] == has.split()[1:] else set()
    row = next((row for row in rows("threads_fit") if {row["wanted"], row["offered"]} == {want, has} or any(
        set(pair.split()) == families for pair in filter(None, row["families"].split("|")))), None)  # fmt: skip
    if want == has:
        if not judging.wanted.listed:
            judging.unknown(f"{want} is not in the table of threads: measure diameter and pitch", "thread")
        judging.note(f"same thread: {want}")
    elif families == {"G", "BSP"}:
        judging.near("BSP alone may be parallel (G) or taper (R): ask", "thread")
    elif row:
        judging.used(row)
        verdict: AlikeVerdict = "not" if row["verdict"] == "not" else "near"
        judging.find(verdict, f"{has} against {want}: {row['note']}", "thread")
        return verdict == "near"
    else:
        sizes = [f"{shown(p.dims['major'])} x {shown(p.dims['pitch'])} mm" if "pitch" in p.dims else p.size
                 for p in judging.both]  # fmt: skip
        judging.refuse(f"another thread: {has} ({sizes[1]}) against {want} ({sizes[0]})", "thread")
        return False
    return True


def _steels(judging: Judging) -> None:
    (want, has), wet = judging.marks("steel"), "sea water" in judging.marks("place")
    table = by("stainless_grades", "grade")
    judging.used(*(table[grade] for grade in (want, has) if grade in table and (want != has or wet)))
    if want == has:
        if want in table and wet:
            judging.caution(f"{want} under sea water: {table[want]['immersed_seawater']}")
        return
    order = ["", *(row["grade"] for row in rows("stainless_grades"))]  # by how well they stand salt, the worst first
    both, worse, row = bool(want and has), order.index(has) < order.index(want), table.get(has, {})
    other = judging.offered.marks.get("material", "stainless")
    mark, against = "ask for the mark on the head", f"{has} against {want}"
    judging.first(
        (both and worse and wet, "not", f"{against}: in sea water {row.get('immersed_seawater')}", "steel"),
        (both and worse, "near", f"{against}: {row.get('against_A4')}; pits sooner in salt", "steel"),
        (both, "near", f"{has} stands salt better than {want} or as well; it may replace it", "steel"),
        (has, "near", f"the offer is {has}; the steel of the old one was not said", "steel"),
        (other != "stainless", "not", f"{other} against stainless {want}: it rusts or is weaker", "steel"),
        (True, "near", f"the offer does not say its steel, {want} is wanted: {mark}", "steel"),
    )
