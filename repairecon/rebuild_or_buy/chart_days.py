"""Money against days: every way as a point."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.transforms import Bbox

from repairecon.show.page import Margins, axis_label, check, figure_of, limits, may_be_chosen, slot, stage, ticks
from repairecon.show.text import HALO, INK, MAIN, QUIET, Place, inches, money_said, tall, wrap, write
from repairecon.show.words import days_words


def money_against_days(table: pd.DataFrame, currency: str, caption: str = "", ax: Axes | None = None) -> Axes:
    """Every way as a point of days out of service and cash, with its good and bad case as whiskers.

    Parameters
    ----------
    table
        A row a way: ``days_p10``, ``days_p50``, ``days_p90`` [day], ``cash_p10``, ``cash_mean``,
        ``cash_p90`` [home money]; ``allowed`` if some may not be chosen.
    currency
        Name of the home money.
    caption
        What to do, said under the chart.
    ax
        Axes to draw in; a new figure without.

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
