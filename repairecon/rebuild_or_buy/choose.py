"""Of which pieces a way is made up: what is bought after a rebuild has ended, and instead of what never comes.

Both are chosen by the least expected total on what is known by then, at the inputs' means.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from repairecon.rebuild_or_buy.evaluate import AtMeans, Leaves, Piece, Pieces
from repairecon.rebuild_or_buy.tree import NEVER_ENDS
from repairecon.records import NO_WAY, RepaireconError

if TYPE_CHECKING:
    from repairecon.rebuild_or_buy.model import Model

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
LASTING = ("rebuilt", "bought")


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
        self._bought: dict[tuple[int, int, bool], Pieces] = {}

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
        return tuple(replace(p, on=leaves) for after, leaves, b in self.after_the_end(i) for p in self.buy(b, after))

    # ---- whole ways ------------------------------------------------------------------------------
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
        return (main, *self._ended(i), *(self._spare(i) if way.bought else ()))

    def _for_a_while(self, i: int) -> Pieces:
        """Carrying on or a temporary repair: if it holds, the lasting way with all ordered ahead; if it fails before,
        what more breaks, being away perhaps, and the lasting way with its waits."""
        fails = self.program.fails[i]
        holds, failed, away = ((fails, False),), ((fails, True),), ((self.program.p_away, True),)
        held, after = self.then(i)
        pieces = [Piece(self.program.main[i]), Piece(self.program.breaks[i], None, failed)]
        if self.program.away_more is not None:
            pieces.append(Piece(self.program.away_more, None, (*failed, *away)))
        if held is not None:
            pieces += [p.given(holds) for p in self.way(held, ahead=True)]
        if after is not None:
            pieces += [p.given(failed) for p in self.way(after)]
        return tuple(pieces)

    def then(self, i: int) -> tuple[int | None, int | None]:
        """The lasting way taken after a way for a while: if it held, and if it failed before."""
        way, case = self.model.case.ways[i], self.model.case
        lasting = [k for k, w in enumerate(case.ways) if self.model.allowed[k] and w.traits.in_service in LASTING]
        if way.then and way.then != NO_WAY:
            named = self.model.ways.index(way.then)
            return named, named
        if not lasting:
            return None, None
        held, failed = (min((self._total(self.way(k, ahead)), k) for k in lasting)[1] for ahead in (True, False))
        return (None if way.then == NO_WAY else held), failed

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
