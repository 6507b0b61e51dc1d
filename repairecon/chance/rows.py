"""Rows on which a model is evaluated: values of all atoms, at their means or as drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from repairecon.chance.inputs import ONE, Atom, Input

Floats = NDArray[np.float64]
Triple = tuple[Any, Any, Any]
Term = tuple[int, tuple[int, ...], tuple[float, ...]]


@dataclass(frozen=True)
class Compiled:
    """A form as terms (pattern over leaves or -1, atoms, scales) for each output."""

    terms: tuple[tuple[Term, ...], ...]


@dataclass
class Rows:
    """Values of all atoms for some rows, with the leaf of each row."""

    atoms: Sequence[Any]
    leaf: NDArray[np.intp]
    patterns: NDArray[Any]
    at_means: bool = False
    expanded: dict[int, NDArray[Any]] = field(default_factory=dict)
    known: dict[int, Triple] = field(default_factory=dict)

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
