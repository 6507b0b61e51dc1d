"""A delivery as a file: a list of what came, or the order as it was sent, to lines for the book."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path

from repairecon.book.amounts import When, as_meant, month_or_day
from repairecon.book.spares_book import SparesBook
from repairecon.read import values
from repairecon.read.orders import LANDED
from repairecon.read.problems import Names, Problems, key, shown
from repairecon.read.sheets import BadCell, Sheet, heading, read_sheet, text_of
from repairecon.read.values import Limits, Misread
from repairecon.records import BookError, Happened, ListError, ReceiveLine

DELIVERY = ("item", "quantity", "designation", "supplier", "cost_unit", "currency", "rate", "quoted_unit", "locker",
            "lot", "cure_date", "note")  # fmt: skip
_ORDER = ("item", "packs", "pieces_a_pack", "pieces", "quoted_a_pack", "quoted_line", "currency", "designation")
_NAMED = re.compile(r"order_(.+?)(?:_\d+)?\.csv$", re.IGNORECASE)
_MONEY = Limits(0.0, 1e9)
_MANY = Limits(0.0, 1e6, above=True)


@dataclass(frozen=True)
class Delivery:
    """What came, as the book takes it; ``new_items`` have no card in the book yet."""

    file: str
    lines: tuple[ReceiveLine, ...]
    new_items: tuple[str, ...] = ()
    designations: Mapping[str, str] = field(default_factory=dict)


def read_delivery(
    book: SparesBook, path: Path, supplier: str = "", locker: str = "", sheet: str = "", new_items: bool = False
) -> Delivery:
    """Read a delivery; nothing is written.

    Parameters
    ----------
    book
        The book that it is for.
    path
        A list (item, quantity, and as far as known supplier, cost_unit, currency, rate, quoted_unit, designation,
        locker, lot, cure_date, note), or an order as it was sent: its landed total is then shared among its lines by
        their price.
    supplier, locker
        Who sent it, where things go that have no locker of their own.
    sheet
        Sheet of a workbook.
    new_items
        True to take items that the book has no card of; else they are faults.

    Raises
    ------
    ListError
        With every fault of the file.
    """
    problems = Problems()
    columns = SheetColumns(read_sheet(path, sheet, (*DELIVERY, *_ORDER)), problems)
    reader = _Reader(book, columns, locker, new_items)
    if "quoted_line" in columns.at:
        lines = reader.order(supplier or _sender(path, columns.sheet.name))
    else:
        lines = reader.delivery(supplier)
    if not lines and not problems:
        problems.add(path.name, None, "", "no line", "write what came, a row an item")
    problems.stop_if_any(ListError)
    return Delivery(path.name, tuple(lines), tuple(reader.unknown), reader.designations)


def receive_delivery(
    book: SparesBook, delivery: Delivery, date: When = None, again: bool = False
) -> tuple[Happened, ...]:
    """Write a delivery, all of it or nothing; the same file a second time only if ``again``, else a BookError."""
    before = [m for m in book.movements() if m.kind == "bought" and m.reference == delivery.file and not m.undone_by]
    if before and not again:
        raise BookError(
            f"{shown(delivery.file)} was received on {before[0].on_date} already (movement {before[0].number}): undo "
            "that, or say that it came again; nothing was written"
        )
    with book.ledger.writing():
        for name in delivery.new_items:
            book.add_item(name, designation=delivery.designations.get(name, ""))
        return book.receive(delivery.lines, date, delivery.file)


class SheetColumns:
    """The cells of a sheet by heading, whatever the case of the headings, read with faults noted."""

    def __init__(self, sheet: Sheet, problems: Problems) -> None:
        self.sheet, self.problems = sheet, problems
        self.first, *self.rows = sheet.rows
        titles = [heading(text_of(c)) for c in sheet.rows[self.first]]
        self.at = {name: k for k, name in reversed(list(enumerate(titles))) if name}

    def require(self, *names: str) -> bool:
        """True if all these columns are there."""
        for name in names:
            if name not in self.at:
                self.problems.add(self.sheet.file, self.first, name, "no such column", f"add a column headed '{name}'")
        return all(name in self.at for name in names)

    def fault(self, row: int, column: str, found: str, write: str) -> None:
        """Note a fault."""
        self.problems.add(self.sheet.file, row, column, found, write)

    def text(self, row: int, column: str) -> str:
        """A cell as text."""
        place, cells = self.at.get(column), self.sheet.rows[row]
        cell = None if place is None or place >= len(cells) else cells[place]
        if isinstance(cell, BadCell):
            self.fault(row, column, cell.found, cell.write)
            return ""
        return as_meant(text_of(cell))

    def number(self, row: int, column: str, limits: Limits) -> Decimal | None:
        """A cell as a number, None where it is blank or none."""
        text = self.text(row, column)
        read = values.number(text, limits) if text else None
        if isinstance(read, Misread):
            self.fault(row, column, shown(text), read.write)
            return None
        return None if read is None else Decimal(values.plain(read))

    def named(self, row: int, column: str, known: Names) -> str:
        """A cell that must name something known."""
        word = self.text(row, column)
        found = known.find(word) if word else ""
        if not found:
            advice = known.advice(self.problems, word) if word else "write its name"
            self.fault(row, column, shown(word), advice)
        return found


class _Reader:
    """One look at one file."""

    def __init__(self, book: SparesBook, columns: SheetColumns, locker: str, new_items: bool) -> None:
        self.book, self.columns, self._locker, self._new_items = book, columns, locker, new_items
        self._lockers = Names(k.name for k in book.lockers())
        self._home = {key(i.name): i.locker for i in book.items()}
        self.unknown: list[str] = []
        self.designations: dict[str, str] = {}

    def _item(self, row: int) -> str:
        name = self.columns.text(row, "item")
        if not name:
            self.columns.fault(row, "item", "nothing", "name the item")
            return ""
        try:
            card = self.book.item(name)
        except BookError as error:
            if self._new_items and name not in self.unknown:
                self.unknown.append(name)
            elif not self._new_items:
                advice = f"{str(error).split(': ', 1)[-1]} (or take new items)"
                self.columns.fault(row, "item", shown(name), advice)
            self.designations[name] = self.columns.text(row, "designation")
            return name
        said = self.columns.text(row, "designation")
        try:
            self.book.refuse_other_part(card, said)
        except BookError as error:
            self.columns.fault(row, "designation", shown(said), str(error))
        return card.name

    def _into(self, row: int, item: str) -> str:
        """The locker that a line goes into, empty where it is the item's own."""
        own, named = self._home.get(key(item)), self.columns.text(row, "locker")
        if named:
            return self.columns.named(row, "locker", self._lockers)
        if not own and not self._locker:
            self.columns.fault(row, "locker", "nothing", "name the locker that it goes into")
        return "" if own else self._locker

    def delivery(self, supplier: str) -> list[ReceiveLine]:
        """Lines of an owner's own list."""
        columns, made = self.columns, []
        for row in columns.rows if columns.require("item", "quantity") else []:
            item, quantity = self._item(row), columns.number(row, "quantity", _MANY)
            if quantity is None and not columns.text(row, "quantity"):
                columns.fault(row, "quantity", "nothing", "write how many came")
            cost, rate, quoted = (columns.number(row, n, _MONEY) for n in ("cost_unit", "rate", "quoted_unit"))
            cured = columns.text(row, "cure_date")
            try:
                cured = month_or_day(cured)
            except BookError as error:
                columns.fault(row, "cure_date", shown(cured), str(error).split("; ")[-1])
            currency, lot, note = (columns.text(row, name) for name in ("currency", "lot", "note"))
            made.append(ReceiveLine(
                item, quantity or 1, columns.text(row, "supplier") or supplier, cost, currency=currency, rate=rate,
                quoted_unit=quoted, locker=self._into(row, item) if item else "", lot=lot, cure_date=cured, note=note,
            ))  # fmt: skip
        return made

    def order(self, supplier: str) -> list[ReceiveLine]:
        """Lines of an order as sent; its landed total shared by what the supplier asks for each."""
        columns = self.columns
        landed: Decimal | None = None
        listed: list[tuple[int, str, Decimal, Decimal]] = []
        for row in columns.rows if columns.require("item", "packs", "pieces") else []:
            if columns.text(row, "packs"):
                pieces, line = columns.number(row, "pieces", _MANY), columns.number(row, "quoted_line", _MONEY)
                item = self._item(row)
                if pieces is not None and line is not None:
                    listed.append((row, item, pieces, line))
            elif columns.text(row, "item") == LANDED:
                landed = columns.number(row, "quoted_line", _MONEY)
        goods = sum((line for _, _, _, line in listed), Decimal(0))
        if listed and landed is None:
            columns.fault(listed[-1][0], "item", "no row for the landed total", f"keep the row headed '{LANDED}'")
        made = []
        for row, item, pieces, line in listed:
            share = (landed or Decimal(0)) * (line / goods if goods else Decimal(1) / len(listed))
            made.append(ReceiveLine(
                item, pieces, supplier, share / pieces, currency=columns.text(row, "currency"),
                quoted_unit=line / pieces, locker=self._into(row, item) if item else "",
            ))  # fmt: skip
        return made


def _sender(path: Path, sheet: str) -> str:
    """The supplier by the name of the sheet or of the file."""
    named = _NAMED.match(path.name)
    return sheet or (named[1].replace("_", " ") if named else "")
