"""Spectra of mixtures over the leaves of a tree, whose sums share most of their terms."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np
from numpy.typing import ArrayLike, NDArray

from repairecon.formulas.spectra import Complexes

CUTOFF = 1e-12
BLOCK = 2**14
"""Figures of a spectrum that are mixed at a time."""
ODD = 0x9E3779B97F4A7C15
"""Its powers tell columns apart, modulo 2**64; any large odd number does."""


@dataclass(frozen=True)
class LeafPlan:
    """In which order the terms of all leaves are multiplied and added up.

    ``always`` are the terms of every leaf. A step takes some terms out of the rows: (terms, number of rows
    afterwards, rows without the terms, what becomes of them, rows with the terms, what becomes of them).
    """

    always: list[int]
    chance: list[float]
    steps: tuple[tuple[list[int], int, list[int], list[int], list[int], list[int]], ...]


def plan_leaves(chance: ArrayLike, uses: ArrayLike, late: ArrayLike = 0) -> LeafPlan:
    """Order in which to multiply and add up the spectra of leaves that share terms.

    Parameters
    ----------
    chance : array (leaves,)
        Chance of each leaf [-].
    uses : bool array (leaves, terms)
        Whether the leaf's sum has the term [-].
    late : array (terms,) or 0
        Terms with a greater figure are taken out later; give the size of each term's spectra [-].

    Returns
    -------
    LeafPlan
        For :func:`mix_leaves`; the same whatever the spectra [-].

    Notes
    -----
    Terms of every leaf are taken out; terms that always come together count as one; then, one after the
    other, the term goes that leaves the fewest different rows behind, small terms before large ones, as there are
    ever fewer rows. Independent events so cost the sum of their outcomes, not the product. Leaves of chance 0
    are dropped.

    References
    ----------
    R. Bellman, Dynamic Programming (1957), from memory (one variable after the other).

    Examples
    --------
    >>> plan = plan_leaves([0.25, 0.25, 0.5], [[1, 1, 0], [1, 0, 1], [1, 0, 0]])
    >>> plan.always, len(plan.steps)
    ([0], 2)
    """
    weight, table = np.asarray(chance, dtype=float), np.asarray(uses, dtype=bool)
    rank = np.broadcast_to(np.asarray(late, dtype=float), table.shape[1:])
    table, weight = table[weight > 0.0], weight[weight > 0.0]
    every = table.all(axis=0)
    some = np.flatnonzero(table.any(axis=0) & ~every)
    some = some[np.argsort(rank[some], kind="stable")]
    columns, bundle = np.unique(table[:, some], axis=1, return_inverse=True)
    bundle = bundle.reshape(-1)
    rows, leaf = np.unique(columns, axis=0, return_inverse=True)
    weight = np.bincount(leaf.reshape(-1), weights=weight, minlength=len(rows))
    largest = np.full(columns.shape[1], -np.inf)
    np.maximum.at(largest, bundle, rank[some])
    order = _elimination(rows, largest)
    rows = rows[:, order]
    if len(order):
        sort = np.lexsort(rows.T[::-1])
        rows, weight = rows[sort], weight[sort]
    steps = []
    for k in range(len(order) - 1, -1, -1):
        used, rows = rows[:, k], rows[:, :k]
        new = np.concatenate([[True], np.any(rows[1:] != rows[:-1], axis=1)])
        after, bare, full = np.cumsum(new) - 1, np.flatnonzero(~used), np.flatnonzero(used)
        places = [x.tolist() for x in (bare, after[bare], full, after[full])]
        steps.append((some[bundle == order[k]].tolist(), int(new.sum()), *places))
        rows = rows[new]
    always = np.flatnonzero(every)
    return LeafPlan(always[np.argsort(rank[always], kind="stable")].tolist(), weight.tolist(), tuple(steps))


def mix_leaves(plan: LeafPlan, spectra: Sequence[ArrayLike] | Complexes) -> Complexes:
    """Spectrum of the mixture of all leaves' sums from the spectra of the terms.

    Parameters
    ----------
    plan : LeafPlan
        From :func:`plan_leaves` [-].
    spectra : sequence of complex arrays (..., frequencies)
        Spectrum of each term, or several: one for each of some values on which it hangs, along leading axes of
        its own, of length 1 where it hangs on none of them [-].

    Returns
    -------
    complex array (..., up to frequencies)
        Spectrum of the mixture [-]; cut off where the terms of every leaf together stay below 1e-12.

    Notes
    -----
    Sum over the leaves of chance times the product of the spectra of their terms. The figures cut off move
    the chance at a grid point by less than 1e-12. Frequencies are taken in blocks that stay near the processor.

    References
    ----------
    W. Feller, An Introduction to Probability Theory and Its Applications, vol. 2, 2nd ed.,
    ch. XV, from memory.

    Examples
    --------
    >>> plan = plan_leaves([0.5, 0.5], [[1, 1], [1, 0]])
    >>> mix_leaves(plan, [[1.0, 0.5], [1.0, -1.0]]).real.tolist()
    [1.0, 0.0]
    """
    terms = [np.asarray(s, dtype=np.complex128) for s in spectra]
    shape = np.broadcast_shapes(*(s.shape for s in terms))
    base = _product(terms, plan.always) if plan.always else np.ones(shape[-1:], dtype=np.complex128)
    large = np.flatnonzero(np.abs(base).max(axis=tuple(range(base.ndim - 1))) > CUTOFF)
    kept = int(large[-1]) + 1 if len(large) else 1
    width = max(BLOCK * shape[-1] // math.prod(shape), 64)
    blocks = [slice(k, min(k + width, kept)) for k in range(0, kept, width)]
    mixed = np.empty((*shape[:-1], kept), dtype=np.complex128)
    for block in blocks:
        mixed[..., block] = base[..., block] * _rows(plan, [s[..., block] for s in terms])
    return mixed


def _rows(plan: LeafPlan, spectra: Sequence[Complexes]) -> Complexes | float:
    """What the leaves come to, one term after the other; products stay as small as their terms."""
    rows: list[Complexes | float] = list(plan.chance)
    for terms, count, bare, bare_after, full, full_after in plan.steps:
        before, after = rows, dict(zip(bare_after, (rows[r] for r in bare), strict=True))
        product = _product(spectra, terms)
        for row, place in zip(full, full_after, strict=True):
            times = before[row] * product
            after[place] = after[place] + times if place in after else times
        rows = [after[k] for k in range(count)]
    return rows[0]


def _product(spectra: Sequence[Complexes], terms: Sequence[int]) -> Complexes:
    return reduce(np.multiply, (spectra[t] for t in terms))


def _elimination(rows: NDArray[np.bool_], late: NDArray[np.float64]) -> list[int]:
    """Columns in the order of their weight in sorting: the one to go first stands last."""
    left, gone = np.argsort(late, kind="stable"), []
    keys = np.cumprod(np.full(rows.shape[1], ODD, dtype=np.uint64))
    code = rows @ keys  # alike where rows are alike; the order alone hangs on it
    while len(left):
        some = left[late[left] == late[left[0]]]
        without = np.sort(code[:, np.newaxis] - rows[:, some] * keys[some], axis=0)
        counts = np.count_nonzero(without[1:] != without[:-1], axis=0)
        out = some[int(np.argmin(counts))]
        code = code - rows[:, out] * keys[out]
        if counts.min() < 0.7 * len(code):
            code, first = np.unique(code, return_index=True)
            rows = rows[first]
        left = left[left != out]
        gone.append(int(out))
    return gone[::-1]
