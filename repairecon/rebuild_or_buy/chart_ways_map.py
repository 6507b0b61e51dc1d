"""Which way is cheapest where: a map over two numbers with the case in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.colors import ListedColormap

from repairecon.show.map_names import FINE, Names, Standing
from repairecon.show.page import Margins, axis_label, plot_room, slot, stage, ticks
from repairecon.show.text import MAIN_TINT, QUIET, TURN_TINT, Place, inches, with_unit, wrap

TITLE, TALL = "Which way is cheapest, and where the case stands", 3.6
"""Title and height of the plot [inch]."""
TINTS = (MAIN_TINT, TURN_TINT, "#dcead0", "#e6d9ef", "#dfe3e7", "#f6edbb", "#f4d5dd", "#cfe8e4", "#ded3c8")
Floats = np.ndarray[Any, np.dtype[np.float64]]


def best_way_map(frame: pd.DataFrame, currency: str, caption: str = "", ax: Axes | None = None) -> Axes:
    """Two numbers against each other: areas where each way is the cheapest, and the case as it stands.

    Parameters
    ----------
    frame
        Cells: name of the cheapest way at a value of one number (columns) and one of another
        (index). ``frame.attrs`` holds ``"x"`` and ``"y"``: name of the number, its unit ("days",
        "chance", the currency or any other), its value now.
    currency
        Name of the home money.
    caption
        What to do, said under the chart.
    ax
        Axes to draw in; a new figure without.

    Returns
    -------
    Axes
        The axes drawn in; the way that is cheapest where the case stands has the first colour.
    """
    land, across, up = _Land.of(frame), _Scale.of(frame, "x"), _Scale.of(frame, "y")
    width = slot(ax)[0]
    left = 0.5 + max(inches(up.say(float(y), currency)) for y in land.y_edges)
    margins = Margins(min(left, 0.3 * width), 0.25, 0.55, 0.08)
    names = _laid_out(land, (across, up), currency, caption, ax, margins)
    if names.outside:
        margins = replace(margins, right=0.2 * width)
        names = _laid_out(land, (across, up), currency, caption, ax, margins)
    ax = stage(ax, TITLE, caption, TALL, margins)
    ax.set_xlim(land.x_edges[0], land.x_edges[-1])
    ax.set_ylim(land.y_edges[0], land.y_edges[-1])
    ticks(ax, "x", lambda v: across.say(v, currency))
    ticks(ax, "y", lambda v: up.say(v, currency))
    axis_label(ax, "x", wrap(across.name, names.room[0]))
    axis_label(ax, "y", wrap(up.name, names.room[1]))
    _areas(ax, land, land.cell(across.now, up.now))
    names.write(ax, margins.right)
    return ax


@dataclass(frozen=True)
class _Scale:
    """One of the two numbers: its name, unit and value now."""

    name: str
    unit: str
    now: float

    @classmethod
    def of(cls, frame: pd.DataFrame, axis: str) -> _Scale:
        if axis not in frame.attrs:
            raise ValueError(f'the frame lacks attrs["{axis}"]: (name, unit, value now)')
        name, unit, now = frame.attrs[axis]
        if not np.isfinite(float(now)):
            raise ValueError(f"the value of {name} now is not a number")
        return cls(str(name), str(unit), float(now))

    def say(self, value: float, currency: str) -> str:
        return with_unit(value, self.unit, currency)


@dataclass(frozen=True)
class _Land:
    """Which way (a number) is cheapest in each cell, lowest row first, and where the cells end."""

    ways: Sequence[str]
    codes: np.ndarray[Any, Any]
    x_edges: Floats
    y_edges: Floats

    @classmethod
    def of(cls, frame: pd.DataFrame) -> _Land:
        if frame.empty:
            raise ValueError("the frame has no cells: there is nothing to draw")
        xs, ys = _values(frame.columns, "columns"), _values(frame.index, "rows")
        cells = frame.to_numpy()[np.ix_(np.argsort(ys), np.argsort(xs))]
        if pd.isna(cells).any():
            raise ValueError("some cells of the frame name no way")
        ways, codes = np.unique(cells.astype(str), return_inverse=True)
        return cls([str(way) for way in ways], codes.reshape(cells.shape), _edges(np.sort(xs)), _edges(np.sort(ys)))

    def cell(self, x: float, y: float) -> tuple[int, int]:
        """Row and column of the cell at, or nearest to, a place."""
        return _in_which(self.y_edges, np.array([y]))[0], _in_which(self.x_edges, np.array([x]))[0]

    def raster(self, room: Place) -> np.ndarray[Any, Any]:
        """The map as it fills a plot [inch], in cells of the fine raster."""
        columns, rows = (max(1, int(side * FINE)) for side in room)
        x, y = (np.arange(many) + 0.5 for many in (columns, rows))
        across = self.x_edges[0] + x / columns * (self.x_edges[-1] - self.x_edges[0])
        up = self.y_edges[0] + y / rows * (self.y_edges[-1] - self.y_edges[0])
        found: np.ndarray[Any, Any] = self.codes[np.ix_(_in_which(self.y_edges, up), _in_which(self.x_edges, across))]
        return found


def _values(labels: pd.Index[Any], what: str) -> Floats:
    """The values along one side, each a number and there once."""
    values: Floats = pd.to_numeric(pd.Series(labels), errors="coerce").to_numpy(dtype=float)
    if not np.isfinite(values).all() or len(np.unique(values)) < len(values):
        raise ValueError(f"the {what} of the frame are not numbers that each stand once")
    return values


def _edges(values: Floats) -> Floats:
    """Where the cells end: half-way to the next value; the outermost end at their own value."""
    if len(values) == 1:
        half = 0.05 * abs(values[0]) or 0.5
        return np.array([values[0] - half, values[0] + half])
    edges: Floats = np.concatenate([values[:1], (values[1:] + values[:-1]) / 2, values[-1:]])
    return edges


def _in_which(edges: Floats, at: Floats) -> np.ndarray[Any, Any]:
    inside: np.ndarray[Any, Any] = np.clip(np.searchsorted(edges, at, side="right") - 1, 0, len(edges) - 2)
    return inside


def _laid_out(land: _Land, scales: tuple[_Scale, _Scale], currency: str, caption: str, ax: Axes | None,
              margins: Margins) -> Names:  # fmt: skip
    """The names as they find room in a plot of these margins."""
    room = plot_room(ax, TITLE, caption, TALL, margins)
    sides, words = (land.x_edges, land.y_edges), ", ".join(one.say(one.now, currency) for one in scales)
    shares = [(one.now - side[0]) / (side[-1] - side[0]) for one, side in zip(scales, sides, strict=True)]
    on_map = all(0.0 <= share <= 1.0 for share in shares)
    x, y = (float(np.clip(share, 0.0, 1.0)) for share in shares)
    case = Standing((x, y), on_map, f"{'now' if on_map else 'now, off the map:'}\n{words}")
    return Names.of(land.raster(room), land.ways, room, case)


def _areas(ax: Axes, land: _Land, now: tuple[int, int]) -> None:
    """The cells in the colours of their ways, and a line where one area ends and the next begins."""
    first, many = land.codes[now], np.bincount(land.codes.ravel(), minlength=len(land.ways))
    order = sorted(range(len(land.ways)), key=lambda code: (code != first, -many[code]))
    tints = [TINTS[order.index(code) % len(TINTS)] for code in range(len(land.ways))]
    ax.pcolormesh(land.x_edges, land.y_edges, land.codes, cmap=ListedColormap(tints), vmin=-0.5,
                  vmax=len(tints) - 0.5, zorder=1.5, gid="map")  # fmt: skip
    upright = [((land.x_edges[c + 1], land.y_edges[r]), (land.x_edges[c + 1], land.y_edges[r + 1]))
               for r, c in np.argwhere(land.codes[:, 1:] != land.codes[:, :-1])]  # fmt: skip
    level = [((land.x_edges[c], land.y_edges[r + 1]), (land.x_edges[c + 1], land.y_edges[r + 1]))
             for r, c in np.argwhere(land.codes[1:] != land.codes[:-1])]  # fmt: skip
    borders = LineCollection([*upright, *level], colors=QUIET, linewidths=1.0, zorder=2, capstyle="projecting")
    ax.add_collection(borders, autolim=False)
