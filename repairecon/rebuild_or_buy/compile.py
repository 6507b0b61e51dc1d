"""The bills of all ways of a case as arrays: terms, and patterns of coefficients over the leaves that many terms share.

Nothing is chosen and nothing is worked out here: a program holds what may be asked for, by way and by the stage after
which a way is taken.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from repairecon.buying.inputs import Input, Product, Term
from repairecon.rebuild_or_buy.tree import STAGE, Ints, Tree
from repairecon.rebuild_or_buy.ways_cost import OWN_SPARE, WaysCost, lasting
from repairecon.rebuild_or_buy.work import OUTPUTS, Bill
from repairecon.records import Case, Source, Way

Floats = NDArray[np.float64]
EVERYWHERE = 0
"""The first pattern: one in every leaf."""


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


@dataclass
class Program:
    """A case compiled from stage ``done`` on: bills by the place of a way, and of the stage after which it is taken."""

    tree: Tree
    done: int
    inputs: tuple[Input, ...] = ()
    terms: tuple[Term, ...] = ()
    patterns: Floats = field(default_factory=lambda: np.empty((0, 0)))
    main: dict[int, Compiled] = field(default_factory=dict)  # rebuilds, sendings away, ways for a while
    spent: dict[tuple[int, int], Compiled] = field(default_factory=dict)  # a rebuild up to a stage
    away: dict[tuple[int, int], Compiled] = field(default_factory=dict)
    bought: dict[tuple[int, int], Compiled] = field(default_factory=dict)
    spare: dict[int, Compiled] = field(default_factory=dict)  # the price alone
    over: dict[tuple[int, int, int], Compiled] = field(default_factory=dict)
    """By the rebuild begun, the one gone over to and the stage: the other's work up to there that is not done yet."""
    never: dict[int, int] = field(default_factory=dict)  # the input that it never comes, or that a spare is dead
    late: dict[int, Compiled] = field(default_factory=dict)  # the wait for a way that never comes
    lost: dict[tuple[int, int, int], Compiled] = field(default_factory=dict)
    """Its work by then, by way, the one taken instead (-1: none) and stage."""
    breaks: dict[int, Compiled] = field(default_factory=dict)  # of ways for a while: what more breaks
    fails: dict[int, int] = field(default_factory=dict)  # the input that it fails
    away_more: Compiled | None = None  # of a failure away from base
    p_away: int = -1
    ends: dict[int, Ints] = field(default_factory=dict)  # stage at which a rebuild ends (L,)
    lost_day: int = -1


class _Compiler:
    """Turns bills into arrays; like patterns and terms are kept once."""

    def __init__(self, leaves: int) -> None:
        self._terms: dict[Term, int] = {}
        self._patterns: dict[bytes, int] = {}
        self.rows: list[Floats] = []
        self.pattern(np.ones(leaves))

    @property
    def terms(self) -> tuple[Term, ...]:
        return tuple(self._terms)

    def term(self, term: Term) -> int:
        return self._terms.setdefault(term, len(self._terms))

    def input(self, product: Product) -> int:
        """Place of an input that may stand in no bill."""
        self.term(product)
        return product.inputs[0]

    def pattern(self, row: Floats) -> int:
        key = row.tobytes()
        if key not in self._patterns:
            self._patterns[key] = len(self.rows)
            self.rows.append(row)
        return self._patterns[key]

    def bill(self, bill: Bill) -> Compiled:
        outputs, flat = [], []
        for o, output in enumerate(OUTPUTS):
            groups: dict[int, tuple[list[int], list[float]]] = {}
            for term, coef in getattr(bill, output).items():
                pattern, scale = EVERYWHERE, coef
                if isinstance(coef, np.ndarray):
                    scale = float(coef[np.argmax(np.abs(coef))]) if coef.ndim else float(coef)
                    pattern = self.pattern(coef / scale) if coef.ndim and np.ptp(coef) else EVERYWHERE
                terms, scales = groups.setdefault(pattern, ([], []))
                terms.append(self.term(term))
                scales.append(float(scale))
                flat.append((o, pattern, terms[-1], scales[-1]))
            outputs.append(tuple(Group(k, tuple(t), tuple(s)) for k, (t, s) in groups.items()))
        o_, k_, t_ = (np.array([row[i] for row in flat], dtype=np.intp) for i in range(3))
        return Compiled(tuple(outputs), o_, k_, t_, np.array([row[3] for row in flat], dtype=np.float64))


