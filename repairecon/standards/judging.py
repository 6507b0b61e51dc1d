"""Gathers what a comparison finds: every finding has a sentence, the worst finding is the verdict."""

from __future__ import annotations

import re
from collections.abc import Iterable
from decimal import Decimal
from typing import cast

from repairecon.records import AlikeVerdict, Designation, Equivalence, worst_status
from repairecon.standards.tables import Row, rows, trust
from repairecon.standards.words import exact, shown

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
