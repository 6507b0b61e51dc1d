"""Hoses by bore, what they carry, and the printed standard."""

from __future__ import annotations

import re
from decimal import Decimal

from repairecon.standards.findings import Found, Judging, compare_features
from repairecon.standards.materials import take_material
from repairecon.standards.tables import Row, rows
from repairecon.standards.words import INCH, PART, Size, Text, exact, millimetres, shown

KIND = "hose"
SAME_BORE = Decimal("0.45")
"""mm within which a bore of inches and one of mm are of one nominal size, where the table has none."""
_STANDARDS = re.compile(
    r"(?:\b(ISO ?7840|ISO ?8469|ISO ?13363|USCG|(?:SAE ?)?J(?:1527|2006|1942|20))(?!\d)(?::\d{4})?)"
    r"|\b((?:SAE ?)?100 ?R\d{1,2}|(?:SAE ?)?30 ?R\d{1,2}|EN ?85[34] ?\w{3})\b"
)
_CLASS = re.compile(r"(?<![\w])(?:TYPE ?|CLASS ?)?([AB][12](?:-15|-10)?|R[1-5])(?![\w])")
_DASH = re.compile(r"(?:(?<=\s)|(?<=¦)|^)-(\d{1,2})(?![\w.])|\bDASH ?(\d{1,2})\b")
_BORE = re.compile(rf"(?<![\w.\-/])(?:DN ?)?({PART})\s*(MM|IN(?:CH(?:ES)?)?|\")?(?![\w/]|\.\d)")
_LENGTH = re.compile(r"(?<![\w.])\d+(?:\.\d+)? ?(?:M|METRES?|METERS?|FT|FEET)(?!\w)")
FUEL = ("fuel", "diesel fuel")
_FUEL_STANDARDS = ("ISO7840", "ISO8469", "J1527")


def nominal(bore: Decimal) -> Row | None:
    """The row of nominal bores that a size [mm] names: its own number, or its inch size."""
    for row in rows("hose_bores"):
        inch = row["inch_as_mm"] and abs(exact(row["inch_as_mm"]) - bore) <= Decimal("0.06")
        if exact(row["bore_nominal_mm"]) == bore or inch:
            return row
    return None


def read(text: Text) -> Found | None:
    """A hose: its bore in mm, inches or as a dash number, what it carries, its standard and class."""
    found = Found(KIND)
    text.left = re.sub(r"(\d)X\d+(?:\.\d+)? ?M(?!\w)", r"\1 MM", text.left)  # 25 mm x 2 m: the length sold
    if standard := text.take(_STANDARDS):
        found.marks["standard"] = re.sub(r"[ ]|^SAE", "", standard[1] or standard[2])
    while text.take(_LENGTH):
        pass
    if class_ := text.take(_CLASS):
        found.marks["class"] = class_[1]
    services = dict.fromkeys(e.value for _, e in text.entries if (e.kind, e.feature) == (KIND, "service"))
    text.drop("service", "measure")
    if services:
        several = [s for s in services if s != "water" or len(services) == 1]
        found.marks["service"] = several[0] if set(several) <= set(FUEL) else " and ".join(several)
    bore = text.sized("bore", "inner", "diameter")
    if bore is None:
        bore = written_bore(text)
        outer = next((size for size in text.sizes if size.label == "outer" and size.shown[0].isdigit()), None)
        if bore and outer and re.search(rf"{re.escape(outer.shown)} *{PART}", text.words):
            # 38 mm OD 47 mm: OD is of the number behind it, if that can be; no outside diameter is a bore
            text.sizes[text.sizes.index(outer)] = Size("outer", bore, f"OD {shown(bore)} MM")
            bore = outer.value if outer.value < bore else None
    if bore is None:
        return None
    take_material(text, found)
    found.dims["bore"] = bore
    row = nominal(bore)
    found.used = [] if row is None else [row]
    found.size = f"{shown(bore) if row is None else row['bore_nominal_mm']} mm"
    for row in rows("hose_standards"):
        names = re.sub(r"[ ]|SAE", "", row["standard"])
        if found.marks.get("standard", "-") in names and found.marks.get("class", row["mark"]) == row["mark"]:
            found.used.append(row)
            break
    return found


