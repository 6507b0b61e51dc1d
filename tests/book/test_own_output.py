"""Nothing that is not ours is ever replaced: books, inputs, other people's files, what a link leads to."""

from __future__ import annotations

import io
import zipfile
from importlib import import_module
from itertools import product
from pathlib import Path

import pytest

import repairecon
from repairecon.__main__ import main
from repairecon.read.files import PAGE
from repairecon.records import RepaireconError
from repairecon.show import report

DATA = Path(__file__).parents[2] / "data"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    place = tmp_path / "boat"
    (place / "csv").mkdir(parents=True)
    for where in (place, place / "csv"):
        (where / "passage.toml").write_text("[passage]\ndays = 30\n")
    (place / "csv" / "lockers.csv").write_text("name\nA1\n")
    (place / "csv" / "items.csv").write_text("name,locker\nbolt,A1\n")
    (place / "csv" / "movements.csv").write_text("on_date,kind,item,quantity,locker_to\n2026-01-01,bought,bolt,3,A1\n")
    assert main(["spares-aboard", str(place / "own.spares"), "new", str(place / "csv")]) == 0
    (place / "notes.txt").write_text("my notes\n")
    (place / "list.csv").write_text("item,price\nseal,5\n")
    (place / "page.html").write_text("<title>my page</title>")
    (place / "table.xlsx").write_bytes(b"PK not a workbook of ours")
    (place / "secret.csv").write_text("locker,item\n")
    (place / "link.csv").symlink_to(place / "secret.csv")
    (place / "link.xlsx").symlink_to(place / "not there.xlsx")
    return place


def everything(folder: Path) -> dict[str, bytes | str]:
    return {
        str(p.relative_to(folder)): str(p.readlink()) if p.is_symlink() else p.read_bytes()
        for p in sorted(folder.rglob("*"))
        if p.is_symlink() or (p.is_file() and not p.name.endswith(("-wal", "-shm")))
    }


TARGETS = ["own.spares", "passage.toml", "notes.txt", "list.csv", "page.html", "table.xlsx", "link.csv", "link.xlsx",
           "csv", "csv/items.csv", "csv/movements.csv", "csv/passage.toml"]  # fmt: skip


BOOK_ACTS = (["sheet", "--to"], ["--insurance"], ["export"], ["backup"], ["salvage"], ["--report"])


@pytest.mark.parametrize("book", ["own.spares", "csv"])
def test_what_is_there_stays_as_it_was(folder, capsys, book):
    (folder / "csv" / "spares.xlsx").write_text("mine")
    before = everything(folder)
    for act, target in product(BOOK_ACTS, TARGETS if book == "own.spares" else TARGETS[-6:]):
        assert main(["spares-aboard", str(folder / book), *act, str(folder / target)]) == 2, (act, target)
        said = capsys.readouterr()
        assert "Wrote" not in said.out
        assert "Traceback" not in said.err
        assert everything(folder) == before, (act, target)


@pytest.fixture(scope="module")
def answered(quotes_answer):
    """Answers of the demos and a log, worked out and read once: what is tried here is where they may go."""
    from repairecon import after_the_job, read_case, rebuild_or_buy
    from repairecon.read.closed import read_closed, read_log

    log = read_log(DATA / "job_log")
    done = after_the_job(read_closed(DATA / "alternator_done"), log)
    return rebuild_or_buy(read_case(DATA / "starter"), 64), quotes_answer, done, log


JOB_ACTS = (["rebuild-or-buy", "data/starter", "--report"], ["bench-sheet", "data/starter", "--html"],
            ["compare-quotes", "data/engine_service", "--report"],
            ["after-the-job", "data/alternator_done", "--report"],
            ["after-the-job", "data/job_log", "--learn"])  # fmt: skip


