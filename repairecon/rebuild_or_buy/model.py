"""A case ready to be asked: its tree, its ways' bills compiled, and the ways that may be chosen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from repairecon.buying.buying import Buying
from repairecon.buying.inputs import LongestWait, Product, mean_of
from repairecon.rebuild_or_buy.choose import Chooser, Masks, Stop, stops_of
from repairecon.rebuild_or_buy.compile import Program, compiled, plain_buys
from repairecon.rebuild_or_buy.evaluate import AtMeans, Leaves, input_means, inputs_of, term_means
from repairecon.rebuild_or_buy.tree import NEVER_ENDS, STAGE, Ints, Nested, Tree, grow
from repairecon.rebuild_or_buy.ways_cost import Remedied, WaysCost
from repairecon.records import Case

Floats = NDArray[np.float64]


class Model:
    """Ways, leaves and inputs of one case.

    ``done`` is the stage up to which the work is done already (-1: none begun): all that is worked out lies after it,
    and what it took is kept apart. ``own_hour`` is what an own hour is worth, by default as the case says. ``buying``
    holds the orders chosen for another model of the case, ``remedied`` the remedies taken (see ``remedies``).
    """

    def __init__(
        self,
        case: Case,
        tree: Tree,
        allowed: Mapping[str, bool],
        done: int = -1,
        own_hour: float | None = None,
        buying: Buying | None = None,
        remedied: Remedied | None = None,
    ) -> None:
        self.case, self.done = case, done
        self.own_hour = case.terms.cost_own_hour if own_hour is None else own_hour
        self.ways = tuple(w.way for w in case.ways)
        self.allowed = np.array([allowed.get(w, True) for w in self.ways], dtype=bool)
        self.buys = plain_buys(case.ways)
        self.buying = buying or Buying(case)
        # leaves in which rebuilds end side by side, so that draws of them are slices
        ends = WaysCost(case, tree, self.buying, remedied).ends
        self.tree = tree.sorted_by([ends[w.way] for w in case.ways if w.traits.rebuilds])
        self.costs = WaysCost(case, self.tree, self.buying, remedied)
        self.program: Program = compiled(case, self.costs, done)
        self._start()

    def _start(self) -> None:
        self.inputs, self.ends, self.never = self.program.inputs, self.program.ends, self.program.never
        self.masks = Masks()
        self._pattern_chance: dict[Leaves | None, Floats] = {}
        self._stops: dict[int, tuple[Stop, ...]] = {}
        self._never_ended: dict[int, Leaves] = {}
        self._nested: dict[tuple[int, ...], Nested] = {}

    def with_chance(self, chance: Floats) -> Model:
        """The same ways with other chances of the leaves."""
        other = Model.__new__(Model)
        other.case, other.done, other.own_hour = self.case, self.done, self.own_hour
        other.ways, other.allowed, other.buys, other.buying = self.ways, self.allowed, self.buys, self.buying
        other.tree, other.costs, other.program = replace(self.tree, chance=chance), self.costs, self.program
        other._alike = self._alike
        other._term_means = self._term_means
        other._start()
        return other

    # ---- what looks alike -----------------------------------------------------------------------
    @cached_property
    def _alike(self) -> dict[int, Ints]:
        return {stage: self.tree.alike(stage) for stage in range(-1, len(STAGE))}

    def alike(self, stage: int) -> Ints:
        """Number of the set of leaves (L,) that look alike by the end of a stage."""
        return self._alike[stage]

    def nested(self, points: tuple[int, ...]) -> Nested:
        """Leaves in an order in which the sets of each of some stages are side by side."""
        if points not in self._nested:
            self._nested[points] = Nested.of(np.array([self.alike(point) for point in points]))
        return self._nested[points]

    def stops(self, i: int) -> tuple[Stop, ...]:
        """Where the rebuild of a way ends."""
        if i not in self._stops:
            self._stops[i] = stops_of(self.program.patterns, self.tree.chance, self.ends[i], self._alike)
        return self._stops[i]

    def never_ended(self, i: int) -> Leaves:
        """Leaves in which the rebuild of a way comes off."""
        if i not in self._never_ended:
            self._never_ended[i] = Leaves(self.ends[i] == NEVER_ENDS)
        return self._never_ended[i]

    # ---- expectations -----------------------------------------------------------------------------
    @cached_property
    def lost_day(self) -> float:
        """Expected cost of a day out of service [home money a day]."""
        return mean_of(self.case.terms.cost_lost_day)

    @cached_property
    def _term_means(self) -> Floats:
        return term_means(self.program, input_means(self.program, {}, {}), {}, {}, None)

    def at(self, factors: Mapping[int, float] | None = None, fixed: Mapping[int, float] | None = None) -> AtMeans:
        """Inputs at their means; some scaled by ``factors`` or ``fixed`` at a value (by place)."""
        factors, fixed = factors or {}, fixed or {}
        means = input_means(self.program, factors, fixed)
        terms = self._term_means
        if factors or fixed:
            terms = term_means(self.program, means, factors, fixed, terms)
        return AtMeans(self.program, self.tree.chance, means, terms, self._pattern_chance)

    def chooser(
        self,
        at: AtMeans | None = None,
        own_hour: float | None = None,
        lost_day: float | None = None,
        always: Mapping[int, int] | None = None,
    ) -> Chooser:
        """What is chosen at given means, an own hour and a day at given worths."""
        hour = self.own_hour if own_hour is None else own_hour
        day = self.lost_day if lost_day is None else lost_day
        return Chooser(self, self.at() if at is None else at, hour, day, always)

    @cached_property
    def plain(self) -> Chooser:
        """What is chosen as the case stands."""
        return self.chooser()

    def expected(
        self,
        factors: Mapping[int, float] | None = None,
        own_hour: float | None = None,
        lost_day: float | None = None,
        fixed: Mapping[int, float] | None = None,
    ) -> Floats:
        """Expected (cash, own hours, days) of every way, shape (W, 3); exact, no sampling."""
        chooser = self.plain
        if factors or fixed or own_hour is not None or lost_day is not None:
            chooser = self.chooser(self.at(factors, fixed), own_hour, lost_day)
        return np.array([chooser.at.expected(pieces) for pieces in chooser.all_ways()])

    def expected_by_leaf(self) -> Floats:
        """Expected (cash, own hours, days) of every way in every leaf, shape (W, 3, L)."""
        at, unit = self.plain.at, ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
        return np.array([[at.by_leaf(pieces, weights) for weights in unit] for pieces in self.plain.all_ways()])

    @property
    def weights(self) -> tuple[float, float, float]:
        """What cash, an own hour and a day out of service count in a total."""
        return 1.0, self.own_hour, self.lost_day

    @cached_property
    def late(self) -> Floats:
        """What missing the date adds to the total of each way (W,), as sampled; 0 where there is none."""
        return np.zeros(len(self.ways))

    @cached_property
    def totals(self) -> Floats:
        """Expected total of every way (W,), ways that may not be chosen at infinity."""
        return np.where(self.allowed, self.expected() @ np.array(self.weights) + self.late, np.inf)

    @cached_property
    def planned(self) -> Model:
        """The same case with nothing found and nothing done yet."""
        allowed = dict(zip(self.ways, self.allowed.tolist(), strict=True))
        bare = grow(self.case, bare=True)
        return Model(self.case, bare, allowed, -1, self.own_hour, self.buying, self.costs.remedied)

    @cached_property
    def curved_inputs(self) -> set[int]:
        """Inputs in which days are not a straight line: waits of an order, and bench work under one."""
        return {i for term in self.program.terms if isinstance(term, LongestWait) for i in inputs_of(term)}

    @cached_property
    def input_terms(self) -> dict[int, list[int]]:
        """Products in which each input stands."""
        where: dict[int, list[int]] = {}
        for k, term in enumerate(self.program.terms):
            if isinstance(term, Product):
                for i in term.inputs:
                    where.setdefault(i, []).append(k)
        return where
