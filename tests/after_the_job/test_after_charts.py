"""Charts of the job after the job: they show the numbers given and cover nothing."""

from __future__ import annotations

from collections.abc import Iterator

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from chart_checks import BAD_FORMULA, CAPTION, boxes, by_gid, named, outside, overlapping, said
from matplotlib.axes import Axes

from repairecon.after_the_job import charts
from repairecon.after_the_job.panels import places_caption, rank_band, rank_caption, rank_frame

BRIDGE = pd.DataFrame(
    {
        "name": ["estimate", "found inside: shaft=grooved", f"price: {BAD_FORMULA}", "days out of service", "came to"],
        "amount": [500.0, 220.0, -90.0, 60.0, 690.0],
    }
)
HELD = pd.DataFrame(
    {
        "quantity": ["cash", "own hours"],
        "places": [(0.1, -0.5, 1.0, 2.5, -9.0), (0.0,)],
        "inside": [3, 1],
        "of": [5, 1],
        "says": ["too narrow", "cannot tell"],
    }
)
CHANCES = pd.DataFrame(
    {"stated": [0.12, 0.4], "happened": [0.2, 0.7], "low": [0.05, 0.55], "high": [0.3, 0.83], "many": [40, 27]}
)
MOVED = pd.DataFrame(
    {
        "name": ["shaft=grooved given neglect=long", f"rework {BAD_FORMULA}"],
        "before": [0.4, 0.1],
        "before_low": [0.2, 0.05],
        "before_high": [0.6, 0.2],
        "after": [0.5, 0.15],
        "low": [0.4, 0.1],
        "high": [0.6, 0.22],
    }
)
RANKS = rank_frame(np.repeat([0.05, 0.15, 0.95], [30, 9, 11]))


@pytest.fixture(autouse=True)
def closed_figures() -> Iterator[None]:
    yield
    plt.close("all")


def drawn() -> dict[str, Axes]:
    return {
        "bridge": charts.bridge(BRIDGE, "EUR", CAPTION),
        "held": charts.held(HELD, CAPTION),
        "ranks": charts.rank_bars(RANKS, (2.0, 9.0), "Ranks", CAPTION),
        "chances": charts.honest_chances(CHANCES, CAPTION),
        "before": charts.before_after(MOVED, "Chances", "chance", CAPTION),
    }


def test_nothing_covers_anything_or_sticks_out() -> None:
    for name, ax in drawn().items():
        found = boxes(ax)
        assert overlapping(found) == [], name
        assert outside(found, ax.figure.bbox) == [], name


def test_bars_of_the_bridge_hang_together() -> None:
    ax = charts.bridge(BRIDGE, "EUR")
    spans = []
    for k in range(5):
        bar = by_gid(ax, f"bar {k}")
        spans.append((bar.get_x(), bar.get_x() + bar.get_width()))
    assert spans == [(0.0, 500.0), (500.0, 720.0), (630.0, 720.0), (630.0, 690.0), (0.0, 690.0)]
    words = said(ax)
    assert {"EUR 500", "EUR 220 more", "EUR 90 less", "EUR 690"} <= set(words)


def test_dots_fall_where_the_jobs_did() -> None:
    ax = charts.held(HELD)
    inside, out = by_gid(ax, "inside cash"), by_gid(ax, "outside cash")
    assert sorted(inside.get_xdata()) == [-0.5, 0.1, 1.0]
    assert sorted(out.get_xdata()) == [-4.0, 2.5]  # far ones stand at the edge
    assert "3 of 5 inside too narrow" in said(ax)


def test_bars_outside_the_band_are_marked() -> None:
    ax = charts.rank_bars(RANKS, (2.0, 9.0), "Ranks")
    heights = [by_gid(ax, f"bar {k}").get_height() for k in range(10)]
    assert heights == [30, 9, 0, 0, 0, 0, 0, 0, 0, 11]
    marked = [by_gid(ax, f"bar {k}").get_hatch() is not None for k in range(10)]
    assert marked == [True, False, *[True] * 8]


def test_words_under_the_ranks() -> None:
    even = (np.arange(200) + 0.5) / 200
    assert "Trust" in rank_caption(even)
    assert "80 in 100" in rank_caption(even)
    assert "with care" in rank_caption(even**4)
    low, high = rank_band(even)
    assert low < 20 < high


def test_words_under_the_places() -> None:
    even = (np.arange(50) + 0.5) / 50
    assert "even bars" in places_caption(even)
    assert "raise your" in places_caption(even**0.3)
    assert "lower your" in places_caption(even**4)


def test_chances_and_their_ranges() -> None:
    ax = charts.honest_chances(CHANCES)
    assert list(by_gid(ax, "range 1").get_ydata()) == [0.55, 0.83]
    assert by_gid(ax, "group 1").get_marker() == "D"
    assert by_gid(ax, "group 0").get_marker() == "o"


def test_before_and_after() -> None:
    ax = charts.before_after(MOVED, "Chances", "chance")
    assert list(by_gid(ax, "after shaft=grooved given neglect=long").get_xdata()) == [0.4, 0.6]
    assert len(named(ax, "before ")) == 2
    assert "now 50 in 100" in said(ax)


@pytest.mark.parametrize("chart", ["bridge", "held", "ranks", "chances", "before"])
def test_an_empty_frame_is_refused(chart: str) -> None:
    calls = {
        "bridge": lambda: charts.bridge(BRIDGE[:0], "EUR"),
        "held": lambda: charts.held(HELD[:0]),
        "ranks": lambda: charts.rank_bars(RANKS[:0], (0.0, 1.0), "x"),
        "chances": lambda: charts.honest_chances(CHANCES[:0]),
        "before": lambda: charts.before_after(MOVED[:0], "x"),
    }
    with pytest.raises(ValueError, match="nothing to draw"):
        calls[chart]()
