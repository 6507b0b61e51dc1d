"""The charts draw what they are given, legibly. All figures here are invented."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import matplotlib

matplotlib.use("Agg")

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from chart_checks import BAD_FORMULA, CAPTION, WAYS, boxes, by_gid, outside, overlapping, texts
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.axes import Axes
from matplotlib.patches import PathPatch, Rectangle

from repairecon.rebuild_or_buy import charts
from repairecon.show.text import MAIN, QUIET, TURN_TINT

WHY_NOT = "it keeps the sea out, and price alone does not choose that"


@pytest.fixture(autouse=True)
def _closed() -> Iterator[None]:
    yield
    plt.close("all")


def ways_table(many: int, seed: int = 0) -> pd.DataFrame:
    random = np.random.default_rng(seed)
    mean = random.uniform(300, 1900, many)
    days = random.lognormal(2.3, 0.8, many)
    return pd.DataFrame({
        "total_mean": mean, "total_p10": 0.8 * mean, "total_p50": 0.95 * mean, "total_p90": 1.5 * mean,
        "cash_mean": 0.7 * mean, "cash_p10": 0.6 * mean, "cash_p90": 0.9 * mean,
        "days_p10": 0.6 * days, "days_p50": days, "days_p90": 2.5 * days,
        "allowed": [place != 4 for place in range(many)],
        "why_not": [WHY_NOT if place == 4 else "" for place in range(many)],
    }, index=WAYS[:many])  # fmt: skip


def curves(many: int) -> pd.DataFrame:
    costs = np.linspace(0.0, 4000.0, 201)
    starts = 100.0 + 150.0 * np.arange(many)
    columns = {way: np.clip((costs - low) / (1.4 * low), 0, 1) for way, low in zip(WAYS[:many], starts, strict=True)}
    return pd.DataFrame(columns, index=costs)


def tree_rows(levels: list[list[tuple[str, float]]]) -> pd.DataFrame:
    """Every outcome of an event follows every outcome of the one before."""
    rows: list[dict[str, Any]] = []

    def grow(parent: int, level: int) -> None:
        for label, chance in levels[level]:
            key = len(rows)
            rows.append({
                "id": key, "parent": parent, "label": label, "event": f"event {level}", "chance": chance,
                "extra_cost": 0.0 if label == "good" else 40.0 * key,
                "ends_rebuild": label == "beyond repair",
                "note": "buy the exchange unit" if label == "beyond repair" else "",
            })  # fmt: skip
            if level + 1 < len(levels) and label != "beyond repair":
                grow(key, level + 1)

    grow(-1, 0)
    return pd.DataFrame(rows)


DEEP = tree_rows([
    [("all jobs", 1.0)], [("good", 0.7), ("salt got in", 0.3)],
    [("good", 0.6), ("grooved", 0.33), ("beyond repair", 0.07)],
    [("good", 0.8), ("rough, to be pressed out", 0.2)], [("good", 0.9), ("a lug breaks", 0.1)],
])  # fmt: skip
NUMBERS = pd.DataFrame(
    [
        ("price of the exchange unit", 640.0, 700.0, "EUR", 500.0, 900.0),
        ("wait for parts", 12.0, 25.0, "days", 5.0, 25.0),
        ("chance that the shaft is grooved", 0.13, np.nan, "chance", 0.02, 0.5),
        ("own hours on the bench and in the bilge", 9.0, 40.0, "hours", 6.0, 16.0),
        ("scrap", -20.0, -35.0, "EUR", -60.0, 10.0),
        ("kit $x^2$", 90.0, 80.0, "EUR", 90.0, 90.0),
    ],
    columns=["number", "value_now", "value_flip", "unit", "low", "high"],
)


def draw(name: str, many: int, ax: Axes | None = None) -> Axes:
    if name == "cost_ranges":
        return charts.cost_ranges(ways_table(many), "EUR", CAPTION, ax)
    if name == "chance_below":
        return charts.chance_below(curves(many), "EUR", CAPTION, ax)
    if name == "money_against_days":
        return charts.money_against_days(ways_table(many, seed=many), "EUR", CAPTION, ax)
    if name == "damage_tree":
        return charts.damage_tree(DEEP, "EUR", CAPTION, ax, keep=3 * many)
    return charts.flips(NUMBERS.head(min(many, len(NUMBERS))), "EUR", CAPTION, ax)


CHARTS = ["cost_ranges", "chance_below", "money_against_days", "damage_tree", "flips"]


# ---------------------------------------------------------------- legible
@pytest.mark.parametrize("name", CHARTS)
@pytest.mark.parametrize("many", [1, 2, 5, 9])
def test_no_text_covers_another_or_leaves_the_figure(name: str, many: int) -> None:
    ax = draw(name, many)
    found = boxes(ax)
    assert overlapping(found) == []
    assert outside(found, ax.figure.bbox.padded(1)) == []
    assert 9.0 <= ax.figure.get_figwidth() <= 10.5
    assert min(text.get_fontsize() for text in texts(ax)) >= 9.0


@pytest.mark.parametrize("name", CHARTS)
@pytest.mark.parametrize("size", [(7.0, 5.5), (9.0, 6.0), (13.0, 7.0)])
def test_given_axes_keep_to_their_place(name: str, size: tuple[float, float]) -> None:
    fig = plt.figure(figsize=size)
    slot = fig.add_gridspec(1, 1, left=0.02, right=0.98, bottom=0.02, top=0.98)
    ax = fig.add_subplot(slot[0])
    place = ax.get_window_extent().padded(2)
    for _ in range(2):  # a slider draws again into the same axes
        ax.clear()
        assert draw(name, 4, ax) is ax
        found = boxes(ax)
        assert overlapping(found) == []
        assert outside(found, place) == []


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


def test_dollar_signs_are_never_formulas() -> None:
    bad = BAD_FORMULA
    table = ways_table(3).rename(index={"send away": bad})
    lines = curves(3).rename(columns={"send away": bad})
    tree = DEEP.assign(label=bad, event=bad, note=bad)
    drawn = [
        charts.cost_ranges(table.assign(allowed=False, why_not=bad), "$", bad),
        charts.chance_below(lines, "$", bad),
        charts.money_against_days(table, "$", bad),
        charts.damage_tree(tree, "$", bad, keep=6),
        charts.flips(NUMBERS.assign(number=bad, unit="$"), "$", bad),
    ]
    for ax in drawn:
        assert not [text.get_text() for text in texts(ax) if text.get_parse_math()]
        assert any("$x^2$" in text.replace("\n", " ") for text, _ in boxes(ax))
        assert charts.save_png(ax.figure).startswith(b"\x89PNG\r\n\x1a\n")


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
        assert "EUR 1,234, 1 in 10 over EUR 1,777" in " ".join(t for t, _ in boxes(charts.cost_ranges(exact, "EUR")))


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


@pytest.mark.parametrize("bad", [np.nan, np.inf])
def test_a_gap_in_the_frame_is_refused_by_name(bad: float) -> None:
    table = ways_table(3)
    table.loc["send away", "total_p90"] = bad
    with pytest.raises(ValueError, match="total_p90 of send away is not a number"):
        charts.cost_ranges(table, "EUR")
    with pytest.raises(ValueError, match="lacks days_p90"):
        charts.money_against_days(ways_table(2).drop(columns="days_p90"), "EUR")
    with pytest.raises(ValueError, match="no rows"):
        charts.cost_ranges(ways_table(2).head(0), "EUR")


# ---------------------------------------------------------------- the chance of staying below
def test_curves_are_the_frame_and_names_hang_on_them() -> None:
    frame = curves(5)
    ax = charts.chance_below(frame, "EUR", CAPTION)
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
    assert overlapping(boxes(charts.chance_below(frame, "EUR"))) == []
    charts.chance_below(frame.iloc[[2]], "EUR").figure.canvas.draw()


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


# ---------------------------------------------------------------- what may be found inside
def ends_of(nodes: pd.DataFrame) -> list[float]:
    """Joint chance of every end, by walking up to the root."""
    by_id = nodes.set_index("id")
    found = []
    for end in set(by_id.index) - set(by_id["parent"]):
        chance, at = 1.0, end
        while at != -1:
            chance, at = chance * by_id.loc[at, "chance"], by_id.loc[at, "parent"]
        found.append(chance)
    return found


@st.composite
def trees(draw_from: st.DrawFn) -> pd.DataFrame:
    weights = st.lists(st.floats(0.01, 1.0), min_size=1, max_size=4)
    levels = draw_from(st.lists(weights, min_size=1, max_size=3))
    return tree_rows([[(f"outcome {k}", w / sum(level)) for k, w in enumerate(level)] for level in levels])


@settings(max_examples=40, deadline=None)
@given(trees(), st.integers(1, 20))
def test_pruning_keeps_every_chance_and_the_number_of_ends(nodes: pd.DataFrame, keep: int) -> None:
    pruned = charts.prune(nodes, keep)
    assert len(ends_of(pruned)) <= keep
    assert sum(ends_of(pruned)) == pytest.approx(1.0)
    under = pruned.groupby("parent")["chance"].sum()
    assert under.to_numpy() == pytest.approx(np.ones(len(under)))
    assert pruned["id"].is_unique
    if len(ends_of(nodes)) <= keep:
        assert list(pruned["id"]) == list(nodes["id"])


def test_pruning_by_hand() -> None:
    nodes = pd.DataFrame(
        [(0, -1, "no", 0.6, 0.0, False), (1, -1, "salt", 0.4, 90.0, False), (2, 1, "good", 0.625, 0.0, False),
         (3, 1, "bent", 0.25, 100.0, False), (4, 1, "gone", 0.125, 400.0, True)],
        columns=["id", "parent", "label", "chance", "extra_cost", "ends_rebuild"],
    ).assign(event="shaft", note="")  # fmt: skip
    pruned = charts.prune(nodes, 3)
    # bent 0.10 and gone 0.05 of all jobs are the rarest: together 0.375 of their parent, (2*100 + 400) / 3
    assert list(pruned["label"]) == ["no", "salt", "good", "others (2)"]
    others = pruned.iloc[-1]
    assert others["chance"] == pytest.approx(0.375)
    assert others["extra_cost"] == pytest.approx(200.0)
    assert others["merged"] == 2
    assert not others["ends_rebuild"]
    assert list(charts.prune(nodes, 2)["label"]) == ["no", "salt"]
    said = [text for text, _ in boxes(charts.damage_tree(nodes, "EUR", keep=3))]
    assert any("others (2), together 38 in 100" in " ".join(text.split()) for text in said)


def test_a_broken_tree_is_refused() -> None:
    with pytest.raises(ValueError, match="not in the table"):
        charts.prune(DEEP.replace({"parent": {1: 99}}), 5)
    with pytest.raises(ValueError, match="circle"):
        charts.prune(DEEP.replace({"parent": {-1: 1}}), 5)
    with pytest.raises(ValueError, match="at least one"):
        charts.prune(DEEP, 0)


def sides(ax: Axes, key: int) -> tuple[float, float, float, float]:
    """Top and bottom of a branch where it springs and where it ends."""
    patch = by_gid(ax, f"branch {key}")
    assert isinstance(patch, PathPatch)
    spots = patch.get_path().vertices
    left, right = spots[:, 0].min(), spots[:, 0].max()
    start, end = spots[spots[:, 0] == left][:, 1], spots[spots[:, 0] == right][:, 1]
    return start.min(), start.max(), end.min(), end.max()


def test_branches_are_as_wide_as_likely_and_fill_their_parent() -> None:
    ax = charts.damage_tree(DEEP, "EUR", CAPTION, keep=100)
    by_id = DEEP.set_index("id")
    whole = sides(ax, 0)[3] - sides(ax, 0)[2]
    for key, row in by_id.iterrows():
        start, stop, top, bottom = sides(ax, int(key))
        chance, at = 1.0, key
        while at != -1:
            chance, at = chance * by_id.loc[at, "chance"], by_id.loc[at, "parent"]
        assert bottom - top == pytest.approx(chance * whole)
        assert stop - start == pytest.approx(chance * whole)
        children = [sides(ax, int(child)) for child in by_id.index[by_id["parent"] == key]]
        if children:
            edges = sorted((child[0], child[1]) for child in children)
            assert edges[0][0] == pytest.approx(top)
            assert edges[-1][1] == pytest.approx(bottom)
            assert [one[1] for one in edges[:-1]] == pytest.approx([one[0] for one in edges[1:]])
        turned = by_gid(ax, f"branch {key}").get_facecolor() == matplotlib.colors.to_rgba(TURN_TINT)
        assert turned is bool(row["ends_rebuild"])


def test_branches_of_one_column_do_not_cover_each_other() -> None:
    ax = charts.damage_tree(DEEP, "EUR", keep=40)
    spans: dict[float, list[tuple[float, float]]] = {}
    for patch in ax.patches:
        spots = patch.get_path().vertices
        right = float(spots[:, 0].max())
        ys = spots[spots[:, 0] == right][:, 1]
        spans.setdefault(round(right, 6), []).append((ys.min(), ys.max()))
    assert len(spans) == 5
    for found in spans.values():
        found.sort()
        assert all(above[1] < below[0] for above, below in pairwise(found))


def test_long_words_in_the_middle_of_a_tree_find_room() -> None:
    long = "grooved under the seal, to be built up and ground by a machine shop before anything else is ordered"
    nodes = tree_rows([[("all jobs", 1.0)], [(long, 0.04), (long + " at all", 0.03), ("good", 0.93)],
                       [("clean", 1.0)], [("dry", 1.0)]])  # fmt: skip
    ax = charts.damage_tree(nodes, "EUR", CAPTION)
    found = boxes(ax)
    assert overlapping(found) == []
    assert all(ax.get_window_extent().padded(1).contains(*box.p0) for text, box in found if "grooved" in text)


@pytest.mark.parametrize("extra", [-40.0, 0.0, 40.0])
def test_a_tree_of_one_branch_says_more_or_less(extra: float) -> None:
    nodes = tree_rows([[("grooved", 1.0)], [("ground", 1.0)]]).assign(extra_cost=extra)
    ax = charts.damage_tree(nodes, "EUR")
    said = " ".join(text for text, _ in boxes(ax))
    assert ("EUR 40 more" in said, "EUR 40 less" in said) == (extra > 0, extra < 0)


# ---------------------------------------------------------------- where the choice turns
def test_numbers_and_turns_stand_in_their_range() -> None:
    ax = charts.flips(NUMBERS, "EUR", CAPTION)
    # (640 - 500) / 400, (12 - 5) / 20, (0.13 - 0.02) / 0.48, (9 - 6) / 10, 40 / 70, and no width: the middle
    shares = [0.35, 0.35, 0.11 / 0.48, 0.3, 4 / 7, 0.5]
    turns = {0: 0.5, 1: 1.0, 4: 25 / 70}
    for place, row in NUMBERS.iterrows():
        name = row["number"]
        assert by_gid(ax, f"now {name}").get_xdata()[0] == pytest.approx(shares[int(str(place))])
        marks = ax.findobj(lambda artist, name=name: artist.get_gid() == f"turn {name}")
        assert len(marks) == (place in turns)
        if marks:
            assert marks[0].get_xdata()[0] == pytest.approx(turns[int(str(place))])
    past = by_gid(ax, "turned scrap").get_xdata()  # it turns below, so the low end is the turned side
    assert list(past) == pytest.approx([25 / 70, 0.0])
    said = [text for text, _ in boxes(ax)]
    assert {"turns at EUR 700", "turns nowhere in this range", "turns only outside, at 40 hours"} <= set(said)


# ---------------------------------------------------------------- handing a chart on
def test_the_same_chart_gives_the_same_file_and_says_itself_in_words() -> None:
    pages = []
    for _ in range(2):
        ax = charts.cost_ranges(ways_table(3), "EUR", "Order the exchange unit today.")
        pages.append(charts.save_png(ax.figure))
    assert pages[0] == pages[1]
    assert charts.alt_text(ax) == "What each way costs, all in. Order the exchange unit today."
    long = charts.flips(NUMBERS, "EUR", CAPTION)
    assert charts.alt_text(long) == "Where the choice turns. " + CAPTION.strip().rstrip(".") + "."
