"""How much of the spread of a way's total each input makes, by paired draws."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from repairecon.formulas import shares
from repairecon.rebuild_or_buy.draws import Draws
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.rows import Rows

Floats = NDArray[np.float64]
PAIRS = 4096
HOURS = "hours, all together"
FOUND = "what is found inside"


@dataclass(frozen=True)
class Share:
    """First-order and total share of the variance of a total, with standard errors."""

    number: str
    first: float
    total: float
    first_se: float
    total_se: float


def _drawn(model: Model, seed: int, pairs: int) -> tuple[Floats, NDArray[np.intp]]:
    stream = Draws(model.inputs, model.world.chance, model.case.terms.hours_correlation, seed)
    block = next(iter(stream.blocks(pairs)))
    return block.values.astype(float), block.leaf


def _groups(model: Model) -> dict[str, list[int]]:
    """Inputs by label; hours go together, as they share a pace; sure ones are left out."""
    groups: dict[str, list[int]] = {}
    for i, x in enumerate(model.inputs):
        if not x.range.sure or (x.is_chance and 0.0 < x.range.likely < 1.0):
            groups.setdefault(HOURS if x.shared_hours else x.label, []).append(i)
    return groups


def variance_shares(model: Model, way: int, seed: int, pairs: int = PAIRS) -> list[Share]:
    """Shares of the variance of one way's total, largest total share first.

    The leaf of the tree counts as one input, the hours (which share a pace) as another.
    """
    choice, hour = model.choose(model.leaf_rows()), model.own_hour

    def totals(values: Floats, leaf: NDArray[np.intp]) -> Floats:
        order = np.argsort(leaf, kind="stable")
        rows = Rows(model.atom_values(list(values[:, order])), leaf[order], model.patterns)
        cash, hours, days = model.evaluate(rows, choice)[way]
        out = np.empty(len(leaf))
        out[order] = cash + hour * hours + rows.value(model.lost_day_atom, slice(None)) * days
        return out

    one, leaf_one = _drawn(model, seed, pairs)
    two, leaf_two = _drawn(model, seed + 1_000_003, pairs)
    leaf_two = leaf_two[np.argsort(two[0] if np.ptp(two[0]) else np.arange(pairs) * 7919 % pairs, kind="stable")]
    names, mixed = [FOUND], [totals(one, leaf_two)]
    for name, members in _groups(model).items():
        changed = one.copy()
        changed[members] = two[members]
        names.append(name)
        mixed.append(totals(changed, leaf_one))
    found = shares.sobol_indices(totals(one, leaf_one), totals(two, leaf_two), np.array(mixed))
    listed = [Share(n, *map(float, row)) for n, row in zip(names, np.array(found).T, strict=True)]
    return sorted(listed, key=lambda s: -s.total)
