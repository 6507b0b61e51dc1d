"""A sheet of a spreadsheet as plain rows, and what may stand in a cell."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TypeAlias

from repairecon.read.problems import shown

MOST_ROWS = 200_000
"""Rows with something in them; a price list of more is a mistake."""

MOST_COLUMNS = 256
"""Columns that may hold something."""

MOST_EMPTY = 10_000
"""Empty rows together after which a sheet is taken to have ended."""

LAST_ROW = 1_048_576
"""The last row that a sheet of this format can have (ECMA-376 part 1 has no limit; it is that of the programs)."""


@dataclass(frozen=True)
class BadCell:
    """A cell with no value that could be taken: what was found, what to write instead."""

    found: str
    write: str


Cell: TypeAlias = str | int | float | bool | datetime.date | BadCell | None
"""Text is clean and stripped; blank text is None."""


@dataclass(frozen=True)
class Sheet:
    """The rows of one sheet that hold something, by their number from 1; ``notes`` tell how it was read."""

    file: str
    name: str
    rows: Mapping[int, tuple[Cell, ...]]
    notes: tuple[str, ...] = ()


class BadSheet(Exception):
    """A spreadsheet that gives no rows at all: what was found, what to do."""

    def __init__(self, found: str, write: str) -> None:
        self.found, self.write = found, write
        super().__init__(found)


def blank(cell: Cell) -> bool:
    """True if nothing stands there."""
    return cell is None


def text_of(cell: Cell) -> str:
    """The cell as an owner reads it."""
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, datetime.date):
        return cell.isoformat()
    if isinstance(cell, float) and cell == int(cell) and abs(cell) < 1e15:
        return str(int(cell))
    return cell.found if isinstance(cell, BadCell) else str(cell)


def column_letters(index: int) -> str:
    """Letters of a column counted from 0: A, B, ... Z, AA."""
    letters, rest = "", index + 1
    while rest:
        rest, place = divmod(rest - 1, 26)
        letters = chr(ord("A") + place) + letters
    return letters


def column_index(letters: str) -> int:
    """The column, counted from 0, of its letters."""
    index = 0
    for letter in letters:
        index = index * 26 + ord(letter) - ord("A") + 1
    return index - 1


def take(rows: dict[int, tuple[Cell, ...]], number: int, cells: list[Cell]) -> None:
    """Keep a row if it holds something; too many rows or columns stop the reading."""
    while cells and blank(cells[-1]):
        cells.pop()
    if not cells:
        return
    if len(cells) > MOST_COLUMNS:
        where = f"{column_letters(len(cells) - 1)}{number}"
        raise BadSheet(
            f"something as far out as cell {where}",
            f"keep a list within {MOST_COLUMNS} columns: clear what lies beyond",
        )
    if len(rows) >= MOST_ROWS:
        raise BadSheet(f"more than {MOST_ROWS} rows", "cut the list down to what you may buy")
    rows[number] = tuple(cells)


def choose(names: list[str], hidden: list[str], wanted: str) -> str:
    """The sheet to read: the one named, or the only one that is not hidden."""
    everything = [*names, *hidden]
    if wanted:
        same = [n for n in everything if n.casefold() == wanted.casefold()]
        if not same:
            known = ", ".join(shown(n) for n in everything[:12])
            raise BadSheet(f"no sheet {shown(wanted)}", f"name one of: {known}")
        return same[0]
    if len(names) != 1:
        if not names:
            raise BadSheet("no sheet that is not hidden", "name the sheet")
        known = ", ".join(shown(n) for n in names[:12])
        raise BadSheet(f"{len(names)} sheets", f"say which: {known}")
    return names[0]
