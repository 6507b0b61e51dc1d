"""What all charts share: colours and letters, the page a chart stands on, axes and rows, handing it on."""

from __future__ import annotations

import base64
import io
from collections.abc import Callable, Collection, Iterable, Sequence
from functools import cached_property, lru_cache
from typing import Any, Literal, NamedTuple

import matplotlib.pyplot as plt
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.patches import Rectangle
from matplotlib.patheffects import withStroke
from matplotlib.text import Text
from matplotlib.textpath import text_to_path
from matplotlib.ticker import MaxNLocator
from matplotlib.transforms import Bbox

from repairecon.show.words import chance_words, money

INK, QUIET, PALE = "#22303c", "#5f6b75", "#d5dbe0"
MAIN, TURN, TURN_DARK = "#1f6fa8", "#c86a10", "#8f4a06"
MAIN_TINT, TURN_TINT, REST_TINT = "#cbe1f0", "#f8d9b0", "#e4e8eb"
LINES = ("#1f6fa8", "#c86a10", "#22303c", "#8a4f9e", "#2585ad", "#846a06", "#68747d", "#b5567f", "#5b4636")
DASHES = ("solid", (0, (6, 2)), (0, (2, 1.5)))
SIZE, SMALL, TITLE_SIZE = 9.5, 9.0, 12.0
LINE = SIZE * 1.3 / 72.0  # height of a line of text, inches
WIDTH, NARROW, HEIGHT, LOW, EDGE, COLOURS = 9.0, 4.8, 4.5, 2.5, 0.12, 96
NO_BREAK = "\u00a0"
HALO = (withStroke(linewidth=2.5, foreground="white"),)  # keeps text legible over lines

BESIDE = ("axes fraction", "data")
"""Where words beside a row of a chart stand: across in shares of the plot, up and down as the row."""

Place = tuple[float, float]


@lru_cache(maxsize=4096)
def inches(text: str, size: float = SIZE) -> float:
    """Width of one line of text [inch]."""
    if not text:
        return 0.0
    font = FontProperties(size=size)
    return 1.03 * float(text_to_path.get_text_width_height_descent(text, font, False)[0]) / 72.0


def _pieces(word: str, width: float, size: float) -> Iterable[str]:
    """A word cut into pieces no wider than ``width``, where it holds together least."""
    if NO_BREAK in word and inches(word, size) > width:
        for part in word.split(NO_BREAK):
            yield from _pieces(part, width, size)
        return
    piece = ""
    for letter in word:
        if piece and inches(piece + letter, size) > width:
            yield piece
            piece = ""
        piece += letter
    yield piece


def wrap(text: str, width: float, size: float = SIZE) -> str:
    """Text broken into lines no wider than ``width`` [inch]; line breaks in it stay."""
    lines: list[str] = []
    for paragraph in text.split("\n"):
        line = ""
        for word in paragraph.split(" "):
            for piece in _pieces(word, width, size):
                longer = f"{line} {piece}".strip()
                if line and inches(longer, size) > width:
                    lines.append(line)
                    line = piece
                else:
                    line = longer
        lines.append(line)
    return "\n".join(lines)


def money_said(amount: float, currency: str, se: float = 0.0) -> str:
    """An amount that is never broken over two lines, with the digits that its standard error supports."""
    return money(amount, currency, se).replace(" ", NO_BREAK)


def chance_said(p: float) -> str:
    return chance_words(p).replace(" ", NO_BREAK)


def tall(text: str) -> float:
    """Height of a block of text [inch]."""
    return LINE * (text.count("\n") + 1) if text else 0.0


def write(ax: Axes, at: Place, text: str, coords: Any = "data", shift: Place = (0.0, 0.0), **style: Any) -> Text:
    """Text at a place, shifted by points; a dollar sign in it is only a dollar sign."""
    look: dict[str, Any] = {"fontsize": SIZE, "color": INK, "linespacing": 1.15, "va": "center", "ha": "left"}
    look |= style
    return ax.annotate(
        text, at, xycoords=coords, xytext=shift, textcoords="offset points",
        annotation_clip=False, parse_math=False, **look,
    )  # fmt: skip


def figure_of(ax: Axes) -> Figure:
    fig = ax.get_figure(root=True)
    assert fig is not None
    return fig


def slot(ax: Axes | None) -> tuple[float, float]:
    """Width and height [inch] of the place a chart may fill; height 0 when it may choose."""
    if ax is None:
        return WIDTH - 2 * EDGE, 0.0
    box, fig = _slot_box(ax), figure_of(ax)
    return box.width * fig.get_figwidth(), box.height * fig.get_figheight()


