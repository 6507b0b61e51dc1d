"""A part as a standard names it, and what a comparison of two such parts says."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field
from typing import Literal

STATUSES = ("published", "doubtful", "from memory")
"""How far a row of a table can be trusted, from the best to the worst."""
AlikeVerdict = Literal["same", "near", "not", "unknown"]


def worst_status(statuses: Iterable[str]) -> str:
    """The least trusted of some statuses; empty where there is none."""
    return max((s for s in statuses if s), key=STATUSES.index, default="")


@dataclass(frozen=True)
class Designation:
    """What could be read of a part's written name.

    ``dims`` are in mm by their usual letters (``d``, ``D``, ``B``; ``id``, ``cs``, ``od``; ``Li`` ...), ``figures``
    other numbers, ``marks`` features by name; ``listed`` False: not in the tables, which does not mean that it does not
    exist. ``doubts`` keep it from being ``same`` whatever its size: the verdict, what the name says, what differs.
    """

    text: str
    kind: str
    size: str = ""
    dims: Mapping[str, float] = field(default_factory=dict, hash=False)
    figures: Mapping[str, float] = field(default_factory=dict, hash=False)
    marks: Mapping[str, str] = field(default_factory=dict, hash=False)
    doubts: tuple[tuple[AlikeVerdict, str, str], ...] = ()
    listed: bool = True
    status: str = ""
    sources: tuple[str, ...] = ()


@dataclass(frozen=True)
class Equivalence:
    """Whether an offered part can stand for the wanted one, and why.

    ``near`` fits or nearly fits and differs in what ``differs`` names; ``not`` must not be taken for it; ``unknown``:
    the tables cannot tell. ``status`` is that of the least trusted row used.
    """

    verdict: AlikeVerdict
    reasons: tuple[str, ...]
    differs: tuple[str, ...] = ()
    wanted: Designation | None = None
    offered: Designation | None = None
    caution: tuple[str, ...] = ()
    status: str = ""
    sources: tuple[str, ...] = ()
    gaps: Mapping[str, float] = field(default_factory=dict, hash=False)

    @property
    def dims(self) -> tuple[Mapping[str, float], Mapping[str, float]]:
        """Sizes [mm] of the wanted and of the offered part, as far as they are known."""
        return tuple({} if p is None else p.dims for p in (self.wanted, self.offered))  # type: ignore[return-value]


@dataclass(frozen=True)
class Candidate:
    """A standard part that a measured one can be; ``gaps`` are measured less nominal [mm] by letter."""

    designation: str
    kind: str
    gaps: Mapping[str, float] = field(default_factory=dict, hash=False)
    note: str = ""
    status: str = ""


@dataclass(frozen=True)
class WhichPart:
    """What a part from a caliper can be, the likeliest first, what else to note, and what it cannot be."""

    measured: str
    parts: tuple[Candidate, ...] = ()
    notes: tuple[str, ...] = ()
    ruled_out: tuple[str, ...] = ()

    def as_json(self) -> dict[str, object]:
        parts = [asdict(p) for p in self.parts]
        return {"measured": self.measured, "parts": parts, "notes": list(self.notes), "not": list(self.ruled_out)}
