"""Orders in the spares book: put on record when they are sent, received in one or more deliveries, open till then."""

from __future__ import annotations

import contextlib
import datetime
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import Any

from repairecon.book.acts import Acts
from repairecon.book.amounts import MONEY, RATE, SCALES, Amount, Scale, When, amount, as_said, day, kept, pieces, words
from repairecon.book.cards import letters
from repairecon.book.ledger import noting
from repairecon.read.boat import JOBS, named_alike
from repairecon.read.columns import BOAT
from repairecon.read.orders import Came, write_receipts
from repairecon.read.problems import key, shown
from repairecon.records import BookError, Happened, Item, Movement, Ordered, OrderedLine, ReceiveLine
from repairecon.standards.equivalents import equivalent

JOB = "job decided "
"""Begins the reference of whatever a closed job wrote; deliveries have the name of their file, or what was typed."""
_CENTS = Scale(2, 1_000_000_000, rounds=True)
_HEAD = ("number", "on_date", "supplier", "job", "for_unit", "currency", "rate", "expected_days")
_LINE = ("line", "part", "item", "designation", "material", "pieces", "packs", "quoted_pack", "cost_unit",
         "carriage_unit", "duty_unit", "whole_unit")  # fmt: skip
_RECEIVED = "(SELECT sum(CASE WHEN locker_to IS NULL THEN -quantity ELSE quantity END) FROM movements m " \
            "WHERE m.order_line = l.line)"  # fmt: skip


