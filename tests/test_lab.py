"""The notebook as an owner meets it: JupyterLab in a browser, run, a number typed over, run again."""

from __future__ import annotations

import re
from collections.abc import Callable

import lab_page
import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_notebook

pytestmark = pytest.mark.browser
Open = Callable[[str], lab_page.NotebookPage]
HEAD = {"kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"}}


def put(lab: lab_page.Lab, name: str, *cells: nbformat.NotebookNode) -> None:
    """A small notebook beside the real ones; without a kernel named the browser would ask for one."""
    notebook = new_notebook(cells=list(cells), metadata=HEAD)
    nbformat.write(notebook, lab.folder / "notebooks" / f"{name}.ipynb")


def tagged(source: str, tag: str) -> nbformat.NotebookNode:
    return new_code_cell(source, metadata={"tags": [tag]})


def test_an_error_is_seen(open_notebook: Open, lab: lab_page.Lab) -> None:
    put(lab, "broken", new_code_cell("1/0"), new_code_cell("2"))
    assert any("ZeroDivisionError" in text for text in open_notebook("broken").run_all())


def test_a_small_notebook_follows_what_is_typed(open_notebook: Open, lab: lab_page.Lab) -> None:
    first = 'hours: float = 2.0  # the owner\'s, at the bench\nwho: str = "owner"  # or the yard'
    put(lab, "small", tagged(first, "parameters"), tagged("print(who, hours * 10)", "verdict"))
    small = open_notebook("small")
    assert small.run_all() == []
    assert small.output("verdict").strip() == "owner 20.0"
    small.retype("parameters", "hours", "hours: float = 3.5  # the owner's, at the bench")
    small.retype("parameters", "who", 'who: str = "yard"  # or the owner')
    assert small.run_all() == []
    assert small.output("verdict").strip() == "yard 35.0"


def test_rebuild_or_buy_runs_and_follows_the_case_typed(open_notebook: Open) -> None:
    book = open_notebook("rebuild_or_buy")
    assert book.run_all() == []
    before = book.output("verdict")
    assert before.strip()
    line = next(x for x in book.show("parameters").locator(".cm-line").all_inner_texts() if "windlass" in x)
    start = re.split(r"[:=\s]", line)[0]
    book.retype("parameters", start, line.replace("windlass", "starter").rstrip())
    assert book.run_all() == []
    after = book.output("verdict")
    assert after.strip()
    assert after != before


@pytest.mark.parametrize(
    ("name", "start", "typed"),
    [
        ("compare_quotes", "deadline_days", "deadline_days: float = 10"),
        ("spares_aboard", "budget", "budget: float = 60"),
        ("after_the_job", "strength", "strength: float = 0.9"),
        ("whole_boat", "season_days", "season_days: float = 30"),
    ],
)
def test_the_other_jobs_run_and_follow_what_is_typed(open_notebook: Open, name: str, start: str, typed: str) -> None:
    book = open_notebook(name)
    assert book.run_all() == []
    before = book.output("verdict")
    assert before.strip()
    book.retype("parameters", start, typed)
    assert book.run_all() == []
    assert name == "after_the_job" or book.output("verdict") != before
