"""The bills of all ways of a case as arrays: terms, and patterns of coefficients over the leaves that many terms share.
Nothing is chosen and nothing is worked out here: a program holds what may be asked for, by way and by the stage after
which a way is taken."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import permutations

import numpy as np
from numpy.typing import NDArray

from repairecon.buying.inputs import ONE, Product, Term, inputs_of
from repairecon.rebuild_or_buy.tree import STAGE, Floats
from repairecon.rebuild_or_buy.ways_cost import OWN_SPARE, WaysCost, lasting
from repairecon.rebuild_or_buy.work import OUTPUTS, Bill
from repairecon.records import Case, Source, Way

EVERYWHERE = 0
"""The first pattern: one in every leaf."""

_GRID = 2.0**43
"""Steps of one between the values of a pattern."""


@dataclass(frozen=True)
class Group:
    """Terms of one output that share a pattern: the pattern's value times the sum of scale times term."""

    pattern: int
    terms: tuple[int, ...]
    scales: tuple[float, ...]


@dataclass(frozen=True, eq=False)
class Compiled:
    """A bill as groups by output, and the same flat: output, pattern, term and scale of each coefficient."""

    groups: tuple[tuple[Group, ...], ...]
    output: NDArray[np.intp]
    pattern: NDArray[np.intp]
    term: NDArray[np.intp]
    scale: Floats


class Program:
    """A case compiled from stage ``done`` on: bills by the place of a way, and of the stage after which it is taken.
    Like patterns and like terms are kept once."""

    def __init__(self, case: Case, costs: WaysCost, done: int) -> None:
        self.tree, self.done, self._costs, self._ways = costs.tree, done, costs, case.ways
        self._terms: dict[Term, int] = {}
        self._rows: dict[bytes, tuple[int, Floats]] = {}
        self._pattern(np.ones(len(costs.tree.chance)))
        ways, buys, bill, inputs = case.ways, plain_buys(case.ways), self._bill, costs.work.inputs
        here = [i for i, w in enumerate(ways) if w.kind == "rebuild"]
        rebuilds = {i: w.traits.rebuilds for i, w in enumerate(ways) if w.traits.rebuilds}
        self.ends = {i: costs.ends[ways[i].way] for i in rebuilds}  # stages (L,)
        self.main = {i: bill(self._rebuild(ways[i])) for i, where in rebuilds.items() if where == "here"}
        points = range(done, len(STAGE))
        # a rebuild up to a stage
        self.spent = {(i, k): bill(costs.rebuild(ways[i], upto=k) if k >= 0 else Bill()) for i in here for k in points}
        away = [i for i, where in rebuilds.items() if where == "away"]
        self.away = {(i, after): bill(costs.send_away(ways[i], after)) for i in away for after in points}
        self.main |= {i: self.away[i, done] for i in away}
        self.spare = {i: bill(costs.purchase(ways[i])) for i in buys}  # the price alone
        self.bought = {(i, after): bill(costs.buy(ways[i], after)) for i in buys for after in points}
        # from one depth of rebuild to another, as long as no parts are ordered: the other's work that is not done yet
        self.over = {(a, b, point): bill(costs.not_done_yet(ways[b], ways[a], point))
                     for a, b in permutations(here, 2) for point in range(done, costs.order_stage + 1)}  # fmt: skip
        self.never: dict[int, int] = {}  # the input that it never comes, or that a spare is dead
        self.late: dict[int, Compiled] = {}  # the wait for a way that never comes
        # its work by then, by way, the one taken instead (-1: none) and stage
        self.lost: dict[tuple[int, int, int], Compiled] = {}
        for i, way in enumerate(ways):
            self._never(i, way)
        # carrying on, temporary repairs and doing without
        self.main |= {i: bill(costs.meanwhile(w)) for i, w in enumerate(ways) if not lasting(w)}
        old = {i: w for i, w in enumerate(ways) if w.traits.in_service == "old"}
        self.breaks = {i: bill(costs.breaks(w)) for i, w in old.items()}  # what more breaks
        self.fails = {i: self._input(inputs.chance(f"fails:{w.way}", f"{w.way} fails before", w.p_fails, w.source))
                      for i, w in old.items()}  # fmt: skip
        self.away_more, self.p_away = bill(costs.away()) if old else None, -1  # of a failure away from base
        if old:
            p, source = case.years.p_away, Source("case.toml")
            self.p_away = self._input(inputs.chance("fails away", "it fails away from base", p, source))
        name, unit = "cost of a day out of service", f"{case.terms.currency} a day"
        self.lost_day = self._input(inputs.number("lost day", name, unit, case.terms.cost_lost_day))
        self.inputs, self.terms = tuple(inputs.items), tuple(self._terms)
        self.patterns = np.array([row for _, row in self._rows.values()])

    def _term(self, term: Term) -> int:
        return self._terms.setdefault(term, len(self._terms))

    def _by_name(self, amount: tuple[Term, object]) -> list[str]:
        """An order of terms in which no order of rows changes how sums are rounded."""
        return sorted(self._costs.work.inputs.items[i].key for i in inputs_of(amount[0]))

    def _input(self, product: Product) -> int:
        """Place of an input that may stand in no bill."""
        self._term(product)
        return product.inputs[0]

    def _pattern(self, row: Floats) -> int:
        return self._rows.setdefault(row.tobytes(), (len(self._rows), row))[0]

    def _bill(self, bill: Bill) -> Compiled:
        outputs, flat = [], []
        for o, output in enumerate(OUTPUTS):
            groups: dict[int, tuple[list[int], list[float]]] = {}
            for term, coef in sorted(getattr(bill, output).items(), key=self._by_name):
                pattern, scale = EVERYWHERE, coef
                if isinstance(coef, np.ndarray):
                    scale = float(coef[np.argmax(np.abs(coef))]) if coef.ndim else float(coef)
                    # on a grid, so that sums made in another order share their pattern
                    on_grid = np.floor(coef / scale * _GRID + 0.5) / _GRID if coef.ndim and np.ptp(coef) else None
                    pattern = EVERYWHERE if on_grid is None else self._pattern(on_grid)
                terms, scales = groups.setdefault(pattern, ([], []))
                terms.append(self._term(term))
                scales.append(float(scale))
                flat.append((o, pattern, terms[-1], scales[-1]))
            outputs.append(tuple(Group(k, tuple(t), tuple(s)) for k, (t, s) in groups.items()))
        o_, k_, t_ = (np.array([row[i] for row in flat], dtype=np.intp) for i in range(3))
        return Compiled(tuple(outputs), o_, k_, t_, np.array([row[3] for row in flat], dtype=np.float64))

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


def plain_buys(ways: Sequence[Way]) -> list[int]:
    """Places of the ways that only buy."""
    return [i for i, w in enumerate(ways) if w.traits.buys and not w.traits.rebuilds]
