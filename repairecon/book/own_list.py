"""An owner's own list of spares into the book: looked at first, then written whole or not at all; a boat from lists."""

from __future__ import annotations

import contextlib
import csv
import os
import re
import tempfile
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from functools import partial
from pathlib import Path
from typing import Any

from repairecon import records
from repairecon.book.cards import READERS
from repairecon.book.lists import read_by
from repairecon.book.schema import CARDS, MONEY, QUANTITY, Scale, month_or_day, typed, words
from repairecon.book.spares_book import SparesBook, begin_book
from repairecon.read import values
from repairecon.read.boat import BOOK
from repairecon.read.columns import Column, Headings
from repairecon.read.lists_of_others import find_headings, known_columns, meant_headings, read_units_list
from repairecon.read.problems import SURE, Names, Problems, closest, key, shown
from repairecon.read.sheets import Sheet, read_sheet
from repairecon.read.starter import empty_folder, new_boat
from repairecon.read.tables import Row, list_table
from repairecon.read.values import Misread, text_of
from repairecon.records import BookError, CaseError, ReceiveLine

_ROWS = csv.DictReader((Path(__file__).parent / "own_list_headings.csv").read_text("utf-8").splitlines())
WORDS: Mapping[str, list[str]] = {row["field"]: row["headings"].split(",") for row in _ROWS}
"""Fields of a list with the headings that surely mean them; common practice of owners' lists, no source."""

_DIGITS = re.compile("[0-9]+")


@dataclass(frozen=True, kw_only=True)
class ImportLine:
    """What a row would do: a new card or changes to one, and the stock of a place against the book (None: no card)."""

    row: int
    item: str
    new: bool
    changes: Mapping[str, Any]
    locker: str
    in_book: Decimal | None
    quantity: Decimal | None
    cells: Mapping[str, Any] = field(repr=False, default_factory=dict)

    @property
    def difference(self) -> Decimal:
        """What the list has there beyond the book."""
        return Decimal(0) if self.quantity is None else self.quantity - (self.in_book or Decimal(0))

    @property
    def empties(self) -> bool:
        """True where the list has 0 of what the book has: often a blank that a spreadsheet filled up."""
        return self.quantity == 0 and bool(self.in_book)


