"""O-rings: dash numbers, metric and Japanese sizes, and sizes written out."""

from __future__ import annotations

import re
from decimal import Decimal
from functools import cache

from repairecon.records import Designation
from repairecon.standards.figures import INCH, NUMBER, exact, inches, share, text
from repairecon.standards.judging import Judging
from repairecon.standards.material_names import material_of, rubber_marks
from repairecon.standards.tables import Row, by, rows, trust

KIND = "O-ring"
_WORD = re.compile(r"\bO[ -]?-?RINGS?\b|\bRINGS?\b(?! GEAR)|\bOR(?=[ -]?\d)")
_DASH = re.compile(r"(?:^|\s|\b2)-(\d{3})(?![\d.X])")
_CODED = re.compile(r"\b(?:AS ?-?568 ?[A-D]?|BS ?1806|ISO ?3601(?:-1)?|DASH(?: NO\.?)?)[ :-]*(\d{3})(?![\d.X])")
_JAPANESE = re.compile(r"(?:(?<=\s)|^|(?<=-))([PG])[ -]?(\d{1,3}(?:\.\d)?A?)(?![\w.])")
_PAIR = re.compile(rf"(?<![\w./])({NUMBER})X({NUMBER})(?![\w/]*X|\d|\.\d)")
_TRIPLE = re.compile(rf"(?<![\w./])({NUMBER})X({NUMBER})X({NUMBER})(?![\w/])")
_PART = r"(?:\d+[ -])?\d+/\d+|\d*\.\d+|\d+(?:\.\d+)?"
_INCH_PAIR = re.compile(rf"(?<![\w./-])({_PART})\s*(?:\"|IN(?:CH)?)?\s*X\s*({_PART})\s*(?:\"|IN\b|INCH)")
_NAMED = re.compile(rf"\bID ?=?:? ?({NUMBER}).*?\b(?:CS|W|SECTION) ?=?:? ?({NUMBER})")
_BARE = re.compile(r"^(\d{3})$")
_NOMINAL = {
    "1/16": Decimal("0.070"), "3/32": Decimal("0.103"), "1/8": Decimal("0.139"), "3/16": Decimal("0.210"),
    "1/4": Decimal("0.275"),
}  # fmt: skip
"""Real sections [in] of the nominal ones that inch rings are called by (AS568, from memory)."""
NOMINAL_SLACK = Decimal("0.03")
"""How far the real inside diameter may be from the nominal one [in]."""
SLACK = Decimal("0.02")
"""Half the last digit of a size in inches, and a little [mm]."""
SAME = Decimal("0.005")
"""Half the last printed digit of the tables [mm]."""


def _dash(row: Row) -> tuple[str]:
    return (row["dash"].lstrip("-"),)


def _metric(row: Row) -> tuple[str]:
    return (row["code"].upper(),)


@cache
def _by_size() -> dict[tuple[Decimal, Decimal], Row]:
    found: dict[tuple[Decimal, Decimal], Row] = {}
    for name in ("oring_as568", "oring_metric"):
        for row in rows(name):
            found.setdefault((exact(row["id_mm"]), exact(row["cs_mm"])), row)
    return found


def says(words: str) -> bool:
    """True if the words say that it is an O-ring."""
    return re.search(r"\bO[ -]?-?RINGS?\b|\bB ?2401\b", words) is not None


def read(words: str, hint: bool = False) -> Designation | None:
    """An O-ring's written name; with a hint also bare numbers and sizes."""
    named = bool(_WORD.search(words))
    coded = _CODED.search(words) or _DASH.search(words)
    if coded is None and (hint or named):
        coded = _BARE.search(_WORD.sub("", words).strip())
    if coded:
        return _from_code(words, f"-{coded[1]}", by("oring_as568", _dash).get(coded[1]))
    japanese = _JAPANESE.search(words)
    if japanese and (hint or named or "JIS" in words or words == japanese[0]):
        code = japanese[1] + japanese[2]
        return _from_code(words, code, by("oring_metric", _metric).get(code))
    return _from_sizes(words, hint or named) or _without_size(words, named)


def _from_code(words: str, code: str, row: Row | None) -> Designation:
    marks = rubber_marks(words)
    if row is None:
        return Designation(words, KIND, code, marks=marks, listed=False)
    return _listed(words, code, exact(row["id_mm"]), exact(row["cs_mm"]), row)


def _from_sizes(words: str, sure: bool) -> Designation | None:
    inch = _INCH_PAIR.search(words)
    if inch and sure:
        return _inch(words, inch[1], inch[2])
    triple = _TRIPLE.search(words)
    if triple and sure:
        inner, second, third = map(Decimal, triple.groups())
        if second == inner + 2 * third:
            return _sized(words, inner, third)
    found = _NAMED.search(words) or (None if triple else _PAIR.search(words))
    if found is None:
        return None
    inner, cord = Decimal(found[1]), Decimal(found[2])
    plausible = Decimal("0.5") <= cord <= Decimal("16") and inner > cord / 2
    known = sure or inner > cord or (inner, cord) in _by_size()
    return _sized(words, inner, cord) if plausible and known else None


def _inch(words: str, first: str, second: str) -> Designation | None:
    """A ring of inches; a section written as a fraction is the nominal one, thinner than the real ring."""
    inner, cord = inches(first), inches(second)
    if not inner or not cord:
        return None
    real = _NOMINAL.get(second)
    if real is not None:
        same_cord = (r for r in rows("oring_as568") if exact(r["cs_in"]) == real)
        best = min(same_cord, key=lambda r: abs(exact(r["id_in"]) - inner))
        if abs(exact(best["id_in"]) - inner) <= NOMINAL_SLACK:
            return _from_code(words, best["dash"], best)
    row = _by_size().get(_nearest(inner * INCH, cord * INCH))
    if row is None:
        return _sized(words, inner * INCH, cord * INCH)
    return _from_code(words, row.get("dash") or row["code"], row)