def _slot_box(ax: Axes) -> Bbox:
    """The place of the axes before any chart was drawn in it, in shares of the figure."""
    spec = ax.get_subplotspec()
    return ax.get_position() if spec is None else spec.get_position(figure_of(ax))


class Margins(NamedTuple):
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


def stage(
    ax: Axes | None, title: str, caption: str, plot_height: float, margins: Margins, least: float = HEIGHT
) -> Axes:
    """Axes with title and caption; the plot itself at least ``plot_height`` if the figure is ours."""
    slot_width = slot(ax)[0]
    title, caption, above, below = framing(title, caption, slot_width, margins)
    if ax is None:
        height = max(least, plot_height + above + below + 2 * EDGE)
        fig = plt.figure(figsize=(WIDTH, height), dpi=100, facecolor="white")
        x, y = EDGE / WIDTH, EDGE / height
        ax = fig.add_subplot(fig.add_gridspec(1, 1, left=x, right=1 - x, bottom=y, top=1 - y)[0])
    box = _slot_box(ax)
    across, up = slot_width / box.width, slot(ax)[1] / box.height
    upper = box.y1 - above / up
    bottom = min(box.y0 + below / up, upper - 0.2 * box.height)
    inner = Bbox([[box.x0 + margins.left / across, bottom], [box.x1 - margins.right / across, upper]])
    ax.set_position(inner)
    ax.spines[:].set_visible(False)
    ax.tick_params(length=0, labelsize=SIZE, labelcolor=QUIET, pad=6.0)
    start = -margins.left / (inner.width * across)
    ax.set_title(title, loc="left", x=start, pad=6.0 + 72.0 * margins.top, fontsize=TITLE_SIZE, weight="bold",
                 color=INK, parse_math=False)  # fmt: skip
    if caption:
        shift = (0.0, -72.0 * (margins.axis + 0.08))
        write(ax, (start, 0.0), caption, "axes fraction", shift, va="top", gid="caption")
    return ax


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


def ticks(ax: Axes, axis: Literal["x", "y"], say: Callable[[float], str], integer: bool = False) -> None:
    """Round ticks with as many labels as there is room for, each label once, and a faint grid."""
    across, up = (ax.xaxis, ax.axvline, ax.bbox.width), (ax.yaxis, ax.axhline, ax.bbox.height)
    side, line, length = across if axis == "x" else up
    (low, high), room = sorted(side.get_view_interval()), length / figure_of(ax).dpi
    for many in range(8, 0, -1):
        locator = MaxNLocator(many, steps=[1, 2, 5, 10], integer=integer)
        labels = {say(float(v)): v for v in locator.tick_values(low, high)[::-1] if low <= v <= high}
        need = max((inches(text) + 0.2 if axis == "x" else 2 * LINE for text in labels), default=0.0)
        if need * len(labels) <= room:
            break
    side.set_ticks(list(labels.values()), list(labels), parse_math=False)
    ax.grid(True, axis=axis, color=PALE, linewidth=0.8)
    ax.set_axisbelow(True)
    if low < 0.0 < high:
        line(0.0, color=QUIET, linewidth=1.0, zorder=1)


def money_ticks(ax: Axes, axis: Literal["x", "y"], currency: str) -> None:
    ticks(ax, axis, lambda v: money_said(v, currency))


def per_inch(ax: Axes) -> float:
    low, high = ax.get_xlim()
    return figure_of(ax).dpi / ax.bbox.width * (high - low)


def name_rows(
    ax: Axes | None, title: str, caption: str, names: Sequence[object], margins: Margins, *,
    row: float | Sequence[float] = 0.3, least: float = LOW, bold: Collection[int] = (),
) -> tuple[Axes, list[float]]:  # fmt: skip
    """Axes with a name a row from the top, at least ``row`` [inch] each; and the middle of each row [inch down]."""
    said = [wrap(str(name), margins.left - 0.15) for name in names]
    heights = np.maximum([tall(name) + 0.1 for name in said], row)
    total = float(heights.sum())
    ax = stage(ax, title, caption, total, margins, least)
    # up and down in inches from the top, content in the middle; squeezed if there is no room
    spare = max(0.0, ax.bbox.height / figure_of(ax).dpi - total) / 2
    ax.set_ylim(total + spare, -spare)
    ax.set_yticks([])
    middles = (np.cumsum(heights) - heights / 2).tolist()
    for k, (name, y) in enumerate(zip(said, middles, strict=True)):
        write(ax, (0.0, y), name, BESIDE, (-9.0, 0.0), ha="right", weight="bold" if k in bold else "normal")
    return ax, middles


