"""Every chart is legible and keeps to its place; ranges, points and swings draw the frame. All figures invented."""

from __future__ import annotations

from collections.abc import Iterator

import matplotlib

matplotlib.use("Agg")

import matplotlib.pyplot as plt
import numpy as np
import pytest
from chart_checks import BAD_FORMULA, CAPTION, WAYS, boxes, by_gid, named, outside, overlapping, said, texts
from chart_frames import DEEP, MAKERS, SWINGS, WHY_NOT, draw, spares, ways_table, years
from matplotlib.patches import Rectangle

from repairecon.rebuild_or_buy import charts, charts_lines
from repairecon.show.plots import MAIN, QUIET, alt_text, save_png


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
        charts_lines.money_against_days(table, "$", bad),
        charts.damage_tree(DEEP.assign(label=bad, event=bad, note=bad), "$", bad),
        charts.lead_swings(SWINGS.assign(number=[f"{bad}{k}" for k in range(9)], unit="$"), "$", bad),
        charts_lines.cost_over_years(years(3).replace({"send away": bad}), "$", bad),
        charts_lines.spare_worth(spares(3).replace({f"{WAYS[1]}, spare aboard": bad}), "$", bad),
    ]
    for ax in drawn:
        assert not [text.get_text() for text in texts(ax) if text.get_parse_math()]
        assert sum("$x^2$" in text for text in said(ax)) >= 2  # the caption and a name
        assert save_png(ax.figure, dpi=20.0).startswith(b"\x89PNG\r\n\x1a\n")


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
    assert "under EUR 1,200,\n1 in 10 over EUR 1,800" in rough
    assert "average EUR 1,399" in rough
    assert "cash only EUR 1,111" in rough
    for exact in (table, table.assign(total_p90_se=np.nan)):
        assert "EUR 1,234,\n1 in 10 over EUR 1,777" in " ".join(t for t, _ in boxes(charts.cost_ranges(exact, "EUR")))


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
    for ax in (charts.cost_ranges(table, "EUR"), charts_lines.money_against_days(table, "EUR")):
        assert overlapping(boxes(ax)) == []
        low, high = ax.get_xlim() if ax.get_xlim()[0] < table["total_p10"].min() + 1 else ax.get_ylim()
        assert low < high
    ax = charts.cost_ranges(table, "EUR")
    low, high = ax.get_xlim()
    assert low <= table["total_p10"].min()
    assert high >= table["total_p90"].max()
    assert low < high


# ---------------------------------------------------------------- money against days
@pytest.mark.parametrize("seed", range(12))
def test_names_of_crowded_points_stay_apart(seed: int) -> None:
    table = ways_table(9, seed)
    assert overlapping(boxes(charts_lines.money_against_days(table, "EUR", CAPTION))) == []


def test_names_of_equal_points_stay_apart() -> None:
    table = ways_table(9)
    table.loc[:, "days_p10":"days_p90"] = 7.0
    table.loc[:, "cash_mean":"cash_p90"] = 500.0
    found = boxes(charts_lines.money_against_days(table, "EUR", CAPTION))
    assert overlapping(found) == []
    # equal ways do not beat each other: all nine say their numbers
    assert sum("7 days, EUR 500" in text for text, _ in found) == 9


def test_points_whiskers_and_the_beaten_ways() -> None:
    table = ways_table(4)
    table["days_p50"], table["cash_mean"] = [5.0, 9.0, 9.0, 2.0], [700.0, 400.0, 450.0, 950.0]
    ax = charts_lines.money_against_days(table, "EUR", CAPTION)
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
    ax = charts_lines.money_against_days(table, "EUR")
    assert by_gid(ax, "way rebuild here").get_color() == MAIN
    assert by_gid(ax, "way send away").get_markerfacecolor() == "white"


