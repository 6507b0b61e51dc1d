"""Threaded parts: bolts, screws, nuts and pipe fittings by thread, length, grade and head."""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal
from functools import cache
from types import MappingProxyType

from repairecon.records import Designation
from repairecon.standards.findings import Found, Judging, cell, compare_features, compare_sizes, sized
from repairecon.standards.tables import Row, by, rows
from repairecon.standards.words import NUMBER, PART, Text, exact, millimetres, shown

KIND = "threaded part"
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
_GRADE = re.compile(
    r"(?<![\w.])(A[1-8]|C[134]|F1|D[2468])(?:[- ]?(50|70|80|100))?(?![\w.])"
    r"|(?<![\w.])(?:GRADE |CLASS |STRENGTH )?(4\.6|4\.8|5\.8|6\.8|8\.8|10\.9|12\.9)(?![\w.])"
    r"|(?<![\w.])(?:AISI ?|GRADE ?)?(316|304|303)(L|TI)?(?![\w.])"
)
_CONE = re.compile(
    r"\bJIC\b(?: ?37(?: ?DEG(?:REES?)?)?)?|\bSAE ?45\b(?: ?DEG(?:REES?)?)?|(?<![\w.])(?:37|45) ?DEG(?:REES?)?"
    r" ?(?:FLARE|CONE)"
)
_LENGTH = re.compile(rf"X ?({PART})\"?(?![\w/])")
_FAMILIES = {"BSPP": "G", "G": "G", "BSPT": "R", "R": "R", "RC": "Rc", "RP": "Rp", "BSP": "BSP", "NPT": "NPT",
             "NPTF": "NPTF", "NPSM": "NPSM"}  # fmt: skip
_DASH_SIZE = re.compile(r"(?<![\w.])(?:(JIC|ORB|ORFS) ?-(\d{1,2})|-(\d{1,2}) ?(JIC|ORB|ORFS))(?![\w.])")
_DASH_FORMS = {"JIC": ("jic_37_thread", "37"), "ORB": ("orb_thread", "O-ring port"),
               "ORFS": ("orfs_thread", "O-ring face")}  # fmt: skip
STEELS = {"316": "A4", "304": "A2", "303": "A1"}


@cache
def by_name() -> Mapping[str, Row]:
    """Listed threads by their names without spaces, coarse metric ones with and without pitch."""
    found: dict[str, Row] = {}
    for row in rows("threads"):
        for name in (row["designation"], row["alt_designation"].removesuffix(" (male)")):
            if name and "near" not in name:
                found.setdefault(name.replace(" ", "").upper(), row)
    return MappingProxyType(found)


def read(text: Text, sure: bool) -> Found | None:
    """A thread, with length, grade and head where said."""
    found = _metric(text) or _dash_size(text) or _pipe(text, sure) or _unified(text, sure)
    if found is None:
        return None
    _taper_said(text, found)
    grade = text.take(_GRADE)
    if grade:
        steel = STEELS.get(grade[4] or "", grade[1] or "")
        found.marks |= {"steel": steel, "class": grade[2] or grade[3] or ""}
        if steel:
            found.marks["material"] = "stainless"
    if re.search(r"\bDIN ?93[13]\b|\bISO ?401[47]\b", text.words):
        found.marks |= {"item": "bolt", "head": "hexagon"}
    if re.search(r"\bHEX|\bSECHSKANT", text.words):
        found.marks.setdefault("head", "hexagon")
    elif not any(e.feature == "head" for _, e in text.entries) and any(e.value == "bolt" for _, e in text.entries):
        found.marks["head"] = "hexagon"  # what a bolt has where nobody says more (common practice)
    cone = text.take(_CONE)
    if cone:
        found.marks["cone"] = "45" if "45" in cone[0] else "37"
    bend = text.take(r"(?<![\w.])(45|60|90) ?(?:DEG(?:REES?)?|°)(?!\w)")
    if bend:
        found.marks["bend"] = bend[1]
    if "length" not in found.dims and (long := sized(text, "length")):
        found.dims["length"] = long
    found.labels = {"length": "length", "diameter": "major"}
    if found.marks["thread"][0] == "M" and sure and any(e.feature == "pitch word" for _, e in text.entries):
        if found.used and found.used[0]["series"] == "metric coarse":
            found.against.append(f"says fine, but {found.size} is coarse where no pitch is said")
        text.entries = [(w, e) for w, e in text.entries if e.feature != "pitch word"]
    return found


def _dash_size(text: Text) -> Found | None:
    """A hydraulic fitting by its dash size: JIC -8, -8 ORB: one dash names another thread for each form of seal."""
    match = text.take(_DASH_SIZE)
    if match is None:
        return None
    form, dash = match[1] or match[4], f"-{int(match[2] or match[3])}"
    row = by("hose_fittings_dash", "dash").get(dash)
    column, cone = _DASH_FORMS[form]
    if row is None or not row[column]:
        return Found(KIND, f"{form} {dash}", {}, {"thread": f"{form} {dash}"}, listed=False)
    return Found(KIND, f"{form} {dash}", {}, {"thread": row[column], "cone": cone}, used=[row])


