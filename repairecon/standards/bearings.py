"""Whether one rolling bearing can stand for another: size, sealing, clearance, steel and the rest of the marks."""

from __future__ import annotations

from repairecon.records import Designation
from repairecon.standards import bearing_names
from repairecon.standards.bearing_names import NOT_SAID
from repairecon.standards.findings import Judging, compare_features
from repairecon.standards.words import exact, shown

NAMES = {"d": "bore", "D": "outside diameter", "B": "width"}
_CLASSES = ("P0", "P6", "P5", "P4", "P2")
_SIDES = {"open": 0, "one ": 1, "two ": 2}
_NO_WATER = "Shields and seals that do not rub keep grease in and large dirt out, not water."
_NO_GREASE = "An open bearing brings no grease and no seal: the housing must give both."
_STEELS = "ordinary steel corrodes when wet and carries a little more (6203 in one catalogue: 9.95 against 8.06 kN); "
_RATINGS = "compare load ratings only within one catalogue"
_RUNS = "A rubbing seal drags more and has a lower speed limit (catalogue figures: about half to two thirds)."


def compare(wanted: Designation, offered: Designation, judging: Judging) -> None:
    """All findings on two bearings."""
    types = wanted.marks.get("type", ""), offered.marks.get("type", "")
    if all(types) and types[0] != types[1]:
        judging.refuse(f"another type of bearing: {types[1]} {offered.size} against {types[0]} {wanted.size}", "type")
        return
    absent = [part for part in (wanted, offered) if not part.listed]
    for part in absent:
        known = (
            f"; its bore code says {shown(part.dims['d'])} mm" if "d" in part.dims and part.marks.get("type") else ""
        )
        judging.unknown(f"{part.size} is not in the table{known}: measure it, or ask for d x D x B")
    if absent:
        return
    if not _sizes(wanted, offered, judging):
        return
    _writing(wanted, offered, judging)
    for step in (_type_said, _sealing, _clearance, _tolerance, _steel, _ring, compare_features):
        step(wanted, offered, judging)


def _sizes(wanted: Designation, offered: Designation, judging: Judging) -> bool:
    alike = True
    for letter, name in NAMES.items():
        want, has = exact(wanted.dims[letter]), exact(offered.dims[letter])
        judging.gap(letter, has - want)
        if has != want:
            judging.refuse(f"the {name} is {shown(has)} mm against {shown(want)} mm", name)
            alike = False
    if alike:
        judging.note("same d x D x B: " + " x ".join(shown(wanted.dims[c]) for c in "dDB") + " mm")
    return alike


def _writing(wanted: Designation, offered: Designation, judging: Judging) -> None:
    if wanted.size != offered.size:
        said = f"{offered.size} and {wanted.size} have the same three sizes; corners, steel or build may differ: ask"
        judging.near(said, "number")
    elif wanted.text != offered.text and wanted.marks == offered.marks:
        judging.note("the two names are two writings of the same bearing")


def _type_said(wanted: Designation, offered: Designation, judging: Judging) -> None:
    for part in (wanted, offered):
        if "type said" in part.marks and wanted.text != offered.text:
            judging.near(f"{part.size}: size alone is not identity, it could be {part.marks['could be']}: ask", "type")


def _sides(sealing: str) -> int:
    return 2 if " and " in sealing else _SIDES[sealing[:4]]


def _sealing(wanted: Designation, offered: Designation, judging: Judging) -> None:
    want, has = wanted.marks.get("sealing", "open"), offered.marks.get("sealing", "open")
    if want == has:
        if "shield" in has or "non-contact" in has:
            judging.caution(_NO_WATER)
        return
    if NOT_SAID in (want, has):
        _sealing_not_said(want, has, judging)
        return
    wording = f"{has} against {want}"
    if has == "open":
        lost = "sealing", "lubrication"
        if want == "one shield":
            judging.near(f"{wording}: without the shield dirt reaches the balls", *lost)
        else:
            judging.refuse(f"{wording}: an open bearing carries no grease and no seal", *lost)
            judging.caution(_NO_GREASE)
        return
    if _sides(has) < _sides(want):
        judging.refuse(f"{wording}: one side stays open, the grease gets out and dirt gets in", "sealing")
        return
    judging.near(f"{wording}: {_what_changes(want, has)}", "sealing")
    if " contact seal" in has and " contact seal" not in want:
        judging.caution(_RUNS)
    elif " contact seal" in want and " contact seal" not in has:
        judging.caution(_NO_WATER)


