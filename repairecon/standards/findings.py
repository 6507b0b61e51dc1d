"""From a name to its designation with every word accounted for, and what a comparison of two designations finds."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cache, partialmethod
from typing import Any, cast

from repairecon.records import AlikeVerdict, Designation, Equivalence, worst_status
from repairecon.standards.tables import Row, rows, said_of, trust
from repairecon.standards.words import PART, Text, exact, millimetres, shown

SLACK = Decimal("0.06")
"""How far [mm] a size written beside a name may be from the name's own: the rounding of two printed digits."""
TAKEN_AS_WRITTEN = "is not in the table of sizes; it is taken as written"

_CHAIN = re.compile(
    rf"(?<![\w.\-/])((?:{PART})(?:\s*X\s*(?:{PART}))+)(?![\w./]*\d)(?:\s*(MM|IN(?:CH(?:ES)?)?|\"))?(?!\w)"
)
_SINGLE = re.compile(rf"(?<![\w.\-/])({PART})\s*(MM|IN(?:CH(?:ES)?)?|\")(?!\w)")
_FIGURES = re.compile(r"[-+.#]*\d+(?:[./-]\d+)*[-+./\"]*")
_ORDER: tuple[AlikeVerdict, ...] = ("same", "near", "unknown", "not")


def denied(words: str) -> tuple[AlikeVerdict, str, str]:
    """The doubt that words of denial raise."""
    return "near", f"says {words!r}: ask which part is meant", "words"


_DOUBTS: Mapping[str, Callable[[str], tuple[AlikeVerdict, str, str]]] = {
    "lack": lambda words: ("not", f"says {words!r}: not the whole part", "completeness"), "negation": denied,
    "condition": lambda words: ("near", f"says {words!r}: ask", "words"),
}  # fmt: skip


@cache
def beside(kind: str) -> tuple[tuple[str, ...], Mapping[str, str]]:
    """The letters of a chain of sizes like 25x40x7 of a kind, and by which letters a labelled size goes."""
    chain = " ".join(row["value"] for row in said_of(kind, "chain"))
    return tuple(chain.split()), {row["name"]: row["value"] for row in said_of(kind, "beside")}


@dataclass
class Found:
    """What the reader of a kind took from a name; sizes in mm, ``figures`` what else a comparison needs."""

    kind: str
    size: str = ""
    dims: dict[str, Decimal] = field(default_factory=dict)
    marks: dict[str, str] = field(default_factory=dict)
    used: list[Row] = field(default_factory=list)
    listed: bool = True
    figures: dict[str, float] = field(default_factory=dict)
    against: list[str] = field(default_factory=list)
    others: list[tuple[str, str, str]] = field(default_factory=list)


def by_row(
    kind: str, size: str, dims: dict[str, Decimal], row: Row | None, marks: Mapping[str, str] | None = None
) -> Found:
    """A part that is listed if there is a row for it."""
    return Found(kind, size, dims, dict(marks or {}), [] if row is None else [row], row is not None)


def finish(text: Text, found: Found) -> Designation:
    """The designation, with every word of the name accounted for."""
    for words, entry in text.entries:
        if entry.feature and entry.kind == found.kind:
            own = found.marks.setdefault(entry.feature, entry.value)
            if own in ("", "not said"):
                found.marks[entry.feature] = entry.value or own
            elif entry.value not in ("", own, "not said"):
                found.against.append(f"says {words!r}, but {found.size or 'it'} also says {entry.feature} {own}")
    doubts = tuple(_doubts(text, found))
    status, sources = trust(found.used)
    return Designation(
        text=text.words, kind=found.kind, size=found.size, figures=found.figures, listed=found.listed, status=status,
        dims={letter: float(value) for letter, value in found.dims.items()},
        marks={name: value for name, value in found.marks.items() if value}, doubts=doubts, sources=sources,
    )  # fmt: skip


def _doubts(text: Text, found: Found) -> Iterator[tuple[AlikeVerdict, str, str]]:
    """What keeps a name from being the same part: what goes against it, other things named, words in no table."""
    unread = _sizes_beside(text, found)
    for sentence in found.against:
        yield "not", sentence, "size"
    called = {found.kind, *(row["name"] for row in said_of(found.kind, "called"))}  # a lip seal is a seal, too
    others = [(words, e.value, e.why) for words, e in text.entries if e.role == "other"]
    kinds = [(words, e.kind) for words, e in text.entries if e.role == "kind"]
    others += [(words, "unknown", f"it names a {kind}") for words, kind in kinds if kind not in called]
    for words, verdict, why in (*found.others, *others):
        said = f"says {words!r}: {why or 'another thing than the part itself'}"
        yield ("not", said, "kind") if verdict == "not" else ("unknown", f"{said}; ask what is meant", "kind")
    for role, doubt in _DOUBTS.items():
        yield from (doubt(words) for words, entry in text.entries if entry.role == role)
    for words in (*unread, *text.rest()):
        if _FIGURES.fullmatch(words):
            yield "unknown", f"says {words!r}, which may name another size: measure it", "words"
        else:
            yield "near", f"says {words!r}, which is in no table: ask", "words"


