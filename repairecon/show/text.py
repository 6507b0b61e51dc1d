"""Colours, sizes and letters: what text looks like and how much room it takes."""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from typing import Any

from matplotlib.axes import Axes
from matplotlib.font_manager import FontProperties
from matplotlib.patheffects import withStroke
from matplotlib.text import Text
from matplotlib.textpath import text_to_path

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
NO_BREAK = "\u00a0"
HALO = (withStroke(linewidth=2.5, foreground="white"),)
"""Keeps text legible over lines."""

Place = tuple[float, float]


@lru_cache(maxsize=4096)
def inches(text: str, size: float = SIZE, weight: str = "normal") -> float:
    """Width of one line of text [inch]."""
    if not text:
        return 0.0
    font = FontProperties(size=size, weight=weight)
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
    """A chance that is never broken over two lines."""
    return chance_words(p).replace(" ", NO_BREAK)


def tall(text: str) -> float:
    """Height of a block of text [inch]."""
    return LINE * (text.count("\n") + 1) if text else 0.0


def with_unit(value: float, unit: str, currency: str) -> str:
    if unit in ("day", "days"):
        return days_words(value)
    if unit in ("chance", "in 100"):
        return chance_said(value)
    return money_said(value, currency) if unit == currency else measured(value, unit)


def write(ax: Axes, at: Place, text: str, coords: Any = "data", shift: Place = (0.0, 0.0),
           **style: Any) -> Text:  # fmt: skip
    """Text at a place, shifted by points; a dollar sign in it is only a dollar sign."""
    look: dict[str, Any] = {"fontsize": SIZE, "color": INK, "linespacing": 1.15, "va": "center", "ha": "left"}
    look |= style
    return ax.annotate(
        text, at, xycoords=coords, xytext=shift, textcoords="offset points",
        annotation_clip=False, parse_math=False, **look,
    )  # fmt: skip
