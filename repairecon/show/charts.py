"""The charts: the only module that draws.

Every chart takes a frame, the currency and a caption that says what to do, and returns its axes
(``ax`` or, without one, those of a new figure of laptop width). A given ``ax`` is kept to the
place it had: names, title and caption are drawn inside that place.
"""

from __future__ import annotations

import io
from bisect import bisect_left
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Literal

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.patches import PathPatch, Rectangle
from matplotlib.path import Path
from matplotlib.patheffects import withStroke
from matplotlib.text import Text
from matplotlib.textpath import text_to_path
from matplotlib.ticker import MaxNLocator
from matplotlib.transforms import Bbox

from repairecon.show.words import chance_words, days_words, measured, money

INK, QUIET, PALE = "#22303c", "#5f6b75", "#d5dbe0"
MAIN, MAIN_TINT, TURN, TURN_DARK, TURN_TINT, REST_TINT = (
    "#1f6fa8", "#cbe1f0", "#c86a10", "#8f4a06", "#f8d9b0", "#e4e8eb",
)  # fmt: skip
LINES = ("#1f6fa8", "#c86a10", "#22303c", "#8a4f9e", "#2585ad", "#846a06", "#68747d", "#b5567f", "#5b4636")
DASHES = ("solid", (0, (6, 2)), (0, (2, 1.5)))
SIZE, SMALL, TITLE_SIZE = 9.5, 9.0, 12.0
LINE = SIZE * 1.3 / 72.0
"""Height of a line of text, inches."""
WIDTH, WIDE, HEIGHT, LOW, EDGE = 9.0, 10.5, 4.5, 2.5, 0.12
KEEP_ENDS = 14
NO_BREAK = "\u00a0"
HALO = (withStroke(linewidth=2.5, foreground="white"),)
"""Keeps text legible over lines."""

Place = tuple[float, float]


# ---------------------------------------------------------------- text and room
def _inches(text: str, size: float = SIZE, weight: str = "normal") -> float:
    """Width of one line of text [inch]."""
    if not text:
        return 0.0
    font = FontProperties(size=size, weight=weight)
    return 1.03 * float(text_to_path.get_text_width_height_descent(text, font, False)[0]) / 72.0


def _pieces(word: str, width: float, size: float) -> Iterable[str]:
    """A word cut into pieces no wider than ``width``, where it holds together least."""
    if NO_BREAK in word and _inches(word, size) > width:
        for part in word.split(NO_BREAK):
            yield from _pieces(part, width, size)
        return
    piece = ""
    for letter in word:
        if piece and _inches(piece + letter, size) > width:
            yield piece
            piece = ""
        piece += letter
    yield piece


def _wrap(text: str, width: float, size: float = SIZE) -> str:
    """Text broken into lines no wider than ``width`` [inch]; line breaks in it stay."""
    lines: list[str] = []
    for paragraph in text.split("\n"):
        line = ""
        for word in paragraph.split(" "):
            for piece in _pieces(word, width, size):
                longer = f"{line} {piece}".strip()
                if line and _inches(longer, size) > width:
                    lines.append(line)
                    line = piece
                else:
                    line = longer
        lines.append(line)
    return "\n".join(lines)


def _sum(amount: float, currency: str) -> str:
    """An amount that is never broken over two lines."""
    return money(amount, currency).replace(" ", NO_BREAK)


def _chance(p: float) -> str:
    """A chance that is never broken over two lines."""
    return chance_words(p).replace(" ", NO_BREAK)


def _tall(text: str) -> float:
    """Height of a block of text [inch]."""
    return LINE * (text.count("\n") + 1) if text else 0.0


def _write(ax: Axes, at: Place, text: str, coords: Any = "data", shift: Place = (0.0, 0.0),
           **style: Any) -> Text:  # fmt: skip
    """Text at a place, shifted by points; a dollar sign in it is only a dollar sign."""
    look: dict[str, Any] = {"fontsize": SIZE, "color": INK, "linespacing": 1.15, "va": "center", "ha": "left"}
    look |= style
    return ax.annotate(
        text, at, xycoords=coords, xytext=shift, textcoords="offset points",
        annotation_clip=False, parse_math=False, **look,
    )  # fmt: skip


def _slot(ax: Axes | None, width: float = WIDTH) -> tuple[float, float]:
    """Width and height [inch] of the place a chart may fill; height 0 when it may choose."""
    if ax is None:
        return width - 2 * EDGE, 0.0
    box, fig = _slot_box(ax), ax.get_figure(root=True)
    assert fig is not None
    return box.width * fig.get_figwidth(), box.height * fig.get_figheight()


