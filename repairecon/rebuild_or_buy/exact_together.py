"""Hours that all go alike (a correlation of 1): one common number in 0..1 sets them all.

Given the prices of an hour, the hours' share of a sum is then a sum of quantiles at that number.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product

import numpy as np
from numpy.typing import NDArray

from repairecon.formulas.ranges import cell_means
from repairecon.rebuild_or_buy.exact_rows import REFUSAL
from repairecon.rebuild_or_buy.exact_spectra import Complexes, Grid, Part, hub_nodes, inputs_of
from repairecon.records import RepaireconError

Floats = NDArray[np.float64]
CELLS = 8192
"""Steps of the common number, each at its mean."""


def hours_together(grid: Grid, parts: Sequence[Part], day: Floats) -> Complexes:
    """Spectrum of a piece that holds hours, shape (1, days)."""
    key = ("together", grid.step, *parts)
    if key not in grid.known:
        masses, first = _masses(grid, parts, day)
        grid.known[key] = (masses, np.array([first]))
    masses, place = grid.known[key]
    return np.asarray((grid.transform(masses) * grid.phases(place)[0])[None])


def _masses(grid: Grid, parts: Sequence[Part], day: Floats) -> tuple[Floats, int]:
    """Chances on whole multiples of the step by cost of a lost day, and the place of the first."""
    inputs = grid.model.inputs
    others = sorted({i for atom, _, _ in parts for i in inputs_of(atom) if not inputs[i].shared_hours})
    for atom, _, _ in parts:
        if atom[0] == "max" or sum(inputs[i].shared_hours for i in inputs_of(atom)) > 1:
            names = ", ".join(inputs[i].label for i in inputs_of(atom))
            raise RepaireconError(f"{REFUSAL}hours that all go alike, with a wait or with one another: {names}")
    nodes = [hub_nodes(grid.model, i, grid.prices) for i in others]
    at, weights = [], []
    for choice in product(*(range(len(values)) for values, _ in nodes)):
        given = {i: float(values[k]) for i, (values, _), k in zip(others, nodes, choice, strict=True)}
        weights.append(float(np.prod([weight[k] for (_, weight), k in zip(nodes, choice, strict=True)])))
        at.append(np.asarray(sum(_part(grid, part, day, given) for part in parts)) / grid.step)
    first = int(np.floor(min(float(x.min()) for x in at)))
    points = int(np.ceil(max(float(x.max()) for x in at))) - first + 2
    masses = np.zeros((len(day), points))
    for x, weight in zip(at, weights, strict=True):
        for row, place in zip(masses, np.broadcast_to(x, (len(day), CELLS)), strict=True):
            _add(row, place - first, weight / CELLS)
    return masses, first


def _part(grid: Grid, part: Part, day: Floats, given: dict[int, float]) -> Floats:
    """Values of a part, shape (days, CELLS or 1), at given values of all that is not hours."""
    atom, money, days = part
    value = np.ones(1)
    for i in inputs_of(atom):
        value = value * (given[i] if i in given else _means(grid, i))
    return np.asarray((money + days * day)[:, None] * value)


def _means(grid: Grid, i: int) -> Floats:
    """Hours in each step of the common number."""
    key = ("hours together", i)
    if key not in grid.known:
        r = grid.model.inputs[i].range
        edges = np.linspace(0.0, 1.0, CELLS + 1)
        grid.known[key] = (cell_means(edges, r.low, r.likely, r.high, str(r.shape)),)
    return grid.known[key][0]


def _add(row: Floats, place: Floats, weight: float) -> None:
    """Equal chances at some places, split between neighbours."""
    whole = np.floor(place).astype(np.intp)
    part = place - whole
    row += weight * np.bincount(whole, 1.0 - part, len(row))
    row[1:] += weight * np.bincount(whole, part, len(row))[:-1]
