"""The spares book: one act does all, nothing is lost, nothing goes below zero, what is wrong is said in a sentence."""

from __future__ import annotations

import sqlite3
from decimal import Decimal
from pathlib import Path

import pytest
from book_makers import BELT, OIL, SEAL, corrected, fitted_to, held, new_book, stocked_book

from repairecon.book.spares_book import SparesBook, open_book
from repairecon.records import BookError, ReceiveLine, StockError


def test_fitting_is_one_act(tmp_path: Path) -> None:
    with stocked_book(tmp_path) as book:
        first = book.fit(SEAL, "raw water pump", 1210, "2026-03-01")
        assert (first.aboard, first.reorder, first.before) == (Decimal(3), None, None)
        assert first.movements[0].locker_from == "A1"
        book.fit("RW-20", "raw water pump", 1315, "2026-03-20")
        third = book.fit("20x35x7", "Raw  Water Pump", "1400.5", "2026-05-01")
        assert third.aboard == 1
        assert third.before is not None
        assert third.before.hours == 1315
        assert third.hours_run == Decimal("85.5")
        line = third.reorder
        assert line is not None
        assert line.short == 1
        assert line.last is not None
        assert (line.last.person, line.last.cost_unit, line.last.quoted_unit) == (
            "bearing stockist", Decimal("6.25"), Decimal("5.1"),
        )  # fmt: skip
        assert [r.item.name for r in book.reorder_list()] == [SEAL]
        history = fitted_to(book, "raw water pump")
        assert [(m.on_date, m.hours) for m in history] == [
            ("2026-03-01", 1210), ("2026-03-20", 1315), ("2026-05-01", Decimal("1400.5")),
        ]  # fmt: skip
        assert next(u for u in book.units() if u.name == "raw water pump").hours == Decimal("1400.5")


def test_more_than_lies_there_is_refused_with_what_lies_where(tmp_path: Path) -> None:
    with stocked_book(tmp_path) as book:
        book.move(SEAL, "B2", 1)
        before = book.movements()
        with pytest.raises(StockError, match=r"4 asked, 3 in 'A1', 1 in 'B2' by the book.*count the locker first"):
            book.use(SEAL, 4, "A1")
        with pytest.raises(StockError, match="5 asked"):
            book.use(SEAL, 5)
        with pytest.raises(StockError, match="of lot 'other'"):
            book.use(SEAL, 1, "A1", lot="other")
        assert book.movements() == before
        book.count("A1", {SEAL: 5})
        assert book.use(SEAL, 4, "A1").aboard == 2


def test_the_file_itself_refuses_what_the_rules_forbid(tmp_path: Path) -> None:
    """SQLite alone, without this program, cannot be brought to lose or falsify a line."""
    with stocked_book(tmp_path) as book:
        path = book.ledger.path
    link = sqlite3.connect(path)
    link.execute("PRAGMA foreign_keys = ON")
    fields = "movement, on_date, kind, item, quantity, locker_from, locker_to, unit, undoes, written_at"
    row = f"INSERT {{}} INTO movements ({fields}) VALUES"
    refused = [
        "UPDATE movements SET quantity = 1", "DELETE FROM movements", "DELETE FROM item_versions",
        "UPDATE item_versions SET minimum = 0", "DELETE FROM about",
        row.format("OR REPLACE") + " (1, '2026-01-01', 'bought', 1, 1000, NULL, 2, NULL, NULL, '')",
        row.format("") + " (NULL, '2026-01-01', 'used', 1, 4001, 2, NULL, NULL, NULL, '')",
        row.format("") + " (NULL, '2026-01-01', 'used', 1, 1, 3, NULL, NULL, NULL, '')",
        row.format("") + " (NULL, '2026-01-01', 'used', 1, -1, 2, NULL, NULL, NULL, '')",
        row.format("") + " (NULL, '2026-01-01', 'fitted', 1, 1, 2, NULL, NULL, NULL, '')",
        row.format("") + " (NULL, '2026-02-30', 'used', 1, 1, 2, NULL, NULL, NULL, '')",
        row.format("") + " (NULL, '2026-01-01', 'stolen', 1, 1, 2, NULL, NULL, NULL, '')",
        row.format("") + " (NULL, '2026-01-01', 'bought', 99, 1, NULL, 2, NULL, NULL, '')",
        row.format("") + " (NULL, '2026-01-01', 'bought', 1, 1, NULL, 99, NULL, NULL, '')",
        row.format("") + " (NULL, '2026-01-01', 'undone', 1, 1000, 2, NULL, NULL, 1, '')",
    ]  # fmt: skip
    for sql in refused:
        with pytest.raises(sqlite3.IntegrityError):
            link.execute(sql)
    link.execute(row.format("") + " (NULL, '2026-01-01', 'undone', 1, 4000, 2, NULL, NULL, 1, '')")
    with pytest.raises(sqlite3.IntegrityError):
        link.execute(row.format("") + " (NULL, '2026-01-01', 'undone', 1, 4000, 2, NULL, NULL, 1, '')")
    with pytest.raises(sqlite3.IntegrityError):
        link.execute(row.format("OR REPLACE") + " (NULL, '2026-01-01', 'undone', 1, 4000, 2, NULL, NULL, 1, '')")
    link.close()