def _nearest(inner: Decimal, cord: Decimal) -> tuple[Decimal, Decimal]:
    """The listed size within the rounding of inches, else the size itself."""
    close = (k for k in _by_size() if abs(k[0] - inner) <= SLACK and abs(k[1] - cord) <= SLACK)
    return next(close, (inner, cord))


def _sized(words: str, inner: Decimal, cord: Decimal) -> Designation:
    row = _by_size().get((inner, cord))
    return _listed(words, f"{text(inner)}x{text(cord)}", inner, cord, row)


def _listed(words: str, size: str, inner: Decimal, cord: Decimal, row: Row | None) -> Designation:
    dims = {"id": float(inner), "cs": float(cord), "od": float(inner + 2 * cord)}
    printed = {} if row is None else {c: row[c] for c in ("id_in", "cs_in") if c in row}
    figures = {c: float(v) for c, v in printed.items()}
    status, sources = trust([] if row is None else [row])
    return Designation(words, KIND, size, dims, figures, rubber_marks(words), (), row is not None, status, sources)


def _without_size(words: str, named: bool) -> Designation | None:
    if not (named and material_of(words)):
        return None
    return Designation(words, KIND, "", marks=rubber_marks(words))


def series(inner: Decimal, cord: Decimal) -> str:
    """Whether a ring is of the inch, the metric or the Japanese series; an unlisted one goes by its section."""
    row = _by_size().get((inner, cord))
    if row is None:
        return "inch" if any(exact(r["cs_mm"]) == cord for r in rows("oring_as568")) else "metric"
    if "dash" in row:
        return "inch"
    return "Japanese" if row["standard"].startswith("JIS") else "metric"


def tolerances(inner: Decimal, cord: Decimal) -> tuple[Decimal, Decimal, list[Row]]:
    """Tolerance of inside diameter and of section [mm] by the listed inch size nearest to a ring, with its rows.

    The metric tables here print no tolerance of the inside diameter, so the nearest size of the other one speaks.
    """
    by_id = min(rows("oring_as568"), key=lambda r: (abs(exact(r["id_mm"]) - inner), abs(exact(r["cs_mm"]) - cord)))
    both = [r for name in ("oring_as568", "oring_metric") for r in rows(name) if r["cs_tol_mm"]]
    by_cord = min(both, key=lambda r: abs(exact(r["cs_mm"]) - cord))
    return exact(by_id["id_tol_mm"]), exact(by_cord["cs_tol_mm"]), [by_id, by_cord]


def compare(wanted: Designation, offered: Designation, judging: Judging) -> None:
    """All findings on the sizes of two O-rings."""
    missing = [part for part in (wanted, offered) if not part.dims]
    for part in missing:
        if part.size:
            judging.unknown(f"{part.size} is not in the table: measure inside diameter and section")
    if missing:
        _sizes_not_said(wanted, offered, judging)
        return
    gaps = {c: exact(offered.dims[c]) - exact(wanted.dims[c]) for c in ("id", "cs", "od")}
    for letter, gap in gaps.items():
        judging.gap(letter, gap)
    for part in (wanted, offered):
        if not part.listed:
            judging.note(f"{part.size} is not in the table of sizes; it is taken as written")
    if max(abs(gaps["id"]), abs(gaps["cs"])) <= SAME:
        judging.note(f"same size: {text(wanted.dims['id'])} x {text(wanted.dims['cs'])} mm")
        return
    _gaps(wanted, offered, gaps, judging)


def _sizes_not_said(wanted: Designation, offered: Designation, judging: Judging) -> None:
    sizes = [part.size for part in (wanted, offered)]
    if sizes[0] == sizes[1] == "" or "same size" in offered.text.casefold():
        judging.note("no size is given to compare: the same size is taken as said")
    elif "" in sizes:
        judging.unknown("only one of the two says its size", "size")


def _gaps(wanted: Designation, offered: Designation, gaps: dict[str, Decimal], judging: Judging) -> None:
    inner, cord = exact(wanted.dims["id"]), exact(wanted.dims["cs"])
    id_tol, cs_tol, used = tolerances(inner, cord)
    judging.used(*used)
    judging.note(f"{text(offered.dims['id'])} x {text(offered.dims['cs'])} mm against {text(inner)} x {text(cord)} mm")
    kinds = series(inner, cord), series(exact(offered.dims["id"]), exact(offered.dims["cs"]))
    if kinds[0] != kinds[1] and gaps["cs"]:
        judging.note(f"one section is of the {kinds[0]} series, the other of the {kinds[1]}: look-alikes")
    for letter, name, tolerance in (("cs", "section", cs_tol), ("id", "inside diameter", id_tol)):
        gap = gaps[letter]
        if abs(gap) <= SAME:
            continue
        way = "over" if gap > 0 else "below"
        whole = cord if letter == "cs" else inner
        said = f"{name} {text(abs(gap))} mm {way} ({share(gap, whole)} %), tolerance {text(tolerance)} mm"
        if abs(gap) > tolerance:
            judging.refuse(said, name)
        else:
            judging.near(f"{said}: inside it, so it may be used, not taken for the same", name)