def written_bore(text: Text) -> Decimal | None:
    """A bore [mm] written in mm, inches or as a dash number."""
    if dash := text.take(_DASH):
        return int(dash[1] or dash[2]) * INCH / 16
    written = text.take(_BORE)
    return None if written is None else millimetres(written[1], written[2])


def compare(judging: Judging) -> None:
    """All findings on two hoses."""
    want, has = judging.sizes("bore")
    judging.gap("bore")
    listed = nominal(want), nominal(has)
    if listed[0] is listed[1] if all(listed) else abs(want - has) <= SAME_BORE or _one_tail(want, has):
        judging.note(f"same nominal bore: {judging.wanted.size}")
    else:
        what = "does not go on the tail and throttles the flow" if has < want else "is loose on the tail and leaks"
        judging.refuse(f"bore {shown(has)} against {shown(want)} mm: {what}", "bore")
    old, new = judging.marks("service")
    unfit = (row for row in rows("hose_unfit_words") if old in row["wanted_service"] and new in row["offered_words"])
    if old in FUEL or judging.wanted.marks.get("standard") in _FUEL_STANDARDS:
        _fuel(judging)
    elif old and new and old != new and (row := next(unfit, None)):
        judging.used(row)
        judging.refuse(f"a hose for {new} for {old}: {row['note']}", "service")
    elif {old, new} == {"water", "raw water"}:
        judging.near(f"for {new} against {old}: ask whether it stands suction", "service")
    elif old and new and old != new:
        judging.refuse(f"a hose for {new} is not one for {old}", "service")
    compare_features(judging, after="sizes")
    if not any(judging.marks("material")):
        judging.caution("Ask the working pressure and temperature; a suction hose needs a wire helix.")


def _one_tail(*bores: Decimal) -> bool:
    """Whether two bores are sold for one hose tail, one named in inches and one in mm."""
    for row in rows("hose_tails"):
        tail = exact(row["tail_mm"])
        sold = [tail, *map(exact, re.findall(r"\d+(?:\.\d+)?", row["hose_bore_mm_sold"]))]
        near = [[abs(b - known) < Decimal("0.03") for known in sold] for b in bores]
        if any(of_tail for of_tail, *_ in near) and all(map(any, near)):
            return True
    return False


def _fuel(judging: Judging) -> None:
    """A fuel hose goes by its printed mark; without one it is unfit."""
    service, material = (judging.offered.marks.get(name, "") for name in ("service", "material"))
    if (service and service not in FUEL) or material in ("PVC", "VMQ"):
        judging.refuse(f"a hose for {service or material} swells or lets fuel through", "service")
        return
    want, has = ((part.marks.get("standard", "").replace("USCG", "J1527"), part.marks.get("class", ""))
                 for part in judging.both)  # fmt: skip
    if not has[0]:
        said = "the offer names no standard and no class: ask for the printed mark; treat as unfit until then"
        judging.unknown(said, "standard")
    elif not want[0]:
        judging.near(f"the offer is {' '.join(has)}; the class of the old hose was not said: ask", "standard")
    if not has[0] or not want[0] or want == has:
        return
    said = f"{' '.join(has)} against {' '.join(want)}"
    fire = [c.startswith("A") or s == "ISO7840" for s, c in (want, has)]
    if "30R" in has[0] or has[0] not in _FUEL_STANDARDS:
        judging.refuse(f"{said}: car or other hose, not fire tested", "standard")
    elif fire[0] and not fire[1]:
        judging.refuse(f"{said}: same use, but not fire resistant: not for an engine space", "standard")
    elif "1" in want[1] and "2" in has[1]:
        judging.refuse(f"{said}: class 2 is for vent and fill, not for a line always full of fuel", "class")
    elif bool(want[1]) != bool(has[1]):
        judging.near(f"{said}: only one of the two says its class: ask", "class")
    else:
        other, differs = ("class of permeation", "class") if want[0] == has[0] else ("test", "standard")
        judging.near(f"{said}: another {other}; ask which one the rules of the boat name", differs)
