"""Nothing that is not ours is ever replaced: books, inputs, other people's files, what a link leads to."""

from __future__ import annotations

from itertools import product
from pathlib import Path

import pytest

from repairecon.__main__ import main


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


ACTS = (["sheet", "--to"], ["--insurance"], ["export"], ["backup"], ["salvage"])


@pytest.mark.parametrize("book", ["own.spares", "csv"])
def test_what_is_there_stays_as_it_was(folder, capsys, book):
    (folder / "csv" / "spares.sql").write_text("mine")
    before = everything(folder)
    for act, target in product(ACTS, TARGETS):
        assert main(["spares-aboard", str(folder / book), *act, str(folder / target)]) == 2, (act, target)
        said = capsys.readouterr()
        assert "Wrote" not in said.out
        assert "Traceback" not in said.err
        assert everything(folder) == before, (act, target)


def test_a_failed_export_leaves_nothing(folder, capsys):
    (folder / "out").mkdir()
    (folder / "out" / "spares.xlsx").write_text("mine")
    assert main(["spares-aboard", str(folder / "own.spares"), "export", str(folder / "out")]) == 2
    assert "there already" in capsys.readouterr().err
    assert [p.name for p in (folder / "out").iterdir()] == ["spares.xlsx"]