def _slot_box(ax: Axes) -> Bbox:
    """The place of the axes before any chart was drawn in it, in shares of the figure."""
    spec, fig = ax.get_subplotspec(), ax.get_figure(root=True)
    if spec is None or fig is None:
        return ax.get_position()
    return spec.get_position(fig)


@dataclass(frozen=True)
class _Margins:
    """Room round the plot itself [inch]."""

    left: float
    right: float
    axis: float = 0.5


def _around(title: str, caption: str, width: float, margins: _Margins) -> tuple[str, str, float, float]:
    """Wrapped title and caption, and the room above and below the plot [inch]."""
    title, caption = _wrap(title, width * 0.9, TITLE_SIZE), _wrap(caption, width)
    above = 0.14 + (title.count("\n") + 1) * TITLE_SIZE * 1.3 / 72.0
    below = margins.axis + (_tall(caption) + 0.14 if caption else 0.0)
    return title, caption, above, below


def _stage(ax: Axes | None, title: str, caption: str, plot_height: float, margins: _Margins,
           width: float = WIDTH, least: float = HEIGHT) -> Axes:  # fmt: skip
    """Axes with title and caption; the plot itself at least ``plot_height`` if the figure is ours."""
    slot_width = _slot(ax, width)[0]
    title, caption, above, below = _around(title, caption, slot_width, margins)
    if ax is None:
        height = max(least, plot_height + above + below + 2 * EDGE)
        fig = plt.figure(figsize=(width, height), dpi=100, facecolor="white")
        x, y = EDGE / width, EDGE / height
        ax = fig.add_subplot(fig.add_gridspec(1, 1, left=x, right=1 - x, bottom=y, top=1 - y)[0])
    box = _slot_box(ax)
    across, up = slot_width / box.width, _slot(ax)[1] / box.height
    bottom, upper = box.y0 + below / up, box.y1 - above / up
    bottom = min(bottom, upper - 0.2 * box.height)
    inner = Bbox([[box.x0 + margins.left / across, bottom], [box.x1 - margins.right / across, upper]])
    ax.set_position(inner)
    for side in ("top", "right", "left", "bottom"):
        ax.spines[side].set_visible(False)
    ax.tick_params(length=0, labelsize=SIZE, labelcolor=QUIET, pad=6.0)
    start = -margins.left / (inner.width * across)
    ax.set_title(title, loc="left", x=start, fontsize=TITLE_SIZE, weight="bold", color=INK, parse_math=False)
    if caption:
        shift = (0.0, -72.0 * (margins.axis + 0.08))
        _write(ax, (start, 0.0), caption, "axes fraction", shift, va="top", gid="caption")
    return ax


def _check(frame: pd.DataFrame, columns: Sequence[str]) -> None:
    """Refuse a frame that lacks a column or a number, or has no row."""
    missing = [name for name in columns if name not in frame.columns]
    if missing:
        raise ValueError(f"the frame lacks {', '.join(missing)}")
    if frame.empty:
        raise ValueError("the frame has no rows: there is nothing to draw")
    for name in columns:
        wrong = ~np.isfinite(frame[name].to_numpy(dtype=float))
        if wrong.any():
            raise ValueError(f"{name} of {frame.index[wrong][0]} is not a number")


def _limits(values: Iterable[float], zero_share: float = 0.6) -> tuple[float, float]:
    """Axis limits round the values; zero is taken in unless all lie far from it."""
    given = np.asarray(list(values), dtype=float)
    low, high = float(given.min()), float(given.max())
    if 0.0 < low < zero_share * high:
        low = 0.0
    if zero_share * low < high < 0.0:
        high = 0.0
    pad = 0.04 * (high - low) if high > low else (0.1 * abs(high) or 1.0)
    return (low if low == 0.0 < high else low - pad), (high if high == 0.0 > low else high + pad)


def _ticks(ax: Axes, axis: Literal["x", "y"], say: Callable[[float], str]) -> None:
    """Round ticks with as many labels as there is room for, each label once, and a faint grid."""
    low, high = ax.get_xlim() if axis == "x" else ax.get_ylim()
    fig = ax.get_figure(root=True)
    assert fig is not None
    room = (ax.bbox.width if axis == "x" else ax.bbox.height) / fig.dpi
    for many in range(8, 0, -1):
        found = [float(v) for v in MaxNLocator(many, steps=[1, 2, 5, 10]).tick_values(low, high)]
        labels = {say(v): v for v in reversed(found) if low <= v <= high}
        need = max((_inches(text) + 0.2 if axis == "x" else 2 * LINE for text in labels), default=0.0)
        if need * len(labels) <= room:
            break
    set_ticks = ax.set_xticks if axis == "x" else ax.set_yticks
    set_ticks(list(labels.values()), list(labels), parse_math=False)
    ax.grid(True, axis=axis, color=PALE, linewidth=0.8)
    ax.set_axisbelow(True)
    if low < 0.0 < high:
        (ax.axvline if axis == "x" else ax.axhline)(0.0, color=QUIET, linewidth=1.0, zorder=1)