def test_undo_is_a_counter_movement_once(tmp_path: Path) -> None:
    with stocked_book(tmp_path) as book:
        used = book.use(SEAL, 3).movements[0].number
        with pytest.raises(StockError, match=r"movement 1 brought 4 .* only 1 lie now"):
            book.undo(1)
        undone = book.undo(used, note="was another seal").movements[0]
        assert (undone.kind, undone.undoes, undone.locker_to) == ("undone", used, "A1")
        assert held(book)[SEAL, "A1"] == "4"
        with pytest.raises(BookError, match=f"undone already, by movement {undone.number}"):
            book.undo(used)
        book.undo(undone.number)
        assert held(book)[SEAL, "A1"] == "1"
        assert book.movements()[used - 1].undone_by == undone.number
        with pytest.raises(BookError, match="no movement 99: they run from 1 to 6"):
            book.undo(99)


def test_a_clock_goes_by_what_stands(tmp_path: Path) -> None:
    """What was fitted tells the hours of its unit unless it was taken back, and again where that was undone."""
    with stocked_book(tmp_path) as book:
        hours = []
        fitted = book.fit(SEAL, "engine", 1250, "2026-03-01").movements[0].number
        for act in (lambda: None, lambda: book.undo(fitted), lambda: book.undo(fitted + 1)):
            act()
            hours.append(next((u.hours, u.hours_on) for u in book.units() if u.name == "engine"))
        assert hours == [(1250, "2026-03-01"), (1200, "2026-01-01"), (1250, "2026-03-01")]


def test_what_was_corrected_stands_in_its_new_form(tmp_path: Path) -> None:
    with stocked_book(tmp_path) as book:
        book.use(SEAL, 3)
        corrected(book, 1, cost_unit=6_750_000)
        assert held(book)[SEAL, "A1"] == "1"
        now, counter = book.movements(SEAL)[-2:]
        assert (now.cost_unit, now.corrects, now.cure_date) == (Decimal("6.75"), 1, "2025-04-01")
        with pytest.raises(BookError, match="undo what stands instead"):
            book.undo(counter.number)
        assert [(lot.cost_unit, lot.quantity) for lot in book.lots(SEAL)] == [(Decimal("6.75"), 1)]


def test_a_delivery_is_written_whole_or_not_at_all(tmp_path: Path) -> None:
    with stocked_book(tmp_path) as book:
        before = held(book)
        lines = [
            ReceiveLine(SEAL, 1, "x", 1),
            ReceiveLine("seel, shaft, raw water pump", 1),
            ReceiveLine(BELT, "1.5"),
            ReceiveLine(OIL, 1, cost_unit="ten"),
            ReceiveLine(OIL, 1, locker="C3"),
        ]
        with pytest.raises(BookError) as said:
            book.receive(lines)
        text = str(said.value)
        assert "line 2" in text
        assert "did you mean 'seal, shaft, raw water pump'?" in text
        assert "line 3: quantity: found '1.5'; these come in whole pieces" in text
        assert "line 4: cost of one: found 'ten'" in text
        assert "line 5" in text
        assert "line 1" not in text
        assert held(book) == before


def test_moving_lending_and_giving_back(tmp_path: Path) -> None:
    with stocked_book(tmp_path) as book:
        assert book.move(SEAL, "shed", 2).aboard == 2
        lent = book.lend(SEAL, "neighbour", 2, "A1")
        assert lent.aboard == 0
        assert lent.reorder is not None
        assert (lent.reorder.ashore, lent.reorder.lent, lent.reorder.short) == (2, 2, 2)
        assert book.lent(SEAL) == {"neighbour": 2}
        with pytest.raises(StockError, match="'neighbour' has 2"):
            book.give_back(SEAL, "neighbour", 3)
        with pytest.raises(StockError, match="'stranger' has not borrowed 1"):
            book.give_back(SEAL, "stranger", 1)
        assert book.give_back(SEAL, "Neighbour", 1).aboard == 1
        with pytest.raises(BookError, match="lies in that locker already"):
            book.move(SEAL, "A1", 1, "A1")
        with pytest.raises(BookError, match="say to whom"):
            book.move(SEAL, "lent out", 1, "A1")


def test_counting_shows_and_writes_the_differences(tmp_path: Path) -> None:
    with stocked_book(tmp_path) as book:
        shown = book.count("B2", {OIL: "7.5", BELT: 0}, write=False)
        assert [(c.item, c.difference) for c in shown] == [(OIL, Decimal("-1.5")), (BELT, -2)]
        assert held(book)[OIL, "B2"] == "9"
        book.count("B2", {OIL: "7.5", BELT: 0})
        assert held(book) == {(SEAL, "A1"): "4", (OIL, "B2"): "7.5"}
        again = book.count("B2", {OIL: 7.5})
        assert again[0].movement is not None
        assert (again[0].movement.kind, again[0].movement.quantity) == ("counted", 0)


