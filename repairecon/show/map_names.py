"""The names inside the areas of a map, and the mark where the case stands."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from repairecon.show.labels import spread
from repairecon.show.room import Mask, deepest_spot, pieces, roomy_spot
from repairecon.show.text import HALO, INK, LINE, Place, inches, tall, wrap, write

Codes = np.ndarray[Any, Any]
FINE, CLEAR = 24, 0.14
"""Cells of the raster an inch; what is kept clear round the mark [inch]."""


@dataclass(frozen=True)
class Standing:
    """Where the case stands, in shares of the plot, whether that lies on the map, and what is said of it."""

    at: Place
    on_map: bool
    text: str

    def mark(self, room: Place) -> Place:
        """Middle of the mark [inch], wholly inside the plot if the case is off the map."""
        inset = 0.0 if self.on_map else CLEAR / 2
        x, y = (float(np.clip(at * side, inset, side - inset)) for at, side in zip(self.at, room, strict=True))
        return x, y

    def words_at(self, room: Place, codes: Codes) -> Place:
        """Middle of the words [inch] beside the mark, where they cover the fewest borders."""
        (x, y), (wide, high) = self.mark(room), _size(self.text, "bold")
        border = np.zeros(codes.shape, dtype=bool)
        border[:, 1:] |= codes[:, 1:] != codes[:, :-1]
        border[1:] |= codes[1:] != codes[:-1]
        sides = [(1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (1, -1), (-1, 1), (-1, -1)]
        places = [(x + a * (CLEAR + wide / 2), y + u * (CLEAR + high / 2)) for a, u in sides]

        def cost(at: Place) -> float:
            beyond = max(wide / 2 - at[0], at[0] + wide / 2 - room[0], high / 2 - at[1], at[1] + high / 2 - room[1])
            return float(border[_cells(at, (wide, high))].sum()) + 1e6 * max(0.0, beyond)

        return min(places, key=cost)


@dataclass(frozen=True)
class Names:
    """The names that found room in an area, and the ways that need the margin, with a spot in their area.

    All places are in inches from the lower left of the plot.
    """

    inside: Sequence[tuple[str, Place]]
    outside: Sequence[tuple[str, Place]]
    case: Standing
    words: Place
    room: Place

    @classmethod
    def of(cls, codes: Codes, ways: Sequence[str], room: Place, case: Standing) -> Names:
        """Lay out the names on a raster of way numbers that fills the plot, the lowest row first."""
        words = case.words_at(room, codes)
        free = np.ones(codes.shape, dtype=bool)
        for at, size in ((case.mark(room), (2 * CLEAR, 2 * CLEAR)), (words, _size(case.text, "bold"))):
            free[_cells(at, size)] = False
        inside, outside = [], []
        for place, way in enumerate(ways):
            areas = pieces(codes == place)
            found = [spot for area in areas for spot in _in_area(area & free, way)]
            inside += found
            if areas and not found:
                row, column = deepest_spot(areas[0])
                outside.append((way, (column / FINE, row / FINE)))
        return cls(inside, outside, case, words, room)

    def write(self, ax: Axes, margin: float) -> None:
        """Write the names and the mark on the axes, the others in the right margin [inch]."""
        (left, right), (low, high) = ax.get_xlim(), ax.get_ylim()
        across, up = (right - left) / self.room[0], (high - low) / self.room[1]
        for text, (x, y) in self.inside:
            write(ax, (left + across * x, low + up * y), text, ha="center", zorder=5, path_effects=HALO)
        texts = [wrap(way, margin - 0.2) for way, _ in self.outside]
        sizes = [1.1 * tall(text) for text in texts]
        levels = spread([y for _, (_, y) in self.outside], sizes, 0.0, self.room[1])
        for (_, (x, y)), text, level in zip(self.outside, texts, levels, strict=True):
            line = [left + across * x, right], [low + up * y, low + up * level]
            ax.plot(*line, color=INK, linewidth=0.8, marker="o", ms=3.5, markevery=[0], zorder=4, clip_on=False)
            write(ax, (right, low + up * level), text, shift=(6.0, 0.0))
        self._write_case(ax, (left, low), (across, up))

    def _write_case(self, ax: Axes, corner: Place, scale: Place) -> None:
        mark, words = (
            tuple(start + by * at for start, by, at in zip(corner, scale, place, strict=True))
            for place in (self.case.mark(self.room), self.words)
        )
        face, edge = (INK, "white") if self.case.on_map else ("white", INK)
        ax.plot(*([at] for at in mark), "o", ms=10, color=face, mec=edge, mew=1.6, zorder=7, clip_on=False, gid="now")
        write(ax, (words[0], words[1]), self.case.text, ha="center", weight="bold", zorder=7, path_effects=HALO)


def _size(text: str, weight: str = "normal") -> Place:
    return max(inches(line, weight=weight) for line in text.split("\n")) + 0.04, tall(text) + 0.04


def _cells(at: Place, size: Place) -> tuple[slice, slice]:
    """The cells of the raster (rows, columns) that a box covers [inch]."""
    across, up = (
        slice(max(0, int((middle - side / 2) * FINE) - 1), max(0, int((middle + side / 2) * FINE) + 2))
        for middle, side in zip(at, size, strict=True)
    )
    return up, across


def _in_area(area: Mask, way: str) -> list[tuple[str, Place]]:
    """The name in an area, in as few lines as fit there; nothing if none fits."""
    for text in _foldings(way):
        wide, high = _size(text)
        spot = roomy_spot(area, int((wide + 0.12) * FINE) + 1, int((high + 0.08) * FINE) + 1)
        if spot:
            return [(text, (spot[1] / FINE, spot[0] / FINE))]
    return []


def _foldings(way: str) -> Iterator[str]:
    """The name in one line and in more, none of its words cut, each way once."""
    longest, said = max(map(inches, way.split(" "))), ""
    for width in np.arange(max(inches(way), LINE), longest, -0.2):
        if wrap(way, float(width)) != said:
            said = wrap(way, float(width))
            yield said
    if wrap(way, longest + 0.01) != said:
        yield wrap(way, longest + 0.01)
