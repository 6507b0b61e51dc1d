"""The notebooks obey the house rules, run clean, and say the same in another folder."""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import nbformat
import pytest
import refresh
from jupyter_client.manager import KernelManager
from nbclient import NotebookClient
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook
from notebook_rules import faults

ROOT = Path(__file__).resolve().parent.parent
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
NAMES = [p.stem for p in NOTEBOOKS]
FORGET = "get_ipython().run_line_magic('reset', '-f')"
"""What the notebook before left in the kernel's names."""


def test_the_main_notebook_is_there() -> None:
    assert "rebuild_or_buy" in NAMES


@pytest.mark.parametrize("path", NOTEBOOKS, ids=NAMES)
def test_obeys_the_rules(path: Path) -> None:
    assert faults(path) == []


@pytest.fixture(scope="module")
def elsewhere(tmp_path_factory: pytest.TempPathFactory) -> Path:
    copy = tmp_path_factory.mktemp("moved") / "a boat's papers"
    for folder in ("notebooks", "data"):
        shutil.copytree(ROOT / folder, copy / folder)
    return copy / "notebooks"


@pytest.fixture(scope="module")
def kernel(elsewhere: Path) -> Iterator[KernelManager]:
    """One kernel for all, as its start and its imports take longer than the notebooks; ``refresh.py --check`` starts
    one for each."""
    made = KernelManager(kernel_name="python3", config=refresh.QUIET)
    made.start_kernel(cwd=str(elsewhere), extra_arguments=["--HistoryManager.enabled=False"])
    yield made
    made.shutdown_kernel(now=True)


def uncounted(notebook: Any) -> Any:
    """A kernel that ran another notebook before goes on counting."""
    for cell in notebook.cells:
        for counted in (cell, *cell.get("outputs", [])):
            counted.pop("execution_count", None)
    return notebook


@pytest.mark.parametrize("path", NOTEBOOKS, ids=NAMES)
def test_runs_clean_and_the_same_elsewhere(path: Path, elsewhere: Path, kernel: KernelManager) -> None:
    NotebookClient(new_notebook(cells=[new_code_cell(FORGET)]), km=kernel).execute()
    fresh = refresh.run(elsewhere / path.name, kernel=kernel)
    outputs = [out for cell in fresh.cells for out in cell.get("outputs", [])]
    assert not [out for out in outputs if out.get("name") == "stderr" or out.output_type == "error"]
    committed = nbformat.read(path, as_version=4)
    old, new = (refresh.as_text(refresh.without_pictures(uncounted(x))).splitlines() for x in (committed, fresh))
    assert new == old, "stale: run tests/refresh.py"


def small() -> Any:
    """A notebook that breaks no rule, before it is run."""
    return new_notebook(
        cells=[
            new_markdown_cell("# Two and two"),
            new_code_cell("first: float = 2.0  # hours", metadata={"tags": ["parameters"]}),
            new_code_cell("print(first + 2)", metadata={"tags": ["verdict"]}),
        ]
    )


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small notebook, run and written in normal form."""
    path = tmp_path_factory.mktemp("small") / "small.ipynb"
    nbformat.write(small(), path)
    assert refresh.main([str(path)]) == 0
    return path


def test_the_small_one_obeys(good: Path) -> None:
    assert faults(good) == []
    assert "4.0" in good.read_text()


def test_check_sees_a_stale_output_and_writes_nothing(good: Path, tmp_path: Path) -> None:
    path = tmp_path / "stale.ipynb"
    shutil.copy(good, path)
    assert refresh.main(["--check", str(path)]) == 0
    stale = path.read_text().replace("4.0", "5.0")
    path.write_text(stale)
    assert refresh.main(["--check", str(path)]) == 1
    assert path.read_text() == stale


def _set(cell: int, **changes: Any) -> Callable[[Any], None]:
    return lambda nb: nb.cells[cell].update(nbformat.from_dict(changes))


BREAKS: dict[str, Callable[[Any], None]] = {
    "def": _set(2, source="def f():\n    return 4.0\nprint(f())"),
    "lambda": _set(2, source="f = lambda: 4.0\nprint(f())"),
    "magic": _set(2, source="%time print(4.0)"),
    "too many lines": _set(2, source="\n".join(["x = 1"] * 40)),
    "too many cells": lambda nb: nb.cells.extend(new_code_cell("x", execution_count=3 + k) for k in range(7)),
    "no parameters": _set(1, metadata={}),
    "two verdicts": _set(1, metadata={"tags": ["parameters", "verdict"]}),
    "verdict not compared": _set(2, metadata={"tags": ["verdict"]}),
    "more than the verdict compared": _set(1, metadata={"tags": ["parameters", refresh.COMPARED]}),
    "never run": _set(2, execution_count=None, outputs=[]),
    "run out of order": _set(2, execution_count=7),
    "a warning": lambda nb: nb.cells[2].outputs[0].update(name="stderr"),
    "other metadata": lambda nb: nb.cells[2].metadata.update(collapsed=True),
    "random cell id": _set(2, id="a1b2c3d4"),
}


@pytest.mark.parametrize("name", BREAKS)
def test_a_breach_is_seen(good: Path, tmp_path: Path, name: str) -> None:
    notebook = nbformat.read(good, as_version=4)
    BREAKS[name](notebook)
    path = tmp_path / "bad.ipynb"
    path.write_text(nbformat.writes(notebook, indent=1) + "\n")
    assert faults(path)


def _nbval(*paths: Path) -> subprocess.CompletedProcess[str]:
    options = ["--nbval-lax", "--nbval-current-env", "--nbval-cell-timeout", "60", "-p", "no:cacheprovider"]
    rules = ["--nbval-sanitize-with", str(ROOT / "tests" / "nbval.cfg"), "-c", str(ROOT / "pyproject.toml")]
    command = [sys.executable, "-m", "pytest", "-q", "-n0", *options, *rules, *map(str, paths)]
    return subprocess.run(command, capture_output=True, text=True, cwd=paths[0].parent, timeout=300)


def test_the_verdict_cell_is_what_nbval_compares(good: Path, tmp_path: Path) -> None:
    path = tmp_path / "changed.ipynb"
    path.write_text(good.read_text().replace("4.0", "5.0"))
    done = _nbval(good, path)
    assert done.returncode == 1
    assert "1 failed, 3 passed" in done.stdout
    assert "5.0" in done.stdout  # of the one that was changed
