"""Which belt a measured one is: by top width, height and length, or by ribs, or by teeth."""

from __future__ import annotations

from decimal import Decimal

from repairecon.records.standards import Candidate
from repairecon.standards.belt_lengths import lengths, outside_minus_inside
from repairecon.standards.measured_sizes import Answer, Measures
from repairecon.standards.tables import Row, rows
from repairecon.standards.words import INCH, exact, shown, whole

BELTS = ("V-belt", "multi-rib belt", "toothed belt")
STRETCH = Decimal("0.012")
"""Share by which a used belt may be longer than new (common practice, no source)."""
_NOTES = (
    "a worn belt is narrower at the top and a stretched one longer: measure along a thread round the outside, and see "
    "the height"
)


def belts_of(kind: str, sizes: Measures) -> Answer:
    """Belts of a kind near measured sizes."""
    if kind == "multi-rib belt":
        return _ribbed(sizes)
    return _toothed(sizes) if kind == "toothed belt" else _v_belts(sizes)


def _v_belts(sizes: Measures) -> Answer:
    bare = list(sizes.bare)
    named = sizes.named
    width = named.get("width") or (bare.pop(0) if bare else None)
    height = named.get("height") or named.get("thickness") or (bare.pop(0) if len(bare) > 1 else None)
    line, length = _length(sizes, bare)
    answer = Answer(notes=[_NOTES])
    if width is None:
        return Answer(notes=["the top width is needed"])
    for row in rows("belts_sections"):
        if not row["number"] or row["section"].startswith(("GOST", "20", "25")):
            continue
        gap = width - exact(row["top_width_mm"])
        tall = row["height_mm"]
        if not Decimal("-1.1") <= gap <= Decimal("0.45"):
            if abs(gap) < Decimal("2.5"):
                said = f"its top width is {row['top_width_mm']} mm, measured {shown(width)}"
                answer.misses.append(f"{row['section']}: {said}")
            continue
        if height is not None and tall and abs(height - exact(tall)) > Decimal("1"):
            answer.misses.append(f"{row['section']}: its height is {tall} mm, measured {shown(height)}")
            continue
        part = _v_belt(row, length, line)
        if part is None:
            continue
        name, gaps = part
        gaps["top_width"] = float(gap)
        if height is not None and tall:
            gaps["height"] = float(height - exact(tall))
        note = f"{row['top_width_mm']} x {tall or '?'} mm{', ' + row['build'] if row['build'] else ''}"
        off = abs(gap) + abs(Decimal(str(gaps.get("height", 0)))) + _common(row)
        answer.parts.append((off, Candidate(name, "V-belt", gaps, note, row["status"])))
    if height is None:
        answer.notes.insert(0, "the top width alone is shared by several sections: measure the height, it decides")
    answer.parts.sort(key=lambda pair: pair[0])
    return answer


def _common(row: Row) -> Decimal:
    """Sections that a boat meets go first, whole ones before those of which the table knows no height."""
    order = {"automotive": "0", "wedge": "0", "classical": "0.2", "light duty": "0.4"}
    american = "V" in row["names"][1:2] or row["names"] == "9N"
    no_height = Decimal(0) if row["height_mm"] else Decimal(1)
    return Decimal(order.get(row["family"], "2")) + no_height + (Decimal("0.3") if american else Decimal(0))


def _length(sizes: Measures, bare: list[Decimal]) -> tuple[str, Decimal | None]:
    lines = {"outside length": "La", "inside length": "Li", "datum length": "Ld", "length": "La"}
    for name, line in lines.items():
        if name in sizes.named:
            return line, sizes.named[name]
    return "La", bare[-1] if bare else None


def _v_belt(row: Row, length: Decimal | None, line: str) -> tuple[str, dict[str, float]] | None:
    """The name of a section's belt of a length, and how much longer the measured one is."""
    label = row["names"].split()[0]
    label = {"SAE10A": "SAE 10A", "SAE13A": "SAE 13A"}.get(label, label.removeprefix("AMERICAN").replace("JIS", "JIS "))
    if length is None:
        return label, {}
    meaning = row["number"]
    own = {"inside": "Li", "datum": "Ld", "outside": "La"}[meaning.split()[0]]
    known = lengths(row, length, line).known
    if own not in known and own == "Li" and outside_minus_inside(row) is None:
        return None
    value = known.get(own)
    if value is None or value < 100:
        return None
    unit = Decimal(1) if meaning.endswith("mm") else INCH / 10 if meaning.endswith("in/10") else INCH
    number = _listed_number(row, value, unit)
    gap = value - number * unit
    apart = " " if len(label) > 2 and not label[0].isdigit() else ""
    name = f"{label}x{number} La" if row["family"] == "automotive" and unit == 1 else f"{label}{apart}{number}"
    return name, {own: float(gap)}


