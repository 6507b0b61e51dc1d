"""A case as arrays: forms compiled for speed, and their exact expectation.

``Model.evaluate`` is the one place where a way's cash, hours and days come about. It is
given the values of the inputs: their means (one row a leaf) for expectations, drawn
values (one row a draw) for ranges.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from copy import copy
from dataclasses import replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from repairecon.buying.buying import Buying
from repairecon.buying.inputs import ONE, Atom, Input
from repairecon.formulas import ranges, tree
from repairecon.rebuild_or_buy.forms import OUTPUTS, Form
from repairecon.rebuild_or_buy.pieces import Pieces
from repairecon.rebuild_or_buy.rows import (
    ALL,
    Compiled,
    DrawnAtoms,
    Rows,
    Triple,
    added,
    atoms_by_input,
    full,
    rows_of,
    spread,
)
from repairecon.rebuild_or_buy.world import NEVER_ENDS, STAGE, World
from repairecon.records import Case, RepaireconError

Floats = NDArray[np.float64]


class Model:
    """Ways, leaves and inputs of one case, ready to be evaluated.

    ``done`` is the stage up to which the work is done already (-1: none begun): all that is
    reckoned lies after it, and what it took is kept apart in ``spent``. ``own_hour`` is what an own
    hour is worth, by default as the case says. ``buying`` holds the orders chosen for a sister model.
    """

    def __init__(
        self,
        case: Case,
        world: World,
        allowed: Mapping[str, bool],
        done: int = -1,
        own_hour: float | None = None,
        buying: Buying | None = None,
    ) -> None:
        self.done = done
        self.own_hour = case.terms.cost_own_hour if own_hour is None else own_hour
        self.case = case
        self.ways = tuple(w.way for w in case.ways)
        self.allowed = np.array([allowed.get(w, True) for w in self.ways], dtype=bool)
        self.buying = buying or Buying(case)
        builder = Pieces(case, world, self.buying)
        order = _leaf_order(builder)
        self.world = _reordered(world, order)
        self.builder = builder = Pieces(case, self.world, self.buying)
        self.prices = builder.prices
        self._patterns: dict[bytes, int] = {}
        self._pattern_rows: list[Floats] = []
        self._atom_index: dict[Atom, int] = {}
        self.buys = [i for i, w in enumerate(case.ways) if w.traits.buys and not w.traits.rebuilds]
        self.ends: dict[int, NDArray[np.int64]] = {}
        self.main: dict[int, Compiled] = {}
        self.bought: dict[tuple[int, int], Compiled] = {}
        self.away: dict[tuple[int, int], Compiled] = {}
        self.spent: dict[tuple[int, int], Compiled] = {}
        self.spare: dict[int, Compiled] = {}
        self.never: dict[int, int] = {}
        self._write()
        self.lost_day_atom = self._atom(
            builder.inputs.number(
                "lost day",
                "cost of a day out of service",
                f"{case.terms.currency} a day",
                case.terms.cost_lost_day,
            )
        )
        self.inputs: tuple[Input, ...] = tuple(builder.inputs.items)
        self.atoms: tuple[Atom, ...] = tuple(self._atom_index)
        self.patterns = np.array(self._pattern_rows).reshape(len(self._pattern_rows), builder.leaves)
        self._means = [x.mean for x in self.inputs]
        self._plain_means: list[Any] = []
        self._stops = {i: [(int(k), e == k) for k in np.unique(e[e < NEVER_ENDS])] for i, e in self.ends.items()}
        self._alike: dict[tuple[int, int], tuple[NDArray[np.int64], int]] = {}
        self._atoms_with = atoms_by_input(self.atoms)
        self._direct: dict[int, dict[int, float]] = {}
        self._instead: dict[tuple[int, int], list[int]] = {}
        self._ranked: tuple[Rows | None, float | None, float | None] = (None, None, None)
        self.curves: dict[int, dict[object, tuple[Floats, ...]]] = {}
        """Curves of the inputs by number of paces, as exact ranges work them out; ways share them."""

    # ---- compiling ------------------------------------------------------------------------
    def _write(self) -> None:
        points = range(self.done, len(STAGE))
        for i, way in enumerate(self.case.ways):
            if way.traits.rebuilds:
                self.ends[i] = self.builder.ends(way)
            if way.traits.rebuilds == "here":
                self._write_rebuild(i, points)
            if way.traits.rebuilds == "away":
                for after in points:
                    self.away[i, after] = self._compile(self.builder.send_away(way, after))
                self.main[i] = self.away[i, self.done]
        for i in self.buys:
            way = self.case.ways[i]
            self.spare[i] = self._compile(self.builder.purchase(way))
            for after in points:
                self.bought[i, after] = self._compile(self.builder.buy(way, after))
        for i, way in enumerate(self.case.ways):
            p_never = self._p_never(i)
            if p_never > 0:
                label = f"{way.way} never comes"
                atom = self.builder.inputs.chance(f"never:{way.way}", label, p_never, way.source)
                self.never[i] = self._atom(atom)

    def _write_rebuild(self, i: int, points: range) -> None:
        way = self.case.ways[i]
        leisure = way.traits.in_service == "bought"
        full = self.builder.rebuild_here(way, at_leisure=leisure)
        before = self.builder.rebuild_here(way, at_leisure=leisure, upto=self.done) if self.done >= 0 else Form()
        self.main[i] = self._compile(full.minus(before))
        if way.kind == "rebuild":
            for k in points:
                spent = self.builder.rebuild_here(way, upto=k) if k >= 0 else Form()
                self.spent[i, k] = self._compile(spent)

    def _p_never(self, i: int) -> float:
        way = self.case.ways[i]
        if way.traits.rebuilds:
            return way.p_never if way.traits.rebuilds == "away" else 0.0
        quote = self.builder.price_way(way).quote
        return quote.p_never if quote is not None and quote.p_never > 0 else way.p_never

    def _atom(self, atom: Atom) -> int:
        return self._atom_index.setdefault(atom, len(self._atom_index))

    def _pattern(self, row: Floats) -> int:
        key = row.tobytes()
        if key not in self._patterns:
            self._patterns[key] = len(self._pattern_rows)
            self._pattern_rows.append(row)
        return self._patterns[key]

    def _compile(self, form: Form) -> Compiled:
        outputs = []
        for output in OUTPUTS:
            groups: dict[int, list[tuple[int, float]]] = {}
            for atom, coef in getattr(form, output).items():
                c = np.asarray(coef, dtype=float)
                if c.ndim == 0 or np.ptp(c) == 0:
                    groups.setdefault(-1, []).append((self._atom(atom), float(c.flat[0])))
                else:
                    scale = float(c[np.argmax(np.abs(c))])
                    groups.setdefault(self._pattern(c / scale), []).append((self._atom(atom), scale))
            outputs.append(tuple((k, tuple(a for a, _ in g), tuple(s for _, s in g)) for k, g in groups.items()))
        return Compiled(tuple(outputs))

    @property
    def bent_inputs(self) -> set[int]:
        """Inputs in which days are not a straight line: waits of an order, and bench work under one."""
        waits = [atom for atom in self.atoms if atom[0] == "max"]
        return {i for atom in waits for i in (*atom[1], *(j for j, _ in atom[2]))}  # type: ignore

    # ---- values of the inputs --------------------------------------------------------------
    def atom_means(
        self, factors: Mapping[int, float] | None = None, fixed: Mapping[int, float] | None = None
    ) -> list[Any]:
        """Expected value of each atom; inputs scaled by ``factors``, or ``fixed`` at a value (index -> number)."""
        scale, held = dict(factors or {}), dict(fixed or {})
        if not self._plain_means:
            self._plain_means = [self._atom_mean(atom, self._means, {}, {}) for atom in self.atoms]
        scaled = list(self._plain_means)
        if scale or held:
            means = [held.get(i, mean * scale.get(i, 1.0)) for i, mean in enumerate(self._means)]
            for k in {k for i in (*scale, *held) for k in self._atoms_with.get(i, ())}:
                scaled[k] = self._atom_mean(self.atoms[k], means, scale, held)
        return scaled

    def _atom_mean(self, atom: Atom, means: list[float], scale: dict[int, float], held: dict[int, float]) -> float:
        if atom == ONE:
            return 1.0
        if atom[0] == "*":
            return float(np.prod([means[int(str(i))] for i in atom[1:]]))
        waits = []
        for i in atom[1]:  # type: ignore[attr-defined]
            r = self.inputs[i].range.scaled(scale.get(i, 1.0))
            v = held.get(i)
            waits.append((r.low, r.likely, r.high, str(r.shape)) if v is None else (v, v, v, "pert"))
        floor = sum(k * means[i] for i, k in atom[2])  # type: ignore[attr-defined]
        waits.append((floor, floor, floor, "pert"))
        return float(ranges.expected_maximum(waits))

    def atom_values(self, drawn: Sequence[Floats]) -> DrawnAtoms:
        """Values of the atoms for drawn inputs, each worked out when it is first wanted."""
        return DrawnAtoms(self.atoms, self.inputs, drawn)

    # ---- evaluation -----------------------------------------------------------------------
    def run(self, form: Compiled, rows: Rows, where: Any) -> Triple:
        """(cash, hours, days) of a form; over all rows it is worked out once."""
        if where is not ALL and not rows.at_means:
            return self._worked_out(form, rows, where)
        if id(form) not in rows.known:
            rows.known[id(form)] = self._at_means(form, rows) if rows.at_means else self._worked_out(form, rows, ALL)
        known = rows.known[id(form)]
        if where is ALL:
            return known
        return tuple(t if np.ndim(t) == 0 else t[where] for t in known)

    def _at_means(self, form: Compiled, rows: Rows) -> Triple:
        """A form with one row a leaf and one number an atom."""
        means, out = rows.means, []
        for sure, atoms, scales, starts, patterns in form.packed():
            total: Any = float(means[sure[0]] @ sure[1])
            if len(starts):
                total = total + np.add.reduceat(means[atoms] * scales, starts) @ self.patterns[patterns]
            out.append(total)
        return out[0], out[1], out[2]

    def _worked_out(self, form: Compiled, rows: Rows, where: Any) -> Triple:
        out = []
        for terms in form.terms:
            total: Any = 0.0
            for pattern, atoms, scales in terms:
                inner: Any = 0.0
                for a, s in zip(atoms, scales, strict=True):
                    inner = added(inner, rows.value(a, where), s)
                total = added(total, inner) if pattern < 0 else added(total, inner, rows.pattern(pattern, where))
            out.append(total)
        return out[0], out[1], out[2]

    def buy(self, i: int, after: int, rows: Rows, where: Any = ALL, tried: frozenset[int] = frozenset()) -> Triple:
        """Outcome of buying by way ``i`` once a rebuild got to stage ``after``; never -> the next best."""
        own = self.run(self.bought[i, after], rows, where)
        return self._or_instead(i, own, after, rows, where, tried | {i})

    def sent_away(self, i: int, after: int, rows: Rows) -> Triple:
        """Outcome of sending away once the work is done up to stage ``after``; given up there -> the best buy."""
        n = len(rows.leaf)
        main = full(self.run(self.away[i, after], rows, ALL), n)
        self._after_the_end(i, main, rows, self.choose(rows, only=i)[i])
        return full(self._or_instead(i, main, after, rows, ALL, frozenset()), n)

    def _or_instead(self, i: int, own: Triple, after: int, rows: Rows, where: Any, tried: frozenset[int]) -> Triple:
        if i not in self.never:
            return own
        never = rows.value(self.never[i], where)
        wait = self.case.terms.give_up_days
        alternative = next((a for a in self.instead(i, after) if a not in tried), None)
        if alternative is None:
            return own[0], own[1], own[2] + never * wait
        other = self.buy(alternative, after, rows, where, tried)
        other = (other[0], other[1], other[2] + wait)
        mixed = [o + never * (x - o) for o, x in zip(own, other, strict=True)]
        return mixed[0], mixed[1], mixed[2]

    def evaluate(self, rows: Rows, choice: Mapping[int, NDArray[np.intp]]) -> list[Triple]:
        """(cash, hours, days) of every way; ``choice[way][leaf]`` is the buy after an ended rebuild."""
        results: list[Triple] = []
        n = len(rows.leaf)
        for i, way in enumerate(self.case.ways):
            if i not in self.main:
                results.append(spread(self.buy(i, self.done, rows), n))
                continue
            main = self.run(self.main[i], rows, ALL)
            if way.traits.in_service == "bought":
                bought = self.buy(self.ways.index(way.bought), self.done, rows)
                main = spread((main[0] + bought[0], main[1] + bought[1], main[2] + bought[2]), n)
            else:
                main = full(main, n)
                self._after_the_end(i, main, rows, choice[i])
                if way.bought:
                    self._add_spare(i, main, rows)
            if way.traits.rebuilds == "away":
                main = full(self._or_instead(i, main, self.done, rows, ALL, frozenset()), n)
            results.append(main)
        return results

    def _after_the_end(self, i: int, main: Triple, rows: Rows, choice: NDArray[np.intp]) -> None:
        for stage, here in self._stops[i]:
            for b in np.flatnonzero(np.bincount(choice[here])):
                where = rows_of(here & (choice == b), rows.leaf)
                for out, extra in zip(main, self.buy(int(b), max(stage, self.done), rows, where), strict=True):
                    out[where] += extra

    def _add_spare(self, i: int, main: Triple, rows: Rows) -> None:
        where = rows_of(self.ends[i] == NEVER_ENDS, rows.leaf)
        b = self.ways.index(self.case.ways[i].bought)
        comes = 1.0 - rows.value(self.never[b], where) if b in self.never else 1.0
        for out, extra in zip(main, self.run(self.spare[b], rows, where), strict=True):
            out[where] += comes * extra

    def seen_by(self, point: int) -> NDArray[np.int64]:
        """Which leaves look alike (L,) by the end of a stage."""
        if (-1, point) not in self._alike:
            seen = [e for e, s in enumerate(self.world.seen) if 0 <= s <= point]
            self._alike[-1, point] = tree.information_sets(self.world.states, seen)
        return self._alike[-1, point][0]

    def on(self, chance: Floats) -> Model:
        """The same model with other chances of its leaves."""
        other = copy(self)
        other.world = replace(self.world, chance=chance)
        other._direct, other._instead = {}, {}
        return other

    # ---- expectation ----------------------------------------------------------------------
    def leaf_rows(self, factors: Mapping[int, float] | None = None, fixed: Mapping[int, float] | None = None) -> Rows:
        """One row a leaf, inputs at their means."""
        return Rows(self.atom_means(factors, fixed), np.arange(len(self.world.chance)), self.patterns, at_means=True)

    def total(self, triple: Triple, own_hour: float | None = None, lost_day: Any = None) -> Any:
        """Cash, own hours at their price and days at theirs."""
        hour = self.own_hour if own_hour is None else own_hour
        return triple[0] + hour * triple[1] + (self.lost_day if lost_day is None else lost_day) * triple[2]

    @cached_property
    def lost_day(self) -> float:
        """Expected cost of a day out of service [home money a day]."""
        r = self.case.terms.cost_lost_day
        return float(ranges.mean(r.low, r.likely, r.high, r.shape))

    def choose(
        self, rows: Rows, own_hour: float | None = None, lost_day: float | None = None, only: int | None = None
    ) -> dict[int, NDArray[np.intp]]:
        """For every leaf that ends a rebuild, the buy with least expected total on what is seen by then."""
        buys = [b for b in self.buys if self.allowed[b]]
        choice = {}
        for i, ends in self.ends.items():
            way = self.case.ways[i]
            choice[i] = np.zeros(len(ends), dtype=np.intp)
            if only is not None and i != only:
                continue
            if way.traits.in_service == "bought" or not self._stops[i]:
                continue
            options = [self.ways.index(way.bought)] if way.bought else buys
            if not options:
                raise RepaireconError(
                    f"{way.way} can end without a unit and no way buys one that may be chosen: "
                    "add a way of kind new to ways.csv"
                )
            for place in range(len(self._stops[i])):
                self._choose_at(choice[i], i, place, options, rows, own_hour, lost_day)
        return choice

    def _choose_at(
        self,
        choice: NDArray[np.intp],
        i: int,
        place: int,
        options: list[int],
        rows: Rows,
        own_hour: float | None,
        lost_day: float | None,
    ) -> None:
        (stage, here), n = self._stops[i][place], len(choice)
        totals = np.array(
            [
                np.broadcast_to(self.total(self.buy(b, max(stage, self.done), rows), own_hour, lost_day), (n,))
                for b in options
            ]
        )
        if (i, stage) not in self._alike:
            seen = [e for e, s in enumerate(self.world.seen) if 0 <= s <= stage]
            self._alike[i, stage] = tree.information_sets(self.world.states[here], seen)
        ids, count = self._alike[i, stage]
        weights = np.zeros((count, len(options)))
        np.add.at(weights, ids, (totals[:, here] * self.world.chance[here]).T)
        choice[here] = np.array(options)[weights.argmin(axis=1)][ids]

    def expected_by_leaf(
        self,
        factors: Mapping[int, float] | None = None,
        own_hour: float | None = None,
        lost_day: float | None = None,
        fixed: Mapping[int, float] | None = None,
    ) -> Floats:
        """Expected (cash, hours, days) of every way in every leaf, shape (W, 3, L)."""
        rows = self.leaf_rows(factors, fixed)
        model = self
        if factors or fixed or own_hour is not None or lost_day is not None:
            model = self._ranked_at(rows, own_hour, lost_day)
        results = model.evaluate(rows, model.choose(rows, own_hour, lost_day))
        return np.array([np.array(r) for r in results])

    def _ranked_at(self, rows: Rows, own_hour: float | None, lost_day: float | None) -> Model:
        """The same model that ranks what is done instead of a way that never comes at other numbers."""
        other = copy(self)
        other._direct, other._instead, other._ranked = {}, {}, (rows, own_hour, lost_day)
        return other

    def expected(
        self,
        factors: Mapping[int, float] | None = None,
        own_hour: float | None = None,
        lost_day: float | None = None,
        fixed: Mapping[int, float] | None = None,
    ) -> Floats:
        """Expected (cash, hours, days) of every way, shape (W, 3); exact, no sampling."""
        return np.asarray(self.expected_by_leaf(factors, own_hour, lost_day, fixed) @ self.world.chance)

    def instead(self, i: int, after: int) -> list[int]:
        """What is done when a way never comes: as the case says, else the cheapest allowed buys first."""
        if (i, after) not in self._instead:
            if after not in self._direct:
                self._direct[after] = self._direct_totals(after)
            direct = self._direct[after]
            named = [self.ways.index(self.case.ways[i].instead)] if self.case.ways[i].instead else []
            ranked = sorted((b for b in self.buys if self.allowed[b]), key=lambda b: direct[b])
            self._instead[i, after] = [b for b in dict.fromkeys(named + ranked) if b != i and b in self.buys]
        return self._instead[i, after]

    def _direct_totals(self, after: int) -> dict[int, float]:
        """Expected total of each buy that comes, after a rebuild that got to a stage."""
        at, own_hour, lost_day = self._ranked
        rows, chance = at or self.leaf_rows(), self.world.chance
        triples = {b: self.total(self.run(self.bought[b, after], rows, ALL), own_hour, lost_day) for b in self.buys}
        return {b: float(np.broadcast_to(t, chance.shape) @ chance) for b, t in triples.items()}


def _leaf_order(builder: Pieces) -> NDArray[np.intp]:
    """Leaves sorted by the stage at which rebuilds end, so that ended ones are neighbours."""
    keys = [builder.ends(w) for w in builder.case.ways if w.traits.rebuilds]
    return np.lexsort(keys[::-1]) if keys else np.arange(builder.leaves)


def _reordered(world: World, order: NDArray[np.intp]) -> World:
    return World(
        world.events,
        world.outcomes,
        world.seen,
        world.states[order],
        world.chance[order],
        world.holds[:, order],
    )
