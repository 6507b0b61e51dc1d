"""The stream of what may be found draws the tree. All figures here are invented."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import matplotlib

matplotlib.use("Agg")

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from chart_checks import CAPTION, boxes, by_gid, overlapping
from chart_frames import DEEP, pruned, tree_rows
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.axes import Axes
from matplotlib.patches import PathPatch

from repairecon.rebuild_or_buy import charts_tree
from repairecon.show.plots import TURN_TINT


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
    said = [text for text, _ in boxes(charts_tree.damage_tree(nodes, "EUR", keep=3))]
    assert any("others (2), together 38 in 100" in " ".join(text.split()) for text in said)


def sides(ax: Axes, key: int) -> tuple[float, float, float, float]:
    """Top and bottom of a branch where it springs and where it ends."""
    patch = by_gid(ax, f"branch {key}")
    assert isinstance(patch, PathPatch)
    spots = patch.get_path().vertices
    left, right = spots[:, 0].min(), spots[:, 0].max()
    start, end = spots[spots[:, 0] == left][:, 1], spots[spots[:, 0] == right][:, 1]
    return start.min(), start.max(), end.min(), end.max()


def test_branches_are_as_wide_as_likely_and_fill_their_parent() -> None:
    ax = charts_tree.damage_tree(DEEP, "EUR", CAPTION, keep=100)
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
    ax = charts_tree.damage_tree(DEEP, "EUR", keep=40)
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
    ax = charts_tree.damage_tree(nodes, "EUR", CAPTION)
    found = boxes(ax)
    assert overlapping(found) == []
    assert all(ax.get_window_extent().padded(1).contains(*box.p0) for text, box in found if "grooved" in text)


@pytest.mark.parametrize("extra", [-40.0, 0.0, 40.0])
def test_a_tree_of_one_branch_says_more_or_less(extra: float) -> None:
    nodes = tree_rows([[("grooved", 1.0)], [("ground", 1.0)]]).assign(extra_cost=extra)
    ax = charts_tree.damage_tree(nodes, "EUR")
    said = " ".join(text for text, _ in boxes(ax))
    assert ("EUR 40 more" in said, "EUR 40 less" in said) == (extra > 0, extra < 0)
