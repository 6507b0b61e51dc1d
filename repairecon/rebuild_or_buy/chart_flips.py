"""Where the choice turns: each number on its own scale."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from repairecon.show.page import Margins, check, figure_of, inches_down, slot, stage
from repairecon.show.text import (
    INK,
    LINE,
    LOW,
    MAIN,
    MAIN_TINT,
    QUIET,
    TURN,
    TURN_DARK,
    TURN_TINT,
    inches,
    tall,
    with_unit,
    wrap,
    write,
)


def flips(frame: pd.DataFrame, currency: str, caption: str = "", ax: Axes | None = None) -> Axes:
    """Where each number stands in its range and where the choice turns, each on its own scale.

    Parameters
    ----------
    frame
        A row a number: ``number`` (its name), ``low``, ``high``, ``value_now``, ``value_flip``
        (blank if it never turns) and ``unit`` ("days", "chance", the currency or any other).
    currency
        Name of the home money.
    caption
        What to do, said under the chart.
    ax
        Axes to draw in; a new figure without.

    Returns
    -------
    Axes
        The axes drawn in; 0 on the left is the low and 1 on the right the high of each range.
    """
    check(frame, ["value_now", "low", "high"])
    width = slot(ax)[0]
    margins = Margins(left=0.36 * width, right=0.15 * width, axis=0.0)
    names = [wrap(str(name), 0.22 * width) for name in frame["number"]]
    heights = [max(tall(name), 3.0 * LINE) + 0.2 for name in names]
    ax = stage(ax, "Where the choice turns", caption, sum(heights), margins, least=LOW)
    ax.set_xlim(0.0, 1.0)
    ax.set_xticks([])
    inches_down(ax, sum(heights))
    top = 0.0
    for (_, row), name, height in zip(frame.iterrows(), names, heights, strict=True):
        write(ax, (0.0, top + height / 2), name, ("axes fraction", "data"),
               (-72.0 * margins.left, 0.0), weight="bold")  # fmt: skip
        _flip_line(ax, row, top + height / 2, currency)
        top += height
    return ax


def _flip_line(ax: Axes, row: pd.Series[Any], y: float, currency: str) -> None:
    """One number's range, its value now (above) and where the choice turns (below)."""
    unit, name = str(row["unit"]), str(row["number"])

    def say(value: float) -> str:
        return with_unit(value, unit, currency)

    now, turn = _share(row, "value_now"), _share(row, "value_flip")
    line: dict[str, Any] = {"linewidth": 7.0, "solid_capstyle": "butt", "zorder": 2, "clip_on": False}
    ax.plot([0.0, 1.0], [y, y], color=MAIN_TINT, gid=f"range {name}", **line)
    beside = ("axes fraction", "data")
    write(ax, (0.0, y), say(float(row["low"])), beside, (-8.0, 0.0), ha="right", color=QUIET)
    write(ax, (1.0, y), say(float(row["high"])), beside, (8.0, 0.0), color=QUIET)
    if not np.isfinite(turn):
        _at_share(ax, 0.0, y, -1.0, "turns nowhere in this range", QUIET)
    elif 0.0 <= turn <= 1.0:
        if row["high"] > row["low"]:
            past = [turn, 1.0 if turn >= now else 0.0]
            ax.plot(past, [y, y], color=TURN_TINT, gid=f"turned {name}", **line)
        ax.plot([turn, turn], [y - 0.12, y + 0.12], color=TURN, linewidth=3.0, zorder=4, gid=f"turn {name}")
        _at_share(ax, turn, y, -1.0, f"turns at {say(float(row['value_flip']))}", TURN_DARK)
    else:
        side = 1.0 if turn > 1.0 else 0.0
        _at_share(ax, side, y, -1.0, f"turns only outside, at {say(float(row['value_flip']))}", QUIET)
    ax.plot([np.clip(now, 0.0, 1.0)], [y], "o", ms=10, color=MAIN, mec="white", zorder=5, clip_on=False,
            gid=f"now {name}")  # fmt: skip
    _at_share(ax, float(np.clip(now, 0.0, 1.0)), y, 1.0, f"now {say(float(row['value_now']))}", INK)


def _share(row: pd.Series[Any], column: str) -> float:
    """Where a value lies between low (0) and high (1); a range of no width has its value in the middle."""
    low, high = float(row["low"]), float(row["high"])
    value = float("nan") if pd.isna(row[column]) else float(row[column])
    if high > low or not np.isfinite(value):
        return (value - low) / (high - low) if np.isfinite(value) else float("nan")
    return 0.5 if value == low else float(np.copysign(np.inf, value - low))


def _at_share(ax: Axes, share: float, y: float, side: float, text: str, ink: str) -> None:
    """Words above (1) or below (-1) a place on a line, kept within its ends."""
    fig = figure_of(ax)
    half = inches(text) * fig.dpi / ax.bbox.width / 2
    x = float(np.clip(share, half, max(half, 1.0 - half)))
    write(ax, (x, y), text, "data", (0.0, side * 14.0), ha="center", color=ink)
