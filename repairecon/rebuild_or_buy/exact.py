"""The distribution of one way's total or cash without sampling: quantiles and chances free of noise.

Leaf by leaf, and for every never-branch, a way's outcome is a sum of independent pieces once the common pace
of hours and the cost of a lost day are given. Their spectra are multiplied and mixed over leaves, paces and days.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from repairecon.formulas.convolve import (
    LeafPlan,
    factor_nodes,
    mix_leaves,
    plan_leaves,
    quantile_of,
    range_nodes,
    spectrum_masses,
)
from repairecon.rebuild_or_buy.exact_nodes import Sum, node_counts
from repairecon.rebuild_or_buy.exact_pieces import pieces_of
from repairecon.rebuild_or_buy.exact_rows import REFUSAL, reach_of, way_rows
from repairecon.rebuild_or_buy.exact_spectra import Complexes, Grid, Part, inputs_of, spectrum
from repairecon.rebuild_or_buy.exact_together import hours_together
from repairecon.rebuild_or_buy.exact_waits import Known
from repairecon.rebuild_or_buy.model import Model
from repairecon.records import RepaireconError

Floats = NDArray[np.float64]
SIZE = 2048
TOLERANCE = 1e-4
CUTOFF, AIM = 1e-7, 1e-8
"""Where a spectrum may be cut off, and what is aimed at; chances are off by less, the mean by about as much."""
MEAN_RIGHT = 1e-6
TAIL = 1e-8
FINE = 160
TRIES = 10
MOST = 16_384
KEPT = 192
"""Figures of a spectrum that are tried first."""


def exact_distribution(
    model: Model, way_index: int, quantity: str = "total", size: int = SIZE, tolerance: float = TOLERANCE
) -> tuple[float, float, Floats]:
    """First grid point, step and chances of a way's ``total`` (own time valued) or ``cash`` [home money].

    The mean is exact; chances are off by about ``tolerance`` from the few paces and costs of a lost day that stand
    for all, and by about the square of the step. More points than ``size`` are taken where tails are long.
    RepaireconError where a case hangs together in a way that is not reckoned here: sample it then.
    """
    if quantity not in ("total", "cash"):
        raise RepaireconError(f"an exact range is reckoned for total or cash, not {quantity!r}")
    sums = pieces_of(way_rows(model, way_index, quantity))
    start, step, masses = distribution_of(model, sums, size, nodes_for(model, sums, tolerance))
    expected = model.expected()[way_index]
    mean = float(model.total(expected) if quantity == "total" else expected[0])
    if abs(start + step * float(masses @ np.arange(len(masses))) - mean) > MEAN_RIGHT * max(abs(mean), 1.0):
        raise RepaireconError(f"{REFUSAL}the mean of {model.ways[way_index]} is missed")
    return start, step, masses


def quantiles(
    model: Model, way_index: int, p: ArrayLike = (0.1, 0.5, 0.9), quantity: str = "total", size: int = SIZE
) -> Floats:
    """Values that the shares p of cases stay below [home money]."""
    return quantile_of(*exact_distribution(model, way_index, quantity, size), p)


# ---- nodes and grid -----------------------------------------------------------------------
@dataclass(frozen=True)
class Nodes:
    """Paces and costs of a lost day that stand for all, with their weights, and how many prices of an hour do."""

    pace: Floats
    pace_weight: Floats
    day: Floats
    day_weight: Floats
    prices: int


def nodes_for(model: Model, sums: Sum, tolerance: float) -> Nodes:
    """As many values as keep the chances right to about the tolerance."""
    correlation = model.case.terms.hours_correlation
    hours = any(_has_hours(model, piece) for piece in sums.pieces)
    paces, days, prices = node_counts(model, sums, tolerance)
    pace = factor_nodes(paces) if hours and 0.0 < correlation < 1.0 else (np.zeros(1), np.ones(1))
    r = model.case.terms.cost_lost_day
    if any(d for piece in sums.pieces for _, _, d in piece):
        return Nodes(*pace, *range_nodes(r.low, r.likely, r.high, str(r.shape), days), prices)
    return Nodes(*pace, np.zeros(1), np.ones(1), prices)


def _ends(model: Model, piece: tuple[Part, ...], day: Floats) -> tuple[float, float]:
    """Lowest and highest value of a piece, the parts taken apart."""
    low = high = 0.0
    ends = float(day.min()), float(day.max())
    for atom, money, days in piece:
        reaches = [reach_of(model, i) for i in inputs_of(atom)]
        if atom[0] == "max":
            bottom = float(str(atom[2]))
            a, b = bottom, max(bottom, *(r[1] for r in reaches))
        else:
            a, b = math.prod(r[0] for r in reaches), math.prod(r[1] for r in reaches)
        corners = [(money + days * d) * x for d in ends for x in (a, b)]
        low, high = low + min(corners), high + max(corners)
    return low, high


def distribution_of(model: Model, sums: Sum, size: int, nodes: Nodes) -> tuple[float, float, Floats]:
    """Start, step and chances of a sum; the grid is cut to what matters, then refined, until it is fine enough."""
    ends = np.array([_ends(model, piece, nodes.day) for piece in sums.pieces]).reshape(-1, 2)
    low, high = float((sums.uses @ ends[:, 0]).min()), float((sums.uses @ ends[:, 1]).max())
    spare = 2 * int(sums.uses.sum(axis=1).max(initial=0)) + 4
    if spare >= size // 2:
        raise RepaireconError(f"{REFUSAL}{size} points are too few for {spare // 2} pieces")
    if high - low <= 1e-12 * max(abs(low), abs(high), 1.0):
        return low, 1e-9 * max(abs(low), 1.0), np.concatenate([[1.0], np.zeros(size - 1)])
    known: Known = model.curves.setdefault(len(nodes.pace), {})
    plan, kept = _plan(model, sums, nodes), KEPT
    for _ in range(TRIES):
        step = (high - low) / (size - spare)
        first = math.floor(low / step) - spare // 2
        grid = Grid(model, step, size, nodes.pace, nodes.day, nodes.prices, min(kept, size // 2 + 1), known)
        mixed = _mixed(grid, sums, nodes, plan)
        wanted = _figures_wanted(mixed) if grid.kept <= size // 2 else grid.kept
        masses = spectrum_masses(_blurred(mixed) if wanted > grid.kept else mixed, first, size)
        masses /= masses.sum()
        p10, p90 = quantile_of(first * step, step, masses, [0.1, 0.9])
        if step <= (p90 - p10) / FINE or p90 - p10 < step or size >= MOST:
            if wanted <= grid.kept:
                break
            kept = wanted
            continue
        below, circle = np.cumsum(masses), size * step
        inside = np.flatnonzero((below > TAIL) & (below < 1.0 - TAIL))
        if len(inside) and len(inside) < 0.6 * size:
            low, high = (first + inside[0] - 2) * step, (first + inside[-1] + 2) * step
        else:
            size *= 2 ** math.ceil(math.log2(FINE * step / max(p90 - p10, step)))
            size = min(size, MOST)
        kept = max(KEPT, math.ceil(wanted * size * (high - low) / (size - spare) / circle))
    return first * step, step, masses


# ---- mixing -------------------------------------------------------------------------------
def _figures_wanted(mixed: Complexes) -> int:
    """Figures until a spectrum has died away: those there, or as a power would fall, or soon after a bell would."""
    kept = len(mixed)
    half, end = (float(np.abs(mixed[max(k - 16, 0) : k]).max()) for k in (kept // 2, kept))
    if end < CUTOFF:
        return kept
    fall, left = math.log(max(half / end, 1.1)), math.log(end / AIM)
    power, bell = 1.3 * math.exp(min(math.log(2.0) * left / fall, 50.0)), 3.0 * math.sqrt(1.0 + 0.75 * left / fall)
    return 64 * math.ceil(kept * min(power, bell) / 64)


def _blurred(mixed: Complexes) -> Complexes:
    """A spectrum cut off too early, blurred by a bell so that no chance falls below 0: shows where the chance lies."""
    end = float(np.abs(mixed[-16:]).max())
    return np.asarray(mixed * (AIM / end) ** ((np.arange(len(mixed)) / len(mixed)) ** 2))


def _mixed(grid: Grid, sums: Sum, nodes: Nodes, plan: LeafPlan) -> Complexes:
    """Spectrum of the mixture over rows, paces and days."""
    mixed = mix_leaves(plan, [_spectrum(grid, piece) for piece in sums.pieces])
    paces = nodes.pace_weight if mixed.shape[0] > 1 else np.ones(1)
    days = nodes.day_weight if mixed.shape[1] > 1 else np.ones(1)
    whole = np.zeros(grid.kept, dtype=np.complex128)
    whole[: mixed.shape[-1]] = np.einsum("p,d,pdk->k", paces, days, mixed)
    return whole


def _plan(model: Model, sums: Sum, nodes: Nodes) -> LeafPlan:
    """Order of mixing: what hangs on nothing first, then what hangs on the day, then on the pace."""
    paces, days = len(nodes.pace), len(nodes.day)
    late = [
        (paces if _has_hours(model, piece) else 1) * (days if any(d for _, _, d in piece) else 1)
        for piece in sums.pieces
    ]
    return plan_leaves(sums.chance, sums.uses, late)


def _spectrum(grid: Grid, piece: tuple[Part, ...]) -> Complexes:
    if grid.model.case.terms.hours_correlation < 1.0 or not _has_hours(grid.model, piece):
        return spectrum(grid, piece)
    return hours_together(grid, piece, grid.day if any(d for _, _, d in piece) else np.zeros(1))


def _has_hours(model: Model, piece: tuple[Part, ...]) -> bool:
    return any(model.inputs[i].shared_hours for atom, _, _ in piece for i in inputs_of(atom))
