"""What pieces of bills come to: at the means of the inputs (exact expectations) or for drawn inputs. A piece is a bill
that counts on some leaves, as often as some chances come up. Which pieces make up a way is chosen elsewhere
(``model``); here they are only added up."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from repairecon.buying.inputs import ONE, Input, LongestWait, Product, Term, inputs_of
from repairecon.formulas.ranges import expected_maximum
from repairecon.rebuild_or_buy.compile import EVERYWHERE, Compiled, Program
from repairecon.rebuild_or_buy.tree import Bools, Floats

Triple = tuple[Any, Any, Any]
MOSTLY = 0.5
"""Share of draws from which on a chance is multiplied in instead of picking the draws in which it comes up."""


@dataclass(frozen=True, eq=False)
class Leaves:
    """Some leaves of the tree."""

    mask: Bools


@dataclass(frozen=True)
class Piece:
    """A bill that counts on some leaves (None: all), as often as chances come up or, where False, do not. ``ahead``:
    all is ordered while the old unit still works, so that no wait counts."""

    bill: Compiled
    on: Leaves | None = None
    chances: tuple[tuple[int, bool], ...] = ()
    ahead: bool = False

    def given(self, chances: tuple[tuple[int, bool], ...]) -> Piece:
        """The same as often as some more chances come up."""
        return replace(self, chances=(*self.chances, *chances))


Pieces = tuple[Piece, ...]


def as_often(inputs: Any, piece: Piece) -> Any:
    """How often the chances of a piece come up, all inputs at their means or drawn."""
    often: Any = 1.0
    for i, happens in piece.chances:
        often = often * (inputs[i] if happens else 1.0 - inputs[i])
    return often


# ---- at the means -------------------------------------------------------------------------
def term_means(
    terms: Sequence[Term], inputs: Sequence[Input], changed: Collection[int] = (), known: Floats | None = None
) -> Floats:
    """Expected value of each term; ``known`` those without the changed inputs, where they have been worked out."""
    values = np.empty(len(terms)) if known is None else known.copy()
    for k, term in enumerate(terms):
        if known is not None and not any(i in changed for i in inputs_of(term)):
            continue
        if isinstance(term, Product):
            values[k] = np.prod([inputs[i].mean for i in term.inputs])
            continue
        waits = [(r.low, r.likely, r.high, r.shape) for r in (inputs[i].range for i in term.waits)]
        floor = sum(times * inputs[i].mean for i, times in term.floor)
        often = np.prod([inputs[i].mean for i in term.often])
        values[k] = often * expected_maximum([*waits, (floor, floor, floor, "pert")])
    return values


class AtMeans:
    """Pieces at the means of the inputs, over leaves of given chances."""

    def __init__(
        self, program: Program, chance: Floats, inputs: Floats, terms: Floats,
        pattern_chance: dict[Leaves | None, Floats],
    ) -> None:  # fmt: skip
        self.program, self.chance, self.inputs, self.terms = program, chance, inputs, terms
        self._pattern_chance = pattern_chance
        self._by_pattern: dict[tuple[Compiled, bool, tuple[float, ...]], Floats] = {}

    @cached_property
    def terms_ahead(self) -> Floats:
        """The same with all ordered ahead: no wait, and of the longest of several only the work done meanwhile."""
        values, means = self.terms.copy(), self.inputs
        for k in np.flatnonzero(self.waits):
            term = self.program.terms[k]
            values[k] = 0.0
            if isinstance(term, LongestWait):
                values[k] = sum(c * means[i] for i, c in term.floor) * np.prod(means[list(term.often)])
        return values

    def _terms(self, piece: Piece) -> Floats:
        return self.terms_ahead if piece.ahead else self.terms

    def _over_leaves(self, on: Leaves | None) -> Floats:
        """Expectation of each pattern over some leaves (K,)."""
        if on not in self._pattern_chance:
            weights = self.chance if on is None else self.chance * on.mask
            self._pattern_chance[on] = self.program.patterns @ weights
        return self._pattern_chance[on]

    def expected(self, pieces: Pieces) -> Floats:
        """Expected (cash, own hours, days)."""
        total = np.zeros(3)
        for piece in pieces:
            b = piece.bill
            amounts = self._terms(piece)[b.term] * b.scale * self._over_leaves(piece.on)[b.pattern]
            total += as_often(self.inputs, piece) * np.bincount(b.output, amounts, 3)
        return total

    def coefficients(self, pieces: Pieces) -> Floats:
        """Expected coefficient of each term in (cash, own hours, days), shape (3, T)."""
        size = len(self.program.terms)
        total = np.zeros(3 * size)
        for piece in pieces:
            b = piece.bill
            amounts = as_often(self.inputs, piece) * b.scale * self._over_leaves(piece.on)[b.pattern]
            if piece.ahead:
                amounts = np.where(self.waits[b.term], 0.0, amounts)
            total += np.bincount(b.output * size + b.term, amounts, 3 * size)
        return total.reshape(3, size)

    @cached_property
    def waits(self) -> Bools:
        inputs = self.program.inputs
        return np.array([any(inputs[i].is_wait for i in inputs_of(term)) for term in self.program.terms])

    def by_pattern(self, piece: Piece, weights: tuple[float, ...]) -> Floats:
        """Coefficient of each pattern (K,) in outputs of a piece's bill added up at weights."""
        bill = piece.bill
        key = bill, piece.ahead, weights
        if key not in self._by_pattern:
            amounts = self._terms(piece)[bill.term] * bill.scale * np.array(weights)[bill.output]
            sums = np.bincount(bill.pattern, amounts, len(self.program.patterns))
            self._by_pattern[key] = np.asarray(sums, dtype=np.float64)
        return self._by_pattern[key]

    def pattern_sum(self, pieces: Pieces, weights: tuple[float, ...]) -> Floats:
        """The same of pieces that count on all leaves."""
        total = np.zeros(len(self.program.patterns))
        for piece in pieces:
            total += as_often(self.inputs, piece) * self.by_pattern(piece, weights)
        return total

    def by_leaf(self, pieces: Pieces, weights: tuple[float, ...]) -> Floats:
        """Outputs added up at weights, in each leaf (L,)."""
        patterns = self.program.patterns
        total = self.pattern_sum(tuple(p for p in pieces if p.on is None), weights) @ patterns
        for piece in pieces:
            if piece.on is not None:
                at = np.flatnonzero(piece.on.mask)
                amounts = self.by_pattern(piece, weights)
                some = np.flatnonzero(amounts)
                total[at] += as_often(self.inputs, piece) * (amounts[some] @ patterns[np.ix_(some, at)])
        return np.asarray(total)


