"""How many values of the pace of hours and of the cost of a lost day are enough to stand for all.

The more a value moves a row's sum beside what else spreads it, the more values it takes. Rough on purpose: only
the number of values hangs on it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from repairecon.formulas import ranges
from repairecon.rebuild_or_buy.exact_rows import reach_of
from repairecon.rebuild_or_buy.exact_spectra import Part, inputs_of
from repairecon.rebuild_or_buy.model import Model

Floats = NDArray[np.float64]
LEAST_PACES, MOST_PACES, MOST_DAYS, PRICES = 6, 31, 20, 2


@dataclass(frozen=True)
class Sum:
    """Pieces of a way's outcome: ``uses`` (rows, pieces) says which row has which."""

    chance: Floats
    uses: NDArray[np.bool_]
    pieces: tuple[tuple[Part, ...], ...]


def node_counts(model: Model, sums: Sum, tolerance: float) -> tuple[int, int, int]:
    """Number of paces, of costs of a lost day and of prices of an hour for an error of chances of a tolerance."""
    day = model.case.terms.cost_lost_day
    moved = np.array([_moved(model, piece) for piece in sums.pieces]).reshape(-1, 3)
    days, pace, variance = (sums.uses @ moved).T
    share = np.maximum(sums.chance / tolerance, 1.0 + 1e-9)
    sd = math.sqrt(ranges.variance(day.low, day.likely, day.high, str(day.shape)))
    beside_day = np.sqrt(np.maximum(variance + pace**2, 1e-12))
    beside_pace = np.maximum(variance + (days * sd) ** 2, 1e-12)
    waves = np.sqrt(2.0 * np.log(share)) * sd * np.abs(days) / beside_day
    most_days = min(math.ceil(2.0 + float(np.max(waves))), MOST_DAYS)
    ratio = 0.36 * np.minimum(pace**2 / beside_pace, 2.0)
    counts = np.arange(LEAST_PACES, MOST_PACES + 1)
    enough = counts[0.2 * (sums.chance @ ratio[:, None] ** counts) < tolerance]
    return int(enough[0]) if len(enough) else MOST_PACES, most_days, PRICES


def _moved(model: Model, piece: tuple[Part, ...]) -> tuple[float, float, float]:
    """Expected days of a piece, what one deviation of the pace moves it by, and its variance given both."""
    correlation, worth = model.case.terms.hours_correlation, model.lost_day
    days = pace = variance = 0.0
    for atom, money, waits in piece:
        inputs = [model.inputs[i] for i in inputs_of(atom)]
        coef = money + waits * worth
        if atom[0] == "max":
            days += waits * max(x.mean for x in inputs)
            variance += coef**2 * min(_variance(model, i) for i in inputs_of(atom)) / 2.0
            continue
        mean = math.prod(x.mean for x in inputs)
        days += waits * mean
        for i, x in zip(inputs_of(atom), inputs, strict=True):
            own = coef**2 * _variance(model, i) * (mean / x.mean if x.mean else 0.0) ** 2
            shared = correlation if x.shared_hours else 0.0
            pace += math.sqrt(own * shared)
            variance += own * (1.0 - shared)
    return days, pace, variance


def _variance(model: Model, i: int) -> float:
    x = model.inputs[i]
    if x.is_chance:
        return x.mean * (1.0 - x.mean)
    r = x.range
    if str(r.shape) == "lognormal":
        return ((min(reach_of(model, i)[1], 2.0 * r.high) - r.low) / 6.0) ** 2
    return float(ranges.variance(r.low, r.likely, r.high, str(r.shape)))
