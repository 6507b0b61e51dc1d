"""The spares book: one file (SQLite), only added to: what is aboard, where, what it cost, what it was fitted to.

Its classes stand on each other: ``cards``, ``stock``, ``acts`` and here the orders; below all is the file, ``ledger``.
"""

from __future__ import annotations

import contextlib
import datetime
import os
import tempfile
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from types import TracebackType

from repairecon import records
from repairecon.book import proof, schema
from repairecon.book.acts import Acts
from repairecon.book.cards import letters
from repairecon.book.ledger import back_up, damaged, limit_time, new_ledger, noting, open_ledger
from repairecon.book.schema import Amount, Scale, When, amount, as_said, day, kept, pieces, words
from repairecon.read.boat import BOOK, JOBS, book_path, named_alike, today_of
from repairecon.read.columns import BOAT
from repairecon.read.orders import Came, write_receipts
from repairecon.read.problems import key, shown
from repairecon.read.toml_records import read_passage
from repairecon.records import BookError, Happened, Item, Movement, Ordered, OrderedLine, ReceiveLine
from repairecon.standards.equivalents import equivalent

SUFFIX = ".spares"
_OF_WRONG_CELLS = (TypeError, ValueError, LookupError, ArithmeticError)  # what a hostile file may lead to anywhere
JOB = "job decided "  # begins the reference of whatever a closed job wrote
_CENTS = Scale(2, 1_000_000_000, rounds=True)
_HEAD, _LINE = ("number", *schema.ORDER), ("line", *schema.ORDER_LINE)
_RECEIVED = "(SELECT sum(CASE WHEN locker_to IS NULL THEN -quantity ELSE quantity END) FROM movements m " \
            "WHERE m.order_line = l.line)"  # fmt: skip


