"""The rows of what may be found draw the tree. All figures here are invented."""

from __future__ import annotations

from collections.abc import Iterator

import matplotlib

matplotlib.use("Agg")

import matplotlib.pyplot as plt
import pandas as pd
import pytest
from chart_checks import CAPTION, boxes, by_gid, named, outside, overlapping, said
from chart_frames import DEEP, tree_rows
from matplotlib.patches import Rectangle

from repairecon.rebuild_or_buy import charts
from repairecon.show.plots import TURN


@pytest.fixture(autouse=True)
def _closed() -> Iterator[None]:
    yield
    plt.close("all")


# ---------------------------------------------------------------- what may be found inside
@pytest.mark.parametrize(("height", "least"), [(0.0, 18), (5.0, 5)])
def test_the_likeliest_branches_are_drawn_and_the_others_counted(height: float, least: int) -> None:
    every = charts.damage_tree(DEEP.iloc[:18], "EUR", CAPTION)
    assert len(named(every, "branch ")) == 18
    assert not any("Not drawn" in text for text in said(every))
    ax = plt.figure(figsize=(9.0, height)).add_subplot() if height else None
    ax = charts.damage_tree(DEEP, "EUR", CAPTION, ax)
    drawn = [int(name) for name in named(ax, "branch ")]
    assert least <= len(drawn) <= 18
    joint = {-1: 1.0}
    for row in DEEP.to_dict("records"):
        joint[row["id"]] = joint[row["parent"]] * row["chance"]
    left = [key for key in DEEP["id"] if key not in drawn]
    assert min(joint[key] for key in drawn) >= max(joint[key] for key in left)
    assert any(f"Not drawn: {len(left)} more." in " ".join(text.split()) for text in said(ax))
    by_id = DEEP.set_index("id")
    assert {by_id.loc[key, "parent"] for key in drawn} <= {-1, *drawn}


def test_bars_are_as_long_as_likely_and_part_the_one_above() -> None:
    inside = [("good", 0.6), ("grooved", 0.33), ("beyond repair", 0.07)]
    nodes = tree_rows([[("all jobs", 1.0)], [("good", 0.7), ("salt", 0.3)], inside, [("good", 0.9), ("rough", 0.1)]])
    ax = charts.damage_tree(nodes, "EUR", CAPTION)
    by_id = nodes.set_index("id")

    def ends(key: int) -> tuple[float, float]:
        bar = by_gid(ax, f"branch {key}")
        assert isinstance(bar, Rectangle)
        return bar.get_x(), bar.get_x() + bar.get_width()

    for key, row in by_id.iterrows():
        first, last = ends(int(key))
        chance, at = 1.0, key
        while at != -1:
            chance, at = chance * by_id.loc[at, "chance"], by_id.loc[at, "parent"]
        assert last - first == pytest.approx(chance)
        children = sorted(ends(int(child)) for child in by_id.index[by_id["parent"] == key])
        if children:
            assert children[0][0] == pytest.approx(first)
            assert children[-1][1] == pytest.approx(last)
            assert [one[1] for one in children[:-1]] == pytest.approx([one[0] for one in children[1:]])
        turned = by_gid(ax, f"branch {key}").get_facecolor() == matplotlib.colors.to_rgba(TURN)
        assert turned is bool(row["ends_rebuild"])


def test_what_alone_can_follow_has_no_row_but_says_what_it_ends_in() -> None:
    nodes = tree_rows([[("all jobs", 1.0)], [("salt", 0.4), ("good", 0.6)], [("gone", 1.0)]])
    nodes.loc[nodes["label"] == "gone", "ends_rebuild"] = True
    ax = charts.damage_tree(nodes, "EUR")
    assert len(named(ax, "branch ")) == 3
    assert sum("ends the rebuild" in text for text, _ in boxes(ax)) == 2


def test_long_words_in_the_middle_of_a_tree_find_room() -> None:
    long = "grooved under the seal, to be built up and ground by a machine shop before anything else is ordered"
    nodes = tree_rows([[("all jobs", 1.0)], [(long, 0.04), (long + " at all", 0.03), ("good", 0.93)],
                       [("clean", 1.0)], [("dry", 1.0)]])  # fmt: skip
    ax = charts.damage_tree(nodes, "EUR", CAPTION)
    found = boxes(ax)
    assert overlapping(found) == []
    assert outside(found, ax.figure.bbox) == []


def test_a_long_chain_of_events_is_drawn() -> None:
    """Each event is seen where the one before was good; 1,500 of them, nearly always good."""
    rows = [(0, -1, "pump", 1.0)]
    for k in range(1500):
        rows += [(2 * k + 1, max(2 * k - 1, 0), "good", 0.99), (2 * k + 2, max(2 * k - 1, 0), "bad", 0.01)]
    nodes = pd.DataFrame(rows, columns=["id", "parent", "label", "chance"])
    ax = charts.damage_tree(nodes.assign(event="part", extra_cost=9.0, ends_rebuild=False, note=""), "EUR", CAPTION)
    assert len(named(ax, "branch ")) == 18
    assert overlapping(boxes(ax)) == []
    assert any("Not drawn: 2983 more." in text for text in said(ax))


@pytest.mark.parametrize("extra", [-40.0, 0.0, 40.0])
def test_a_tree_of_one_branch_says_more_or_less(extra: float) -> None:
    nodes = tree_rows([[("grooved", 1.0)], [("ground", 1.0)]]).assign(extra_cost=extra)
    ax = charts.damage_tree(nodes, "EUR")
    words = " ".join(said(ax))
    assert ("EUR 40 more" in words, "EUR 40 less" in words) == (extra > 0, extra < 0)
