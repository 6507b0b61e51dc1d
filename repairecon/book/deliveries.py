"""A delivery as a file: a list of what came, or the order that was sent (see ``orders.py``), to lines for the book."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path

from repairecon.book.amounts import month_or_day
from repairecon.book.cells import as_meant
from repairecon.book.spares_book import SparesBook
from repairecon.read import values
from repairecon.read.orders import LANDED
from repairecon.read.problems import Names, Problems, key, shown
from repairecon.read.sheets import BadCell, Sheet, heading, read_sheet, text_of
from repairecon.read.values import Limits, Misread
from repairecon.records import BookError, Happened, ListError, ReceiveLine

DELIVERY = ("item", "quantity", "supplier", "cost_unit", "currency", "rate", "quoted_unit", "locker", "lot",
            "cure_date", "note")  # fmt: skip
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
    """Read a delivery.

    Parameters
    ----------
    book
        The book that it is for; nothing is written.
    path
        A list (item, quantity, and as far as known supplier, cost_unit, currency, rate, quoted_unit, locker, lot,
        cure_date, note), or an order as it was sent: its landed total is then shared among its lines by their price.
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
    read = _Read(book, problems, read_sheet(path, sheet, (*DELIVERY, *_ORDER)), supplier, locker, new_items)
    lines = read.order(path) if "quoted_line" in read.at else read.delivery()
    if not lines and not problems:
        problems.add(path.name, None, "", "no line", "write what came, a row an item")
    problems.stop_if_any(ListError)
    return Delivery(path.name, tuple(lines), tuple(read.unknown), read.designations)


def receive_delivery(
    book: SparesBook, delivery: Delivery, date: str | None = None, again: bool = False
) -> tuple[Happened, ...]:
    """Write a delivery, all of it or nothing; the same file a second time only when told so.

    Raises
    ------
    BookError
        If a file of this name was received before, or a line cannot be written.
    """
    before = [m for m in book.movements() if m.kind == "bought" and m.reference == delivery.file and not m.undone_by]
    if before and not again:
        raise BookError(
            f"{shown(delivery.file)} was received on {before[0].on_date} already (movement {before[0].number}): undo "
            "that, or say that it came again; nothing was written"
        )
    with book.ledger.writing():
        for name in delivery.new_items:
            told = {"designation": delivery.designations[name]} if delivery.designations.get(name) else {}
            book.add_item(name, **told)
        return book.receive(delivery.lines, date, delivery.file)


