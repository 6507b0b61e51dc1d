"""Gathers what a comparison finds: every finding has a sentence, the worst finding is the verdict."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from repairecon.records import AlikeVerdict, Designation, Equivalence, worst_status
from repairecon.standards.tables import Row, trust

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
        self._find("near", reason, differs)

    def refuse(self, reason: str, *differs: str) -> None:
        """It must not be taken."""
        self._find("not", reason, differs)

    def unknown(self, reason: str, *differs: str) -> None:
        """The tables cannot tell."""
        self._find("unknown", reason, differs)

    def caution(self, words: str) -> None:
        """What can go wrong although the part fits."""
        self._caution.append(words)

    def used(self, *rows: Row) -> None:
        """Rows of tables that a finding rests on."""
        status, sources = trust(rows)
        self._statuses.append(status)
        self._sources.extend(sources)

    def gap(self, letter: str, value: Decimal) -> None:
        """Offered less wanted [mm]."""
        self._gaps[letter] = float(value)

    def _find(self, verdict: AlikeVerdict, reason: str, differs: Iterable[str]) -> None:
        self.verdict = max(self.verdict, verdict, key=_ORDER.index)
        self._reasons.append(reason)
        self._differs.extend(differs)

    def done(self) -> Equivalence:
        """The finished comparison."""
        return Equivalence(
            self.verdict,
            tuple(dict.fromkeys(self._reasons)),
            tuple(dict.fromkeys(self._differs)),
            self.wanted,
            self.offered,
            tuple(dict.fromkeys(self._caution)),
            worst_status(self._statuses),
            tuple(dict.fromkeys(s for s in self._sources if s)),
            dict(self._gaps),
        )