def _inches_down(ax: Axes, total: float) -> None:
    """An up-and-down axis in inches from the top, content in the middle; squeezed if there is no room."""
    fig = ax.get_figure(root=True)
    assert fig is not None
    spare = max(0.0, ax.bbox.height / fig.dpi - total) / 2
    ax.set_ylim(total + spare, -spare)
    ax.set_yticks([])


def _axis_label(ax: Axes, axis: Literal["x", "y"], text: str) -> None:
    label = ax.set_xlabel if axis == "x" else ax.set_ylabel
    label(text, fontsize=SIZE, color=QUIET, parse_math=False)


# ---------------------------------------------------------------- what each way costs
def cost_ranges(table: pd.DataFrame, currency: str, caption: str = "", ax: Axes | None = None) -> Axes:
    """A bar from the good case to the bad case for each way, the cheapest on average on top.

    Parameters
    ----------
    table
        A row a way: ``total_p10``, ``total_p50``, ``total_p90``, ``total_mean``, ``cash_mean``
        [home money], ``allowed`` (may it be chosen), ``why_not`` (the reason if it may not).
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
    _check(table, ["total_mean", "total_p10", "total_p50", "total_p90", "cash_mean"])
    rows = table.sort_values("total_mean", kind="stable")
    width = _slot(ax)[0]
    margins = _Margins(left=0.23 * width, right=0.2 * width, axis=0.3)
    middle = width - margins.left - margins.right
    names = [_wrap(str(way), margins.left - 0.15) for way in rows.index]
    spoken = [_wrap(_cost_words(row, currency), middle) for _, row in rows.iterrows()]
    means = [_wrap(_mean_words(row, currency), margins.right - 0.15) for _, row in rows.iterrows()]
    texts = list(zip(names, spoken, means, strict=True))
    heights = [max(_tall(name), _tall(mean), 0.24 + _tall(say)) + 0.2 for name, say, mean in texts]
    ax = _stage(ax, "What each way costs, all in", caption, sum(heights), margins, least=LOW)
    low, high = _limits(rows[["total_p10", "total_p90", "total_mean", "cash_mean"]].to_numpy(float).ravel())
    ax.set_xlim(low, high)
    _inches_down(ax, sum(heights))
    _ticks(ax, "x", lambda v: _sum(v, currency))
    top = 0.0
    for (way, row), (name, say, mean), height in zip(rows.iterrows(), texts, heights, strict=True):
        allowed = _allowed(row)
        middle_y = top + (height - 0.24 - _tall(say)) / 2 + 0.1
        _cost_bar(ax, str(way), row, middle_y, allowed)
        _under_bar(ax, float(row["total_p10"]), middle_y + 0.15, say)
        ink = INK if allowed else QUIET
        beside = ("axes fraction", "data")
        _write(ax, (0.0, top + height / 2), name, beside, (-9.0, 0.0), ha="right", color=ink)
        _write(ax, (1.0, top + height / 2), mean, beside, (9.0, 0.0), color=ink)
        top += height
    return ax


def _allowed(row: pd.Series[Any]) -> bool:
    return bool(row["allowed"]) if "allowed" in row.index else True


def _cost_words(row: pd.Series[Any], currency: str) -> str:
    half, bad = _sum(row["total_p50"], currency), _sum(row["total_p90"], currency)
    if row["total_p10"] == row["total_p90"]:
        words = f"nearly always {half}"
    else:
        words = f"half the time under {half}, 1 in 10 over {bad}"
    why = str(row["why_not"]) if "why_not" in row.index else ""
    return words if _allowed(row) else f"{words}\nleft out: {why or 'not allowed'}"


def _mean_words(row: pd.Series[Any], currency: str) -> str:
    mean, cash = _sum(row["total_mean"], currency), _sum(row["cash_mean"], currency)
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
    fig = ax.get_figure(root=True)
    assert fig is not None
    low, high = ax.get_xlim()
    need = max(_inches(line) for line in text.split("\n")) * fig.dpi / ax.bbox.width * (high - low)
    _write(ax, (max(low, min(x, high - need)), y), text, va="top", color=QUIET, path_effects=HALO)


# ---------------------------------------------------------------- the chance of staying below
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
    _check(curves, list(curves.columns))
    costs = curves.index.to_numpy(dtype=float)
    halfway = {way: _reaches(costs, curves[way].to_numpy(float), 0.5) for way in curves.columns}
    ways = sorted(curves.columns, key=lambda way: halfway[way])
    width = _slot(ax)[0]
    margins = _Margins(left=0.95, right=0.23 * width, axis=0.55)
    names = [_wrap(str(way), margins.right - 0.3) for way in ways]
    title, plot_height = "The chance that it costs no more than...", 1.2 * sum(map(_tall, names))
    ax = _stage(ax, title, caption, plot_height, margins)
    ax.set_xlim(*_limits(costs))
    ax.set_ylim(0.0, 1.03)
    _ticks(ax, "x", lambda v: _sum(v, currency))
    parts = [0.0, 0.25, 0.5, 0.75, 1.0]
    ax.set_yticks(parts, [_chance(p) for p in parts], parse_math=False)
    ax.grid(True, axis="y", color=PALE, linewidth=0.8)
    _axis_label(ax, "x", "all-in cost")
    for place, (way, name, level) in enumerate(zip(ways, names, _levels(ax, names), strict=True)):
        chances, ink = curves[way].to_numpy(float), LINES[place % len(LINES)]
        dash = DASHES[place % len(DASHES)]
        ax.plot(costs, chances, color=ink, linewidth=2.0, linestyle=dash, gid=f"curve {way}", zorder=3)
        start = min(_reaches(costs, chances, level), float(costs[-1]))
        on_line = float(np.interp(start, costs, chances)) if start == costs[-1] else level
        ax.plot([start, ax.get_xlim()[1]], [on_line, level], color=ink, linewidth=0.9, linestyle=(0, (1, 2)))
        ax.plot([start], [on_line], "o", ms=6, color=ink, mec="white", zorder=4)
        _write(ax, (1.0, level), name, ("axes fraction", "data"), (6.0, 0.0), color=ink, weight="bold")
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
    fig = ax.get_figure(root=True)
    assert fig is not None
    low, high = ax.get_ylim()
    shares = np.array([_tall(name) for name in names]) * fig.dpi / ax.bbox.height * (high - low)
    gap = max(0.0, (0.96 - shares.sum()) / len(names))
    tops = np.concatenate([[0.0], np.cumsum(shares + gap)[:-1]])
    return [float(v) for v in 0.98 - tops - (shares + gap) / 2]


# ---------------------------------------------------------------- money against days
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
    _check(table, ["days_p10", "days_p50", "days_p90", "cash_p10", "cash_mean", "cash_p90"])
    width = _slot(ax)[0]
    title = "Cash against days out of service; grey ways are worse on both"
    plot_height, margins = 2.6 + 0.25 * len(table), _Margins(left=1.3, right=0.4, axis=0.55)
    ax = _stage(ax, title, caption, plot_height, margins)
    ax.set_xlim(*_limits(table[["days_p10", "days_p50", "days_p90"]].to_numpy(float).ravel(), 1.0))
    ax.set_ylim(*_limits(table[["cash_p10", "cash_mean", "cash_p90"]].to_numpy(float).ravel()))
    _ticks(ax, "x", days_words)
    _ticks(ax, "y", lambda v: _sum(v, currency))
    _axis_label(ax, "x", "out of service: half the time no longer")
    _axis_label(ax, "y", "cash out, on average")
    beaten, names = _beaten(table), []
    for way, row in table.iterrows():
        ink = QUIET if beaten[way] else MAIN
        _cross(ax, str(way), row, ink, _allowed(row))
        numbers = f"\n{days_words(row['days_p50'])}, {_sum(row['cash_mean'], currency)}"
        numbers = "" if beaten[way] else numbers
        barred = "" if _allowed(row) else "\nnot allowed"
        names.append(_wrap(str(way), min(1.9, 0.25 * width)) + numbers + barred)
    _label_points(ax, table, names, [QUIET if beaten[way] else INK for way in table.index])
    return ax


def _beaten(table: pd.DataFrame) -> dict[Any, bool]:
    """Which ways an allowed way beats: no worse on days and cash, better on one of them."""
    rivals = [row for _, row in table.iterrows() if _allowed(row)]

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
    fig = ax.get_figure(root=True)
    assert fig is not None
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
        size = 72.0 * max(map(_inches, name.split("\n"))), 72.0 * _tall(name)
        box = _free_place((x, y), size, page, taken, whiskers)
        taken.append(box)
        whiskers += _along((x, y), box)
        across, up = (box.x0 + box.x1) / 2 - x, (box.y0 + box.y1) / 2 - y
        near_x, near_y = float(np.clip(x, box.x0, box.x1)) - x, float(np.clip(y, box.y0, box.y1)) - y
        if np.hypot(near_x, near_y) > 16.0:
            _lead(ax, (days, cash), (near_x, near_y))
        align = "left" if box.x0 >= x else "right" if box.x1 <= x else "center"
        edge = {"left": box.x0 - x, "right": box.x1 - x, "center": across}[align]
        _write(ax, (days, cash), name, "data", (edge, up), color=ink, ha=align, zorder=5, path_effects=HALO)


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


# ---------------------------------------------------------------- what may be found inside
def prune(nodes: pd.DataFrame, keep: int) -> pd.DataFrame:
    """The tree with its rarest branches merged, so that at most ``keep`` ends are left.

    Parameters
    ----------
    nodes
        The tree as ``damage_tree`` takes it.
    keep
        Most end nodes to keep (at least 1).

    Returns
    -------
    DataFrame
        The kept rows and a column ``merged``: 0, or the number of ends that the row stands for.

    Notes
    -----
    All branches whose chance of ever being reached is below a limit go: several under one parent
    become one row "others (n)" with the sum of their chances and their mean extra cost weighted by
    chance; one alone stays and loses what follows it, and so does a branch after which all are rare.
    The limit is the lowest that suffices. The
    chances under a parent therefore add up to what they did before.
    """
    if keep < 1:
        raise ValueError("keep at least one end")
    tree = _Tree.of(nodes)
    limits = sorted({0.0, *tree.joint.values()})
    at = bisect_left(limits, True, key=lambda limit: len(_Tree.of(tree.cut(limit)).ends) <= keep)
    return tree.cut(limits[at] if at < len(limits) else float("inf"))


@dataclass(frozen=True)
class _Tree:
    """The rows of a tree with who follows whom and the chance of ever reaching each."""

    rows: Mapping[int, pd.Series[Any]]
    below: Mapping[int, list[int]]
    joint: Mapping[int, float]

    @classmethod
    def of(cls, nodes: pd.DataFrame) -> _Tree:
        rows = {int(row["id"]): row for _, row in nodes.iterrows()}
        below: dict[int, list[int]] = {key: [] for key in (-1, *rows)}
        for key, row in rows.items():
            if int(row["parent"]) not in below:
                raise ValueError(f"node {key} hangs on {row['parent']}, which is not in the table")
            below[int(row["parent"])].append(key)
        joint, waiting = {-1: 1.0}, [-1]
        while waiting:
            parent = waiting.pop()
            joint |= {key: joint[parent] * float(rows[key]["chance"]) for key in below[parent]}
            waiting += below[parent]
        if len(joint) <= len(rows):
            raise ValueError("some nodes of the tree hang on each other in a circle")
        return cls(rows, below, {key: joint[key] for key in rows})

    @property
    def ends(self) -> list[int]:
        return [key for key in self.rows if not self.below[key]]

    def under(self, key: int) -> list[int]:
        """The ends at or below a node."""
        return [end for child in self.below[key] for end in self.under(child)] or [key]

    def under_all(self, key: int) -> list[int]:
        """Every node below a node."""
        return [found for child in self.below[key] for found in (child, *self.under_all(child))]

    def cut(self, limit: float) -> pd.DataFrame:
        kept: list[dict[str, Any]] = []
        self._cut_below(-1, limit, kept)
        return pd.DataFrame(kept)

    def _cut_below(self, parent: int, limit: float, kept: list[dict[str, Any]]) -> None:
        rare = [key for key in self.below[parent] if self.joint[key] < limit]
        for key in self.below[parent]:
            if key in rare and len(rare) > 1:
                continue
            ends = key in rare or all(self.joint[child] < limit for child in self.below[key])
            kept.append(self._kept(key, shortened=ends and bool(self.below[key])))
            if not ends:
                self._cut_below(key, limit, kept)
        if len(rare) > 1:
            kept.append(self._merged(rare, sum(len(self.under(key)) for key in rare)))

    def _kept(self, key: int, shortened: bool) -> dict[str, Any]:
        said = {"note": f"{len(self.under(key))} cases, not drawn"} if shortened else {}
        return {str(name): value for name, value in self.rows[key].items()} | {"merged": 0} | said

    def _merged(self, rare: Sequence[int], ends: int) -> dict[str, Any]:
        rows = [self.rows[key] for key in rare]
        chances, extras = (np.array([float(row[name]) for row in rows]) for name in ("chance", "extra_cost"))
        events, ending = {str(row["event"]) for row in rows}, [bool(row["ends_rebuild"]) for row in rows]
        note = "some end the rebuild" if any(ending) and not all(ending) else ""
        return {
            "id": rare[0], "parent": rows[0]["parent"], "label": f"others ({ends})",
            "event": events.pop() if len(events) == 1 else "", "chance": chances.sum(),
            "extra_cost": np.average(extras, weights=chances) if chances.sum() > 0 else extras.mean(),
            "ends_rebuild": all(ending), "note": note, "merged": ends,
        }  # fmt: skip


def damage_tree(nodes: pd.DataFrame, currency: str, caption: str = "", ax: Axes | None = None,
                keep: int = KEEP_ENDS) -> Axes:  # fmt: skip
    """What may be found inside, as a stream that parts from left to right: as wide as it is likely.

    Parameters
    ----------
    nodes
        A row a branch: ``id``, ``parent`` (-1 for the first), ``event``, ``label`` (its outcome),
        ``chance`` given its parent, ``extra_cost`` (expected, of the rebuild) [home money],
        ``ends_rebuild``, ``note`` (may lack).
    currency
        Name of the home money.
    caption
        What to do, said under the chart.
    ax
        Axes to draw in; a new figure without.
    keep
        Most ends to draw; the rarest are merged (fewer if the given axes are low).

    Returns
    -------
    Axes
        The axes drawn in.
    """
    _check(nodes, ["id", "parent", "chance", "extra_cost"])
    margins, title = _Margins(0.0, 0.0, axis=0.0), "What may be found inside, and what it adds to the rebuild"
    own_width = float(np.clip(1.6 + 2.0 * len(set(_depths(_Tree.of(nodes)).values())), WIDTH, WIDE))
    width, height = _slot(ax, own_width)
    stream = _Stream.of(prune(nodes, keep), currency, width)
    room = height - sum(_around(title, caption, width, margins)[2:])
    while ax is not None and stream.height > room and len(stream.tree.ends) > 1:
        stream = _Stream.of(prune(nodes, len(stream.tree.ends) - 1), currency, width)
    ax = _stage(ax, title, caption, stream.height, margins, own_width, least=LOW)
    ax.set_xlim(0.0, stream.width)
    ax.set_xticks([])
    _inches_down(ax, stream.height)
    for depth, event in enumerate(stream.heads):
        _write(ax, (stream.columns[depth] + BEND, stream.head / 2), event, color=QUIET, weight="bold")
    for key in stream.tree.rows:
        _draw_branch(ax, stream, key)
    return ax


BEND, TAIL, STREAM, GAP = 0.26, 0.145, 1.6, 0.08
"""Length of a bend [inch], room for words at the ends [share], width of the stream and gaps [inch]."""


@dataclass(frozen=True)
class _Stream:
    """Where every branch lies, in inches from the top left, and what is said at it."""

    tree: _Tree
    width: float
    height: float
    head: float
    heads: Sequence[str]
    columns: Sequence[float]
    depth: Mapping[int, int]
    middle: Mapping[int, float]
    source: Mapping[int, float]
    words: Mapping[int, str]
    tails: Mapping[int, str]

    @classmethod
    def of(cls, nodes: pd.DataFrame, currency: str, width: float) -> _Stream:
        tree = _Tree.of(nodes)
        depth = _depths(tree)
        many = max(depth.values()) + 1
        columns = _columns(many, width, narrow_first=many > 1 and len(tree.below[-1]) == 1)
        heads = [_only({str(row["event"]) for key, row in tree.rows.items() if depth[key] == level})
                 for level in range(many)]  # fmt: skip
        words, tails = {}, {}
        for key, row in tree.rows.items():
            room = columns[depth[key] + 1] - columns[depth[key]] - _bend(key, tree) - 0.08
            words[key] = _wrap(_branch_words(row, currency, named=not heads[depth[key]]), room, SMALL)
            if not tree.below[key]:
                room = width - columns[depth[key] + 1] - 0.12
                tails[key] = _wrap(_end_words(row, tree.joint[key]), room, SMALL)
        rooms = [right - left - BEND for left, right in pairwise(columns)]
        heads = [_wrap(event, room, SIZE * 1.12) for event, room in zip(heads, rooms, strict=True)]
        head = max(map(_tall, heads)) + 0.08
        reach = {key: _reach(words[key], tails.get(key, ""), STREAM * tree.joint[key]) for key in tree.rows}
        middle, height = _rows_down(tree, reach, head)
        source = _sources(tree, middle)
        return cls(tree, width, height, head, heads, columns, depth, middle, source, words, tails)


def _depths(tree: _Tree) -> dict[int, int]:
    depth, waiting = {-1: -1}, [-1]
    while waiting:
        parent = waiting.pop()
        depth |= dict.fromkeys(tree.below[parent], depth[parent] + 1)
        waiting += tree.below[parent]
    return {key: depth[key] for key in tree.rows}


def _bend(key: int, tree: _Tree) -> float:
    """Length of the bend in which a branch leaves its parent [inch]: the first of all has none."""
    return 0.05 if tree.below[-1] == [key] else BEND


def _columns(many: int, width: float, narrow_first: bool) -> list[float]:
    """Left edges of the columns and the right edge of the last [inch]."""
    shares = np.ones(many)
    if narrow_first:
        shares[0] = 0.5
    edges = np.concatenate([[0.0], np.cumsum(shares / shares.sum())]) * width * (1.0 - TAIL)
    return [float(edge) for edge in edges]


def _only(names: set[str]) -> str:
    return names.pop() if len(names) == 1 else ""


def _branch_words(row: pd.Series[Any], currency: str, named: bool) -> str:
    label, extra = str(row["label"]), float(row["extra_cost"])
    if named and str(row["event"]):
        label = f"{row['event']}: {label}"
    change = f"{_sum(abs(extra), currency)}{NO_BREAK}{'more' if extra > 0 else 'less'}" if extra else ""
    chance = _chance(float(row["chance"]))
    if int(row["parent"]) < 0 and float(row["chance"]) >= 1.0:
        return f"{label}\n{change.replace(NO_BREAK, ' ')}".strip()
    if row["merged"]:
        return f"{label}, together {chance}\n{change}".strip()
    return f"{label}\n{chance}{', ' if change else ''}{change}"


def _end_words(row: pd.Series[Any], joint: float) -> str:
    parts = [] if np.isclose(joint, float(row["chance"])) else [f"in all {_chance(joint)}"]
    if bool(row["ends_rebuild"]):
        parts.append("ends the rebuild")
    note = row.get("note")
    return "\n".join([*parts, note] if isinstance(note, str) and note else parts)


def _halves(text: str) -> tuple[str, str]:
    """The lines that stand above and below a narrow branch."""
    lines = text.split("\n")
    above = (len(lines) + 1) // 2
    return "\n".join(lines[:above]), "\n".join(lines[above:])


def _reach(words: str, tail: str, wide: float) -> tuple[float, float]:
    """Room above and below the middle of a branch of a width for what is said at it [inch]."""
    half, least = wide / 2, _tall(tail) / 2
    above, below = (0.0, 0.0) if wide >= _tall(words) else map(_tall, _halves(words))
    return max(half + above, least), max(half + below, least)


def _rows_down(tree: _Tree, reach: Mapping[int, Place], top: float) -> tuple[dict[int, float], float]:
    """The middle of each branch [inch from the top] and the height of all."""
    middle: dict[int, float] = {}

    def put(key: int, start: float) -> float:
        above, below = reach[key]
        end = start
        for child in tree.below[key]:
            end = put(child, end)
        if not tree.below[key]:
            middle[key] = start + above + GAP / 2
            return middle[key] + below + GAP / 2
        short = max(0.0, above - (end - start) / 2)
        for moved in tree.under_all(key):
            middle[moved] += short
        middle[key] = (start + end) / 2 + short
        return max(end + short, middle[key] + below)

    for first in tree.below[-1]:
        top = put(first, top)
    return middle, top


def _sources(tree: _Tree, middle: Mapping[int, float]) -> dict[int, float]:
    """Where on its parent's end each branch springs: stacked in order, middle of each."""
    source: dict[int, float] = {}
    for parent, children in tree.below.items():
        total = sum(tree.joint[key] for key in children)
        centre = middle[parent] if parent >= 0 else float(np.mean([middle[key] for key in children]))
        at = centre - STREAM * total / 2
        for key in children:
            source[key] = at + STREAM * tree.joint[key] / 2
            at += STREAM * tree.joint[key]
    return source


