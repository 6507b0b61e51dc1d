"""A new boat from the owner's own lists: whole or not at all; invented figures."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from repairecon.__main__ import main
from repairecon.book.own_list import LOCKER, boat_from_lists
from repairecon.book.spares_book import book_at, open_book
from repairecon.read.boat import read_boat
from repairecon.records import RepaireconError, SheetError

UNITS = "Equipment;Qty;Price\nraw water pump;1;640,50\nwinch;2;350\n"
SPARES = "Part name;Qty;Stowage;Price each;Bought on;Shade\nimpeller;2;port locker;18,50;12.03.2024;blue\nbelt;1;;7;;\n"


@pytest.fixture
def lists(tmp_path: Path) -> tuple[Path, Path]:
    """A list of units and one of spares, of which both are good."""
    (tmp_path / "units.csv").write_text(UNITS, encoding="utf-8")
    (tmp_path / "spares.csv").write_text(SPARES, encoding="utf-8")
    return tmp_path / "units.csv", tmp_path / "spares.csv"


def test_her_units_and_her_spares(lists: tuple[Path, Path], tmp_path: Path) -> None:
    taken = boat_from_lists(tmp_path / "a" / "b", "Example", "GBP", units=lists[0], spares=lists[1])
    assert taken == (("units.csv", 2, ()), ("spares.csv", 2, ("Shade",)))
    boat = read_boat(tmp_path / "a" / "b")
    assert [(u.unit, u.count, u.price_new and u.price_new.likely) for u in boat.units] == [
        ("raw water pump", 1, 640.5), ("winch", 2, 350.0),
    ]  # fmt: skip
    with open_book(tmp_path / "a" / "b" / "spares.book") as book:
        assert book.currency == "GBP"
        stock = {(s.item_number, s.locker): s.quantity for s in book.stock()}
        assert sorted((k[1], v) for k, v in stock.items()) == [(LOCKER, 1), ("port locker", 2)]
        (bought,) = (m for m in book.movements() if m.on_date == "2024-03-12")
        assert bought.cost_unit == Decimal("18.5")


def test_every_fault_of_both_lists_and_nothing_written(
    lists: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lists[0].write_text(UNITS.replace("2;350", "two;350"), encoding="utf-8")
    lists[1].write_text(SPARES.replace("belt;1", "belt;one"), encoding="utf-8")
    before = sorted(p.name for p in tmp_path.iterdir())
    line = ["new-boat", str(tmp_path / "a" / "b"), "--units", str(lists[0]), "--spares", str(lists[1])]
    assert main(line) == 2
    said = capsys.readouterr().err
    assert "units.csv row 3, Qty: found 'two'; write a number" in said
    assert "spares.csv row 3, Qty: found 'one'; write a number" in said
    assert sorted(p.name for p in tmp_path.iterdir()) == before
    lists[0].write_text(UNITS, encoding="utf-8")
    lists[1].write_text(SPARES, encoding="utf-8")
    assert main(line) == 0
    assert "nothing taken from: Shade" in capsys.readouterr().out
    assert main(["whole-boat", line[1]]) == 0


def test_a_folder_with_something_in_it_stays(lists: tuple[Path, Path], tmp_path: Path) -> None:
    with pytest.raises(RepaireconError, match="is not empty"):
        boat_from_lists(tmp_path, units=lists[0])
    (tmp_path / "empty").mkdir()
    boat_from_lists(tmp_path / "empty")
    assert (tmp_path / "empty" / "spares.book").is_file()
    with pytest.raises(SheetError, match="no such file"):
        boat_from_lists(tmp_path / "new", spares=tmp_path / "none.xlsx")
    assert not (tmp_path / "new").exists()


def test_a_boat_is_named_in_her_book(tmp_path: Path) -> None:
    boat_from_lists(tmp_path / "heron", "Heron", "SEK")
    with book_at(tmp_path / "heron") as book:
        assert (book.about["boat"], book.currency) == ("Heron", "SEK")
