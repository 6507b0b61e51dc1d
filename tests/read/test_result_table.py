"""A table of results: whole after a kill, gone on with, never laid over another file."""

from __future__ import annotations

from pathlib import Path

import pytest

from repairecon.read.result_table import MARK, ResultTable, mark_of, to_parquet
from repairecon.records import RepaireconError

COLUMNS = ("name", "value")


def filled(path: Path, wanted: str = "abc") -> ResultTable:
    """A table with three rows."""
    table = ResultTable(path, COLUMNS, wanted)
    for mark in "abc":
        if mark not in table.done:
            table.add({"name": f"of {mark}, in \"quotes\"", "value": 1.5}, mark)
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
    pd, _ = pytest.importorskip("pandas"), pytest.importorskip("pyarrow")
    filled(tmp_path / "t.csv")
    to_parquet(tmp_path / "t.csv", tmp_path / "t.parquet")
    assert pd.read_parquet(tmp_path / "t.parquet").equals(pd.read_csv(tmp_path / "t.csv"))
