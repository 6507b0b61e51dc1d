"""Random courses of a spares book against a plain dictionary written from the meaning: stock by place, for ever."""

from __future__ import annotations

import shutil
import tempfile
from decimal import Decimal
from pathlib import Path

import pytest
from book_makers import TODAY
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from repairecon.book.csv_folder import book_from_csv, export_book
from repairecon.book.spares_book import open_book
from repairecon.records import BookError, ReceiveLine, StockError

NAMES = ("belt", "oil", "seal")
PLACES = ("A1", "B2", "shed")
LENT = "lent out"
QUANTITIES = st.integers(1, 4)
COSTS = st.decimals("0.01", "99.99", places=4)

Place = tuple[str, str]


class Course(RuleBasedStateMachine):
    """The book beside a dictionary; what the one refuses the other cannot do either."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp())
        self.held: dict[Place, Decimal] = {}
        self.bought = self.gone = Decimal(0)
        self.written: list[tuple[str, Decimal, str, str]] = []
        self.undone: set[int] = set()
        self.counters: set[int] = set()

    @initialize()
    def open(self) -> None:
        self.book = open_book(self.folder / "b", create=True, today=TODAY)
        for name in PLACES:
            self.book.add_locker(name, kind="ashore" if name == "shed" else "aboard")
        self.book.add_unit("engine")
        for name in NAMES:
            measure = "litre" if name == "oil" else "piece"
            self.book.add_item(name, minimum=3, locker="A1", measure=measure)

    def put(self, item: str, quantity: Decimal, gone: str, come: str) -> None:
        """What a movement means."""
        if gone:
            self.held[item, gone] = self.held.get((item, gone), Decimal(0)) - quantity
        if come:
            self.held[item, come] = self.held.get((item, come), Decimal(0)) + quantity
        self.written.append((item, quantity, gone, come))

    def amount(self, item: str, quantity: int) -> Decimal:
        """Oil comes in eighths of a litre."""
        return Decimal(quantity) / 8 if item == "oil" else Decimal(quantity)

    def lies(self, item: str, place: str) -> Decimal:
        return self.held.get((item, place), Decimal(0))

    @rule(item=st.sampled_from(NAMES), quantity=QUANTITIES, place=st.sampled_from(PLACES), cost=COSTS)
    def receive(self, item: str, quantity: int, place: str, cost: Decimal) -> None:
        amount = self.amount(item, quantity)
        self.book.receive([ReceiveLine(item, amount, "stockist", cost, locker=place, lot=f"lot {quantity}")])
        self.put(item, amount, "", place)

    @rule(item=st.sampled_from(NAMES), quantity=QUANTITIES, place=st.sampled_from(PLACES), how=st.integers(0, 2))
    def take(self, item: str, quantity: int, place: str, how: int) -> None:
        amount = self.amount(item, quantity)

        def act() -> None:
            if how == 0:
                self.book.fit(item, "engine", 100, quantity=amount, locker=place)
            else:
                (self.book.use if how == 1 else self.book.scrap)(item, amount, place)

        if amount > self.lies(item, place):
            with pytest.raises(StockError):
                act()
        else:
            act()
            self.put(item, amount, place, "")

    @rule(
        item=st.sampled_from(NAMES),
        quantity=QUANTITIES,
        gone=st.sampled_from(PLACES),
        come=st.sampled_from((*PLACES, LENT)),
    )
    def carry(self, item: str, quantity: int, gone: str, come: str) -> None:
        amount = self.amount(item, quantity)

        def act() -> None:
            if come == LENT:
                self.book.lend(item, "neighbour", amount, gone)
            else:
                self.book.move(item, come, amount, gone)

        if gone == come or amount > self.lies(item, gone):
            with pytest.raises(BookError):
                act()
        else:
            act()
            self.put(item, amount, gone, come)

    @rule(item=st.sampled_from(NAMES), quantity=QUANTITIES, place=st.sampled_from(PLACES))
    def give_back(self, item: str, quantity: int, place: str) -> None:
        amount = self.amount(item, quantity)
        if amount > self.lies(item, LENT):
            with pytest.raises(StockError):
                self.book.give_back(item, "neighbour", amount, place)
        else:
            self.book.give_back(item, "neighbour", amount, place)
            self.put(item, amount, LENT, place)

    @rule(item=st.sampled_from(NAMES), found=st.integers(0, 5), place=st.sampled_from(PLACES))
    def count(self, item: str, found: int, place: str) -> None:
        amount = self.amount(item, found)
        change = amount - self.lies(item, place)
        (line,) = self.book.count(place, {item: amount})
        assert line.difference == change
        self.put(item, abs(change), place if change < 0 else "", "" if change < 0 else place)

    @precondition(lambda self: self.written)
    @rule(data=st.data())
    def undo(self, data: st.DataObject) -> None:
        number = data.draw(st.integers(1, len(self.written)))
        item, quantity, gone, come = self.written[number - 1]
        if number in self.undone or (come and quantity > self.lies(item, come)):
            with pytest.raises(BookError):
                self.book.undo(number)
        else:
            self.book.undo(number)
            self.undone.add(number)
            self.put(item, quantity, come, gone)

    @rule()
    def close_and_open(self) -> None:
        self.book.close()
        self.book = open_book(self.folder / "b", today=TODAY)

    @invariant()
    def stock_is_the_sum_of_all_that_was_written(self) -> None:
        there = {place: amount for place, amount in self.held.items() if amount}
        assert {(line.item, line.locker): line.quantity for line in self.book.stock()} == there
        assert min(there.values(), default=1) > 0

    @invariant()
    def lots_add_up_to_the_stock(self) -> None:
        sums: dict[Place, Decimal] = {}
        for lot in self.book.lots():
            assert lot.quantity > 0
            sums[lot.item, lot.locker] = sums.get((lot.item, lot.locker), Decimal(0)) + lot.quantity
        assert sums == {place: amount for place, amount in self.held.items() if amount}

    @invariant()
    def the_reorder_list_is_what_lies_aboard(self) -> None:
        aboard = {n: self.lies(n, "A1") + self.lies(n, "B2") for n in NAMES}
        assert {r.item.name: r.short for r in self.book.reorder_list()} == {
            n: 3 - a for n, a in aboard.items() if a < 3
        }

    @invariant()
    def what_stands_gives_the_same_sums(self) -> None:
        sums: dict[Place, Decimal] = {}
        for m in self.book.standing():
            for locker, sign in ((m.locker_from, -1), (m.locker_to, 1)):
                if locker:
                    sums[m.item, locker] = sums.get((m.item, locker), Decimal(0)) + sign * m.quantity
        assert {place: q for place, q in sums.items() if q} == {p: amount for p, amount in self.held.items() if amount}

    def teardown(self) -> None:
        if hasattr(self, "book"):
            assert self.book.check() == ()
            export_book(self.book, self.folder / "out")
            book_from_csv(self.folder / "out", self.folder / "again.spares")
            with open_book(self.folder / "again.spares") as again:
                assert again.movements() == self.book.movements()
                assert again.lots() == self.book.lots()
            self.book.close()
        shutil.rmtree(self.folder)


TestCourse = Course.TestCase
TestCourse.settings = settings(
    max_examples=8, stateful_step_count=30, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
