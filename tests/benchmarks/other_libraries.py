"""The reference case by general-purpose libraries that propagate uncertainty: numbers drawn and added up by them.

The sums themselves (which input stands in which way's cash, hours and days, in which leaves) are read from the model;
drawing, correlating, multiplying and adding is theirs. ``pip install -e '.[bench]'`` brings the libraries.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from repairecon.buying.inputs import Input, LongestWait
from repairecon.rebuild_or_buy.evaluate import Piece
from repairecon.rebuild_or_buy.model import Model


class Rows:
    """What a model's sums ask for, given as a library's own numbers."""

    def __init__(self, model: Model, inputs: list[Any], of_leaf: Any, largest: Any) -> None:
        self.model, self.inputs, self.of_leaf, self.largest = model, inputs, of_leaf, largest
        self.patterns: dict[int, Any] = {}

    def pattern(self, k: int) -> Any:
        if k not in self.patterns:
            self.patterns[k] = self.of_leaf(self.model.program.patterns[k])
        return self.patterns[k]

    def term(self, k: int) -> Any:
        term = self.model.program.terms[k]
        if isinstance(term, LongestWait):
            return self.largest([self.inputs[i] for i in term.waits])
        product: Any = 1.0
        for i in term.inputs:
            product = product * self.inputs[i]
        return product


def totals(model: Model, rows: Rows) -> list[Any]:
    """Total of every way in the library's numbers."""
    worth = (1.0, model.own_hour, rows.inputs[model.program.lost_day])
    return [sum(_piece(piece, rows, worth) for piece in pieces) for pieces in model.plain.all_ways()]


def _piece(piece: Piece, rows: Rows, worth: tuple[Any, ...]) -> Any:
    total: Any = 0.0
    for groups, each in zip(piece.bill.groups, worth, strict=True):
        for pattern, amounts in groups.items():
            inner = sum(scale * rows.term(k) for k, scale in amounts)
            total = total + each * rows.pattern(pattern) * inner
    for i, happens in piece.chances:
        total = total * (rows.inputs[i] if happens else 1.0 - rows.inputs[i])
    return total if piece.on is None else total * rows.of_leaf(piece.on.mask)


def shape(x: Input) -> tuple[float, float, float, float]:
    """First and second number of a beta curve, low, high."""
    r = x.range
    a = 1 + 4 * (r.likely - r.low) / (r.high - r.low)
    return a, 6 - a, r.low, r.high


def leaf_at(model: Model, place: np.ndarray) -> np.ndarray:
    """Leaf at a place between 0 and 1."""
    return np.searchsorted(np.cumsum(model.tree.chance), place).clip(max=len(model.tree.chance) - 1)


def by_mcerp(model: Model, draws: int) -> np.ndarray:
    """Totals (W, draws): Latin hypercubes, operators between numbers."""
    import mcerp
    from scipy import stats

    mcerp.npts = draws
    inputs, alike = [], []
    for x in model.inputs:
        if x.is_chance:
            inputs.append(mcerp.uv(stats.bernoulli(x.mean)))
        else:
            a, b, low, high = shape(x)
            inputs.append(mcerp.uv(stats.beta(a, b, low, high - low)))
            alike += [inputs[-1]] if x.shared_hours else []
    rho = model.case.terms.hours_correlation
    mcerp.correlate(alike, np.full((len(alike), len(alike)), rho) + np.eye(len(alike)) * (1 - rho))
    number = leaf_at(model, mcerp.uv(stats.uniform())._mcpts)
    rows = Rows(
        model,
        inputs,
        lambda row: mcerp.UncertainFunction(np.asarray(row, dtype=float)[number]),
        lambda waits: mcerp.UncertainFunction(np.max([w._mcpts for w in waits], axis=0)),
    )
    return np.array([t._mcpts for t in totals(model, rows)])


def by_chaospy(model: Model, draws: int) -> np.ndarray:
    """Totals (W, draws): a joint distribution with a copula for the hours, drawn by a Latin hypercube."""
    import chaospy

    hours = [i for i, x in enumerate(model.inputs) if x.shared_hours]
    plain = [i for i, x in enumerate(model.inputs) if not x.shared_hours]
    rho = model.case.terms.hours_correlation

    def curve(x: Input) -> Any:
        return chaospy.Uniform(0, 1) if x.is_chance else chaospy.Beta(*shape(x))

    together = chaospy.Nataf(
        chaospy.J(*[curve(model.inputs[i]) for i in hours]),
        np.full((len(hours), len(hours)), rho) + np.eye(len(hours)) * (1 - rho),
    )
    rest = chaospy.J(*[curve(model.inputs[i]) for i in plain], chaospy.Uniform(0, 1))
    inputs: list[Any] = [None] * len(model.inputs)
    for i, row in zip(hours, together.sample(draws, rule="latin_hypercube"), strict=True):
        inputs[i] = row
    *drawn, place = rest.sample(draws, rule="latin_hypercube")
    for i, row in zip(plain, drawn, strict=True):
        inputs[i] = (row < model.inputs[i].mean) * 1.0 if model.inputs[i].is_chance else row
    leaf = leaf_at(model, place)
    rows = Rows(model, inputs, lambda row: np.asarray(row, dtype=float)[leaf], lambda waits: np.max(waits, axis=0))
    return np.array(totals(model, rows))
