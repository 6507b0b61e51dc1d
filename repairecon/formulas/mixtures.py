"""Spectra of mixtures over the leaves of a tree, whose sums share most of their terms."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from repairecon.formulas.spectra import Complexes

Ints = NDArray[np.intp]

CUTOFF = 1e-12


@dataclass(frozen=True)
class LeafPlan:
    """In which order the terms of all leaves are multiplied and added up.

    ``always`` are the terms of every leaf. A step takes some terms out of the rows: (terms, number of rows
    afterwards, rows without the terms, what becomes of them, rows with the terms, what becomes of them).
    """

    always: Ints
    chance: NDArray[np.float64]
    steps: tuple[tuple[Ints, int, Ints, Ints, Ints, Ints], ...]


def plan_leaves(chance: ArrayLike, uses: ArrayLike) -> LeafPlan:
    """Order in which to multiply and add up the spectra of leaves that share terms.

    Parameters
    ----------
    chance : array (leaves,)
        Chance of each leaf [-].
    uses : bool array (leaves, terms)
        Whether the leaf's sum has the term [-].

    Returns
    -------
    LeafPlan
        For :func:`mix_leaves`; the same whatever the spectra [-].

    Notes
    -----
    Terms of every leaf are taken out; terms that always come together count as one; then, one after the
    other, the term goes that leaves the fewest different rows behind. Independent events so cost the sum
    of their outcomes, not the product. Leaves of chance 0 are dropped.

    References
    ----------
    R. Bellman, Dynamic Programming (1957), from memory (one variable after the other).

    Examples
    --------
    >>> plan = plan_leaves([0.25, 0.25, 0.5], [[1, 1, 0], [1, 0, 1], [1, 0, 0]])
    >>> plan.always.tolist(), len(plan.steps)
    ([0], 2)
    """
    weight, table = np.asarray(chance, dtype=float), np.asarray(uses, dtype=bool)
    table, weight = table[weight > 0.0], weight[weight > 0.0]
    every = table.all(axis=0)
    some = np.flatnonzero(table.any(axis=0) & ~every)
    columns, bundle = np.unique(table[:, some], axis=1, return_inverse=True)
    bundle = bundle.reshape(-1)
    rows, leaf = np.unique(columns, axis=0, return_inverse=True)
    weight = np.bincount(leaf.reshape(-1), weights=weight, minlength=len(rows))
    order = _elimination(rows)
    rows = rows[:, order]
    if len(order):
        sort = np.lexsort(rows.T[::-1])
        rows, weight = rows[sort], weight[sort]
    steps = []
    for k in range(len(order) - 1, -1, -1):
        used, rows = rows[:, k], rows[:, :k]
        new = np.concatenate([[True], np.any(rows[1:] != rows[:-1], axis=1)])
        after, bare, full = np.cumsum(new) - 1, np.flatnonzero(~used), np.flatnonzero(used)
        steps.append((some[bundle == order[k]], int(new.sum()), bare, after[bare], full, after[full]))
        rows = rows[new]
    return LeafPlan(np.flatnonzero(every), np.asarray(weight, dtype=np.float64), tuple(steps))


def mix_leaves(plan: LeafPlan, spectra: ArrayLike) -> Complexes:
    """Spectrum of the mixture of all leaves' sums from the spectra of the terms.

    Parameters
    ----------
    plan : LeafPlan
        From :func:`plan_leaves` [-].
    spectra : complex array (terms, frequencies)
        Spectrum of each term [-].

    Returns
    -------
    complex array (up to frequencies,)
        Spectrum of the mixture [-]; cut off where the terms of every leaf together stay below 1e-12.

    Notes
    -----
    Sum over the leaves of chance times the product of the spectra of their terms. The figures cut off move
    the chance at a grid point by less than 1e-12.

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
    rows = np.asarray(spectra, dtype=np.complex128)
    base, kept = _common(rows, plan.always)
    mixed = plan.chance[:, np.newaxis].astype(np.complex128)
    for terms, count, bare, bare_after, full, full_after in plan.steps:
        before, mixed = mixed, np.zeros((count, kept), dtype=np.complex128)
        mixed[bare_after] = before[bare]
        mixed[full_after] += before[full] * _product(rows[:, :kept], terms)
    return np.asarray(base * mixed[0])


def _common(spectra: Complexes, always: Ints) -> tuple[Complexes, int]:
    """Product of the terms of every leaf, and how many of its figures count."""
    base = _product(spectra, always)
    large = np.flatnonzero(np.abs(base) > CUTOFF)
    kept = int(large[-1]) + 1 if len(large) else 1
    return base[:kept], kept


def _product(spectra: Complexes, terms: Ints) -> Complexes:
    if len(terms) == 0:
        return np.ones(spectra.shape[1], dtype=np.complex128)
    product: Complexes = spectra[terms[0]].copy()
    for t in terms[1:]:
        product *= spectra[t]
    return product


def _elimination(rows: NDArray[np.bool_]) -> list[int]:
    """Columns in the order of their weight in sorting: the one to go first stands last."""
    left, gone = list(range(rows.shape[1])), []
    if len(left) > 62:
        return left
    bits = np.int64(1) << np.arange(len(left), dtype=np.int64)
    code = rows @ bits
    while left:
        counts = [len(np.unique(code & ~bits[c])) for c in left]
        out = left.pop(int(np.argmin(counts)))
        code = np.unique(code & ~bits[out])
        gone.append(out)
    return gone[::-1]