def _taper_said(text: Text, found: Found) -> None:
    """BSP with the word parallel is G, with taper R; the word must agree with any other pipe thread."""
    said = next((e.value for _, e in text.entries if e.feature == "taper"), "")
    text.entries = [(w, e) for w, e in text.entries if e.feature != "taper"]
    family, _, size = found.marks["thread"].partition(" ")
    if said and family == "BSP":
        family = "G" if said == "parallel" else "R"
        found.size = found.marks["thread"] = f"{family} {size}"
    taper = family in ("R", "Rc", "NPT", "NPTF")
    if said and taper != (said == "tapered"):
        found.against.append(f"says {said}, but {found.size} is {'tapered' if taper else 'parallel'}")


def _metric(text: Text) -> Found | None:
    match = text.take(_METRIC)
    if match is None:
        return None
    major, second, third = (Decimal(n) if n else None for n in match.groups())
    assert major is not None
    pitch, length = second, third
    if second is not None and second > STEEPEST * major:
        pitch, length = None, second
    name = f"M{shown(major)}" + (f"x{shown(pitch)}" if pitch else "")
    row = by_name().get(name.upper())
    found = Found(KIND, name, {"major": major}, {"thread": row["designation"] if row else name})
    if length is not None:
        found.dims["length"] = length
        found.size = f"{name}x{shown(length)}"
    return _known(found, row)


def _known(found: Found, row: Row | None) -> Found:
    found.listed = row is not None
    if row is not None:
        found.used = [row]
        found.dims |= {"major": exact(row["major_d_mm"]), "pitch": exact(row["pitch_mm"])}
        found.marks["thread"] = row["designation"]
    return found


def _pipe(text: Text, sure: bool) -> Found | None:
    for pattern, family_at in ((_PIPE[0], 1), (_PIPE[1], 3)):
        match = pattern.search(text.left)
        if match is None:
            continue
        written = match[family_at]
        if written in ("G", "R", "RC", "RP") and not sure and "/" not in match[2]:
            continue
        text.cut(*match.span())
        family, size = _FAMILIES[written], match[2].replace("-", " ")
        listed_as = {"Rc": "R", "Rp": "R", "BSP": "G", "NPTF": "NPT", "NPSM": "NPT"}.get(family, family)
        row = by_name().get(f"{listed_as}{size}".replace(" ", ""))
        found = _known(Found(KIND, f"{family} {size}", {}, {"thread": f"{family} {size}"}), row)
        found.marks["thread"] = f"{family} {size}"
        return found
    return None


def _unified(text: Text, sure: bool) -> Found | None:
    match = text.take(_UNIFIED) if sure or re.search(r"UN[CFS]?\b|BS[WF]\b|JIC|SAE ?45", text.left) else None
    if match:
        size, tpi, series = match[1], match[2], match[3] or ""
        standard = series if series.startswith(("UN", "BS")) else ""
        names = [f"{size}-{tpi}{s}" for s in ([standard] if standard else ["UNC", "UNF"])]
    elif named := text.take(_NAMED):
        size, series = named[1], named[2]
        names = [r["designation"] for r in rows("threads") if r["series"] == series and
                 r["designation"].rsplit("-", 1)[0] == size]  # fmt: skip
        tpi = ""
    else:
        return None
    row = next((by_name()[n.replace(" ", "")] for n in names if n.replace(" ", "") in by_name()), None)
    label = row["designation"] if row else f"{size}-{tpi} {'UN' if series[:2] in ('JI', 'OR') else series}".strip(" -")
    found = _known(Found(KIND, label, {}, {"thread": label}), row)
    length = text.take(_LENGTH)
    if length and (value := millimetres(length[1], "IN")):
        found.dims["length"] = value
    if series.startswith(("JIC", "ORB")):
        found.marks["cone"] = _DASH_FORMS[series[:3]][1]
    return found


def compare(wanted: Designation, offered: Designation, judging: Judging) -> None:
    """All findings on two threaded parts."""
    compare_features(wanted, offered, judging)
    if not _threads(wanted, offered, judging):
        return
    if "length" in wanted.dims or "length" in offered.dims:
        compare_sizes(wanted, offered, judging, {"length": "length"}, Decimal("0.1"))
    _steels(wanted, offered, judging)
    _classes(wanted, offered, judging)
    _other_materials(wanted, offered, judging)


