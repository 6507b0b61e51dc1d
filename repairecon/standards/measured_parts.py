"""Which listed parts and belts a measured one lies near: tolerance of the new part and the sense of its wear.

``measured_kinds.csv`` says how a kind is measured: its letters with their labels and how far each may be off, the
tables that list its parts, and what else to note.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cache
from itertools import product
from types import MappingProxyType
from typing import NamedTuple

from repairecon.records.standards import Candidate
from repairecon.standards import bearings
from repairecon.standards.belts import LINES, MEANS, lengths
from repairecon.standards.fasteners import rings
from repairecon.standards.tables import Row, rows
from repairecon.standards.words import INCH, exact, shown, whole

_BUILDS = ("ball", "roller", "needle", "taper", "thrust", "angular", "self-aligning")
FREE = ("l",)
"""A length that is cut to fit or wears, so it is named and not looked up."""
_IT11 = ((10, "0.09"), (18, "0.11"), (30, "0.13"), (50, "0.16"), (80, "0.19"), (120, "0.22"), (180, "0.25"),
         (500, "0.40"))  # fmt: skip
"""Tolerance IT11 [mm] up to a diameter [mm] (ISO 286-1): a seal's shaft is h11, so it may be that much thinner."""


@dataclass
class Measures:
    """Measured sizes [mm] by label, and those without a label in their order; ``hints`` are the words beside them."""

    named: dict[str, Decimal]
    bare: list[Decimal]
    hints: str = ""


class Option(NamedTuple):
    """A listed part: its name, nominal sizes [mm] by letter, note and status; lower ``rank`` is named first."""

    name: str
    dims: Mapping[str, Decimal]
    note: str
    status: str
    rank: int = 0


