"""A sheet to count by, locker by locker, and the counts that come back on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

from repairecon.book.cells import as_meant
from repairecon.book.spares_book import SparesBook
from repairecon.read import values
from repairecon.read.problems import Names, Problems, key, shown
from repairecon.read.sheets import BadCell, Sheet, heading, read_sheet, text_of
from repairecon.read.values import Limits, Misread
from repairecon.records import BookError, Counted, ListError

HEADINGS = ("locker", "place", "item", "designation", "makers_number", "measure", "in_book", "counted", "note")
_NEEDED = ("locker", "item", "counted")
_COUNT = Limits(0.0, 1e6)


@dataclass(frozen=True)
class Reconciled:
    """Counts against the book, and what to know of them."""

    counted: tuple[Counted, ...]
    notes: tuple[str, ...] = ()


def sheet_rows(book: SparesBook, locker: str = "", blind: bool = False) -> list[list[str]]:
    """Rows of the sheet: what lies or belongs in each locker; ``blind`` leaves out the book's figure."""
    items = {i.number: i for i in book.items()}
    places = [k for k in book.lockers() if k.kind != "lent"]
    if locker:
        known = Names(k.name for k in places)
        if locker not in known:
            raise BookError(f"the book has no locker {shown(locker)}: {known.advice(Problems(), locker)}")
        places = [k for k in places if key(k.name) == key(locker)]
    lying = {(s.locker, s.item_number): s.quantity for s in book.stock()}
    rows = []
    for place in places:
        here = [i for i in items.values() if (place.name, i.number) in lying or (i.locker == place.name and i.carried)]
        for card in sorted(here, key=lambda i: i.name.casefold()):
            there = lying.get((place.name, card.number), Decimal(0))
            rows.append([place.name, place.place, card.name, card.designation, card.makers_number, card.measure,
                         "" if blind else str(there), "", ""])  # fmt: skip
    return rows


def reconcile(book: SparesBook, path: Path, write: bool = True, sheet: str = "", note: str = "") -> Reconciled:
    """Hold the counts on a sheet against the book; all are written, or none.

    Raises
    ------
    ListError
        With every fault of the sheet.
    """
    problems = Problems()
    found = _counts(book, read_sheet(path, sheet, HEADINGS), problems)
    if not found and not problems:
        problems.add(path.name, None, "counted", "nothing", "write what was counted into this column")
    problems.stop_if_any(ListError)
    with book.ledger.writing() if write else book.ledger.reading():
        made = [
            c
            for place, counts in found.items()
            for c in book.count(place, {n: q for n, (q, _) in counts.items()}, False, None, note, write)
        ]
    moved = [
        f"{c.item} in {c.locker}: the sheet was printed with {then}, the book says {c.in_book} now: look again"
        for c in made
        if (then := found[c.locker][c.item][1]) is not None and then != c.in_book
    ]
    return Reconciled(tuple(made), tuple(moved))


Counts = dict[str, dict[str, tuple[Decimal, Decimal | None]]]


def _counts(book: SparesBook, sheet: Sheet, problems: Problems) -> Counts:
    numbers = list(sheet.rows)
    first = numbers[0]
    titles = [heading(text_of(c)) for c in sheet.rows[first]]
    for name in _NEEDED:
        if name not in titles:
            problems.add(sheet.file, first, name, "no such column", f"add a column headed '{name}'")
    at = {name: titles.index(name) for name in HEADINGS if name in titles}
    if any(name not in at for name in _NEEDED):
        return {}
    cards = {key(i.name): i for i in book.items()}
    items, lockers = Names(i.name for i in cards.values()), Names(k.name for k in book.lockers())
    made: Counts = {}
    for number in numbers[1:]:
        cells = {n: as_meant(_cell(sheet, number, k, n, problems)) for n, k in at.items()}
        if not cells["counted"]:
            continue
        locker = _named(sheet, number, "locker", cells["locker"], lockers, problems)
        item = _named(sheet, number, "item", cells["item"], items, problems)
        count = _count(sheet, number, cells["counted"], problems)
        if not locker or not item or count is None:
            continue
        if cards[key(item)].measure == "piece" and count % 1:
            problems.add(sheet.file, number, "counted", shown(str(count)), "these come in whole pieces")
        if item in made.setdefault(locker, {}):
            problems.add(sheet.file, number, "item", f"{shown(item)} again in {shown(locker)}", "add the two up")
        then = values.number(cells.get("in_book", ""), _COUNT) if cells.get("in_book") else None
        made[locker][item] = (count, None if then is None or isinstance(then, Misread) else Decimal(values.plain(then)))
    return made


def _cell(sheet: Sheet, row: int, place: int, column: str, problems: Problems) -> str:
    cells: Sequence[object] = sheet.rows[row]
    cell = cells[place] if place < len(cells) else None
    if isinstance(cell, BadCell):
        problems.add(sheet.file, row, column, cell.found, cell.write)
        return ""
    return text_of(cell) if cell is None or isinstance(cell, str | int | float | bool) else str(cell)


def _named(sheet: Sheet, row: int, column: str, word: str, known: Names, problems: Problems) -> str:
    found = known.find(word) if word else ""
    if not found:
        problems.add(sheet.file, row, column, shown(word), known.advice(problems, word) if word else "write its name")
    return found


def _count(sheet: Sheet, row: int, text: str, problems: Problems) -> Decimal | None:
    read = values.number(text, _COUNT)
    if isinstance(read, Misread):
        problems.add(sheet.file, row, "counted", shown(text), read.write)
        return None
    return Decimal(values.plain(read))
