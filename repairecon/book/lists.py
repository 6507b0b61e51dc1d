"""Lists that come to the book and sheets that leave it: a delivery, an order as it was sent, a sheet to count by."""

from __future__ import annotations

import html
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from itertools import groupby
from pathlib import Path
from typing import Any

from repairecon.book.amounts import When, month_or_day
from repairecon.book.spares_book import SparesBook
from repairecon.read import values
from repairecon.read.files import PAGE, as_meant, check_own, csv_text, write_own
from repairecon.read.orders import LANDED
from repairecon.read.problems import Names, Problems, key, shown
from repairecon.read.sheets import BadCell, Sheet, heading, read_sheet, text_of
from repairecon.read.values import Limits, Misread
from repairecon.records import BookError, Counted, Happened, ListError, ReceiveLine, RepaireconError

DELIVERY = ("item", "quantity", "designation", "supplier", "cost_unit", "currency", "rate", "quoted_unit", "locker",
            "lot", "cure_date", "note")  # fmt: skip
_ORDER = ("item", "packs", "pieces_a_pack", "pieces", "quoted_a_pack", "quoted_line", "currency", "designation")
_COUNT = ("locker", "place", "item", "designation", "makers_number", "measure", "in_book", "counted", "note")
_SENDER = re.compile(r"order_(.+?)(?:_\d+)?\.csv$", re.IGNORECASE)
_MONEY, _SOME, _ANY = Limits(0.0, 1e9), Limits(0.0, 1e6, above=True), Limits(0.0, 1e6)
_TITLE = "Spares to count"
_PAGE = (Path(__file__).parent / "count_sheet.html").read_text("utf-8")


class Columns:
    """The cells of a list by heading, whatever the case of the headings, read with faults noted."""

    def __init__(self, sheet: Sheet, problems: Problems) -> None:
        self.sheet, self.problems = sheet, problems
        first, *self.rows = sheet.rows
        self.headings, self._first = [text_of(c) for c in sheet.rows[first]], first
        self.at = {name: k for k, name in reversed(list(enumerate(map(heading, self.headings)))) if name}

    def require(self, *names: str) -> bool:
        """True if all these columns are there."""
        for name in names:
            if name not in self.at:
                self.fault(self._first, name, "no such column", f"add a column headed '{name}'")
        return all(name in self.at for name in names)

    def fault(self, row: int | None, column: str, found: str, write: str) -> None:
        """Note a fault, under the heading that the owner wrote."""
        theirs = self.headings[self.at[column]] if column in self.at else column
        self.problems.add(self.sheet.file, row, theirs, found, write)

    def text(self, row: int, column: str) -> str:
        """A cell as text."""
        place, cells = self.at.get(column), self.sheet.rows[row]
        cell = None if place is None or place >= len(cells) else cells[place]
        if isinstance(cell, BadCell):
            self.fault(row, column, cell.found, cell.write)
            return ""
        return as_meant(text_of(cell))

    def read(self, row: int, column: str, reader: Callable[[str], Any], blank: Any = "") -> Any:
        """A cell by a reader that gives, or raises, what is wrong; ``blank`` where it is blank or wrong."""
        text = self.text(row, column)
        if not text:
            return blank
        try:
            value = reader(text)
        except BookError as error:
            value = Misread(str(error).split("; ")[-1])
        if not isinstance(value, Misread):
            return value
        self.fault(row, column, shown(text), value.write)
        return blank

    def number(self, row: int, column: str, limits: Limits) -> Decimal | None:
        """A cell as a number, None where it is blank or none."""
        value = self.read(row, column, lambda text: values.number(text, limits), None)
        return None if value is None else Decimal(values.plain(value))

    def named(self, row: int, column: str, known: Names) -> str:
        """A cell that must name something known."""
        word = self.text(row, column)
        found = known.find(word) if word else ""
        if not found:
            advice = known.advice(self.problems, word) if word else "write its name"
            self.fault(row, column, shown(word), advice)
        return found


@dataclass(frozen=True, kw_only=True)
class Delivery:
    """What came, as the book takes it; ``new_items`` have no card in the book yet: designation by name."""

    file: str
    lines: tuple[ReceiveLine, ...]
    new_items: Mapping[str, str] = field(default_factory=dict)


