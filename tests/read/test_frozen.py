"""A decision is frozen once, whole, and a change of it is noticed."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from repairecon import CaseError, RepaireconError, read_case
from repairecon.read.closed import freeze, read_closed, read_decision
from repairecon.records import Decision, Figures

DATA = Path(__file__).parents[2] / "data"
FIGURES = {"rebuild here": {"total": Figures(100.0, 60.0, 95.0, 180.0)}}
MADE = Decision(
    folder="",
    way="rebuild here",
    decided_on="2026-05-04",
    seed=1,
    draws=500,
    found="neglect=dry",
    currency="EUR",
    cost_own_hour=18.0,
    figures=FIGURES,
    seal="",
    best="exchange",
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    place = tmp_path / "boat"
    shutil.copytree(DATA / "alternator", place)
    freeze(place, MADE, read_case(place))
    return place


def test_read_as_it_was_written(folder: Path) -> None:
    read = read_decision(folder)
    assert replace(read, folder="", seal="") == MADE
    assert len(read.seal) == 64
    assert read_case(read.folder).parts == read_case(DATA / "alternator").parts
    assert (folder / "actual.csv").is_file()


def test_later_changes_of_the_case_do_not_reach_the_decision(folder: Path) -> None:
    text = (folder / "parts.csv").read_text()
    (folder / "parts.csv").write_text(text.replace(",210,", ",999,"))
    frozen = read_closed(folder).case
    rotor = next(p for p in frozen.parts if p.part == "rotor")
    assert rotor.price is not None
    assert rotor.price.likely == 210.0


def test_frozen_once(folder: Path) -> None:
    before = {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()}
    with pytest.raises(RepaireconError, match="frozen once"):
        freeze(folder, MADE, read_case(folder))
    assert {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()} == before


def test_whole_or_not_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from repairecon.read import files as writing

    place, calls = tmp_path / "boat", []
    shutil.copytree(DATA / "alternator", place)
    before = sorted(p.name for p in place.rglob("*"))
    real = writing._replace

    def fails(target: Path, data: bytes) -> None:
        calls.append(target)
        if len(calls) == 4:
            raise OSError(28, "no room left")
        real(target, data)

    monkeypatch.setattr(writing, "_replace", fails)
    with pytest.raises(RepaireconError, match="no room left"):
        freeze(place, MADE, read_case(place))
    assert sorted(p.name for p in place.rglob("*")) == before


def test_an_own_sheet_is_kept(tmp_path: Path) -> None:
    place = tmp_path / "boat"
    shutil.copytree(DATA / "alternator", place)
    (place / "actual.csv").write_text("kind,name\n")
    freeze(place, MADE, read_case(place))
    assert (place / "actual.csv").read_text() == "kind,name\n"


def _edit(old: str, new: str, name: str = "decision.toml"):
    def change(decided: Path) -> None:
        text = (decided / name).read_text(encoding="utf-8")
        assert old in text
        (decided / name).write_text(text.replace(old, new), encoding="utf-8")

    return change


@pytest.mark.parametrize(
    ("change", "file"),
    [
        (_edit("mean = 100.0", "mean = 150.0"), "decided/decision.toml"),
        (_edit('way = "rebuild here"', 'way = "exchange"'), "decided/decision.toml"),
        (_edit("seed = 1", "seed = 2"), "decided/decision.toml"),
        (_edit("[seal]", "[sealed]"), "decided/decision.toml"),
        (_edit(",210,", ",310,", "parts.csv"), "decided/parts.csv"),
        (lambda decided: (decided / "events.csv").unlink(), "decided/events.csv"),
        (lambda decided: (decided / "quotes.csv").write_text("item,supplier\n"), "decided/quotes.csv"),
        (lambda decided: (decided / "decision.toml").unlink(), "decided/decision.toml"),
        (lambda decided: (decided / "decision.toml").write_bytes(b"\xff\x00"), "decided/decision.toml"),
    ],
)
def test_tampering_is_noticed(folder: Path, change, file: str) -> None:
    change(folder / "decided")
    with pytest.raises(CaseError) as caught:
        read_decision(folder)
    assert [f.file for f in caught.value.faults] == [file]


def test_several_changes_are_said_together(folder: Path) -> None:
    _edit(",210,", ",310,", "parts.csv")(folder / "decided")
    _edit("0.6", "0.7", "events.csv")(folder / "decided")
    with pytest.raises(CaseError) as caught:
        read_decision(folder)
    assert [f.file for f in caught.value.faults] == ["decided/events.csv", "decided/parts.csv"]


def test_other_line_ends_are_no_change(folder: Path) -> None:
    for path in (folder / "decided").iterdir():
        path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    assert read_decision(folder).way == "rebuild here"


def test_the_demo_is_whole() -> None:
    closed = read_closed(DATA / "alternator_done")
    assert closed.decision.way == "rebuild here"
    assert closed.case.unit.figures == "invented"
    for name in ("case.toml", "parts.csv", "events.csv", "ways.csv", "looks.csv"):
        assert (DATA / "alternator_done" / name).read_bytes() == (DATA / "alternator" / name).read_bytes()
