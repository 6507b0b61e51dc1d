"""A spares book in trouble: full disk, second program, files only to be read, broken, foreign, older and newer ones.

What SQLite answers in each case is from its documentation (sqlite.org: result codes, "Database File Format" for the
head of the file, "Write-Ahead Logging" for reading without being allowed to write).
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import resource
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from book_makers import BELT, OIL, SEAL, TODAY, held, stocked_book

from repairecon.book import schema
from repairecon.book.spares_book import SparesBook, open_book
from repairecon.records import (
    LOCKER_KINDS,
    MEASURES,
    MOVEMENT_KINDS,
    SHELF_GROUPS,
    BookBusyError,
    BookError,
    BookFileError,
    ReceiveLine,
)


def fill(book: SparesBook, most: int = 2_000) -> int:
    """Write deliveries until the disk refuses; how many were kept."""
    said, kept = "", 0
    while not said and kept < most:
        try:
            book.receive([ReceiveLine(name, 1, note="x" * 500) for name in (SEAL, BELT, OIL)], reference=f"d{kept}")
            kept += 1
        except BookFileError as error:
            said = str(error)
    assert "the disk is full or cannot be written" in said
    return kept


def none_by_halves(book: SparesBook, kept: int) -> None:
    assert book.check() == ()
    references = [m.reference for m in book.movements() if m.reference.startswith("d")]
    assert {r: references.count(r) for r in references} == {f"d{k}": 3 for k in range(kept)}


@pytest.fixture
def small_disk() -> Iterator[Path]:
    """A disk of 600 kB, where this machine lets one be made."""
    folder = Path(tempfile.mkdtemp())
    done = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=600k", "tmpfs", folder], capture_output=True, check=False
    )
    if done.returncode:
        folder.rmdir()
        pytest.skip("no disk may be made here")
    yield folder
    subprocess.run(["umount", folder], check=True)
    folder.rmdir()


@pytest.mark.skipif(shutil.which("mount") is None, reason="no mount")
def test_a_full_disk(small_disk: Path) -> None:
    with stocked_book(small_disk) as book:
        kept = fill(book)
        assert kept > 3
        none_by_halves(book, kept)
    with open_book(small_disk / "boat", today=TODAY) as book:
        none_by_halves(book, kept)


def test_a_disk_that_takes_no_more(tmp_path: Path) -> None:
    """Files of this process may not grow: writing then fails as on a full disk."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    with stocked_book(tmp_path) as book:
        resource.setrlimit(resource.RLIMIT_FSIZE, (400_000, hard))
        try:
            kept = fill(book)
            resource.setrlimit(resource.RLIMIT_FSIZE, (40_000, hard))
            with pytest.raises(BookError, match="disk is full"):
                book.backup(tmp_path / "copy.spares")
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        assert kept > 3
        assert sorted(p.name for p in tmp_path.iterdir() if "copy" in p.name) == []
        none_by_halves(book, kept)
        book.receive([ReceiveLine(name, 1) for name in (SEAL, BELT, OIL)], reference=f"d{kept}")
        none_by_halves(book, kept + 1)


def test_a_book_at_its_largest(tmp_path: Path) -> None:
    """SQLITE_FULL itself, by SQLite's own limit on pages."""
    with stocked_book(tmp_path) as book:
        pages = book.ledger.rows("PRAGMA page_count")[0][0]
        book.ledger.rows(f"PRAGMA max_page_count = {pages + 10}")
        none_by_halves(book, fill(book))


def test_two_programs_at_once(tmp_path: Path) -> None:
    with stocked_book(tmp_path) as book, open_book(tmp_path / "boat", wait_s=0.2, today=TODAY) as other:
        with book.ledger.writing():
            book.use(SEAL)
            assert held(other)[SEAL, "A1"] == "4"  # the other reads on, and sees nothing half done
            began = time.monotonic()
            with pytest.raises(BookBusyError, match="in use by another program: nothing was written"):
                other.use(SEAL)
            assert time.monotonic() - began >= 0.2
        assert held(other)[SEAL, "A1"] == "3"
        other.use(SEAL, 3)
        assert (SEAL, "A1") not in held(book)
        assert (book.check(), other.check()) == ((), ())


