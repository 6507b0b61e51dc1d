"""From a caliper: what a measured part can be, with tolerance and wear in mind."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from itertools import permutations

from repairecon.records.standards import Candidate, WhichPart
from repairecon.standards.belt_names import lengths, outside_minus_inside
from repairecon.standards.equivalents import identify, kind_of
from repairecon.standards.measured_parts import Answer, Measures, Spec, fits, labels, specs
from repairecon.standards.tables import Row, rows
from repairecon.standards.words import INCH, PART, Text, exact, kinds_said, millimetres, plain, shown, whole

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


MOST = 12
"""How many parts are named; more would not be asked for."""

_LABEL = "|".join(re.escape(name) for name in sorted(labels(), key=len, reverse=True))
_UNIT = r"(?:\s*(MM|CM|INCH(?:ES)?|IN|\"))?"
_NUM = rf"(?<![\w./])({PART}){_UNIT}"
_LABEL_FIRST = re.compile(rf"(?<![\w.])({_LABEL})\s*[=:]?\s*{_NUM}(?![\w./])")
_NUMBER_FIRST = re.compile(rf"{_NUM}\s*({_LABEL})(?!\w)")
_LABEL_LAST = re.compile(rf"\b(?:PITCH|THICK(?:NESS)?|WIDTH|HEIGHT|SECTION|CORD|LENGTH)\s*[=:]?\s*{_NUM}\s*$")
_BARE = re.compile(rf"(?<![\w./]){PART}(?![\w/])")
_COUNTS = ("tpi", "ribs", "teeth")


def which_part(measured: str | Mapping[str, float], kind: str = "") -> WhichPart:
    """What a part of measured sizes can be.

    ``measured`` are sizes as a caliper shows them: ``16.98 x 39.99 x 12.02``, ``shaft 24.96, bore 40, width 7``,
    ``top width 9.7, outside length 850``, ``20.9 mm, 14 tpi``; mm where no unit is said. ``kind`` narrows: bearing,
    seal, belt, o-ring, key, circlip, hose, thread ... The parts are in the order of how well they fit.
    """
    words = measured
    if not isinstance(words, str):
        words = ", ".join(f"{name.replace('_', ' ')} {value}" for name, value in words.items())
    text = plain(words)
    sizes = _measures(text)
    sizes.hints = f"{kind} {text}".casefold()
    asked = kind_of(kind) if kind else next(iter(k for k in kinds_said(text) if k in (*specs(), *BELTS)), "")
    if not sizes.named and not sizes.bare:
        how = "no size could be read: write them like 16.98 x 39.99 x 12.02 or shaft 25, bore 40"
        return WhichPart(words, (), (how,))
    kinds = _kinds(asked, sizes, kind)
    found: list[tuple[Decimal, Candidate]] = []
    notes: list[str] = []
    misses: list[str] = []
    for name in kinds:
        answer = belts_of(name, sizes) if name in BELTS else fits(name, sizes)
        found += answer.parts
        notes += answer.notes if answer.parts or len(kinds) == 1 else ()
        misses += answer.misses if answer.parts or len(kinds) == 1 else ()
    if not found and (turned := _turned(kinds, sizes)):
        found = turned
        notes.insert(0, "no part has the sizes in the order written: they were taken in another order")
    found.sort(key=lambda pair: pair[0])
    parts = tuple(part for _, part in found[:MOST])
    if kind and not asked:
        notes.insert(0, f"the kind {kind!r} is not known here: every kind was looked through")
    notes = _with_notes(notes, parts, [*sizes.bare, *sizes.named.values()])
    return WhichPart(words, parts, tuple(dict.fromkeys(notes)), tuple(dict.fromkeys(misses))[:6])


def _with_notes(notes: list[str], parts: tuple[Candidate, ...], sizes: list[Decimal]) -> list[str]:
    """The notes with what is to be said of no part, of rows that are not published, and of several kinds."""
    if not parts:
        inch = _in_inches(sizes)
        said = [f"these are whole parts of an inch: ask for {inch} in, an inch size"] if inch else []
        none = "no listed standard part has these sizes; it may be worn, special or of a maker's own size"
        return [none, *said, *notes]
    more = []
    if any(p.status != "published" for p in parts):
        more.append("not every row behind these names is published: see the status, and measure again")
    if len({p.kind for p in parts}) > 1:
        kinds = ", ".join(dict.fromkeys(p.kind for p in parts))
        more.append(f"say the kind of part to narrow this down: {kinds}")
    return [*notes, *more]


def _turned(kinds: list[str], sizes: Measures) -> list[tuple[Decimal, Candidate]]:
    """Parts that fit bare sizes in another order than the usual one; of the orders that fit the best."""
    if sizes.named or not 2 <= len(sizes.bare) <= 3:
        return []
    round_ = [k for k in kinds if k in ("rolling bearing", "lip seal", "O-ring", "Woodruff key", "circlip")]
    orders = [replace(sizes, bare=list(order)) for order in permutations(sizes.bare)]
    return [pair for order in orders for k in round_ for pair in fits(k, order).parts]


def _in_inches(values: list[Decimal]) -> str:
    """Sizes as fractions of an inch where each lies within 0.05 mm of a sixteenth, else empty."""
    names = []
    for value in values:
        sixteenths = int(whole(value * 16 / INCH))
        if not sixteenths or abs(sixteenths * INCH / 16 - value) > Decimal("0.05"):
            return ""
        ones, rest = divmod(sixteenths, 16)
        part = str(Fraction(rest, 16)) if rest else ""
        names.append(" ".join(n for n in (str(ones) if ones else "", part) if n))
    return " x ".join(names) if len(names) > 1 else ""


def _kinds(asked: str, sizes: Measures, kind: str) -> list[str]:
    """The kinds to look through: the one asked for, or those that such sizes can be of."""
    if asked == "V-belt":
        ribbed = "ribs" in sizes.named or "rib" in kind.casefold()
        if not ribbed and ("pitch" in sizes.named or "teeth" in sizes.named):
            return ["toothed belt"]
        return ["multi-rib belt"] if ribbed else ["V-belt"]
    if asked == "parallel key":
        if "half" in sizes.hints:
            return ["Woodruff key"]
        return ["parallel key", "Woodruff key"] if len(sizes.named) + len(sizes.bare) == 2 else ["parallel key"]
    if asked == "lip seal" and len(sizes.named) + len(sizes.bare) == 2:
        return ["lip seal", "O-ring"]
    if asked:
        return [asked] if asked in (*specs(), *BELTS) else []
    if "ribs" in sizes.named:
        return ["multi-rib belt"]
    if "tpi" in sizes.named or ("pitch" in sizes.named and "teeth" not in sizes.named):
        return ["threaded part"]
    if any("length" in name for name in sizes.named) and "width" in sizes.named and len(sizes.named) < 4:
        return ["V-belt", "parallel key"]
    rare = ("carbon brush", "pin", "fuse", "lamp", "pump shaft seal", "threaded part")
    return [name for name, spec in specs().items() if name not in rare and _suits(spec, sizes)]


def _suits(spec: Spec, sizes: Measures) -> bool:
    if sizes.named and not all(any(name in labels for labels in spec.labels.values()) for name in sizes.named):
        return False
    return len(sizes.named) + len(sizes.bare) in spec.counts


def _measures(words: str) -> Measures:
    """Sizes by their labels, and the bare ones in their order [mm]."""
    text = Text(words)
    sizes = Measures({}, [])
    label_first = _LABEL_FIRST.search(words)
    number_first = _NUMBER_FIRST.search(words)
    first = number_first and (label_first is None or number_first.start() < label_first.start())
    if first and _LABEL_LAST.search(words):
        first = None  # 9.95 mm pitch 1.5: the label at the end has its number behind it
    for pattern in (_NUMBER_FIRST, _LABEL_FIRST) if first else (_LABEL_FIRST, _NUMBER_FIRST):
        while found := text.take(pattern):
            label, number, unit = (found[3], found[1], found[2]) if pattern is _NUMBER_FIRST else found.groups()
            name = labels()[label]
            value = Decimal(number) if name in _COUNTS and "/" not in number else millimetres(number, unit)
            if value is not None:
                sizes.named.setdefault(name, value)
    unit = re.search(r"(?<=[\d\s])(INCH(?:ES)?|IN|\")(?!\w)", text.left)
    for bare in re.findall(_BARE, text.left.replace("X", " ; ")):
        value = millimetres(bare, unit[1] if unit else None)
        if value is not None:
            sizes.bare.append(value)
    return sizes


def named_as(part: Candidate) -> str:
    """A candidate in one line: its name, kind and gaps."""
    gaps = ", ".join(f"{c} {'+' if value > 0 else ''}{shown(value)}" for c, value in part.gaps.items() if value)
    return f"{part.designation} ({part.kind}{f'; measured less nominal: {gaps} mm' if gaps else ''})"


def size_key(text: str, kind: str = "") -> str:
    """One writing of a part for finding equal ones: kind, size and features; empty where a word is not understood."""
    part = identify(text, kind)
    clean = (
        part is not None
        and part.size
        and not (part.unread or part.against or part.others or part.lacks or part.denied or part.conditions)
    )
    if part is None or not clean:
        return ""
    marks = " ".join(f"{name}={part.marks[name]}" for name in sorted(part.marks))
    sizes = " x ".join(shown(value) for value in part.dims.values())
    return f"{part.kind}: {sizes or part.size}; {marks}".rstrip("; ")
