"""A new case folder, and notebooks and demo cases copied: complete, readable, and never in place of something."""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from pathlib import Path

import pytest

from repairecon.read import copy_notebooks, new_case, read_case, share_dir, starter
from repairecon.read.case_folder import cases_in
from repairecon.read.columns import CASE_FILES, FILES, sections
from repairecon.records import RepaireconError, Years

LEFT_OUT = ("exchange", "use", "first_time", "found", "checked", "within_days")


def without_sources(record: object) -> object:
    """A record as plain values, whatever row they stand in."""
    if is_dataclass(record) and not isinstance(record, type):
        return [without_sources(getattr(record, f.name)) for f in fields(record) if f.name != "source"]
    return record


def test_a_new_case_is_a_case(tmp_path: Path) -> None:
    folder = new_case(tmp_path / "boats" / "pump")
    assert sorted(p.name for p in folder.iterdir()) == sorted(["case.toml", *CASE_FILES])
    case = read_case(folder)
    assert case.unit.figures == "invented"
    assert [p.part for p in case.parts] == ["rebuild kit"]


def test_its_examples_are_a_case_too(tmp_path: Path) -> None:
    """With ``example:`` taken away every file is read, none of it assumed."""
    folder = new_case(str(tmp_path / "pump"))
    for file in CASE_FILES:
        path = folder / file
        path.write_text(path.read_text("utf-8").replace("example: ", "").replace("default: ", ""), "utf-8")
    case = read_case(folder)
    assert len(case.parts) == 2
    assert {"rebuild", "new", "exchange"} <= {w.kind for w in case.ways}
    assert [x.price_of for x in case.looks if not x.event] == ["new"]
    assert any(b.not_this_unit for b in case.branches)
    assert case.suppliers
    assert not [a for a in case.assumed if a.name.startswith(("task", "chance"))]


def test_its_default_rows_are_what_is_assumed(tmp_path: Path) -> None:
    """Taken into use they give the same tasks, tree and looks as when they are left out."""
    folder = new_case(tmp_path / "pump")
    before = read_case(folder)
    for file in CASE_FILES:
        path = folder / file
        path.write_text(path.read_text("utf-8").replace("default: ", ""), "utf-8")
    after = read_case(folder)
    for what in ("tasks", "branches", "looks"):
        assumed, written = getattr(before, what), getattr(after, what)
        for a, b in zip(assumed, written[: len(assumed)], strict=True):
            assert without_sources(a) == without_sources(b)
    assert len(after.branches) == len(before.branches) > 20


def test_every_section_and_column_is_in_it(tmp_path: Path) -> None:
    """Nothing that the reader takes is left out of a new case, but the sections that are gone."""
    folder = new_case(tmp_path / "pump")
    text = (folder / "case.toml").read_text("utf-8")
    for name, keys in sections("case.toml").items():
        for key in keys:
            assert key == "*" or key in LEFT_OUT or f"{key} = " in text, (name, key)
    for file in CASE_FILES:
        headed = (folder / file).read_text("utf-8").splitlines()[0].split(",")
        assert set(headed) == {c for c in FILES[file].columns if not c.endswith("_shape")}


def test_its_hints_are_right(tmp_path: Path) -> None:
    """Every commented line of case.toml may be taken into use as it stands."""
    folder = new_case(tmp_path / "pump")
    lines = (folder / "case.toml").read_text("utf-8").split("\n")
    head = next(k for k, line in enumerate(lines) if line.startswith("[unit]"))
    used = [line.removeprefix("# ") for line in lines[head:]]
    for file in CASE_FILES:
        path = folder / file
        path.write_text(path.read_text("utf-8").replace("example: ", "").replace("default: ", ""), "utf-8")
    (folder / "case.toml").write_text("\n".join(used), "utf-8")
    case = read_case(folder)
    assert case.terms.exchange == {"GBP": 1.17}
    assert set(case.terms.labour) == {"yard"}
    assert len(case.waivers) == 1
    terms = case.terms
    assert (case.years.horizon_years, case.years.like_units, case.years.cost_away.high) == (10, 1, 2500)
    assert not {f.name for f in fields(Years)} & {a.name for a in case.assumed}
    assert (terms.risk_tolerance, terms.cap_cost, terms.cap_chance, terms.elsewhere_days) == (3000, 900, 0.1, 3)


def test_an_empty_folder_may_be_there(tmp_path: Path) -> None:
    (tmp_path / "pump").mkdir()
    read_case(new_case(tmp_path / "pump"))


def test_nothing_is_overwritten(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("mine")
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "mine.txt").write_text("mine")
    for name in ("file", "full", "file/pump"):
        with pytest.raises(RepaireconError):
            new_case(tmp_path / name)
    assert (tmp_path / "file").read_text() == "mine"
    assert [p.name for p in (tmp_path / "full").iterdir()] == ["mine.txt"]


def test_all_or_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A failure half-way leaves no file and no folder."""
    real = starter.write_all

    def half(folder: Path, files: dict[str, bytes]) -> None:
        real(folder, {**files, "case.toml/impossible": b""})

    monkeypatch.setattr(starter, "write_all", half)
    with pytest.raises(RepaireconError, match="nothing was changed"):
        new_case(tmp_path / "boats" / "pump")
    assert list(tmp_path.iterdir()) == []


def shared(place: Path) -> Path:
    (place / "notebooks" / ".ipynb_checkpoints").mkdir(parents=True)
    (place / "notebooks" / "job.ipynb").write_text("{}")
    (place / "notebooks" / ".ipynb_checkpoints" / "job.ipynb").write_text("old")
    (place / "data" / "pump").mkdir(parents=True)
    (place / "data" / "pump" / "case.toml").write_bytes(b"[unit]\r\n")
    return place


def test_in_this_checkout() -> None:
    assert (share_dir() / "notebooks").is_dir()
    cases = cases_in(share_dir() / "data")
    assert len(cases) >= 7
    for case in cases:
        assert read_case(case).unit.figures == "invented"


@pytest.mark.parametrize("where", ["repairecon/_share", "."])
def test_installed_or_not(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, where: str) -> None:
    monkeypatch.setattr(starter, "_PACKAGE", tmp_path / "repairecon")
    with pytest.raises(RepaireconError, match="install the package again"):
        share_dir()
    place = shared(tmp_path / where)
    assert share_dir() == place
    target = copy_notebooks(tmp_path / "mine")
    copied = sorted(str(p.relative_to(target)) for p in target.rglob("*") if p.is_file())
    assert copied == ["data/pump/case.toml", "notebooks/job.ipynb"]
    assert (target / "data" / "pump" / "case.toml").read_bytes() == b"[unit]\r\n"


def test_no_copy_overwrites(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shared(tmp_path / "repairecon" / "_share")
    monkeypatch.setattr(starter, "_PACKAGE", tmp_path / "repairecon")
    target = tmp_path / "mine"
    (target / "notebooks").mkdir(parents=True)
    (target / "notebooks" / "job.ipynb").write_text("my own")
    with pytest.raises(RepaireconError, match=r"there already: name another folder"):
        copy_notebooks(target)
    assert (target / "notebooks" / "job.ipynb").read_text() == "my own"
    assert not (target / "data").exists()
