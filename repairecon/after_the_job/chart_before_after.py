"""What was believed before and after some jobs, side by side."""

from __future__ import annotations

import pandas as pd
from matplotlib.axes import Axes

from repairecon.show.plots import (
    INK,
    LOW,
    MAIN,
    QUIET,
    Margins,
    check,
    inches_down,
    limits,
    slot,
    stage,
    tall,
    ticks,
    wrap,
    write,
)
from repairecon.show.words import chance_words, number


def before_after(frame: pd.DataFrame, title: str, unit: str = "", caption: str = "", ax: Axes | None = None) -> Axes:
    """Two bars a figure: the range believed before, in grey, and below it the one after.

    Parameters
    ----------
    frame
        A row a figure: ``name``, ``before``, ``before_low``, ``before_high``, ``after``, ``low``, ``high``.
    title
        What the figures are.
    unit
        "chance", or what a number counts.
    caption
        What to do, said under the chart.
    ax
        Axes to draw in; a new figure without.

    Returns
    -------
    Axes
        The axes drawn in.
    """
    columns = ["before", "before_low", "before_high", "after", "low", "high"]
    check(frame, columns, ["name"])
    width = slot(ax)[0]
    margins = Margins(left=0.32 * width, right=0.22 * width, axis=0.35)
    names = [wrap(str(name), margins.left - 0.2) for name in frame["name"]]
    heights = [max(tall(name) + 0.12, 0.46) for name in names]
    ax = stage(ax, title, caption, sum(heights), margins, least=LOW)
    ax.set_xlim(*((0.0, 1.0) if unit == "chance" else limits(frame[columns].to_numpy(float).ravel())))
    inches_down(ax, sum(heights))
    say = chance_words if unit == "chance" else lambda x: _counted(number(x), unit)
    ticks(ax, "x", chance_words if unit == "chance" else number)
    top = 0.0
    for (_, row), name, height in zip(frame.iterrows(), names, heights, strict=True):
        y = top + height / 2
        ends = (("before", "before_low", "before_high", -0.09, QUIET, "s"), ("after", "low", "high", 0.09, MAIN, "o"))
        for middle, low, high, shift, ink, mark in ends:
            ax.plot([row[low], row[high]], [y + shift] * 2, color=ink, linewidth=3.0, solid_capstyle="butt",
                    gid=f"{middle} {row['name']}")  # fmt: skip
            ax.plot(row[middle], y + shift, mark, ms=7, color=ink, mec="white", zorder=3)
        beside = ("axes fraction", "data")
        write(ax, (0.0, y), name, beside, (-9.0, 0.0), ha="right")
        write(ax, (1.0, y - 0.09), f"before {say(row['before'])}", beside, (9.0, 0.0), color=QUIET)
        write(ax, (1.0, y + 0.09), f"now {say(row['after'])}", beside, (9.0, 0.0), color=INK, weight="bold")
        top += height
    return ax


def _counted(words: str, unit: str) -> str:
    if words == "1" and unit == "times":
        return "as guessed"
    return f"{words} {unit.removesuffix('s') if words == '1' else unit}".strip()
