"""What each way costs: a bar from the good case to the bad case."""

from __future__ import annotations

from typing import Any

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from repairecon.show.page import (
    Margins,
    check,
    error_of,
    figure_of,
    inches_down,
    limits,
    may_be_chosen,
    slot,
    stage,
    ticks,
)
from repairecon.show.text import HALO, INK, LOW, MAIN, MAIN_TINT, QUIET, inches, money_said, tall, wrap, write


def cost_ranges(table: pd.DataFrame, currency: str, caption: str = "", ax: Axes | None = None) -> Axes:
    """A bar from the good case to the bad case for each way, the cheapest on average on top.

    Parameters
    ----------
    table
        A row a way: ``total_p10``, ``total_p50``, ``total_p90``, ``total_mean``, ``cash_mean``
        [home money], ``allowed`` (may it be chosen), ``why_not`` (the reason if it may not);
        ``total_p90_se`` (standard error of a sampled range) if there is one: it limits the digits shown.
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
    check(table, ["total_mean", "total_p10", "total_p50", "total_p90", "cash_mean"])
    rows = table.sort_values("total_mean", kind="stable")
    width = slot(ax)[0]
    margins = Margins(left=0.23 * width, right=0.2 * width, axis=0.3)
    middle = width - margins.left - margins.right
    names = [wrap(str(way), margins.left - 0.15) for way in rows.index]
    spoken = [wrap(_cost_words(row, currency), middle) for _, row in rows.iterrows()]
    means = [wrap(_mean_words(row, currency), margins.right - 0.15) for _, row in rows.iterrows()]
    texts = list(zip(names, spoken, means, strict=True))
    heights = [max(tall(name), tall(mean), 0.24 + tall(say)) + 0.2 for name, say, mean in texts]
    ax = stage(ax, "What each way costs, all in", caption, sum(heights), margins, least=LOW)
    low, high = limits(rows[["total_p10", "total_p90", "total_mean", "cash_mean"]].to_numpy(float).ravel())
    ax.set_xlim(low, high)
    inches_down(ax, sum(heights))
    ticks(ax, "x", lambda v: money_said(v, currency))
    top = 0.0
    for (way, row), (name, say, mean), height in zip(rows.iterrows(), texts, heights, strict=True):
        allowed = may_be_chosen(row)
        middle_y = top + (height - 0.24 - tall(say)) / 2 + 0.1
        _cost_bar(ax, str(way), row, middle_y, allowed)
        _under_bar(ax, float(row["total_p10"]), middle_y + 0.15, say)
        ink = INK if allowed else QUIET
        beside = ("axes fraction", "data")
        write(ax, (0.0, top + height / 2), name, beside, (-9.0, 0.0), ha="right", color=ink)
        write(ax, (1.0, top + height / 2), mean, beside, (9.0, 0.0), color=ink)
        top += height
    return ax


def _cost_words(row: pd.Series[Any], currency: str) -> str:
    se = error_of(row, "total_p90_se")
    half, bad = money_said(row["total_p50"], currency, se), money_said(row["total_p90"], currency, se)
    if row["total_p10"] == row["total_p90"]:
        words = f"nearly always {half}"
    else:
        words = f"half the time under {half}, 1 in 10 over {bad}"
    why = str(row["why_not"]) if "why_not" in row.index else ""
    return words if may_be_chosen(row) else f"{words}\nleft out: {why or 'not allowed'}"


def _mean_words(row: pd.Series[Any], currency: str) -> str:
    mean, cash = money_said(row["total_mean"], currency), money_said(row["cash_mean"], currency)
    return f"● average {mean}\n◆ cash only {cash}"


def _cost_bar(ax: Axes, way: str, row: pd.Series[Any], y: float, allowed: bool) -> None:
    low, high = float(row["total_p10"]), float(row["total_p90"])
    look: dict[str, Any] = {"facecolor": MAIN_TINT, "edgecolor": MAIN, "linewidth": 1.2}
    if not allowed:
        look = {"facecolor": "white", "edgecolor": QUIET, "linewidth": 0.9, "hatch": "////"}
    ax.add_patch(Rectangle((low, y - 0.08), high - low, 0.16, gid=f"range {way}", zorder=2, **look))
    ink = MAIN if allowed else QUIET
    mark: dict[str, Any] = {"mec": "white", "clip_on": False}
    ax.plot([row["total_mean"]], [y], "o", ms=8, color=ink, zorder=4, gid=f"mean {way}", **mark)
    ax.plot([row["cash_mean"]], [y], "D", ms=5.5, color=INK, zorder=3, gid=f"cash {way}", **mark)


def _under_bar(ax: Axes, x: float, y: float, text: str) -> None:
    """The words of a bar, starting at its low end unless they would leave the plot."""
    fig = figure_of(ax)
    low, high = ax.get_xlim()
    need = max(inches(line) for line in text.split("\n")) * fig.dpi / ax.bbox.width * (high - low)
    write(ax, (max(low, min(x, high - need)), y), text, va="top", color=QUIET, path_effects=HALO)
