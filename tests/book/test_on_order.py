"""Orders in the book: placed, received in parts, never more than ordered; kept through CSV, an old book and salvage."""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest
from book_makers import stocked_book
from test_csv_folder import contents

from repairecon.book.csv_folder import book_from_csv, export_book
from repairecon.book.proof import salvage
from repairecon.book.spares_book import JOB, SparesBook, open_book
from repairecon.book.stock import on_hand
from repairecon.records import BookError, CaseError, FitLine, Ordered, OrderedLine

SEAL = OrderedLine(part="lip seal", pieces=Decimal(3), packs=3, quoted_pack=Decimal(5), cost_unit=Decimal(7),
                   carriage_unit=Decimal(1), designation="30x47x7", material="NBR")  # fmt: skip
BEARING = OrderedLine(part="bearing", pieces=Decimal(1), packs=1, quoted_pack=Decimal(4), cost_unit=Decimal(6),
                      designation="6204-2RS")  # fmt: skip
ORDER = Ordered(on_date="2026-03-01", supplier="stockist", job="pump", unit="engine", currency="GBP",
                rate=Decimal("1.25"), expected_days=5, lines=(SEAL, BEARING))  # fmt: skip


@pytest.fixture
def book(tmp_path: Path) -> Iterator[SparesBook]:
    """A book with one order on record."""
    with stocked_book(tmp_path) as made:
        made.place([ORDER])
        yield made


def still(book: SparesBook) -> list[int]:
    return [int(line.open) for o in book.orders() for line in o.lines]


def test_what_comes_goes_off_what_is_open_and_undoing_puts_it_back(book: SparesBook) -> None:
    (came,) = book.receive_order(1, {"1": 2}, locker="A1", date="2026-03-04")
    (m,) = came.movements
    assert (m.item, m.quantity, m.cost_unit, m.person, m.currency, m.rate) == (
        "lip seal", 2, 7, "stockist", "GBP", Decimal("1.25"),
    )  # fmt: skip
    assert (m.quoted_unit, m.order_line, came.item.designation, came.item.units) == (5, 1, "30x47x7", ("engine",))
    assert still(book) == [1, 1]
    back = book.undo(m.number).movements[0]
    assert still(book) == [3, 1]
    book.undo(back.number)
    assert still(book) == [1, 1]
    assert book.check() == ()


def test_never_more_than_was_ordered(book: SparesBook) -> None:
    first = book.receive_order(1, {"lip seal": 3}, locker="A1", date="2026-03-04")[0].movements[0]
    with pytest.raises(BookError, match="0 of 3 are open"):
        book.receive_order(1, {"lip seal": 1}, locker="A1")
    book.undo(first.number)
    book.receive_order(1, {"lip seal": 1}, locker="A1", date="2026-03-04")
    with pytest.raises(BookError, match="not so many are on order"):  # the undoing undone, with one come meanwhile
        book.undo(book.movements("lip seal")[1].number)
    assert still(book) == [2, 1]


def test_every_fault_of_a_receipt_at_once(book: SparesBook) -> None:
    with pytest.raises(BookError) as said:
        book.receive_order(1, {"3": 1, "bearing": "many", "lip seal": 9}, date="2026-02-01")
    text = str(said.value)
    for words in ("write one of: 1 (lip seal); 2 (bearing)", "'many'", "3 of 3 are open", "sent on 2026-03-01"):
        assert words in text
    with pytest.raises(BookError, match="no order 2"):
        book.receive_order(2)
    assert still(book) == [3, 1]


def test_what_was_charged_is_spread_by_landed_cost_to_the_cent(book: SparesBook) -> None:
    made = book.receive_order(1, paid="10.01", locker="A1", date="2026-03-04")
    # 10.01 by 21 to 6 is 7.7856 and 2.2244; pieces are kept to the millionth
    costs = [m.quantity * m.cost_unit for h in made for m in h.movements if m.cost_unit]
    assert [round(c, 2) for c in costs] == [Decimal("7.79"), Decimal("2.22")]
    assert sum(costs) == pytest.approx(Decimal("10.01"), abs=Decimal("0.00001"))


def test_a_part_is_on_record_once_unless_it_is_said_again(book: SparesBook) -> None:
    with pytest.raises(BookError, match="bearing: order 1 of 2026-03-01 to stockist"):
        book.place([replace(ORDER, lines=(BEARING,))])
    book.place([replace(ORDER, job="another", lines=(BEARING,))])
    book.place([replace(ORDER, lines=(BEARING,))], again=True)
    assert [o.number for o in book.orders()] == [1, 2, 3]


