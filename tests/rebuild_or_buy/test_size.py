"""What would take all memory or all day is refused before it is begun, in a sentence; all else is done.

Each case goes through the command line in this process: what is refused costs nothing, so a limit on time shows it.
``tests/hardness/bombs.py`` tries the large ones that are done, with memory and seconds.
"""

from __future__ import annotations

import sys
import time
from importlib import import_module
from pathlib import Path

import pytest

from repairecon.__main__ import main

sys.path.insert(0, str(Path(__file__).parents[1] / "hardness"))
from bombs import BOMBS, CASE, WAYS, parts

SOON = 20.0
"""Seconds of this process, of which reading takes most."""


def tried(folder: Path, name: str) -> tuple[int, float]:
    files, (job, *words) = BOMBS[name]
    for file, text in {"case.toml": CASE, "ways.csv": WAYS, **files}.items():
        (folder / file).write_text(text)
    began = time.process_time()
    return main([job, str(folder), *words]), time.process_time() - began


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("20,000 outcomes", "20000 rows and 20000 courses of events for 1 rebuilds would take about 19 GB"),
        ("1e11 draws", "100000000000 draws would take about"),
    ],
)
def test_what_is_too_large_is_refused_soon(tmp_path, capsys, name, said):
    code, seconds = tried(tmp_path, name)
    assert code == 2
    assert said in capsys.readouterr().err
    assert seconds < SOON


@pytest.mark.parametrize("name", ["16 independent", "20 independent", "1,000 quotes"])
def test_what_is_large_is_done(tmp_path, name):
    code, seconds = tried(tmp_path, name)
    assert code == 0
    assert seconds < 60


def test_more_uncertain_numbers_than_memory_holds(tmp_path, capsys, monkeypatch):
    """With a limit of 20 MB in place of 2 GB, and 200 parts in place of 20,000."""
    monkeypatch.setattr(import_module("repairecon.rebuild_or_buy.tree"), "MOST_BYTES", 2e7)
    for file, text in {"case.toml": CASE, "ways.csv": WAYS, **parts(200)}.items():
        (tmp_path / file).write_text(text)
    assert main(["rebuild-or-buy", str(tmp_path)]) == 2
    assert "uncertain prices, waits and hours" in capsys.readouterr().err
