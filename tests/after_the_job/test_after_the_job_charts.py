"""Charts of the job after the job: they show the numbers given and cover nothing."""

from __future__ import annotations

from collections.abc import Iterator

import matplotlib.pyplot as plt
import pytest
from chart_checks import BAD_FORMULA, CAPTION, boxes, by_gid, named, outside, overlapping, said
from matplotlib.axes import Axes

from repairecon.after_the_job import charts
from repairecon.after_the_job.learning import Shift
from repairecon.after_the_job.log import Held

BRIDGE = [
    ("estimate", 500.0), ("found inside: shaft=grooved", 220.0), (f"price: {BAD_FORMULA}", -90.0),
    ("days out of service", 60.0), ("came to", 690.0),
]  # fmt: skip
OPEN = {"low": 0.3, "high": 0.9, "factor": 1.0, "factor_low": 0.8, "factor_high": 1.2, "loss": 0.1}
HELD = [
    Held(quantity="cash", places=(0.1, -0.5, 1.0, 2.5, -9.0), inside=3, of=5, says="too narrow", **OPEN),
    Held(quantity="own hours", places=(0.0,), inside=1, of=1, says="cannot tell", **OPEN),
]
MOVED = [
    Shift(kind="chance", name="shaft=grooved given neglect=long", before=0.4, before_low=0.2, before_high=0.6,
          after=0.5, low=0.4, high=0.6, jobs=3.0),
    Shift(kind="chance", name=f"rework {BAD_FORMULA}", before=0.1, before_low=0.05, before_high=0.2,
          after=0.15, low=0.1, high=0.22, jobs=3.0),
]  # fmt: skip


@pytest.fixture(autouse=True)
def closed_figures() -> Iterator[None]:
    yield
    plt.close("all")


def drawn() -> dict[str, Axes]:
    return {
        "bridge": charts.bridge_chart(BRIDGE, "EUR", CAPTION),
        "held": charts.held_chart(HELD, CAPTION),
        "before": charts.moved_chart(MOVED, "Chances", CAPTION),
    }


def test_nothing_covers_anything_or_sticks_out() -> None:
    for name, ax in drawn().items():
        found = boxes(ax)
        assert overlapping(found) == [], name
        assert outside(found, ax.figure.bbox) == [], name


def test_bars_of_the_bridge_hang_together() -> None:
    ax = charts.bridge_chart(BRIDGE, "EUR")
    spans = []
    for k in range(5):
        bar = by_gid(ax, f"bar {k}")
        spans.append((bar.get_x(), bar.get_x() + bar.get_width()))
    assert spans == [(0.0, 500.0), (500.0, 720.0), (630.0, 720.0), (630.0, 690.0), (0.0, 690.0)]
    words = said(ax)
    assert {"EUR 500", "EUR 220 more", "EUR 90 less", "EUR 690"} <= set(words)


def test_dots_fall_where_the_jobs_did() -> None:
    ax = charts.held_chart(HELD)
    inside, out = by_gid(ax, "inside cash"), by_gid(ax, "outside cash")
    assert sorted(inside.get_xdata()) == [-0.5, 0.1, 1.0]
    assert sorted(out.get_xdata()) == [-4.0, 2.5]  # far ones stand at the edge
    assert "3 of 5 inside too narrow" in said(ax)


def test_before_and_after() -> None:
    ax = charts.moved_chart(MOVED, "Chances")
    assert list(by_gid(ax, "after shaft grooved (neglect long)").get_xdata()) == [0.4, 0.6]
    assert len(named(ax, "before ")) == 2
    assert "now 50 in 100" in said(ax)
