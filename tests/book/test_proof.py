"""A book that proves itself: whatever is altered inside the file is found, and what is sound comes out of it.

The layout of pages and records that the flips go by is SQLite's own ("Database File Format", sqlite.org).
"""

from __future__ import annotations

import contextlib
import os
import random
import sqlite3
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from book_makers import BELT, OIL, SEAL, TODAY, corrected, held, stocked_book

from repairecon.book import ledger, schema
from repairecon.book.proof import check_file, salvage
from repairecon.book.spares_book import book_at, open_book
from repairecon.records import BookError, BookFileError, RepaireconError

FLIPS = int(os.environ.get("SPARES_BOOK_FLIPS", "200"))
PAGE = 4096


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A book with some of everything, closed."""
    with stocked_book(tmp_path) as book:
        book.write_card("item", SEAL, weight_kg=0.125, resale_rate=0.25)
        for _ in range(12):
            book.undo(book.use(SEAL).movements[0].number)
        book.lend(BELT, "neighbour")
        corrected(book, 1, cost_unit=6_750_000)
        assert book.check() == ()
        return book.ledger.path


def varint(data: bytes, at: int) -> tuple[int, int]:
    """A number as SQLite writes it, and where it ends."""
    value = 0
    for k in range(8):
        value = value << 7 | data[at + k] & 0x7F
        if data[at + k] < 0x80:
            return value, at + k + 1
    return value << 8 | data[at + 8], at + 9


def bytes_of_rows(data: bytes) -> list[int]:
    """Where rows lie: cells of leaf pages of tables (those of the schema too, where they are not on the first page)."""
    places: list[int] = []
    for start in range(PAGE, len(data), PAGE):
        if data[start] != 0x0D:
            continue
        for k in range(int.from_bytes(data[start + 3 : start + 5], "big")):
            at = start + int.from_bytes(data[start + 8 + 2 * k : start + 10 + 2 * k], "big")
            length, after = varint(data, at)
            _, after = varint(data, after)
            places += range(at, min(after + length, start + PAGE))
    return places


def said_of(path: Path) -> str:
    try:
        return "\n".join(check_file(path))
    except RepaireconError as error:
        return str(error)


def read_as(path: Path) -> str:
    """All that SQLite reads in a book, nothing where it cannot."""
    with contextlib.closing(sqlite3.connect(path)) as link, contextlib.suppress(sqlite3.Error):
        return "\n".join(link.iterdump())
    return ""


def test_any_flipped_bit_by_which_a_row_reads_otherwise_is_found(path: Path) -> None:
    """SQLite passes over a few bytes before the cells of a row: a flip there changes nothing of what is read."""
    data, dice, right = path.read_bytes(), random.Random(11), read_as(path)
    places = bytes_of_rows(data)
    assert len(places) > 4_000
    missed = []
    for _ in range(FLIPS):
        at, bit = dice.choice(places), 1 << dice.randrange(8)
        spoilt = bytearray(data)
        spoilt[at] ^= bit
        path.write_bytes(bytes(spoilt))
        if not said_of(path):
            missed.append((at, bit))
            assert read_as(path) == right, (at, bit)
    print(f"\n{FLIPS} flips, {FLIPS - len(missed)} found")
    assert len(missed) <= FLIPS * 0.1
    path.write_bytes(data)
    assert said_of(path) == ""


@contextlib.contextmanager
def tampered(path: Path) -> Iterator[sqlite3.Connection]:
    """The file in the hands of another program that lets nothing stop it."""
    with contextlib.closing(sqlite3.connect(path)) as link:
        link.execute("PRAGMA ignore_check_constraints = ON")
        yield link
        link.commit()


def without(link: sqlite3.Connection, trigger: str, then: str) -> None:
    """Drop a trigger, do something, put it back as it was."""
    (sql,) = link.execute("SELECT sql FROM sqlite_master WHERE name = ?", (trigger,)).fetchone()
    link.execute(f"DROP TRIGGER {trigger}")
    link.execute(then)
    link.execute(sql)


@pytest.mark.parametrize(
    ("trigger", "then", "said"),
    [
        ("movements_unchanged", "UPDATE movements SET quantity = 5000 WHERE movement = 1",
         "movement 1 is not as it was written"),
        ("movements_unchanged", "UPDATE movements SET written_at = '' WHERE movement = 2",
         "movement 2 is not as it was written"),
        ("item_versions_unchanged", "UPDATE item_versions SET minimum = 0 WHERE version = 1",
         "card 1 of items is not as it was written"),
        ("about_unchanged", "UPDATE about SET value = 'GBP'", "line 1 of what the book says of itself is not"),
        ("movements_kept", "DELETE FROM movements WHERE movement = (SELECT max(movement) FROM movements)",
         "is missing"),
        ("seals_kept", "DELETE FROM seals WHERE nth = 12", "seal 13 does not follow from the one before"),
        ("seals_unchanged", "UPDATE seals SET chain = 'x' WHERE nth = 3", "seal 3 does not follow"),
        ("movements_not_over", "INSERT INTO movements (on_date, kind, item, quantity, locker_to, written_at) "
         "VALUES ('2026-01-01', 'bought', 1, 1000, 2, '')", "has no seal: another program wrote it"),
    ],
)  # fmt: skip
def test_what_was_altered_is_said_and_where(path: Path, trigger: str, then: str, said: str) -> None:
    with tampered(path) as link:
        without(link, trigger, then)
    assert said in said_of(path)
    with open_book(path) as book:
        assert said in "\n".join(book.check())


@pytest.mark.parametrize(
    ("sql", "said"),
    [
        ("DROP TRIGGER movements_not_below_zero", "the trigger 'movements_not_below_zero' is missing"),
        ("DROP INDEX movements_in", "the index 'movements_in' is missing"),
        ("DROP VIEW stock; CREATE VIEW stock AS SELECT 1 AS item, 2 AS locker, 9000 AS quantity",
         "the view 'stock' was changed"),
        ("CREATE TABLE more (x)", "a table 'more' is none of a spares book"),
        ("DROP VIEW stock; CREATE VIEW stock AS WITH RECURSIVE n(item) AS (SELECT 1 UNION ALL SELECT item + 1 FROM n) "
         "SELECT item, 2 AS locker, 1 AS quantity FROM n", "the view 'stock' was changed"),
    ],
)  # fmt: skip
def test_changed_rules_are_said_and_the_book_is_not_trusted(path: Path, sql: str, said: str) -> None:
    with tampered(path) as link:
        link.executescript(sql)
    began = time.monotonic()
    assert said in said_of(path)
    with pytest.raises(BookFileError, match="salvage"):
        open_book(path)
    assert time.monotonic() - began < 10


def test_what_is_sound_is_salvaged(path: Path, tmp_path: Path) -> None:
    with open_book(path) as book:
        stock, items, count = held(book), book.items(), len(book.movements())
    with tampered(path) as link:
        link.execute("DROP VIEW stock")
        without(link, "movements_unchanged", "UPDATE movements SET quantity = 9000 WHERE movement = 2")
        without(link, "item_versions_unchanged", "UPDATE item_versions SET name = 'oil, gear' WHERE item = 3")
    done = salvage(path, tmp_path / "new.spares")
    assert "movement 2 is not as it was written" in done.lost
    assert any("item 3: its card is lost" in line for line in done.lost)
    with open_book(tmp_path / "new.spares", today=TODAY) as book:
        assert book.check() == ()
        found = held(book)
        assert found[SEAL, "A1"] == stock[SEAL, "A1"]
        assert (BELT, "B2") not in found  # its purchase is lost, and so what was lent of it
        assert found["item 3", "B2"] == stock[OIL, "B2"]
        assert book.item(SEAL) == items[0]
        assert len(book.movements()) == count - 2
        assert done.renumbered[3] == 2
    with pytest.raises(BookFileError, match="there already"):
        salvage(path, tmp_path / "new.spares")


def test_a_sound_book_is_salvaged_whole(path: Path, tmp_path: Path) -> None:
    done = salvage(path, tmp_path / "new.spares")
    assert (done.lost, dict(done.renumbered)) == ((), {})
    with open_book(path) as book, open_book(tmp_path / "new.spares") as new:
        for ask in ("items", "lockers", "units", "movements", "stock", "lots", "about"):
            theirs, ours = getattr(new, ask), getattr(book, ask)
            assert (theirs() if callable(theirs) else theirs) == (ours() if callable(ours) else ours), ask


def test_pages_that_are_gone_leave_the_others(path: Path, tmp_path: Path) -> None:
    with open_book(path) as book:
        for k in range(120):
            book.count("A1", {SEAL: 4}, note=f"count {k}: " + "x" * 60, date="2026-03-01")
        count = len(book.movements())
        pages = book.ledger.rows("SELECT pageno FROM dbstat WHERE name = 'movements' AND pagetype = 'leaf'") \
            if "ENABLE_DBSTAT_VTAB" in str(book.ledger.rows("PRAGMA compile_options")) else []  # fmt: skip
    if len(pages) < 3:
        pytest.skip("this SQLite does not tell where its pages lie")
    data = bytearray(path.read_bytes())
    middle = pages[len(pages) // 2][0]
    data[PAGE * (middle - 1) : PAGE * middle] = b"\xa5" * PAGE
    path.write_bytes(bytes(data))
    assert said_of(path)
    done = salvage(path, tmp_path / "new.spares")
    assert any("cannot be read" in line for line in done.lost)
    with open_book(tmp_path / "new.spares") as book:
        assert book.check() == ()
        assert count * 0.5 < len(book.movements()) < count


def hostile(path: Path) -> Iterator[str]:
    """Files that mean harm, one after the other under the same name."""
    sound = path.read_bytes()
    wrong = {
        "quantity": "'many'", "on_date": "'soon'", "item": "99", "locker_to": "77", "person": "x'ff00ff'",
        "cost_unit": "9e300", "kind": "'stolen'", "undoes": "5",
    }  # fmt: skip
    for column, value in wrong.items():
        path.write_bytes(sound)
        with contextlib.closing(sqlite3.connect(path)) as link:
            link.execute("PRAGMA writable_schema = ON")  # the table forgets its rules, and says so nowhere
            link.execute("UPDATE sqlite_master SET sql = replace(sql, ') STRICT', ')') WHERE name = 'movements'")
            link.commit()
        with tampered(path) as link:
            without(link, "movements_unchanged", f"UPDATE movements SET {column} = {value} WHERE movement = 1")
        yield f"{column} = {value}"
    for name, sql in {
        "units": "UPDATE item_versions SET units = 'a;b' WHERE item = 1",
        "a cell of ten million": "UPDATE item_versions SET note = hex(zeroblob(5000000)) WHERE item = 1",
    }.items():
        path.write_bytes(sound)
        with tampered(path) as link:
            without(link, "item_versions_unchanged", sql)
        yield name
    path.write_bytes(sound)
    with tampered(path) as link:
        link.executescript("DROP TABLE seals; DROP VIEW stock; CREATE VIEW seals AS WITH RECURSIVE n(nth) AS "
                           "(SELECT 1 UNION ALL SELECT nth + 1 FROM n) SELECT nth, 'x' AS of FROM n")  # fmt: skip
    yield "seals without end"
    path.write_bytes(sound)
    with path.open("r+b") as file:
        file.truncate(ledger.LARGEST_FILE + 1)
    yield "too large"
    dice = random.Random(5)
    for _ in range(25):
        spoilt = bytearray(sound)
        for _ in range(40):
            spoilt[dice.randrange(100, len(spoilt))] = dice.randrange(256)
        path.write_bytes(bytes(spoilt))
        yield "bytes thrown about"


def test_hostile_files_end_in_a_sentence_in_time(path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from repairecon.book import proof as room
    from repairecon.spares_aboard.job import spares_aboard
    from repairecon.spares_aboard.screen import full as summary

    monkeypatch.setattr(room, "SECONDS", 3.0)
    for k, name in enumerate(hostile(path)):
        began = time.monotonic()
        assert said_of(path), name
        for act in (
            lambda: summary(spares_aboard(path, today="2026-06-01")),
            lambda k=k: salvage(path, tmp_path / f"new{k}.spares"),
        ):
            with contextlib.suppress(BookError):
                act()
        with contextlib.suppress(BookError), book_at(path, TODAY, writing=True) as book:
            book.fit(SEAL, "engine", 1400)
        assert time.monotonic() - began < 20, name


def test_an_older_book_is_read_and_left_as_it_is(tmp_path: Path) -> None:
    from test_book_file import older_book

    path = tmp_path / "old.spares"
    older_book(path)
    before = path.read_bytes()
    with book_at(path) as book:
        assert held(book) == {("seal", "A1"): "3"}
        assert book.check() == ()
        with pytest.raises(BookFileError, match="may only be read"):
            book.add_locker("B2")
    assert check_file(path) == ()
    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["old.spares"]
    with book_at(path, writing=True) as book:
        assert book.use("seal", date="2026-01-01").aboard == 2
        assert book.ledger.rows("SELECT count(*) FROM seals") == [(9,)]
    assert check_file(path) == ()


def test_seals_are_those_of_the_rule_in_words() -> None:
    """The rule once more, from its description, by another hand: a book can be checked without this program."""
    import hashlib
    import tempfile

    with tempfile.TemporaryDirectory() as folder, stocked_book(Path(folder)) as book:
        link = book.ledger.link
        chain = ""
        for of, number, row, sealed in link.execute("SELECT of, number, row, chain FROM seals ORDER BY nth").fetchall():
            found = link.execute(f"SELECT * FROM {of} WHERE rowid = ?", (number,))
            names = [c[0] for c in found.description]
            said = [(n, v) for n, v in zip(names, found.fetchone(), strict=True) if v not in (None, "")]
            assert hashlib.sha256(ascii(said).encode()).hexdigest()[:32] == row
            chain = hashlib.sha256(f"{chain} {row}".encode()).hexdigest()[:32]
            assert chain == sealed
        assert {of for (of,) in link.execute("SELECT of FROM seals")} < set(schema.TABLES)