class SparesBook(Acts):
    """An open book; use it in a ``with`` statement, or close it."""

    def __enter__(self) -> SparesBook:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        """An error that is none of ours, in a book that is not sound, is that of the book."""
        wrong: tuple[str, ...] = ()
        if isinstance(error, _OF_WRONG_CELLS):
            with contextlib.suppress(BookError):  # a closed book
                wrong = self.check()
        self.close()
        if wrong:
            raise damaged(self.ledger.path, wrong[0]) from error

    def close(self) -> None:
        self.ledger.close()

    @property
    def about(self) -> dict[str, str]:
        """The home currency, and whatever else the book says of itself."""
        first: dict[str, str] = dict(self.ledger.rows("SELECT name, value FROM about ORDER BY rowid"))
        return first | dict(self.ledger.rows("SELECT name, value FROM about_versions ORDER BY version"))

    def say(self, name: str, value: str) -> None:
        """Another name of the boat, or home money while no cost is written in the one before."""
        with self.ledger.writing():
            word = words(value, name, required=True)
            if name == "home_currency":
                word = word.upper()
                if word != self.currency and self.ledger.rows("SELECT 1 FROM movements WHERE cost_unit > 0 LIMIT 1"):
                    said = f"the book holds costs in {self.currency}: they would be taken for {word}"
                    raise BookError(f"{said}. Export it, write the costs anew, and build a book from that folder")
            self.ledger.insert("about_versions", {"name": name, "value": word})

    @property
    def currency(self) -> str:
        return self.about.get("home_currency", "EUR")

    def check(self) -> tuple[str, ...]:
        """What is wrong inside the file; nothing if it is sound."""
        limit_time(self.ledger.link)
        return proof.check(self.ledger.link)

    def backup(self, target: str | os.PathLike[str]) -> None:
        """A copy in one file, read again and found sound; never over another file."""
        back_up(self.ledger.link, self.ledger.path, Path(target))

    # ---- orders ----
    def orders(self) -> tuple[Ordered, ...]:
        """All orders, the first ones first, with what has come of each line."""
        with self.ledger.reading():
            names = self.names("item")
            of = f"SELECT order_number, coalesce({_RECEIVED}, 0), {', '.join(_LINE)} FROM order_lines l ORDER BY line"
            rows = self.ledger.rows(of)
            heads = self.ledger.rows(f"SELECT {', '.join(_HEAD)} FROM orders ORDER BY number")
        lines: dict[int, list[OrderedLine]] = defaultdict(list)
        for row in rows:
            said = as_said(("order", "received", *_LINE), row)
            said |= {"item": names.get(said["item"], ""), "whole_unit": bool(said["whole_unit"])}
            lines[said.pop("order")].append(OrderedLine(**said))
        made = []
        for row in heads:
            said = as_said(_HEAD, row)
            said |= {"unit": said.pop("for_unit"), "rate": said["rate"] or Decimal(1)}
            made.append(Ordered(**said, lines=tuple(lines[said["number"]])))
        return tuple(made)

    def place(self, orders: Iterable[Ordered], again: bool = False) -> tuple[Ordered, ...]:
        """Put orders on record, all or none; a part that is on record for the job only ``again``, else a BookError."""
        wanted = tuple(orders)
        there = self.on_record(wanted)
        if there and not again:
            said = ("on record already for this job, so nothing was written:", *there)
            raise BookError("\n".join((*said, "To order them once more: --again; else name others with --want")))
        numbers, by_line = [], ("pieces", "quoted_pack", "cost_unit", "carriage_unit", "duty_unit")
        with self.ledger.writing():
            for o in wanted:
                numbers.append(self.ledger.insert("orders", {
                    "on_date": day(o.on_date, self.ledger.today(), "day of the order"),
                    "supplier": words(o.supplier, "supplier", required=True), "job": words(o.job, "job", required=True),
                    "for_unit": words(o.unit), "currency": words(o.currency).upper(),
                    "rate": kept(o.rate, schema.RATE, "rate") or None, "expected_days": o.expected_days,
                }))  # fmt: skip
                for line in o.lines:
                    card = self.card_of(line, o.unit)
                    self.ledger.insert("order_lines", {
                        "order_number": numbers[-1], "part": words(line.part, "part", required=True),
                        "packs": line.packs, "item": card.number if card else None,
                        "designation": words(line.designation), "material": words(line.material),
                        "whole_unit": int(line.whole_unit),
                        **{name: kept(getattr(line, name), schema.SCALES[name], name) for name in by_line},
                    })  # fmt: skip
        return tuple(o for o in self.orders() if o.number in numbers)

    def on_record(self, orders: Iterable[Ordered]) -> list[str]:
        """Parts of these orders that were ordered for their job before, in sentences."""
        wanted = {(key(o.job), key(line.part)) for o in orders for line in o.lines}
        there = [(o, line) for o in self.orders() for line in o.lines if (key(o.job), key(line.part)) in wanted]
        return [f"{line.part}: order {o.number} of {o.on_date} to {o.supplier}" for o, line in there]

    def card_of(self, line: OrderedLine, unit: str) -> Item | None:
        """The card of what a line brings: by the line itself, then by its size, then by its name on that unit."""
        sql = "SELECT item FROM movements WHERE order_line = ? ORDER BY movement DESC LIMIT 1"
        if line.line and (came := self.ledger.rows(sql, (line.line,))):
            return self.item_by_number(came[0][0])
        if line.item:
            return self.item(line.item)
        named: Item | None = None
        for card in self.items():
            ours, theirs = card.designation, line.designation
            if line.material and card.material and key(line.material) != key(card.material):
                continue
            if ours and theirs:
                found = equivalent(theirs, ours, material_wanted=line.material, material_offered=card.material)
                if letters(ours) == letters(theirs) or found.verdict == "same":
                    return card
                continue
            serves = not card.units or key(unit) in map(key, card.units)
            alike = key(card.name) == key(line.part) or (card.units and named_alike(card.name, line.part, unit))
            if serves and alike:
                named = named or card
        return named

    def ordered(self, number: int) -> Ordered:
        orders = {o.number: o for o in self.orders()}
        if number not in orders:
            known = f"they run from 1 to {len(orders)}" if orders else "none is on record"
            raise BookError(f"there is no order {number}: {known}")
        return orders[number]

    def receive_order(
        self, number: int, came: Mapping[str, Amount] | None = None, *, paid: Amount | None = None, locker: str = "",
        date: When = None,
    ) -> tuple[Happened, ...]:  # fmt: skip
        """Receive an order, or a part of it: what does not come stays open; every fault in one BookError.

        ``came`` are pieces by line (its place or its part; None: all that is open), ``paid`` was charged for all
        [home money] and is spread by landed cost (None: as ordered), ``locker`` is for things without one of their own.
        """
        order = self.ordered(number)
        faults: list[str] = []
        counts = _coming(order, came, faults)
        with self.ledger.writing():
            on_date = day(date, self.ledger.today())
            if on_date < order.on_date:
                faults.append(f"date: found {on_date}; order {number} was sent on {order.on_date}")
            charged = None if paid is None else amount(kept(paid, schema.MONEY, "paid") or 0, schema.MONEY)
            lines = []
            for line, n, cost in _costs(order, counts, charged) if not faults else ():
                with noting(faults, f"{shown(line.part)}: "):
                    lines.append(self._line_of(order, line, n, cost, locker))
            if faults:
                raise BookError("\n".join([f"order {number} was not received:", *faults]))
            return self.receive(lines, on_date, f"order {number}")

    def _line_of(self, order: Ordered, line: OrderedLine, count: Decimal, cost: Decimal, locker: str) -> ReceiveLine:
        """A line as it is received, under its card; where the book has none, one that asks for no reordering."""
        card = self.card_of(line, order.unit)
        if card is None:
            taken, whose = set(map(key, self.names("item").values())), order.unit or order.job
            name = f"{whose}, {line.part}" if line.whole_unit else line.part
            card = self.add_item(
                f"{name}, {whose}" if key(name) in taken else name, designation=line.designation, locker=locker,
                units=[u for u in self.names("unit").values() if key(u) == key(order.unit)], material=line.material,
                carried=False,
            )  # fmt: skip
        said = [line.part] if key(line.part) != key(card.name) else []
        said += [line.designation] if letters(line.designation) != letters(card.designation) else []
        return ReceiveLine(
            card.name, count, order.supplier, cost, currency=order.currency, rate=order.rate,
            quoted_unit=line.quoted_pack * line.packs / line.pieces, designation=line.designation,
            locker="" if card.locker else locker, lot=f"order {order.number}", note=", ".join(filter(None, said)),
            order_line=line.line,
        )  # fmt: skip

    def _ordered_movements(self) -> list[tuple[Movement, Ordered, OrderedLine]]:
        lines = {line.line: (order, line) for order in self.orders() for line in order.lines}
        return [(m, *lines[m.order_line or 0]) for m in self.standing("order_line IS NOT NULL")]

    def came_for_jobs(self) -> dict[str, dict[str, Came]]:
        """What has come of each part by order, job by job."""
        made: dict[str, dict[str, Came]] = defaultdict(dict)
        for m, order, line in self._ordered_movements():
            cost = m.quantity * (m.cost_unit or Decimal(0))
            share = line.carriage_unit / line.cost_unit if line.cost_unit else Decimal(0)
            waited = datetime.date.fromisoformat(m.on_date) - datetime.date.fromisoformat(order.on_date)
            came = Came(pieces=m.quantity, paid=cost * (1 - share), carriage=cost * share, days=max(waited.days, 0))
            came = Came(booked=m.quantity) if m.reference.startswith(JOB) else came
            made[order.job][line.part] = made[order.job].get(line.part, Came()) + came
        for parts in made.values():
            for part, came in parts.items():  # carriage is what the parts leave of the whole: both are what was paid
                paid = _cents(came.paid)
                parts[part] = replace(came, paid=paid, carriage=_cents(came.paid + came.carriage) - paid)
        return dict(made)

    def waiting_for_others(self, job: str) -> frozenset[int]:
        """Movements by which pieces came that were ordered for other jobs, as long as those are not closed."""
        done = self.standing(f"reference LIKE '{JOB}%'")
        closed = {text.partition(", ")[0] for m in done for text in (m.note, m.lot)}
        moved = self._ordered_movements()
        return frozenset(m.number for m, o, _ in moved if key(o.job) != key(job) and o.job not in closed)

    @contextlib.contextmanager
    def sheets_kept(self) -> Iterator[list[str]]:
        """An act, and what it brought or took in the actual.csv of jobs, or nothing; remarks are in the list then."""
        home, notes = self.ledger.path.resolve().parent, list[str]()
        with self.ledger.writing():
            before = self.came_for_jobs()
            yield notes
            after = self.came_for_jobs()
            jobs = [j for j in sorted(before.keys() | after.keys()) if (home / BOAT).is_file() and Path(j).name == j]
            for job in jobs:
                notes += write_receipts(home / JOBS / job, before.get(job, {}), after.get(job, {}))


