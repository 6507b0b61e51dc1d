"""A file is written whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from repairecon.read import write_whole
from repairecon.read.files import write_all
from repairecon.records import RepaireconError


def names(folder: Path) -> list[str]:
    return [path.name for path in folder.iterdir()]


def test_new_and_old(tmp_path: Path) -> None:
    path = tmp_path / "page.html"
    for text in ("first ½\r\n", "second\n"):
        write_whole(path, text)
        assert path.read_bytes() == text.encode("utf-8")
    assert names(tmp_path) == ["page.html"]


def test_a_failure_leaves_the_old_file_and_nothing_else(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "page.html"
    path.write_text("old")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(RepaireconError, match="No space left"):
        write_whole(path, "new")
    assert path.read_text() == "old"
    assert names(tmp_path) == ["page.html"]


@pytest.mark.parametrize("name", ["nowhere/page.html", "", "\x00", "x" * 300])
def test_what_cannot_be_written(tmp_path: Path, name: str) -> None:
    with pytest.raises(RepaireconError, match="could not be written"):
        write_whole(tmp_path / name, "text")
    assert names(tmp_path) == []


def test_all_of_several_files_or_none(tmp_path: Path) -> None:
    (tmp_path / "b").write_text("mine")
    with pytest.raises(RepaireconError, match="b is there already"):
        write_all(tmp_path, {"new/a": b"x", "b": b"y", "c": b"z"})
    assert names(tmp_path) == ["b"]
    assert (tmp_path / "b").read_text() == "mine"


def test_a_link_stays_a_link(tmp_path: Path) -> None:
    (tmp_path / "real").write_text("old")
    (tmp_path / "link").symlink_to(tmp_path / "real")
    write_whole(tmp_path / "link", "new")
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "real").read_text() == "new"


def test_permissions_are_those_of_any_new_file(tmp_path: Path) -> None:
    (tmp_path / "plain").write_text("x")
    write_whole(tmp_path / "whole", "x")
    assert (tmp_path / "whole").stat().st_mode == (tmp_path / "plain").stat().st_mode
    (tmp_path / "whole").chmod(0o600)
    write_whole(tmp_path / "whole", "y")
    assert (tmp_path / "whole").stat().st_mode & 0o777 == 0o600
