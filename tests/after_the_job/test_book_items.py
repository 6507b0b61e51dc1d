"""A piece that was received and then booked by the closed job is counted once, whatever the order of acts."""

from __future__ import annotations

import random
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import pytest
from book_of_the_job import make_book
from done_case import write_case

from repairecon.after_the_job.book_items import BookWishes
from repairecon.after_the_job.job import AfterTheJob, after_the_job, decide
from repairecon.after_the_job.spares_book import IntoTheBook, into_the_book
from repairecon.book.spares_book import SparesBook
from repairecon.read.closed import read_closed
from repairecon.records import BookError, Ordered, OrderedLine, ReceiveLine

HEAD = "kind,name,outcome,quantity,bought,paid,days,from_spares\n"
PARTS = "part,quantity,needed,price_likely,lead_days_likely,standard_size,material\n"
ORDER = "order_chandler.csv"


def close(folder: Path, rows: str, on: str = "2026-05-04", parts: str = "") -> AfterTheJob:
    """A pump's job with this sheet; seals and a shaft, or other parts."""
    write_case(folder, HEAD + rows)
    if parts:
        (folder / "parts.csv").write_text(PARTS + parts)
        (folder / "events.csv").write_text((folder / "events.csv").read_text().replace("strip,shaft,", "strip,,"))
    decide(folder, "rebuild here", on=on, draws=200)
    return after_the_job(read_closed(folder))


@pytest.fixture
def book(tmp_path: Path) -> Iterator[SparesBook]:
    """Two seals aboard, bought a year before."""
    with make_book(tmp_path / "boat") as made:
        yield made


def came(book: SparesBook, pieces: float, on: str = "2026-05-08", item: str = "seal") -> int:
    book.receive([ReceiveLine(item, pieces, "chandler", 31, locker="B1")], on, ORDER)
    return book.movements()[-1].number


def kinds(made: IntoTheBook) -> list[tuple[str, str, float]]:
    assert made.done is not None
    return [(m.kind, m.item, float(m.quantity)) for h in made.done.happened for m in h.movements]


def stock(book: SparesBook) -> dict[str, float]:
    return {s.item: float(s.quantity) for s in book.stock()}


def test_received_and_then_booked_is_bought_once(tmp_path: Path, book: SparesBook) -> None:
    number = came(book, 3)
    made = into_the_book(close(tmp_path / "job", "part,seal,,3,,105,,\n"), book, write=True)
    assert kinds(made) == [("fitted", "seal", 3)]
    assert made.lines[0].received == ((number, 3.0),)
    # two there before, three came, three went in: those that came, at 31, were taken
    assert [(float(x.quantity), x.cost_unit) for x in book.lots()] in ([(2, 20)], [(2, 31)])
    assert stock(book) == {"seal": 2}
    assert sum(m.kind == "bought" for m in book.movements()) == 2


def test_a_part_delivery_leaves_the_rest_to_the_job(tmp_path: Path, book: SparesBook) -> None:
    came(book, 2)
    made = into_the_book(close(tmp_path / "job", "part,seal,,3,,105,,\n"), book, write=True)
    assert sorted(kinds(made)) == [("bought", "seal", 1), ("fitted", "seal", 1), ("fitted", "seal", 2)]
    assert stock(book) == {"seal": 2}


def test_two_jobs_do_not_take_the_same_delivery(tmp_path: Path, book: SparesBook) -> None:
    came(book, 4)
    into_the_book(close(tmp_path / "one", "part,seal,,2,3,105,,\n"), book, write=True)
    assert stock(book) == {"seal": 4}
    other = into_the_book(close(tmp_path / "two", "part,seal,,3,3,99,,\n", on="2026-05-05"), book, write=True)
    # one of the four is left for the second job, which bought two more
    assert [x.in_book for x in other.lines if x.moved.movement == "bought"] == [1.0]
    assert ("bought", "seal", 2) in kinds(other)
    assert stock(book) == {"seal": 3}


def test_undoing_the_job_frees_what_had_come(tmp_path: Path, book: SparesBook) -> None:
    came(book, 3)
    found = close(tmp_path / "job", "part,seal,,3,,105,,\n")
    into_the_book(found, book, write=True)
    with pytest.raises(BookError, match="already"):
        into_the_book(found, book, write=True)
    book.undo(book.movements()[-1].number)
    assert stock(book) == {"seal": 5}
    again = into_the_book(found, book, write=True)
    assert [x.in_book for x in again.lines] == [3.0, 0.0]
    assert stock(book) == {"seal": 2}


def test_the_delivery_after_the_job_is_said_of(tmp_path: Path, book: SparesBook) -> None:
    found = close(tmp_path / "job", "part,seal,,3,,105,,\n")
    into_the_book(found, book, write=True)
    number = came(book, 3, on="2026-05-20")
    problem = into_the_book(found, book).problems[-1]
    assert f"if they are the same pieces, undo movement {number}" in problem
    book.undo(number)
    assert stock(book) == {"seal": 2}
    assert not any("same pieces" in p for p in into_the_book(found, book).problems)


def test_a_delivery_before_the_decision_is_stock(tmp_path: Path, book: SparesBook) -> None:
    came(book, 3, on="2026-05-03")
    into_the_book(close(tmp_path / "job", "part,seal,,3,,105,,\n"), book, write=True)
    assert stock(book) == {"seal": 5}


def test_all_received_and_none_fitted_writes_nothing(tmp_path: Path, book: SparesBook) -> None:
    came(book, 3)
    made = into_the_book(close(tmp_path / "job", "part,seal,,0,3,105,,\n"), book)
    assert "nothing to write" in made.problems[0]
    assert stock(book) == {"seal": 5}