# ---------------------------------------------------------------- swings
def test_swings_run_from_the_lead_at_the_low_value_to_the_lead_at_the_high() -> None:
    ax = charts.lead_swings(SWINGS, "EUR", CAPTION)
    drawn, heights = named(ax, "swing "), []
    for name in drawn:
        row = SWINGS.set_index("number").loc[name]
        line = by_gid(ax, f"swing {name}")
        assert list(line.get_xdata()) == [row["lead_low"], row["lead_high"]]
        heights.append(ax.transData.transform((0.0, line.get_ydata()[0]))[1])
    assert list(by_gid(ax, "now").get_xdata()) == [210.0, 210.0]
    # from the top down: the one that falls lowest first
    assert sorted(heights, reverse=True) == heights
    worst = SWINGS.set_index("number")[["lead_low", "lead_high"]].min(axis=1)
    assert [worst[name] for name in drawn] == sorted(worst[name] for name in drawn)
    assert set(SWINGS["number"]) - set(drawn) == {"scrap", "kit $x^2$"}
    words = said(ax)
    assert any(text.endswith("Not drawn: 2 more.") for text in words)
    assert "another way is cheaper by EUR 140 if 25 days" in words
    assert "stays ahead, by EUR 60 at least" in words
    assert {"if 5 days", "if 25 days", "if 2 days", "if EUR 30 an hour", "choice flips here"} <= set(words)


def test_the_part_of_a_swing_below_zero_has_the_colour_of_the_mark_at_zero() -> None:
    ax = charts.lead_swings(SWINGS, "EUR")
    mark = by_gid(ax, "flip")
    assert list(mark.get_xdata()) == [0.0, 0.0]
    assert set(named(ax, "flipped ")) == {"price of the exchange unit", "wait for parts", "price of an own hour"}
    part, whole = by_gid(ax, "flipped wait for parts"), by_gid(ax, "swing wait for parts")
    assert sorted(part.get_xdata()) == [-140.0, 0.0]
    assert part.get_color() == mark.get_color() != whole.get_color()


def test_values_stand_beyond_the_ends_of_their_line() -> None:
    ax = charts.lead_swings(SWINGS.iloc[:2], "EUR")
    found = {text: box for text, box in boxes(ax) if text.startswith("if ")}
    for _, row in SWINGS.iloc[:2].iterrows():
        for value, lead, other in (("low", "lead_low", "lead_high"), ("high", "lead_high", "lead_low")):
            unit = "EUR {:.0f}" if row["unit"] == "EUR" else "{:.0f} days"
            box = found["if " + unit.format(row[f"value_{value}"])]
            end = ax.transData.transform((row[lead], 0.0))[0]
            assert (box.x0 > end) if row[lead] > row[other] else (box.x1 < end)


def test_low_axes_get_the_numbers_that_flip_the_choice() -> None:
    ax = plt.figure(figsize=(9.0, 4.0)).add_subplot()
    charts.lead_swings(SWINGS, "EUR", CAPTION, ax)
    drawn = named(ax, "swing ")
    assert 1 <= len(drawn) < 7
    assert overlapping(boxes(ax)) == []
    leads = SWINGS.set_index("number")[["lead_low", "lead_high"]]
    worst = leads.min(axis=1)
    assert worst[drawn].max() < 0.0
    left = leads.drop(index=drawn)
    assert any(text.endswith(f"Not drawn: {len(left)} more.") for text in said(ax))


@pytest.mark.parametrize("ends", [(0.0, 0.0), (-50.0, -20.0), (700.0, 701.0), (-1e5, 1e5), (1e-3, 2e-3)])
def test_odd_swings_are_drawn_whole(ends: tuple[float, float]) -> None:
    ax = charts.lead_swings(SWINGS.head(2).assign(lead_low=ends[0], lead_high=ends[1], lead_now=ends[1]), "EUR")
    assert overlapping(boxes(ax)) == []
    low, high = ax.get_xlim()
    assert low <= min(0.0, *ends)
    assert max(0.0, *ends) <= high
    assert low < high
    assert ("behind" in " ".join(said(ax))) == (ends[1] < 0.0)


# ---------------------------------------------------------------- handing a chart on
def test_the_same_chart_gives_the_same_file_and_says_itself_in_words() -> None:
    pages = []
    for _ in range(2):
        ax = charts.cost_ranges(ways_table(3), "EUR", "Order the exchange unit today.")
        pages.append(save_png(ax.figure))
    assert pages[0] == pages[1]
    assert alt_text(ax) == "What each way costs, all in. Order the exchange unit today."
