"""``repairecon workbook`` as a person types it: what every command then says of it is what it says of the folder."""

from __future__ import annotations

import datetime
import json
import re
import shutil
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from quote_cases import case_of, quotes_of

from repairecon.__main__ import main
from repairecon.rebuild_or_buy.command import case_line, case_lines

DATA = Path(__file__).resolve().parent.parent / "data"
SELLERS = [{"supplier": "dealer", "lead_days_likely": 2}, {"supplier": "stockist", "lead_days_likely": 8}]
PRICES = {("seal", "dealer"): 12, ("seal", "stockist"): 5}


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The workbook of a demo case."""
    path = tmp_path_factory.mktemp("book") / "case.xlsx"
    assert main(["workbook", str(DATA / "starter"), str(path)]) == 0
    return path


def data(capsys: pytest.CaptureFixture[str], *line: str | Path) -> Any:
    """What a command says, without the lines in which its figures stand."""
    assert main([*map(str, line)]) == 0
    said = capsys.readouterr().out
    return json.loads(re.sub(r'((?:case\.toml|\w+\.csv)):\d+|"row": \d+', r"\1", said)) if "--json" in line else said


def test_the_same_answer(book: Path, capsys: pytest.CaptureFixture[str]) -> None:
    few = ("--draws", "1024", "--json")
    assert data(capsys, "rebuild-or-buy", book, *few) == data(capsys, "rebuild-or-buy", DATA / "starter", *few)


def test_the_answer_stands_in_it_with_its_day(book: Path) -> None:
    rows = list(openpyxl.load_workbook(book)["answer"].iter_rows(values_only=True))
    assert rows[0][:2] == ("answer of", datetime.datetime.combine(datetime.date.today(), datetime.time()))
    assert case_line(str(DATA / "starter")).what in " ".join(str(row[0]) for row in rows)


def test_quotes_and_a_boat(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    case_of(tmp_path / "case", [{"part": "seal"}], SELLERS, quotes_of(PRICES))
    (tmp_path / "case" / "case.toml").write_text('[unit]\nname = "pump"\n', encoding="utf-8")
    assert main(["workbook", str(tmp_path / "case"), str(tmp_path / "q.xlsx")]) == 0
    rows = openpyxl.load_workbook(tmp_path / "q.xlsx")["answer"].iter_rows(values_only=True)
    assert any("order from" in str(row[0]) for row in rows)
    capsys.readouterr()
    assert data(capsys, "compare-quotes", tmp_path / "q.xlsx") == data(capsys, "compare-quotes", tmp_path / "case")
    shutil.copy(tmp_path / "q.xlsx", tmp_path / "case" / "q.xlsx")
    assert "q.xlsx: not read: the case is the files beside it" in data(capsys, "compare-quotes", tmp_path / "case")
    assert main(["new-boat", str(tmp_path / "boat")]) == 0
    (tmp_path / "boat" / "units.csv").write_text("unit,price_new_likely\nwinch,350\n", encoding="utf-8")
    assert main(["workbook", str(tmp_path / "boat"), str(tmp_path / "boat" / "boat.xlsx")]) == 0
    capsys.readouterr()
    a, b = (data(capsys, "whole-boat", tmp_path / "boat" / x, "--json") for x in ("", "boat.xlsx"))
    assert [x | {"folder": ""} for x in a["boats"]] == [x | {"folder": ""} for x in b["boats"]]


def test_a_decision_stands_beside_it(book: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    mine = Path(shutil.copy(book, tmp_path / "pump.xlsx"))
    assert main(["after-the-job", str(mine), "--decide"]) == 0
    assert (tmp_path / "pump" / "decided" / "decision.toml").is_file()
    assert main(["after-the-job", str(mine)]) == 0
    assert "actual.csv" in capsys.readouterr().out


def test_many_cases_take_it_and_know_when_it_changed(book: Path, tmp_path: Path) -> None:
    mine = Path(shutil.copy(book, tmp_path / "pump.xlsx"))
    table = tmp_path / "t.csv"
    (first,) = case_lines([mine], 1024, table=table)
    assert first.what
    before = table.read_bytes()
    assert list(case_lines([mine], 1024, table=table)) == [first]
    assert table.read_bytes() == before
    made = openpyxl.load_workbook(mine)
    keys = made["case"]
    at = next(r for r in range(2, keys.max_row) if keys.cell(r, 2).value == "price_new")
    keys.cell(at, 4).value = 99
    made.save(mine)
    (other,) = case_lines([mine], 1024, table=table)
    assert other.total != first.total
    assert table.read_bytes() != before


def test_faults_end_with_2_and_no_traceback(book: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "x.xlsx").write_bytes(b"no workbook")
    for line in (["rebuild-or-buy"], ["compare-quotes"], ["bench-sheet"], ["found"], ["after-the-job", "--decide"]):
        more = ["shaft=x"] if line == ["found"] else []
        assert main([line[0], str(tmp_path / "x.xlsx"), *more, *line[1:]]) == 2
        assert "x.xlsx: found a file that is no workbook" in capsys.readouterr().err
    assert main(["workbook", str(DATA / "starter"), str(book)]) == 2
    assert "there already" in capsys.readouterr().err