class ImportPlan:
    """A look at a list before anything is written: what it would add and change, and what is wrong with it.

    ``columns`` has the field by its heading (by default guessed), ``locker`` is that of rows which name none.
    """

    def __init__(
        self, book: SparesBook, source: Path | Sheet, columns: Mapping[str, str] | None = None, locker: str = "",
        sheet: str = "",
    ) -> None:  # fmt: skip
        found = read_sheet(source, sheet) if isinstance(source, Path) else source
        self.problems, self._book = Problems(), book
        self._items = {key(i.name): i for i in book.items()}
        self._lockers = Names(book.names("locker").values())
        self._units = Names(book.names("unit").values())
        self._lying = {(s.item_number, key(s.locker)): s.quantity for s in book.stock()}
        self.new_lockers, self.new_units = Names(), Names()
        self._seen: dict[tuple[str, str], int] = {}
        self._new = Names()
        if columns is None:
            head, self._at = meant_headings(found, WORDS)
        else:
            known = known_columns(columns, found.file, self.problems, tuple(WORDS), {"item": "name"})
            head, self._at = find_headings(found, known, self.problems)
        if "name" not in self._at:
            self.problems.add(found.file, None, "name", "no column", "say which heading holds the names of the items")
        headings = [text_of(cell) for cell in found.rows[head]]
        self.columns = {name: headings[k] for name, k in self._at.items()}
        self.left_out = tuple(h for k, h in enumerate(headings) if k not in self._at.values() and h)
        rows = list_table(found, _LIST, self.problems, self._at, head).rows
        self.lines = [line for row in rows if (line := self._line(row, locker))]

    @property
    def new_items(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(line.item for line in self.lines if line.new))

    def _line(self, row: Row, locker: str) -> ImportLine | None:
        filled = [name for name in self._at if row.text(name)]
        read = {name: read_by(row, name, _READERS.get(name) or partial(words, what=name)) for name in filled}
        cells: dict[str, Any] = {name: value for name, value in read.items() if value not in (None, "")}
        name = cells.get("name", "")
        known = self._items.get(key(name))
        place = cells.get("locker") or (known.locker if known else "") or locker
        homeless = "quantity" in cells and not place
        row.check(
            ("name" in self._at and "name" not in filled, "name", "nothing", "name the item"),
            (name and homeless, "locker", "nothing", "name the locker, or say where things without one lie"),
        )
        if not name or homeless:
            return None
        place = self._spell(row, cells, place, known is None)
        first = self._seen.setdefault((key(name), key(place)), row.row)
        if first != row.row:
            row.fault("name", f"{shown(name)} again", f"make one row of it and row {first}")
            return None
        return ImportLine(
            row=row.row, item=known.name if known else name, new=known is None and name not in self._new,
            changes=self._changes(row, cells, name), locker=place,
            in_book=self._lying.get((known.number, key(place)), Decimal(0)) if known else None,
            quantity=Decimal(cells["quantity"]) if "quantity" in cells else None, cells=cells,
        )  # fmt: skip

    def _spell(self, row: Row, cells: dict[str, Any], place: str, new: bool) -> str:
        """Write the lockers and units of a row as the book spells them; gives where the item lies."""
        if place:
            place = self._named(row, "locker", place, self._lockers, self.new_lockers)
            cells |= {"locker": place} if new or "locker" in cells else {}
        if "units" in cells:
            named = values.listed(cells["units"])
            cells["units"] = tuple(self._named(row, "units", u, self._units, self.new_units) for u in named)
        return place

    def _changes(self, row: Row, cells: Mapping[str, Any], name: str) -> dict[str, Any]:
        """What the card would say otherwise; a further place of an item changes nothing on it."""
        known = self._items.get(key(name))
        if (known.measure if known else cells.get("measure", "piece")) == "piece":
            for count in (c for c in ("quantity", "minimum") if Decimal(cells.get(c, 0)) % 1):
                row.fault(count, shown(cells[count]), "write a whole number, or the measure: litre, metre, kilogram")
        card = {n: v for n, v in cells.items() if n in CARDS["item"] and n != "name"}
        if known is None:
            return card if self._new.add(name) else {}
        if known.locker:
            card.pop("locker", None)
        try:
            self._book.refuse_other_part(known, card.get("designation", ""), card.get("material", known.material))
        except BookError as error:
            row.fault("designation", shown(card["designation"]), str(error))
        if known.designation:
            card.pop("designation", None)  # the same size in other letters is no change
        now = {n: getattr(known, n) for n in card}
        return {n: v for n, v in card.items() if now[n] != (Decimal(str(v)) if isinstance(now[n], Decimal) else v)}

    def _named(self, row: Row, column: str, name: str, known: Names, new: Names) -> str:
        """A locker or unit as the book spells it; one that only looks like a known one is a fault."""
        found = known.find(name) or new.find(name)
        if found:
            return found
        line = " ".join(name.split())
        alike = [n for n in (*known, *new) if _DIGITS.findall(n) == _DIGITS.findall(line)]  # "locker 2" is another
        if near := closest(line, alike, SURE) if len(line) > 3 else "":
            row.fault(column, shown(line), f"did you mean {shown(near)}? (else give it a name less like it)")
            return near
        new.add(line)
        return line


