"""Rows on which a model is evaluated: values of all atoms, at their means or as drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from repairecon.buying.inputs import ONE, Atom, Input

Floats = NDArray[np.float64]
Triple = tuple[Any, Any, Any]
Term = tuple[int, tuple[int, ...], tuple[float, ...]]
Ints = NDArray[np.intp]
Packed = tuple[tuple[Ints, Floats], Ints, Floats, Ints, Ints]


@dataclass(frozen=True)
class Compiled:
    """A form as terms (pattern over leaves or -1, atoms, scales) for each output."""

    terms: tuple[tuple[Term, ...], ...]
    _packed: list[Packed] = field(default_factory=list, compare=False, repr=False)

    def packed(self) -> list[Packed]:
        """The same as arrays: atoms and scales without a pattern, then those with one, where each begins, and which."""
        if not self._packed:
            self._packed.extend(_pack(terms) for terms in self.terms)
        return self._packed


def _pack(terms: Sequence[Term]) -> Packed:
    sure = [(a, s) for k, atoms, scales in terms if k < 0 for a, s in zip(atoms, scales, strict=True)]
    bent = [term for term in terms if term[0] >= 0]
    starts = np.cumsum([0, *(len(atoms) for _, atoms, _ in bent)])[:-1]
    return (
        (np.array([a for a, _ in sure], dtype=np.intp), np.array([s for _, s in sure], dtype=np.float64)),
        np.array([a for _, atoms, _ in bent for a in atoms], dtype=np.intp),
        np.array([s for _, _, scales in bent for s in scales], dtype=np.float64),
        starts.astype(np.intp),
        np.array([k for k, _, _ in bent], dtype=np.intp),
    )


@dataclass
class Rows:
    """Values of all atoms for some rows, with the leaf of each row."""

    atoms: Sequence[Any]
    leaf: NDArray[np.intp]
    patterns: NDArray[Any]
    at_means: bool = False
    expanded: dict[int, NDArray[Any]] = field(default_factory=dict)
    known: dict[int, Triple] = field(default_factory=dict)

    @cached_property
    def means(self) -> Floats:
        """The atoms in one array, where each is one number."""
        return np.array(self.atoms, dtype=np.float64)

    def pattern(self, k: int, rows: Any) -> NDArray[Any]:
        """Pattern ``k`` spread over the rows."""
        if k not in self.expanded:
            self.expanded[k] = self.patterns[k].take(self.leaf)
        expanded: NDArray[Any] = self.expanded[k][rows]
        return expanded

    def value(self, atom: int, rows: Any) -> Any:
        """Values of an atom on some rows; a mean stays a number."""
        v = self.atoms[atom]
        return v if np.ndim(v) == 0 else v[rows]


class DrawnAtoms(Sequence[Any]):
    """Atoms of drawn inputs; those that no form asks for cost nothing."""

    def __init__(self, atoms: Sequence[Atom], inputs: Sequence[Input], drawn: Sequence[Floats]) -> None:
        self.atoms, self.inputs, self.drawn = atoms, inputs, drawn
        self.known: dict[int, Any] = {}

    def __len__(self) -> int:
        return len(self.atoms)

    def __getitem__(self, k: Any) -> Any:
        if k not in self.known:
            self.known[k] = self._value(self.atoms[k])
        return self.known[k]

    def _value(self, atom: Atom) -> Any:
        if atom == ONE:
            return 1.0
        if atom[0] == "*":
            v: Any = self.drawn[int(str(atom[1]))]
            for i in atom[2:]:
                v = v * self.drawn[int(str(i))]
            return v
        v = float(sum(k * self.inputs[i].mean for i, k in atom[2]))  # type: ignore[attr-defined]
        for i in atom[1]:  # type: ignore[attr-defined]
            v = np.maximum(v, self.drawn[i])
        return v


ALL = slice(None)


def atoms_by_input(atoms: Sequence[Atom]) -> dict[int, list[int]]:
    """Atoms in which each input stands."""
    where: dict[int, list[int]] = {}
    for k, atom in enumerate(atoms):
        if atom != ONE:
            inputs = atom[1:] if atom[0] == "*" else (*atom[1], *(i for i, _ in atom[2]))  # type: ignore
            for i in inputs:
                where.setdefault(int(str(i)), []).append(k)
    return where


def added(total: Any, value: Any, scale: Any = 1.0) -> Any:
    """``total + value * scale``, in the array of the total where it is one."""
    if type(total) is not np.ndarray:
        return value * scale if type(total) is float and total == 0.0 else total + value * scale
    total += value if type(scale) is float and scale == 1.0 else value * scale
    return total


def full(triple: Triple, n: int) -> Triple:
    """Arrays of their own, as fine as what they are made of."""
    wanted = [t.dtype if np.ndim(t) else np.float64 for t in triple]
    return tuple(np.broadcast_to(t, (n,)).astype(d) for t, d in zip(triple, wanted, strict=True))  # type: ignore[return-value]


def spread(triple: Triple, n: int) -> Triple:
    """One number a row; to be read only, as arrays are handed on as they are."""
    return tuple(t if np.ndim(t) else np.broadcast_to(np.float64(t), (n,)) for t in triple)  # type: ignore[return-value]


def rows_of(leaves: NDArray[np.bool_], leaf: NDArray[np.intp]) -> Any:
    """Rows that lie in some leaves; a slice where they are neighbours (leaves are sorted)."""
    wanted = np.flatnonzero(leaves)
    if len(wanted) and len(leaf) and wanted[-1] - wanted[0] + 1 == len(wanted):
        return slice(int(np.searchsorted(leaf, wanted[0])), int(np.searchsorted(leaf, wanted[-1], side="right")))
    return np.flatnonzero(leaves.take(leaf))
