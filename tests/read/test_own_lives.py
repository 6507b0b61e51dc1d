"""Lives that the owner knows: what stands in lives.csv, and what is wrong there. All figures are invented."""

from __future__ import annotations

from pathlib import Path

import pytest
from case_makers import CASE, GOOD, THREE, WAYS, as_csv, faults, spots, write

from repairecon.read import new_case, read_case
from repairecon.records import OwnLife, Source

LIVES = "lives.csv"
HEAD = ["way", "years", "hours", "failed", "note"]
ROWS = [
    ["REBUILD  here", "9", "1400", "yes", "seal"],
    ["new, maker", "6.5", "", "No", ""],
    ["exchange", "", "2600", "y", ""],
]


def with_lives(*rows: list[str]) -> dict[str, str]:
    """The good case with lives from row 2 on."""
    return {**GOOD, LIVES: as_csv([HEAD, *rows])}


def test_what_stands_in_lives(tmp_path: Path) -> None:
    case = read_case(write(tmp_path, with_lives(*ROWS)))
    assert case.own_lives == (
        OwnLife(way="rebuild here", years=9, hours=1400, failed=True, source=Source(LIVES, 2)),
        OwnLife(way="new, maker", years=6.5, hours=None, failed=False, source=Source(LIVES, 3)),
        OwnLife(way="exchange", years=None, hours=2600, failed=True, source=Source(LIVES, 4)),
    )
    assert case.notes[f"{LIVES}:2"] == "seal"


def test_no_lives_without_the_file(tmp_path: Path) -> None:
    assert read_case(write(tmp_path / "a", GOOD)).own_lives == ()
    assert read_case(write(tmp_path / "b", with_lives())).own_lives == ()


def test_lives_change_no_way_when_they_are_read(tmp_path: Path) -> None:
    plain, said = (read_case(write(tmp_path / n, f)) for n, f in (("a", GOOD), ("b", with_lives(*ROWS))))
    assert said.ways == plain.ways


@pytest.mark.parametrize(
    ("row", "column", "found", "wanted"),
    [
        (["new, makr", "9", "", "yes", ""], "way", "an unknown way 'new, makr'", "did you mean 'new, maker'?"),
        (["", "9", "", "yes", ""], "way", "nothing", "name the way whose unit it is"),
        (["buy and rebuild", "9", "", "yes", ""], "way", "which has two units", "name the way whose unit it is"),
        (["exchange", "", "", "yes", ""], "years", "neither years nor hours", "the hours that it ran"),
        (["exchange", "0", "", "yes", ""], "years", "'0'", "write more than 0"),
        (["exchange", "9", "0", "yes", ""], "hours", "'0'", "write more than 0"),
        (["exchange", "-1", "900", "no", ""], "years", "'-1'", "write more than 0"),
        (["exchange", "nine", "", "yes", ""], "years", "'nine'", "write a number"),
        (["exchange", "9", "", "", ""], "failed", "nothing", "write yes if it failed"),
        (["exchange", "9", "", "leaks", ""], "failed", "'leaks'", "write yes or no"),
    ],
)
def test_a_wrong_life(tmp_path: Path, row: list[str], column: str, found: str, wanted: str) -> None:
    """One thing wrong is one fault."""
    (fault,) = faults(write(tmp_path, with_lives(ROWS[0], row)))
    assert (fault.file, fault.row, fault.column) == (LIVES, 3, column)
    assert found in fault.found
    assert wanted in fault.write


def test_headings_of_lives(tmp_path: Path) -> None:
    for k, column in enumerate(("way", "failed")):
        text = as_csv([HEAD, *ROWS]).replace(column, "colour", 1)
        seen = faults(write(tmp_path / str(k), {**GOOD, LIVES: text}))
        assert spots(seen) == [(LIVES, 1, "colour"), (LIVES, 1, column)], seen
    (fault,) = faults(write(tmp_path / "near", {**GOOD, "live.csv": as_csv([HEAD, *ROWS])}))
    assert fault.write.startswith("did you mean lives.csv")


def test_no_way_unknown_where_ways_could_not_be_read(tmp_path: Path) -> None:
    assert spots(faults(write(tmp_path, {**with_lives(*ROWS), WAYS: ""}))) == [(WAYS, None, "")]


def test_lives_of_the_default_ways(tmp_path: Path) -> None:
    """They may be named as the defaults name them; a default pair is a pair, and lives speak of the years."""
    text = as_csv([HEAD, ["New", "9", "", "yes", ""]])
    case = read_case(write(tmp_path / "a", {CASE: THREE, LIVES: text}))
    assert [x.way for x in case.own_lives] == ["new"]
    assert "horizon_years" in {a.name for a in case.assumed}
    pair = next(w.way for w in case.ways if w.kind == "rebuild and spare")
    text = as_csv([HEAD, [pair, "9", "", "yes", ""]])
    assert spots(faults(write(tmp_path / "b", {CASE: THREE, LIVES: text}))) == [(LIVES, 2, "way")]


def test_lives_of_a_new_case(tmp_path: Path) -> None:
    """Its examples are left out until ``example:`` is taken away."""
    folder = new_case(tmp_path / "pump")
    assert read_case(folder).own_lives == ()
    for file in (WAYS, LIVES):
        path = folder / file
        path.write_text(path.read_text("utf-8").replace("example: ", ""), "utf-8")
    lives = read_case(folder).own_lives
    assert {x.way for x in lives} == {"rebuild here", "new"}
    assert {x.failed for x in lives} == {True, False}
    assert {x.hours for x in lives} >= {None}
    assert {x.years for x in lives} >= {None}