class Orders(Acts):
    """The side of a spares book that keeps its orders."""

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
            raise BookError("\n".join(["on record already for this job, so nothing was written:", *there,
                                       "To order them once more: --again; else name others with --want"]))  # fmt: skip
        with self.ledger.writing():
            numbers = [self._place(order) for order in wanted]
        return tuple(o for o in self.orders() if o.number in numbers)

    def on_record(self, orders: Iterable[Ordered]) -> list[str]:
        """Parts of these orders that were ordered for their job before, in sentences."""
        wanted = {(key(o.job), key(line.part)) for o in orders for line in o.lines}
        there = [(o, line) for o in self.orders() for line in o.lines if (key(o.job), key(line.part)) in wanted]
        return [f"{line.part}: order {o.number} of {o.on_date} to {o.supplier}" for o, line in there]

    def _place(self, o: Ordered) -> int:
        number = self.ledger.insert("orders", {
            "on_date": day(o.on_date, self.ledger.today(), "day of the order"),
            "supplier": words(o.supplier, "supplier", required=True), "job": words(o.job, "job", required=True),
            "for_unit": words(o.unit), "currency": words(o.currency).upper(),
            "rate": kept(o.rate, RATE, "rate") or None, "expected_days": o.expected_days,
        })  # fmt: skip
        for line in o.lines:
            card = self.card_of(line, o.unit)
            numbers = ("pieces", "quoted_pack", "cost_unit", "carriage_unit", "duty_unit")
            self.ledger.insert("order_lines", {
                "order_number": number, "part": words(line.part, "part", required=True), "packs": line.packs,
                "item": card.number if card else None, "designation": words(line.designation),
                "whole_unit": int(line.whole_unit), "material": words(line.material),
                **{name: kept(getattr(line, name), SCALES[name], name) for name in numbers},
            })  # fmt: skip
        return number

    def card_of(self, line: OrderedLine, unit: str) -> Item | None:
        """The card of what a line brings: by the line itself, then by its size, then by its name on that unit."""
        sql = "SELECT item FROM movements WHERE order_line = ? ORDER BY movement DESC LIMIT 1"
        if line.line and (came := self.ledger.rows(sql, (line.line,))):
            return self.item_by_number(came[0][0])
        if line.item:
            return self.item(line.item)
        named: list[Item] = []
        for card in self.items():
            if line.material and card.material and key(line.material) != key(card.material):
                continue
            by_size = line.designation and card.designation
            if by_size and _same_size(line, card):
                return card
            serves = not card.units or key(unit) in map(key, card.units)
            alike = key(card.name) == key(line.part) or (card.units and named_alike(card.name, line.part, unit))
            if not by_size and serves and alike:
                named.append(card)
        return next(iter(named), None)

    def ordered(self, number: int) -> Ordered:
        """An order by its number."""
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

        ``came`` are pieces by line (its place in the order or its part; None: all that is open), ``paid`` what was
        charged for them in all [home money], spread by landed cost (None: as ordered); ``locker`` is for things that
        have none of their own.
        """
        order = self.ordered(number)
        faults: list[str] = []
        counts = _coming(order, came, faults)
        with self.ledger.writing():
            on_date = day(date, self.ledger.today())
            if on_date < order.on_date:
                faults.append(f"date: found {on_date}; order {number} was sent on {order.on_date}")
            charged = None if paid is None else amount(kept(paid, MONEY, "paid") or 0, MONEY)
            lines = []
            for line, n, cost in _costs(order, counts, charged) if not faults else ():
                with noting(faults, f"{shown(line.part)}: "):
                    lines.append(self._line_of(order, line, n, cost, locker))
            if faults:
                raise BookError("\n".join([f"order {number} was not received:", *faults]))
            return self.receive(lines, on_date, f"order {number}")

    def _line_of(self, order: Ordered, line: OrderedLine, count: Decimal, cost: Decimal, locker: str) -> ReceiveLine:
        """A line as it is received, under its card, which is made where the book has none."""
        card = self.card_of(line, order.unit) or self._new_card(order, line, locker)
        quoted = line.quoted_pack * line.packs / line.pieces
        said = [line.part] if key(line.part) != key(card.name) else []
        said += [line.designation] if letters(line.designation) != letters(card.designation) else []
        return ReceiveLine(
            card.name, count, order.supplier, cost, currency=order.currency, rate=order.rate, quoted_unit=quoted,
            designation=line.designation, locker="" if card.locker else locker, lot=f"order {order.number}",
            note=", ".join(filter(None, said)), order_line=line.line,
        )  # fmt: skip

    def _new_card(self, order: Ordered, line: OrderedLine, locker: str) -> Item:
        """A card not kept aboard as a rule: it has no minimum and asks for no reordering."""
        taken = set(map(key, self.names("item").values()))
        whose = order.unit or order.job
        name = f"{whose}, {line.part}" if line.whole_unit else line.part
        name = f"{name}, {whose}" if key(name) in taken else name
        units = [u for u in self.names("unit").values() if key(u) == key(order.unit)]
        return self.add_item(
            name, designation=line.designation, material=line.material, units=units, locker=locker, carried=False
        )

    # ---- the jobs that they are for ------------------------------------------------------------------
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
        return {job: {part: _to_the_cent(came) for part, came in parts.items()} for job, parts in made.items()}

    def waiting_for_others(self, job: str) -> frozenset[int]:
        """Movements by which pieces came that were ordered for other jobs, as long as those are not closed."""
        done = self.standing(f"reference LIKE '{JOB}%'")
        closed = {text.partition(", ")[0] for m in done for text in (m.note, m.lot)}
        moved = self._ordered_movements()
        return frozenset(m.number for m, o, _ in moved if key(o.job) != key(job) and o.job not in closed)

    @contextlib.contextmanager
    def sheets_kept(self) -> Iterator[list[str]]:
        """An act, and what it brought or took of orders in the actual.csv of their jobs; all of it or nothing.

        The list that it gives holds in the end what an owner should know of those sheets.
        """
        home, notes = self.ledger.path.resolve().parent, list[str]()
        with self.ledger.writing():
            before = self.came_for_jobs()
            yield notes
            after = self.came_for_jobs()
            jobs = [j for j in sorted(before.keys() | after.keys()) if (home / BOAT).is_file() and Path(j).name == j]
            for job in jobs:
                notes += write_receipts(home / JOBS / job, before.get(job, {}), after.get(job, {}))


def _to_the_cent(came: Came) -> Came:
    """Carriage is what the parts leave of the whole, so that both together are what was paid."""
    paid = _cents(came.paid)
    return replace(came, paid=paid, carriage=_cents(came.paid + came.carriage) - paid)


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


def _same_size(line: OrderedLine, card: Item) -> bool:
    if letters(line.designation) == letters(card.designation):
        return True
    said: dict[str, Any] = {"material_wanted": line.material, "material_offered": card.material}
    return equivalent(line.designation, card.designation, **said).verdict == "same"
