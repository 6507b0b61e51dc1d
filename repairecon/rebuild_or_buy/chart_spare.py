"""What a spare aboard is worth against the days that it saves."""

from __future__ import annotations

from itertools import product
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.transforms import Bbox

from repairecon.show.labels import end_margin, end_texts, name_ends
from repairecon.show.page import (
    Margins,
    axis_label,
    check,
    figure_of,
    limits,
    once,
    slot,
    stage,
    ticks,
)
from repairecon.show.text import (
    DASHES,
    HALO,
    LINE,
    LINES,
    NO_BREAK,
    QUIET,
    REST_TINT,
    inches,
    money_said,
    tall,
    write,
)
from repairecon.show.words import days_words

Course = np.ndarray[Any, np.dtype[np.float64]]
"""The points of a line: a row a point, days and worth."""
EVEN = "costs as much as it saves"


def spare_worth(frame: pd.DataFrame, currency: str, caption: str = "", ax: Axes | None = None) -> Axes:
    """What a spare is worth if a failure away takes so many days more: a line for each combination.

    Parameters
    ----------
    frame
        A row a combination and number of days: ``combination`` (its name), ``days_saved`` at each failure away,
        beside the wait that it saves at every one [day], ``worth`` of the spare (below 0 it costs more than it
        saves) [home money].
    currency
        Name of the home money.
    caption
        What to do, said under the chart.
    ax
        Axes to draw in; a new figure without.

    Returns
    -------
    Axes
        The axes drawn in.
    """
    check(frame, ["days_saved", "worth"], ["combination"])
    once(frame, "combination", "days_saved")
    lines = {str(name): rows.sort_values("days_saved") for name, rows in frame.groupby("combination", sort=False)}
    names = sorted(lines, key=lambda name: -float(lines[name]["worth"].iloc[-1]))
    points = [lines[name][["days_saved", "worth"]].to_numpy(float) for name in names]
    width = slot(ax)[0]
    margins = Margins(left=1.3, right=end_margin(width), axis=0.55)
    said = [_pays(course) for course in points]
    texts, short = end_texts(names, said, margins.right - 0.2), end_texts(names, [""] * len(names), margins.right - 0.2)
    title = "What the spare is worth; in the grey it costs more than it saves"
    ax = stage(ax, title, caption, max(2.8, 1.15 * sum(map(tall, texts))), margins)
    _scales(ax, frame, currency)
    inks = [LINES[place % len(LINES)] for place in range(len(names))]
    for place, (name, course, ink) in enumerate(zip(names, points, inks, strict=True)):
        dash = DASHES[place % len(DASHES)]
        ax.plot(*course.T, color=ink, linewidth=2.0, linestyle=dash, zorder=3, gid=f"worth {name}")
        ax.plot(*course[-1:].T, "o", ms=5, color=ink, mec="white", zorder=4)
    name_ends(ax, [(float(x), float(y)) for x, y in (course[-1] for course in points)], texts, short, inks,
              ["bold"] * len(names))  # fmt: skip
    _name_zero(ax, points)
    return ax


def _scales(ax: Axes, frame: pd.DataFrame, currency: str) -> None:
    first, last = float(frame["days_saved"].min()), float(frame["days_saved"].max())
    span = last - first or 1.0
    ax.set_xlim(first - (0.0 if last > first else 0.5), last + 0.06 * span)
    low, high = limits([0.0, *frame["worth"].to_numpy(float)])
    pad = 0.06 * (high - low)
    ax.set_ylim(low - pad, high + pad)
    ax.axhspan(low - pad, 0.0, color=REST_TINT, linewidth=0.0, zorder=0)
    ticks(ax, "x", days_words, integer=True)
    ticks(ax, "y", lambda v: money_said(v, currency))
    axis_label(ax, "x", "days more that a failure away from base takes")
    axis_label(ax, "y", "worth of the spare")


def _pays(course: Course) -> str:
    """From how many whole saved days on the spare pays, if its line crosses zero once."""
    days, worth = course.T
    pays = worth >= 0.0
    turns = np.flatnonzero(pays[1:] != pays[:-1])
    if len(turns) == 0:
        return "pays throughout" if pays[0] else "pays nowhere here"
    if len(turns) > 1:
        return ""
    at = int(turns[0])
    even = float(days[at] - worth[at] * (days[at + 1] - days[at]) / (worth[at + 1] - worth[at]))
    said = f"up to {days_words(np.floor(even))}" if pays[0] else f"from {days_words(np.ceil(even))}"
    return f"pays {said.replace(' ', NO_BREAK)}"


def _name_zero(ax: Axes, courses: list[Course]) -> None:
    """The zero line and its name, where the fewest lines pass behind it."""
    ax.axhline(0.0, color=QUIET, linewidth=1.6, zorder=2, gid="zero")
    dpi, frame = figure_of(ax).dpi, ax.bbox
    wide, high, gap = inches(EVEN) * dpi, LINE * dpi, 0.1 * dpi
    zero = float(ax.transData.transform((ax.get_xlim()[0], 0.0))[1])
    spots = np.concatenate([ax.transData.transform(_dense(course)) for course in courses])

    def covered(box: Bbox) -> float:
        inside = (spots > box.p0).all(axis=1) & (spots < box.p1).all(axis=1)
        return float(inside.sum()) + (1e6 if box.y0 < frame.y0 or box.y1 > frame.y1 else 0.0)

    starts = np.linspace(frame.x0 + gap, max(frame.x1 - gap - wide, frame.x0 + gap), 9)
    boxes = [Bbox.from_bounds(x, zero + side, wide, high) for x, side in product(starts, (3.0, -3.0 - high))]
    best = min(boxes, key=covered)
    x, y = ax.transData.inverted().transform((best.x0, (best.y0 + best.y1) / 2))
    write(ax, (float(x), float(y)), EVEN, color=QUIET, zorder=6, path_effects=HALO, gid="even")


def _dense(course: Course) -> Course:
    """A line as many points."""
    at, steps = np.linspace(0.0, len(course) - 1.0, 400), np.arange(len(course))
    return np.column_stack([np.interp(at, steps, course[:, 0]), np.interp(at, steps, course[:, 1])])
