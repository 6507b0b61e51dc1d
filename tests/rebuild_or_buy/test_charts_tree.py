"""The rows of what may be found draw the tree. All figures here are invented."""

from __future__ import annotations

from collections.abc import Iterator

import matplotlib

matplotlib.use("Agg")

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from chart_checks import CAPTION, boxes, by_gid, named, outside, overlapping
from chart_frames import DEEP, pruned, tree_rows
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.patches import Rectangle

from repairecon.rebuild_or_buy import charts
from repairecon.show.plots import TURN


@pytest.fixture(autouse=True)
def _closed() -> Iterator[None]:
    yield
    plt.close("all")


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
    found = pruned(nodes, keep)
    assert len(ends_of(found)) <= keep
    assert sum(ends_of(found)) == pytest.approx(1.0)
    under = found.groupby("parent")["chance"].sum()
    assert under.to_numpy() == pytest.approx(np.ones(len(under)))
    assert found["id"].is_unique
    if len(ends_of(nodes)) <= keep:
        assert list(found["id"]) == list(nodes["id"])


def test_pruning_by_hand() -> None:
    nodes = pd.DataFrame(
        [(0, -1, "no", 0.6, 0.0, False), (1, -1, "salt", 0.4, 90.0, False), (2, 1, "good", 0.625, 0.0, False),
         (3, 1, "bent", 0.25, 100.0, False), (4, 1, "gone", 0.125, 400.0, True)],
        columns=["id", "parent", "label", "chance", "extra_cost", "ends_rebuild"],
    ).assign(event="shaft", note="")  # fmt: skip
    found = pruned(nodes, 3)
    # bent 0.10 and gone 0.05 of all jobs are the rarest: together 0.375 of their parent, (2*100 + 400) / 3
    assert list(found["label"]) == ["no", "salt", "good", "others (2)"]
    others = found.iloc[-1]
    assert others["chance"] == pytest.approx(0.375)
    assert others["extra_cost"] == pytest.approx(200.0)
    assert others["merged"] == 2
    assert not others["ends_rebuild"]
    assert list(pruned(nodes, 2)["label"]) == ["no", "salt"]
    said = [text for text, _ in boxes(charts.damage_tree(nodes, "EUR", keep=3))]
    assert "shaft: others (2)" in said
    assert any("together 38 in 100" in " ".join(text.split()) for text in said)


def test_bars_are_as_long_as_likely_and_part_the_one_above() -> None:
    ax = charts.damage_tree(DEEP, "EUR", CAPTION, keep=100)
    by_id = DEEP.set_index("id")

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


@pytest.mark.parametrize("extra", [-40.0, 0.0, 40.0])
def test_a_tree_of_one_branch_says_more_or_less(extra: float) -> None:
    nodes = tree_rows([[("grooved", 1.0)], [("ground", 1.0)]]).assign(extra_cost=extra)
    ax = charts.damage_tree(nodes, "EUR")
    said = " ".join(text for text, _ in boxes(ax))
    assert ("EUR 40 more" in said, "EUR 40 less" in said) == (extra > 0, extra < 0)
