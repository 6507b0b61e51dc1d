"""Charts of what each way costs: ranges, the chance of staying below a sum, money against days.

Each takes a frame, the name of the home money, a caption that says what to do, and axes to draw in (a new figure
without); each returns the axes drawn in.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle
from matplotlib.transforms import Bbox

from repairecon.show.plots import (
    DASHES,
    HALO,
    INK,
    LINES,
    LOW,
    MAIN,
    MAIN_TINT,
    PALE,
    QUIET,
    Margins,
    Place,
    axis_label,
    chance_said,
    check,
    error_of,
    figure_of,
    inches,
    inches_down,
    limits,
    may_be_chosen,
    money_said,
    slot,
    stage,
    tall,
    ticks,
    wrap,
    write,
)
from repairecon.show.words import days_words


def cost_ranges(table: pd.DataFrame, currency: str, caption: str = "", ax: Axes | None = None) -> Axes:
    """A bar from the good case to the bad case for each way, the cheapest on average on top.

    Parameters
    ----------
    table
        A row a way: ``total_p10``, ``total_p50``, ``total_p90``, ``total_mean``, ``cash_mean``
        [home money], ``allowed`` (may it be chosen), ``why_not`` (the reason if it may not);
        ``total_p90_se`` (standard error of a sampled range) if there is one: it limits the digits shown.

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


def chance_below(curves: pd.DataFrame, currency: str, caption: str = "", ax: Axes | None = None) -> Axes:
    """For each way a line: the chance that it costs no more than a sum.

    Parameters
    ----------
    curves
        A column a way, the index the cost [home money] ascending, the values chances in 0..1.

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


def money_against_days(table: pd.DataFrame, currency: str, caption: str = "", ax: Axes | None = None) -> Axes:
    """Every way as a point of days out of service and cash, with its good and bad case as whiskers.

    Parameters
    ----------
    table
        A row a way: ``days_p10``, ``days_p50``, ``days_p90`` [day], ``cash_p10``, ``cash_mean``,
        ``cash_p90`` [home money]; ``allowed`` if some may not be chosen.

    Returns
    -------
    Axes
        The axes drawn in; ways that an allowed way beats on both are grey.
    """
    check(table, ["days_p10", "days_p50", "days_p90", "cash_p10", "cash_mean", "cash_p90"])
    width = slot(ax)[0]
    title = "Cash against days out of service; grey ways are worse on both"
    plot_height, margins = 2.6 + 0.25 * len(table), Margins(left=1.3, right=0.4, axis=0.55)
    ax = stage(ax, title, caption, plot_height, margins)
    ax.set_xlim(*limits(table[["days_p10", "days_p50", "days_p90"]].to_numpy(float).ravel(), 1.0))
    ax.set_ylim(*limits(table[["cash_p10", "cash_mean", "cash_p90"]].to_numpy(float).ravel()))
    ticks(ax, "x", days_words)
    ticks(ax, "y", lambda v: money_said(v, currency))
    axis_label(ax, "x", "out of service: half the time no longer")
    axis_label(ax, "y", "cash out, on average")
    beaten, names = _beaten(table), []
    for way, row in table.iterrows():
        ink = QUIET if beaten[way] else MAIN
        _cross(ax, str(way), row, ink, may_be_chosen(row))
        numbers = f"\n{days_words(row['days_p50'])}, {money_said(row['cash_mean'], currency)}"
        numbers = "" if beaten[way] else numbers
        barred = "" if may_be_chosen(row) else "\nnot allowed"
        names.append(wrap(str(way), min(1.9, 0.25 * width)) + numbers + barred)
    _label_points(ax, table, names, [QUIET if beaten[way] else INK for way in table.index])
    return ax


def _beaten(table: pd.DataFrame) -> dict[Any, bool]:
    """Which ways an allowed way beats: no worse on days and cash, better on one of them."""
    rivals = [row for _, row in table.iterrows() if may_be_chosen(row)]

    def beats(rival: pd.Series[Any], row: pd.Series[Any]) -> bool:
        days, cash = rival["days_p50"] - row["days_p50"], rival["cash_mean"] - row["cash_mean"]
        return bool(days <= 0 and cash <= 0 and (days < 0 or cash < 0))

    return {way: any(beats(rival, row) for rival in rivals) for way, row in table.iterrows()}


def _cross(ax: Axes, way: str, row: pd.Series[Any], ink: str, allowed: bool) -> None:
    """A way's point and its whiskers."""
    x, y = float(row["days_p50"]), float(row["cash_mean"])
    whisker: dict[str, Any] = {"color": ink, "linewidth": 1.4, "alpha": 0.4, "zorder": 2}
    ax.plot([row["days_p10"], row["days_p90"]], [y, y], gid=f"days {way}", **whisker)
    ax.plot([x, x], [row["cash_p10"], row["cash_p90"]], gid=f"cash {way}", **whisker)
    face = ink if allowed else "white"
    ax.plot([x], [y], "o", ms=9, color=face, mec=ink, mew=1.6, zorder=4, gid=f"way {way}", clip_on=False)


