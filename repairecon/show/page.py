"""The page a chart stands on: its place, title, caption, scales, and handing it on."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator
from matplotlib.transforms import Bbox

from repairecon.show.text import (
    EDGE,
    HEIGHT,
    INK,
    LINE,
    PALE,
    QUIET,
    SIZE,
    TITLE_SIZE,
    WIDTH,
    inches,
    tall,
    wrap,
    write,
)

COLOURS = 96


def figure_of(ax: Axes) -> Figure:
    """The whole figure that axes stand in."""
    fig = ax.get_figure(root=True)
    assert fig is not None
    return fig


def slot(ax: Axes | None, width: float = WIDTH) -> tuple[float, float]:
    """Width and height [inch] of the place a chart may fill; height 0 when it may choose."""
    if ax is None:
        return width - 2 * EDGE, 0.0
    box, fig = _slot_box(ax), figure_of(ax)
    return box.width * fig.get_figwidth(), box.height * fig.get_figheight()


def _slot_box(ax: Axes) -> Bbox:
    """The place of the axes before any chart was drawn in it, in shares of the figure."""
    spec = ax.get_subplotspec()
    return ax.get_position() if spec is None else spec.get_position(figure_of(ax))


@dataclass(frozen=True)
class Margins:
    """Room round the plot itself [inch]."""

    left: float
    right: float
    axis: float = 0.5
    top: float = 0.0


def framing(title: str, caption: str, width: float, margins: Margins) -> tuple[str, str, float, float]:
    """Wrapped title and caption, and the room above and below the plot [inch]."""
    title, caption = wrap(title, width * 0.9, TITLE_SIZE), wrap(caption, width)
    above = margins.top + 0.14 + (title.count("\n") + 1) * TITLE_SIZE * 1.3 / 72.0
    below = margins.axis + (tall(caption) + 0.14 if caption else 0.0)
    return title, caption, above, below


def stage(ax: Axes | None, title: str, caption: str, plot_height: float, margins: Margins,
           width: float = WIDTH, least: float = HEIGHT) -> Axes:  # fmt: skip
    """Axes with title and caption; the plot itself at least ``plot_height`` if the figure is ours."""
    slot_width = slot(ax, width)[0]
    title, caption, above, below = framing(title, caption, slot_width, margins)
    if ax is None:
        height = max(least, plot_height + above + below + 2 * EDGE)
        fig = plt.figure(figsize=(width, height), dpi=100, facecolor="white")
        x, y = EDGE / width, EDGE / height
        ax = fig.add_subplot(fig.add_gridspec(1, 1, left=x, right=1 - x, bottom=y, top=1 - y)[0])
    box = _slot_box(ax)
    across, up = slot_width / box.width, slot(ax)[1] / box.height
    bottom, upper = box.y0 + below / up, box.y1 - above / up
    bottom = min(bottom, upper - 0.2 * box.height)
    inner = Bbox([[box.x0 + margins.left / across, bottom], [box.x1 - margins.right / across, upper]])
    ax.set_position(inner)
    for side in ("top", "right", "left", "bottom"):
        ax.spines[side].set_visible(False)
    ax.tick_params(length=0, labelsize=SIZE, labelcolor=QUIET, pad=6.0)
    start = -margins.left / (inner.width * across)
    ax.set_title(title, loc="left", x=start, pad=6.0 + 72.0 * margins.top, fontsize=TITLE_SIZE, weight="bold",
                 color=INK, parse_math=False)  # fmt: skip
    if caption:
        shift = (0.0, -72.0 * (margins.axis + 0.08))
        write(ax, (start, 0.0), caption, "axes fraction", shift, va="top", gid="caption")
    return ax


def plot_room(ax: Axes | None, title: str, caption: str, plot_height: float, margins: Margins,
              width: float = WIDTH, least: float = HEIGHT) -> tuple[float, float]:  # fmt: skip
    """Width and height [inch] of the plot itself that ``stage`` will make of the same arguments."""
    across, up = slot(ax, width)
    _, _, above, below = framing(title, caption, across, margins)
    whole = up or max(least - 2 * EDGE, plot_height + above + below)
    return across - margins.left - margins.right, max(whole - above - below, 0.2 * whole)


def check(frame: pd.DataFrame, columns: Sequence[str], words: Sequence[str] = ()) -> None:
    """Refuse a frame that lacks a column (of numbers or words) or a number, or has no row."""
    missing = [name for name in (*words, *columns) if name not in frame.columns]
    if missing:
        raise ValueError(f"the frame lacks {', '.join(missing)}")
    if frame.empty:
        raise ValueError("the frame has no rows: there is nothing to draw")
    for name in columns:
        wrong = ~np.isfinite(frame[name].to_numpy(dtype=float))
        if wrong.any():
            raise ValueError(f"{name} of {frame.index[wrong][0]} is not a number")


def limits(values: Iterable[float], zero_share: float = 0.6) -> tuple[float, float]:
    """Axis limits round the values; zero is taken in unless all lie far from it."""
    given = np.asarray(list(values), dtype=float)
    low, high = float(given.min()), float(given.max())
    if 0.0 < low < zero_share * high:
        low = 0.0
    if zero_share * low < high < 0.0:
        high = 0.0
    pad = 0.04 * (high - low) if high > low else (0.1 * abs(high) or 1.0)
    return (low if low == 0.0 < high else low - pad), (high if high == 0.0 > low else high + pad)


def once(frame: pd.DataFrame, name: str, at: str) -> None:
    """Refuse a frame that says two things of the same name and place."""
    twice = frame.duplicated([name, at])
    if twice.any():
        raise ValueError(f"{name} {frame[name][twice].iloc[0]} stands twice at the same {at}")


def ticks(ax: Axes, axis: Literal["x", "y"], say: Callable[[float], str], integer: bool = False) -> None:
    """Round ticks with as many labels as there is room for, each label once, and a faint grid."""
    low, high = ax.get_xlim() if axis == "x" else ax.get_ylim()
    fig = figure_of(ax)
    room = (ax.bbox.width if axis == "x" else ax.bbox.height) / fig.dpi
    for many in range(8, 0, -1):
        locator = MaxNLocator(many, steps=[1, 2, 5, 10], integer=integer)
        found = [float(v) for v in locator.tick_values(low, high)]
        labels = {say(v): v for v in reversed(found) if low <= v <= high}
        need = max((inches(text) + 0.2 if axis == "x" else 2 * LINE for text in labels), default=0.0)
        if need * len(labels) <= room:
            break
    set_ticks = ax.set_xticks if axis == "x" else ax.set_yticks
    set_ticks(list(labels.values()), list(labels), parse_math=False)
    ax.grid(True, axis=axis, color=PALE, linewidth=0.8)
    ax.set_axisbelow(True)
    if low < 0.0 < high:
        (ax.axvline if axis == "x" else ax.axhline)(0.0, color=QUIET, linewidth=1.0, zorder=1)


def inches_down(ax: Axes, total: float) -> None:
    """An up-and-down axis in inches from the top, content in the middle; squeezed if there is no room."""
    fig = figure_of(ax)
    spare = max(0.0, ax.bbox.height / fig.dpi - total) / 2
    ax.set_ylim(total + spare, -spare)
    ax.set_yticks([])


def axis_label(ax: Axes, axis: Literal["x", "y"], text: str) -> None:
    label = ax.set_xlabel if axis == "x" else ax.set_ylabel
    label(text, fontsize=SIZE, color=QUIET, parse_math=False)


def error_of(row: pd.Series[Any], column: str) -> float:
    """The standard error of a sampled figure; 0 if the frame does not tell."""
    return float(row[column]) if column in row.index else 0.0


def may_be_chosen(row: pd.Series[Any]) -> bool:
    return bool(row["allowed"]) if "allowed" in row.index else True


def save_png(fig: Figure, dpi: float = 100.0) -> bytes:
    """The figure as a small PNG file, the same bytes for the same chart; nothing is cut off."""
    from PIL import Image

    buffer, small, nameless = io.BytesIO(), io.BytesIO(), {"Software": None}
    fig.savefig(buffer, format="png", dpi=dpi, bbox_inches="tight", pad_inches=EDGE, metadata=nameless)
    with Image.open(buffer) as picture:
        few = picture.convert("RGB").convert(
            "P", palette=Image.Palette.ADAPTIVE, colors=COLOURS, dither=Image.Dither.NONE
        )
        few.save(small, format="png", optimize=True)
    return small.getvalue()


def alt_text(ax: Axes) -> str:
    """Title and caption of a chart in one line, for readers who cannot see it."""
    title = ax.get_title(loc="left") or ax.get_title()
    captions = [text.get_text() for text in ax.texts if text.get_gid() == "caption"]
    sentences = [" ".join(part.split()) for part in (title, *captions) if part]
    return " ".join(said if said[-1] in ".!?" else f"{said}." for said in sentences)


def show(ax: Axes) -> None:
    """Put a chart on a notebook's page, with the words that stand for it where it cannot be seen."""
    from IPython.display import Image, display

    fig = figure_of(ax)
    display(Image(save_png(fig)), metadata={"image/png": {"alt": alt_text(ax)}})
    plt.close(fig)