def _sizes_beside(text: Text, found: Found) -> list[str]:
    """Sizes that stand beside the designation must agree with it; those that say nothing of it are unread."""
    order, labels = beside(found.kind)
    unread: list[str] = []
    for size in text.sizes:
        own = [found.dims[c] for c in labels.get(size.label, "").split() if c in found.dims]
        if not own:
            unread.append(size.shown)
        elif not any(_agree(size.value, value) for value in own):
            found.against.append(f"says {size.shown!r}, but {found.size} has {shown(own[0])} mm there")
    own = [found.dims[c] for c in order if c in found.dims]
    while chain := text.take(_CHAIN):
        values = [millimetres(n, chain[2]) for n in re.split(r"\s*X\s*", chain[1])]
        if len(values) > len(own):
            unread.append(chain[0])
        elif not all(map(_agree, values, own)):
            found.against.append(f"says {chain[0]!r}, but {found.size} is {' x '.join(map(shown, own))} mm")
    known = list(found.dims.values())
    while single := text.take(_SINGLE):
        value = millimetres(single[1], single[2])
        if not known:
            unread.append(single[0])
        elif not any(_agree(value, size) for size in known):
            sizes = " x ".join(map(shown, known))
            found.against.append(f"says {single[0]!r}, but {found.size} has {sizes} mm")
    return unread


def _agree(written: Decimal | None, own: Decimal) -> bool:
    return written is not None and abs(written - own) <= SLACK


class Judging:
    """The findings of one comparison, in the order in which an owner reads them.

    A finding is a sentence and the names of what differs: ``near`` (it fits but is not the same), ``refuse`` (it must
    not be taken) or ``unknown`` (the tables cannot tell); the worst one is the verdict. ``note`` changes none.
    """

    def __init__(self, wanted: Designation, offered: Designation) -> None:
        self.wanted, self.offered = self.both = wanted, offered
        self.verdict: AlikeVerdict = "same"
        self._reasons: list[str] = []
        self._differs: list[str] = []
        self._caution: list[str] = []
        self._gaps: dict[str, float] = {}
        self._statuses = [wanted.status, offered.status]
        self._sources = [*wanted.sources, *offered.sources]

    def find(self, verdict: AlikeVerdict, reason: str, *differs: str) -> None:
        self.verdict = max(self.verdict, verdict, key=_ORDER.index)
        self._reasons.append(reason)
        self._differs.extend(differs)

    def first(self, *rules: tuple[Any, ...]) -> None:
        """The finding of the first rule that holds; a rule is whether it holds, and what ``find`` takes."""
        self.find(*next(finding for holds, *finding in rules if holds))

    near = partialmethod(find, "near")
    refuse = partialmethod(find, "not")
    unknown = partialmethod(find, "unknown")
    note = partialmethod(find, "same")

    def caution(self, words: str) -> None:
        """What can go wrong although the part fits."""
        self._caution.append(words)

    def used(self, *used: Row) -> None:
        """Rows of tables that a finding rests on."""
        status, sources = trust(used)
        self._statuses.append(status)
        self._sources.extend(sources)

    def marks(self, name: str, usual: str = "") -> tuple[str, str]:
        """A feature of the wanted and of the offered part."""
        return self.wanted.marks.get(name) or usual, self.offered.marks.get(name) or usual

    def sizes(self, letter: str) -> tuple[Decimal, Decimal]:
        """A size [mm] of the wanted and of the offered part."""
        return exact(self.wanted.dims[letter]), exact(self.offered.dims[letter])

    def have(self, letter: str) -> int:
        """How many of the two say a size."""
        return sum(letter in part.dims for part in self.both)

    def gap(self, letter: str, value: Decimal | None = None) -> Decimal:
        """Offered less wanted [mm], kept for the answer."""
        want, has = self.sizes(letter)
        gap = has - want if value is None else value
        self._gaps[letter] = float(gap)
        return gap

    def absent(self, says: str, verdict: AlikeVerdict = "unknown", *differs: str) -> bool:
        """Findings on parts that are in no table; True where there is one."""
        absent = [part.size for part in self.both if not part.listed]
        for size in absent:
            self.find(verdict, f"{size} {says}", *differs)
        return bool(absent)

    def done(self) -> Equivalence:
        status = worst_status(self._statuses)
        if status in ("doubtful", "from memory"):
            self.caution(f"Not all of this is published: the least sure row of the tables used is {status}; measure.")
        reasons, differs, caution = (tuple(dict.fromkeys(x)) for x in (self._reasons, self._differs, self._caution))
        sources = tuple(filter(None, dict.fromkeys(self._sources)))
        return Equivalence(self.verdict, reasons, differs, self.wanted, self.offered, caution, status,
                           gaps=self._gaps, sources=sources)  # fmt: skip