@pytest.mark.parametrize("act", JOB_ACTS, ids=" ".join)
def test_no_job_replaces_what_is_there(folder, capsys, monkeypatch, answered, act):
    job, case, option = act
    for place, name, answer in (("rebuild_or_buy.command", "rebuild_or_buy", answered[0]),
                                ("rebuild_or_buy.job", "rebuild_or_buy", answered[0]),
                                ("compare_quotes.command", "compare_quotes", answered[1]),
                                ("after_the_job.command", "after_the_job", answered[2]),
                                ("after_the_job.command", "read_log", answered[3]),
                                ("rebuild_or_buy.bench_sheet", "as_html", PAGE)):  # fmt: skip
        if name != "after_the_job" or option == "--report":
            monkeypatch.setattr(import_module(f"repairecon.{place}"), name, lambda *_, a=answer, **__: a)
    monkeypatch.setattr(repairecon, "rebuild_or_buy", lambda *_, **__: answered[0])
    before = everything(folder)
    for target in (*TARGETS, "boat.toml"):
        (folder / "boat.toml").write_text("[boat]\n")
        before["boat.toml"] = b"[boat]\n"
        assert main([job, str(DATA.parent / case), option, str(folder / target)]) == 2, target
        assert "Wrote" not in capsys.readouterr().out
        assert everything(folder) == before, target


OWN = {
    "sheet.csv": ["spares-aboard", "own.spares", "sheet", "--to"],
    "sheet.txt": ["spares-aboard", "own.spares", "sheet", "--to"],
    "insured.csv": ["spares-aboard", "own.spares", "--insurance"],
    "insured.xlsx": ["spares-aboard", "own.spares", "--insurance"],
    "bench.html": ["bench-sheet", str(DATA / "starter"), "--html"],
    "learned.toml": ["after-the-job", str(DATA / "job_log"), "--learn"],
}


@pytest.mark.parametrize("name", OWN)
def test_an_output_replaces_itself_whole(folder, capsys, monkeypatch, answered, name):
    monkeypatch.chdir(folder)
    monkeypatch.setattr(repairecon, "rebuild_or_buy", lambda *_, **__: answered[0])
    act = [*OWN[name], name]
    assert main(act) == 0
    first = (folder / name).read_bytes()
    if not name.endswith(".xlsx"):  # what else of it may change: the file keeps what makes it ours, and no more
        (folder / name).write_bytes(first + b"<!-- longer than what comes now -->")
    assert main(act) == 0
    assert "Wrote" in capsys.readouterr().out
    again = (folder / name).read_bytes()
    assert sheet_of(again) == sheet_of(first) if name.endswith(".xlsx") else again == first


def sheet_of(data: bytes) -> bytes:
    """The cells of a workbook: when it was made, and so its length, may change."""
    with zipfile.ZipFile(io.BytesIO(data)) as book:
        return book.read("xl/worksheets/sheet1.xml")


def test_pages_replace_pages(folder):
    """A job's page has the mark of our pages."""
    page = report.render("A", "today", ["Buy."], [], [])
    report.write_page(folder / "new.html", page)
    report.write_page(folder / "new.html", lambda: page)
    assert (folder / "new.html").read_text() == page
    with pytest.raises(RepaireconError, match="no earlier output"):
        report.write_page(folder / "page.html", page)


def test_a_sheet_with_counts_in_it_is_not_replaced(folder, capsys, monkeypatch):
    monkeypatch.chdir(folder)
    act = ["spares-aboard", "own.spares", "sheet", "--to", "s.csv"]
    assert main(act) == 0
    blank = (folder / "s.csv").read_text()
    filled = blank.replace(",3,,", ",3,2,")
    assert filled != blank
    (folder / "s.csv").write_text(filled)
    assert main(act) == 2
    assert "holds counts" in capsys.readouterr().err
    assert (folder / "s.csv").read_text() == filled


def test_another_workbook_of_ours_is_not_replaced(folder, monkeypatch):
    """Made by this program, yet of another kind: the whole book as a workbook."""
    monkeypatch.chdir(folder)
    assert main(["spares-aboard", "own.spares", "export", "papers"]) == 0
    before = everything(folder)
    assert main(["spares-aboard", "own.spares", "--insurance", "papers/spares.xlsx"]) == 2
    assert everything(folder) == before


def test_a_failed_export_leaves_nothing(folder, capsys):
    (folder / "out").mkdir()
    (folder / "out" / "spares.xlsx").write_text("mine")
    assert main(["spares-aboard", str(folder / "own.spares"), "export", str(folder / "out")]) == 2
    assert "there already" in capsys.readouterr().err
    assert [p.name for p in (folder / "out").iterdir()] == ["spares.xlsx"]
