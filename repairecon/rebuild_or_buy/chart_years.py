"""What each way costs over the years: a fan for each of the cheapest ways."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd
from matplotlib.axes import Axes

from repairecon.show.labels import end_margin, end_texts, name_ends
from repairecon.show.page import Margins, axis_label, check, error_of, limits, once, slot, stage, ticks
from repairecon.show.text import DASHES, LINES, QUIET, money_said, tall
from repairecon.show.words import whole

FANS = 3
"""Most ways that get a fan; the dearer ones get a thin line."""


def cost_over_years(frame: pd.DataFrame, currency: str, caption: str = "", ax: Axes | None = None) -> Axes:
    """What each way has cost by the end of each year: the average as a line, the fan for good and bad cases.

    Parameters
    ----------
    frame
        A row a way and year: ``way``, ``year`` [year], ``mean``, ``p10``, ``p90`` (what it has
        cost by then) [home money]; ``mean_se`` (standard error) if the mean is sampled.
    currency
        Name of the home money.
    caption
        What to do, said under the chart.
    ax
        Axes to draw in; a new figure without.

    Returns
    -------
    Axes
        The axes drawn in; the four ways that are cheapest in their last year have a fan.
    """
    check(frame, ["year", "mean", "p10", "p90"], ["way"])
    once(frame, "way", "year")
    courses = {str(way): rows.sort_values("year") for way, rows in frame.groupby("way", sort=False)}
    ways = sorted(courses, key=lambda way: float(courses[way]["mean"].iloc[-1]))
    width = slot(ax)[0]
    margins = Margins(left=1.3, right=end_margin(width), axis=0.55)
    ends = [courses[way].iloc[-1] for way in ways]
    said = [f"{money_said(end['mean'], currency, error_of(end, 'mean_se'))} on average" for end in ends]
    texts, short = end_texts(ways, said, margins.right - 0.2), end_texts(ways, [""] * len(ways), margins.right - 0.2)
    title = "What each way costs over the years; 8 times in 10 it stays in the shade"
    ax = stage(ax, title, caption, max(2.8, 1.15 * sum(map(tall, texts))), margins)
    _scales(ax, frame, [courses[way] for way in ways[:FANS]], currency)
    inks = [LINES[place % len(LINES)] if place < FANS else QUIET for place in range(len(ways))]
    for place, (way, ink) in enumerate(zip(ways, inks, strict=True)):
        _course(ax, way, courses[way], ink, place)
    weights = ["bold" if place < FANS else "normal" for place in range(len(ways))]
    name_ends(ax, [(float(end["year"]), float(end["mean"])) for end in ends], texts, short, inks, weights)
    return ax


def _scales(ax: Axes, frame: pd.DataFrame, fans: Sequence[pd.DataFrame], currency: str) -> None:
    first, last = float(frame["year"].min()), float(frame["year"].max())
    span = last - first or 1.0
    ax.set_xlim(first - (0.0 if last > first else 0.5), last + 0.06 * span)
    edges = pd.concat(fans)[["p10", "p90"]].to_numpy(float).ravel()
    ax.set_ylim(*limits([0.0, *frame["mean"].to_numpy(float), *edges]))
    ticks(ax, "x", lambda v: whole(v).replace(",", ""), integer=True)
    ticks(ax, "y", lambda v: money_said(v, currency))
    axis_label(ax, "x", "year")
    axis_label(ax, "y", "cost so far, all in")


def _course(ax: Axes, way: str, rows: pd.DataFrame, ink: str, place: int) -> None:
    """One way's line, with its fan if it is among the cheapest."""
    years = rows["year"].to_numpy(float)
    style: dict[str, Any] = {"linewidth": 1.0, "zorder": 2}
    if place < FANS:
        style = {"linewidth": 2.2, "zorder": 4, "linestyle": DASHES[place % len(DASHES)]}
        edge: dict[str, Any] = {"color": ink, "linewidth": 0.7, "alpha": 0.5, "zorder": 3}
        low, high = rows["p10"].to_numpy(float), rows["p90"].to_numpy(float)
        ax.fill_between(years, low, high, color=ink, alpha=0.13, linewidth=0.0, zorder=1, gid=f"fan {way}")
        ax.plot(years, low, gid=f"good {way}", **edge)
        ax.plot(years, high, gid=f"bad {way}", **edge)
    ax.plot(years, rows["mean"].to_numpy(float), color=ink, gid=f"course {way}", **style)
    ax.plot(years[-1:], rows["mean"].to_numpy(float)[-1:], "o", ms=5, color=ink, mec="white", zorder=5)