def bar_rows(
    bars: Sequence[tuple[str, float, str]], title: str, caption: str, currency: str, ax: Axes | None = None
) -> Axes:
    """A bar a row from the top: its name, its length [home money] and what is said beside it after that."""
    width = slot(ax)[0]
    margins = Margins(left=0.25 * width, right=0.27 * width, axis=0.3)
    ax, middles = name_rows(ax, title, caption, [name for name, _, _ in bars], margins, row=0.42, least=2.0)
    ax.set_xlim(0.0, 1.03 * max(length for _, length, _ in bars) or 1.0)
    money_ticks(ax, "x", currency)
    for y, (name, length, said) in zip(middles, bars, strict=True):
        ax.add_patch(Rectangle((0.0, y - 0.13), length, 0.26, facecolor=MAIN, zorder=2, gid=f"bar {name}"))
        text = f"{money_said(length, currency)}; {said}"
        write(ax, (1.0, y), wrap(text, margins.right - 0.2), BESIDE, (9.0, 0.0))
    return ax


def axis_label(ax: Axes, axis: Literal["x", "y"], text: str) -> None:
    (ax.set_xlabel if axis == "x" else ax.set_ylabel)(text, fontsize=SIZE, color=QUIET, parse_math=False)


def save_png(fig: Figure, dpi: float = 100.0) -> bytes:
    """The figure as a small PNG file, the same bytes for the same chart; nothing is cut off."""
    from PIL import Image

    buffer, small, nameless = io.BytesIO(), io.BytesIO(), {"Software": None}
    fig.savefig(buffer, format="png", dpi=dpi, bbox_inches="tight", pad_inches=EDGE, metadata=nameless)
    with Image.open(buffer) as picture:
        few, plain = Image.Palette.ADAPTIVE, Image.Dither.NONE
        indexed = picture.convert("RGB").convert("P", palette=few, colors=COLOURS, dither=plain)
        indexed.save(small, format="png", optimize=True)
    return small.getvalue()


def alt_text(ax: Axes) -> str:
    """Title and caption of a chart in one line, for readers who cannot see it."""
    captions = [text.get_text() for text in ax.texts if text.get_gid() == "caption"]
    sentences = [" ".join(part.split()) for part in (ax.get_title(loc="left"), *captions)]
    return " ".join(said if said[-1] in ".!?" else f"{said}." for said in sentences)


def drawn(ax: Axes, dpi: float = 100.0) -> tuple[bytes, str]:
    """A chart as a PNG file with the words that stand for it; its figure is closed."""
    made = save_png(figure_of(ax), dpi), alt_text(ax)
    plt.close(figure_of(ax))
    return made


def show(ax: Axes) -> None:
    """Put a chart on a notebook's page, with the words that stand for it where it cannot be seen."""
    from IPython.display import Image, display

    png, alt = drawn(ax)
    display(Image(png), metadata={"image/png": {"alt": alt}})


def end_margin(width: float) -> float:
    return max(0.24 * width, min(2.2, 0.33 * width))


class Picture:
    """A chart with its words, drawn when it is first asked for. ``draw`` takes axes, or None for its own
    size; NARROW wide it is ``height`` high [inch]."""

    def __init__(self, draw: Callable[[Axes | None], Axes], height: float) -> None:
        self.draw, self._height = draw, height

    @cached_property
    def _own(self) -> tuple[bytes, str]:
        return drawn(self.draw(None))

    @property
    def alt(self) -> str:
        return self._own[1]

    @property
    def wide(self) -> str:
        return base64.b64encode(self._own[0]).decode("ascii")

    @cached_property
    def narrow(self) -> str:
        fig = plt.figure(figsize=(NARROW, self._height), dpi=100, facecolor="white")
        ax = fig.add_subplot(fig.add_gridspec(1, 1, left=0.0, right=1.0, bottom=0.0, top=1.0)[0])
        return base64.b64encode(drawn(self.draw(ax))[0]).decode("ascii")

    def _repr_mimebundle_(self, **_: object) -> tuple[dict[str, str], dict[str, dict[str, str]]]:
        return {"image/png": self.wide}, {"image/png": {"alt": self.alt}}