def read_delivery(
    book: SparesBook, path: Path, supplier: str = "", locker: str = "", sheet: str = "", new_items: bool = False
) -> Delivery:
    """Read a delivery; nothing is written. ListError with every fault of the file.

    It is a list (item, quantity, and as far as known the rest of ``DELIVERY``), or an order as it was sent: its landed
    total is then shared among its lines by their price. ``supplier`` sent it, ``locker`` is for things that have none
    of their own; without ``new_items`` those that the book has no card of are faults.
    """
    problems = Problems()
    reader = _Came(book, Columns(read_sheet(path, sheet, (*DELIVERY, *_ORDER)), problems), locker, new_items)
    if "quoted_line" in reader.columns.at:
        named = _SENDER.match(path.name)
        sender = reader.columns.sheet.name or (named[1].replace("_", " ") if named else "")
        lines = reader.order(supplier or sender)
    else:
        lines = reader.delivery(supplier)
    if not lines and not problems:
        problems.add(path.name, None, "", "no line", "write what came, a row an item")
    problems.stop_if_any(ListError)
    return Delivery(file=path.name, lines=tuple(lines), new_items=reader.unknown)


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
        for name, designation in delivery.new_items.items():
            book.add_item(name, designation=designation)
        return book.receive(delivery.lines, date, delivery.file)


class _Came:
    """One look at a list of what came."""

    def __init__(self, book: SparesBook, columns: Columns, locker: str, new_items: bool) -> None:
        self.book, self.columns, self._locker, self._new_items = book, columns, locker, new_items
        self._lockers = Names(k.name for k in book.lockers())
        self._home = {key(i.name): i.locker for i in book.items()}
        self.unknown: dict[str, str] = {}

    def _item(self, row: int) -> str:
        name, said = self.columns.text(row, "item"), self.columns.text(row, "designation")
        if not name:
            self.columns.fault(row, "item", "nothing", "name the item")
            return ""
        try:
            card = self.book.item(name)
        except BookError as error:
            if self._new_items:
                self.unknown[name] = said
            else:
                advice = f"{str(error).split(': ', 1)[-1]} (or take new items)"
                self.columns.fault(row, "item", shown(name), advice)
            return name
        try:
            self.book.refuse_other_part(card, said)
        except BookError as error:
            self.columns.fault(row, "designation", shown(said), str(error))
        return card.name

    def _into(self, row: int, item: str) -> str:
        """The locker that a line goes into, empty where it is the item's own."""
        own = self._home.get(key(item))
        if not item:
            return ""
        if self.columns.text(row, "locker"):
            return self.columns.named(row, "locker", self._lockers)
        if not own and not self._locker:
            self.columns.fault(row, "locker", "nothing", "name the locker that it goes into")
        return "" if own else self._locker

    def delivery(self, supplier: str) -> list[ReceiveLine]:
        """Lines of an owner's own list."""
        columns, made = self.columns, []
        for row in columns.rows if columns.require("item", "quantity") else []:
            item, quantity = self._item(row), columns.number(row, "quantity", _SOME)
            if quantity is None and not columns.text(row, "quantity"):
                columns.fault(row, "quantity", "nothing", "write how many came")
            cost, rate, quoted = (columns.number(row, n, _MONEY) for n in ("cost_unit", "rate", "quoted_unit"))
            currency, lot, note = (columns.text(row, name) for name in ("currency", "lot", "note"))
            made.append(ReceiveLine(
                item, quantity or 1, columns.text(row, "supplier") or supplier, cost, currency=currency, rate=rate,
                quoted_unit=quoted, locker=self._into(row, item), lot=lot, note=note,
                cure_date=columns.read(row, "cure_date", month_or_day),
            ))  # fmt: skip
        return made

    def order(self, supplier: str) -> list[ReceiveLine]:
        """Lines of an order as sent; its landed total shared by what the supplier asks for each."""
        columns = self.columns
        landed: Decimal | None = None
        listed: list[tuple[int, str, Decimal, Decimal]] = []
        for row in columns.rows if columns.require("item", "packs", "pieces") else []:
            if columns.text(row, "packs"):
                pieces, line = columns.number(row, "pieces", _SOME), columns.number(row, "quoted_line", _MONEY)
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
                quoted_unit=line / pieces, locker=self._into(row, item),
            ))  # fmt: skip
        return made


def count_sheet(book: SparesBook, form: str = ".txt", locker: str = "", blind: bool = False) -> str:
    """A sheet to count by, locker by locker: text, a page (.html), or CSV that comes back by ``reconcile``.

    ``blind`` leaves out the book's figure.
    """
    rows = _to_count(book, locker, blind)
    title = f"{_TITLE}: {book.about.get('boat', '') or book.ledger.path.stem}, {book.ledger.today().isoformat()}"
    lockers = [(head, list(some)) for head, some in groupby(rows, lambda r: (r[0], r[1]))]
    if form == ".csv":
        return csv_text([_COUNT, *rows], defuse=True)
    if form == ".html":
        return _page(title, lockers)
    lines = [title]
    for head, some in lockers:
        lines += ["", "  ".join(filter(None, head))]
        for _, _, item, size, number, measure, in_book, _, _ in some:
            marks = ", ".join(w for w in (size, number) if w)
            unit = "" if measure == "piece" else f" {measure}"
            book_says = f"  book {in_book}{unit}" if in_book else ""
            lines.append(f"  {'_' * 6}  {item}" + (f" [{marks}]" if marks else "") + book_says)
    return "\n".join(lines) + "\n"