def _sealing_not_said(want: str, has: str, judging: Judging) -> None:
    if has == NOT_SAID:
        judging.near(f"the offer does not say whether it is open, shielded or sealed; {want} is wanted: ask", "sealing")
    else:
        judging.near(f"the offer is {has}; whether the old one is open, shielded or sealed was not said", "sealing")


def _what_changes(want: str, has: str) -> str:
    if want == "open":
        return "it comes greased for life, and oil or grease from the housing cannot reach the balls"
    if " and " in has and want != "open":
        return "its two sides differ: see that the side with the better seal faces the water or the dirt"
    if " contact seal" in want and " contact seal" not in has:
        return "shields and seals that do not rub do not keep water out; rubbing seals do"
    if " contact seal" in has and " contact seal" not in want:
        return "the rubbing seal keeps grease in and water out better; more drag, lower speed limit"
    if _sides(has) > _sides(want):
        return "the second side is closed too; take that one off if oil must pass"
    return "both leave a gap to the inner ring and are alike against water; speed and drag may differ"


def _clearance(wanted: Designation, offered: Designation, judging: Judging) -> None:
    want, has = wanted.marks.get("clearance", "CN"), offered.marks.get("clearance", "CN")
    if want == has:
        return
    words = []
    for part, group in ((wanted, want), (offered, has)):
        row = bearing_names.clearance(part.dims["d"], group)
        if row is None:
            words.append(f"{group} (not in the table)")
        else:
            judging.used(row)
            words.append(f"{group} {row['clearance_min_um']}-{row['clearance_max_um']} um")
    said = f"radial clearance differs at this bore: wanted {words[0]}, offered {words[1]}"
    if {want, has} == {"CN", "CM"}:
        judging.near(f"{said}; CM is a closer choice inside CN, made for electric motors", "clearance")
    elif has in ("C1", "C2"):
        judging.refuse(f"{said}; a smaller clearance can jam the bearing when hot or pressed on", "clearance")
    else:
        judging.near(said, "clearance")
        larger = ("CN", "C3", "C4", "C5")
        if want in larger and has in (*larger, "CM") and larger.index(want) > max(0, _index(larger, has)):
            judging.caution(
                "Keep the larger clearance where the maker fits it (hot running, tight fits, motors, alternators): "
                "less clearance can make the bearing run hot and fail."
            )


def _index(order: tuple[str, ...], value: str) -> int:
    return order.index(value) if value in order else 0


def _tolerance(wanted: Designation, offered: Designation, judging: Judging) -> None:
    want, has = wanted.marks.get("tolerance class", "P0"), offered.marks.get("tolerance class", "P0")
    if _CLASSES.index(has) > _CLASSES.index(want):
        judging.note(f"tolerance class {has} is better than {want} and may replace it; it need not be paid for")
    elif has != want:
        judging.near(f"tolerance class {has} is coarser than {want}", "tolerance class")


def _steel(wanted: Designation, offered: Designation, judging: Judging) -> None:
    want, has = wanted.marks.get("material", "ordinary"), offered.marks.get("material", "ordinary")
    if want == has:
        return
    rusts = want == "stainless"
    find = judging.refuse if rusts and "place" in wanted.marks else judging.near
    find(f"{has} steel against {want}: the material differs; {_STEELS if 'stainless' in (want, has) else ''}{_RATINGS}",
         "material")  # fmt: skip
    if rusts:
        judging.caution("Ordinary steel for stainless is no equal where water can reach the bearing.")


def _ring(wanted: Designation, offered: Designation, judging: Judging) -> None:
    want, has = wanted.marks.get("ring", ""), offered.marks.get("ring", "")
    if want == has:
        return
    if want and has:
        judging.near(f"the outer ring has a {has} against a {want}: a snap ring can be put on or taken off", "ring")
    elif want:
        judging.refuse(f"the {want} of the outer ring is missing: nothing locates the bearing", "ring")
    elif has == "groove":
        judging.near("the groove in the outer ring is not used", "ring")
    else:
        judging.refuse("the snap ring on the outer ring does not go into a plain housing", "ring")