@dataclass
class Answer:
    """Parts with how far they are off (0 best), notes, and near ones that it cannot be."""

    parts: list[tuple[Decimal, Candidate]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    misses: list[str] = field(default_factory=list)

    def add(self, off: Decimal, name: str, kind: str, gaps: Mapping[str, Decimal], note: str, status: str) -> None:
        """One more part that it can be; ``gaps`` are measured less nominal [mm]."""
        shown_gaps = {letter: float(gap) for letter, gap in gaps.items()}
        self.parts.append((off, Candidate(name, kind, shown_gaps, note, status)))


@cache
def letters(kind: str) -> Mapping[str, Row]:
    """How each size of a kind is measured, by its letter: labels, and how far it may be off."""
    return {row["name"]: row for row in rows("measured_kinds") if (row["kind"], row["role"]) == (kind, "letter")}


@cache
def words_of(kind: str, role: str) -> tuple[str, ...]:
    """What else is said of measuring a kind: ``note``; ``counts``, how many sizes; ``either``, letters of which one."""
    return tuple(row["value"] for row in rows("measured_kinds") if (row["kind"], row["role"]) == (kind, role))


@cache
def options(kind: str) -> tuple[Option, ...]:
    """The listed parts of a kind, of several of one name the first."""
    found: dict[str, Option] = {}
    for option in _listed(kind):
        found.setdefault(option.name, option)
    return tuple(found.values())


def _listed(kind: str) -> Iterator[Option]:
    if kind == "rolling bearing":
        for part in bearings.listed():
            status, rank = part.row["status"], int(part.type != bearings.DEEP_GROOVE)
            note = part.type if status == "published" else f"{part.type}; {status}"
            yield Option(part.name.replace(" ", ""), part.dims, note, status, rank)
            if part.row.get("series") == "NU22":
                # ISO 15: the spherical roller bearing of dimension series 22 has the same three sizes
                number, note = part.name.replace("NU 22", "222"), "spherical roller bearing, ISO 15 dimension series 22"
                yield Option(number, part.dims, note, "from memory", 2)
    elif kind == "circlip":
        for (nominal, place, type_), row in rings().items():
            thick = exact(row.get("thickness_s_mm") or row["thickness_mm"])
            standard = "DIN 6799" if type_ == "E" else "DIN 471" if place == "shaft" else "DIN 472"
            name = f"{standard}{' heavy' if type_ == 'heavy' else ''} {shown(nominal)}x{shown(thick)}"
            yield Option(name, {place: nominal, "s": thick}, f"for a {place}", row["status"], int(type_ == "E"))
    elif kind == "hose":
        for row in rows("hose_bores"):
            names = (f"{row['bore_nominal_mm']} mm", row["inch"] and f"{row['inch']} in", row["dash"])
            for rank, name in ((rank, name) for rank, name in enumerate(names) if name):
                yield Option(name, {"bore": exact(row["bore_nominal_mm"])}, row["note"], row["status"], rank)
    elif kind == "carbon brush":
        sizes = [(row["t_or_a_or_r_mm"], row["status"]) for row in rows("brushes_sizes")]
        for (t, status), (a, _) in product(sizes, repeat=2):
            yield Option(f"brush {t}x{a}", {"t": exact(t), "a": exact(a)}, "preferred sizes", status)
    else:
        yield from _by_table(kind)


def _by_table(kind: str) -> Iterator[Option]:
    """The parts of the tables that ``measured_kinds.csv`` names for a kind."""
    for entry in (r for r in rows("measured_kinds") if r["kind"] == kind and r["role"] == "parts"):
        table, *columns = entry["value"].split()
        for row in rows(table):
            dims = {c: exact(row[column]) for c, column in (pair.split("=") for pair in columns) if row.get(column)}
            name, note, rank = entry["name"].format(**row), row.get("note", ""), 0
            if kind == "O-ring" and row.get("standard", "").startswith("JIS"):
                name = f"JIS {name}"
            elif kind == "pin":
                name, note = name.replace(" - ", " "), row["item"]
            elif kind == "parallel key":
                note = "the length is cut to the keyway; say the form A or B"
            elif kind == "threaded part" and row["form"].startswith("taper"):
                rank = 1
            if dims:
                yield Option(name, dims, note, row["status"], rank)


def fits(kind: str, sizes: Measures) -> Answer:
    """The listed parts of a kind whose every measured size lies between its limits."""
    own, answer = letters(kind), Answer()
    # of either letters a part has or needs one only, so that a bare size may be of each
    tries = [v for skip in ("", *" ".join(words_of(kind, "either")).split()) if (v := _assign(kind, sizes, skip))]
    near: list[tuple[Decimal, str]] = []
    claims = [word for word in _BUILDS if word in sizes.hints]
    for values, option in product({tuple(v.items()): v for v in tries}.values(), options(kind)):
        gaps = {c: values[c] - option.dims[c] for c in own if c in values and c in option.dims}
        if not gaps or len(gaps) < len(set(values) - set(FREE)):
            continue
        off = {c: _off(gap, _limits(kind, c, option.dims[c])) for c, gap in gaps.items()}
        worst = max(off, key=lambda c: off[c])
        if off[worst] <= 1:
            # a bearing said to be of balls comes before one of rollers, which stays: the words may be wrong
            rolling = "bearing" in option.note or "needle" in option.note
            unlike = rolling and not all(word in option.note for word in claims)
            score = sum(off.values(), Decimal(0)) / len(off) + option.rank + 3 * unlike
            name = option.name + "".join(f"x{shown(values[c])}" for c in FREE if c in values)
            answer.add(score, name, kind, gaps, option.note, option.status)
        elif sum(o > 1 for o in off.values()) == 1 and off[worst] < 40:
            label, nominal = own[worst]["value"].split("|")[0], shown(option.dims[worst])
            said = f"{option.name}: its {label} is {nominal} mm, measured {shown(values[worst])}"
            near.append((off[worst], said))
    best: dict[str, tuple[Decimal, Candidate]] = {}
    for score, part in sorted(answer.parts, key=lambda pair: pair[0]):
        best.setdefault(part.designation, (score, part))
    return Answer([*best.values()], [*words_of(kind, "note")] if tries else [], [said for _, said in sorted(near)[:3]])


def _off(gap: Decimal, limits: tuple[Decimal, Decimal]) -> Decimal:
    low, high = limits
    if low >= 0 or high <= 0:
        return abs(gap - (low + high) / 2) / ((high - low) / 2)
    return gap / high if gap > 0 else gap / low


def _assign(kind: str, sizes: Measures, skipped: str) -> dict[str, Decimal]:
    """Measured sizes by the letters of a kind; a label that the kind does not have makes none."""
    values: dict[str, Decimal] = {}
    for name, value in sizes.named.items():
        named = [c for c, row in letters(kind).items() if name in row["value"].split("|")]
        # on a seal or ring between a shaft and a bore, the bore is outside
        if name == "bore" and "shaft" in sizes.named:
            named = [c for c in named if c == "D"] or named
        letter = next((c for c in named if c not in values), "")
        if not letter:
            return {}
        values[letter] = value
    free = [c for c in letters(kind) if c not in values and c != skipped]
    return {} if len(sizes.bare) > len(free) else values | dict(zip(free, sizes.bare, strict=False))


@cache
def _limits(kind: str, letter: str, nominal: Decimal) -> tuple[Decimal, Decimal]:
    """How far a size may be off its nominal one: an amount, a share of the nominal size (n), the tolerance IT11."""
    if kind == "hose":  # from the least to the largest bore of a nominal size (ISO 1307)
        row = next(r for r in rows("hose_bores") if exact(r["bore_nominal_mm"]) == nominal)
        return exact(row["bore_min_mm"]) - nominal, exact(row["bore_max_mm"]) - nominal
    ends = [Decimal(0), Decimal(0)]
    for k, column in enumerate(("low_mm", "high_mm")):
        for sign, number, share in re.findall(r"([-+]?) ?([\d.]+|IT11)( n)?", letters(kind)[letter][column]):
            value = next(Decimal(t) for to, t in _IT11 if nominal <= to) if number == "IT11" else Decimal(number)
            ends[k] += (-value if sign == "-" else value) * (nominal if share else 1)
    return ends[0], ends[1]


_STRETCH = Decimal("0.012")
"""Share by which a used belt may be longer than new (common practice, no source)."""
_WIDTHS = Decimal("-1.1"), Decimal("0.45")
"""How far a measured top width may be off the section's [mm]: a worn belt is narrower."""
_FIRST = {"automotive": "0", "wedge": "0", "classical": "0.2", "light duty": "0.4"}
_WORN = (
    "a worn belt is narrower at the top and a stretched one longer: measure along a thread round the outside, and see "
    "the height"
)


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
            off = abs(gap) + abs(gaps.get("height", Decimal(0))) + Decimal(_FIRST.get(row["family"], "2"))
            # sections that a boat meets go first, whole ones before those of which the table knows no height
            off += (0 if tall else 1) + (Decimal("0.3") if "V" in row["names"][1:2] or row["names"] == "9N" else 0)
            answer.add(off, name, "V-belt", gaps, note, row["status"])
    return answer


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
    # the nearest number of the lists, a little shorter rather than longer; else the rounded number
    numbers = (exact(e["number"]) for e in rows("belts_lengths") if e["section"] in row["names"].split()
               and (unit == 1 or not e["circumference_named"].endswith("mm)")))  # fmt: skip
    offs = [(value - n * unit, n) for n in numbers]
    near = [(off, n) for off, n in offs if -Decimal("0.004") * value <= off <= _STRETCH * value]
    step = Decimal(5) if unit == INCH / 10 else Decimal(1)
    number = whole(value / unit / step) * step
    if near:
        number = min(near, key=lambda pair: abs(pair[0]) if pair[0] <= 0 else pair[0] * Decimal("0.8"))[1]
    apart = " " if len(label) > 2 and not label[0].isdigit() else ""
    name = f"{label}x{number} La" if row["family"] == "automotive" and unit == 1 else f"{label}{apart}{number}"
    return name, {own: value - number * unit}


def _ribbed(sizes: Measures) -> Answer:
    bare, named = list(sizes.bare), sizes.named
    width = named.get("width") or (bare.pop(0) if bare else None)
    length = named.get("length") or named.get("outside length") or (bare.pop(-1) if bare else None)
    answer = Answer(notes=["count the ribs; the pitch is the width over the ribs: PJ 2.34, PK 3.56, PL 4.7 mm"])
    for row in rows("belts_multirib"):
        pitch, profile = exact(row["rib_pitch_mm"]), row["profile"]
        count = named.get("ribs") or (whole(width / pitch) if width else Decimal(0))
        gap = width - count * pitch if width and count else Decimal(0)
        name = f"{shown(count) if count else '?'}{profile}{whole(length) if length else ''}"
        if "pitch" in named and abs(named["pitch"] - pitch) > pitch * Decimal("0.06"):
            answer.misses.append(f"{profile}: its rib pitch is {shown(pitch)} mm")
        elif abs(gap) > pitch * Decimal("0.55"):
            answer.misses.append(f"{name}: {shown(count)} ribs of {profile} are {shown(count * pitch)} mm wide")
        else:
            off, note = abs(gap) / pitch, f"{row['use']}; rib pitch {row['rib_pitch_mm']} mm"
            answer.add(off + (profile in ("PH", "PM")), name, "multi-rib belt", {"width": gap}, note, row["status"])
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
            answer.add(abs(gap), name, "toothed belt", {"pitch": gap}, note, row["status"])
        elif abs(gap) < pitch * Decimal("0.08"):
            answer.misses.append(f"{row['mark']}: its pitch is {row['pitch_mm']} mm, measured {shown(pitch)}")
    return answer


BELTS: Mapping[str, Callable[[Measures], Answer]] = MappingProxyType({
    "V-belt": _v_belts, "multi-rib belt": _ribbed, "toothed belt": _toothed,
})  # fmt: skip
"""How what a measured belt can be is found, by kind."""
