"""A notebook runs only with parameters that it has, whatever sets them; all first cells have the same names."""

from __future__ import annotations

from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient
from nbclient.exceptions import CellExecutionError
from nbformat.v4 import new_code_cell

from repairecon.records import RepaireconError
from repairecon.show.sheet import only_known_parameters

NOTEBOOKS = sorted((Path(__file__).parents[2] / "notebooks").glob("*.ipynb"))
FIRST = {"rebuild_or_buy": "folder", "compare_quotes": "folder", "after_the_job": "folder", "whole_boat": "folder",
         "spares_aboard": "book"}  # fmt: skip
CELL = "folder: str = 'x'  # a case\ndraws: int = 5"


def test_first_names_are_alike():
    """By papermill, a general-purpose runner of notebooks: what it finds is what it would set."""
    import papermill

    assert {p.stem: next(iter(papermill.inspect_notebook(str(p)))) for p in NOTEBOOKS} == FIRST


@pytest.mark.parametrize("cell", ["# Parameters\nfolder = 'y'", "import os", "%load x", CELL])
def test_what_a_notebook_has_may_be_set(cell):
    only_known_parameters([CELL, cell])


def test_each_unknown_name_is_said():
    said = r"no parameter foldr \(did you mean folder\?\), zz; it has folder, draws"
    with pytest.raises(RepaireconError, match=said):
        only_known_parameters([CELL, "foldr = 'y'\nzz = 3\ndraws = 4"])


def test_a_runner_that_sets_an_unknown_name_is_stopped():
    """The cell of a runner put in by hand, behind the one tagged as parameters."""
    notebook = nbformat.read(NOTEBOOKS[-1], as_version=4)
    notebook.cells = notebook.cells[:3]
    notebook.cells.insert(2, new_code_cell("case_folder = 'x'"))
    with pytest.raises(CellExecutionError, match="this notebook has no parameter case_folder"):
        NotebookClient(notebook, kernel_name="python3", timeout=60).execute()