def write_import(book: SparesBook, plan: ImportPlan, take_zeros: bool = False) -> None:
    """Write what a plan says, all of it or nothing; CaseError with every fault of the list, if it has any.

    A quantity of 0 leaves the stock of the book as it is, unless ``take_zeros``. New items with a price are bought, all
    other stock is counted: a list that is taken in twice changes nothing the second time.
    """
    plan.problems.stop_if_any()
    with book.ledger.writing():
        for name in plan.new_lockers:
            book.add_locker(name)
        for name in plan.new_units:
            book.add_unit(name)
        for line in (line for line in plan.lines if line.new or line.changes):
            book.write_card("item", line.item, **line.changes)
        for line in plan.lines:
            if not line.difference or (line.empties and not take_zeros):
                continue
            cells, many = line.cells, line.quantity or Decimal(0)
            marks = {"note": "list taken in", "cure_date": cells.get("cure_date", ""), "lot": cells.get("lot", "")}
            if line.in_book is None and "cost_unit" in cells:
                supplier, cost = cells.get("supplier", ""), cells["cost_unit"]
                bought = ReceiveLine(line.item, many, supplier, cost, locker=line.locker, **marks)
                book.receive([bought], cells.get("bought_on"))
            else:
                book.count(line.locker, {line.item: many}, **marks)


def _exact(scale: Scale) -> Callable[[str], str | Misread]:
    return lambda text: found if isinstance(found := typed(text, scale), Misread) else text


_AS = {"bought_on": "date", **dict.fromkeys(
    ("quantity", "minimum", "cost_unit", "weight_kg", "volume_litres", "resale_rate"), "number"
)}  # fmt: skip
"""Fields that a list may hold with a decimal comma, or as day.month.year."""
_LIST = Headings(tuple(WORDS), (), {n: Column(name=n, type=of) for n, of in _AS.items()})
_READERS: Mapping[str, Callable[[str], Any]] = {
    **{name: reader for (sort, name), reader in READERS.items() if sort == "item"},
    "quantity": _exact(QUANTITY), "minimum": _exact(QUANTITY), "cost_unit": _exact(MONEY),
    "bought_on": values.date, "cure_date": month_or_day,
}  # fmt: skip
LOCKER = "aboard"  # where spares lie whose row names no locker
Taken = tuple[str, int, tuple[str, ...]]


def boat_from_lists(
    folder: str | os.PathLike[str], name: str = "", currency: str = "", *, units: Path | None = None,
    spares: Path | None = None,
) -> tuple[Taken, ...]:  # fmt: skip
    """Write a boat's folder (new or empty) with her spares book, out of lists under whatever headings.

    Of each list its name, the rows taken, and the headings of which nothing was taken. RepaireconError if something is
    there already or cannot be written; SheetError with every fault of both lists. Nothing is written then.
    """
    target, problems = empty_folder(folder), Problems()
    taken, data = list[Taken](), b""
    if units:
        with _noted(problems):
            data, many, left_out = read_units_list(units)
            taken.append((units.name, many, left_out))
    home = next(p for p in target.absolute().parents if p.is_dir())
    try:
        with tempfile.TemporaryDirectory(prefix=".new-boat-", dir=home) as place:
            made = Path(place) / "boat"
            money = new_boat(made, name, currency, data)
            with begin_book(made / BOOK, money) as book, _noted(problems):
                if name:
                    book.say("boat", name)
                if spares:
                    plan = ImportPlan(book, spares, locker=LOCKER)
                    write_import(book, plan)
                    taken.append((spares.name, len(plan.lines), plan.left_out))
            problems.stop_if_any(records.SheetError)
            target.parent.mkdir(parents=True, exist_ok=True)
            made.rename(target)
    except OSError as error:
        said = f"{shown(str(target))} could not be written: {error.strerror or error}; nothing was written"
        raise records.RepaireconError(said) from error
    return tuple(taken)


@contextlib.contextmanager
def _noted(problems: Problems) -> Iterator[None]:
    try:
        yield
    except CaseError as error:
        for f in error.faults:
            problems.add(f.file, f.row, f.column, f.found, f.write)
