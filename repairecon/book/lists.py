"""Lists that come to the book and sheets that leave it: a delivery, an order as it was sent, a sheet to count by."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Callable, Sequence
from decimal import Decimal
from itertools import groupby, product
from pathlib import Path
from typing import TypeVar

from repairecon.book.schema import When, month_or_day
from repairecon.book.spares_book import SparesBook
from repairecon.read import values
from repairecon.read.columns import Headings
from repairecon.read.files import check_own, csv_text, write_own
from repairecon.read.orders import LANDED
from repairecon.read.problems import Names, Problems, key, shown
from repairecon.read.sheets import heading, read_sheet
from repairecon.read.tables import Row, list_table
from repairecon.read.values import Limits, Misread, text_of
from repairecon.records import BookError, Counted, Happened, ListError, ReceiveLine, RepaireconError

DELIVERY = Headings((
    "item", "quantity", "designation", "supplier", "cost_unit", "currency", "rate", "quoted_unit", "locker", "lot",
    "cure_date", "note",
), ("item", "quantity"))  # fmt: skip
_ORDER = Headings((
    "item", "packs", "pieces_a_pack", "pieces", "quoted_a_pack", "quoted_line", "currency", "designation",
), ("item", "packs", "pieces"))  # fmt: skip
_COUNT = Headings((
    "locker", "place", "item", "designation", "makers_number", "measure", "in_book", "counted", "note",
), ("locker", "item", "counted"))  # fmt: skip
T = TypeVar("T")
_SENDER = re.compile(r"order_(.+?)(?:_\d+)?\.csv$", re.IGNORECASE)
_MONEY, _SOME, _ANY = Limits(0.0, 1e9), Limits(0.0, 1e6, above=True), Limits(0.0, 1e6)
_TITLE = "Spares to count"


def read_by(row: Row, name: str, reader: Callable[[str], T | Misread]) -> T | None:
    """A cell by a reader that gives, or raises, what is wrong; None where it is wrong."""
    text = row.text(name)
    try:
        found = reader(text)
    except BookError as error:
        found = Misread(str(error).split("; ")[-1])
    if isinstance(found, Misread):
        row.fault(name, shown(text), found.write)
        return None
    return found


def _exact(row: Row, name: str, limits: Limits) -> Decimal | None:
    value = row.number(name, limits)
    return None if value is None else Decimal(values.plain(value))


class Delivery:
    """What came, read and not yet written; ``new_items`` have no card in the book: designation by name.

    It is a list, or an order as it was sent: its landed total is then shared among its lines by their price.
    ``locker`` is for things that have none of their own; without ``take_new`` items without a card are faults.
    """

    def __init__(
        self, book: SparesBook, path: Path, supplier: str = "", locker: str = "", sheet: str = "",
        take_new: bool = False,
    ) -> None:  # fmt: skip
        self._book, self._locker, self._take_new = book, locker, take_new
        self._lockers = Names(k.name for k in book.lockers())
        self._home = {key(i.name): i.locker for i in book.items()}
        self.file, self.new_items = path.name, dict[str, str]()
        problems, found = Problems(), read_sheet(path, sheet, DELIVERY.known | _ORDER.known)
        if "quoted_line" in (heading(text_of(cell)) for cell in next(iter(found.rows.values()))):
            named = _SENDER.match(path.name)
            sender = supplier or found.name or (named[1].replace("_", " ") if named else "")
            self.lines = self._of_order(list_table(found, _ORDER, problems).rows, sender)
        else:
            self.lines = self._of_list(list_table(found, DELIVERY, problems).rows, supplier)
        if not self.lines and not problems:
            problems.add(path.name, None, "", "no line", "write what came, a row an item")
        problems.stop_if_any(ListError)

    def write(self, date: When = None, again: bool = False) -> tuple[Happened, ...]:
        """Write all of it or nothing; the same file a second time only if ``again``, else a BookError."""
        before = self._book.standing("kind = 'bought' AND reference = ?", (self.file,))
        if before and not again:
            said = f"{shown(self.file)} was received on {before[0].on_date} already (movement {before[0].number})"
            raise BookError(f"{said}: undo that, or say that it came again; nothing was written")
        with self._book.ledger.writing():
            for name, designation in self.new_items.items():
                self._book.add_item(name, designation=designation)
            return self._book.receive(self.lines, date, self.file)

    def _item(self, row: Row) -> str:
        name, said = row.text("item"), row.text("designation")
        if not name:
            row.fault("item", "nothing", "name the item")
            return ""
        try:
            card = self._book.item(name)
        except BookError as error:
            if self._take_new:
                self.new_items[name] = said
            else:
                row.fault("item", shown(name), f"{str(error).split(': ', 1)[-1]} (or take new items)")
            return name
        try:
            self._book.refuse_other_part(card, said)
        except BookError as error:
            row.fault("designation", shown(said), str(error))
        return card.name

    def _into(self, row: Row, item: str) -> str:
        own = self._home.get(key(item))
        if row.text("locker") and item:
            return row.named("locker", self._lockers)
        homeless = item and not own and not self._locker
        row.check((homeless, "locker", "nothing", "name the locker that it goes into"))
        return "" if own or not item else self._locker

    def _of_list(self, rows: Sequence[Row], supplier: str) -> list[ReceiveLine]:
        made = []
        for row in rows:
            item, quantity = self._item(row), _exact(row, "quantity", _SOME)
            if quantity is None and not row.text("quantity"):
                row.fault("quantity", "nothing", "write how many came")
            cost, rate, quoted = (_exact(row, name, _MONEY) for name in ("cost_unit", "rate", "quoted_unit"))
            currency, lot, note = (row.text(name) for name in ("currency", "lot", "note"))
            made.append(ReceiveLine(
                item, quantity or 1, row.text("supplier") or supplier, cost, currency=currency, rate=rate,
                quoted_unit=quoted, locker=self._into(row, item), lot=lot, note=note,
                cure_date=read_by(row, "cure_date", month_or_day) or "",
            ))  # fmt: skip
        return made

    def _of_order(self, rows: Sequence[Row], supplier: str) -> list[ReceiveLine]:
        landed: Decimal | None = None
        listed: list[tuple[Row, str, Decimal, Decimal]] = []
        for row in rows:
            if row.text("packs"):
                pieces, line = _exact(row, "pieces", _SOME), _exact(row, "quoted_line", _MONEY)
                item = self._item(row)
                if pieces is not None and line is not None:
                    listed.append((row, item, pieces, line))
            elif row.text("item") == LANDED:
                landed = _exact(row, "quoted_line", _MONEY)
        goods = sum((line for _, _, _, line in listed), Decimal(0))
        if listed and landed is None:
            listed[-1][0].fault("item", "no row for the landed total", f"keep the row headed '{LANDED}'")
        made = []
        for row, item, pieces, line in listed:
            share = (landed or Decimal(0)) * (line / goods if goods else Decimal(1) / len(listed))
            made.append(ReceiveLine(
                item, pieces, supplier, share / pieces, currency=row.text("currency"), quoted_unit=line / pieces,
                locker=self._into(row, item),
            ))  # fmt: skip
        return made


def count_sheet(book: SparesBook, form: str = ".txt", locker: str = "", blind: bool = False) -> str:
    """A sheet to count by, locker by locker: text, or CSV that ``reconcile`` reads; ``blind``: without figures."""
    only = book.find("locker", locker) if locker else 0
    places = [k for k in book.lockers() if k.kind != "lent" and (not only or k.number == only)]
    lying = {(s.locker, s.item_number): str(s.quantity) for s in book.stock()}
    items = sorted(book.items(), key=lambda i: i.name.casefold())
    rows = [
        (place, card, "" if blind else lying.get((place.name, card.number), "0"))
        for place, card in product(places, items)
        if (place.name, card.number) in lying or (card.locker == place.name and card.carried)
    ]
    if form == ".csv":
        said = [(place.name, place.place, i.name, i.designation, i.makers_number, i.measure, there, "", "")
                for place, i, there in rows]  # fmt: skip
        return csv_text([_COUNT.columns, *said], defuse=True)
    lines = [f"{_TITLE}: {book.about.get('boat', '') or book.ledger.path.stem}, {book.ledger.today().isoformat()}"]
    for place, some in groupby(rows, lambda row: row[0]):
        lines += ["", "  ".join(filter(None, (place.name, place.place)))]
        for _, card, there in some:
            marks = ", ".join(filter(None, (card.designation, card.makers_number)))
            measure = "" if card.measure == "piece" else f" {card.measure}"
            in_book = f"  book {there}{measure}" if there else ""
            lines.append(f"  {'_' * 6}  {card.name}{f' [{marks}]' if marks else ''}{in_book}")
    return "\n".join(lines) + "\n"


def write_count_sheet(book: SparesBook, path: Path, locker: str = "", blind: bool = False) -> None:
    """Write the sheet in the form that the file's name asks for; never over one that was filled in."""
    form = path.suffix.casefold()
    if form not in (".csv", ".txt"):
        raise RepaireconError(f"{path.name}: write a name that ends in .csv or .txt")
    made = count_sheet(book, form, locker, blind)
    check_own(path, made.encode())
    if form == ".csv" and path.exists():
        there = list_table(read_sheet(path, "", _COUNT.known), _COUNT, Problems())
        if any(row.text("counted") for row in there.rows):
            raise RepaireconError(f"{path}: it holds counts; bring them in by reconcile, or give another name")
    write_own(path, made)


