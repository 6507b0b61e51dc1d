"""A streaming count of values in narrow bins, for quantiles without keeping the draws."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from repairecon.formulas import digital
from repairecon.rebuild_or_buy.nets import BLOCK, REPLICATES

BINS = 4096
COARSE = 256
Floats = NDArray[np.float64]
Replicate = NDArray[np.intp] | int


def by_replicate(x: Any, replicate: Replicate) -> Floats:
    """Sum of values for each replicate."""
    if isinstance(replicate, int):
        out = np.zeros(REPLICATES)
        out[replicate] = x.sum()
        return out
    return np.asarray(np.bincount(replicate, weights=x, minlength=REPLICATES), dtype=np.float64)


class Tally:
    """Counts of values in bins, and in coarse bins for each replicate."""

    def __init__(self, first: NDArray[Any], scratch: tuple[NDArray[Any], NDArray[np.intp]] | None = None) -> None:
        low, high = float(first.min()), float(first.max())
        span = max(high - low, 1e-6 * max(abs(low), abs(high), 1.0))
        self.start = low - 0.5 * span
        self.width = 2.0 * span / BINS
        self.counts = np.zeros(BINS, dtype=np.int32)
        self.by_replicate = np.zeros((REPLICATES, COARSE), dtype=np.int32)
        self.low, self.high = np.inf, -np.inf
        own: tuple[NDArray[Any], NDArray[np.intp]] = (np.empty(BLOCK), np.empty(BLOCK, dtype=np.intp))
        self._scaled, self._index = scratch or own

    def add(self, x: NDArray[Any], replicate: Replicate) -> None:
        """Count some more values."""
        n = len(x)
        scaled, index = self._scaled[:n], self._index[:n]
        np.subtract(x, self.start, out=scaled)
        scaled *= 1.0 / self.width
        np.clip(scaled, 0, BINS - 1, out=scaled)
        np.copyto(index, scaled, casting="unsafe")
        if isinstance(replicate, int):
            counts = np.bincount(index, minlength=BINS).astype(np.int32)
            self.counts += counts
            self.by_replicate[replicate] += counts.reshape(COARSE, -1).sum(axis=1, dtype=np.int32)
        else:
            self.counts += np.bincount(index, minlength=BINS).astype(np.int32)
            index //= BINS // COARSE
            index += replicate * COARSE
            counts = np.bincount(index, minlength=REPLICATES * COARSE).astype(np.int32)
            self.by_replicate += counts.reshape(REPLICATES, COARSE)
        self.low, self.high = min(self.low, float(x.min())), max(self.high, float(x.max()))

    @property
    def middles(self) -> Floats:
        """Middle of each bin, kept within what was drawn."""
        return np.clip(self.start + self.width * (np.arange(BINS) + 0.5), self.low, self.high)

    @property
    def edges(self) -> Floats:
        """Ends of the bins."""
        return np.asarray(self.start + self.width * np.arange(BINS + 1))

    def quantile(self, p: Floats | float) -> Floats:
        """Value below which a share p of the draws lies."""
        cumulative = np.concatenate([[0], np.cumsum(self.counts)]) / self.counts.sum()
        strictly = np.concatenate([[True], np.diff(cumulative) > 0])
        strictly[:-1] |= np.concatenate([np.diff(cumulative) > 0])
        found = np.interp(p, cumulative[strictly], self.edges[strictly])
        return np.asarray(np.clip(found, self.low, self.high))

    def quantile_se(self, p: float) -> float:
        """Standard error of a quantile: from the values a standard error of its chance away on each side."""
        at = float(self.quantile(p))
        each = self.by_replicate.sum(axis=1)
        place = (at - self.start) / self.width * COARSE / BINS
        whole = min(int(place), COARSE - 1)
        below = self.by_replicate[:, :whole].sum(axis=1) + (place - whole) * self.by_replicate[:, whole]
        step = float(digital.replicate_se(below, each))
        low, high = self.quantile(np.array([max(p - step, 0.0), min(p + step, 1.0)]))
        return float(high - low) / 2

    def chance_up_to(self, x: Floats) -> Floats:
        """Share of draws that are no more than x."""
        cumulative = np.concatenate([[0], np.cumsum(self.counts)]) / self.counts.sum()
        share = np.interp(x, self.edges, cumulative)
        return np.where(x >= self.high, 1.0, np.where(x < self.low, 0.0, share))