def test_cards_keep_their_past(tmp_path: Path) -> None:
    with stocked_book(tmp_path) as book:
        book.write_card("item", SEAL, name="seal, lip, raw water pump", minimum=3)
        book.write_card("locker", "A1", name="A2")
        old, new = book.ledger.rows("SELECT name, minimum, designation FROM item_versions WHERE item = 1")
        assert (old, new) == ((SEAL, 2000, "20x35x7"), ("seal, lip, raw water pump", 3000, "20x35x7"))
        assert book.item(SEAL).name == "seal, lip, raw water pump"  # an earlier name still finds it
        assert ("seal, lip, raw water pump", "A2") in held(book)
        with pytest.raises(BookError, match="already"):
            book.write_card("item", BELT, name="OIL,  engine")
        with pytest.raises(BookError, match="did you mean 'minimum'"):
            book.write_card("item", BELT, minmum=3)
        with pytest.raises(BookError, match="has movements already"):
            book.write_card("item", BELT, measure="metre")


@pytest.mark.parametrize(
    ("cost", "quantity", "total"),
    [("1.428571", 7, Decimal("9.999997")), ("0.1", 3, Decimal("0.3")), (0.1, 3, Decimal("0.3"))],
)
def test_money_is_exact(tmp_path: Path, cost: str | float, quantity: int, total: Decimal) -> None:
    with new_book(tmp_path) as book:
        book.receive([ReceiveLine(SEAL, quantity, cost_unit=cost)])
        lot = book.lots(SEAL)[0]
        assert lot.cost_unit is not None
        assert lot.cost_unit * lot.quantity == total


@pytest.mark.parametrize("quantity", ["-1", "0", "nan", "inf", "1e9", "two", "1.0001", True])
def test_wrong_quantities_are_refused(tmp_path: Path, quantity: str) -> None:
    with new_book(tmp_path) as book, pytest.raises(BookError, match="quantity: found"):
        book.receive([ReceiveLine(OIL, quantity)])


def test_a_date_still_to_come_is_a_slip(tmp_path: Path) -> None:
    with stocked_book(tmp_path) as book, pytest.raises(BookError, match="still to come"):
        book.use(SEAL, date="2062-02-01")


def test_a_closed_book_says_so(tmp_path: Path) -> None:
    book = new_book(tmp_path)
    book.close()
    book.close()
    with pytest.raises(BookError, match="closed"):
        book.stock()
    with open_book(tmp_path / "boat") as again:  # the suffix may be left out
        assert len(again.items()) == 3


def test_what_was_taken_is_said_with_its_age_and_cost(tmp_path: Path) -> None:
    with stocked_book(tmp_path) as book:
        book.receive([ReceiveLine(SEAL, 2, "chandler", 9, locker="A1", cure_date="1Q26")], "2026-03-01")
        taken = book.fit(SEAL, "engine", quantity=5).lots
        assert [(t.quantity, t.cure_date, t.cost_unit) for t in taken] == [
            (4, "2025-04-01", Decimal("6.25")), (1, "2026-01-01", 9),
        ]  # fmt: skip
        assert book.use(SEAL, lot="", locker="A1").lots[0].came_by == 4


def test_a_lot_that_is_named_is_taken_first(tmp_path: Path) -> None:
    with stocked_book(tmp_path) as book:
        book.receive([ReceiveLine(SEAL, 2, "chandler", 9, lot="N1")], "2026-03-01")
        assert [(x.lot, x.quantity) for x in book.use(SEAL, 2, lot="N1").lots] == [("N1", 2)]
        assert [(x.lot, x.quantity) for x in book.lots(SEAL)] == [("K7", 4)]


def test_what_is_looked_for_is_found_with_its_place(tmp_path: Path) -> None:
    with stocked_book(tmp_path) as book:
        (seal,) = book.search("water SEAL")
        assert (seal.item.name, [line.locker for line in seal.stock]) == (SEAL, ["A1"])
        assert [f.item.name for f in book.search("rw20")] == [SEAL]
        assert {f.item.name for f in book.search("b2")} == {BELT, OIL}
        assert book.search("anchor") == book.search(" ") == ()


def use_and_fail(book: SparesBook) -> None:
    book.use(SEAL)
    raise RuntimeError("dropped")


def test_a_failed_part_of_a_larger_act_leaves_nothing(tmp_path: Path) -> None:
    with stocked_book(tmp_path) as book:
        with book.ledger.writing():
            book.use(SEAL)
            with pytest.raises(RuntimeError, match="dropped"), book.ledger.writing():
                use_and_fail(book)
        assert held(book)[SEAL, "A1"] == "3"
        with book.ledger.reading(), pytest.raises(BookError, match="is being read"):
            book.use(SEAL)


def test_what_is_put_back_is_the_lot_that_was_taken(tmp_path: Path) -> None:
    """Its cost and its age come back with it; the books of stock and of lots say the same."""
    with stocked_book(tmp_path) as book:
        before = book.lots(SEAL)
        used = book.use(SEAL, 3).movements[0].number
        moved = book.move(SEAL, "shed", 1).movements[0].number
        book.undo(moved)
        book.undo(used)
        assert book.lots(SEAL) == before
