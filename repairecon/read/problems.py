"""Faults of a file, worded for its owner: collected, grouped for printing. Words cleaned, shown, compared, named."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby
from typing import NoReturn

from repairecon.records import CaseError, Fault

SHOWN = 40
PRINTED = 200
SURE = 0.8  # likeness from which a misspelt word is taken for the one it resembles
COMPARED = 10_000  # words that are compared with misspelt ones in one folder; thousands of faults need no more
_PARTICULAR = re.compile(r"'[^']*'|[0-9][0-9.,+ -]*")
_TERMINAL = re.compile(r"\x1b\[[0-?]*[ -/]*[@-~]|\x1b\][^\x07\x1b]*(?:\x07|\x1b\\)?|\x1b[@-_]?")
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u200b\u200e\u200f\u202a-\u202e\u2060-\u2069\ufeff]")
_UNDECODED = re.compile("[\udc80-\udcff]")


def clean(text: str) -> str:
    """Text without terminal escapes, control characters and marks that turn the writing direction."""
    if "\x1b" in text:
        text = _TERMINAL.sub("", text)
    return _CONTROL.sub("", text)


def undecoded(text: str) -> bool:
    """True where a byte was not UTF-8."""
    return _UNDECODED.search(text) is not None


def shown(text: str) -> str:
    """What was found, in quote marks, on one line, cut short, nothing that a terminal obeys."""
    line = " ".join(clean(text[: 20 * SHOWN]).split())
    line = "".join(c if c.isprintable() and c != "\ufffd" else "?" for c in line)
    if len(line) > SHOWN:
        line = line[: SHOWN - 3] + "..."
    return f"'{line}'" if line else "nothing"


def shown_value(value: object) -> str:
    try:
        return shown(str(value))
    except ValueError:  # a whole number of thousands of digits has no text
        return "a number beyond all measure"


def closest(word: str, known: Iterable[str], cutoff: float = 0.6) -> str:
    """The known word nearest to ``word``, or an empty string."""
    options = {k.casefold(): k for k in known}
    near = difflib.get_close_matches(word.casefold()[:80], options, n=1, cutoff=cutoff)
    return options[near[0]] if near else ""


def key(name: str) -> str:
    return " ".join(name.casefold().split())


class Problems:
    def __init__(self) -> None:
        self._faults: dict[Fault, None] = {}
        self._compared = 0
        self.called: dict[str, str] = {}  # what a file of the case is called where it is a sheet of a workbook
        self.headed: dict[str, str] = {}  # what a column is called in the one list that is read

    def add(self, file: str, row: int | None, column: str, found: str, write: str) -> None:
        """Note a fault; ``found`` is taken as worded (see ``shown``)."""
        file = self.called.get(file, file if file.isprintable() else shown(file))
        heading = shown(self.headed.get(column, column))[1:-1] if column else ""
        self._faults[Fault(file, row, heading, found, write)] = None

    def advice(self, word: str, known: Sequence[str], otherwise: str = "", cutoff: float = 0.6) -> str:
        """What to write instead of a word that is not known: the nearest one, else those there are."""
        self._compared += len(known)
        if near := closest(word, known[:COMPARED], cutoff) if self._compared < COMPARED + len(known) else "":
            return f"did you mean {shown(near)}?"
        some = ", ".join(shown(k) for k in known[:12]) or "none there yet"
        return otherwise or f"write one of: {some}" + (", ..." if len(known) > 12 else "")

    def __len__(self) -> int:
        return len(self._faults)

    @property
    def faults(self) -> tuple[Fault, ...]:
        return tuple(sorted(self._faults, key=lambda f: (f.file, f.row or 0, f.column, f.found)))

    def check(self, file: str, *rules: tuple[object, str, str, str]) -> None:
        """Note a fault of a file for each rule that is broken: whether it is, column, what was found, what to write."""
        for broken, column, found, write in rules:
            if broken:
                self.add(file, None, column, found, write)

    def refuse(self, file: str, found: str, write: str, column: str = "") -> NoReturn:
        """Note a fault that leaves nothing to go on with, and stop."""
        self.add(file, None, column, found, write)
        self.stop_if_any()
        raise AssertionError

    def stop_if_any(self, kind: type[CaseError] = CaseError) -> None:
        if self._faults:
            error = kind(self.faults)
            error.args = (printable(error.faults),)
            raise error


class Names:
    """The spelling of each name; ``whole`` is False where some may be missing for another fault."""

    def __init__(self, names: Iterable[str] = (), whole: bool = True) -> None:
        self.whole = whole
        self._spelling: dict[str, str] = {}
        for name in names:
            self.add(name)

    def add(self, name: str) -> bool:
        """Take a name; False if it was there already."""
        word = key(name)
        if word in self._spelling:
            return False
        self._spelling[word] = name
        return True

    def find(self, name: str) -> str:
        """The name as first spelt, or an empty string."""
        return self._spelling.get(key(name), "")

    def __contains__(self, name: str) -> bool:
        return key(name) in self._spelling

    def __iter__(self) -> Iterator[str]:
        return iter(self._spelling.values())

    def __len__(self) -> int:
        return len(self._spelling)

    def advice(self, problems: Problems, name: str, otherwise: str = "") -> str:
        return problems.advice(name, tuple(self._spelling.values()), otherwise)


def printable(faults: Sequence[Fault]) -> str:
    """One line for each kind of fault: the first in full, then the rows that have the same."""
    groups: dict[tuple[str, str, str], list[Fault]] = {}
    for fault in faults:
        kind = (fault.file, fault.column, _PARTICULAR.sub("#", fault.write))
        groups.setdefault(kind, []).append(fault)
    lines = []
    for same in groups.values():
        rows = [f.row for f in same[1:] if f.row is not None]
        grouped = groupby(enumerate(sorted(set(rows))), lambda at: at[1] - at[0])
        runs = [[row for _, row in run] for _, run in grouped]
        words = [str(run[0]) if len(run) == 1 else f"{run[0]}-{run[-1]}" for run in runs[:8]]
        numbers = ", ".join(words) + (", ..." if len(runs) > 8 else "")
        more = f" (the same in {len(rows)} more: row {numbers})" if rows else ""
        lines.append(f"{same[0]}{more}")
    if len(lines) > PRINTED:
        left = len(lines) - PRINTED
        lines = [*lines[:PRINTED], f"... and {left} more kinds of fault: mend these first"]
    return "\n".join(lines)
