"""A page is written whole or not at all; a notebook runs only with parameters that it has."""

from __future__ import annotations

from pathlib import Path

import nbformat
import pandas as pd
import pytest

from repairecon.records import RepaireconError
from repairecon.show import report
from repairecon.show.sheet import Panel, Sheet


def test_unknown_notebook_parameter_is_refused():
    with pytest.raises(RepaireconError, match="drawz"):
        report.run_notebook("rebuild_or_buy", {"drawz": 3})


def test_parameter_names_are_pinned():
    """What other work passes to the notebook; a parameter that is not named is only warned of by the runner."""
    import papermill

    path = Path(__file__).parents[2] / "notebooks" / "rebuild_or_buy.ipynb"
    names = ["case_folder", "draws", "seed", "cost_own_hour", "horizon_years", "found", "stage"]
    assert list(papermill.inspect_notebook(str(path))) == names
    assert report.parameter_names(nbformat.read(path, as_version=4)) == names


def test_report_of_a_notebook_leaves_nothing_half_written(tmp_path):
    with pytest.raises(RepaireconError):
        report.write_report("rebuild_or_buy", tmp_path / "r.html", {"case_folder": str(tmp_path / "none")})
    with pytest.raises(RepaireconError, match="no folder"):
        report.write_report("rebuild_or_buy", tmp_path / "none" / "r.html", {"case_folder": "x"})
    with pytest.raises(RepaireconError, match="is a folder"):
        report.write_page(tmp_path, "<html>")
    assert list(tmp_path.iterdir()) == []


def test_a_page_holds_words_and_tables_in_their_order():
    sheet = Sheet(pd.DataFrame({"way": ["new"], "cash": ["1,200"]}), "In EUR")
    blocks = [Panel("First", ["look & see"]), sheet]
    page = report.render("A <pump>", "today", ["Buy new.", "Why."], blocks, [Panel("Last", ["x"])])
    order = 'A &lt;pump&gt;|today|Buy new.|look &amp; see|In EUR|data-label="cash" class="n">1,200|Appendix|Last'
    places = [page.index(piece) for piece in order.split("|")]
    assert places == sorted(places)


@pytest.mark.parametrize("trouble", [OSError(99, "Cannot assign requested address"), AssertionError(), "no kernel"])
def test_no_kernel_and_no_loopback_end_in_a_sentence(tmp_path, monkeypatch, trouble):
    from jupyter_client.kernelspec import KernelSpecManager, NoSuchKernel

    def none(*_: object, **__: object) -> None:
        raise NoSuchKernel("python3") if trouble == "no kernel" else trouble

    monkeypatch.setattr(KernelSpecManager, "get_kernel_spec", none)
    with pytest.raises(RepaireconError, match="without --report the answer needs neither"):
        report.write_report("rebuild_or_buy", tmp_path / "r.html", {"case_folder": "x"})
    assert list(tmp_path.iterdir()) == []


def test_text_of_a_notebook_stands_in_the_page():
    """Text cells go through a library that older versions of the converter do not know."""
    from nbformat.v4 import new_markdown_cell, new_notebook

    made = report.page(new_notebook(cells=[new_markdown_cell("# Pump\n\n| a | b |\n|--|--|\n| 1 | 2 |\n")]), "T")
    assert "<td>1</td>" in made
    assert "Pump" in made
