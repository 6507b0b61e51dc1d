"""Tables of answers: read back by pandas, whole or not at all, never over what is not theirs; one gone on with."""

from __future__ import annotations

import datetime
from pathlib import Path

import openpyxl
import pandas as pd
import pytest

from repairecon.read import files
from repairecon.read.files import MARK, ResultTable, mark_of, to_parquet, write_tables
from repairecon.records import RepaireconError

DAY = datetime.date(2026, 3, 31)
TABLES = {
    "ways": [["way", "total [EUR]", "on", "allowed"], ["new, maker", 1240.125, DAY, True], ["=1+1", None, None, False]],
    "none": [["way"]],
}
COLUMNS = ("name", "value")


def bytes_of(folder: Path) -> dict[str, bytes]:
    """What lies there."""
    return {p.name: p.read_bytes() for p in folder.iterdir()}


def test_numbers_are_numbers_and_days_days(tmp_path: Path) -> None:
    written = write_tables(tmp_path / "new" / "out", "rebuild-or-buy", TABLES)
    assert [p.name for p in written] == ["ways.csv", "none.csv", "tables.xlsx", "tables.csv"]
    book = pd.read_excel(written[2], sheet_name="ways")
    assert book["total [EUR]"].tolist()[0] == 1240.125
    assert book["on"].tolist()[0] == pd.Timestamp(DAY)
    assert book["way"].tolist() == ["new, maker", "=1+1"]
    text = pd.read_csv(written[0], parse_dates=["on"])
    assert text["total [EUR]"].dtype == float
    assert text["on"].tolist()[0] == pd.Timestamp(DAY)
    assert text["way"].tolist()[1] == "'=1+1"
    sheet = openpyxl.load_workbook(written[2])["ways"]
    assert (sheet.freeze_panes, sheet.auto_filter.ref) == ("A2", "A1:D3")
    assert pd.read_csv(written[3])["rows"].tolist()[:2] == [2, 0]


def test_an_earlier_output_is_replaced_and_what_it_no_longer_has_goes(tmp_path: Path) -> None:
    write_tables(tmp_path, "quotes", TABLES)
    (tmp_path / "mine.txt").write_text("my own", encoding="utf-8")
    write_tables(tmp_path, "quotes", {"ways": [["way"], ["new"]]})
    assert sorted(bytes_of(tmp_path)) == ["mine.txt", "tables.csv", "tables.xlsx", "ways.csv"]
    assert pd.read_csv(tmp_path / "ways.csv")["way"].tolist() == ["new"]


@pytest.mark.parametrize("there", ["ways.csv", "tables.xlsx", "tables.csv", "edited", "another job"])
def test_never_over_what_is_not_theirs(tmp_path: Path, there: str) -> None:
    if there in ("edited", "another job"):
        write_tables(tmp_path, "spares" if there == "another job" else "quotes", TABLES)
        if there == "edited":
            (tmp_path / "none.csv").write_text("way\nmy own\n", encoding="utf-8")
    else:
        (tmp_path / there).write_text("job,file\nmy own,\n", encoding="utf-8")
    before = bytes_of(tmp_path)
    with pytest.raises(RepaireconError, match="name another folder; nothing was written"):
        write_tables(tmp_path, "quotes", TABLES)
    assert bytes_of(tmp_path) == before


def test_whole_or_not_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write_tables(tmp_path, "quotes", TABLES)
    before = bytes_of(tmp_path)
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(RepaireconError, match="is a file: name a folder"):
        write_tables(tmp_path / "file", "quotes", TABLES)
    (tmp_path / "file").unlink()
    done = []
    write_all = files.write_all

    def full(folder: Path, files: dict[str, bytes], replace: bool = False) -> None:
        done.append(folder)
        write_all(folder, {**files, "a/b/c.csv": b""}, replace=replace)  # its folder is not there

    monkeypatch.setattr(files, "write_all", full)
    with pytest.raises(RepaireconError, match="nothing was changed"):
        write_tables(tmp_path, "quotes", {"ways": [["way"]]})
    assert done
    assert bytes_of(tmp_path) == before


# ---- a table that grows --------------------------------------------------------------------------
def filled(path: Path, wanted: str = "abc") -> ResultTable:
    """A table with three rows."""
    table = ResultTable(path, COLUMNS, wanted)
    for mark in "abc":
        if mark not in table.done:
            table.add({"name": f'of {mark}, in "quotes"', "value": 1.5}, mark)
    return table


def test_rows_are_there_at_once_and_found_again(tmp_path: Path) -> None:
    path = tmp_path / "t.csv"
    filled(path)
    assert path.read_text().splitlines()[0] == f"name,value,{MARK}"
    again = ResultTable(path, COLUMNS, "abd")
    assert again.done == {m: {"name": f'of {m}, in "quotes"', "value": "1.5"} for m in "ab"}
    assert len(path.read_text().splitlines()) == 3  # the row of c is wanted no more


@pytest.mark.parametrize("cut", range(1, 30, 3))
def test_a_row_that_was_cut_off_is_done_again(tmp_path: Path, cut: int) -> None:
    path = tmp_path / "t.csv"
    filled(path)
    whole = path.read_bytes()
    path.write_bytes(whole[:-cut])
    filled(path)
    assert path.read_bytes() == whole


def test_another_file_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "t.csv"
    path.write_text("mine\n1\n")
    with pytest.raises(RepaireconError, match="no earlier output of this kind"):
        ResultTable(path, COLUMNS, "abc")
    assert path.read_text() == "mine\n1\n"


def test_a_mark_changes_with_the_files_and_with_what_is_asked(tmp_path: Path) -> None:
    (tmp_path / "case.toml").write_text("a")
    first = mark_of(tmp_path, ("seed", 1))
    assert first == mark_of(tmp_path, ("seed", 1))
    assert first != mark_of(tmp_path, ("seed", 2))
    (tmp_path / "parts.csv").write_text("")
    assert first != mark_of(tmp_path, ("seed", 1))
    assert mark_of(tmp_path / "none") == ""


def test_the_same_as_parquet(tmp_path: Path) -> None:
    pytest.importorskip("pyarrow")
    filled(tmp_path / "t.csv")
    to_parquet(tmp_path / "t.csv", tmp_path / "t.parquet")
    assert pd.read_parquet(tmp_path / "t.parquet").equals(pd.read_csv(tmp_path / "t.csv"))
