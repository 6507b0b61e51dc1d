"""Rows of a way written as sums of pieces that share nothing with one another."""

from __future__ import annotations

import numpy as np

from repairecon.buying.inputs import Atom
from repairecon.rebuild_or_buy.exact_nodes import Sum
from repairecon.rebuild_or_buy.exact_rows import Rows, same_rows
from repairecon.rebuild_or_buy.exact_spectra import inputs_of


def pieces_of(rows: Rows) -> Sum:
    """Rows written as sums of pieces that share no input with one another."""
    used = np.flatnonzero(np.any(rows.money, axis=0) | np.any(rows.days, axis=0))
    columns, pieces = [], []
    together = frozenset(rows.together)
    for member in _components([rows.atoms[k] for k in used], together):
        places = used[member]
        table = np.concatenate([rows.money[:, places], rows.days[:, places]], axis=1)
        first, kind = same_rows(table)
        for k, row in enumerate(first):
            money, days = np.split(table[row], 2)
            parts = tuple(
                (rows.atoms[a], float(m), float(d)) for a, m, d in zip(places, money, days, strict=True) if m or d
            )
            if parts:
                columns.append(kind == k)
                pieces.append(parts)
    uses = np.array(columns, dtype=bool).reshape(len(columns), len(rows.chance)).T
    return Sum(rows.chance, uses, tuple(pieces))


def _components(atoms: list[Atom], together: frozenset[int]) -> list[list[int]]:
    """Places of atoms that hang together by their inputs, or by hours that all go alike."""
    found: list[tuple[set[int], list[int]]] = []
    for k, atom in enumerate(atoms):
        names, members = set(inputs_of(atom)), [k]
        names |= together if names & together else set()
        for other in [g for g in found if g[0] & names]:
            found.remove(other)
            names, members = names | other[0], other[1] + members
        found.append((names, members))
    return [sorted(members) for _, members in found]
