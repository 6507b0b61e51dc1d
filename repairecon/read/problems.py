"""Faults of a case folder: collected, worded, grouped for printing."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Sequence

from repairecon.read.text import clean
from repairecon.records import CaseError, Fault

SHOWN = 40
PRINTED = 200
SURE = 0.8
"""Likeness from which a misspelt word is taken for the one it resembles."""

COMPARED = 10_000
"""Words that are compared with misspelt ones in one folder; thousands of faults need no more."""

_PARTICULAR = re.compile(r"'[^']*'|[0-9][0-9.,+ -]*")


def shown(text: str) -> str:
    """What was found, in quote marks, on one line, cut short, nothing that a terminal obeys."""
    line = " ".join(clean(text[: 20 * SHOWN]).split())
    line = "".join(c if c.isprintable() and c != "\ufffd" else "?" for c in line)
    if len(line) > SHOWN:
        line = line[: SHOWN - 3] + "..."
    return f"'{line}'" if line else "nothing"


def closest(word: str, known: Iterable[str], cutoff: float = 0.6) -> str:
    """The known word nearest to ``word``, or an empty string."""
    options = {k.casefold(): k for k in known}
    near = difflib.get_close_matches(word.casefold()[:80], options, n=1, cutoff=cutoff)
    return options[near[0]] if near else ""


class Problems:
    """Collects the faults of one folder, each once."""

    def __init__(self) -> None:
        self._faults: dict[Fault, None] = {}
        self._compared = 0

    def add(self, file: str, row: int | None, column: str, found: str, write: str) -> None:
        """Note a fault; ``found`` is taken as worded (see ``shown``)."""
        file = file if file.isprintable() else shown(file)
        heading = shown(column)[1:-1] if column else ""
        self._faults[Fault(file, row, heading, found, write)] = None

    def advice(self, word: str, known: Sequence[str], otherwise: str = "") -> str:
        """What to write instead of a word that is not known: the nearest one, else those there are."""
        near = ""
        if self._compared < COMPARED:
            self._compared += len(known)
            near = closest(word, known[:COMPARED])
        if near:
            return f"did you mean {shown(near)}?"
        if otherwise:
            return otherwise
        some = ", ".join(shown(k) for k in known[:12]) or "none there yet"
        return f"write one of: {some}" + (", ..." if len(known) > 12 else "")

    def __len__(self) -> int:
        return len(self._faults)

    @property
    def faults(self) -> tuple[Fault, ...]:
        """All faults by file, row and column."""
        return tuple(sorted(self._faults, key=lambda f: (f.file, f.row or 0, f.column, f.found)))

    def stop_if_any(self, kind: type[CaseError] = CaseError) -> None:
        """Raise all faults at once, if there are any."""
        if self._faults:
            error = kind(self.faults)
            error.args = (printable(error.faults),)
            raise error


def _runs(rows: Sequence[int]) -> str:
    """Row numbers as text: ``3-9, 12``."""
    runs: list[list[int]] = []
    for row in sorted(set(rows)):
        if runs and row == runs[-1][1] + 1:
            runs[-1][1] = row
        else:
            runs.append([row, row])
    words = [str(a) if a == b else f"{a}-{b}" for a, b in runs[:8]]
    return ", ".join(words) + (", ..." if len(runs) > 8 else "")


def printable(faults: Sequence[Fault]) -> str:
    """One line for each kind of fault: the first in full, then the rows that have the same."""
    groups: dict[tuple[str, str, str], list[Fault]] = {}
    for fault in faults:
        kind = (fault.file, fault.column, _PARTICULAR.sub("#", fault.write))
        groups.setdefault(kind, []).append(fault)
    lines = []
    for same in groups.values():
        rows = [f.row for f in same[1:] if f.row is not None]
        more = f" (the same in {len(rows)} more: row {_runs(rows)})" if rows else ""
        lines.append(f"{same[0]}{more}")
    if len(lines) > PRINTED:
        left = len(lines) - PRINTED
        lines = [*lines[:PRINTED], f"... and {left} more kinds of fault: mend these first"]
    return "\n".join(lines)
