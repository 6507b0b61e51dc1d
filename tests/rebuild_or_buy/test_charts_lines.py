"""Years and spares draw the frame; names find room. All figures here are invented."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import matplotlib

matplotlib.use("Agg")

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from chart_checks import CAPTION, WAYS, boxes, by_gid, named, overlapping, said
from chart_frames import spares, years
from scipy.optimize import minimize

from repairecon.rebuild_or_buy import charts_lines
from repairecon.rebuild_or_buy.charts_lines import spread


@pytest.fixture(autouse=True)
def _closed() -> Iterator[None]:
    yield
    plt.close("all")


# ---------------------------------------------------------------- years and spares
@pytest.mark.parametrize("many", [3, 9])
def test_fans_and_courses_are_the_frame(many: int) -> None:
    frame = years(many)
    ax = charts_lines.cost_over_years(frame.sample(frac=1.0, random_state=1), "EUR", CAPTION)
    last = frame[frame["year"] == 15].set_index("way")["mean"]
    assert set(named(ax, "fan ")) == set(last.nsmallest(3).index)
    for way, rows in frame.groupby("way"):
        course = by_gid(ax, f"course {way}")
        np.testing.assert_array_equal(np.column_stack(course.get_data()), rows[["year", "mean"]])
        assert sum(f"{way} EUR {last[way]:,.0f} on average" == text for text in said(ax)) == 1
    for way in named(ax, "fan "):
        rows = frame[frame["way"] == way]
        corners = {tuple(spot) for spot in by_gid(ax, f"fan {way}").get_paths()[0].vertices}
        assert {*zip(rows["year"], rows["p10"], strict=True), *zip(rows["year"], rows["p90"], strict=True)} <= corners
    thin = set(last.index) - set(last.nsmallest(3).index)
    assert all(by_gid(ax, f"course {way}").get_linewidth() <= 1.0 for way in thin)


def test_a_sampled_average_shows_no_more_digits_than_it_supports() -> None:
    frame = years(1).query("year == 15").assign(mean=1234.0, mean_se=90.0)
    assert "rebuild here EUR 1,200 on average" in said(charts_lines.cost_over_years(frame, "EUR"))


@pytest.mark.parametrize("many", [1, 5])
def test_one_year_and_one_number_of_days_are_drawn(many: int) -> None:
    ax = charts_lines.cost_over_years(years(many).query("year == 3"), "EUR", CAPTION)
    assert overlapping(boxes(ax)) == []
    assert [text.get_text() for text in ax.get_xticklabels()] == ["3"]
    ax = charts_lines.spare_worth(spares(many).query("days_saved == 4"), "EUR", CAPTION)
    assert overlapping(boxes(ax)) == []
    flat = charts_lines.spare_worth(spares(many).assign(worth=0.0), "EUR", CAPTION)
    assert overlapping(boxes(flat)) == []


def test_calendar_years_are_written_without_a_comma() -> None:
    ax = charts_lines.cost_over_years(years(2).assign(year=lambda rows: rows["year"] + 2026), "EUR")
    labels = [text.get_text() for text in ax.get_xticklabels()]
    assert "2030" in labels
    assert all(2026 <= int(label) <= 2042 for label in labels)


def test_worth_of_a_spare_and_the_days_from_which_it_pays() -> None:
    frame = spares(9)
    ax = charts_lines.spare_worth(frame.sample(frac=1.0, random_state=1), "EUR", CAPTION)
    for name, rows in frame.groupby("combination"):
        line = by_gid(ax, f"course {name}")
        np.testing.assert_array_equal(np.column_stack(line.get_data()), rows[["days_saved", "worth"]])
    words = said(ax)
    # -75 k + (10 + 4 k)(d - 5) = 0 at d = 5 + 75 k / (10 + 4 k): 5, 10.4, 13.3 days, then whole days
    for k, days in enumerate((5, 11, 14)):
        assert f"{WAYS[k]}, spare aboard pays from {days} days" in words
    assert list(by_gid(ax, "zero").get_ydata()) == [0.0, 0.0]


@pytest.mark.parametrize(
    ("worths", "words"),
    [([-3.0, -2.0, -1.0], "pays nowhere here"), ([0.0, 2.0, 3.0], "pays throughout"),
     ([30.0, -15.0, -30.0], "pays up to 6 days"), ([-1.0, 4.0, -1.0], ""), ([-0.5, 9.5, 10.0], "pays from 1 day")],
)  # fmt: skip
def test_where_a_spare_pays_in_words(worths: list[float], words: str) -> None:
    frame = pd.DataFrame({"combination": "new", "days_saved": [0.0, 10.0, 20.0], "worth": worths})
    assert f"new {words}".strip() in said(charts_lines.spare_worth(frame, "EUR"))


# ---------------------------------------------------------------- room for names
@pytest.mark.parametrize("seed", range(8))
def test_names_are_spread_as_near_as_can_be(seed: int) -> None:
    random = np.random.default_rng(seed)
    many, top = int(random.integers(1, 8)), 10.0
    wanted, sizes = random.uniform(0, top, many), random.uniform(0.3, 1.2, many)
    order = np.argsort(wanted)
    apart = [{"type": "ineq", "fun": lambda p, a=a, b=b: p[b] - p[a] - (sizes[a] + sizes[b]) / 2}
             for a, b in pairwise(order)]  # fmt: skip
    bounds = [(size / 2, top - size / 2) for size in sizes]
    best = minimize(lambda p: ((p - wanted) ** 2).sum(), wanted, bounds=bounds, constraints=apart, method="SLSQP",
                    options={"ftol": 1e-12, "maxiter": 500})  # fmt: skip
    assert best.success
    assert spread(wanted, sizes, 0.0, top) == pytest.approx(best.x, abs=1e-4)