def _draw_branch(ax: Axes, stream: _Stream, key: int) -> None:
    row, depth, half = stream.tree.rows[key], stream.depth[key], STREAM * stream.tree.joint[key] / 2
    left, right, y = stream.columns[depth], stream.columns[depth + 1], stream.middle[key]
    bend, ends = left + _bend(key, stream.tree), bool(row["ends_rebuild"])
    tint = TURN_TINT if ends else REST_TINT if row["merged"] else MAIN_TINT
    course = _course((left, bend, right), stream.source[key], y, half)
    ax.add_patch(PathPatch(course, facecolor=tint, edgecolor=tint, linewidth=0.8, gid=f"branch {key}"))
    if 2 * half >= _tall(stream.words[key]):
        _write(ax, (bend + 0.05, y), stream.words[key], fontsize=SMALL)
    else:
        above, below = _halves(stream.words[key])
        _write(ax, (bend + 0.05, y - half), above, shift=(0.0, 1.5), va="bottom", fontsize=SMALL)
        _write(ax, (bend + 0.05, y + half), below, shift=(0.0, -1.5), va="top", fontsize=SMALL)
    if not stream.tree.below[key]:
        ink, least = (TURN, MAIN)[not ends], max(half, 0.05)
        ax.plot([right, right], [y - least, y + least], color=ink, linewidth=3.0, solid_capstyle="butt")
        _write(ax, (right + 0.08, y), stream.tails[key], color=TURN_DARK if ends else QUIET, fontsize=SMALL)