def count_often(path: Path, who: str) -> None:
    """A program that counts a locker 25 times."""
    with open_book(path, wait_s=20) as book:
        for k in range(25):
            book.count("A1", {SEAL: 4}, note=f"{who} {k}", date="2026-03-01")


def test_two_writers_in_turn_lose_nothing(tmp_path: Path) -> None:
    with stocked_book(tmp_path):
        pass
    path, fork = tmp_path / "boat.spares", multiprocessing.get_context("fork")
    writers = [fork.Process(target=count_often, args=(path, who)) for who in ("one", "two")]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    assert [writer.exitcode for writer in writers] == [0, 0]
    with open_book(path) as book:
        notes = [m.note for m in book.movements() if m.kind == "counted"]
        assert sorted(notes) == sorted(f"{who} {k}" for who in ("one", "two") for k in range(25))
        assert book.check() == ()


READER = """
import os, sqlite3, sys
from repairecon.book.spares_book import open_book
from repairecon.records import BookError
if os.getuid() == 0:
    os.setgid(65534); os.setuid(65534)  # root may write everywhere
with open_book(sys.argv[1]) as book:
    print(book.ledger.writable, len(book.movements()))
    try:
        book.use(sys.argv[2])
    except BookError as error:
        print(error)
"""


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that another user may look into."""
    folder = Path(tempfile.mkdtemp())
    folder.chmod(0o755)
    yield folder
    for path in (folder, *folder.iterdir()):
        path.chmod(0o755)
    shutil.rmtree(folder)


@pytest.mark.parametrize("folder_too", [True, False])
def test_a_file_that_may_only_be_read(open_folder: Path, folder_too: bool) -> None:
    with stocked_book(open_folder) as book:
        path = book.ledger.path
    path.chmod(0o444)
    open_folder.chmod(0o555 if folder_too else 0o777)
    root = Path(__file__).resolve().parents[2]
    code = f"import sys; sys.path[:0] = [{str(root)!r}]\n{READER}"
    run = subprocess.run([sys.executable, "-c", code, path, SEAL], capture_output=True, text=True, check=False)
    assert run.stderr == ""
    first, said = run.stdout.splitlines()
    assert first == "False 3"
    assert said.startswith("boat.spares may only be read: nothing was written")


def broken(path: Path, data: bytes) -> str:
    """What opening such a file says; the file must stay as it is, alone in its folder."""
    path.write_bytes(data)
    there = sorted(p.name for p in path.parent.iterdir())
    with pytest.raises(BookFileError) as seen:
        open_book(path)
    assert path.read_bytes() == data
    assert sorted(p.name for p in path.parent.iterdir()) == there
    return str(seen.value)


def test_files_that_are_no_book(tmp_path: Path) -> None:
    path = tmp_path / "x.spares"
    with pytest.raises(BookFileError, match="no such file"):
        open_book(path)
    with pytest.raises(BookFileError, match="is no file"):
        open_book(tmp_path)
    assert "an empty file" in broken(path, b"")
    assert "no spares book" in broken(path, b"item,quantity\nseal,2\n")
    path.unlink()
    with contextlib.closing(sqlite3.connect(path)) as link:
        link.execute("CREATE TABLE notes (words TEXT)")
    assert "belongs to another program" in broken(path, path.read_bytes())


def test_cut_off_anywhere_it_is_said_or_read_whole(tmp_path: Path) -> None:
    with stocked_book(tmp_path) as book:
        path = book.ledger.path
        whole_stock = held(book)
    data = path.read_bytes()
    (tmp_path / "cut").mkdir()
    cut = tmp_path / "cut" / "cut.spares"
    for length in (1, 50, 99, 100, 512, 4095, 4096, 5000, len(data) // 2, len(data) - 4096, len(data) - 1):
        assert "damaged" in (said := broken(cut, data[:length])) or "no spares book" in said, length
    cut.write_bytes(data)
    with open_book(cut) as book:
        assert held(book) == whole_stock


def test_bytes_overwritten_are_found_by_the_check(tmp_path: Path) -> None:
    with stocked_book(tmp_path) as book:
        path = book.ledger.path
        root = book.ledger.rows("SELECT rootpage FROM sqlite_master WHERE name = 'movements_in'")[0][0]
    data = bytearray(path.read_bytes())
    data[4096 * (root - 1) : 4096 * (root - 1) + 64] = b"\xff" * 64
    path.write_bytes(bytes(data))
    with open_book(path) as book:
        said: tuple[str, ...] | str
        try:
            said = book.check()
        except BookFileError as error:
            said = str(error)
        assert said


def older_book(path: Path) -> None:
    """A book of version 1, made with SQLite alone: no lots, no cure dates, no room, no resale."""
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as link:
        link.executescript(schema.script(1, strict=False))
        link.execute(f"PRAGMA application_id = {schema.APPLICATION_ID}")
        link.execute("PRAGMA user_version = 1")
        link.execute("INSERT INTO about VALUES ('home_currency', 'EUR')")
        link.execute("INSERT INTO lockers VALUES (1), (2)")
        link.execute(
            "INSERT INTO locker_versions (locker, name, kind, written_at) VALUES "
            "(1, 'lent out', 'lent', ''), (2, 'A1', 'aboard', '')"
        )
        link.execute("INSERT INTO items VALUES (1)")
        link.execute("INSERT INTO item_versions (item, name, written_at) VALUES (1, 'seal', '')")
        link.execute(
            "INSERT INTO movements (on_date, kind, item, quantity, locker_to, cost_unit, written_at) "
            "VALUES ('2024-05-01', 'bought', 1, 3000, 2, 4500000, '')"
        )


def test_an_older_book_is_brought_up_after_a_backup(tmp_path: Path) -> None:
    path = tmp_path / "old.spares"
    older_book(path)
    before = path.read_bytes()
    with open_book(path) as book:
        assert book.ledger.rows("PRAGMA user_version") == [(schema.VERSION,)]
        assert held(book) == {("seal", "A1"): "3"}
        assert book.lots()[0].cure_date == ""
        book.receive([ReceiveLine("seal", 1, cure_date="1Q25", locker="A1")], "2026-01-01")
        assert book.check() == ()
    backup = next(p for p in tmp_path.iterdir() if "before-version-2" in p.name)
    with contextlib.closing(sqlite3.connect(backup)) as link:
        assert link.execute("PRAGMA user_version").fetchone() == (1,)
        assert link.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert link.execute("SELECT quantity FROM movements").fetchall() == [(3000,)]
    with contextlib.closing(sqlite3.connect(path)) as link, contextlib.closing(sqlite3.connect(":memory:")) as fresh:
        for step in range(1, schema.VERSION + 1):
            fresh.executescript(schema.script(step, strict=False))
        shape = "SELECT type, name, replace(sql, ') STRICT', ')') FROM sqlite_master ORDER BY type, name"
        assert link.execute(shape).fetchall() == fresh.execute(shape).fetchall()
    assert before != path.read_bytes()


def test_bringing_up_fails_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "old.spares"
    older_book(path)
    monkeypatch.setattr(schema, "STEPS", (schema.STEPS[0], schema.STEPS[1] + "\nCREATE TABLE items (x);"))
    with pytest.raises(BookFileError):
        open_book(path)
    with contextlib.closing(sqlite3.connect(path)) as link:
        assert link.execute("PRAGMA user_version").fetchone() == (1,)
        assert "cure_date" not in str(link.execute("SELECT sql FROM sqlite_master").fetchall())


def test_a_newer_book_is_left_alone(tmp_path: Path) -> None:
    with stocked_book(tmp_path) as book:
        path = book.ledger.path
        book.ledger.rows(f"PRAGMA user_version = {schema.VERSION + 1}")
    with pytest.raises(BookFileError, match="Install the newer version"):
        open_book(path)


def test_tables_without_type_checks_where_sqlite_is_old(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sqlite3, "sqlite_version_info", (3, 34, 1))
    with stocked_book(tmp_path) as book:
        assert "STRICT" not in str(book.ledger.rows("SELECT sql FROM sqlite_master"))
        assert book.fit(SEAL, "engine").aboard == 3
    monkeypatch.undo()
    with stocked_book(tmp_path, "new.spares") as book:
        assert ("STRICT" in str(book.ledger.rows("SELECT sql FROM sqlite_master"))) == (
            sqlite3.sqlite_version_info >= (3, 37)
        )


def test_no_file_is_left_open(tmp_path: Path) -> None:
    handles = Path("/proc/self/fd")
    if not handles.exists():
        pytest.skip("no list of open files here")
    before = len(list(handles.iterdir()))
    for k in range(5):
        with stocked_book(tmp_path, f"b{k}.spares") as book:
            book.backup(tmp_path / f"c{k}.spares")
        with pytest.raises(BookFileError):
            open_book(tmp_path / "none.spares")
        with pytest.raises(BookFileError, match="there already"), open_book(tmp_path / f"b{k}") as book:
            book.backup(tmp_path / f"c{k}.spares")
    assert len(list(handles.iterdir())) == before
    assert sorted(p.suffix for p in tmp_path.iterdir()) == [".spares"] * 10


def test_the_one_file_holds_all_after_every_act(tmp_path: Path) -> None:
    """An owner copies the file while the book is open; the log beside it stays behind."""
    with stocked_book(tmp_path) as book:
        for k in range(5):
            book.use(SEAL) if k < 4 else book.count("A1", {SEAL: 2})
            shutil.copy(tmp_path / "boat.spares", tmp_path / f"copy{k}.spares")
            with open_book(tmp_path / f"copy{k}.spares") as copy:
                assert len(copy.movements()) == 4 + k
                assert copy.check() == ()


def test_a_name_that_a_link_would_misread(tmp_path: Path) -> None:
    with stocked_book(tmp_path, "my boat? #1 100%25.spares") as book:
        assert book.use(SEAL).aboard == 3
    assert (tmp_path / "my boat? #1 100%25.spares").exists()


LEFT_OPEN = """
import os, sqlite3, sys
from repairecon.book.spares_book import open_book
from repairecon.records import BookError
if os.getuid() == 0:
    os.setgid(65534); os.setuid(65534)