def _cents(money: Decimal) -> Decimal:
    return amount(kept(money, _CENTS, "paid") or 0, _CENTS)


def _coming(order: Ordered, came: Mapping[str, Amount] | None, faults: list[str]) -> dict[int, Decimal]:
    if not order.open:
        faults.append("nothing of it is open: all has come, or was booked when the job was closed")
    if came is None:
        return {line.line: line.open for line in order.open}
    counts: dict[int, Decimal] = {}
    for word, many in came.items():
        line = next((x for n, x in enumerate(order.lines, 1) if key(word) in (str(n), key(x.part))), None)
        if line is None:
            known = "; ".join(f"{n} ({x.part})" for n, x in enumerate(order.lines, 1))
            faults.append(f"line: found {shown(word)}; write one of: {known}")
            continue
        with noting(faults, f"{shown(line.part)}: "):
            count = amount(pieces(many, "piece"))
            if line.line in counts:
                faults.append(f"{shown(line.part)} twice: add the two up")
            elif count > line.open:
                faults.append(f"{shown(line.part)}: found {count}; {line.open} of {line.pieces} are open")
            counts[line.line] = count
    return counts


def _costs(
    order: Ordered, counts: Mapping[int, Decimal], charged: Decimal | None
) -> Iterator[tuple[OrderedLine, Decimal, Decimal]]:
    """Lines with the pieces that came and the cost of one, as ordered or as charged in all."""
    coming = [(line, counts[line.line]) for line in order.lines if counts.get(line.line)]
    landed = sum((line.cost_unit * n for line, n in coming), Decimal(0))
    many = sum((n for _, n in coming), Decimal(0))
    share, given = Decimal(0), Decimal(0)
    for line, n in coming:
        share += line.cost_unit * n / landed if landed else n / many
        # whole cents a line, and all of them what was charged
        upto = given + line.cost_unit * n if charged is None else _cents(charged * share)
        yield line, n, line.cost_unit if charged is None else (upto - given) / n
        given = upto


