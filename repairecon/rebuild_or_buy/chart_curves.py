"""The chance that a way costs no more than a sum."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from repairecon.show.page import Margins, axis_label, check, figure_of, limits, slot, stage, ticks
from repairecon.show.text import DASHES, LINES, PALE, chance_said, money_said, tall, wrap, write


def chance_below(curves: pd.DataFrame, currency: str, caption: str = "", ax: Axes | None = None) -> Axes:
    """For each way a line: the chance that it costs no more than a sum.

    Parameters
    ----------
    curves
        A column a way, the index the cost [home money] ascending, the values chances in 0..1.
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
    check(curves, list(curves.columns))
    costs = curves.index.to_numpy(dtype=float)
    halfway = {way: _reaches(costs, curves[way].to_numpy(float), 0.5) for way in curves.columns}
    ways = sorted(curves.columns, key=lambda way: halfway[way])
    width = slot(ax)[0]
    margins = Margins(left=0.95, right=0.23 * width, axis=0.55)
    names = [wrap(str(way), margins.right - 0.3) for way in ways]
    title, plot_height = "The chance that it costs no more than...", 1.2 * sum(map(tall, names))
    ax = stage(ax, title, caption, plot_height, margins)
    ax.set_xlim(*limits(costs))
    ax.set_ylim(0.0, 1.03)
    ticks(ax, "x", lambda v: money_said(v, currency))
    parts = [0.0, 0.25, 0.5, 0.75, 1.0]
    ax.set_yticks(parts, [chance_said(p) for p in parts], parse_math=False)
    ax.grid(True, axis="y", color=PALE, linewidth=0.8)
    axis_label(ax, "x", "all-in cost")
    for place, (way, name, level) in enumerate(zip(ways, names, _levels(ax, names), strict=True)):
        chances, ink = curves[way].to_numpy(float), LINES[place % len(LINES)]
        dash = DASHES[place % len(DASHES)]
        ax.plot(costs, chances, color=ink, linewidth=2.0, linestyle=dash, gid=f"curve {way}", zorder=3)
        start = min(_reaches(costs, chances, level), float(costs[-1]))
        on_line = float(np.interp(start, costs, chances)) if start == costs[-1] else level
        ax.plot([start, ax.get_xlim()[1]], [on_line, level], color=ink, linewidth=0.9, linestyle=(0, (1, 2)))
        ax.plot([start], [on_line], "o", ms=6, color=ink, mec="white", zorder=4)
        write(ax, (1.0, level), name, ("axes fraction", "data"), (6.0, 0.0), color=ink, weight="bold")
    return ax


def _reaches(costs: np.ndarray[Any, Any], chances: np.ndarray[Any, Any], level: float) -> float:
    """The cost at which a curve reaches a level; endless if it never does."""
    rising = np.maximum.accumulate(chances)
    if rising[-1] < level:
        return float("inf")
    after = int(np.searchsorted(rising, level))
    if after == 0:
        return float(costs[0])
    share = (level - rising[after - 1]) / (rising[after] - rising[after - 1])
    return float(costs[after - 1] + share * (costs[after] - costs[after - 1]))


def _levels(ax: Axes, names: Sequence[str]) -> list[float]:
    """Heights of the labels in the margin, from the top down, evenly spread and apart."""
    fig = figure_of(ax)
    low, high = ax.get_ylim()
    shares = np.array([tall(name) for name in names]) * fig.dpi / ax.bbox.height * (high - low)
    gap = max(0.0, (0.96 - shares.sum()) / len(names))
    tops = np.concatenate([[0.0], np.cumsum(shares + gap)[:-1]])
    return [float(v) for v in 0.98 - tops - (shares + gap) / 2]