def _threads(wanted: Designation, offered: Designation, judging: Judging) -> bool:
    want, has = wanted.marks["thread"], offered.marks["thread"]
    if want == has:
        if not wanted.listed:
            judging.unknown(f"{want} is not in the table of threads: measure diameter and pitch", "thread")
        judging.note(f"same thread: {want}")
        return True
    families = want.split()[0], has.split()[0]
    if set(families) == {"G", "BSP"} and want.split()[1:] == has.split()[1:]:
        judging.near("BSP alone may be parallel (G) or taper (R): ask", "thread")
        return True
    row = _fit(want, has)
    if row is not None:
        judging.used(row)
        said = f"{has} against {want}: {row['note']}"
        if row["verdict"] == "not":
            judging.refuse(said, "thread")
        else:
            judging.near(said, "thread")
        return row["verdict"] != "not"
    sizes = [f"{shown(p.dims['major'])} x {shown(p.dims['pitch'])} mm" if "pitch" in p.dims else p.size
             for p in (wanted, offered)]  # fmt: skip
    judging.refuse(f"another thread: {has} ({sizes[1]}) against {want} ({sizes[0]})", "thread")
    return False


def _fit(want: str, has: str) -> Row | None:
    """What the table of threads that are taken for each other says, in either order."""
    for row in rows("threads_fit"):
        if {row["wanted"], row["offered"]} == {want, has}:
            return row
    families = [name.split()[0] for name in (want, has)]
    if want.split()[1:] == has.split()[1:]:
        pairs = {("G", "R"): "G (BSPP female", ("NPT", "NPTF"): "NPT female", ("NPT", "R"): "NPT female",
                 ("Rc", "R"): "Rp or Rc", ("Rp", "R"): "Rp or Rc"}  # fmt: skip
        for row in rows("threads_fit"):
            for (one, other), start in pairs.items():
                meant = sorted(families) == sorted((one, other)) and row["wanted"].startswith(start)
                if meant and other in row["offered"]:
                    return row
    return None


def _steels(wanted: Designation, offered: Designation, judging: Judging) -> None:
    want, has = wanted.marks.get("steel", ""), offered.marks.get("steel", "")
    wet = "sea water" in (wanted.marks.get("place"), offered.marks.get("place"))
    if want == has:
        if want and wet:
            row = next((r for r in rows("stainless_grades") if r["grade"] == want), None)
            if row is not None:
                judging.used(row)
                judging.caution(f"{want} under sea water: {row['immersed_seawater']}")
        return
    table = {r["grade"]: r for r in rows("stainless_grades")}
    for grade in (want, has):
        if grade in table:
            judging.used(table[grade])
    better = ("C1", "C4", "F1", "C3", "A1", "A3", "A2", "D2", "D4", "A5", "A4", "D6", "A8", "D8")
    if want and has:
        worse = better.index(has) < better.index(want)
        if worse and wet:
            judging.refuse(f"{has} against {want}: in sea water {table[has]['immersed_seawater']}", "steel")
        elif worse:
            judging.near(f"{has} against {want}: {table[has]['against_A4']}; pits sooner in salt", "steel")
        else:
            judging.near(f"{has} stands salt better than {want} or as well; it may replace it", "steel")
    elif want:
        other = offered.marks.get("material", "")
        if other and other != "stainless":
            judging.refuse(f"{other} against stainless {want}: it rusts or is weaker", "steel")
        else:
            judging.near(f"the offer does not say its steel, {want} is wanted: ask for the mark on the head", "steel")
    elif has:
        judging.near(f"the offer is {has}; the steel of the old one was not said", "steel")


def _classes(wanted: Designation, offered: Designation, judging: Judging) -> None:
    want, has = wanted.marks.get("class", ""), offered.marks.get("class", "")
    if want == has:
        return
    strength = {r["mark"].split("-")[-1]: r for r in rows("stainless_classes")}
    rows_ = [strength.get(c) for c in (want, has)]
    tensile = [_tensile(c, r) for c, r in zip((want, has), rows_, strict=True)]
    if want and not has:
        judging.near(f"the offer does not say its strength, {want} is wanted: ask", "class")
    elif has and not want:
        judging.near(f"the offer is of strength {has}; that of the old one was not said", "class")
    elif tensile[0] and tensile[1] and tensile[1] < tensile[0]:
        judging.refuse(f"strength {has} ({tensile[1]} N/mm2) against {want} ({tensile[0]} N/mm2): weaker", "class")
    else:
        judging.near(f"strength {has} against {want}: stronger is not tougher; ask", "class")


def _tensile(mark: str, row: Row | None) -> Decimal | None:
    """Tensile strength [N/mm2]; the figure before the point of a steel class is a hundredth of it (ISO 898-1)."""
    if row is not None:
        return cell(row, "tensile_N_mm2")
    return Decimal(mark.split(".")[0]) * 100 if "." in mark else None


def _other_materials(wanted: Designation, offered: Designation, judging: Judging) -> None:
    want, has = wanted.marks.get("material", ""), offered.marks.get("material", "")
    if wanted.marks.get("steel") or offered.marks.get("steel") or want == has:
        return
    if want and has:
        judging.refuse(f"{has} against {want}: another metal corrodes or wears otherwise", "material")
    else:
        judging.near(f"only one of the two says its material, {want or has}: ask", "material")
