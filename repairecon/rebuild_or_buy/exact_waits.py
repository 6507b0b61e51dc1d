"""Chances of what longest waits come to that have inputs in common, such as two orders from one supplier.

Given the waits in common the rest is one longest wait; the mean is taken over the waits in common.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from repairecon.buying.inputs import Atom
from repairecon.formulas import ranges
from repairecon.formulas.convolve import largest_curve
from repairecon.formulas.two_waits import two_longest
from repairecon.rebuild_or_buy.exact_rows import REFUSAL, reach_of
from repairecon.rebuild_or_buy.model import Model
from repairecon.records import RepaireconError

Floats = NDArray[np.float64]
Known = dict[object, tuple[Floats, ...]]
NODES = {0: 1, 1: 16, 2: 8}
"""Values of each wait in common between two corners, by how many waits are in common."""


def _members(atom: Atom) -> tuple[int, ...]:
    return tuple(atom[1]) if atom[0] == "max" else (int(str(atom[1])),)  # type: ignore[arg-type]


def _floor(atom: Atom) -> float:
    return float(str(atom[2])) if atom[0] == "max" else -math.inf


def three_of(model: Model, i: int) -> tuple[float, float, float, str]:
    """Three numbers and shape of an input."""
    r = model.inputs[i].range
    return r.low, r.likely, r.high, str(r.shape)


def wait_masses(model: Model, coefs: Mapping[Atom, float], step: float, known: Known) -> tuple[Floats, int]:
    """Chances on whole multiples of a step of a sum of waits and longest waits, and the place of the first."""
    if max(coefs.values()) <= 0.0 and min(coefs.values()) < 0.0:
        masses, first = wait_masses(model, {a: -c for a, c in coefs.items()}, step, known)
        return masses[::-1], -first - len(masses) + 1
    active = {a: c for a, c in coefs.items() if c}
    often = list(chain.from_iterable(_members(a) for a in active))
    shared = sorted({i for i in often if often.count(i) > 1})
    open_ones = [a for a in active if set(_members(a)) - set(shared)]
    endless = any(three_of(model, i)[3] == "lognormal" for i in often)
    beyond = len(shared) > 2 or len(open_ones) > 1 or any(active[a] < 0.0 for a in open_ones)
    if len(active) == 2 and shared and (beyond or endless):
        return _two_orders(model, active, step, known)
    if beyond or (endless and len(shared) == 2):
        names = ", ".join(model.inputs[i].label for i in sorted(set(often)))
        raise RepaireconError(f"{REFUSAL}three or more orders wait for the same suppliers: {names}")
    key = ("nodes", *active)
    if key not in known:
        known[key] = _shared_nodes(model, list(active), shared)
    values, weights = known[key]
    fixed = np.zeros(len(weights))
    for a in active:
        if a not in open_ones:
            fixed = fixed + active[a] * _largest(values, shared, a)
    if not open_ones:
        return _add_up(np.ones((len(weights), 1)), np.zeros(1), fixed / step, weights)
    atom = open_ones[0]
    rest = [i for i in _members(atom) if i not in shared]
    if (*rest, "rest") not in known:
        lows = [reach_of(model, i)[0] for i in rest]
        known[*rest, "rest"] = cubic(*largest_curve([three_of(model, i) for i in rest], max(lows)))
    floor = np.asarray(np.maximum(_largest(values, shared, atom), known[*rest, "rest"][0][0]), dtype=np.float64)
    top = max(reach_of(model, i)[1] for i in rest)
    masses, first = _with_rest(known[*rest, "rest"], floor, top, step / active[atom])
    return _add_up(masses, first + np.arange(masses.shape[1], dtype=float), fixed / step, weights)


def _two_orders(model: Model, active: Mapping[Atom, float], step: float, known: Known) -> tuple[Floats, int]:
    """Chances of two longest waits added up, whatever they have in common."""
    (a, ca), (b, cb) = active.items()
    key = ("two", a, b, np.float32(cb / ca))  # alike whatever a day costs
    if key not in known:
        one, other = set(_members(a)), set(_members(b))
        alone, later, common = (
            [three_of(model, i) for i in sorted(group)] for group in (one - other, other - one, one & other)
        )
        known[key] = two_longest(alone, later, common, (_floor(a), _floor(b)), (1.0, cb / ca))
    values, masses = known[key]
    return _add_up(np.ones((len(masses), 1)), np.zeros(1), values * (ca / step), masses)


def _with_rest(curve: tuple[Floats, ...], floor: Floats, top: float, step: float) -> tuple[Floats, int]:
    """Chances of the longest of a rest and each of some floors, and the place of the first."""
    first = math.floor(float(floor.min()) / step)
    points = math.ceil(max(top, float(floor.max())) / step) - first + 2
    at = np.asarray(step * (first + np.arange(points)), dtype=np.float64)
    passed = area_at(curve, floor)[:, None]
    below = np.maximum(area_at(curve, at) - passed, 0.0)
    below[at[None, :] <= floor[:, None]] = 0.0
    mean = curve[0][-1] - (curve[2][-1] - passed[:, 0])
    return lattice_masses(below / step, mean / step - first), first


def lattice_masses(area: Floats, mean: Floats) -> Floats:
    """Chances on places 0, 1, ... from the integral of the cdf there; what a cut took from the mean is put back."""
    mean_cdf = area[..., 1:] - area[..., :-1]
    mean_cdf[..., -1] = 1.0
    masses = mean_cdf.copy()
    masses[..., 1:] -= mean_cdf[..., :-1]
    np.maximum(masses, 0.0, out=masses)
    lack = np.asarray(mean - masses @ np.arange(masses.shape[-1]))
    if lack.max() > 1e-9:
        last, likely = masses.shape[-1] - 1, masses.argmax(axis=-1)[..., None]
        moved = (lack / np.maximum(last - likely[..., 0], 1))[..., None]
        np.put_along_axis(masses, likely, np.take_along_axis(masses, likely, -1) - moved, -1)
        masses[..., -1:] += moved
    return np.asarray(masses)


def _add_up(masses: Floats, places: Floats, shift: Floats, weights: Floats) -> tuple[Floats, int]:
    """Mixture of rows of chances, each moved by so many steps and split between neighbours."""
    whole = np.floor(shift)
    part = (shift - whole)[:, None]
    origin = int(whole.min() + places[0])
    place = (whole[:, None] + places - origin).astype(np.intp)
    weighted = masses * weights[:, None]
    size = int(place.max()) + 2
    sums = np.bincount(place.ravel(), (weighted * (1.0 - part)).ravel(), size)
    sums[1:] += np.bincount(place.ravel(), (weighted * part).ravel(), size)[:-1]
    return np.asarray(sums, dtype=np.float64), origin


def _largest(values: Floats, shared: Sequence[int], atom: Atom) -> Floats:
    """Largest of the waits in common that stand in an atom, and of its floor."""
    rows = [values[k] for k, i in enumerate(shared) if i in _members(atom)]
    return np.asarray(np.max([*rows, np.full(values.shape[1], _floor(atom))], axis=0), dtype=np.float64)


def _shared_nodes(model: Model, active: Sequence[Atom], shared: Sequence[int]) -> tuple[Floats, Floats]:
    """Values (shared, nodes) of the waits in common and their weights; the second is cut where the first is."""
    corners = {f for a in active if (f := _floor(a)) > -math.inf}
    corners |= {x for a in active for i in _members(a) for x in reach_of(model, i)}
    values, weights = np.zeros((0, 1)), np.ones(1)
    for i in shared:
        columns, shares = [], []
        for column, share in zip(values.T, weights, strict=True):
            at, weight = _pieces(three_of(model, i), corners | set(column.tolist()), NODES[len(shared)])
            columns.append(np.vstack([np.repeat(column[:, None], len(at), axis=1), at]))
            shares.append(share * weight)
        values, weights = np.concatenate(columns, axis=1), np.concatenate(shares)
    return values, weights


def _pieces(three: tuple[float, float, float, str], corners: set[float], count: int) -> tuple[Floats, Floats]:
    """Values of a range and weights, by Gauss-Legendre in its chance between corners."""
    chance = np.unique(np.concatenate([[0.0, 1.0], ranges.cdf(np.array(sorted(corners)), *three)]))
    chance = chance[np.concatenate([[True], np.diff(chance) > 1e-6])]
    chance[-1] = 1.0
    t, weight = np.polynomial.legendre.leggauss(count)
    t = (t + 1.0) / 2.0
    flat, slope = t**3 * (10.0 - 15.0 * t + 6.0 * t * t), 30.0 * (t * (1.0 - t)) ** 2
    width = np.diff(chance)[:, None]
    p = chance[:-1, None] + width * flat
    weights = (width * slope * weight / 2.0).ravel()
    return np.asarray(ranges.quantile(p.ravel(), *three)), weights / weights.sum()


def cubic(x: Floats, cdf: Floats, area: Floats) -> tuple[Floats, ...]:
    """A cdf at knots with its integral, and the integral's bend and twist between knots, its slope being the cdf."""
    h = np.diff(x)
    rise = np.divide(np.diff(area), h, out=np.zeros_like(cdf[..., 1:]), where=h > 0.0)
    left, right = cdf[..., :-1], cdf[..., 1:]
    bend = np.divide(3.0 * rise - 2.0 * left - right, h, out=np.zeros_like(rise), where=h > 0.0)
    twist = np.divide(left + right - 2.0 * rise, h * h, out=np.zeros_like(rise), where=h > 0.0)
    return x, cdf, area, bend, twist


def area_at(curve: tuple[Floats, ...], at: Floats) -> Floats:
    """Integral of a cdf known by :func:`cubic`; shape (rows of the cdf, *at)."""
    x, cdf, area, bend, twist = curve
    within = np.minimum(np.maximum(at, x[0]), x[-1])
    i = x[1:-1].searchsorted(within, side="right")
    t = within - x[i]
    inner = twist[..., i] * t
    for part in (bend, cdf, area):
        inner += part[..., i]
        if part is not area:
            inner *= t
    return np.asarray(inner + (at - within) * (at > within))
