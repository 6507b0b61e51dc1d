"""From a caliper: what a measured belt can be, new or worn."""

from __future__ import annotations

from decimal import Decimal

from repairecon.records.standards import Candidate
from repairecon.standards.measured_parts import Answer, Measures
from repairecon.standards.tables import Row, rows
from repairecon.standards.v_belts import LINES, MEANS, lengths
from repairecon.standards.words import INCH, exact, shown, whole

BELTS = ("V-belt", "multi-rib belt", "toothed belt")
_STRETCH = Decimal("0.012")
"""Share by which a used belt may be longer than new (common practice, no source)."""
_WIDTHS = Decimal("-1.1"), Decimal("0.45")
"""How far a measured top width may be off the section's [mm]: a worn belt is narrower."""
_FIRST = {"automotive": "0", "wedge": "0", "classical": "0.2", "light duty": "0.4"}
_WORN = (
    "a worn belt is narrower at the top and a stretched one longer: measure along a thread round the outside, and see "
    "the height"
)


def belts_of(kind: str, sizes: Measures) -> Answer:
    """Belts of a kind near measured sizes."""
    return {"V-belt": _v_belts, "multi-rib belt": _ribbed, "toothed belt": _toothed}[kind](sizes)


def _v_belts(sizes: Measures) -> Answer:
    bare, named = list(sizes.bare), sizes.named
    width = named.get("width") or (bare.pop(0) if bare else None)
    height = named.get("height") or named.get("thickness") or (bare.pop(0) if len(bare) > 1 else None)
    labels = {f"{name} length": line for line, name in reversed(LINES.items())} | {"length": "La"}
    label = next((label for label in labels if label in named), "")
    line, length = labels.get(label, "La"), named.get(label, bare[-1] if bare else None)
    if width is None:
        return Answer(notes=["the top width is needed"])
    answer = Answer(notes=[_WORN])
    if height is None:
        answer.notes.insert(0, "the top width alone is shared by several sections: measure the height, it decides")
    for row in rows("belts_sections"):
        if not row["number"] or row["section"].startswith(("GOST", "20", "25")):
            continue
        gap, tall = width - exact(row["top_width_mm"]), row["height_mm"]
        if not _WIDTHS[0] <= gap <= _WIDTHS[1]:
            if abs(gap) < Decimal("2.5"):
                said = f"its top width is {row['top_width_mm']} mm, measured {shown(width)}"
                answer.misses.append(f"{row['section']}: {said}")
        elif height is not None and tall and abs(height - exact(tall)) > 1:
            answer.misses.append(f"{row['section']}: its height is {tall} mm, measured {shown(height)}")
        elif part := _v_belt(row, length, line):
            name, gaps = part
            gaps["top_width"] = gap
            if height is not None and tall:
                gaps["height"] = height - exact(tall)
            note = f"{row['top_width_mm']} x {tall or '?'} mm{', ' + row['build'] if row['build'] else ''}"
            off = abs(gap) + abs(gaps.get("height", Decimal(0))) + _rarity(row)
            shown_gaps = {letter: float(value) for letter, value in gaps.items()}
            answer.parts.append((off, Candidate(name, "V-belt", shown_gaps, note, row["status"])))
    return answer


def _rarity(row: Row) -> Decimal:
    """Sections that a boat meets go first, whole ones before those of which the table knows no height."""
    american = "V" in row["names"][1:2] or row["names"] == "9N"
    no_height = Decimal(0) if row["height_mm"] else Decimal(1)
    return Decimal(_FIRST.get(row["family"], "2")) + no_height + (Decimal("0.3") if american else Decimal(0))


def _v_belt(row: Row, length: Decimal | None, line: str) -> tuple[str, dict[str, Decimal]] | None:
    """The name of a section's belt of a length, and how much longer the measured one is."""
    label = row["names"].split()[0]
    label = {"SAE10A": "SAE 10A", "SAE13A": "SAE 13A"}.get(label, label.removeprefix("AMERICAN").replace("JIS", "JIS "))
    if length is None:
        return label, {}
    meaning = row["number"]
    own = MEANS[meaning.split()[0]]
    value = lengths(row, length, line).get(own)
    if value is None or value < 100:
        return None
    unit = Decimal(1) if meaning.endswith("mm") else INCH / 10 if meaning.endswith("in/10") else INCH
    number = _listed_number(row, value, unit)
    apart = " " if len(label) > 2 and not label[0].isdigit() else ""
    name = f"{label}x{number} La" if row["family"] == "automotive" and unit == 1 else f"{label}{apart}{number}"
    return name, {own: value - number * unit}


