"""Names at the right-hand ends of lines, each on its own height."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from repairecon.show.page import figure_of
from repairecon.show.text import SIZE, Place, tall, wrap, write


def spread(wanted: Sequence[float], sizes: Sequence[float], low: float, high: float) -> list[float]:
    """Places as near as possible (least squares) to the wanted ones, in their order and clear of each other.

    They stay between ``low`` and ``high`` if that is wide enough for all sizes, else they start at ``low``.
    """
    order = np.argsort(np.asarray(wanted, dtype=float), kind="stable")
    size = np.asarray(sizes, dtype=float)[order]
    stacked = np.cumsum(size) - size / 2
    start = np.clip(_rising(np.asarray(wanted, dtype=float)[order] - stacked), low, max(low, high - size.sum()))
    places = np.empty(len(size))
    places[order] = start + stacked
    return [float(place) for place in places]


def _rising(values: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    """The nearest series that never falls: what falls is put at its mean."""
    blocks: list[list[float]] = []
    for value in values:
        block = [float(value)]
        while blocks and np.mean(blocks[-1]) > np.mean(block):
            block = blocks.pop() + block
        blocks.append(block)
    return np.array([np.mean(block) for block in blocks for _ in block])


def end_margin(width: float) -> float:
    """Width of the margin for the texts [inch], on a page of a width."""
    return max(0.24 * width, min(2.2, 0.33 * width))


def end_texts(names: Sequence[str], more: Sequence[str], room: float) -> list[str]:
    """Name and what else is said of each line, as wide as the margin allows bold letters."""
    said = zip(names, more, strict=True)
    return [wrap(f"{name}\n{rest}" if rest else name, room, SIZE * 1.12) for name, rest in said]


def name_ends(ax: Axes, ends: Sequence[Place], texts: Sequence[str], short: Sequence[str], inks: Sequence[str],
              weights: Sequence[str]) -> None:  # fmt: skip
    """Texts in the right margin, led to from the ends of their lines; the short ones if room is scarce."""
    up = ax.bbox.height / figure_of(ax).dpi
    if 1.08 * sum(map(tall, texts)) > up:
        texts = short
    low, high = ax.get_ylim()
    scale, right = up / (high - low), ax.get_xlim()[1]
    sizes = [1.08 * tall(text) for text in texts]
    places = spread([scale * (y - low) for _, y in ends], sizes, 0.0, up)
    for (x, y), place, text, ink, weight in zip(ends, places, texts, inks, weights, strict=True):
        level = low + place / scale
        ax.plot([x, right], [y, level], color=ink, linewidth=0.9, linestyle=(0, (1, 2)), clip_on=False)
        write(ax, (1.0, level), text, ("axes fraction", "data"), (6.0, 0.0), color=ink, weight=weight)