def _course(across: tuple[float, float, float], start: float, end: float, half: float) -> Path:
    """The outline of a branch: a bend from one height to another, then straight on."""
    left, bend, right = across
    turn = (left + bend) / 2
    high, low = start - half, end - half
    upper = [(left, high), (turn, high), (turn, low), (bend, low), (right, low)]
    lower = [(x, y + 2 * half) for x, y in reversed(upper)]
    curve, line = 3 * [Path.CURVE4], Path.LINETO
    return Path([*upper, *lower, upper[0]], [Path.MOVETO, *curve, line, line, line, *curve, line])


# ---------------------------------------------------------------- where the choice turns
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
    _check(frame, ["value_now", "low", "high"])
    width = _slot(ax)[0]
    margins = _Margins(left=0.36 * width, right=0.15 * width, axis=0.0)
    names = [_wrap(str(name), 0.22 * width) for name in frame["number"]]
    heights = [max(_tall(name), 3.0 * LINE) + 0.2 for name in names]
    ax = _stage(ax, "Where the choice turns", caption, sum(heights), margins, least=LOW)
    ax.set_xlim(0.0, 1.0)
    ax.set_xticks([])
    _inches_down(ax, sum(heights))
    top = 0.0
    for (_, row), name, height in zip(frame.iterrows(), names, heights, strict=True):
        _write(ax, (0.0, top + height / 2), name, ("axes fraction", "data"),
               (-72.0 * margins.left, 0.0), weight="bold")  # fmt: skip
        _flip_line(ax, row, top + height / 2, currency)
        top += height
    return ax


