"""The spares book as CSV: what goes out comes in again equal, and every fault of a folder is told at once."""

from __future__ import annotations

import contextlib
import csv
import sqlite3
from pathlib import Path

import pytest
from book_makers import BELT, OIL, SEAL, corrected, fitted_to, held, stocked_book

from repairecon.book.csv_folder import book_from_csv, export_book
from repairecon.book.schema import TABLES
from repairecon.book.spares_book import SparesBook, open_book
from repairecon.records import BookFileError, CaseError


def contents(path: Path) -> dict[str, list[tuple[object, ...]]]:
    """Every row of every table, read by SQLite alone."""
    with contextlib.closing(sqlite3.connect(path)) as link:
        return {table: link.execute(f"SELECT * FROM {table}").fetchall() for table in TABLES}


def lived_in(folder: Path) -> SparesBook:
    """A book with all kinds of movement, earlier cards, and words that a spreadsheet would reckon."""
    book = stocked_book(folder)
    book.fit(SEAL, "raw water pump", 1250.5, "2026-03-01", note='=HYPERLINK("x")')
    book.undo(book.use(BELT, note="@home, -1").movements[0].number)
    corrected(book, 1, cost_unit=6_333_333, quantity=5000)
    book.lend(BELT, "+31 boat", 1)
    book.move(OIL, "shed", "2.125")
    book.scrap(OIL, "0.5", "shed")
    book.count("A1", {SEAL: 3})
    book.write_card("item", SEAL, name="'=seal", minimum=4, resale_rate=0.1, weight_kg=0.02, volume_litres=0.3)
    book.write_card("locker", "A1", name="-A1", place='under, "the" table')
    book.write_card("unit", "engine", hours=1300, hours_on="2026-05-01")
    return book


def test_the_export_comes_in_again_equal(tmp_path: Path) -> None:
    with lived_in(tmp_path) as book:
        export_book(book, tmp_path / "out")
        stock, lots, reorder = book.stock(), book.lots(), book.reorder_list()
    book_from_csv(tmp_path / "out", tmp_path / "again.spares")
    assert contents(tmp_path / "boat.spares") == contents(tmp_path / "again.spares")
    with open_book(tmp_path / "again.spares") as book:
        assert (book.stock(), book.lots(), book.reorder_list()) == (stock, lots, reorder)
        assert book.check() == ()
        export_book(book, tmp_path / "twice")
    for file in (tmp_path / "out").glob("*.csv"):
        assert file.read_bytes() == (tmp_path / "twice" / file.name).read_bytes()


def test_no_cell_of_the_export_is_a_formula(tmp_path: Path) -> None:
    with lived_in(tmp_path) as book:
        export_book(book, tmp_path / "out")
    seen = 0
    for path in (tmp_path / "out").glob("*.csv"):
        with path.open(encoding="utf-8", newline="") as file:
            for row in csv.reader(file):
                assert not [cell for cell in row if cell.startswith(("=", "+", "-", "@", "\t", "\r"))]
                seen += sum(cell.startswith("'") for cell in row)
    assert seen >= 6


def test_nothing_is_written_over(tmp_path: Path) -> None:
    with lived_in(tmp_path) as book:
        export_book(book, tmp_path / "out")
        with pytest.raises(Exception, match="there already"):
            export_book(book, tmp_path / "out")
    with pytest.raises(BookFileError, match="there already"):
        book_from_csv(tmp_path / "out", tmp_path / "boat.spares")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["boat.spares", "out"]


LOCKERS = "name,place,kind\nA1,under the chart table,\nB2,engine room,\nshed,,ashore\n"
UNITS = "name,kind,hours,hours_on\nengine,auxiliary diesel,1200,2026-01-01\n"
ITEMS = "name,units,measure,minimum,locker,critical\nbelt,engine,,1,B2,yes\noil,engine,litre,5,B2,\n"
MOVES = (
    "on_date,kind,item,quantity,locker_from,locker_to,cost_unit,unit,hours,undoes,cure_date\n"
    "2026-01-02,bought,belt,2,,B2,9.5,,,,\n"
    "2026-02-02,fitted,Belt,1,B2,,,engine,1210,,\n"
    "2026-02-02,bought,oil,8.5,,B2,7,,,,2Q25\n"
)


