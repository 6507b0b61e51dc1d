"""Written names of rolling bearings: series, bore code and the marks before and behind."""

from __future__ import annotations

import re
from functools import cache

from repairecon.records import Designation
from repairecon.standards.bearing_marks import TRIPLE, Marks, read_marks
from repairecon.standards.figures import exact, text
from repairecon.standards.tables import Row, by, rows, trust

KIND = "rolling bearing"
NOT_SAID = "not said"
DEEP_GROOVE = "deep groove ball bearing"
WORDS = r"BEARINGS?|BRG|BALL|DEEP[ -]GROOVE|ROLLER"
_DEEP = r"6(?:18|19)/\d(?:\.5)?|6[0234]/\d{2,3}|16[01]\d\d|6(?:18|19|22|23|30)\d\d|6[0234689]\d\d|6[02389][1-9]"
_OTHERS = {
    "angular contact ball bearing": r"7[0-4]\d\d",
    "self-aligning ball bearing": r"1[0234]\d\d|2[23](?:[01]\d|2[0-2])",
    "double row angular contact ball bearing": r"[35][23]\d\d",
    "spherical roller bearing": r"2(?:13|2[23]|3[0-2]|4[01])\d\d",
    "taper roller bearing": r"3(?:0[23]|13|2[0239]|3[0-2])\d\d",
    "thrust ball bearing": r"51[1-4]\d\d",
}
_CYLINDRICAL = r"N(?:UP|U|J|F)?[ -]?(?:10|22|23|2|3|4)\d\d"
_START = r"(?:^|[\s,;:(\"#-]|(?<![\w.])\d{1,2}X)"
_END = r"(?!\d|X\d|MM|\.\d(?!RS|Z|RZ)|/\d|-\d{3})"
_SMALL_CODES = {"00": 10, "01": 12, "02": 15, "03": 17}
_FEATURES = ("sealing", "clearance", "tolerance class", "material", "cage", "ring", "bore")


def bore(number: str) -> float | None:
    """Bore [mm] that a bearing number names by the bore code."""
    if "/" in number:
        return float(number.split("/")[1])
    digits = re.sub(r"\D", "", number)
    if len(digits) == 3 and not number.startswith("N"):
        return float(digits[-1])
    code = digits[-2:]
    return float(_SMALL_CODES.get(code, 5 * int(code)))


def _names(row: Row) -> tuple[str, str]:
    return row["designation"], row["alt_designation"]


@cache
def _by_dims() -> dict[tuple[str, ...], Row]:
    return {tuple(text(exact(row[c])) for c in ("d_mm", "D_mm", "B_mm")): row for row in rows("bearings")}


def _find(words: str, hint: bool) -> tuple[str, re.Match[str]] | None:
    core = re.search(rf"{_START}(?:(SS|S|W|INOX)[ -]?)?({_DEEP}){_END}(.*)$", words)
    if core:
        return DEEP_GROOVE, core
    core = re.search(rf"{_START}()({_CYLINDRICAL}){_END}(.*)$", words)
    if core:
        return "cylindrical roller bearing", core
    if hint or says(words):
        for kind, pattern in _OTHERS.items():
            core = re.search(rf"{_START}(?:(SS|S|W|INOX)[ -]?)?({pattern}){_END}(.*)$", words)
            if core:
                return kind, core
    return None


def says(words: str) -> bool:
    """True if the words say that it is a bearing."""
    return re.search(rf"\b(?:{WORDS})\b", words) is not None


def read(words: str, hint: bool = False) -> Designation | None:
    """A rolling bearing's written name; with a hint also by its three sizes."""
    found = _find(words, hint)
    if found is None:
        return _by_sizes(words) if hint or says(words) else None
    type_, core = found
    number = re.sub(r"(?<=[A-Z])[ -]", "", core[2])
    row = by("bearings", _names).get(number) if type_ == DEEP_GROOVE else None
    marks = read_marks(core[1] or "", core[3])
    return _designation(words, type_, number, row, marks)


def _by_sizes(words: str) -> Designation | None:
    triple = TRIPLE.search(words)
    if triple is None:
        return None
    sizes = tuple(text(exact(s)) for s in triple.groups())
    row = _by_dims().get(sizes)
    if row is None:
        dims = dict(zip("dDB", map(float, sizes), strict=True))
        return Designation(words, KIND, "x".join(sizes), dims, marks={"type": ""}, listed=False)
    marks = read_marks("", words[triple.end() :])
    marks.said.setdefault("sealing", NOT_SAID)
    return _designation(words, DEEP_GROOVE, row["designation"], row, marks)


def _designation(words: str, type_: str, number: str, row: Row | None, marks: Marks) -> Designation:
    said = {"type": type_, **{f: marks.said[f] for f in _FEATURES if f in marks.said}}
    unread = tuple(marks.unread)
    if row is None:
        inner = bore(number)
        dims = {} if inner is None else {"d": inner}
        return Designation(words, KIND, number, dims, marks=said, unread=unread, listed=False)
    dims = {letter: float(row[f"{letter}_mm"]) for letter in "dDB"}
    gap = clearance(dims["d"], said.get("clearance", "CN"))
    figures = {} if gap is None else dict(zip(("clearance_min_um", "clearance_max_um"), _ends(gap), strict=True))
    status, sources = trust([row, *marks.rows])
    return Designation(words, KIND, row["designation"], dims, figures, said, unread, True, status, sources)


def _ends(row: Row) -> tuple[float, float]:
    return float(row["clearance_min_um"]), float(row["clearance_max_um"])


def clearance(inner: float, group: str) -> Row | None:
    """The row of radial internal clearance for a bore [mm] and a group."""
    for row in rows("bearing_clearance"):
        if row["group"] == group and float(row["bore_over_mm"]) < inner <= float(row["bore_to_mm"]):
            return row
    return None
