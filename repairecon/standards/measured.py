"""From a caliper: what a measured part can be, with tolerance and wear in mind."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from itertools import permutations

from repairecon.records.standards import Candidate, WhichPart
from repairecon.standards.equivalents import FAMILIES
from repairecon.standards.measured_parts import BELTS, Measures, fits, letters, words_of
from repairecon.standards.tables import rows
from repairecon.standards.words import INCH, PART, Text, kinds_said, millimetres, plain, shown, whole

MOST = 12
"""How many parts are named; more would not be asked for."""

_BARE = re.compile(rf"(?<![\w./]){PART}(?![\w/])")
_ROUND = ("rolling bearing", "lip seal", "O-ring", "Woodruff key", "circlip")
_RARE = ("carbon brush", "pin", "fuse", "lamp", "pump shaft seal", "threaded part")
"""Kinds that are looked through only where they are asked for."""


def kind_of(words: str) -> str:
    """The kind that a plain word means: bearing, belt, seal, o-ring, key, hose ..."""
    said = words.casefold().strip()
    exact = [k for k in FAMILIES if k.casefold() == said]
    other = [r["kind"] for r in rows("measured_kinds") if r["role"] == "alias" and r["name"] in said]
    return next(iter([*exact, *other, *(k for k in FAMILIES if k.casefold() in said)]), "")


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
    asked = kind_of(kind) if kind else next(iter(k for k in kinds_said(text) if k in BELTS or letters(k)), "")
    if not sizes.named and not sizes.bare:
        how = "no size could be read: write them like 16.98 x 39.99 x 12.02 or shaft 25, bore 40"
        return WhichPart(words, (), (how,))
    kinds = _kinds(asked, sizes, kind)
    answers = [BELTS[name](sizes) if name in BELTS else fits(name, sizes) for name in kinds]
    spoken = [answer for answer in answers if answer.parts or len(kinds) == 1]
    found = [pair for answer in spoken for pair in answer.parts]
    notes = [note for answer in spoken for note in answer.notes]
    misses = dict.fromkeys(miss for answer in spoken for miss in answer.misses)
    if not found and not sizes.named and 2 <= len(sizes.bare) <= 3:
        orders = [replace(sizes, bare=list(order)) for order in permutations(sizes.bare)]
        found = [pair for order in orders for k in kinds if k in _ROUND for pair in fits(k, order).parts]
        if found:
            notes.insert(0, "no part has the sizes in the order written: they were taken in another order")
    found.sort(key=lambda pair: pair[0])
    parts = tuple(part for _, part in found[:MOST])
    if kind and not asked:
        notes.insert(0, f"the kind {kind!r} is not known here: every kind was looked through")
    notes = _with_notes(notes, parts, [*sizes.bare, *sizes.named.values()])
    return WhichPart(words, parts, tuple(dict.fromkeys(notes)), tuple(misses)[:6])


def _with_notes(notes: list[str], parts: tuple[Candidate, ...], sizes: list[Decimal]) -> list[str]:
    """The notes with what is to be said of no part, of rows that are not published, and of several kinds."""
    if not parts:
        # as fractions of an inch, where each lies within 0.05 mm of a sixteenth
        sixteenths = [int(whole(value * 16 / INCH)) for value in sizes]
        near = all(n and abs(n * INCH / 16 - v) <= Decimal("0.05") for n, v in zip(sixteenths, sizes, strict=True))
        names = (f"{n // 16 or ''} {Fraction(n % 16, 16) or ''}".strip() for n in sixteenths)
        said = [f"these are whole parts of an inch: ask for {' x '.join(names)} in, an inch size"]
        none = "no listed standard part has these sizes; it may be worn, special or of a maker's own size"
        return [none, *(said if near and len(sizes) > 1 else []), *notes]
    more = []
    if any(p.status != "published" for p in parts):
        more.append("not every row behind these names is published: see the status, and measure again")
    if len({p.kind for p in parts}) > 1:
        kinds = ", ".join(dict.fromkeys(p.kind for p in parts))
        more.append(f"say the kind of part to narrow this down: {kinds}")
    return [*notes, *more]


def _kinds(asked: str, sizes: Measures, kind: str) -> list[str]:
    """The kinds to look through: the one asked for, or those that such sizes can be of."""
    count = len(sizes.named) + len(sizes.bare)
    if asked == "V-belt":
        if "ribs" in sizes.named or "rib" in kind.casefold():
            return ["multi-rib belt"]
        return ["toothed belt"] if "pitch" in sizes.named or "teeth" in sizes.named else ["V-belt"]
    if asked == "parallel key" and "half" in sizes.hints:
        return ["Woodruff key"]
    if asked in ("parallel key", "lip seal") and count == 2:
        return [asked, "Woodruff key" if asked == "parallel key" else "O-ring"]
    if asked:
        return [asked] if asked in BELTS or letters(asked) else []
    if "ribs" in sizes.named:
        return ["multi-rib belt"]
    if "tpi" in sizes.named or ("pitch" in sizes.named and "teeth" not in sizes.named):
        return ["threaded part"]
    if any("length" in name for name in sizes.named) and "width" in sizes.named and len(sizes.named) < 4:
        return ["V-belt", "parallel key"]
    known = {row["kind"]: "|".join(r["value"] for r in letters(row["kind"]).values()).split("|")
             for row in rows("measured_kinds")}  # fmt: skip
    return [name for name, labels in known.items() if name not in _RARE and set(sizes.named) <= set(labels)
            and str(count) in " ".join(words_of(name, "counts")).split()]  # fmt: skip


def _measures(words: str) -> Measures:
    """Sizes by their labels, and the bare ones in their order [mm]."""
    text = Text(words)
    text.take_labelled("measured_labels")
    sizes = Measures({size.label: size.value for size in reversed(text.sizes)}, [])
    unit = re.search(r"(?<=[\d\s])(INCH(?:ES)?|IN|\")(?!\w)", text.left)
    for bare in re.findall(_BARE, text.left.replace("X", " ; ")):
        value = millimetres(bare, unit[1] if unit else None)
        if value is not None:
            sizes.bare.append(value)
    return sizes


def which_part_answer(measured: str, kind: str = "") -> tuple[str, dict[str, object]]:
    """What a measured part can be: the words for the screen, and plain data (``measured parts notes not``)."""
    found = which_part(measured, kind)
    lines = [f"Measured {found.measured}", "It can be:" if found.parts else "No listed part fits."]
    for part in found.parts:
        gaps = ", ".join(f"{c} {'+' if value > 0 else ''}{shown(value)}" for c, value in part.gaps.items() if value)
        name = f"{part.designation} ({part.kind}{f'; measured less nominal: {gaps} mm' if gaps else ''})"
        status = f" [{part.status}]" if part.status not in ("", "published") else ""
        lines.append(f"  {name}{f': {part.note}' if part.note else ''}{status}")
    if found.ruled_out:
        lines += ["It cannot be:", *(f"  {words}" for words in found.ruled_out)]
    lines += [f"Note: {words}" for words in found.notes]
    return "\n".join([*lines, "Check every size against the old part before you order."]), found.as_json()