class _Read:
    """One look at one file."""

    def __init__(
        self, book: SparesBook, problems: Problems, sheet: Sheet, supplier: str, locker: str, new_items: bool
    ) -> None:  # fmt: skip
        self.book, self.problems, self.sheet, self.supplier, self.locker = book, problems, sheet, supplier, locker
        self.new_items = new_items
        first = next(iter(sheet.rows))
        titles = [heading(text_of(c)) for c in sheet.rows[first]]
        self.at = {name: titles.index(name) for name in dict.fromkeys((*DELIVERY, *_ORDER)) if name in titles}
        self.rows = [n for n in sheet.rows if n != first]
        cards = book.items()
        self.items, self.lockers = Names(i.name for i in cards), Names(k.name for k in book.lockers())
        self.home = {key(i.name): i.locker for i in cards}
        self.unknown: list[str] = []
        self.designations: dict[str, str] = {}
        for name in ("item", "quantity") if "quoted_line" not in self.at else ("item", "packs", "pieces"):
            if name not in self.at:
                problems.add(sheet.file, first, name, "no such column", f"add a column headed '{name}'")

    def _fault(self, row: int, column: str, found: str, write: str) -> None:
        self.problems.add(self.sheet.file, row, column, found, write)

    def _text(self, row: int, column: str) -> str:
        place, cells = self.at.get(column), self.sheet.rows[row]
        cell = None if place is None or place >= len(cells) else cells[place]
        if isinstance(cell, BadCell):
            self._fault(row, column, cell.found, cell.write)
            return ""
        return as_meant(text_of(cell))

    def _number(self, row: int, column: str, limits: Limits) -> Decimal | None:
        text = self._text(row, column)
        if not text:
            return None
        read = values.number(text, limits)
        if isinstance(read, Misread):
            self._fault(row, column, shown(text), read.write)
            return None
        return Decimal(values.plain(read))

    def _item(self, row: int) -> str:
        name = self._text(row, "item")
        if not name:
            self._fault(row, "item", "nothing", "name the item")
            return ""
        try:
            return self.book.item(name).name
        except BookError as error:
            if self.new_items and name not in self.unknown:
                self.unknown.append(name)
            elif not self.new_items:
                self._fault(row, "item", shown(name), f"{str(error).split(': ', 1)[-1]} (or take new items)")
            self.designations[name] = self._text(row, "designation")
            return name

    def _locker(self, row: int, item: str) -> str:
        told = self._text(row, "locker")
        if told and told not in self.lockers:
            self._fault(row, "locker", shown(told), self.lockers.advice(self.problems, told))
        if not told and not self.home.get(key(item)) and not self.locker:
            self._fault(row, "locker", "nothing", "name the locker that it goes into")
        return self.lockers.find(told) if told else "" if self.home.get(key(item)) else self.locker

    def delivery(self) -> list[ReceiveLine]:
        """Lines of an owner's own list."""
        made = []
        for row in self.rows if {"item", "quantity"} <= set(self.at) else []:
            item, quantity = self._item(row), self._number(row, "quantity", _MANY)
            if quantity is None and not self._text(row, "quantity"):
                self._fault(row, "quantity", "nothing", "write how many came")
            money = {n: self._number(row, n, _MONEY) for n in ("cost_unit", "rate", "quoted_unit")}
            cured = self._text(row, "cure_date")
            try:
                cured = month_or_day(cured)
            except BookError as error:
                self._fault(row, "cure_date", shown(cured), str(error).split("; ")[-1])
            locker = self._locker(row, item) if item else ""
            made.append(ReceiveLine(
                item, quantity or 1, self._text(row, "supplier") or self.supplier, money["cost_unit"],
                self._text(row, "currency"), money["rate"], money["quoted_unit"], locker, self._text(row, "lot"),
                cured, self._text(row, "note"),
            ))  # fmt: skip
        return made

    def order(self, path: Path) -> list[ReceiveLine]:
        """Lines of an order as sent; its landed total shared by what the supplier asks for each."""
        landed: Decimal | None = None
        listed: list[tuple[int, str, Decimal, Decimal]] = []
        for row in self.rows if {"item", "packs", "pieces"} <= set(self.at) else []:
            if self._text(row, "packs"):
                pieces, line = self._number(row, "pieces", _MANY), self._number(row, "quoted_line", _MONEY)
                item = self._item(row)
                if pieces is not None and line is not None:
                    listed.append((row, item, pieces, line))
            elif self._text(row, "item") == LANDED:
                landed = self._number(row, "quoted_line", _MONEY)
        goods = sum((line for _, _, _, line in listed), Decimal(0))
        if listed and landed is None:
            self._fault(listed[-1][0], "item", "no row for the landed total", f"keep the row headed '{LANDED}'")
        sender = self.supplier or _sender(path, self.sheet.name)
        made = []
        for row, item, pieces, line in listed:
            share = (landed or Decimal(0)) * (line / goods if goods else Decimal(1) / len(listed))
            made.append(ReceiveLine(
                item, pieces, sender, share / pieces, self._text(row, "currency"), None, line / pieces,
                self._locker(row, item) if item else "",
            ))  # fmt: skip
        return made


def _sender(path: Path, sheet: str) -> str:
    """The supplier by the name of the sheet or of the file."""
    named = _NAMED.match(path.name)
    return sheet or (named[1].replace("_", " ") if named else "")
