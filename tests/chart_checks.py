"""What every chart's tests look at: its texts, whether they cover each other, its parts by name."""

from __future__ import annotations

from itertools import combinations
from typing import Any

from matplotlib.axes import Axes
from matplotlib.text import Text
from matplotlib.transforms import Bbox

WAYS = [
    "rebuild here", "send away", "exchange unit", "new (maker)", "new (pattern)", "second-hand",
    "buy now and rebuild the old one as spare", "rebuild here and carry a bought spare besides",
    'machine shop "$x^2$" with a shaft built up and ground',
]  # fmt: skip
CAPTION = "Order the exchange unit if the boat must sail within two weeks; else strip the old one first. " * 2
BAD_FORMULA = r"cost $\nosuch{ $ and $x^2$"
"""A name that would raise when drawn if it were read as a formula."""


def by_gid(ax: Axes, gid: str) -> Any:
    found = ax.findobj(lambda artist: artist.get_gid() == gid)
    assert len(found) == 1, gid
    return found[0]


def named(ax: Axes, start: str) -> list[str]:
    """Names of the parts that begin so."""
    gids = [artist.get_gid() or "" for artist in ax.findobj()]
    return [gid.removeprefix(start) for gid in gids if gid.startswith(start)]


def texts(ax: Axes) -> list[Text]:
    ticks = (*ax.get_xticklabels(), *ax.get_yticklabels())
    rest = [ax._left_title, ax.xaxis.label, ax.yaxis.label]  # type: ignore[attr-defined]
    return [text for text in (*ax.texts, *ticks, *rest) if text.get_text().strip() and text.get_visible()]


def boxes(ax: Axes) -> list[tuple[str, Bbox]]:
    ax.figure.draw_without_rendering()
    return [(text.get_text().replace("\xa0", " "), text.get_window_extent()) for text in texts(ax)]


def overlapping(found: list[tuple[str, Bbox]]) -> list[tuple[str, str]]:
    """Pairs of texts that cover each other by more than a pixel."""
    return [(a, b) for (a, first), (b, second) in combinations(found, 2) if first.padded(-1).overlaps(second)]


def outside(found: list[tuple[str, Bbox]], place: Bbox) -> list[str]:
    """Texts that stick out of a place."""
    return [text for text, box in found if not (place.contains(*box.p0) and place.contains(*box.p1))]


def said(ax: Axes) -> list[str]:
    """All texts, each on one line."""
    return [" ".join(text.split()) for text, _ in boxes(ax)]
