"""Where in a coloured area a text finds room: areas and texts as cells of one fine raster."""

from __future__ import annotations

from typing import Any

import numpy as np

Mask = np.ndarray[Any, np.dtype[np.bool_]]


def pieces(mask: Mask) -> list[Mask]:
    """The connected pieces of an area, the largest first."""
    from scipy import ndimage

    numbered, many = ndimage.label(mask)
    found = [numbered == place for place in range(1, many + 1)]
    return sorted(found, key=lambda piece: -int(piece.sum()))


def roomy_spot(mask: Mask, wide: int, high: int) -> tuple[float, float] | None:
    """Middle (row, column) of the place nearest the middle of all where a text of so many cells fits, if any."""
    if wide < 1 or high < 1 or high > mask.shape[0] or wide > mask.shape[1]:
        return None
    sums = np.zeros((mask.shape[0] + 1, mask.shape[1] + 1), dtype=int)
    sums[1:, 1:] = mask.cumsum(axis=0).cumsum(axis=1)
    inside = sums[high:, wide:] - sums[:-high, wide:] - sums[high:, :-wide] + sums[:-high, :-wide]
    fits = np.argwhere(inside == wide * high)
    if not len(fits):
        return None
    best = fits[np.hypot(*(fits - fits.mean(axis=0)).T).argmin()]
    return float(best[0]) + high / 2, float(best[1]) + wide / 2


def deepest_spot(mask: Mask) -> tuple[float, float]:
    """Middle (row, column) of the cell farthest from the edge of an area."""
    from scipy import ndimage

    depth = ndimage.distance_transform_edt(np.pad(mask, 1))[1:-1, 1:-1]
    row, column = np.unravel_index(int(depth.argmax()), depth.shape)
    return float(row) + 0.5, float(column) + 0.5
