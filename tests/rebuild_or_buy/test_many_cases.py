"""Many cases: a line each, the same however many work, faults a line like any other, nothing done twice."""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd
import pytest

from repairecon.__main__ import main
from repairecon.read.case_folder import cases_in
from repairecon.read.starter import new_boat, new_case
from repairecon.rebuild_or_buy import command
from repairecon.rebuild_or_buy.command import CaseLine, case_lines


@pytest.fixture(scope="module")
def folders(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """Three cases of which one has a fault, one lies in a boat; and a folder that is not there."""
    place = tmp_path_factory.mktemp("cases")
    new_boat(place / "boat")
    made = [new_case(place / "a", "raw water pump", price_new=500.0), new_case(place / "boat" / "jobs" / "b")]
    made += [new_case(place / "c"), place / "none"]
    (place / "c" / "case.toml").write_text('[unit]\nname = "pump"\nage_years = "old"\n')
    return [str(p) for p in made]


@pytest.fixture(scope="module")
def lines(folders: list[str]) -> list[CaseLine]:
    """The lines of these as one process makes them."""
    return list(case_lines(folders, 64))


def test_a_line_for_each_and_none_stops_the_rest(folders: list[str], lines: list[CaseLine]) -> None:
    assert [x.case for x in lines] == folders
    assert [bool(x.faults) for x in lines] == [False, False, True, True]
    assert "unit.age_years" in lines[2].faults
    assert "wait_days" in lines[2].faults
    assert all(x.total and x.days and x.what for x in lines[:2])


def test_the_same_to_the_last_digit_whoever_works(folders: list[str], lines: list[CaseLine]) -> None:
    assert list(case_lines(folders, 64, workers=2)) == lines


def test_what_is_in_the_table_is_not_done_again(
    folders: list[str], lines: list[CaseLine], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    table = tmp_path / "lines.csv"
    asked: list[str] = []

    def counted(folder: str, draws: int | str, seed: int) -> CaseLine:
        assert (draws, seed) == (64, 1)
        asked.append(folder)
        return lines[folders.index(folder)]

    monkeypatch.setattr(command, "case_line", counted)
    first = list(case_lines(folders, 64, table=table))
    assert (first, asked) == (lines, folders)
    asked.clear()
    assert list(case_lines(folders, 64, table=table)) == first
    assert asked == folders[3:]  # a folder that is not there has no mark
    boat = Path(folders[1]).parent.parent / "boat.toml"
    boat.write_text(boat.read_text() + "[owner]\ncost_own_hour = 30\n")
    list(case_lines(folders, 64, table=table))
    assert asked == [folders[3], folders[1], folders[3]]  # what its boat says is part of it
    text = table.read_text()
    table.write_text(text[: text.rindex(folders[2])])  # killed on the way
    again = list(case_lines(folders, 64, table=table))
    assert again[2] == first[2]
    assert sorted(table.read_text().splitlines()) == sorted(text.splitlines())


def test_cases_are_found_however_deep(folders: list[str]) -> None:
    assert [str(p) for p in cases_in(Path(folders[0]).parent)] == folders[:3]


def test_the_command_goes_on_past_a_bad_case(
    folders: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["rebuild-or-buy", *folders[:3], "--draws", "64", "--workers", "1", "--lines", str(tmp_path / "t.parquet")]
    assert main(words) == 2
    said = capsys.readouterr().out.splitlines()
    assert [line.startswith(folder) for line, folder in zip(said, folders[:3], strict=False)] == [True] * 3
    assert said[-1] == "1 of 3 cases have no answer."
    assert len(pd.read_parquet(tmp_path / "t.parquet")) == len(pd.read_csv(tmp_path / "t.csv")) == 3
    assert main([*words[:3], "--draws", "64", "--json"]) == 0
    assert {x["currency"] for x in json.loads(capsys.readouterr().out)} == {"EUR"}
