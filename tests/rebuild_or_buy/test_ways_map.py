"""The map of which way is cheapest where. All figures here are invented."""

from __future__ import annotations

from collections.abc import Iterator

import matplotlib

matplotlib.use("Agg")

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from chart_checks import CAPTION, WAYS, X, Y, best_ways, boxes, by_gid, overlapping, said

from repairecon.rebuild_or_buy import charts
from repairecon.show.room import deepest_spot, pieces, roomy_spot


@pytest.fixture(autouse=True)
def _closed() -> Iterator[None]:
    yield
    plt.close("all")


def way_at(frame: pd.DataFrame, x: float, y: float) -> str:
    """The cell whose value is nearest."""
    nearest = np.abs(frame.index.to_numpy() - y).argmin(), np.abs(frame.columns.to_numpy() - x).argmin()
    return str(frame.iloc[nearest])


@pytest.mark.parametrize("turned", [False, True])
def test_areas_have_one_colour_a_way_and_their_names_inside(turned: bool) -> None:
    frame = best_ways(5)
    given = frame.iloc[::-1, ::-1] if turned else frame
    given.attrs = frame.attrs
    ax = charts.best_way_map(given, "EUR", CAPTION)
    mesh = by_gid(ax, "map")
    colours = mesh.to_rgba(mesh.get_array()).reshape(*frame.shape, 4)
    by_way = {way: {tuple(c) for c in colours[frame.to_numpy() == way]} for way in np.unique(frame.astype(str))}
    assert all(len(found) == 1 for found in by_way.values())
    assert len(set().union(*by_way.values())) == 5
    assert ax.get_xlim() == (0.0, 40.0)
    assert ax.get_ylim() == (300.0, 1100.0)
    assert [float(v[0]) for v in by_gid(ax, "now").get_data()] == pytest.approx([12.0, 640.0])
    inside = 0
    for text, box in boxes(ax):
        way = " ".join(text.split())
        if way in WAYS and box.x1 < ax.bbox.x1:
            inside += 1
            spots = [(x, y) for x in np.linspace(box.x0, box.x1, 9) for y in np.linspace(box.y0, box.y1, 5)]
            assert {way_at(frame, *ax.transData.inverted().transform(spot)) for spot in spots} == {way}
    assert inside >= 3


def test_areas_end_half_way_between_values_and_at_the_outermost() -> None:
    frame = pd.DataFrame([["send away"] * 3, ["exchange unit"] * 3], index=[300.0, 500.0], columns=[0.0, 10.0, 40.0])
    frame.attrs = {"x": X, "y": Y}
    corners = by_gid(charts.best_way_map(frame, "EUR"), "map").get_coordinates()
    assert list(corners[0, :, 0]) == [0.0, 5.0, 25.0, 40.0]
    assert list(corners[:, 0, 1]) == [300.0, 400.0, 500.0]


@pytest.mark.parametrize("at", [(20.0, 700.0), (0.0, 300.0), (40.0, 1100.0)])
def test_the_mark_and_the_names_keep_clear_of_each_other(at: tuple[float, float]) -> None:
    frame = best_ways(1)
    frame.attrs = {"x": ("wait", "days", at[0]), "y": ("price", "EUR", at[1])}
    ax = charts.best_way_map(frame, "EUR")
    found = boxes(ax)
    assert overlapping(found) == []
    assert WAYS[0] in said(ax)
    mark = ax.transData.transform(at)
    assert [text for text, box in found if box.contains(*mark)] == []
    (words,) = [box for text, box in found if text.startswith("now")]
    assert ax.bbox.padded(2).contains(*words.p0)
    assert ax.bbox.padded(2).contains(*words.p1)


def test_an_area_too_small_for_its_name_is_led_to_from_the_margin() -> None:
    frame = best_ways(2)
    frame.iloc[4:6, 10:12] = WAYS[6]
    ax = charts.best_way_map(frame, "EUR")
    (box,) = [box for text, box in boxes(ax) if " ".join(text.split()) == WAYS[6]]
    assert box.x0 > ax.bbox.x1
    (lead,) = [line for line in ax.lines if len(line.get_xdata()) == 2 and line.get_marker() == "o"]
    assert way_at(frame, lead.get_xdata()[0], lead.get_ydata()[0]) == WAYS[6]
    level = ax.transData.transform((0.0, lead.get_ydata()[1]))[1]
    assert box.y0 < level < box.y1


def test_a_case_off_the_map_says_so() -> None:
    frame = best_ways(3)
    frame.attrs = {"x": ("wait", "days", 55.0), "y": Y}
    ax = charts.best_way_map(frame, "EUR")
    assert "now, off the map: 55 days, EUR 640" in said(ax)
    assert by_gid(ax, "now").get_markerfacecolor() == "white"
    assert overlapping(boxes(ax)) == []


@pytest.mark.parametrize("shape", [(1, 1), (1, 6), (7, 1), (2, 2)])
def test_small_maps_are_drawn(shape: tuple[int, int]) -> None:
    ax = charts.best_way_map(best_ways(3).iloc[3 : 3 + shape[0], 4 : 4 + shape[1]], "EUR")
    assert overlapping(boxes(ax)) == []
    assert by_gid(ax, "map").get_array().size == shape[0] * shape[1]


def test_a_speckled_map_stays_legible() -> None:
    random = np.random.default_rng(3)
    frame = best_ways(1)
    frame[:] = random.choice(np.array(WAYS, dtype=object), frame.shape)
    ax = charts.best_way_map(frame, "EUR", CAPTION)
    assert overlapping(boxes(ax)) == []
    assert set(WAYS) <= set(said(ax))


def test_a_broken_map_is_refused() -> None:
    frame = best_ways(2)
    for attrs, match in (({"y": Y}, "lacks attrs"), ({"x": ("wait", "days", np.nan), "y": Y}, "wait now")):
        broken = frame.copy()
        broken.attrs = attrs
        with pytest.raises(ValueError, match=match):
            charts.best_way_map(broken, "EUR")
    with pytest.raises(ValueError, match="name no way"):
        charts.best_way_map(frame.mask(frame == WAYS[0]), "EUR")
    with pytest.raises(ValueError, match="rows of the frame are not numbers"):
        charts.best_way_map(frame.rename(index={300.0: "dear"}), "EUR")
    with pytest.raises(ValueError, match="columns of the frame are not numbers that each stand once"):
        charts.best_way_map(frame.rename(columns={0.0: 40.0}), "EUR")
    with pytest.raises(ValueError, match="no cells"):
        charts.best_way_map(frame.head(0), "EUR")


@pytest.mark.parametrize("seed", range(6))
def test_room_for_a_text_is_found_if_there_is_any(seed: int) -> None:
    random = np.random.default_rng(seed)
    mask = random.random((14, 18)) < 0.85
    for wide, high in ((1, 1), (4, 2), (6, 3), (9, 4), (19, 1)):
        windows = [(r, c) for r in range(15 - high) for c in range(19 - wide) if mask[r : r + high, c : c + wide].all()]
        spot = roomy_spot(mask, wide, high)
        assert (spot is None) == (not windows)
        if spot:
            assert (spot[0] - high / 2, spot[1] - wide / 2) in windows
    found = pieces(mask)
    assert sum(piece.astype(int) for piece in found).tolist() == mask.astype(int).tolist()
    assert [piece.sum() for piece in found] == sorted((piece.sum() for piece in found), reverse=True)
    square = np.zeros((9, 9), dtype=bool)
    square[2:7, 1:8] = True
    assert deepest_spot(square)[0] == 4.5
