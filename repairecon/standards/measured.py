"""From a caliper: what a measured part can be, with the tolerance of a new part and the sense of its wear in mind.

``measured_kinds.csv`` says how a kind is measured: its letters with their labels and how far each may be off, the
tables that list its parts, and what else to note.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from itertools import permutations, product

from repairecon.records.standards import Candidate, WhichPart
from repairecon.standards.belts import LINES, MEANS, lengths
from repairecon.standards.equivalents import FAMILIES
from repairecon.standards.measured_parts import Answer, Measures, fits, letters
from repairecon.standards.tables import Row, rows, said_of
from repairecon.standards.words import INCH, PART, Text, exact, kinds_said, millimetres, plain, shown, whole


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
