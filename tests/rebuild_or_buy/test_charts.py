"""What holds for every chart: legible, kept to its place, faults by name. All figures here are invented."""

from __future__ import annotations

from collections.abc import Iterator

import matplotlib

matplotlib.use("Agg")

import matplotlib.pyplot as plt
import pytest
from chart_checks import BAD_FORMULA, WAYS, boxes, outside, overlapping, said, texts
from chart_frames import DEEP, MAKERS, SWINGS, curves, draw, spares, ways_table, years

from repairecon.rebuild_or_buy import charts, charts_lines, charts_tree
from repairecon.show.plots import alt_text, save_png


@pytest.fixture(autouse=True)
def _closed() -> Iterator[None]:
    yield
    plt.close("all")


# ---------------------------------------------------------------- legible
@pytest.mark.parametrize("name", MAKERS)
@pytest.mark.parametrize("many", [1, 2, 5, 9])
def test_no_text_covers_another_or_leaves_the_figure(name: str, many: int) -> None:
    ax = draw(name, MAKERS[name](many))
    found = boxes(ax)
    assert overlapping(found) == []
    assert outside(found, ax.figure.bbox.padded(1)) == []
    assert 9.0 <= ax.figure.get_figwidth() <= 10.5
    assert min(text.get_fontsize() for text in texts(ax)) >= 9.0
    assert ax.get_legend() is None


@pytest.mark.parametrize("name", MAKERS)
@pytest.mark.parametrize("size", [(7.0, 5.5), (9.0, 6.0), (13.0, 7.0)])
def test_given_axes_keep_to_their_place(name: str, size: tuple[float, float]) -> None:
    fig = plt.figure(figsize=size)
    slot = fig.add_gridspec(1, 1, left=0.02, right=0.98, bottom=0.02, top=0.98)
    ax = fig.add_subplot(slot[0])
    place = ax.get_window_extent().padded(2)
    for many in (3, 4):  # a slider draws again into the same axes
        ax.clear()
        assert draw(name, MAKERS[name](many), ax) is ax
        found = boxes(ax)
        assert overlapping(found) == []
        assert outside(found, place) == []


def test_dollar_signs_are_never_formulas() -> None:
    bad = BAD_FORMULA
    table = ways_table(3).rename(index={"send away": bad})
    drawn = [
        charts.cost_ranges(table.assign(allowed=False, why_not=bad), "$", bad),
        charts_lines.chance_below(curves(3).rename(columns={"send away": bad}), "$", bad),
        charts.money_against_days(table, "$", bad),
        charts_tree.damage_tree(DEEP.assign(label=bad, event=bad, note=bad), "$", bad, keep=6),
        charts.lead_swings(SWINGS.assign(number=[f"{bad}{k}" for k in range(9)], unit="$"), "$", bad),
        charts_lines.cost_over_years(years(3).replace({"send away": bad}), "$", bad),
        charts_lines.spare_worth(spares(3).replace({f"{WAYS[1]}, spare aboard": bad}), "$", bad),
    ]
    for ax in drawn:
        assert not [text.get_text() for text in texts(ax) if text.get_parse_math()]
        assert sum("$x^2$" in text for text in said(ax)) >= 2  # the caption and a name
        assert save_png(ax.figure).startswith(b"\x89PNG\r\n\x1a\n")


# ---------------------------------------------------------------- handing a chart on
def test_the_same_chart_gives_the_same_file_and_says_itself_in_words() -> None:
    pages = []
    for _ in range(2):
        ax = charts.cost_ranges(ways_table(3), "EUR", "Order the exchange unit today.")
        pages.append(save_png(ax.figure))
    assert pages[0] == pages[1]
    assert alt_text(ax) == "What each way costs, all in. Order the exchange unit today."
