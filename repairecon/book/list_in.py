"""The rows of an owner's own list, held against the book: what each would do, and what is wrong with it."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from repairecon.book import sheet, stock, things
from repairecon.book.ledger import Ledger
from repairecon.book.sheet import Cell, guess_columns
from repairecon.read.problems import SURE, Names, Problems, closest, key, shown
from repairecon.read.values import Misread

_FIELDS = tuple(sheet.WORDS)
_DIGITS = re.compile("[0-9]+")


@dataclass(frozen=True)
class ImportLine:
    """What a row of the list would do: a new card or changes to one, and the stock of a place against the book.

    ``in_book`` is None for an item that the book has no card of.
    """

    row: int
    item: str
    new: bool
    changes: Mapping[str, Any]
    locker: str
    in_book: Decimal | None
    quantity: Decimal | None
    told: Mapping[str, Any] = field(repr=False, default_factory=dict)

    @property
    def difference(self) -> Decimal:
        """What the list has there beyond the book."""
        return Decimal(0) if self.quantity is None else self.quantity - (self.in_book or Decimal(0))


class ListReader:
    """One look at one list."""

    def __init__(self, ledger: Ledger, problems: Problems, file: str) -> None:
        self.problems, self._file, self._ledger = problems, file, ledger
        self._items = {key(i.name): i for i in things.items(ledger).values()}
        self._lockers = Names(things.names(ledger, "locker").values())
        self._units = Names(things.names(ledger, "unit").values())
        self.new_lockers, self.new_units = Names(), Names()
        self._seen: dict[tuple[str, str], int] = {}
        self._new: dict[str, Mapping[str, Any]] = {}

    def _fault(self, row: int | None, column: str, found: str, write: str) -> None:
        self.problems.add(self._file, row, column, found, write)

    def columns(self, headings: Sequence[object], told: Mapping[str, str] | None) -> dict[str, int]:
        """The place of each field in a row."""
        places = {key(str(h)): k for k, h in reversed(list(enumerate(headings)))}
        taken: dict[str, int] = {}
        for name, heading in (guess_columns(headings) if told is None else told).items():
            if name not in _FIELDS:
                self._fault(None, name, "an unknown field", self.problems.advice(name, _FIELDS))
            elif key(heading) not in places:
                listed = [str(h) for h in headings]
                self._fault(None, name, f"no heading {shown(heading)}", self.problems.advice(heading, listed))
            else:
                taken[name] = places[key(heading)]
        if "name" not in taken:
            self._fault(None, "name", "no column", "say which heading holds the names of the items")
        return taken

    def line(self, row: int, taken: Mapping[str, int], cells: Sequence[Cell | object]) -> dict[str, Any]:
        """The fields of a row that say something, faults noted."""
        told: dict[str, Any] = {"row": row}
        for name, place in taken.items():
            value = sheet.read_cell(name, cells[place] if place < len(cells) else None)
            if isinstance(value, Misread):
                self._fault(row, name, shown(sheet.as_text(cells[place])), value.write)
                told.setdefault("bad", []).append(name)
            elif value != "":
                told[name] = value
        if "name" in taken and "name" not in told and "name" not in told.get("bad", ()):
            self._fault(row, "name", "nothing", "name the item")
        return told

    def placed(self, told: dict[str, Any], locker: str) -> ImportLine | None:
        """What a row would do; None if it cannot be said."""
        if "name" not in told:
            return None
        row, name = told["row"], told["name"]
        known = self._items.get(key(name))
        place = told.get("locker") or (known.locker if known else "") or locker
        if "quantity" in told and not place:
            self._fault(row, "locker", "nothing", "name the locker, or say where things without one lie")
            return None
        place = self._place(row, "locker", place, self._lockers, self.new_lockers) if place else ""
        units = [
            self._place(row, "units", u, self._units, self.new_units)
            for u in told.get("units", "").split(";")
            if u.strip()
        ]
        if units:
            told["units"] = tuple(units)
        if place and ("locker" in told or known is None):
            told["locker"] = place
        self._check_pieces(told, known.measure if known else told.get("measure", "piece"))
        here = (key(name), key(place))
        if here in self._seen:
            self._fault(row, "name", f"{shown(name)} again", f"make one row of it and row {self._seen[here]}")
            return None
        self._seen[here] = row
        card = {n: v for n, v in told.items() if n in things.COLUMNS and n != "name"}
        first = known is None and key(name) not in self._new
        if first:
            self._new[key(name)] = card
        elif known is None:
            card = {}  # a further place of an item that a row above describes
        elif known is not None and known.locker:
            card.pop("locker", None)  # a further place of an item does not become its own
        changes = card if known is None else {n: v for n, v in card.items() if _differs(getattr(known, n), v)}
        amount = Decimal(told["quantity"]) if "quantity" in told else None
        in_book = self._lies(known.number, place) if known else None
        return ImportLine(row, known.name if known else name, first, changes, place, in_book, amount, told)

    def _lies(self, item: int, place: str) -> Decimal:
        there = (s.quantity for s in stock.lines(self._ledger, item) if key(s.locker) == key(place))
        return next(there, Decimal(0))

    def _check_pieces(self, told: Mapping[str, Any], measure: str) -> None:
        for name in ("quantity", "minimum"):
            if measure == "piece" and name in told and Decimal(told[name]) % 1:
                self._fault(
                    told["row"], name, shown(told[name]), "write a whole number, or the measure: litre, metre, kilogram"
                )

    def _place(self, row: int, column: str, name: str, known: Names, new: Names) -> str:
        """A locker or unit as the book spells it; one that only looks like a known one is a fault."""
        found = known.find(name) or new.find(name)
        if found:
            return found
        line = " ".join(name.split())
        alike = [n for n in (*known, *new) if _DIGITS.findall(n) == _DIGITS.findall(line)]  # "locker 2" is another
        near = closest(line, alike, SURE) if len(line) > 3 else ""
        if near:
            self._fault(row, column, shown(line), f"did you mean {shown(near)}? (else give it a name less like it)")
            return near
        new.add(line)
        return line


def _differs(now: object, told: object) -> bool:
    if isinstance(now, Decimal):
        return now != Decimal(str(told))
    return now != told
