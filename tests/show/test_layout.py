"""Text for a terminal: tables and paragraphs keep to its width, a screen to its lines."""

from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from repairecon.show.layout import Block, as_text, fitted, shortened, terminal_width

WORDS = st.lists(st.text("abcdefgh", min_size=1, max_size=12), min_size=1, max_size=12).map(" ".join)


@given(st.lists(st.tuples(WORDS, WORDS), min_size=1, max_size=6), st.integers(60, 100))
def test_a_folded_table_keeps_to_the_width_and_loses_no_word(rows, width):
    frame = pd.DataFrame(rows, columns=["what", "why"]).assign(all_in="1,234")
    lines = as_text(frame, fold=True, width=width).splitlines()
    assert max(map(len, lines)) <= width
    body = " ".join(lines[2:]).replace("1,234", "").split()
    assert sum(map(len, body)) == sum(len(text.replace(" ", "")) for row in rows for text in row)


def test_headings_fold_before_words_do():
    frame = pd.DataFrame({"way": ["rebuild here and carry a spare"], "how often it fails again": ["0.4"]})
    assert as_text(frame, fold=True, width=42).splitlines()[-1] == "rebuild here and carry a spare    0.4"


@given(st.lists(WORDS, min_size=1, max_size=6), st.integers(20, 60))
def test_a_block_gets_shorter_down_to_one_line(sentences, width):
    block = Block.of("So:", sentences, width, 2, 1)
    counts = [len(lines) for _, lines in block.forms]
    assert counts == sorted(counts, reverse=True)
    assert counts[-1] == 1
    assert all(len(line) <= width for _, lines in block.forms for line in lines)


def test_what_matters_least_goes_first():
    least, most = Block([(9, ["a", "b"]), (0, ["a"])]), Block([(1, ["c", "d"]), (0, ["c"])])
    assert fitted([least, most], 4) == ["a", "b", "c", "d"]
    assert fitted([least, most], 3) == ["a", "c", "d"]
    assert fitted([least, most], 2) == fitted([least, most], 1) == ["a", "c"]


def test_a_line_is_cut_at_a_word():
    assert shortened("weeps at the top seal", 15) == "weeps at ..."


@pytest.mark.parametrize(("columns", "width"), [("20", 80), ("97", 97), ("300", 120)])
def test_the_width_is_the_terminals_within_reason(monkeypatch, columns, width):
    monkeypatch.setenv("COLUMNS", columns)
    assert terminal_width() == width
