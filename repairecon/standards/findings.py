"""From a name to its designation with every word accounted for, and what a comparison of two designations finds."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import cast

from repairecon.records import AlikeVerdict, Designation, Equivalence, worst_status
from repairecon.standards.tables import Row, rows, trust
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


_FIGURES = re.compile(r"[-+.#]*\d+(?:[./-]\d+)*[-+./\"]*")
_ORDER: tuple[AlikeVerdict, ...] = ("same", "near", "unknown", "not")


class Judging:
    """The findings of one comparison, in the order in which an owner reads them."""

    def __init__(self, wanted: Designation, offered: Designation) -> None:
        self.wanted, self.offered = wanted, offered
        self.verdict: AlikeVerdict = "same"
        self._reasons: list[str] = []
        self._differs: list[str] = []
        self._caution: list[str] = []
        self._gaps: dict[str, float] = {}
        self._statuses: list[str] = [wanted.status, offered.status]
        self._sources: list[str] = [*wanted.sources, *offered.sources]

    def note(self, reason: str) -> None:
        """A sentence that changes no verdict."""
        self._reasons.append(reason)

    def near(self, reason: str, *differs: str) -> None:
        """It fits but is not the same."""
        self.find("near", reason, differs)

    def refuse(self, reason: str, *differs: str) -> None:
        """It must not be taken."""
        self.find("not", reason, differs)

    def unknown(self, reason: str, *differs: str) -> None:
        """The tables cannot tell."""
        self.find("unknown", reason, differs)

    def caution(self, words: str) -> None:
        """What can go wrong although the part fits."""
        self._caution.append(words)

    def used(self, *used: Row) -> None:
        """Rows of tables that a finding rests on."""
        status, sources = trust(used)
        self._statuses.append(status)
        self._sources.extend(sources)

    def gap(self, letter: str, value: Decimal) -> None:
        """Offered less wanted [mm]."""
        self._gaps[letter] = float(value)

    def find(self, verdict: AlikeVerdict, reason: str, differs: Iterable[str]) -> None:
        """A finding with its own verdict."""
        self.verdict = max(self.verdict, verdict, key=_ORDER.index)
        self._reasons.append(reason)
        self._differs.extend(differs)

    def done(self) -> Equivalence:
        """The finished comparison."""
        status = worst_status(self._statuses)
        if status in ("doubtful", "from memory"):
            self.caution(f"Not all of this is published: the least sure row of the tables used is {status}; measure.")
        return Equivalence(
            self.verdict,
            tuple(dict.fromkeys(self._reasons)),
            tuple(dict.fromkeys(self._differs)),
            self.wanted,
            self.offered,
            tuple(dict.fromkeys(self._caution)),
            status,
            tuple(dict.fromkeys(s for s in self._sources if s)),
            dict(self._gaps),
        )


def compare_features(wanted: Designation, offered: Designation, judging: Judging) -> None:
    """Findings on the features that ``features.csv`` lists for the kind."""
    for row in rows("features"):
        if row["kind"] != wanted.kind:
            continue
        name = row["feature"]
        want, has = (part.marks.get(name) or row["usual"] for part in (wanted, offered))
        if want == has:
            continue
        why = f": {row['why']}" if row["why"] else ""
        if want and has:
            verdict, said = row["differs"], f"{name} {has} against {want}{why}"
        elif want:
            verdict, said = row["missing"], f"the offer does not say its {name}, {want} is wanted: ask{why}"
        else:
            verdict, said = row["said"], f"the offer says {name} {has}; that of the old part was not said{why}"
        if verdict == "same":
            judging.note(said)
        else:
            judging.find(cast(AlikeVerdict, verdict), said, (name,))


def compare_words(part: Designation, whose: str, judging: Judging) -> None:
    """Findings on what a name says beside its size: no word that is not understood leaves ``same``."""
    for sentence in part.against:
        judging.refuse(f"the {whose} name {sentence}", "size")
    for words, value, why in part.others:
        said = f"the {whose} name says {words!r}: {why or 'another thing than the part itself'}"
        if value == "not":
            judging.refuse(said, "kind")
        else:
            judging.unknown(f"{said}; ask what is meant", "kind")
    for words in part.lacks:
        judging.refuse(f"the {whose} name says {words!r}: not the whole part", "completeness")
    for words in part.denied:
        judging.near(f"the {whose} name says {words!r}: ask which part is meant", "words")
    for words in part.conditions:
        judging.near(f"the {whose} name says {words!r}: ask", "words")
    for words in part.unread:
        if _FIGURES.fullmatch(words):
            judging.unknown(f"the {whose} name says {words!r}, which may name another size: measure it", "words")
            continue
        judging.near(f"the {whose} name says {words!r}, which is in no table: ask", "words")


def compare_sizes(
    wanted: Designation, offered: Designation, judging: Judging, names: dict[str, str], slack: Decimal = Decimal(0)
) -> bool:
    """Findings on sizes [mm] that must be alike, by their letters and names; True where all are."""
    alike = True
    for letter, name in names.items():
        if letter in wanted.dims and letter in offered.dims:
            want, has = exact(wanted.dims[letter]), exact(offered.dims[letter])
            judging.gap(letter, has - want)
            if abs(has - want) > slack:
                judging.refuse(f"the {name} is {shown(has)} mm against {shown(want)} mm", name)
                alike = False
        elif (letter in wanted.dims) != (letter in offered.dims):
            judging.near(f"only one of the two says its {name}", name)
    return alike