def _listed_number(row: Row, value: Decimal, unit: Decimal) -> Decimal:
    """The nearest number of the lists, a little shorter rather than longer; else the rounded number."""
    names = row["names"].split()
    best = None
    for entry in rows("belts_lengths"):
        if entry["section"] in names and not (entry["circumference_named"].endswith("mm)") and unit != 1):
            number = exact(entry["number"])
            off = value - number * unit
            near = abs(off) if off <= 0 else off * Decimal("0.8")
            if -Decimal("0.004") * value <= off <= STRETCH * value and (best is None or near < best[0]):
                best = (near, number)
    if best is not None:
        return best[1]
    step = Decimal(5) if unit == INCH / 10 else Decimal(1)
    return whole(value / unit / step) * step


def _ribbed(sizes: Measures) -> Answer:
    bare = list(sizes.bare)
    width = sizes.named.get("width") or (bare.pop(0) if bare else None)
    ribs = sizes.named.get("ribs")
    length = sizes.named.get("length") or sizes.named.get("outside length") or (bare.pop(-1) if bare else None)
    answer = Answer(notes=["count the ribs; the pitch is the width over the ribs: PJ 2.34, PK 3.56, PL 4.7 mm"])
    for row in rows("belts_multirib"):
        pitch = exact(row["rib_pitch_mm"])
        if "pitch" in sizes.named and abs(sizes.named["pitch"] - pitch) > pitch * Decimal("0.06"):
            answer.misses.append(f"{row['profile']}: its rib pitch is {shown(pitch)} mm")
            continue
        counts = [ribs] if ribs else [whole(width / pitch)] if width else [Decimal(0)]
        count = counts[0]
        gap = width - count * pitch if width and count else Decimal(0)
        name = f"{shown(count) if count else '?'}{row['profile']}{whole(length) if length else ''}"
        if count and width and abs(gap) > pitch * Decimal("0.55"):
            answer.misses.append(f"{name}: {shown(count)} ribs of {row['profile']} are {shown(count * pitch)} mm wide")
            continue
        off = abs(gap) / pitch + (Decimal(1) if row["profile"] in ("PH", "PM") else 0)
        note = f"{row['use']}; rib pitch {row['rib_pitch_mm']} mm"
        answer.parts.append((off, Candidate(name, "multi-rib belt", {"width": float(gap)}, note, row["status"])))
    answer.parts.sort(key=lambda pair: pair[0])
    return answer


def _toothed(sizes: Measures) -> Answer:
    pitch, width = sizes.named.get("pitch"), sizes.named.get("width")
    teeth, length = sizes.named.get("teeth"), sizes.named.get("length")
    if pitch is None and teeth and length:
        pitch = length / teeth
    answer = Answer()
    answer.notes += [
        "count the teeth: the length is teeth times pitch; see the form of the tooth (round or trapezoidal)",
        "measure the pitch over ten teeth and divide",
    ]
    if pitch is None:
        return Answer(notes=["the pitch is needed: measure over ten teeth and divide"])
    for row in rows("belts_synchronous"):
        gap = pitch - exact(row["pitch_mm"])
        if abs(gap) <= max(Decimal("0.02"), pitch * Decimal("0.012")):
            if teeth:
                length = teeth * exact(row["pitch_mm"])
            sizes_said = "".join(f", {shown(v)} {w}" for v, w in ((length, "long"), (width, "wide")) if v)
            note = f"{row['profile']}; not the same as {row['not_the_same_as']}"
            name = f"{row['mark']}{sizes_said}"
            part = Candidate(name, "toothed belt", {"pitch": float(gap)}, note, row["status"])
            answer.parts.append((abs(gap), part))
        elif abs(gap) < pitch * Decimal("0.08"):
            answer.misses.append(f"{row['mark']}: its pitch is {row['pitch_mm']} mm, measured {shown(pitch)}")
    return answer