def compare_features(judging: Judging, after: str = "") -> None:
    """Findings on the features of ``features.csv`` that come first, or after the sizes."""
    for row in rows("features"):
        if (row["kind"], row["after"]) != (judging.wanted.kind, after):
            continue
        want, has = judging.marks(row["feature"], row["usual"])
        name, why = row["feature"], f": {row['why']}" if row["why"] else ""
        verdict, said = row["differs"], f"{name} {has} against {want}{why}"
        if pair := _pair(row, want, has, judging):
            verdict, said, name = pair["verdict"], pair["says"].format(want=want, has=has), pair["differs"] or name
            if pair["caution"]:
                judging.caution(pair["caution"])
        elif want == has:
            continue
        elif not has:
            verdict, said = row["missing"], f"the offer does not say its {name}, {want} is wanted: ask{why}"
        elif not want:
            verdict, said = row["said"], f"the offer says {name} {has}; that of the old part was not said{why}"
        if verdict:
            judging.find(cast(AlikeVerdict, verdict), said, *(name.split("|") if verdict != "same" else ()))


def _pair(feature: Row, want: str, has: str, judging: Judging) -> Row | None:
    """The first row of ``feature_pairs.csv`` for two values of a feature.

    ``=`` is the same value, ``when`` another feature of the wanted or, where it says so, of the offered part.
    """
    for row in rows("feature_pairs"):
        if (row["kind"], row["feature"]) == (feature["kind"], feature["feature"]):
            name, _, value = row["when"].partition("=")
            part = judging.offered if name.startswith("offered ") else judging.wanted
            other = part.marks.get(name.removeprefix("offered "), "")
            offered = want == has if row["offered"] == "=" else want != has and re.fullmatch(row["offered"], has)
            if offered and re.fullmatch(row["wanted"], want) and re.fullmatch(value, other):
                return row
    return None


def compare_sizes(judging: Judging) -> bool:
    """Findings on the sizes [mm] of ``sizes.csv``; True where those that must be the same are."""
    own = [row for row in rows("sizes") if row["kind"] == judging.wanted.kind and judging.have(row["letter"])]
    alike = [_same_size(row, judging) for row in own if row["verdict"] == "not"]
    noted = {row["letter"]: row["noted"] for row in own if row["noted"] and judging.have(row["letter"]) == 2}
    if noted and all(alike):
        sizes = " x ".join(shown(judging.wanted.dims[letter]) for letter in noted)
        judging.note(f"same {next(iter(noted.values()))}: {sizes} mm")
    for row in own:
        if row["verdict"] == "near":
            _same_size(row, judging)
    return all(alike)


def _same_size(row: Row, judging: Judging) -> bool:
    letter, name = row["letter"], row["name"]
    if judging.have(letter) == 1:
        judging.near(f"only one of the two says its {name}", name)
        return True
    gap, (want, has) = judging.gap(letter), map(shown, judging.sizes(letter))
    if abs(gap) <= exact(row["slack_mm"]):
        return True
    says = row["larger" if gap > 0 else "smaller"] or f"the {name} is {{has}} mm against {{want}} mm"
    judging.find(cast(AlikeVerdict, row["verdict"]), says.format(want=want, has=has, gap=shown(abs(gap))), name)
    return False


def compare(judging: Judging) -> bool:
    """Findings on the sizes of two parts, then on what ``features.csv`` compares after them; True where sizes agree."""
    alike = compare_sizes(judging)
    if alike:
        compare_features(judging, after="sizes")
    for row in said_of(judging.wanted.kind, "caution"):
        judging.caution(row["value"])
    return alike
