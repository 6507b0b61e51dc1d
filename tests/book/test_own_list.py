"""An owner's own list: columns guessed or told, looked at first, taken in whole or not at all, twice without harm."""

from __future__ import annotations

import datetime
from decimal import Decimal
from pathlib import Path

import pytest
from book_makers import BELT, OIL, SEAL, held, new_book, stocked_book

from repairecon.book.own_list import WORDS, ImportPlan, write_import
from repairecon.read.sheets import Sheet, places_meant
from repairecon.records import CaseError

HEADINGS = [
    "System",
    "Part",
    "Part No.",
    "Qty",
    "Min",
    "Stowage",
    "Price",
    "Bought from",
    "Used in",
    "Cure date",
    "Colour",
]
ROWS: list[list[object]] = [
    [
        "cooling",
        "impeller, raw water pump",
        "IMP 9",
        3.0,
        2.0,
        "A1",
        21.5,
        "chandler",
        "raw water pump",
        "2Q24",
        "black",
    ],
    ["", "", "", None, None, "", None, "", "", "", ""],
    ["cooling", "hose clamp, 20-32 mm", "", 12, 10, "C4", "2.4", "", "engine; raw water pump", float("nan"), ""],
    ["cooling", "hose clamp, 20-32 mm", "", 4, 10, "shed", "2.4", "", "", None, ""],
    ["electrics", BELT, "", 1, 2, "", "", "", "", datetime.date(2024, 5, 1), ""],
    ["electrics", "bulb, anchor light"],
]


def listed(headings: list[str], rows: list[list[object]], file: str = "list") -> Sheet:
    """A list as it is read from a file: blank cells and rows that hold nothing left out."""
    table = {k: tuple(None if cell in ("", None) or cell != cell else cell for cell in row)
             for k, row in enumerate([headings, *rows], start=1)}  # fmt: skip
    return Sheet(file, "", {k: row for k, row in table.items() if any(cell is not None for cell in row)})  # type: ignore[arg-type,misc]


def guessed(headings: list[object]) -> dict[str, object]:
    return {name: headings[k] for name, k in places_meant(headings, WORDS).items()}


def test_columns_are_guessed() -> None:
    assert guessed([*HEADINGS]) == {
        "name": "Part", "system": "System", "units": "Used in", "makers_number": "Part No.", "minimum": "Min",
        "locker": "Stowage", "quantity": "Qty", "cost_unit": "Price", "supplier": "Bought from",
        "cure_date": "Cure date",
    }  # fmt: skip
    assert guessed(["Itemm", "Quantty", "Stowge", None, 4]) == {
        "name": "Itemm", "quantity": "Quantty", "locker": "Stowge",
    }  # fmt: skip


def test_looking_writes_nothing_and_says_what_would_be(tmp_path: Path) -> None:
    with stocked_book(tmp_path) as book:
        before = (book.movements(), book.items())
        plan = ImportPlan(book, listed(HEADINGS, ROWS))
        assert (book.movements(), book.items()) == before
    assert plan.problems.faults == ()
    assert plan.left_out == ("Colour",)
    assert plan.new_items == ("impeller, raw water pump", "hose clamp, 20-32 mm", "bulb, anchor light")
    assert (list(plan.new_lockers), list(plan.new_units)) == (["C4"], [])
    belt = next(line for line in plan.lines if line.item == BELT)
    assert (belt.new, belt.in_book, belt.difference, dict(belt.changes)) == (
        False, 2, -1, {"system": "electrics", "minimum": "2"},
    )  # fmt: skip
    assert [line.row for line in plan.lines] == [2, 4, 5, 6, 7]


def test_a_list_is_taken_in_and_again_without_harm(tmp_path: Path) -> None:
    with stocked_book(tmp_path) as book:
        write_import(book, ImportPlan(book, listed(HEADINGS, ROWS)))
        stock = held(book)
        assert stock["impeller, raw water pump", "A1"] == "3"
        assert (stock["hose clamp, 20-32 mm", "C4"], stock["hose clamp, 20-32 mm", "shed"]) == ("12", "4")
        assert stock[BELT, "B2"] == "1"
        card = book.item("imp 9")
        assert (card.minimum, card.locker, card.units) == (2, "A1", ("raw water pump",))
        bought = [m for m in book.movements("imp 9") if m.kind == "bought"][-1]
        assert (bought.cost_unit, bought.person, bought.cure_date) == (Decimal("21.5"), "chandler", "2024-04-01")
        assert book.item("hose clamp, 20-32 mm").units == ("engine", "raw water pump")
        assert book.item("hose clamp, 20-32 mm").locker == "C4"
        assert book.item(BELT).minimum == 2
        written, cards = book.movements(), book.items()
        again = ImportPlan(book, listed(HEADINGS, ROWS))
        assert [line.difference for line in again.lines] == [0] * 5
        assert [dict(line.changes) for line in again.lines] == [{}] * 5
        write_import(book, again)
        assert (book.movements(), book.items()) == (written, cards)
        assert book.check() == ()


