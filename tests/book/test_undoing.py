"""A whole job in the spares book: all of it or nothing, once; a trial leaves no trace."""

from __future__ import annotations

import datetime
import sqlite3
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import pytest
from book_makers import corrected, fitted_to

from repairecon.book.csv_folder import book_from_csv, export_book
from repairecon.book.spares_book import SparesBook, open_book
from repairecon.records import BookError, FitLine, JobInBook, ReceiveLine

TODAY = datetime.date(2026, 6, 1)
CAME = (ReceiveLine("seal", 4, "chandler", "12.50", lot="job 1"), ReceiveLine("shaft", 1, cost_unit=80, lot="job 1"))
FITTED = (FitLine("seal", 2, lot="job 1"), FitLine("seal", 1), FitLine("S-2", 1, lot="job 1"))


@pytest.fixture
def book(tmp_path: Path) -> Iterator[SparesBook]:
    with open_book(tmp_path / "boat", create=True, today=TODAY) as made:
        made.add_locker("B1")
        made.add_unit("pump")
        made.add_item("seal", minimum=5, locker="B1")
        made.add_item("shaft", makers_number="S-2", locker="B1")
        made.receive([ReceiveLine("seal", 1, cost_unit=9)], "2025-04-01")
        made.fit("seal", "pump", 100, "2025-05-01")
        made.receive([ReceiveLine("seal", 2, cost_unit=10)], "2025-06-01")
        yield made


def write(book: SparesBook, **more: object) -> JobInBook:
    return book.write_job("job 1", CAME, FITTED, "pump", hours=350, date="2026-05-20", **more)  # type: ignore[arg-type]


def test_all_of_a_job(book: SparesBook) -> None:
    done = write(book)
    assert done.written
    # 2 seals lay there, 4 came, 3 were fitted: 2 of those that came and 1 of the older
    assert {s.item: s.quantity for s in book.stock()} == {"seal": Decimal(3)}
    assert [(x.quantity, x.cost_unit) for x in book.lots("seal")] == [(1, 10), (2, Decimal("12.5"))]
    assert [(m.item, m.quantity, m.on_date, m.hours) for m in fitted_to(book, "pump")][1:] == [
        ("seal", 2, "2026-05-20", 350),
        ("seal", 1, "2026-05-20", 350),
        ("shaft", 1, "2026-05-20", 350),
    ]
    assert [(r.item.name, r.short) for r in done.reorder] == [("seal", 2)]
    seal = done.happened[0]
    assert (seal.item.name, len(seal.movements), seal.places, seal.hours_run) == ("seal", 3, {"B1": 3}, 250)
    assert {m.reference for m in book.movements()[3:]} == {"job 1"}
    assert book.check() == ()


def test_a_trial_shows_the_same_and_leaves_no_trace(book: SparesBook) -> None:
    before = book.movements()
    cards = [{"name": "hose", "locker": "B1"}]
    shown = write(book, write=False, new_cards=cards)
    assert book.movements() == before
    assert [i.name for i in book.items()] == ["seal", "shaft"]
    done = write(book)
    assert not shown.written
    assert [(h.item, h.places, h.aboard, h.reorder and h.reorder.short) for h in shown.happened] == [
        (h.item, h.places, h.aboard, h.reorder and h.reorder.short) for h in done.happened
    ]
    assert [m.number for h in shown.happened for m in h.movements] == [
        m.number for h in done.happened for m in h.movements
    ]


def test_never_twice_unless_undone(book: SparesBook) -> None:
    write(book)
    whole = book.movements()
    for trial in (True, False):
        with pytest.raises(BookError, match=r"in the book already \(movements 4, 5, 6, 7, 8\)"):
            write(book, write=trial)
    assert book.movements() == whole
    corrected(book, 4, cost_unit=13_000_000)  # what was corrected stands still
    with pytest.raises(BookError, match="already"):
        write(book)
    for m in (8, 7, 6, 5, 9):  # 9 stands for 4; what was fitted goes back before what came is taken back
        with pytest.raises(BookError, match="already"):
            write(book)
        book.undo(m)
    assert write(book).written
    assert book.check() == ()


@pytest.mark.parametrize("place", range(6))
def test_all_or_nothing_wherever_it_breaks(book: SparesBook, place: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """The disk fails at the first, second, ... row that the job adds: card, versions, movements."""
    before = book.movements(), book.items(), book.units()
    insert, left = book.ledger.insert, [place]

    def failing(table: str, *values: dict[str, object]) -> int:
        left[0] -= 1
        if left[0] < 0:
            raise sqlite3.OperationalError("disk I/O error")
        return insert(table, *values)

    with monkeypatch.context() as patch:
        patch.setattr(book.ledger, "insert", failing)
        with pytest.raises(sqlite3.OperationalError):
            write(book, new_cards=[{"name": "hose"}])
    assert (book.movements(), book.items(), book.units()) == before
    assert write(book).written


def test_every_fault_at_once_and_nothing_written(book: SparesBook) -> None:
    before = book.movements()
    came = (ReceiveLine("seel", 1), ReceiveLine("shaft", 0.5), ReceiveLine("seal", 4, lot="job 1"))
    fitted = (FitLine("seal", 1, lot="job 1"), FitLine("seal", 7), FitLine("shaft", 1))
    with pytest.raises(BookError) as error:
        book.write_job("job 1", came, fitted, "pump")
    text = str(error.value)
    for words in ("did you mean 'seal'", "whole pieces", "7 asked, 2 in 'B1'", "1 asked, none anywhere"):
        assert words in text
    assert "lot" not in text  # those never came: the fault of the delivery is told once
    assert book.movements() == before
    with pytest.raises(BookError, match="no unit 'pumpe'"):
        book.write_job("job 1", CAME, FITTED, "pumpe")
    with pytest.raises(BookError, match="still to come"):
        book.write_job("job 1", CAME, FITTED, "pump", date="2027-01-01")
    with pytest.raises(BookError, match="reference"):
        book.write_job(" ", CAME, FITTED, "pump")
    assert book.movements() == before


def test_new_cards_and_a_new_unit(book: SparesBook) -> None:
    card = {"name": "hose", "locker": "B1", "carried": False, "units": ["bilge pump"]}
    done = book.write_job("job 2", [ReceiveLine("hose", 1)], [FitLine("hose")], "bilge pump", new_cards=[card])
    assert [(m.item, m.unit) for m in fitted_to(book, "bilge pump")] == [("hose", "bilge pump")]
    assert [r.item.name for r in done.reorder] == ["seal"]


def test_a_job_survives_the_way_through_csv(book: SparesBook, tmp_path: Path) -> None:
    write(book)
    export_book(book, tmp_path / "out")
    book_from_csv(tmp_path / "out", tmp_path / "again.spares")
    with open_book(tmp_path / "again.spares", today=TODAY) as again, pytest.raises(BookError, match="already"):
        write(again)