def test_the_card_is_that_of_the_line_then_of_the_size_then_of_the_name(book: SparesBook) -> None:
    book.add_item("bearing", designation="6203-2RS", locker="A1")  # of that name, but another size
    book.add_item("wheel end", designation="6204 2RS", locker="A1")
    assert (found := book.card_of(BEARING, "engine")) is not None
    assert found.name == "wheel end"
    assert book.card_of(replace(BEARING, item="bearing"), "engine") == book.item("bearing")
    assert book.card_of(replace(SEAL, designation="30x52x7"), "engine") is None
    book.add_item("gasket, cover", units=["engine"])
    plain = replace(SEAL, part="cover gasket", designation="")
    assert (named := book.card_of(plain, "engine")) is not None
    assert named.name == "gasket, cover"
    assert book.card_of(plain, "windlass") is None
    book.receive_order(1, {"lip seal": 3}, locker="A1", date="2026-03-04")
    book.write_card("item", "lip seal", designation="30x47x7 FPM")
    assert (own := book.card_of(book.orders()[0].lines[0], "engine")) is not None  # what came stays on its card
    assert own.name == "lip seal"


def test_a_unit_that_was_ordered_whole_has_a_card_of_its_own(book: SparesBook) -> None:
    new = OrderedLine(part="new", pieces=Decimal(1), packs=1, quoted_pack=Decimal(400), cost_unit=Decimal(500),
                      whole_unit=True)  # fmt: skip
    book.place([replace(ORDER, lines=(new,))])
    (came,) = book.receive_order(2, locker="A1", date="2026-03-04")
    assert (came.item.name, came.movements[0].note) == ("engine, new", "new")


def test_what_came_for_another_job_waits_for_it(book: SparesBook) -> None:
    """A second job finds it aboard only when the first is closed, and nothing of it there any more or left over."""

    def seen(job: str) -> dict[str, int]:
        return {x.item: x.quantity for x in on_hand(book, job=job) if x.item == "lip seal"}

    book.receive_order(1, {"lip seal": 3}, locker="A1", date="2026-03-04")
    assert (seen("pump"), seen(""), seen("windlass")) == ({"lip seal": 3}, {"lip seal": 3}, {})
    fitted = FitLine("lip seal", 2, note="pump, 2026-03-01", lot="order 1")
    done = book.write_job(f"{JOB}2026-03-01, abc", [], [fitted], "engine")
    assert seen("windlass") == {"lip seal": 1}
    book.undo(done.happened[0].movements[0].number)
    assert seen("windlass") == {}


def test_an_expected_day_and_how_late(book: SparesBook) -> None:
    (order,) = book.orders()
    assert (order.expected_on, order.late_days("2026-03-06"), order.late_days("2026-03-09")) == ("2026-03-06", 0, 3)
    book.receive_order(1, locker="A1", date="2026-03-09")
    assert book.orders()[0].late_days("2026-04-01") == 0


def test_orders_go_out_as_csv_and_come_in_equal(book: SparesBook, tmp_path: Path) -> None:
    book.receive_order(1, {"lip seal": 2}, locker="A1", date="2026-03-04")
    export_book(book, tmp_path / "out")
    book_from_csv(tmp_path / "out", tmp_path / "again.spares")
    assert contents(tmp_path / "boat.spares") == contents(tmp_path / "again.spares")
    lines = tmp_path / "out" / "order_lines.csv"
    lines.write_text(lines.read_text().replace("\n1,1,", "\n1,7,"))
    with pytest.raises(CaseError, match="1 to 1"):
        book_from_csv(tmp_path / "out", tmp_path / "bad.spares")


def test_salvage_keeps_orders(book: SparesBook, tmp_path: Path) -> None:
    book.receive_order(1, {"lip seal": 2}, locker="A1", date="2026-03-04")
    orders = book.orders()
    book.close()
    assert salvage(tmp_path / "boat.spares", tmp_path / "new.spares").lost == ()
    with open_book(tmp_path / "new.spares") as new:
        assert new.orders() == orders
        assert new.check() == ()


def test_nothing_of_an_order_is_changed(book: SparesBook, tmp_path: Path) -> None:
    for sql in ("UPDATE orders SET supplier = 'x'", "DELETE FROM order_lines", "UPDATE order_lines SET pieces = 1"):
        link = sqlite3.connect(tmp_path / "boat.spares")
        with contextlib.closing(link), pytest.raises(sqlite3.Error, match="only added to"):
            link.execute(sql)
    book.close()
    with contextlib.closing(sqlite3.connect(tmp_path / "boat.spares")) as link:
        link.execute("DROP TRIGGER orders_unchanged")
        link.execute("UPDATE orders SET supplier = 'x'")
        link.commit()
    from repairecon.book.proof import check_file

    assert "order 1 is not as it was written" in check_file(tmp_path / "boat.spares")
