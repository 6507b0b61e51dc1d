"""The bills of all ways of a case as arrays, and what pieces of them come to, at the means of the inputs (exact
expectations) or drawn. A piece is a bill on some leaves, as often as some chances come up; ``model`` chooses pieces."""

from __future__ import annotations

import operator
from collections import defaultdict
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, reduce
from itertools import permutations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from repairecon.buying.inputs import ONE, Input, LongestWait, Product, Term, inputs_of
from repairecon.formulas.ranges import expected_maximum
from repairecon.rebuild_or_buy.tree import STAGE, Bools, Floats
from repairecon.rebuild_or_buy.ways_cost import OWN_SPARE, WaysCost, plain_buys
from repairecon.rebuild_or_buy.work import OUTPUTS, Bill
from repairecon.records import Case, Source, Way

# ---- terms, and patterns of coefficients over the leaves that many terms share ----------------
EVERYWHERE = 0  # the first pattern: one in every leaf
_GRID = 2.0**43  # steps of one between the values of a pattern


@dataclass(frozen=True, eq=False)
class Compiled:
    """A bill as output, pattern, term and scale of each coefficient; and by output and pattern the terms and scales."""

    output: NDArray[np.intp]
    pattern: NDArray[np.intp]
    term: NDArray[np.intp]
    scale: Floats
    groups: tuple[dict[int, list[tuple[int, float]]], ...]


class Program:
    """A case compiled from stage ``done`` on: bills by place of a way, and stage after which it is taken."""

    def __init__(self, case: Case, costs: WaysCost, done: int) -> None:
        self.done, self._costs, self._ways = done, costs, case.ways
        self._terms: dict[Term, int] = {}
        self._rows: dict[bytes, tuple[int, Floats]] = {}
        self._pattern(np.ones(len(costs.tree.chance)))
        ways, buys, bill, inputs = case.ways, plain_buys(case.ways), self._bill, costs.work.inputs
        rebuilds, in_service = defaultdict[str, list[int]](list), defaultdict[str, list[int]](list)
        for i, way in enumerate(ways):
            rebuilds[way.traits.rebuilds].append(i)
            in_service[way.traits.in_service].append(i)
        here = [i for i in rebuilds["here"] if not ways[i].traits.buys]  # no pairs

        def by_stage(places: list[int], write: Callable[[Way, int], Bill]) -> dict[tuple[int, int], Compiled]:
            return {(i, stage): bill(write(ways[i], stage)) for i in places for stage in range(done, len(STAGE))}

        self.ends = {i: costs.ends[ways[i].way] for i in sorted(rebuilds["here"] + rebuilds["away"])}  # stages (L,)
        self.main = {i: bill(self._rebuild(ways[i])) for i in rebuilds["here"]}
        self.spent = by_stage(here, lambda way, k: costs.rebuild(way, upto=k) if k >= 0 else Bill())
        self.away = by_stage(rebuilds["away"], costs.send_away)
        self.main |= {i: self.away[i, done] for i in rebuilds["away"]}
        self.spare = {i: bill(costs.purchase(ways[i])) for i in buys}  # the price alone
        self.bought = by_stage(buys, costs.buy)
        # from one depth of rebuild to another, as long as no parts are ordered: the other's work that is not done yet
        self.over = {(a, b, point): bill(costs.not_done_yet(ways[b], ways[a], point))
                     for a, b in permutations(here, 2) for point in range(done, costs.order_stage + 1)}  # fmt: skip
        self.never: dict[int, int] = {}  # the input that it never comes, or that a spare is dead
        self.late: dict[int, Compiled] = {}  # the wait for a way that never comes
        # its work by then, by way, the one taken instead (-1: none) and stage
        self.lost: dict[tuple[int, int, int], Compiled] = {}
        for i, way in enumerate(ways):
            self._never(i, way)
        self._for_a_while(in_service["old"], in_service["none"])
        name, unit = "cost of a day out of service", f"{case.terms.currency} a day"
        self.lost_day = self._input(inputs.number("lost day", name, unit, case.terms.cost_lost_day))
        self.inputs, self.terms = tuple(inputs.items), tuple(self._terms)
        self.patterns = np.array([row for _, row in self._rows.values()])

    def _for_a_while(self, old: list[int], none: list[int]) -> None:
        """Carrying on and temporary repairs, with what more breaks and the chance of failing; doing without."""
        costs, ways, bill, inputs = self._costs, self._ways, self._bill, self._costs.work.inputs
        self.main |= {i: bill(costs.meanwhile(ways[i])) for i in sorted(old + none)}
        self.breaks = {i: bill(costs.breaks(ways[i])) for i in old}  # what more breaks
        self.fails = {i: self._input(inputs.chance(f"fails:{w.way}", f"{w.way} fails before", w.p_fails, w.source))
                      for i, w in ((i, ways[i]) for i in old)}  # fmt: skip
        self.away_more, self.p_away = bill(costs.away() if old else Bill()), -1  # of a failure away from base
        if old:
            p, source = costs.case.years.p_away, Source("case.toml")
            self.p_away = self._input(inputs.chance("fails away", "it fails away from base", p, source))

    def _term(self, term: Term) -> int:
        return self._terms.setdefault(term, len(self._terms))

    def _input(self, product: Product) -> int:
        self._term(product)  # it may stand in no bill
        return product.inputs[0]

    def _pattern(self, row: Floats) -> int:
        return self._rows.setdefault(row.tobytes(), (len(self._rows), row))[0]

    def _bill(self, bill: Bill) -> Compiled:
        items, flat = self._costs.work.inputs.items, []
        groups: tuple[dict[int, list[tuple[int, float]]], ...] = tuple({} for _ in OUTPUTS)

        def by_name(amount: tuple[tuple[int, Term], Any]) -> tuple[int, list[str]]:
            """An order of terms in which no order of rows changes how sums are rounded."""
            return amount[0][0], sorted(items[i].key for i in inputs_of(amount[0][1]))

        for (o, term), coef in sorted(bill.items(), key=by_name):
            coefs = np.asarray(coef, dtype=np.float64)
            pattern, scale = EVERYWHERE, float(coefs.flat[np.abs(coefs).argmax()])
            if np.ptp(coefs) > 0:  # on a grid, so that sums made in another order share their pattern
                pattern = self._pattern(np.floor(coefs / scale * _GRID + 0.5) / _GRID)
            flat.append((o, pattern, self._term(term), scale))
            groups[o].setdefault(pattern, []).append(flat[-1][2:])
        o_, k_, t_ = (np.array([row[i] for row in flat], dtype=np.intp) for i in range(3))
        return Compiled(o_, k_, t_, np.array([row[3] for row in flat], dtype=np.float64), groups)

    def _rebuild(self, way: Way) -> Bill:
        leisure = way.traits.in_service == "bought"
        whole = self._costs.rebuild(way, at_leisure=leisure)
        return whole.minus(self._costs.rebuild(way, at_leisure=leisure, upto=self.done)) if self.done >= 0 else whole

    def _never(self, i: int, way: Way) -> None:
        """The chance that a way never comes, as its quote has it or else as the way itself, and what is lost by it."""
        p, what, label = way.p_never, "never", "never comes"
        if way.kind == OWN_SPARE:
            p, what, label = way.p_dead, "dead", "is dead"
        elif i in plain_buys(self._ways):
            quote = self._costs.price_of(way).quote
            p = quote.p_never if quote is not None and quote.p_never > 0 else p
        elif way.traits.rebuilds != "away":
            return
        if p > 0:
            chance = self._costs.work.inputs.chance(f"{what}:{way.way}", f"{way.way} {label}", p, way.source)
            self.never[i] = self._input(chance)
            wait = Bill()
            if way.kind != OWN_SPARE:  # a spare aboard is not waited for
                wait.take(ONE, self._costs.case.terms.give_up_days)
            self.late[i] = self._bill(wait)
            for other in (-1, *(b for b in plain_buys(self._ways) if b != i)):
                instead = None if other < 0 else self._ways[other]
                for after in range(self.done, len(STAGE)):
                    self.lost[i, other, after] = self._bill(self._costs.lost(way, instead, after))


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

    def _over_leaves(self, on: Leaves | None) -> Floats:
        if on not in self._pattern_chance:
            weights = self.chance if on is None else self.chance * on.mask
            self._pattern_chance[on] = self.program.patterns @ weights
        return self._pattern_chance[on]

    def expected(self, pieces: Pieces) -> Floats:
        """Expected (cash, own hours, days)."""
        total = np.zeros(3)
        for piece in pieces:
            b = piece.bill
            terms = self.terms_ahead if piece.ahead else self.terms
            amounts = terms[b.term] * b.scale * self._over_leaves(piece.on)[b.pattern]
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
        bill, key = piece.bill, (piece.bill, piece.ahead, weights)
        if key not in self._by_pattern:
            terms = self.terms_ahead if piece.ahead else self.terms
            amounts = terms[bill.term] * bill.scale * np.array(weights)[bill.output]
            count = len(self.program.patterns)
            self._by_pattern[key] = np.asarray(np.bincount(bill.pattern, amounts, count), dtype=np.float64)
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