def _listed_number(row: Row, value: Decimal, unit: Decimal) -> Decimal:
    """The nearest number of the lists, a little shorter rather than longer; else the rounded number."""
    near: list[tuple[Decimal, Decimal]] = []
    for entry in rows("belts_lengths"):
        in_mm = entry["circumference_named"].endswith("mm)")
        if entry["section"] in row["names"].split() and (unit == 1 or not in_mm):
            number = exact(entry["number"])
            off = value - number * unit
            if -Decimal("0.004") * value <= off <= _STRETCH * value:
                near.append((abs(off) if off <= 0 else off * Decimal("0.8"), number))
    if near:
        return min(near, key=lambda pair: pair[0])[1]
    step = Decimal(5) if unit == INCH / 10 else Decimal(1)
    return whole(value / unit / step) * step


def _ribbed(sizes: Measures) -> Answer:
    bare, named = list(sizes.bare), sizes.named
    width = named.get("width") or (bare.pop(0) if bare else None)
    length = named.get("length") or named.get("outside length") or (bare.pop(-1) if bare else None)
    answer = Answer(notes=["count the ribs; the pitch is the width over the ribs: PJ 2.34, PK 3.56, PL 4.7 mm"])
    for row in rows("belts_multirib"):
        pitch, profile = exact(row["rib_pitch_mm"]), row["profile"]
        if "pitch" in named and abs(named["pitch"] - pitch) > pitch * Decimal("0.06"):
            answer.misses.append(f"{profile}: its rib pitch is {shown(pitch)} mm")
            continue
        count = named.get("ribs") or (whole(width / pitch) if width else Decimal(0))
        gap = width - count * pitch if width and count else Decimal(0)
        name = f"{shown(count) if count else '?'}{profile}{whole(length) if length else ''}"
        if abs(gap) > pitch * Decimal("0.55"):
            answer.misses.append(f"{name}: {shown(count)} ribs of {profile} are {shown(count * pitch)} mm wide")
            continue
        note = f"{row['use']}; rib pitch {row['rib_pitch_mm']} mm"
        part = Candidate(name, "multi-rib belt", {"width": float(gap)}, note, row["status"])
        answer.parts.append((abs(gap) / pitch + (profile in ("PH", "PM")), part))
    return answer


def _toothed(sizes: Measures) -> Answer:
    named = sizes.named
    pitch, teeth, length, width = (named.get(name) for name in ("pitch", "teeth", "length", "width"))
    if pitch is None and teeth and length:
        pitch = length / teeth
    if pitch is None:
        return Answer(notes=["the pitch is needed: measure over ten teeth and divide"])
    answer = Answer(notes=[
        "count the teeth: the length is teeth times pitch; see the form of the tooth (round or trapezoidal)",
        "measure the pitch over ten teeth and divide",
    ])  # fmt: skip
    for row in rows("belts_synchronous"):
        gap = pitch - exact(row["pitch_mm"])
        if abs(gap) <= max(Decimal("0.02"), pitch * Decimal("0.012")):
            length = teeth * exact(row["pitch_mm"]) if teeth else length
            name = row["mark"] + "".join(f", {shown(v)} {w}" for v, w in ((length, "long"), (width, "wide")) if v)
            note = f"{row['profile']}; not the same as {row['not_the_same_as']}"
            answer.parts.append((abs(gap), Candidate(name, "toothed belt", {"pitch": float(gap)}, note, row["status"])))
        elif abs(gap) < pitch * Decimal("0.08"):
            answer.misses.append(f"{row['mark']}: its pitch is {row['pitch_mm']} mm, measured {shown(pitch)}")
    return answer
