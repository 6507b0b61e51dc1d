"""The pages of all jobs in a browser: nothing out of sight on a telephone, nothing lost on paper, few sheets."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from repairecon.__main__ import main
from repairecon.show.sheet import Sheet

DATA = Path(__file__).parents[2] / "data"
PAGES = {
    "compare-quotes": (DATA / "engine_service", 4, 2, ""),
    "spares-aboard": (DATA / "spares", 4, 3, ""),
    "after-the-job": (DATA / "alternator_done", 3, 4, "Do the ranges hold"),
    "whole-boat": (DATA / "boat", 1, 1, ""),
}
"""Of each job its demo, sheets of A4 at most before the appendix, its pictures, and words in it."""
BEYOND = "[...document.querySelectorAll('td,tbody th')].filter(e => e.getBoundingClientRect().right > 391).length"


@pytest.fixture(scope="module", params=PAGES)
def page(request, tmp_path_factory):
    """A page as the command writes it, and the tables that were put into it."""
    folder, *looked_for = PAGES[request.param]
    shown: list[Sheet] = []
    place = tmp_path_factory.mktemp("pages") / f"{request.param}.html"
    with pytest.MonkeyPatch.context() as patch:
        rows = Sheet.rows
        patch.setattr(Sheet, "rows", property(lambda s: shown.append(s) or rows.fget(s)))
        assert main([request.param, str(folder), "--report", str(place)]) == 0
    return place, shown, *looked_for


def test_headings_go_in_order_and_tables_have_captions(page):
    text = page[0].read_text(encoding="utf-8")
    assert text.count("<table") == text.count("<caption") == text.count("<thead") > 0
    assert text.count("data:image/png") == 2 * text.count("<figure>") == 2 * page[3]
    assert text.index('class="advice"') < text.index("<h2") < (text.find('class="part"') % len(text))
    assert page[4] in text
    assert "http://" not in text
    assert "https://" not in text


@pytest.mark.browser
def test_on_a_telephone_no_column_is_out_of_sight(chromium, page):
    view = chromium.new_page(viewport={"width": 390, "height": 844})
    view.goto(page[0].as_uri())
    assert view.evaluate("document.documentElement.scrollWidth") == 390
    assert view.evaluate(BEYOND) == 0
    seen = view.inner_text("body")
    assert [cell for s in page[1] for row in s.rows for cell in row if cell[1] not in seen] == []


@pytest.mark.browser
@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_on_paper_no_heading_and_no_figure_is_lost(chromium, page, tmp_path, size):
    if shutil.which("pdftotext") is None:
        pytest.skip("no pdftotext on this machine")
    view = chromium.new_page()
    view.goto(page[0].as_uri())
    view.pdf(path=str(tmp_path / "p.pdf"), format=size, print_background=True)
    read = ["pdftotext", "-layout", "p.pdf", "-"]
    text = subprocess.run(read, cwd=tmp_path, capture_output=True, text=True, check=True).stdout
    words = " ".join(said for s in page[1] for row in s.rows for cell in row for said in cell)
    wanted = {word for word in words.replace("-", " ").split() if len(word) > 1}  # a unit of one letter may be glued
    assert wanted - set(text.replace("-", " ").split()) == set()
    sheets = text.split("\f")[:-1]
    first = next((k for k, sheet in enumerate(sheets) if sheet.strip().startswith("Appendix")), len(sheets))
    assert first <= page[2] + (size == "Letter")  # Letter is 18 mm shorter
