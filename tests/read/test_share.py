"""Notebooks and demo cases are found in a checkout and in an installed package, and copied whole."""

from __future__ import annotations

from pathlib import Path

import pytest

from repairecon.read import copy_notebooks, read_case, share_dir, starter
from repairecon.records import RepaireconError


def shared(place: Path) -> Path:
    (place / "notebooks" / ".ipynb_checkpoints").mkdir(parents=True)
    (place / "notebooks" / "job.ipynb").write_text("{}")
    (place / "notebooks" / ".ipynb_checkpoints" / "job.ipynb").write_text("old")
    (place / "data" / "pump").mkdir(parents=True)
    (place / "data" / "pump" / "case.toml").write_bytes(b"[unit]\r\n")
    return place


def test_in_this_checkout() -> None:
    assert (share_dir() / "notebooks").is_dir()
    cases = [p for p in sorted((share_dir() / "data").iterdir()) if p.name not in ("boat", "job_log", "spares")]
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


def test_nothing_is_overwritten(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shared(tmp_path / "repairecon" / "_share")
    monkeypatch.setattr(starter, "_PACKAGE", tmp_path / "repairecon")
    target = tmp_path / "mine"
    (target / "notebooks").mkdir(parents=True)
    (target / "notebooks" / "job.ipynb").write_text("my own")
    with pytest.raises(RepaireconError, match=r"there already: name another folder"):
        copy_notebooks(target)
    assert (target / "notebooks" / "job.ipynb").read_text() == "my own"
    assert not (target / "data").exists()