@pytest.mark.parametrize("seed", range(6))
def test_any_deliveries_and_any_job_by_a_plain_count(tmp_path: Path, book: SparesBook, seed: int) -> None:
    """What is aboard = what was, what came or was bought (whichever is more), less what was fitted."""
    rng = random.Random(seed)
    parcels = [rng.randint(1, 3) for _ in range(rng.randint(0, 3))]
    bought, fitted = rng.randint(1, 6), rng.randint(1, 3)
    for k, pieces in enumerate(parcels):
        came(book, pieces, on=f"2026-05-{10 + k}")
    into_the_book(close(tmp_path / "job", f"part,seal,,{fitted},{bought},105,,\n"), book, write=True)
    assert stock(book).get("seal", 0.0) == 2 + max(sum(parcels), bought) - fitted


SEALS = Ordered(
    on_date="2026-04-20", supplier="stockist", job="job", unit="bilge pump", currency="EUR", rate=Decimal(1),
    expected_days=3,
    lines=(OrderedLine(part="seal", pieces=Decimal(3), packs=3, quoted_pack=Decimal(30), cost_unit=Decimal(35)),),
)  # fmt: skip


@pytest.mark.parametrize(("bought", "fitted"), [(3, 2), (2, 2), (1, 1)])
def test_each_piece_of_an_order_counts_once_whatever_comes_first(tmp_path: Path, bought: int, fitted: int) -> None:
    """Three on order, two aboard before: parcels, the closing, the rest; then the closing taken back and done again."""
    found = close(tmp_path / "job", f"part,seal,,{fitted},{bought},105,,\n")
    for k, parcels in enumerate([(), (1,), (2, 1), (3,), (1, 1)]):
        with make_book(tmp_path / f"boat{k}") as book:
            each_once(book, found, parcels, bought, fitted)


def each_once(book: SparesBook, found: AfterTheJob, parcels: tuple[int, ...], bought: int, fitted: int) -> None:
    book.place([SEALS])
    for k, pieces in enumerate(parcels):
        book.receive_order(1, {"seal": pieces}, date=f"2026-04-{25 + k}")  # before the job was decided
    done = into_the_book(found, book, write=True).done
    assert done is not None
    still = 3 - max(sum(parcels), bought)
    assert book.orders()[0].lines[0].open == still
    assert stock(book).get("seal", 0.0) == 2 + 3 - still - fitted
    if still:
        book.receive_order(1, date="2026-05-20")
    assert stock(book)["seal"] == 2 + 3 - fitted
    for m in reversed(done.happened[0].movements):
        book.undo(m.number)
    came = 3 - max(bought - sum(parcels), 0)  # what the closing had booked is open again
    assert (book.orders()[0].lines[0].open, stock(book)["seal"]) == (3 - came, 2 + came)
    into_the_book(found, book, write=True)
    if left := book.orders()[0].lines[0].open:
        book.receive_order(1, {"seal": left}, date="2026-05-21")
    assert (book.orders()[0].open, stock(book)["seal"]) == ((), 2 + 3 - fitted)
    assert book.check() == ()


def test_another_size_is_not_merged_into_a_card_of_that_name(tmp_path: Path, book: SparesBook) -> None:
    """6008 is 40 x 68 x 15, 6203 is 17 x 40 x 12 (ISO 15)."""
    book.add_item("bearing", designation="6203-2RS", locker="B1")
    found = close(tmp_path / "job", "part,bearing,,2,,18,,\n", parts="bearing,2,always,9,1,6008-2RS,\n")
    made = into_the_book(found, book)
    assert made.problems == (
        "'bearing': 'bearing' of the book is a 6203-2RS, the case takes 6008-2RS: name its item, or make a card of "
        "another name for it",
    )
    assert made.lines[0].item == ""
    made = into_the_book(found, book, write=True, wishes=BookWishes(new_cards=True, locker="B1"))
    assert made.lines[0].item == "bearing, bilge pump"
    assert [book.item(n).designation for n in ("bearing", "bearing, bilge pump")] == ["6203-2RS", "6008-2RS"]


def test_the_size_goes_before_the_name(tmp_path: Path, book: SparesBook) -> None:
    book.add_item("bearing, front", designation="6008-2RS", locker="B1")
    book.add_item("bearing, deckwash", designation="6203 2RS", locker="B1")
    parts = "bearing front,2,always,9,1,6203-2RS,\n"
    made = into_the_book(close(tmp_path / "job", "part,bearing front,,2,,18,,\n", parts=parts), book)
    assert made.problems == ()
    assert {(x.item, x.known_by) for x in made.lines} == {("bearing, deckwash", "6203-2RS")}


def test_the_line_of_the_order_goes_before_both(tmp_path: Path, book: SparesBook) -> None:
    """Two cards of one size; the order came in under the one that is called as the part of the case."""
    book.add_item("bearing, front", designation="6203-2RS", locker="B1")
    book.add_item("spare bearing", designation="6203-2RS", locker="B1")
    came(book, 2, item="spare bearing")
    parts = "spare bearing,2,always,9,1,6203-2RS,\n"
    made = into_the_book(close(tmp_path / "job", "part,spare bearing,,2,,18,,\n", parts=parts), book, write=True)
    assert [(x.item, x.in_book) for x in made.lines] == [("spare bearing", 2.0), ("spare bearing", 0.0)]
    assert stock(book) == {"seal": 2}
