"""From a caliper: what a measured part can be, with the tolerance of a new part and the sense of its wear in mind.

``measured_kinds.csv`` says how a kind is measured: its letters with their labels and how far each may be off, the
tables that list its parts, and what else to note.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from functools import cache
from itertools import permutations, product
from typing import NamedTuple

from repairecon.records.standards import Candidate, WhichPart
from repairecon.standards import bearings
from repairecon.standards.belts import LINES, MEANS, lengths
from repairecon.standards.equivalents import FAMILIES
from repairecon.standards.fasteners import rings
from repairecon.standards.tables import Row, rows, said_of
from repairecon.standards.words import INCH, PART, Text, exact, kinds_said, millimetres, plain, shown, whole

_BUILDS = ("ball", "roller", "needle", "taper", "thrust", "angular", "self-aligning")
_FREE = ("l",)
"""A length that is cut to fit or wears, so it is named and not looked up."""


class Measures(NamedTuple):
    """Measured sizes [mm] by label, and those without a label in their order; ``hints`` are the words beside them."""

    named: Mapping[str, Decimal]
    bare: tuple[Decimal, ...]
    hints: str

    @property
    def many(self) -> int:
        """How many sizes were measured."""
        return len(self.named) + len(self.bare)


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


def which_part(measured: str | Mapping[str, float], kind: str = "") -> WhichPart:
    """What a part of measured sizes can be.

    ``measured`` are sizes as a caliper shows them: ``16.98 x 39.99 x 12.02``, ``shaft 24.96, bore 40, width 7``,
    ``top width 9.7, outside length 850``, ``20.9 mm, 14 tpi``; mm where no unit is said. ``kind`` narrows: bearing,
    seal, belt, o-ring, key, circlip, hose, thread ... The parts are in the order of how well they fit.
    """
    words = measured if isinstance(measured, str) else _in_words(measured)
    sizes = _measures(plain(words), kind)
    if not sizes.many:
        how = "no size could be read: write them like 16.98 x 39.99 x 12.02 or shaft 25, bore 40"
        return WhichPart(words, (), (how,))
    asked = _asked(words, kind)
    kinds = _kinds(asked, sizes)
    answers = [BELTS[name](sizes) if name in BELTS else fits(name, sizes) for name in kinds]
    spoken = [answer for answer in answers if answer.parts or len(kinds) == 1]
    found = [pair for answer in spoken for pair in answer.parts] or _in_other_order(kinds, sizes)
    notes = [note for answer in spoken for note in answer.notes]
    if found and not any(answer.parts for answer in answers):
        notes.insert(0, "no part has the sizes in the order written: they were taken in another order")
    if kind and not asked:
        notes.insert(0, f"the kind {kind!r} is not known here: every kind was looked through")
    parts = _likeliest(found)
    notes = _with_notes(notes, parts, [*sizes.bare, *sizes.named.values()])
    misses = dict.fromkeys(miss for answer in spoken for miss in answer.misses)
    return WhichPart(words, parts, tuple(dict.fromkeys(notes)), tuple(misses)[:6])


def _in_words(measured: Mapping[str, float]) -> str:
    return ", ".join(f"{name.replace('_', ' ')} {value}" for name, value in measured.items())


def _likeliest(found: list[tuple[Decimal, Candidate]]) -> tuple[Candidate, ...]:
    """The twelve that fit best; of several of one name the best."""
    best: dict[tuple[str, str], Candidate] = {}
    for _, part in sorted(found, key=lambda pair: pair[0]):
        best.setdefault((part.kind, part.designation), part)
    return tuple(best.values())[:12]


def _in_other_order(kinds: list[str], sizes: Measures) -> list[tuple[Decimal, Candidate]]:
    """Parts that two or three bare sizes fit in any order, of kinds of which that is no other part."""
    if sizes.named or not 2 <= len(sizes.bare) <= 3:
        return []
    orders = [sizes._replace(bare=order) for order in permutations(sizes.bare)]
    turned = [kind for kind in kinds if said_of(kind, "any order")]
    return [pair for order, kind in product(orders, turned) for pair in fits(kind, order).parts]


def _asked(words: str, kind: str) -> str:
    """The kind that an owner says, beside the sizes or among them; empty where none is known."""
    if not kind:
        return next((k for k in kinds_said(plain(words)) if k in BELTS or letters(k)), "")
    names = [(row["name"], row["kind"]) for row in rows("measured_kinds") if row["role"] == "alias"]
    names += [(name.casefold(), name) for name in FAMILIES]
    return next((meant for name, meant in names if name in kind.casefold()), "")


def _measures(words: str, kind: str) -> Measures:
    text = Text(words)
    text.take_labelled("measured_labels")
    unit = re.search(r"(?<=[\d\s])(INCH(?:ES)?|IN|\")(?!\w)", text.left)
    written = re.findall(rf"(?<![\w./]){PART}(?![\w/])", text.left.replace("X", " ; "))
    bare = (millimetres(number, unit[1] if unit else None) for number in written)
    named = {size.label: size.value for size in reversed(text.sizes)}
    return Measures(named, tuple(value for value in bare if value is not None), f"{kind} {words}".casefold())


def _with_notes(notes: list[str], parts: tuple[Candidate, ...], sizes: list[Decimal]) -> list[str]:
    """The notes with what is to be said of no part, of rows that are not published, and of several kinds."""
    if not parts:
        none = "no listed standard part has these sizes; it may be worn, special or of a maker's own size"
        return [none, *_inch_sizes(sizes), *notes]
    kinds = dict.fromkeys(p.kind for p in parts)
    if any(p.status != "published" for p in parts):
        notes = [*notes, "not every row behind these names is published: see the status, and measure again"]
    return [*notes, f"say the kind of part to narrow this down: {', '.join(kinds)}"] if len(kinds) > 1 else notes


def _inch_sizes(sizes: list[Decimal]) -> list[str]:
    """What to say of two or more sizes that each lie within 0.05 mm of a sixteenth of an inch."""
    sixteenths = [int(whole(value * 16 / INCH)) for value in sizes]
    gaps = [abs(n * INCH / 16 - value) for n, value in zip(sixteenths, sizes, strict=True)]
    if len(sizes) < 2 or not all(sixteenths) or max(gaps) > Decimal("0.05"):
        return []
    names = (f"{n // 16 or ''} {Fraction(n % 16, 16) or ''}".strip() for n in sixteenths)
    return [f"these are whole parts of an inch: ask for {' x '.join(names)} in, an inch size"]


def _kinds(asked: str, sizes: Measures) -> list[str]:
    named = set(sizes.named)
    like = {"parallel key": "Woodruff key", "lip seal": "O-ring"}
    thread = named & {"tpi", "pitch"} and "teeth" not in named
    belt_or_key = "width" in named and len(named) < 4 and any("length" in name for name in named)
    rules = (
        (asked == "V-belt" and "ribs" in named, ["multi-rib belt"]),
        (asked == "V-belt" and named & {"pitch", "teeth"}, ["toothed belt"]),
        (asked == "parallel key" and "half" in sizes.hints, ["Woodruff key"]),
        (asked in like and sizes.many == 2, [asked, like.get(asked, "")]),
        (asked, [asked]),
        ("ribs" in named, ["multi-rib belt"]),
        (thread, ["threaded part"]),
        (belt_or_key, ["V-belt", "parallel key"]),
    )
    return next((kinds for holds, kinds in rules if holds), None) or _measured_so(named, sizes.many)


def _measured_so(named: set[str], count: int) -> list[str]:
    """The kinds that have so many sizes of such labels; rare ones are looked through only where they are asked for."""
    found = []
    for kind in dict.fromkeys(row["kind"] for row in rows("measured_kinds")):
        labels = "|".join(row["value"] for row in letters(kind).values()).split("|")
        counts = " ".join(row["value"] for row in said_of(kind, "counts")).split()
        if named <= set(labels) and str(count) in counts and not said_of(kind, "rare"):
            found.append(kind)
    return found


def which_part_answer(measured: str, kind: str = "") -> tuple[str, dict[str, object]]:
    """What a measured part can be: the words for the screen, and plain data (``measured parts notes not``)."""
    found = which_part(measured, kind)
    lines = [f"Measured {found.measured}", "It can be:" if found.parts else "No listed part fits."]
    for part in found.parts:
        gaps = ", ".join(f"{c} {'+' if value > 0 else ''}{shown(value)}" for c, value in part.gaps.items() if value)
        name = f"{part.designation} ({part.kind}{f'; measured less nominal: {gaps} mm' if gaps else ''})"
        status = f" [{part.status}]" if part.status not in ("", "published") else ""
        lines.append(f"  {name}{f': {part.note}' if part.note else ''}{status}")
    lines += ["It cannot be:"] if found.ruled_out else []
    lines += [*(f"  {words}" for words in found.ruled_out), *(f"Note: {words}" for words in found.notes)]
    return "\n".join([*lines, "Check every size against the old part before you order."]), found.as_json()


# ---- parts that tables list -------------------------------------------------------------------------
@cache
def letters(kind: str) -> Mapping[str, Row]:
    """How each size of a kind is measured, by its letter: labels, and how far it may be off."""
    return {row["name"]: row for row in said_of(kind, "letter")}


@cache
def options(kind: str) -> tuple[Option, ...]:
    """The listed parts of a kind, of several of one name the first."""
    found: dict[str, Option] = {}
    for option in _listed(kind):
        found.setdefault(option.name, option)
    return tuple(found.values())


def _listed(kind: str) -> Iterator[Option]:
    yield from {"rolling bearing": _bearings, "circlip": _circlips, "carbon brush": _brushes}.get(kind, tuple)()
    for entry in said_of(kind, "parts"):
        table, *columns = entry["value"].split()
        for row in rows(table):
            dims = {c: exact(row[column]) for c, column in (pair.split("=") for pair in columns) if row.get(column)}
            name, note = entry["name"].format(**row).replace(" - ", " "), (entry["says"] or "{note}")
            if kind == "O-ring" and row.get("standard", "").startswith("JIS"):
                name = f"JIS {name}"
            rank = int(entry["rank"] or row.get("form", "").startswith("taper"))
            if dims and name[:1].strip():  # not where the table has no such name
                yield Option(name, dims, note.format(**{"note": "", **row}), row["status"], rank)


def _bearings() -> Iterator[Option]:
    for part in bearings.listed():
        status, rank = part.row["status"], int(part.type != bearings.DEEP_GROOVE)
        note = part.type if status == "published" else f"{part.type}; {status}"
        yield Option(part.name.replace(" ", ""), part.dims, note, status, rank)
        if part.row.get("series") == "NU22":
            # ISO 15: the spherical roller bearing of dimension series 22 has the same three sizes
            number, note = part.name.replace("NU 22", "222"), "spherical roller bearing, ISO 15 dimension series 22"
            yield Option(number, part.dims, note, "from memory", 2)


def _circlips() -> Iterator[Option]:
    for (nominal, place, type_), row in rings().items():
        thick = exact(row.get("thickness_s_mm") or row["thickness_mm"])
        standard = "DIN 6799" if type_ == "E" else "DIN 471" if place == "shaft" else "DIN 472"
        name = f"{standard}{' heavy' if type_ == 'heavy' else ''} {shown(nominal)}x{shown(thick)}"
        yield Option(name, {place: nominal, "s": thick}, f"for a {place}", row["status"], int(type_ == "E"))


def _brushes() -> Iterator[Option]:
    sizes = [(row["t_or_a_or_r_mm"], row["status"]) for row in rows("brushes_sizes")]
    for (t, status), (a, _) in product(sizes, repeat=2):
        yield Option(f"brush {t}x{a}", {"t": exact(t), "a": exact(a)}, "preferred sizes", status)


def fits(kind: str, sizes: Measures) -> Answer:
    """The listed parts of a kind whose every measured size lies between its limits."""
    answer, tries, near = Answer(), _tries(kind, sizes), list[tuple[Decimal, str]]()
    claims = [word for word in _BUILDS if word in sizes.hints and kind == bearings.KIND]
    for values, option in product(tries, options(kind)):
        gaps = {c: values[c] - option.dims[c] for c in letters(kind) if c in values.keys() & option.dims.keys()}
        if not gaps or values.keys() - set(_FREE) - gaps.keys():
            continue
        off = {c: _off(kind, c, option.dims[c], gap) for c, gap in gaps.items()}
        second, largest = sorted([Decimal(0), *off.values()])[-2:]
        if largest <= 1:
            # a bearing said to be of balls comes before one of rollers, which stays: the words may be wrong
            unlike = not all(word in option.note for word in claims)
            score = sum(off.values(), Decimal(0)) / len(off) + option.rank + 3 * unlike
            name = option.name + "".join(f"x{shown(values[c])}" for c in _FREE if c in values)
            answer.add(score, name, kind, gaps, option.note, option.status)
        elif largest < 40 and second <= 1:
            worst = max(off, key=lambda c: off[c])
            label, nominal = letters(kind)[worst]["value"].split("|")[0], shown(option.dims[worst])
            near.append((largest, f"{option.name}: its {label} is {nominal} mm, measured {shown(values[worst])}"))
    answer.notes = [row["value"] for row in said_of(kind, "note") if tries]
    answer.misses = [said for _, said in sorted(near)[:3]]
    return answer


def _tries(kind: str, sizes: Measures) -> list[dict[str, Decimal]]:
    """The sizes by letter; of either letters a part has or needs one only, so that a bare size may be of each."""
    either = " ".join(row["value"] for row in said_of(kind, "either")).split()
    assigned = filter(None, (_assign(kind, sizes, skip) for skip in ("", *either)))
    return list({tuple(values.items()): values for values in assigned}.values())


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


def _off(kind: str, letter: str, nominal: Decimal, gap: Decimal) -> Decimal:
    """How far a size is off its nominal one, 1 at the limit."""
    low, high = _limits(kind, letter, nominal)
    if low >= 0 or high <= 0:
        return abs(gap - (low + high) / 2) / ((high - low) / 2)
    return gap / high if gap > 0 else gap / low


@cache
def _limits(kind: str, letter: str, nominal: Decimal) -> tuple[Decimal, Decimal]:
    """How far a size may be off its nominal one: an amount, a share of the nominal size (n), the tolerance IT11."""
    if kind == "hose":  # from the least to the largest bore of a nominal size (ISO 1307)
        row = next(r for r in rows("hose_bores") if exact(r["bore_nominal_mm"]) == nominal)
        return exact(row["bore_min_mm"]) - nominal, exact(row["bore_max_mm"]) - nominal
    ends = [Decimal(0), Decimal(0)]
    for k, column in enumerate(("low_mm", "high_mm")):
        for sign, number, share in re.findall(r"([-+]?) ?([\d.]+|IT11)( n)?", letters(kind)[letter][column]):
            tolerances = (row["value"] for row in said_of(kind, "IT11") if nominal <= exact(row["name"]))
            value = exact(next(tolerances) if number == "IT11" else number)
            ends[k] += (-value if sign == "-" else value) * (nominal if share else 1)
    return ends[0], ends[1]


# ---- belts, which no table lists one by one ---------------------------------------------------------
_FIRST = {"automotive": "0", "wedge": "0", "classical": "0.2", "light duty": "0.4"}
"""How far behind the others sections of a family come; the rest, which boats seldom have, by 2."""
_RARE = {name: Decimal("0.3") for name in ("3V", "9N", "AV")}
"""How far behind the others sections of a name come that boats seldom have."""
_UNITS = {"mm": Decimal(1), "in/10": INCH / 10, "in": INCH}


def _belt_size(sizes: Measures, bare: list[Decimal], *labels: str, keep: int = 0) -> Decimal | None:
    """The size of the first of some labels, else the next bare one unless it is of those to keep for others."""
    said = next((sizes.named[label] for label in labels if label in sizes.named), None)
    return bare.pop(0) if said is None and len(bare) > keep else said


def _v_belts(sizes: Measures) -> Answer:
    bare = list(sizes.bare)
    width = _belt_size(sizes, bare, "width")
    height = _belt_size(sizes, bare, "height", "thickness", keep=1)
    labels = {f"{name} length": line for line, name in reversed(LINES.items())} | {"length": "La"}
    label = next((label for label in labels if label in sizes.named), "")
    line, length = labels.get(label, "La"), sizes.named.get(label, bare[-1] if bare else None)
    if width is None:
        return Answer(notes=["the top width is needed"])
    alone = "the top width alone is shared by several sections: measure the height, it decides"
    worn = "a worn belt is narrower at the top and a stretched one longer: measure along a thread round the outside"
    answer = Answer(notes=[*([alone] if height is None else []), f"{worn}, and see the height"])
    for row in rows("belts_sections"):
        section, wide, tall = (row[column] for column in ("section", "top_width_mm", "height_mm"))
        if not row["number"] or section.startswith(("GOST", "20", "25")):
            continue
        gaps = {"top_width": width - exact(wide)}
        if height is not None and tall:
            gaps["height"] = height - exact(tall)
        if not Decimal("-1.1") <= gaps["top_width"] <= Decimal("0.45"):  # mm: a worn belt is narrower
            if abs(gaps["top_width"]) < Decimal("2.5"):
                answer.misses.append(f"{section}: its top width is {wide} mm, measured {shown(width)}")
        elif abs(gaps.get("height", Decimal(0))) > 1:
            answer.misses.append(f"{section}: its height is {tall} mm, measured {shown(height or 0)}")
        elif part := _v_belt(row, length, line):
            name, longer = part
            note = f"{wide} x {tall or '?'} mm{', ' + row['build'] if row['build'] else ''}"
            # sections that a boat meets go first, whole ones before those of which the table knows no height
            behind = Decimal(_FIRST.get(row["family"], "2")) + (not tall) + _RARE.get(row["names"][:2], Decimal(0))
            answer.add(sum(map(abs, gaps.values()), behind), name, "V-belt", longer | gaps, note, row["status"])
    return answer


def _v_belt(row: Row, length: Decimal | None, line: str) -> tuple[str, dict[str, Decimal]] | None:
    names, (named_line, unit_word) = row["names"].split(), row["number"].split()
    label = re.sub("^(SAE|JIS)", r"\1 ", names[0].removeprefix("AMERICAN"))
    if length is None:
        return label, {}
    own, unit = MEANS[named_line], _UNITS[unit_word]
    value = lengths(row, length, line).get(own)
    if value is None or value < 100:
        return None
    # the nearest number of the lists, a little shorter rather than longer; else the rounded number; a used belt may
    # be longer than new by 1.2 % (common practice, no source)
    entries = [e for e in rows("belts_lengths") if e["section"] in names]
    numbers = [exact(e["number"]) for e in entries if unit == 1 or not e["circumference_named"].endswith("mm)")]
    near = [n for n in numbers if Decimal("-0.004") * value <= value - n * unit <= Decimal("0.012") * value]
    step = Decimal(5 if unit_word == "in/10" else 1)
    rounded = whole(value / unit / step) * step
    number = min(near, key=lambda n: max(n * unit - value, (value - n * unit) * Decimal("0.8")), default=rounded)
    apart = " " if len(label) > 2 and not label[0].isdigit() else ""
    name = f"{label}x{number} La" if row["family"] == "automotive" and unit == 1 else f"{label}{apart}{number}"
    return name, {own: value - number * unit}


def _ribbed(sizes: Measures) -> Answer:
    bare, named = list(sizes.bare), sizes.named
    width = _belt_size(sizes, bare, "width")
    length = _belt_size(sizes, bare[-1:], "length", "outside length")
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
    pitch, teeth, length, width = (sizes.named.get(name) for name in ("pitch", "teeth", "length", "width"))
    pitch = pitch or (length / teeth if teeth and length else None)
    if pitch is None:
        return Answer(notes=["the pitch is needed: measure over ten teeth and divide"])
    count = "count the teeth: the length is teeth times pitch; see the form of the tooth (round or trapezoidal)"
    answer = Answer(notes=[count, "measure the pitch over ten teeth and divide"])
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


BELTS = {"V-belt": _v_belts, "multi-rib belt": _ribbed, "toothed belt": _toothed}
"""How what a measured belt can be is found, by kind."""