# ---- the door ----
def open_book(
    path: str | os.PathLike[str], create: bool = False, home_currency: str = "EUR", wait_s: float = 5.0,
    today: datetime.date | None = None, bring_up: bool = True,
) -> SparesBook:  # fmt: skip
    """Open a spares book; BookFileError if it is none, damaged, or of a newer version: nothing is changed then.

    ``.spares`` is added to a name without a suffix. With ``create`` a new book is begun if there is no file. Another
    program that is writing is waited for ``wait_s`` seconds; acts without a date fall on ``today`` (default: the
    clock's). Without ``bring_up`` a book of an older version stays as it is, and can only be read.
    """
    place = Path(path)
    if not place.suffix and not place.exists():
        place = place.with_suffix(SUFFIX)
    if create and not os.path.lexists(place):
        currency = words(home_currency, "home currency", required=True).upper()
        with new_ledger(place, {"home_currency": currency}):
            pass
    return SparesBook(open_ledger(place, wait_s, today, bring_up))


def begin_book(place: str | os.PathLike[str], home_currency: str = "EUR") -> SparesBook:
    """A new, empty book; BookError if something of that name is there already."""
    path = Path(place)
    for name in (path, path if path.suffix else path.with_suffix(SUFFIX)):
        if os.path.lexists(name):
            raise BookError(f"{name.name} is there already: nothing was written")
    return open_book(path, create=True, home_currency=home_currency)


def book_place(place: str | os.PathLike[str]) -> Path:
    """The book of a boat whose folder is named; else the place itself."""
    path = Path(place)
    return (book_path(path) or path / BOOK) if (path / BOAT).is_file() else path


@contextlib.contextmanager
def book_at(
    place: str | os.PathLike[str], today: datetime.date | None = None, writing: bool = False
) -> Iterator[SparesBook]:
    """Open a book file, a boat's book by her folder, or (not for ``writing``) a folder of CSV files as a book."""
    from repairecon.book.csv_folder import book_from_csv

    path = book_place(place)
    if path != Path(place) and not writing:  # a boat's: her own day
        today = today or today_of(Path(place))
    if not path.is_dir():
        with open_book(path, today=today, bring_up=writing) as book:
            yield book
        return
    if writing:
        raise BookError(f"{path.name} is a folder of CSV files: build a book from it first, and write in that")
    with tempfile.TemporaryDirectory() as folder:
        built = Path(folder) / f"{path.resolve().name}{SUFFIX}"
        book_from_csv(path, built)
        with open_book(built, today=today) as book:
            yield book


def passage_for(place: str | os.PathLike[str], book: SparesBook) -> records.Passage:
    """What passage.toml says that lies beside the book, or in the folder it is kept in."""
    path, items = Path(place), book.items()
    folder = path if path.is_dir() else path.resolve().parent
    return read_passage(folder, [i.name for i in items], [i.system for i in items if i.system])
