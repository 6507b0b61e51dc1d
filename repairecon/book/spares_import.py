"""An owner's own list of spares into the book: looked at first, then written whole or not at all.

A list is a line of headings and rows of text, numbers and dates, from whatever file they were read.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from repairecon.book import cards, counting, receiving, sheet, things
from repairecon.book.list_in import ImportLine, ListReader
from repairecon.book.sheet import Cell, guess_columns
from repairecon.book.spares_book import SparesBook
from repairecon.read.problems import Problems
from repairecon.records import CaseError, Fault, ReceiveLine

__all__ = ["ImportLine", "ImportPlan", "guess_columns", "plan_import", "write_import"]


@dataclass(frozen=True)
class ImportPlan:
    """A look at a list before anything is written: what it would add and change, and what is wrong with it."""

    columns: Mapping[str, str]
    left_out: tuple[str, ...]
    lines: tuple[ImportLine, ...]
    new_lockers: tuple[str, ...]
    new_units: tuple[str, ...]
    faults: tuple[Fault, ...]

    @property
    def new_items(self) -> tuple[str, ...]:
        """Names that the book has no card of yet."""
        return tuple(dict.fromkeys(line.item for line in self.lines if line.new))


def plan_import(
    book: SparesBook,
    headings: Sequence[object],
    rows: Sequence[Sequence[Cell | object]],
    columns: Mapping[str, str] | None = None,
    locker: str = "",
    file: str = "list",
    first_row: int = 2,
) -> ImportPlan:
    """Look at an owner's list; nothing is written.

    Parameters
    ----------
    book
        The book that it is to go into.
    headings, rows
        The list: its headings, and its rows of text, numbers and dates.
    columns
        Heading of each field (name, quantity, locker, ...); by default guessed, see ``guess_columns``.
    locker
        Where things lie whose row names no locker.
    file, first_row
        What to call the list in faults, and the number of its first row.
    """
    reader = ListReader(book.ledger, Problems(), file)
    taken = reader.columns(headings, columns)
    lines = [reader.line(first_row + k, taken, row) for k, row in enumerate(rows) if any(map(sheet.as_text, row))]
    whole = [made for told in lines if (made := reader.placed(told, locker)) is not None]
    used = set(taken.values())
    left_out = tuple(str(h) for k, h in enumerate(headings) if k not in used and sheet.as_text(h))
    named = {name: str(headings[k]) for name, k in taken.items()}
    return ImportPlan(
        named, left_out, tuple(whole), tuple(reader.new_lockers), tuple(reader.new_units), reader.problems.faults
    )


def write_import(book: SparesBook, plan: ImportPlan, date: datetime.date | str | None = None) -> None:
    """Write what a plan says, all of it or nothing.

    New items with a price are written as bought, all other stock as counted: a list that is taken in twice changes
    nothing the second time.

    Raises
    ------
    CaseError
        With every fault of the list, if it has any.
    """
    if plan.faults:
        raise CaseError(plan.faults)
    ledger = book.ledger
    with ledger.writing():
        for name in plan.new_lockers:
            cards.add(ledger, "locker", {"name": name})
        for name in plan.new_units:
            cards.add(ledger, "unit", {"name": name})
        for line in plan.lines:
            if line.new:
                cards.add(ledger, "item", {"name": line.item, **line.changes})
            elif line.changes:
                cards.change(ledger, "item", things.find(ledger, "item", line.item), line.changes)
        for line in plan.lines:
            _write_stock(book, line, date)


def _write_stock(book: SparesBook, line: ImportLine, date: datetime.date | str | None) -> None:
    if line.quantity is None or not line.difference:
        return
    told, note = line.told, "list taken in"
    if line.in_book is None and "cost_unit" in told:
        bought = ReceiveLine(
            line.item, line.quantity, told.get("supplier", ""), told["cost_unit"], locker=line.locker,
            lot=told.get("lot", ""), cure_date=told.get("cure_date", ""), note=note,
        )  # fmt: skip
        receiving.receive(book.ledger, [bought], told.get("bought_on") or date, "")
    else:
        cure, lot = told.get("cure_date", ""), told.get("lot", "")
        counting.count(book.ledger, line.locker, {line.item: line.quantity}, False, date, note, True, cure, lot)