# ---- drawn --------------------------------------------------------------------------------
def added(total: Any, value: Any, scale: Any = 1.0) -> Any:
    """``total + value * scale``, in the array of the total where it is one."""
    if type(total) is not np.ndarray:
        return value * scale if type(total) is float and total == 0.0 else total + value * scale
    total += value if type(scale) is float and scale == 1.0 else value * scale
    return total


def rows_of(leaves: Bools, leaf: NDArray[np.intp]) -> Any:
    """Rows that lie in some leaves; a slice where they are neighbours (rows are sorted by leaf)."""
    wanted = np.flatnonzero(leaves)
    if len(wanted) and len(leaf) and wanted[-1] - wanted[0] + 1 == len(wanted):
        return slice(int(np.searchsorted(leaf, wanted[0])), int(np.searchsorted(leaf, wanted[-1], side="right")))
    return np.flatnonzero(leaves.take(leaf))


class Drawn:
    """Pieces for drawn inputs, a row a draw: ``values`` by input (n,), ``leaf`` of each row in ascending order."""

    def __init__(
        self, program: Program, values: Any, leaf: NDArray[np.intp], patterns: NDArray[Any] | None = None
    ) -> None:
        self.program, self.values, self.leaf = program, values, leaf
        self.patterns = program.patterns if patterns is None else patterns
        self._terms: dict[tuple[int, bool], Any] = {}
        self._spread: dict[int, NDArray[Any]] = {}
        self._whole: dict[tuple[Compiled, bool], Triple] = {}
        self._rows: dict[Leaves, Any] = {}

    def term(self, k: int, ahead: bool = False) -> Any:
        """Values of a term, worked out when it is first wanted."""
        if (k, ahead) not in self._terms:
            self._terms[k, ahead] = self._term(self.program.terms[k], ahead)
        return self._terms[k, ahead]

    def _term(self, term: Term, ahead: bool) -> Any:
        if term == ONE:
            return 1.0
        if isinstance(term, LongestWait):
            longest: Any = float(sum(k * self.program.inputs[i].mean for i, k in term.floor))
            for i in () if ahead else term.waits:
                longest = np.maximum(longest, self.values[i])
            for i in term.often:
                longest = longest * self.values[i]
            return longest
        if ahead and any(self.program.inputs[i].is_wait for i in term.inputs):
            return 0.0
        product: Any = self.values[term.inputs[0]]
        for i in term.inputs[1:]:
            product = product * self.values[i]
        return product

    def _pattern(self, k: int, rows: Any) -> Any:
        if k not in self._spread:
            self._spread[k] = self.patterns[k].take(self.leaf)
        return self._spread[k] if rows is None else self._spread[k][rows]

    def run(self, piece: Piece, rows: Any = None) -> Triple:
        """(cash, own hours, days) of a bill on some rows; over all rows it is worked out once, and only to be read."""
        key = piece.bill, piece.ahead
        if rows is None:
            if key not in self._whole:
                self._whole[key] = self._worked_out(piece, None)
            return self._whole[key]
        if key in self._whole:
            a, b, c = (t if np.ndim(t) == 0 else t[rows] for t in self._whole[key])
            return a, b, c
        return self._worked_out(piece, rows)

    def _worked_out(self, piece: Piece, rows: Any) -> Triple:
        outputs = []
        for groups in piece.bill.groups:
            total: Any = 0.0
            for group in groups:
                inner: Any = 0.0
                for k, scale in zip(group.terms, group.scales, strict=True):
                    v = self.term(k, piece.ahead)
                    inner = added(inner, v if rows is None or np.ndim(v) == 0 else v[rows], scale)
                whole = group.pattern == EVERYWHERE
                total = added(total, inner) if whole else added(total, inner, self._pattern(group.pattern, rows))
            outputs.append(total)
        return outputs[0], outputs[1], outputs[2]

    def evaluate(self, pieces: Pieces) -> Triple:
        """(cash, own hours, days) in every row; to be read only, as arrays are handed on as they are."""
        n, total = len(self.leaf), list[Any]([0.0, 0.0, 0.0])
        alone = len(pieces) == 1 and pieces[0].on is None and not pieces[0].chances
        if alone:
            total = list(self.run(pieces[0]))
        for piece in () if alone else pieces:
            often, rows = as_often(self.values, piece), None
            if piece.on is not None:
                if piece.on not in self._rows:
                    self._rows[piece.on] = rows_of(piece.on.mask, self.leaf)
                rows = self._rows[piece.on]
                often = often if np.ndim(often) == 0 else often[rows]
            elif np.ndim(often) and often.mean() < MOSTLY and np.all((often == 0.0) | (often == 1.0)):
                rows, often = np.flatnonzero(often), 1.0
            for o, value in enumerate(self.run(piece, rows)):
                if np.ndim(value) == 0 and value == 0.0:
                    continue
                amount = value if np.ndim(often) == 0 and often == 1.0 else value * often
                if rows is None:
                    total[o] = total[o] + amount
                    continue
                if np.ndim(total[o]) == 0:
                    total[o] = np.full(n, total[o], dtype=getattr(amount, "dtype", np.float64))
                total[o][rows] += amount
        a, b, c = (t if np.ndim(t) else np.broadcast_to(np.float64(t), (n,)) for t in total)
        return a, b, c