def compiled(case: Case, costs: WaysCost, done: int) -> Program:
    """Every bill of a case that may be wanted from stage ``done`` on."""
    compiler, program = _Compiler(len(costs.tree.chance)), Program(costs.tree, done)
    points = range(done, len(STAGE))
    for i, way in enumerate(case.ways):
        if way.traits.rebuilds:
            program.ends[i] = costs.ends[way.way]
        if way.traits.rebuilds == "here":
            _rebuild(program, compiler, costs, i, points)
        if way.traits.rebuilds == "away":
            program.away |= {(i, after): compiler.bill(costs.send_away(way, after)) for after in points}
            program.main[i] = program.away[i, done]
    for i in plain_buys(case.ways):
        program.spare[i] = compiler.bill(costs.purchase(case.ways[i]))
        program.bought |= {(i, after): compiler.bill(costs.buy(case.ways[i], after)) for after in points}
    _going_over(program, compiler, costs)
    _never(program, compiler, costs)
    _for_a_while(program, compiler, costs)
    day = costs.work.inputs.number(
        "lost day", "cost of a day out of service", f"{case.terms.currency} a day", case.terms.cost_lost_day
    )
    compiler.term(day)
    program.lost_day = day.inputs[0]
    program.inputs, program.terms = tuple(costs.work.inputs.items), compiler.terms
    program.patterns = np.array(compiler.rows)
    return program


def plain_buys(ways: Sequence[Way]) -> list[int]:
    """Places of the ways that only buy."""
    return [i for i, w in enumerate(ways) if w.traits.buys and not w.traits.rebuilds]


def _rebuild(program: Program, compiler: _Compiler, costs: WaysCost, i: int, points: range) -> None:
    way, done = costs.case.ways[i], program.done
    leisure = way.traits.in_service == "bought"
    whole = costs.rebuild(way, at_leisure=leisure)
    if done >= 0:
        whole = whole.minus(costs.rebuild(way, at_leisure=leisure, upto=done))
    program.main[i] = compiler.bill(whole)
    if way.kind == "rebuild":
        for k in points:
            program.spent[i, k] = compiler.bill(costs.rebuild(way, upto=k) if k >= 0 else Bill())


def _going_over(program: Program, compiler: _Compiler, costs: WaysCost) -> None:
    """From one depth of rebuild to another, as long as no parts are ordered."""
    here = [i for i, w in enumerate(costs.case.ways) if w.kind == "rebuild"]
    for begun in here:
        for other in here:
            for point in range(program.done, costs.order_stage + 1) if other != begun else ():
                bill = costs.not_done_yet(costs.case.ways[other], costs.case.ways[begun], point)
                program.over[begun, other, point] = compiler.bill(bill)


def _never(program: Program, compiler: _Compiler, costs: WaysCost) -> None:
    """The chance that a way never comes, as its quote has it or else as the way itself, and what is lost by it."""
    ways = costs.case.ways
    for i, way in enumerate(ways):
        p, what, label = way.p_never, "never", "never comes"
        if way.kind == OWN_SPARE:
            p, what, label = way.p_dead, "dead", "is dead"
        elif not way.traits.rebuilds and way.traits.buys:
            quote = costs.price_of(way).quote
            p = quote.p_never if quote is not None and quote.p_never > 0 else p
        elif way.traits.rebuilds != "away":
            p = 0.0
        if p > 0:
            program.never[i] = compiler.input(
                costs.work.inputs.chance(f"{what}:{way.way}", f"{way.way} {label}", p, way.source)
            )
            program.late[i] = compiler.bill(costs.waited_in_vain(way))
            for other in (-1, *(b for b in plain_buys(ways) if b != i)):
                instead = None if other < 0 else ways[other]
                for after in range(program.done, len(STAGE)):
                    program.lost[i, other, after] = compiler.bill(costs.lost(way, instead, after))


def _for_a_while(program: Program, compiler: _Compiler, costs: WaysCost) -> None:
    """Carrying on, temporary repairs and doing without."""
    for i, way in enumerate(costs.case.ways):
        if lasting(way):
            continue
        program.main[i] = compiler.bill(costs.meanwhile(way))
        if way.traits.in_service == "old":
            program.breaks[i] = compiler.bill(costs.breaks(way))
            fails = costs.work.inputs.chance(f"fails:{way.way}", f"{way.way} fails before", way.p_fails, way.source)
            program.fails[i] = compiler.input(fails)
    if program.fails:
        p = costs.case.years.p_away
        program.away_more = compiler.bill(costs.away())
        program.p_away = compiler.input(
            costs.work.inputs.chance("fails away", "it fails away from base", p, Source("case.toml"))
        )