def _flip_line(ax: Axes, row: pd.Series[Any], y: float, currency: str) -> None:
    """One number's range, its value now (above) and where the choice turns (below)."""
    unit, name = str(row["unit"]), str(row["number"])

    def say(value: float) -> str:
        return _with_unit(value, unit, currency)

    now, turn = _share(row, "value_now"), _share(row, "value_flip")
    line: dict[str, Any] = {"linewidth": 7.0, "solid_capstyle": "butt", "zorder": 2, "clip_on": False}
    ax.plot([0.0, 1.0], [y, y], color=MAIN_TINT, gid=f"range {name}", **line)
    beside = ("axes fraction", "data")
    _write(ax, (0.0, y), say(float(row["low"])), beside, (-8.0, 0.0), ha="right", color=QUIET)
    _write(ax, (1.0, y), say(float(row["high"])), beside, (8.0, 0.0), color=QUIET)
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
    fig = ax.get_figure(root=True)
    assert fig is not None
    half = _inches(text) * fig.dpi / ax.bbox.width / 2
    x = float(np.clip(share, half, max(half, 1.0 - half)))
    _write(ax, (x, y), text, "data", (0.0, side * 14.0), ha="center", color=ink)


def _with_unit(value: float, unit: str, currency: str) -> str:
    if unit in ("day", "days"):
        return days_words(value)
    if unit in ("chance", "in 100"):
        return _chance(value)
    return _sum(value, currency) if unit == currency else measured(value, unit)


