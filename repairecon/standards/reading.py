"""From what a reader found of a name to its designation: features, sizes beside it, and what nobody understood."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from repairecon.records import Designation
from repairecon.standards.tables import Row, trust
from repairecon.standards.words import NUMBER, PART, Text, exact, millimetres, shown

SLACK = Decimal("0.06")
"""How far [mm] a size written beside a name may be from the name's own: the rounding of two printed digits."""

_CHAIN = re.compile(
    rf"(?<![\w.\-/])((?:{PART})(?:\s*X\s*(?:{PART}))+)(?![\w./]*\d)(?:\s*(MM|IN(?:CH(?:ES)?)?|\"))?(?!\w)"
)
_SINGLE = re.compile(rf"(?<![\w.\-/])({PART})\s*(MM|IN(?:CH(?:ES)?)?|\")(?!\w)")
_QUANTITY = re.compile(
    r"(?<![\w.\-/X])(?:(?:PACK|PACKET|BAG|SET|BOX|QTY|QUANTITY|LOT)(?: OF)?[ :]*\d{1,4}"
    r"|\d{1,4} ?(?:X|PCS?|PCES|PIECES?|OFF|STK|STUCK|STUECK|STUKS|ST|PIEZAS|PEZZI|UNITS?|EA)(?=[ ),;\]]|$)"
    r"|\d{1,2} ?NO\.?(?= ))(?![\w.])"
    r"|^(?:TWO|THREE|FOUR|FIVE|SIX|EIGHT|TEN)(?= (?:OIL|LIP|SHAFT|BALL|BEARING|O-|O |BELT|V-|[\d.]+X))"
)
_TIMES = re.compile(r"(?<=[A-Z¦)])[ (]X ?\d{1,2}(?=\)?$)")
_SOLD_WHOLE = ("rolling bearing", "lip seal", "circlip", "fuse", "relay", "lamp")
"""Kinds of which no size is written behind a last x, so that x2 is a number of pieces."""


@dataclass
class Found:
    """What the reader of a kind took from a name.

    ``order`` are the letters of a chain of sizes like 25x40x7; ``labels`` say by which letters a labelled size goes.
    """

    kind: str
    size: str = ""
    dims: dict[str, Decimal] = field(default_factory=dict)
    marks: dict[str, str] = field(default_factory=dict)
    figures: dict[str, float] = field(default_factory=dict)
    used: list[Row] = field(default_factory=list)
    listed: bool = True
    order: Sequence[str] = ()
    labels: Mapping[str, str] = field(default_factory=dict)
    unread: list[str] = field(default_factory=list)
    against: list[str] = field(default_factory=list)
    others: list[tuple[str, str, str]] = field(default_factory=list)


def take_quantity(text: Text, kind: str = "") -> None:
    """Take how many are meant: 2x, 4 pcs, pack of 10."""
    while text.take(_QUANTITY) or (kind in _SOLD_WHOLE and text.take(_TIMES)):
        pass


def sized(text: Text, label: str) -> Decimal | None:
    """A labelled size, taken from those that were written beside the name."""
    found = next((size for size in text.sizes if size.label == label), None)
    if found is None:
        return None
    text.sizes.remove(found)
    return found.value


def finish(text: Text, found: Found, denied: Sequence[str] = ()) -> Designation:
    """The designation, with every word of the name accounted for."""
    _features(text, found)
    _beside(text, found)
    status, sources = trust(found.used)
    others = [*found.others, *((words, e.value, e.why) for words, e in text.said("other"))]
    others += [
        (words, "unknown", f"it names a {e.kind}")
        for words, e in text.said("kind")
        if e.kind != found.kind and not _generic(e.kind, found.kind)
    ]
    return Designation(
        text=text.words,
        kind=found.kind,
        size=found.size,
        dims={letter: float(value) for letter, value in found.dims.items()},
        figures=found.figures,
        marks={name: value for name, value in found.marks.items() if value},
        unread=(*found.unread, *text.rest()),
        against=tuple(found.against),
        others=tuple(others),
        lacks=tuple(words for words, _ in text.said("lack")),
        denied=(*denied, *(words for words, _ in text.said("negation"))),
        conditions=tuple(words for words, _ in text.said("condition")),
        listed=found.listed,
        status=status,
        sources=sources,
    )


def _generic(said: str, kind: str) -> bool:
    """Seal and ring are said of parts that have a name of their own."""
    return (
        (said == "seal" and kind in ("O-ring", "lip seal", "pump shaft seal", "rubber part"))
        or (said == "V-belt" and kind in ("multi-rib belt", "toothed belt"))
        or (said == "maker's number" and kind == "rubber part")
        or (said == "ring" and kind in ("O-ring", "circlip", "rubber part", "lip seal"))
    )


def _features(text: Text, found: Found) -> None:
    for words, entry in text.entries:
        if not entry.feature or entry.kind != found.kind:
            continue
        own = found.marks.get(entry.feature)
        if own is None:
            found.marks[entry.feature] = entry.value
        elif own != entry.value and entry.value:
            if own in ("", "not said"):
                found.marks[entry.feature] = entry.value
            elif entry.value != "not said":
                found.against.append(f"says {words!r}, but {found.size or 'it'} also says {entry.feature} {own}")


def _beside(text: Text, found: Found) -> None:
    """Sizes that stand beside the designation must agree with it."""
    for size in text.sizes:
        own = [found.dims[c] for c in found.labels.get(size.label, "").split() if c in found.dims]
        if not own:
            found.unread.append(size.shown)
        elif all(abs(value - size.value) > SLACK for value in own):
            found.against.append(f"says {size.shown!r}, but {found.size} has {shown(own[0])} mm there")
    while chain := text.take(_CHAIN):
        _chain(chain, found)
    while single := text.take(_SINGLE):
        value = millimetres(single[1], single[2])
        if value is None or not any(abs(own - value) <= SLACK for own in found.dims.values()):
            known = " x ".join(shown(v) for v in found.dims.values())
            if found.dims:
                found.against.append(f"says {single[0]!r}, but {found.size} has {known} mm")
            else:
                found.unread.append(single[0])


def _chain(chain: re.Match[str], found: Found) -> None:
    numbers = re.split(r"\s*X\s*", chain[1])
    values = [millimetres(n, chain[2]) for n in numbers]
    own = [found.dims[c] for c in found.order if c in found.dims]
    if len(values) > len(own):
        found.unread.append(chain[0])
    elif any(v is None or abs(v - o) > SLACK for v, o in zip(values, own, strict=False)):
        known = " x ".join(map(shown, own))
        found.against.append(f"says {chain[0]!r}, but {found.size} is {known} mm")


def cell(row: Row, column: str) -> Decimal | None:
    """A number of a table, None where nothing is printed."""
    return exact(row[column]) if re.fullmatch(NUMBER, row[column]) else None
