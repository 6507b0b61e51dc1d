"""What every chart's tests look at: its texts, whether they cover each other, its parts by name; and a map of ways."""

from __future__ import annotations

from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd
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
X, Y = ("wait for the exchange unit", "days", 12.0), ("price of the exchange unit", "EUR", 640.0)


def best_ways(many: int, columns: int = 25, rows: int = 21) -> pd.DataFrame:
    """Stripes of ways, slanting, the later ones ever thinner."""
    x, y = np.linspace(0.0, 40.0, columns), np.linspace(300.0, 1100.0, rows)
    slant = (np.arange(columns)[None, :] / columns + np.arange(rows)[:, None] / rows) / 2.01
    place = np.searchsorted(1.0 - 0.6 ** np.arange(1, many), slant)
    frame = pd.DataFrame(np.array(WAYS, dtype=object)[place], index=y, columns=x)
    frame.attrs = {"x": X, "y": Y}
    return frame


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
    ax.figure.canvas.draw()
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
