"""Ranges, curves, and money against days draw the frame. All figures here are invented."""

from __future__ import annotations

from collections.abc import Iterator

import matplotlib

matplotlib.use("Agg")

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from chart_checks import CAPTION, boxes, by_gid, overlapping
from chart_frames import WHY_NOT, curves, ways_table
from matplotlib.patches import Rectangle

from repairecon.rebuild_or_buy import charts, charts_lines
from repairecon.show.plots import MAIN, QUIET


@pytest.fixture(autouse=True)
def _closed() -> Iterator[None]:
    yield
    plt.close("all")


@pytest.mark.parametrize("seed", range(12))
def test_names_of_crowded_points_stay_apart(seed: int) -> None:
    table = ways_table(9, seed)
    assert overlapping(boxes(charts.money_against_days(table, "EUR", CAPTION))) == []


def test_names_of_equal_points_stay_apart() -> None:
    table = ways_table(9)
    table.loc[:, "days_p10":"days_p90"] = 7.0
    table.loc[:, "cash_mean":"cash_p90"] = 500.0
    found = boxes(charts.money_against_days(table, "EUR", CAPTION))
    assert overlapping(found) == []
    # equal ways do not beat each other: all nine say their numbers
    assert sum("7 days, EUR 500" in text for text, _ in found) == 9


# ---------------------------------------------------------------- what each way costs
def test_bars_and_marks_stand_where_the_table_says() -> None:
    table = ways_table(6)
    ax = charts.cost_ranges(table, "EUR", CAPTION)
    heights = {}
    for way, row in table.iterrows():
        bar = by_gid(ax, f"range {way}")
        assert isinstance(bar, Rectangle)
        assert bar.get_x() == pytest.approx(row["total_p10"])
        assert bar.get_x() + bar.get_width() == pytest.approx(row["total_p90"])
        assert by_gid(ax, f"mean {way}").get_xdata()[0] == pytest.approx(row["total_mean"])
        assert by_gid(ax, f"cash {way}").get_xdata()[0] == pytest.approx(row["cash_mean"])
        assert bool(bar.get_hatch()) is not bool(row["allowed"])
        heights[way] = ax.transData.transform((0.0, by_gid(ax, f"mean {way}").get_ydata()[0]))[1]
    cheapest_first = sorted(table.index, key=lambda way: table.loc[way, "total_mean"])
    assert sorted(heights, key=lambda way: -heights[way]) == cheapest_first
    said = [text.replace("\n", " ") for text, _ in boxes(ax)]
    assert sum(f"left out: {WHY_NOT}" in text for text in said) == 1


def test_a_sampled_range_shows_no_more_digits_than_it_supports() -> None:
    # three standard errors of 90 reach past 100: hundreds are all that can be said; averages are exact
    table = ways_table(1).assign(total_p50=1234.0, total_p90=1777.0, total_mean=1399.0, cash_mean=1111.0)
    rough = " ".join(text for text, _ in boxes(charts.cost_ranges(table.assign(total_p90_se=90.0), "EUR")))
    assert "under EUR 1,200, 1 in 10 over EUR 1,800" in rough
    assert "average EUR 1,399" in rough
    assert "cash only EUR 1,111" in rough
    for exact in (table, table.assign(total_p90_se=np.nan)):
        assert "EUR 1,234, 1 in 10 over EUR 1,777" in " ".join(
            t for t, _ in boxes(charts.cost_ranges(exact, "EUR"))
        )


@pytest.mark.parametrize(
    "numbers",
    [
        [[-300.0, -120.0, 40.0]] * 2,
        [[0.0, 0.0, 0.0]],
        [[800.0, 800.0, 800.0]] * 3,
        [[800.0, 800.0, 800.0], [20.0, 30.0, 90_000.0]],
        [[-5.0, -5.0, -5.0]],
        [[1e-3, 2e-3, 3e-3]],
    ],
)
def test_odd_costs_are_drawn_whole(numbers: list[list[float]]) -> None:
    table = ways_table(len(numbers))
    table[["total_p10", "total_p50", "total_p90"]] = numbers
    table["total_mean"] = table["cash_mean"] = table["total_p50"]
    table["cash_p10"], table["cash_p90"] = table["total_p10"], table["total_p90"]
    for ax in (charts.cost_ranges(table, "EUR"), charts.money_against_days(table, "EUR")):
        assert overlapping(boxes(ax)) == []
        low, high = ax.get_xlim() if ax.get_xlim()[0] < table["total_p10"].min() + 1 else ax.get_ylim()
        assert low < high
    ax = charts.cost_ranges(table, "EUR")
    low, high = ax.get_xlim()
    assert low <= table["total_p10"].min()
    assert high >= table["total_p90"].max()
    assert low < high


# ---------------------------------------------------------------- the chance of staying below
def test_curves_are_the_frame_and_names_hang_on_them() -> None:
    frame = curves(5)
    ax = charts_lines.chance_below(frame, "EUR", CAPTION)
    for way in frame.columns:
        line = by_gid(ax, f"curve {way}")
        np.testing.assert_array_equal(line.get_xdata(), frame.index)
        np.testing.assert_array_equal(line.get_ydata(), frame[way])
    dots = [line for line in ax.lines if line.get_marker() == "o"]
    assert len(dots) == 5
    # the curves are uniform between 100 + 150 k and 2.4 times that: cost at chance p is low (1 + 1.4 p)
    for place, dot in enumerate(sorted(dots, key=lambda found: -found.get_ydata()[0])):
        cost, chance = dot.get_xdata()[0], dot.get_ydata()[0]
        assert cost == pytest.approx((100.0 + 150.0 * place) * (1.0 + 1.4 * chance), abs=1.0)
    assert "75 in 100" in [text for text, _ in boxes(ax)]


def test_sure_and_unfinished_curves_are_drawn() -> None:
    costs = np.array([0.0, 499.0, 500.0, 1000.0])
    frame = pd.DataFrame({"sure": [0.0, 0.0, 1.0, 1.0], "dear": [0.0, 0.01, 0.02, 0.1]}, index=costs)
    assert overlapping(boxes(charts_lines.chance_below(frame, "EUR"))) == []
    charts_lines.chance_below(frame.iloc[[2]], "EUR").figure.canvas.draw()


# ---------------------------------------------------------------- money against days
def test_points_whiskers_and_the_beaten_ways() -> None:
    table = ways_table(4)
    table["days_p50"], table["cash_mean"] = [5.0, 9.0, 9.0, 2.0], [700.0, 400.0, 450.0, 950.0]
    ax = charts.money_against_days(table, "EUR", CAPTION)
    for way, row in table.iterrows():
        point = by_gid(ax, f"way {way}")
        assert (point.get_xdata()[0], point.get_ydata()[0]) == (row["days_p50"], row["cash_mean"])
        assert list(by_gid(ax, f"days {way}").get_xdata()) == [row["days_p10"], row["days_p90"]]
        assert list(by_gid(ax, f"cash {way}").get_ydata()) == [row["cash_p10"], row["cash_p90"]]
    # the third is as quick as the second and dearer; the others each lead all others on one of the two
    grey = [way for way in table.index if by_gid(ax, f"way {way}").get_color() == QUIET]
    assert grey == ["exchange unit"]


def test_a_way_that_may_not_be_chosen_beats_nobody() -> None:
    table = ways_table(2).assign(days_p50=[9.0, 2.0], cash_mean=[900.0, 100.0], allowed=[True, False])
    ax = charts.money_against_days(table, "EUR")
    assert by_gid(ax, "way rebuild here").get_color() == MAIN
    assert by_gid(ax, "way send away").get_markerfacecolor() == "white"