class Drawn:
    """Pieces for drawn inputs, a row a draw: ``values`` by input (n,), ``leaf`` of each row."""

    def __init__(self, program: Program, values: Any, leaf: NDArray[np.intp], patterns: NDArray[Any]) -> None:
        self.program, self.values, self.leaf, self.patterns = program, values, leaf, patterns
        self._terms: dict[tuple[int, bool], Any] = {}
        self._spread: dict[int, NDArray[Any]] = {}
        self._whole: dict[tuple[Compiled, bool], list[Any]] = {}

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
        return reduce(operator.mul, (self.values[i] for i in term.inputs))

    def _pattern(self, k: int) -> Any:
        if k not in self._spread:
            self._spread[k] = self.patterns[k].take(self.leaf)
        return self._spread[k]

    def run(self, piece: Piece) -> list[Any]:
        """Cash, own hours and days of a bill in every row, worked out once and only to be read."""
        key = piece.bill, piece.ahead
        if key not in self._whole:
            self._whole[key] = []
            for groups in piece.bill.groups:
                total: Any = 0.0
                for pattern, amounts in groups.items():
                    inner = sum(self.term(k, piece.ahead) * scale for k, scale in amounts)
                    total = total + (inner if pattern == EVERYWHERE else inner * self._pattern(pattern))
                self._whole[key].append(total)
        return self._whole[key]

    def evaluate(self, pieces: Pieces) -> list[Any]:
        """Cash, own hours and days in every row."""
        total: list[Any] = [0.0, 0.0, 0.0]
        for piece in pieces:
            often = as_often(self.values, piece)
            if piece.on is not None:
                often = often * piece.on.mask.take(self.leaf).astype(self.patterns.dtype)
            total = [t + value * often for t, value in zip(total, self.run(piece), strict=True)]
        return [np.broadcast_to(t, self.leaf.shape) for t in total]
