"""A case ready to be asked: its tree, its ways' bills compiled, and of which pieces each way is made up. What is bought
after a rebuild has ended, and instead of what never comes, is chosen by the least expected total on what is known by
then, at the inputs' means."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cached_property
from typing import NamedTuple

import numpy as np

from repairecon.buying.buying import Buying
from repairecon.buying.inputs import mean_of
from repairecon.rebuild_or_buy.evaluate import AtMeans, Leaves, Piece, Pieces, Program, term_means
from repairecon.rebuild_or_buy.ways_cost import Remedied, WaysCost, lasting, plain_buys
from repairecon.records import NO_WAY, Case, Range, RepaireconError

from repairecon.rebuild_or_buy.tree import (  # isort: skip
    BYTES_AN_INPUT, NEVER_ENDS, SECONDS_A_PAIR, STAGE, Floats, Ints, Tree, check_size,
)  # fmt: skip


class Stop(NamedTuple):
    """Leaves where a rebuild ends at a stage, in sets that look alike: ``patterns`` (K, sets) expectation over each."""

    stage: int
    at: Ints
    ids: Ints
    patterns: Floats


class Chooser:
    """The pieces of each way of a model with its inputs at given means, own hours and days at given worths. ``always``
    names a unit that is bought after the rebuild of a way has ended, whatever the others would cost."""

    def __init__(
        self, model: Model, at: AtMeans, own_hour: float, lost_day: float, always: Mapping[int, int] | None = None
    ) -> None:
        self.model, self.program, self.at = model, model.program, at
        self.weights = (1.0, own_hour, lost_day)
        self.always = dict(always or {})
        self._direct: dict[int, dict[int, float]] = {}
        self._after: dict[int, list[tuple[int, Leaves, int]]] = {}
        self._bought: dict[tuple[int, int, bool], Pieces] = {}

    def instead(self, i: int, after: int) -> list[int]:
        if after not in self._direct:
            self._direct[after] = {b: self._total((Piece(self.program.bought[b, after]),)) for b in self.model.buys}
        direct, way = self._direct[after], self.model.case.ways[i]
        named = [self.model.ways.index(way.instead)] if way.instead else []
        ranked = sorted((b for b in self.model.buys if self.model.allowed[b]), key=lambda b: direct[b])
        return [b for b in dict.fromkeys(named + ranked) if b != i and b in self.model.buys]

    def _total(self, pieces: Pieces) -> float:
        return float(self.at.expected(pieces) @ np.array(self.weights))

    def buy(self, i: int, after: int, ahead: bool = False) -> Pieces:
        """Buying by way ``i`` once a rebuild got to stage ``after``; if it never comes, the next best."""
        if (i, after, ahead) not in self._bought:
            own = (Piece(self.program.bought[i, after], ahead=ahead),)
            self._bought[i, after, ahead] = self._or_instead(i, own, after, frozenset({i}), ahead)
        return self._bought[i, after, ahead]

    def _or_instead(self, i: int, own: Pieces, after: int, tried: frozenset[int], ahead: bool = False) -> Pieces:
        """A way that came, or what was spent on it in vain and the next best; where there is none left, nothing."""
        if i not in self.program.never:
            return own
        comes, never = ((self.program.never[i], False),), ((self.program.never[i], True),)
        other = next((a for a in self.instead(i, after) if a not in tried), None)
        pieces = [*(p.given(comes) for p in own)]
        pieces.append(Piece(self.program.lost[i, -1 if other is None else other, after], None, never, ahead))
        if not ahead:  # ordered ahead of time one knows in time that it never comes
            pieces.append(Piece(self.program.late[i], None, never))
        if other is not None:
            then: Pieces = (Piece(self.program.bought[other, after], ahead=ahead),)
            then = self._or_instead(other, then, after, tried | {i, other}, ahead)
            pieces += [p.given(never) for p in then]
        return tuple(pieces)

    def never(self, i: int, after: int) -> tuple[float, str]:
        """Chance that a way never comes, and what is taken instead."""
        if i not in self.program.never:
            return 0.0, ""
        instead = [self.model.ways[b] for b in self.instead(i, after)]
        return float(self.at.inputs[self.program.never[i]]), instead[0] if instead else ""

    def p_nothing(self, i: int, after: int, tried: frozenset[int] = frozenset()) -> float:
        """Chance that neither a way nor anything instead of it comes."""
        if i not in self.program.never:
            return 0.0
        other = next((a for a in self.instead(i, after) if a not in tried), None)
        p = float(self.at.inputs[self.program.never[i]])
        return p * (1.0 if other is None else self.p_nothing(other, after, tried | {i, other}))

    # ---- after a rebuild has ended ---------------------------------------------------------------
    def after_the_end(self, i: int) -> list[tuple[int, Leaves, int]]:
        """Stage, leaves and buy wherever the rebuild of a way ends, by what is seen by then."""
        if i in self._after:
            return self._after[i]
        found = self._after[i] = list[tuple[int, Leaves, int]]()
        stops = self.model.stops.get(i, [])
        if self.model.case.ways[i].traits.in_service == "bought" or not stops:
            return found
        options = self.options(i)
        for stop in stops:
            after = max(stop.stage, self.model.done)
            totals = [self.at.pattern_sum(self.buy(b, after), self.weights) @ stop.patterns for b in options]
            best = np.array(options)[np.argmin(totals, axis=0)]
            for b in np.unique(best):
                chosen = best == b
                key = i, stop.stage, chosen.tobytes()  # like choices share their leaves
                if key not in self.model.masks:
                    mask = np.zeros(len(self.at.chance), dtype=bool)
                    mask[stop.at[chosen[stop.ids]]] = True
                    self.model.masks[key] = Leaves(mask)
                found.append((after, self.model.masks[key], int(b)))
        return found

    def options(self, i: int) -> list[int]:
        way = self.model.case.ways[i]
        if i in self.always:
            return [self.always[i]]
        if way.bought:
            return [self.model.ways.index(way.bought)]
        options = [b for b in self.model.buys if self.model.allowed[b]]
        if not options:
            raise RepaireconError(
                f"{way.way} can end without a unit and no way buys one that may be chosen: "
                "add a way of kind new to ways.csv"
            )
        return options

    def _ended(self, i: int) -> Pieces:
        return tuple(replace(p, on=leaves) for after, leaves, b in self.after_the_end(i) for p in self.buy(b, after))

    def sent_away(self, i: int, after: int, ahead: bool = False) -> Pieces:
        """Sending away once the work is done up to a stage; where it is given up there, the best buy."""
        own = (Piece(self.program.away[i, after], ahead=ahead), *self._ended(i))
        return self._or_instead(i, own, after, frozenset(), ahead)

    def way(self, i: int, ahead: bool = False) -> Pieces:
        """All pieces of a way from where the owner stands; ``ahead``: ordered while the old unit still works."""
        way, done = self.model.case.ways[i], self.model.done
        if i not in self.program.main:
            return self.buy(i, done, ahead)
        if way.traits.in_service == "none":
            return (Piece(self.program.main[i]),)
        if way.traits.in_service == "old":
            return self._for_a_while(i)
        main = Piece(self.program.main[i], ahead=ahead)
        if way.traits.in_service == "bought":
            return (main, *self.buy(self.model.ways.index(way.bought), done, ahead))
        if way.traits.rebuilds == "away":
            return self.sent_away(i, done, ahead)
        if not way.bought:
            return (main, *self._ended(i))
        # the unit bought on top of a rebuild that came off; one that never comes is not paid for
        b = self.model.ways.index(way.bought)
        comes = ((self.program.never[b], False),) if b in self.program.never else ()
        return (main, *self._ended(i), Piece(self.program.spare[b], self.model.never_ended[i], comes))

    def _for_a_while(self, i: int) -> Pieces:
        """If it holds, the lasting way ordered ahead; if it fails, what more breaks and that way with its waits."""
        fails = self.program.fails[i]
        holds, failed, away = ((fails, False),), ((fails, True),), ((self.program.p_away, True),)
        held, after = self.then(i)
        pieces = [Piece(self.program.main[i]), Piece(self.program.breaks[i], None, failed)]
        pieces.append(Piece(self.program.away_more, None, (*failed, *away)))
        if held is not None:
            pieces += [p.given(holds) for p in self.way(held, ahead=True)]
        if after is not None:
            pieces += [p.given(failed) for p in self.way(after)]
        return tuple(pieces)

    def then(self, i: int) -> tuple[int | None, int | None]:
        """The lasting way taken after a way for a while: if it held, and if it failed before."""
        way, case = self.model.case.ways[i], self.model.case
        good = [k for k, w in enumerate(case.ways) if self.model.allowed[k] and lasting(w)]
        if way.then and way.then != NO_WAY:
            named = self.model.ways.index(way.then)
            return named, named
        if not good:
            return None, None
        held, failed = (min((self._total(self.way(k, ahead)), k) for k in good)[1] for ahead in (True, False))
        return (None if way.then == NO_WAY else held), failed

    def expected(self) -> Floats:
        return np.array([self.at.expected(pieces) for pieces in self.all_ways()])

    def all_ways(self) -> tuple[Pieces, ...]:
        return tuple(self.way(i) for i in range(len(self.model.ways)))


class Model:
    """Ways, leaves and inputs of one case. ``done`` is the stage up to which the work is done already (-1: none begun):
    all that is worked out lies after it, and what it took is kept apart. ``own_hour`` is what an own hour is worth, by
    default as the case says. ``buying`` holds the orders chosen for another model of the case, ``remedied`` the
    remedies taken (see ``job``)."""

    def __init__(
        self, case: Case, tree: Tree, allowed: Mapping[str, bool], done: int = -1, own_hour: float | None = None,
        buying: Buying | None = None, remedied: Remedied | None = None,
    ) -> None:  # fmt: skip
        self.case, self.done = case, done
        self.own_hour = case.terms.cost_own_hour if own_hour is None else own_hour
        self.ways = tuple(w.way for w in case.ways)
        self.allowed = np.array([allowed.get(w, True) for w in self.ways], dtype=bool)
        self.buys = plain_buys(case.ways)
        self.buying = buying or Buying(case)
        # leaves in which rebuilds end side by side, so that draws of them are slices; all by name, so that the order of
        # rows in the files changes no draw
        ends = WaysCost(case, tree, self.buying, remedied).ends
        keys = [*(ends[w.way] for w in sorted(case.ways, key=lambda w: w.way) if w.traits.rebuilds), *tree.by_name()]
        self.tree = tree.only(np.lexsort(keys[::-1])) if keys else tree
        self.costs = WaysCost(case, self.tree, self.buying, remedied)
        self.program = Program(case, self.costs, done)
        self.inputs, self.ends, self.never = self.program.inputs, self.program.ends, self.program.never
        many, thin_out = len(self.inputs), "write parts that are bought together as one row, or one kit"
        what = f"{many} uncertain prices, waits and hours in {len(self.ways)} ways"
        check_size(what, thin_out, many * BYTES_AN_INPUT, many**2 * SECONDS_A_PAIR)
        self.masks: dict[tuple[int, int, bytes], Leaves] = {}
        self._pattern_chance: dict[Leaves | None, Floats] = {}

    @cached_property
    def alike(self) -> dict[int, Ints]:
        """By stage the number of the set of leaves (L,) that look alike by its end."""
        return {stage: self.tree.alike(stage) for stage in range(-1, len(STAGE))}

    @cached_property
    def stops(self) -> dict[int, list[Stop]]:
        """Where the rebuild of each way ends."""
        found = dict[int, list[Stop]]()
        for i, ends in self.ends.items():
            for stage in np.unique(ends[ends < NEVER_ENDS]).tolist():
                at = np.flatnonzero(ends == stage)
                _, ids = np.unique(self.alike[stage][at], return_inverse=True)
                sums = np.zeros((int(ids.max()) + 1, len(self.program.patterns)))
                np.add.at(sums, ids, (self.program.patterns[:, at] * self.tree.chance[at]).T)
                found.setdefault(i, []).append(Stop(stage, at, ids.astype(np.int64), np.ascontiguousarray(sums.T)))
        return found

    @cached_property
    def never_ended(self) -> dict[int, Leaves]:
        return {i: Leaves(ends == NEVER_ENDS) for i, ends in self.ends.items()}

    # ---- expectations -----------------------------------------------------------------------------
    @cached_property
    def lost_day(self) -> float:
        """Expected cost of a day out of service [home money a day]."""
        return mean_of(self.case.terms.cost_lost_day)

    @cached_property
    def _term_means(self) -> Floats:
        return term_means(self.program.terms, self.inputs)

    def at(self, changed: Mapping[int, Range] | None = None) -> AtMeans:
        """Inputs at their means, some with another range (by place)."""
        inputs, terms = list(self.inputs), self._term_means
        for i, r in (changed or {}).items():
            inputs[i] = replace(inputs[i], range=r)
        if changed:
            terms = term_means(self.program.terms, inputs, changed, terms)
        return AtMeans(self.program, self.tree.chance, np.array([x.mean for x in inputs]), terms, self._pattern_chance)

    def chooser(
        self, at: AtMeans | None = None, own_hour: float | None = None, lost_day: float | None = None,
        always: Mapping[int, int] | None = None,
    ) -> Chooser:  # fmt: skip
        """What is chosen at given means, an own hour and a day at given worths."""
        hour = self.own_hour if own_hour is None else own_hour
        day = self.lost_day if lost_day is None else lost_day
        return Chooser(self, self.at() if at is None else at, hour, day, always)

    @cached_property
    def plain(self) -> Chooser:
        return self.chooser()

    def expected(self) -> Floats:
        """Expected (cash, own hours, days) of every way, shape (W, 3); exact, no sampling."""
        return self.plain.expected()

    @property
    def weights(self) -> tuple[float, float, float]:
        return 1.0, self.own_hour, self.lost_day

    @cached_property
    def late(self) -> Floats:
        """What missing the date adds to the total of each way (W,), as sampled; 0 where there is none."""
        return np.zeros(len(self.ways))

    @cached_property
    def totals(self) -> Floats:
        """Expected total of every way (W,), ways that may not be chosen at infinity."""
        return np.where(self.allowed, self.expected() @ np.array(self.weights) + self.late, np.inf)

    def life_shares(self, i: int) -> dict[float, float]:
        """Shares of its life that the remedies leave the unit of a way, with their chances."""
        values, which = np.unique(self.costs.life_share(self.case.ways[i]), return_inverse=True)
        chances = np.bincount(which.ravel(), self.tree.chance, len(values))
        return dict(zip(values.tolist(), chances.tolist(), strict=True))

    def p_spare_left(self, i: int) -> float:
        """Chance that a way ends with a spare aboard: its rebuild came off, and a bought spare came. Where the bought
        unit goes into service and never comes, another is bought and the old one is the spare still."""
        way = self.case.ways[i]
        if not way.bought:
            return 0.0
        # rebuilt at the bench a first run is not made
        bench_only, never = way.traits.in_service == "bought", self.never.get(self.ways.index(way.bought))
        came_off = self.ends[i] > (STAGE["reassembly"] if bench_only else NEVER_ENDS - 1)
        comes = 1.0 if bench_only or never is None else 1.0 - float(self.inputs[never].mean)
        return float(self.tree.chance[came_off].sum()) * comes

    def like(self, *, case: Case | None = None, tree: Tree | None = None, done: int | None = None) -> Model:
        """The same ways, orders and remedies with another case, other leaves or other work done."""
        allowed = dict(zip(self.ways, self.allowed.tolist(), strict=True))
        done, hour = self.done if done is None else done, self.own_hour
        return Model(case or self.case, tree or self.tree, allowed, done, hour, self.buying, self.costs.remedied)