def _label_points(ax: Axes, table: pd.DataFrame, names: Sequence[str], inks: Sequence[str]) -> None:
    """The names beside their points, clear of each other, of the points and if possible of the whiskers."""
    fig = figure_of(ax)
    to_points = 72.0 / fig.dpi
    move = ax.transData.transform
    dots, whiskers = [], []
    for _, row in table.iterrows():
        x, y = row["days_p50"], row["cash_mean"]
        dots.append(to_points * move((x, y)))
        across = [(row["days_p10"], y), (row["days_p90"], y)]
        upright = [(x, row["cash_p10"]), (x, row["cash_p90"])]
        whiskers += [Bbox(to_points * move(ends)).padded(1.5) for ends in (across, upright)]
    taken = [Bbox.from_bounds(x - 6, y - 6, 12, 12) for x, y in dots]
    page = Bbox(to_points * ax.bbox.get_points())
    for (x, y), (days, cash), name, ink in zip(
        dots, table[["days_p50", "cash_mean"]].to_numpy(float), names, inks, strict=True
    ):
        size = 72.0 * max(map(inches, name.split("\n"))), 72.0 * tall(name)
        box = _free_place((x, y), size, page, taken, whiskers)
        taken.append(box)
        whiskers += _along((x, y), box)
        across, up = (box.x0 + box.x1) / 2 - x, (box.y0 + box.y1) / 2 - y
        near_x, near_y = float(np.clip(x, box.x0, box.x1)) - x, float(np.clip(y, box.y0, box.y1)) - y
        if np.hypot(near_x, near_y) > 16.0:
            _lead(ax, (days, cash), (near_x, near_y))
        align = "left" if box.x0 >= x else "right" if box.x1 <= x else "center"
        edge = {"left": box.x0 - x, "right": box.x1 - x, "center": across}[align]
        write(ax, (days, cash), name, "data", (edge, up), color=ink, ha=align, zorder=5, path_effects=HALO)


def _along(at: Place, box: Bbox) -> list[Bbox]:
    """Small boxes along the line that leads from a point to its label."""
    spots = np.linspace(at, (np.clip(at[0], box.x0, box.x1), np.clip(at[1], box.y0, box.y1)), 14)
    far = [spot for spot in spots if np.hypot(*(spot - at)) > 10.0]
    return [Bbox.from_bounds(x - 0.5, y - 0.5, 1, 1) for x, y in far]


def _lead(ax: Axes, at: Place, shift: Place) -> None:
    """A thin line from a point to its name."""
    arrow = {"arrowstyle": "-", "color": QUIET, "linewidth": 0.7, "shrinkA": 0.0, "shrinkB": 5.0}
    ax.annotate("", at, xytext=shift, textcoords="offset points", arrowprops=arrow, annotation_clip=False)


def _free_place(at: Place, size: Place, page: Bbox, taken: Sequence[Bbox], avoid: Sequence[Bbox]) -> Bbox:
    """The nearest place for a label round a point that covers nothing, else as little as possible."""
    best, least = Bbox.from_bounds(at[0] + 8, at[1], *size), np.inf
    for reach in (8.0, 14.0, 22.0, 34.0, 50.0, 70.0, 95.0, 125.0, 160.0, 200.0, 250.0, 300.0):
        for turn in np.deg2rad([20, 160, 340, 200, 0, 180, 90, 270, 45, 135, 315, 225, 65, 115, 295, 245]):
            x = at[0] + np.cos(turn) * (reach + size[0] / 2) - size[0] / 2
            y = at[1] + np.sin(turn) * (reach + size[1] / 2) - size[1] / 2
            box = Bbox.from_bounds(x, y, *size)
            outside = x < page.x0 or y < page.y0 or box.x1 > page.x1 or box.y1 > page.y1
            crossed = sum(step.count_overlaps(taken) > 0 for step in _along(at, box)[:-1])
            covered = 1000.0 * (box.count_overlaps(taken) + outside) + 25.0 * box.count_overlaps(avoid)
            covered += 60.0 * crossed + reach
            if covered < least:
                best, least = box, covered
    return best