def typed(folder: Path, **files: str) -> Path:
    """A folder as an owner might type it."""
    folder.mkdir()
    for name, text in {"lockers": LOCKERS, "units": UNITS, "items": ITEMS, "movements": MOVES, **files}.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return folder


def test_a_folder_that_an_owner_typed(tmp_path: Path) -> None:
    book_from_csv(typed(tmp_path / "f"), tmp_path / "b.spares")
    with open_book(tmp_path / "b.spares") as book:
        assert held(book) == {("belt", "B2"): "1", ("oil", "B2"): "8.5"}
        assert book.item("belt").critical
        assert book.lots("oil")[0].cure_date == "2025-04-01"
        assert fitted_to(book, "engine")[0].hours == 1210


def said(folder: Path, target: Path) -> list[str]:
    with pytest.raises(CaseError) as error:
        book_from_csv(folder, target)
    assert not target.exists()
    return [str(fault) for fault in error.value.faults]


def test_all_faults_of_a_folder_at_once(tmp_path: Path) -> None:
    folder = typed(
        tmp_path / "f",
        items=ITEMS + "belt,engin,,1.5,B3,\n,,,,,\nhose,,meter,x,B2,maybe\n",
        movements=MOVES
        + "2026-02-30,bought,belt,1,,B2,,,,,\n"
        + "2026-03-01,sold,belt,1,,B2,,,,,\n"
        + "2026-03-01,used,bellt,1,B2,,,,,,\n"
        + "2026-03-01,used,belt,7,B2,,,,,,\n"
        + "2026-03-01,used,belt,1.5,B2,,,,,,\n"
        + "2026-03-01,used,belt,1,,B2,,,,,\n"
        + "2026-03-01,fitted,belt,1,B2,,,,,,\n"
        + "2026-03-01,undone,belt,1,B2,,,,,1,\n"
        + '2026-03-01,bought,oil,"1,5",,B2,1e12,,,,5Q24\n'
        + "2026-03-01,undone,belt,1,B2,,,,,99,\n",
    )
    found = said(folder, tmp_path / "b.spares")
    expected = [
        "items.csv row 4, locker: found 'B3'; write one of: 'A1', 'B2', 'shed', 'lent out'",
        "items.csv row 4, minimum: found '1.5'; write a whole number",
        "items.csv row 4, name: found 'belt' again; use another name",
        "items.csv row 4, units: found 'engin'; did you mean 'engine'?",
        "items.csv row 6, critical: found 'maybe'; write yes or no",
        "items.csv row 6, measure: found 'meter'; did you mean 'metre'?",
        "items.csv row 6, minimum: found 'x'; write a number",
        "movements.csv row 5, on_date: found '2026-02-30'; write a date",
        "movements.csv row 6, kind: found 'sold'",
        "movements.csv row 7, item: found 'bellt'; did you mean 'belt'?",
        "movements.csv row 8, quantity: found '7'; only 1 lie in 'B2' by the rows above",
        "movements.csv row 9, quantity: found '1.5'; write a whole number",
        "movements.csv row 10, locker_from: found nothing; name the locker: something is used",
        "movements.csv row 10, locker_to: found 'B2'; leave it blank: something is used",
        "movements.csv row 11, unit: found nothing; name the unit",
        "movements.csv row 12, undoes: found '1'; write the same item and quantity",
        "movements.csv row 13, cost_unit",
        "movements.csv row 13, cure_date: found '5Q24'; write year-month-day, or a quarter",
        "movements.csv row 13, quantity: found '1,5'; write 1.5",
        "movements.csv row 14, undoes: found '99'; write the number of an earlier movement",
    ]
    for start in expected:
        assert [f for f in found if f.startswith(start)], (start, found)
    assert len(found) == len(expected)


def test_missing_files_and_columns(tmp_path: Path) -> None:
    folder = typed(tmp_path / "f", items="nam,minimum\nbelt,1\n")
    (folder / "lockers.csv").unlink()
    found = said(folder, tmp_path / "b.spares")
    assert any(f.startswith("lockers.csv: found no such file") for f in found)
    assert any("unknown heading 'nam'; did you mean 'name'?" in f for f in found)
    with pytest.raises(BookFileError, match="is no folder"):
        book_from_csv(tmp_path / "none", tmp_path / "b.spares")
