"""Spectra of the pieces of which a way's sum is made, given the pace of hours and the cost of a lost day.

Whatever shares an input is one piece. Every piece is put on whole multiples of the step so that its mean stays.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import reduce
from typing import Any

import numpy as np
from numpy.typing import NDArray

from repairecon.buying.inputs import ONE, Atom
from repairecon.formulas.convolve import conditional_curve, largest_curve, range_nodes
from repairecon.formulas.shapes import Curve
from repairecon.rebuild_or_buy.exact_rows import REFUSAL, reach_of
from repairecon.rebuild_or_buy.exact_waits import Known, area_at, cubic, lattice_masses, three_of, wait_masses
from repairecon.rebuild_or_buy.model import Model
from repairecon.records import RepaireconError

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
KNOTS = 128
SMALL = 200_000
Part = tuple[Atom, float, float]
"""An atom with its coefficient of money and of days."""


def inputs_of(atom: Atom) -> tuple[int, ...]:
    """Inputs that stand in a canonical atom."""
    return tuple(atom[1]) if atom[0] == "max" else tuple(atom[1:])  # type: ignore[arg-type]


class Grid:
    """The grid, the values on which everything is conditioned, and how many figures of a spectrum are kept."""

    def __init__(
        self, model: Model, step: float, size: int, pace: Floats, day: Floats, prices: int, kept: int, known: Known
    ) -> None:
        self.model, self.step, self.size = model, step, size
        self.pace, self.day, self.prices, self.kept = pace, day, prices, kept
        self.circle = np.exp((-2j * np.pi / size) * np.arange(size))
        self.turns = np.empty((0, 2 * kept))
        self.known = known

    def phases(self, places: NDArray[Any]) -> Complexes:
        """Spectra of one at each of some whole places."""
        turn = np.outer(places.astype(np.int64) % self.size, np.arange(self.kept)) % self.size
        return np.asarray(self.circle[turn])

    def points(self, values: Floats) -> Complexes:
        """Spectra of sure numbers, split between neighbours."""
        place = np.floor(values / self.step)
        rest = (values / self.step - place)[:, None]
        return np.asarray(self.phases(place) * (1.0 - rest + rest * self.circle[: self.kept]))

    def transform(self, masses: Floats) -> Complexes:
        """Spectra of chances on successive places from nought."""
        points = masses.shape[-1]
        chunk = SMALL // (2 * points * self.kept)
        if chunk >= 4:
            return self._few(masses, chunk)
        if points > self.size:
            turned = np.zeros((*masses.shape[:-1], -(-points // self.size) * self.size))
            turned[..., :points] = masses
            masses = turned.reshape(*masses.shape[:-1], -1, self.size).sum(axis=-2)
        return np.asarray(np.fft.rfft(masses, n=self.size, axis=-1)[..., : self.kept])

    def _few(self, masses: Floats, chunk: int) -> Complexes:
        """Spectra of chances on few places by a small product: quicker than transforming the whole circle."""
        points = masses.shape[-1]
        if points > len(self.turns):
            self.turns = self.phases(np.arange(2 * points)).view(np.float64)
        rows = masses.reshape(-1, points)
        spectra = np.empty((len(rows), 2 * self.kept))
        for k in range(0, len(rows), chunk):  # below the size at which threads would be woken
            np.matmul(rows[k : k + chunk], self.turns[:points], out=spectra[k : k + chunk])
        return spectra.view(np.complex128).reshape(*masses.shape[:-1], self.kept)

    def has_pace(self, i: int) -> bool:
        """Whether an input follows the common pace."""
        return self.model.inputs[i].shared_hours and len(self.pace) > 1

    def curve(self, i: int) -> tuple[Floats, ...]:
        """Knots, cdf and its integral of an input, a row for each pace."""
        if i not in self.known:
            three = three_of(self.model, i)
            if self.has_pace(i):
                self.known[i] = cubic(*conditional_curve(*three, self.model.case.terms.hours_correlation, self.pace))
            else:
                self.known[i] = _plain_curve(three)
        return self.known[i]

    def multiples(self, i: int, factors: Floats) -> Complexes:
        """Spectra of multiples of an input, shape (paces or 1, factors)."""
        low, high = reach_of(self.model, i)
        size = np.maximum(np.abs(factors), 1e-9 * self.step / (high - low))[:, None] / self.step
        first = np.floor(size * low)
        points = int((np.ceil(size * high) - first).max()) + 1
        at = first + np.arange(points + 1)
        curve = self.curve(i)
        mean = (curve[0][-1] - curve[2][:, -1])[:, None] * size[:, 0] - first[:, 0]
        masses = lattice_masses(size * area_at(curve, at / size), mean)
        spectra = self.transform(masses) * self.phases(first[:, 0])
        return np.where(factors[:, None] < 0.0, spectra.conj(), spectra) if factors.min() < 0.0 else spectra


def _plain_curve(three: tuple[float, float, float, str]) -> tuple[Floats, ...]:
    if three[3] == "lognormal":
        x, cdf, area = largest_curve([three], -np.inf)
        return cubic(x, cdf[None, :], area[None, :])
    curve = Curve.of(*three)
    u = (1.0 - np.cos(np.pi * np.arange(KNOTS + 1) / KNOTS)) / 2.0
    area = curve.scale * curve.unit.area(u)
    return cubic(curve.start + curve.scale * u, curve.unit.cdf(u)[None, :], area[None, :])


def spectrum(grid: Grid, parts: Sequence[Part]) -> Complexes:
    """Spectrum of a piece, shape (paces or 1, days or 1)."""
    day = grid.day if any(d for _, _, d in parts) else np.zeros(1)
    pieces = []
    for group in _groups(parts):
        coefs = {atom: money + d * day for atom, money, d in group}
        if any(atom[0] == "max" for atom in coefs):
            pieces.append(_waits(grid, coefs))
        elif any(len(atom) > 2 for atom in coefs):
            pieces.append(_products(grid, coefs))
        else:
            ((atom, coef),) = coefs.items()
            pieces.append(_single(grid, atom, coef))
    return reduce(np.multiply, pieces)


def _groups(parts: Sequence[Part]) -> list[list[Part]]:
    """Parts sorted into groups that share no input."""
    groups: list[tuple[set[int], list[Part]]] = []
    for part in parts:
        names, members = set(inputs_of(part[0])), [part]
        for other in [g for g in groups if g[0] & names]:
            groups.remove(other)
            names, members = names | other[0], other[1] + members
        groups.append((names, members))
    return [members for _, members in groups]


def _single(grid: Grid, atom: Atom, coef: Floats) -> Complexes:
    if atom == ONE:
        return grid.points(coef)[None]
    i = inputs_of(atom)[0]
    if grid.model.inputs[i].is_chance:
        p = grid.model.inputs[i].range.likely
        return (1.0 - p + p * grid.points(coef))[None]
    return grid.multiples(i, coef)


def _products(grid: Grid, coefs: dict[Atom, Floats]) -> Complexes:
    """Products with one input in common, such as hours at the price of an hour: mean over values of that input."""
    hub = _hub(grid, coefs)
    values, weights = hub_nodes(grid.model, hub, grid.prices)
    days = len(next(iter(coefs.values())))
    factors: dict[int, Floats] = {}
    sure = np.zeros((len(values), days))
    for atom, coef in coefs.items():
        others = [i for i in inputs_of(atom) if i != hub]
        factor = np.outer(values, coef) if hub in inputs_of(atom) else np.tile(coef, (len(values), 1))
        if others:
            factors[others[0]] = factors.get(others[0], 0.0) + factor
        else:
            sure = sure + factor
    total = grid.points(sure.ravel())[None]
    for i, factor in factors.items():
        total = total * grid.multiples(i, factor.ravel())
    split = total.reshape(total.shape[0], len(values), days, grid.kept)
    return np.asarray(np.einsum("g,pgdk->pdk", weights, split))


def _hub(grid: Grid, coefs: dict[Atom, Floats]) -> int:
    products = [set(inputs_of(a)) for a in coefs if len(a) > 2]
    common = [i for i in set.intersection(*products) if not grid.has_pace(i)]
    inputs = grid.model.inputs
    if not common:
        names = ", ".join(inputs[i].label for i in sorted(set.union(*products)))
        raise RepaireconError(f"{REFUSAL}products that hang together in more than one input: {names}")
    return min(common, key=lambda i: (not inputs[i].is_chance, inputs[i].shared_hours, i))


def hub_nodes(model: Model, i: int, count: int) -> tuple[Floats, Floats]:
    """Values of an input and their weights."""
    x = model.inputs[i]
    if x.is_chance:
        return np.array([0.0, 1.0]), np.array([1.0 - x.range.likely, x.range.likely])
    r, known = x.range, model.curves.setdefault(0, {})
    if (i, count) not in known:
        known[i, count] = range_nodes(r.low, r.likely, r.high, str(r.shape), count)
    values, weights = known[i, count]
    return values, weights


def _waits(grid: Grid, coefs: dict[Atom, Floats]) -> Complexes:
    if any(len(a) > 2 and a[0] == "*" for a in coefs) or any(grid.has_pace(i) for a in coefs for i in inputs_of(a)):
        raise RepaireconError(f"{REFUSAL}a wait that is also multiplied")
    rows = []
    for k in range(len(next(iter(coefs.values())))):
        masses, first = wait_masses(grid.model, {a: float(c[k]) for a, c in coefs.items()}, grid.step, grid.known)
        rows.append(grid.transform(masses) * grid.phases(np.array([first]))[0])
    return np.array(rows)[None]