def test_columns_may_be_said_and_a_place_for_the_rest(tmp_path: Path) -> None:
    with new_book(tmp_path) as book:
        columns = {"what": "name", "how many": "quantity"}
        plan = ImportPlan(book, listed(["how many", "what"], [["2", "thimble"]]), columns, locker="B2")
        write_import(book, plan)
        assert held(book) == {("thimble", "B2"): "2"}
        assert book.movements()[0].kind == "counted"


def test_a_decimal_comma_is_taken_where_it_leaves_no_doubt(tmp_path: Path) -> None:
    rows: list[list[object]] = [["rope", "2,5", "A1", "1,50", "metre"], ["bolt", "3", "A1", "1.234,50", "piece"]]
    with new_book(tmp_path) as book:
        write_import(book, ImportPlan(book, listed(["item", "qty", "locker", "price", "measure"], rows)))
        assert held(book) == {("rope", "A1"): "2.5", ("bolt", "A1"): "3"}
        assert [str(m.cost_unit) for m in book.movements()] == ["1.5", "1234.5"]


def test_all_faults_of_a_list_at_once(tmp_path: Path) -> None:
    headings = ["item", "qty", "locker", "price", "min", "measure", "units", "cure date"]
    rows: list[list[object]] = [
        ["bolt", "two", "A1", "1,250", "", "", "", ""],
        ["", 1, "A1"],
        ["nut", 1.5, "A1", "", "", "box", "", "5Q99"],
        ["rope", "1.5", "", "", "", "metre", "", ""],
        ["washer", 1, "A1", "", "", "", "raw water pmup", ""],
        [OIL.upper(), 2.5, "B2", "", "", "", "", ""],
        [OIL, 2.5, "B2", "", "", "", "", ""],
        [SEAL, -1, "A1", "", "", "", "", True],
    ]
    with new_book(tmp_path) as book:
        plan = ImportPlan(book, listed(headings, rows, "my list"))
        with pytest.raises(CaseError) as seen:
            write_import(book, plan)
        assert held(book) == {}
        assert len(book.items()) == 3
    found = [str(fault) for fault in seen.value.faults]
    expected = [
        "my list row 2, price: found '1,250'; say which mark is the decimal one",
        "my list row 2, qty: found 'two'; write a number",
        "my list row 3, item: found nothing; name the item",
        "my list row 4, cure date: found '5Q99'; write year-month-day, or a quarter",
        "my list row 4, measure: found 'box'; write one of: 'piece', 'metre', 'litre', 'kilogram'",
        "my list row 4, qty: found '1.5'; write a whole number",
        "my list row 5, locker: found nothing; name the locker",
        "my list row 6, units: found 'raw water pmup'; did you mean 'raw water pump'?",
        "my list row 8, item: found 'oil, engine' again; make one row of it and row 7",
        "my list row 9, cure date: found 'yes'; write year-month-day",
        "my list row 9, qty: found '-1'; write not less than 0",
    ]
    for start in expected:
        assert [f for f in found if f.startswith(start)], (start, found)
    assert len(found) == len(expected)


def test_headings_that_are_not_there(tmp_path: Path) -> None:
    with new_book(tmp_path) as book:
        below = listed(["Spares of", "my boat"], [["Part", "Qty", "Stowage"], ["bolt", "3", "A1"]])
        assert [(x.row, x.item, x.quantity) for x in ImportPlan(book, below).lines] == [(3, "bolt", 3)]
        plan = ImportPlan(book, listed(["a", "b"], [["x", "y"]]))
        assert "say which heading holds the names" in str(plan.problems.faults[0])
        plan = ImportPlan(book, listed(["item", "number"], []), {"itme": "name", "number": "quantity", "x": "qantity"})
        said = " ".join(map(str, plan.problems.faults))
        assert "did you mean 'item'" in said
        assert "did you mean 'quantity'" in said
