"""Which inputs tell most on what the ways cost, reckoned at the means: for the order in which they are drawn."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from repairecon.formulas import ranges
from repairecon.rebuild_or_buy.draws import PACE, SLOTS
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.rows import Rows

Floats = NDArray[np.float64]
LEAVES = 64


def telling(model: Model) -> list[str]:
    """Keys of the inputs (the common pace of hours among them) that move the totals most, most first.

    Each is moved by one standard deviation, all else at its mean; what counts is its share of the spread of any
    allowed way's total or of the difference of any two.
    """
    inputs, rho = model.inputs, model.case.terms.hours_correlation
    spreads = np.array([_spread(model, i) for i in range(len(inputs))])
    hours = np.array([x.shared_hours for x in inputs], dtype=bool)
    moved = np.diag(spreads * np.where(hours, np.sqrt(1.0 - rho), 1.0))
    moved = np.vstack([np.zeros(len(inputs)), moved, spreads * hours * np.sqrt(rho)])
    totals = _totals(model, np.array([x.mean for x in inputs]) + moved)[model.allowed]
    effects = (totals[:, 1:] - totals[:, :1]) ** 2
    a, b = np.triu_indices(len(totals), 1)
    between = totals[a] - totals[b]
    both = np.concatenate([effects, (between[:, 1:] - between[:, :1]) ** 2])
    share = (both / np.maximum(both.sum(axis=1, keepdims=True), 1e-300)).max(axis=0)
    names = [*(x.key for x in inputs), PACE]
    order = sorted(range(len(names)), key=lambda k: (-float(share[k]), names[k]))
    return [names[k] for k in order if share[k] > 0.0][:SLOTS]


def _spread(model: Model, i: int) -> float:
    x = model.inputs[i]
    if x.is_chance:
        return float(np.sqrt(x.mean * (1.0 - x.mean)))
    r = x.range
    return float(np.sqrt(ranges.variance(r.low, r.likely, r.high, r.shape)))


def _totals(model: Model, values: Floats) -> Floats:
    """Mean total (W, rows of values) over leaves spread evenly by chance."""
    cumulative = np.cumsum(model.world.chance)
    some = np.searchsorted(cumulative / cumulative[-1], (np.arange(LEAVES) + 0.5) / LEAVES)
    drawn = np.tile(values.T, LEAVES)
    rows = Rows(model.atom_values(list(drawn)), np.repeat(some, len(values)), model.patterns)
    day = rows.value(model.lost_day_atom, slice(None))
    triples = model.evaluate(rows, model.choose(model.leaf_rows()))
    totals = np.array([model.total(t, lost_day=day) for t in triples])
    return np.asarray(totals.reshape(len(totals), LEAVES, -1).mean(axis=1))
