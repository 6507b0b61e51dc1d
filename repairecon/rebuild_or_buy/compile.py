"""The bills of all ways of a case as arrays: terms, and patterns of coefficients over the leaves that many terms share.

Nothing is chosen and nothing is worked out here: a program holds what may be asked for, by way and by the stage after
which a way is taken.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import permutations

import numpy as np
from numpy.typing import NDArray

from repairecon.buying.inputs import Product, Term, inputs_of
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

    Like patterns and like terms are kept once.
    """

    def __init__(self, case: Case, costs: WaysCost, done: int) -> None:
        self.tree, self.done, self._costs, self._ways = costs.tree, done, costs, case.ways
        self._terms: dict[Term, int] = {}
        self._rows: dict[bytes, tuple[int, Floats]] = {}
        self._pattern(np.ones(len(costs.tree.chance)))
        self.main: dict[int, Compiled] = {}  # rebuilds, sendings away, ways for a while
        self.spent: dict[tuple[int, int], Compiled] = {}  # a rebuild up to a stage
        self.away: dict[tuple[int, int], Compiled] = {}
        self.bought: dict[tuple[int, int], Compiled] = {}
        self.spare: dict[int, Compiled] = {}  # the price alone
        # by the rebuild begun, the one gone over to and the stage: the other's work up to there that is not done yet
        self.over: dict[tuple[int, int, int], Compiled] = {}
        self.never: dict[int, int] = {}  # the input that it never comes, or that a spare is dead
        self.late: dict[int, Compiled] = {}  # the wait for a way that never comes
        # its work by then, by way, the one taken instead (-1: none) and stage
        self.lost: dict[tuple[int, int, int], Compiled] = {}
        self.breaks: dict[int, Compiled] = {}  # of ways for a while: what more breaks
        self.fails: dict[int, int] = {}  # the input that it fails
        self.ends = {i: costs.ends[w.way] for i, w in enumerate(case.ways) if w.traits.rebuilds}  # stages (L,)
        for i, way in enumerate(case.ways):
            if way.traits.rebuilds == "here":
                self._rebuild(i, way)
            if way.traits.rebuilds == "away":
                self.away |= {(i, after): self._bill(costs.send_away(way, after)) for after in self._points()}
                self.main[i] = self.away[i, done]
        for i in plain_buys(case.ways):
            self.spare[i] = self._bill(costs.purchase(case.ways[i]))
            self.bought |= {(i, after): self._bill(costs.buy(case.ways[i], after)) for after in self._points()}
        self._going_over()
        for i, way in enumerate(case.ways):
            self._never(i, way)
        self._for_a_while()
        name, unit = "cost of a day out of service", f"{case.terms.currency} a day"
        self.lost_day = self._input(costs.work.inputs.number("lost day", name, unit, case.terms.cost_lost_day))
        self.inputs, self.terms = tuple(costs.work.inputs.items), tuple(self._terms)
        self.patterns = np.array([row for _, row in self._rows.values()])

    def _points(self) -> range:
        return range(self.done, len(STAGE))

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

    def _rebuild(self, i: int, way: Way) -> None:
        leisure = way.traits.in_service == "bought"
        whole = self._costs.rebuild(way, at_leisure=leisure)
        if self.done >= 0:
            whole = whole.minus(self._costs.rebuild(way, at_leisure=leisure, upto=self.done))
        self.main[i] = self._bill(whole)
        for k in self._points() if way.kind == "rebuild" else ():
            self.spent[i, k] = self._bill(self._costs.rebuild(way, upto=k) if k >= 0 else Bill())

    def _going_over(self) -> None:
        """From one depth of rebuild to another, as long as no parts are ordered."""
        here = [i for i, w in enumerate(self._ways) if w.kind == "rebuild"]
        for begun, other in permutations(here, 2):
            for point in range(self.done, self._costs.order_stage + 1):
                bill = self._costs.not_done_yet(self._ways[other], self._ways[begun], point)
                self.over[begun, other, point] = self._bill(bill)

    def _never(self, i: int, way: Way) -> None:
        """The chance that a way never comes, as its quote has it or else as the way itself, and what is lost by it."""
        p, what, label = way.p_never, "never", "never comes"
        if way.kind == OWN_SPARE:
            p, what, label = way.p_dead, "dead", "is dead"
        elif not way.traits.rebuilds and way.traits.buys:
            quote = self._costs.price_of(way).quote
            p = quote.p_never if quote is not None and quote.p_never > 0 else p
        elif way.traits.rebuilds != "away":
            return
        if p > 0:
            chance = self._costs.work.inputs.chance(f"{what}:{way.way}", f"{way.way} {label}", p, way.source)
            self.never[i] = self._input(chance)
            self.late[i] = self._bill(self._costs.waited_in_vain(way))
            for other in (-1, *(b for b in plain_buys(self._ways) if b != i)):
                instead = None if other < 0 else self._ways[other]
                for after in self._points():
                    self.lost[i, other, after] = self._bill(self._costs.lost(way, instead, after))

    def _for_a_while(self) -> None:
        """Carrying on, temporary repairs and doing without."""
        costs, inputs = self._costs, self._costs.work.inputs
        for i, way in enumerate(self._ways):
            if not lasting(way):
                self.main[i] = self._bill(costs.meanwhile(way))
            if way.traits.in_service == "old":
                self.breaks[i] = self._bill(costs.breaks(way))
                chance = inputs.chance(f"fails:{way.way}", f"{way.way} fails before", way.p_fails, way.source)
                self.fails[i] = self._input(chance)
        # of a failure away from base
        self.away_more: Compiled | None = None
        self.p_away = -1
        if self.fails:
            self.away_more = self._bill(costs.away())
            p, source = costs.case.years.p_away, Source("case.toml")
            self.p_away = self._input(inputs.chance("fails away", "it fails away from base", p, source))


def plain_buys(ways: Sequence[Way]) -> list[int]:
    """Places of the ways that only buy."""
    return [i for i, w in enumerate(ways) if w.traits.buys and not w.traits.rebuilds]
