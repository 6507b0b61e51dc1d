"""Of which pieces a way is made up: what is bought after a rebuild has ended, and instead of what never comes.

Both are chosen by the least expected total on what is known by then, at the inputs' means.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from repairecon.rebuild_or_buy.evaluate import AtMeans, Leaves, Piece, Pieces
from repairecon.rebuild_or_buy.tree import NEVER_ENDS
from repairecon.records import RepaireconError

if TYPE_CHECKING:
    from repairecon.rebuild_or_buy.model import Model

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Stop:
    """Leaves in which a rebuild ends at one stage, in sets that look alike by then.

    ``ids`` set of each of them, ``patterns`` (K, sets) expectation of each pattern over a set.
    """

    stage: int
    at: Ints
    ids: Ints
    patterns: Floats


@dataclass
class Masks:
    """Leaves by what was chosen there, kept so that like choices share them."""

    known: dict[tuple[int, int, bytes, int], Leaves] = field(default_factory=dict)


class Chooser:
    """The pieces of each way of a model with its inputs at given means, own hours and days at given worths.

    ``always`` names a unit that is bought after the rebuild of a way has ended, whatever the others would cost.
    """

    def __init__(
        self, model: Model, at: AtMeans, own_hour: float, lost_day: float, always: Mapping[int, int] | None = None
    ) -> None:
        self.model, self.program, self.at = model, model.program, at
        self.weights = (1.0, own_hour, lost_day)
        self.always = dict(always or {})
        self._direct: dict[int, dict[int, float]] = {}
        self._after: dict[int, list[tuple[int, Leaves, int]]] = {}
        self._bought: dict[tuple[int, int], Pieces] = {}

    # ---- a unit bought ------------------------------------------------------------------------
    def instead(self, i: int, after: int) -> list[int]:
        """What is done when a way never comes: as the case says, else the cheapest allowed buys first."""
        if after not in self._direct:
            self._direct[after] = {b: self._total((Piece(self.program.bought[b, after]),)) for b in self.model.buys}
        direct, way = self._direct[after], self.model.case.ways[i]
        named = [self.model.ways.index(way.instead)] if way.instead else []
        ranked = sorted((b for b in self.model.buys if self.model.allowed[b]), key=lambda b: direct[b])
        return [b for b in dict.fromkeys(named + ranked) if b != i and b in self.model.buys]

    def _total(self, pieces: Pieces) -> float:
        return float(self.at.expected(pieces) @ np.array(self.weights))

    def buy(self, i: int, after: int) -> Pieces:
        """Buying by way ``i`` once a rebuild got to stage ``after``; if it never comes, the next best."""
        if (i, after) not in self._bought:
            self._bought[i, after] = self._buy(i, after, frozenset(), ())
        return self._bought[i, after]

    def _buy(self, i: int, after: int, tried: frozenset[int], chances: tuple[tuple[int, bool], ...]) -> Pieces:
        own = (Piece(self.program.bought[i, after], None, chances),)
        return self._or_instead(i, own, after, tried | {i}, chances)

    def _or_instead(
        self, i: int, own: Pieces, after: int, tried: frozenset[int], chances: tuple[tuple[int, bool], ...]
    ) -> Pieces:
        if i not in self.program.never:
            return own
        never = (*chances, (self.program.never[i], True))
        comes = (*chances, (self.program.never[i], False))
        assert self.program.late is not None
        late = Piece(self.program.late, None, never)
        other = next((a for a in self.instead(i, after) if a not in tried), None)
        if other is None:
            return (*own, late)
        came = tuple(Piece(p.bill, p.on, (*p.chances[len(chances) :], *comes)) for p in own)
        return (*came, late, *self._buy(other, after, tried, never))

    # ---- after a rebuild has ended ---------------------------------------------------------------
    def after_the_end(self, i: int) -> list[tuple[int, Leaves, int]]:
        """Stage, leaves and buy wherever the rebuild of a way ends, by what is seen by then."""
        if i not in self._after:
            self._after[i] = list(self._choices(i))
        return self._after[i]

    def _choices(self, i: int) -> list[tuple[int, Leaves, int]]:
        way, stops = self.model.case.ways[i], self.model.stops(i)
        if way.traits.in_service == "bought" or not stops:
            return []
        options, found = self.options(i), []
        for stop in stops:
            after = max(stop.stage, self.model.done)
            totals = [self.at.pattern_sum(self.buy(b, after), self.weights) @ stop.patterns for b in options]
            best = np.array(options)[np.argmin(totals, axis=0)]
            found += [(after, self._mask(i, stop, best, int(b)), int(b)) for b in np.unique(best)]
        return found

    def options(self, i: int) -> list[int]:
        """What may be bought after the rebuild of a way has ended."""
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

    def _mask(self, i: int, stop: Stop, best: Ints, b: int) -> Leaves:
        key = i, stop.stage, (best == b).tobytes(), len(best)
        known = self.model.masks.known
        if key not in known:
            mask = np.zeros(len(self.at.chance), dtype=bool)
            mask[stop.at[best[stop.ids] == b]] = True
            known[key] = Leaves(mask)
        return known[key]

    def bought_after(self, i: int) -> Ints:
        """Place of the way that buys after an ended rebuild in each leaf, -1 where it does not end."""
        choice = np.full(len(self.at.chance), -1, dtype=np.int64)
        for _, leaves, b in self.after_the_end(i):
            choice[leaves.mask] = b
        return choice

    def _ended(self, i: int) -> Pieces:
        """What the buys after an ended rebuild add."""
        return tuple(
            Piece(p.bill, leaves, p.chances) for after, leaves, b in self.after_the_end(i) for p in self.buy(b, after)
        )

    # ---- whole ways ------------------------------------------------------------------------------
    def sent_away(self, i: int, after: int) -> Pieces:
        """Sending away once the work is done up to a stage; where it is given up there, the best buy."""
        own = (Piece(self.program.away[i, after]), *self._ended(i))
        return self._or_instead(i, own, after, frozenset(), ())

    def way(self, i: int) -> Pieces:
        """All pieces of a way from where the owner stands."""
        way, done = self.model.case.ways[i], self.model.done
        if i not in self.program.main:
            return self.buy(i, done)
        main = Piece(self.program.main[i])
        if way.traits.in_service == "bought":
            return (main, *self.buy(self.model.ways.index(way.bought), done))
        if way.traits.rebuilds == "away":
            return self.sent_away(i, done)
        return (main, *self._ended(i), *(self._spare(i) if way.bought else ()))

    def _spare(self, i: int) -> Pieces:
        """The unit bought on top of a rebuild that came off; one that never comes is not paid for."""
        b = self.model.ways.index(self.model.case.ways[i].bought)
        comes = ((self.program.never[b], False),) if b in self.program.never else ()
        return (Piece(self.program.spare[b], self.model.never_ended(i), comes),)

    def all_ways(self) -> tuple[Pieces, ...]:
        """Every way of the case."""
        return tuple(self.way(i) for i in range(len(self.model.ways)))


def stops_of(patterns: Floats, chance: Floats, ends: Ints, alike: Mapping[int, Ints]) -> tuple[Stop, ...]:
    """Where a rebuild ends, stage by stage; ``alike`` sets of leaves by stage."""
    found = []
    for stage in (int(s) for s in np.unique(ends[ends < NEVER_ENDS])):
        at = np.flatnonzero(ends == stage)
        _, ids = np.unique(alike[stage][at], return_inverse=True)
        sums = np.zeros((int(ids.max()) + 1, len(patterns)))
        np.add.at(sums, ids, (patterns[:, at] * chance[at]).T)
        found.append(Stop(stage, at, ids.astype(np.int64), np.ascontiguousarray(sums.T)))
    return tuple(found)