# ---------------------------------------------------------------- handing a chart on
def save_png(fig: Figure, dpi: float = 100.0) -> bytes:
    """The figure as a PNG file, the same bytes for the same chart; nothing is cut off."""
    buffer, nameless = io.BytesIO(), {"Software": None}
    fig.savefig(buffer, format="png", dpi=dpi, bbox_inches="tight", pad_inches=EDGE, metadata=nameless)
    return buffer.getvalue()


def alt_text(ax: Axes) -> str:
    """Title and caption of a chart in one line, for readers who cannot see it."""
    title = ax.get_title(loc="left") or ax.get_title()
    captions = [text.get_text() for text in ax.texts if text.get_gid() == "caption"]
    sentences = [" ".join(part.split()) for part in (title, *captions) if part]
    return " ".join(said if said[-1] in ".!?" else f"{said}." for said in sentences)


def show(ax: Axes) -> None:
    """Put a chart on a notebook's page, with the words that stand for it where it cannot be seen."""
    from IPython.display import Image, display

    fig = ax.figure.get_figure(root=True) if hasattr(ax.figure, "get_figure") else ax.figure
    assert isinstance(fig, Figure)
    display(Image(save_png(fig)), metadata={"image/png": {"alt": alt_text(ax)}})
    plt.close(fig)