def reconcile(
    book: SparesBook, path: Path, write: bool = True, sheet: str = "", note: str = ""
) -> tuple[tuple[Counted, ...], list[str]]:
    """Hold the counts on a sheet against the book, all of them or none, and what to know of them."""
    problems = Problems()
    rows = list_table(read_sheet(path, sheet, _COUNT.known), _COUNT, problems).rows
    found = _counts(book, rows)
    if not found and not problems:
        problems.add(path.name, None, "counted", "nothing", "write what was counted into this column")
    problems.stop_if_any(ListError)
    with book.ledger.writing() if write else book.ledger.reading():
        made: list[Counted] = []
        for place, counts in found.items():
            made += book.count(place, {name: q for name, (q, _) in counts.items()}, write=write, note=note)
    moved = [
        f"{c.item} in {c.locker}: the sheet was printed with {then}, the book says {c.in_book} now: look again"
        for c in made
        if (then := found[c.locker][c.item][1]) is not None and then != c.in_book
    ]
    return tuple(made), moved


def _counts(book: SparesBook, rows: Sequence[Row]) -> dict[str, dict[str, tuple[Decimal, Decimal | None]]]:
    """What was counted by locker and item, and what the book said when the sheet was printed."""
    made: dict[str, dict[str, tuple[Decimal, Decimal | None]]] = defaultdict(dict)
    cards = {key(i.name): i for i in book.items()}
    items, lockers = Names(i.name for i in cards.values()), Names(k.name for k in book.lockers())
    for row in (row for row in rows if row.text("counted")):
        for name in ("locker", "item"):
            row.required(name, "write its name")
        locker, item = row.named("locker", lockers), row.named("item", items)
        count = _exact(row, "counted", _ANY)
        if not row.bad and count is not None:
            row.check(
                (cards[key(item)].measure == "piece" and count % 1, "counted", shown(str(count)),
                 "these come in whole pieces"),
                (item in made[locker], "item", f"{shown(item)} again in {shown(locker)}", "add the two up"),
            )  # fmt: skip
            made[locker][item] = (count, _exact(row, "in_book", _ANY))
    return made
