"""A page is written whole or not at all, and holds its blocks in their order."""

from __future__ import annotations

import pandas as pd
import pytest

from repairecon.records import RepaireconError
from repairecon.show import report
from repairecon.show.sheet import Panel, Sheet


def test_a_page_is_written_whole_or_not_at_all(tmp_path):
    with pytest.raises(RepaireconError, match="no folder"):
        report.write_page(tmp_path / "none" / "r.html", "<html>")
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
