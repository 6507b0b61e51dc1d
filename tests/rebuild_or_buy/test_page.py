"""The offline page: advice on top, whole on a telephone and on paper, nothing fetched, text escaped."""

from __future__ import annotations

import shutil
import subprocess
from dataclasses import replace
from datetime import date
from html.parser import HTMLParser
from pathlib import Path

import pytest
import reference_case as rc

import repairecon
from repairecon.__main__ import main
from repairecon.rebuild_or_buy import command, parts, sentences
from repairecon.rebuild_or_buy.job import rebuild_or_buy
from repairecon.rebuild_or_buy.parts import page
from repairecon.show import plots
from repairecon.show.sheet import Sheet

DATA = Path(__file__).parents[2] / "data"
HOSTILE = "<script>alert(1)</script> $x^2$ **b** =1+1"


class Tags(HTMLParser):
    def __init__(self, text: str) -> None:
        super().__init__()
        self.seen: list[str] = []
        self.fetched: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.seen.append(tag)
        self.fetched += [v for k, v in attrs if k in ("src", "href", "srcset") and not v.startswith(("data:", "#"))]


@pytest.fixture(scope="module")
def windlass():
    return rebuild_or_buy(repairecon.read_case(DATA / "windlass"), draws=500)


@pytest.fixture(scope="module")
def windlass_page(windlass):
    return page(windlass, date(2026, 3, 14))


@pytest.fixture
def _no_ink(monkeypatch):
    """Pictures are laid out and described but not painted: what is looked at is their words and the page round them."""
    monkeypatch.setattr(plots, "save_png", lambda *_: b"")


@pytest.mark.usefixtures("_no_ink")
def test_a_page_is_written_whole_or_not_at_all(windlass, tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(command, "rebuild_or_buy", lambda *_, **__: windlass)
    target = tmp_path / "r.html"
    line = ["rebuild-or-buy", str(DATA / "windlass"), "--report"]
    before = date.today()
    assert main([*line, str(target)]) == 0
    text = target.read_text(encoding="utf-8")
    # advice, date and case are on top
    head = text.partition("<table")[0]
    assert sentences.do(windlass) in head
    for word in ("Case windlass", "figures: invented", "repairecon"):
        assert word in head
    assert any(day.isoformat() in head for day in (before, date.today()))
    # nothing is fetched and every table has its headings
    tags = Tags(text)
    assert tags.fetched == []
    assert tags.seen.count("table") == tags.seen.count("caption") == tags.seen.count("thead")
    assert tags.seen.count("h1") == 2
    assert tags.seen.count("img") == text.count('alt="') == 6
    assert text.endswith("</html>")
    # where no file can be, none is left
    assert [main([*line, str(where)]) for where in (tmp_path, tmp_path / "no" / "r.html")] == [2, 2]
    assert "no folder" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == [target]


@pytest.mark.usefixtures("_no_ink")
def test_text_from_files_is_escaped():
    base = rc.case()
    ways = (*base.ways[:2], replace(base.ways[2], way=HOSTILE), base.ways[3])
    unit = replace(base.unit, name=HOSTILE, cautions=(HOSTILE,))
    answer = rebuild_or_buy(rc.case(unit=unit, ways=ways), draws=300)
    for text in (page(answer), *(b._repr_html_() for b in parts.advice(answer))):
        assert "script" not in Tags(text).seen
        assert "&lt;script&gt;" in text


def cells(answer):
    """Every heading and figure of the tables of ways and of the years."""
    for block in (parts.ways(answer), *parts.years(answer)):
        if isinstance(block, Sheet):
            yield from (word for name in block.table.columns for word in str(name).split())
            yield from (cell for row in block.rows for _, cell in row)


@pytest.mark.browser
def test_on_a_telephone_no_figure_is_out_of_sight(chromium, windlass, windlass_page, tmp_path):
    (tmp_path / "p.html").write_text(windlass_page, encoding="utf-8")
    view = chromium.new_page(viewport={"width": 390, "height": 844})
    view.goto((tmp_path / "p.html").as_uri())
    assert view.evaluate("document.documentElement.scrollWidth") == 390
    beyond = "[...document.querySelectorAll('td,tbody th')].filter(e => e.getBoundingClientRect().right > 391).length"
    assert view.evaluate(beyond) == 0
    text = " ".join(view.inner_text("main").split())
    assert [cell for cell in parts.ways(windlass).rows[0] if cell[1] not in text] == []


@pytest.mark.browser
@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_on_paper_every_heading_and_figure_is_there(chromium, windlass, windlass_page, tmp_path, size):
    if shutil.which("pdftotext") is None:
        pytest.skip("no pdftotext on this machine")
    (tmp_path / "p.html").write_text(windlass_page, encoding="utf-8")
    view = chromium.new_page()
    view.goto((tmp_path / "p.html").as_uri())
    view.pdf(path=str(tmp_path / "p.pdf"), format=size, print_background=True)
    text = subprocess.run(
        ["pdftotext", "-layout", "p.pdf", "-"], cwd=tmp_path, capture_output=True, text=True, check=True
    )
    flat = " ".join(text.stdout.split())
    assert [cell for cell in cells(windlass) if not all(word in flat for word in cell.split())] == []
    sheets = text.stdout.split("\f")
    first = next(k for k, sheet in enumerate(sheets) if sheet.strip().startswith("Appendix"))
    assert first <= (3 if size == "A4" else 4)  # Letter is 18 mm shorter
    assert len(sheets) - 1 - first <= 6