def _page(title: str, lockers: Sequence[tuple[tuple[str, str], list[list[str]]]]) -> str:
    """One page to print; text from the book is escaped."""
    parts = []
    for where, rows in lockers:
        parts.append(f"<h2>{html.escape(' '.join(filter(None, where)))}</h2><table>")
        parts[-1] += "<tr><th>counted<th>item<th>size, number<th>book<th>note"
        for _, _, item, size, number, measure, in_book, _, _ in rows:
            unit = "" if measure == "piece" else f" {measure}"
            cells = (html.escape(text) for text in (item, ", ".join(filter(None, (size, number))), in_book + unit))
            parts[-1] += '<tr><td class="c"><td>{}<td>{}<td class="n">{}<td class="w">'.format(*cells)
        parts[-1] += "</table>"
    lead = "Count what lies there, write it in the first column, and type it into the same sheet as CSV."
    return _PAGE.format(mark=PAGE, title=html.escape(title), lead=lead, body="\n".join(parts))


def _to_count(book: SparesBook, locker: str, blind: bool) -> list[list[str]]:
    """What lies or belongs in each locker."""
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
            there = "" if blind else str(lying.get((place.name, card.number), Decimal(0)))
            numbers = [card.designation, card.makers_number, card.measure]
            rows.append([place.name, place.place, card.name, *numbers, there, "", ""])
    return rows


def write_count_sheet(book: SparesBook, path: Path, locker: str = "", blind: bool = False) -> None:
    """Write the sheet in the form that the file's name asks for; never over one that was filled in."""
    form = path.suffix.casefold()
    if form not in (".csv", ".html", ".txt"):
        raise RepaireconError(f"{path.name}: write a name that ends in .csv, .html or .txt")
    made = count_sheet(book, form, locker, blind)
    check_own(path, made.encode())
    if form == ".csv" and path.exists():
        filled = Columns(read_sheet(path, "", _COUNT), Problems())
        if any(filled.text(row, "counted") for row in filled.rows):
            raise RepaireconError(f"{path}: it holds counts; bring them in by reconcile, or give another name")
    write_own(path, made)


def reconcile(
    book: SparesBook, path: Path, write: bool = True, sheet: str = "", note: str = ""
) -> tuple[tuple[Counted, ...], list[str]]:
    """Hold the counts on a sheet against the book, all of them or none, and what to know of them.

    ListError with every fault of the sheet.
    """
    problems = Problems()
    found = _counts(book, Columns(read_sheet(path, sheet, _COUNT), problems))
    if not found and not problems:
        problems.add(path.name, None, "counted", "nothing", "write what was counted into this column")
    problems.stop_if_any(ListError)
    with book.ledger.writing() if write else book.ledger.reading():
        made = [
            c
            for place, counts in found.items()
            for c in book.count(place, {n: q for n, (q, _) in counts.items()}, write=write, note=note)
        ]
    moved = [
        f"{c.item} in {c.locker}: the sheet was printed with {then}, the book says {c.in_book} now: look again"
        for c in made
        if (then := found[c.locker][c.item][1]) is not None and then != c.in_book
    ]
    return tuple(made), moved


def _counts(book: SparesBook, columns: Columns) -> dict[str, dict[str, tuple[Decimal, Decimal | None]]]:
    """What was counted by locker and item, and what the book said when the sheet was printed."""
    made: dict[str, dict[str, tuple[Decimal, Decimal | None]]] = {}
    cards = {key(i.name): i for i in book.items()}
    items, lockers = Names(i.name for i in cards.values()), Names(k.name for k in book.lockers())
    for row in columns.rows if columns.require("locker", "item", "counted") else []:
        if not columns.text(row, "counted"):
            continue
        locker, item = columns.named(row, "locker", lockers), columns.named(row, "item", items)
        count = columns.number(row, "counted", _ANY)
        if not locker or not item or count is None:
            continue
        if cards[key(item)].measure == "piece" and count % 1:
            columns.fault(row, "counted", shown(str(count)), "these come in whole pieces")
        if item in made.setdefault(locker, {}):
            columns.fault(row, "item", f"{shown(item)} again in {shown(locker)}", "add the two up")
        made[locker][item] = (count, columns.number(row, "in_book", _ANY))
    return made