try:
    with open_book(sys.argv[1]) as book:
        print(len(book.movements()))
except BookError as error:
    print(error)
"""


def test_a_book_left_in_the_midst_that_may_only_be_read(open_folder: Path) -> None:
    """The last lines are in the log; without room to put it in order nothing old is shown as if it were all."""
    book = stocked_book(open_folder)
    book.ledger.link.execute("PRAGMA wal_autocheckpoint = 0")
    book.ledger.link.execute("BEGIN IMMEDIATE")
    book.ledger.insert("about", {"name": "left", "value": "in the log"})
    book.ledger.link.execute("COMMIT")
    left = open_folder / "left"
    left.mkdir()
    for end in ("", "-wal"):
        shutil.copy(open_folder / f"boat.spares{end}", left / f"boat.spares{end}")
        (left / f"boat.spares{end}").chmod(0o444)
    book.close()
    left.chmod(0o555)
    root = Path(__file__).resolve().parents[2]
    code = f"import sys; sys.path[:0] = [{str(root)!r}]\n{LEFT_OPEN}"
    run = subprocess.run([sys.executable, "-c", code, left / "boat.spares"], capture_output=True, text=True, check=True)
    left.chmod(0o755)
    assert "its last lines are in boat.spares-wal" in run.stdout
    with open_book(left / "boat.spares") if os.getuid() == 0 else contextlib.nullcontext(None) as again:
        assert again is None or again.about["left"] == "in the log"


def test_the_tables_know_the_words_of_the_records() -> None:
    """The steps never change once a book was written by them: a new kind of movement needs a further step."""
    with contextlib.closing(sqlite3.connect(":memory:")) as link:
        for step in range(1, schema.VERSION + 1):
            link.executescript(schema.script(step, strict=False))
        tables = dict(link.execute("SELECT name, sql FROM sqlite_master WHERE type = 'table'"))
    for table, column, words in (
        ("movements", "kind", MOVEMENT_KINDS), ("locker_versions", "kind", LOCKER_KINDS),
        ("item_versions", "measure", MEASURES), ("item_versions", "shelf_group", SHELF_GROUPS),
    ):  # fmt: skip
        listed = tables[table].split(f"CHECK ({column} IN (")[1].split(")")[0]
        assert [word.strip(" '") for word in listed.split(",")] == list(words)
    assert f"BETWEEN 0 AND {schema.LARGEST_QUANTITY * 1000})" in tables["movements"]
    assert f"quantity * cost_unit <= {schema.LARGEST_VALUE} * 1000000000" in tables["movements"]
