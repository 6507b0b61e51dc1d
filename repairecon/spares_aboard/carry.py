"""What to carry for a budget, weight and room; what is missing, what is surplus; in what order to buy."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from repairecon.buying.inputs import mean_of
from repairecon.formulas import carry_program, demand
from repairecon.formulas.carry_program import COURSES, Group, JobsWorth, Mode
from repairecon.spares_aboard.demand import Line

Floats = NDArray[np.float64]
Wholes = NDArray[np.int64]
SAID = (
    "item", "system", "critical", "have", "buy", "carry", "at_a_time", "pieces_a_job", "units", "measure",
    "for_assurance", "p_short_now", "p_short", "worth", "worth_bought", "worth_bought_low", "worth_bought_high",
    "price", "price_from", "ages", "mean_wanted", "cost_without", "wanted_from", "cost_from",
)  # fmt: skip
COLUMNS = (*SAID, "cost_buy", "seen", "years", "together", "tools_missing", "case")
"""Of the frame of items; other programs are given what is said."""
CURVE_COURSES = 150
"""Courses of jobs behind the curve, where things are shared: a picture needs no more."""
LEAST = 1e-9


@dataclass(frozen=True, kw_only=True)
class Risk:
    """Being without, with what is aboard now and with what is bought: anything critical short, cost on average."""

    p_critical_now: float
    p_critical_then: float
    cost_now: float
    cost_then: float


class Carried:
    """What to carry: each item is a kind of job that takes it (and what is fitted with it); kits may do it too.

    The purchases are those of the integer program, proven best; the curve, a marginal list, is the order of buying.
    """

    def __init__(
        self, lines: Sequence[Line], limits: tuple[float | None, float | None, float | None],
        covers: Mapping[str, tuple[tuple[str, ...], float]], assurance: float,
    ) -> None:  # fmt: skip
        self._lines, self._covers, self._assurance = lines, covers, assurance
        self._place = {x.card.name: k for k, x in enumerate(lines)}
        self._demands = [x.wanted.chances for x in lines]
        self._have = np.array([x.have for x in lines], dtype=np.int64)
        price = np.array([x.price for x in lines], dtype=float)
        self._known = ~np.isnan(price)
        self._price = np.where(self._known, price, 0.0)
        self._left = np.array([x.cost_left for x in lines], dtype=float)
        self._most = np.array([x.most for x in lines], dtype=np.int64)
        self._without = np.array([mean_of(x.cost_without) for x in lines], dtype=float)
        self._critical = np.array([x.card.critical for x in lines], dtype=bool)
        weight = np.array([(x.card.weight_kg or 0.0) * x.measured for x in lines], dtype=float)
        room = np.array([(x.card.volume_litres or 0.0) * x.measured for x in lines], dtype=float)
        uses = zip((self._price, weight, room), limits, strict=True)
        self._limits = [(use, limit) for use, limit in uses if limit is not None]
        self._modes = self._modes_at(self._without)

    def _modes_at(self, cost: Floats) -> list[Mode]:
        """Every way to do every job: by its own parts, or by what stands in for them."""
        made = []
        for k, line in enumerate(self._lines):
            others = [self._place[name] for name in line.together if name in self._place]
            takes = tuple((t, self._lines[t].pieces) for t in dict.fromkeys((k, *others)))
            made.append(Mode(k, takes, float(cost[k]) * line.p_useful))
        for name, (covered, p) in self._covers.items():
            thing = self._place.get(name, -1)
            for kind in (self._place[other] for other in covered if other in self._place and thing >= 0):
                useful = min(p, self._lines[thing].p_useful)
                made.append(Mode(kind, ((thing, 1),), float(cost[kind]) * useful))
        return made

    def _best(self, limits: Sequence[tuple[Floats, float]]) -> carry_program.Program:
        buyable = np.where(self._known, self._most, 0)
        return carry_program.best_carry(
            self._demands, self._modes, self._have, self._price, buyable, cost_left=self._left, limits=limits
        )

    @cached_property
    def program(self) -> carry_program.Program:
        """What to buy, proven best; ``most_lost`` is 0 where the proof came to its end."""
        return self._best(self._limits)

    @cached_property
    def _groups(self) -> dict[int, _Part]:
        """The part of the whole in which each item is worth what it is, by the item's place."""
        count = len(self._lines)
        made: dict[int, _Part] = {}
        for group in carry_program.groups(self._modes, count, count):
            part = _Part(group, self._demands, self._modes, self._left)
            made |= {int(k): part for k in (*group.kinds, *group.things)}
        return made

    @cached_property
    def _now_then(self) -> list[tuple[Floats, Floats]]:
        """Chance of each item's job that it cannot be done, and how many cannot on average, before and after buying."""
        stocks = (self._have, self._have + self.program.buy)
        found = [carry_program.jobs_worth(self._demands, self._modes, stock, self._left) for stock in stocks]
        return [(f.p_short, f.expected_short) for f in found]

    @cached_property
    def risk(self) -> Risk:
        """Being without, now and then."""
        now, then = self._now_then
        return Risk(
            p_critical_now=_any_short(now[0][self._critical]), p_critical_then=_any_short(then[0][self._critical]),
            cost_now=float(self._without @ now[1]), cost_then=float(self._without @ then[1]),
        )  # fmt: skip

    def _groups_at(self, cost: Sequence[float]) -> dict[int, _Part]:
        """The same parts with other costs of being without."""
        modes = self._modes_at(np.array(cost, dtype=float))
        other = {p: _Part(p.group, self._demands, modes, self._left) for p in self._groups.values()}
        return {k: other[part] for k, part in self._groups.items()}

    def _without_some(self, k: int, fewer: int, parts: Mapping[int, _Part] | None = None) -> float:
        """What would be lost of the worth if so many fewer of an item were carried in the end [home money]."""
        stock = self._have + self.program.buy
        part = (parts or self._groups).get(k)
        if part is None or not fewer:
            return -float(self._left[k]) * fewer
        less = stock.copy()
        less[k] -= fewer
        return part.worth(stock).worth - part.worth(less).worth

    @cached_property
    def _enough(self) -> Wholes:
        """Jobs' worth of each item alone for the assurance asked for, in pieces."""
        jobs = [demand.stock_for(d, self._assurance) for d in self._demands]
        return np.array([n * x.pieces for n, x in zip(jobs, self._lines, strict=True)], dtype=np.int64)

    @cached_property
    def carry(self) -> pd.DataFrame:
        """A row an item."""
        now, then = self._now_then
        ends = ([x.cost_without.low for x in self._lines], [x.cost_without.high for x in self._lines])
        costs, made = (self._groups, *map(self._groups_at, ends)), []
        for k, x in enumerate(self._lines):
            more = int(self.program.buy[k])
            bought = [self._without_some(k, more, parts) if more else 0.0 for parts in costs]
            made.append((
                x.card.name, x.card.system, x.card.critical, x.have, more, x.have + more, x.measured, x.pieces,
                x.wanted.units, x.card.measure, int(self._enough[k]), float(now[0][k]), float(then[0][k]),
                self._without_some(k, x.have + more), *bought, x.price, x.price_from, x.wanted.ages, x.wanted.mean,
                float(self._without[k]), x.wanted.source, x.cost_from, float(self._price[k] * more), x.wanted.seen,
                x.wanted.years, x.together, x.tools_missing, x.case,
            ))  # fmt: skip
        frame = pd.DataFrame(made, columns=list(COLUMNS))
        return frame.sort_values(["buy", "worth_bought", "worth"], ascending=[False, False, False], kind="stable",
                                 key=lambda c: c > 0 if c.name == "buy" else c, ignore_index=True)  # fmt: skip

    @cached_property
    def missing(self) -> pd.DataFrame:
        """What would be worth having and is not bought, dearest lack first."""
        bought = self.program.buy
        wanted = (self._best([]) if self._limits else self.program).buy
        # Of what has no known price enough is thought of, one at least: the owner is to ask for a price
        unpriced = np.minimum(np.maximum(np.maximum(self._enough, 1) - self._have, 0), self._most)
        lacking = np.maximum(np.where(self._known, wanted, unpriced) - bought, 0)
        all_there = self._have + bought + lacking  # what is fitted together is worth nothing one without the other
        made = []
        for k in map(int, np.flatnonzero(lacking)):
            part, less = self._groups.get(k), all_there.copy()
            less[k] -= lacking[k]
            gain = part.worth(all_there).worth - part.worth(less).worth if part else 0.0
            if gain > 0.0:
                why = "" if self._known[k] else "no price known"
                line = self._lines[k]
                made.append((line.card.name, int(lacking[k]), gain, line.price, why, line.price_from))
        frame = pd.DataFrame(made, columns=["item", "units", "worth", "price", "why", "price_from"])
        return frame.sort_values("worth", ascending=False, kind="stable", ignore_index=True)

    @cached_property
    def surplus(self) -> pd.DataFrame:
        """What costs more by lying there than it saves, beyond the owner's own minimum."""
        made = []
        for k, x in enumerate(self._lines):
            if self.program.buy[k]:
                continue
            most = x.have - int(np.ceil(float(x.card.minimum) / x.measured))
            lost = [self._without_some(k, n) for n in range(max(most, 0) + 1)]
            spare = int(np.argmin(lost)) if min(lost) < -LEAST else 0
            if spare:
                made.append((x.card.name, spare, spare * x.price, (x.card.weight_kg or 0.0) * x.measured * spare))
        frame = pd.DataFrame(made, columns=["item", "units", "cost_new", "weight_kg"])
        return frame.sort_values("cost_new", ascending=False, kind="stable", ignore_index=True)

    @cached_property
    def curve(self) -> pd.DataFrame:
        """A row a purchase in the order of worth per money, with how things stand after it."""
        parts = list(dict.fromkeys(self._groups.values()))
        priced = np.where(self._known, self._most, 0)
        steps = [step for part in parts for step in _steps(part, self._have, self._price, priced)]
        steps.sort(key=lambda s: -s.slope)
        states = {part: part.worth(self._have, CURVE_COURSES) for part in parts}
        short, jobs = (column.copy() for column in self._now_then[0])
        idle = np.setdiff1d(np.arange(len(self._lines)), list(self._groups))
        left_idle = float(self._left[idle] @ self._have[idle])
        rows, spend = [], 0.0
        for step in [None, *steps]:
            if step is not None:
                states[step.part], spend = step.after, spend + step.spend
                kinds = step.part.group.kinds
                short[kinds], jobs[kinds] = step.after.p_short, step.after.expected_short
            left = sum(s.saved - s.worth for s in states.values()) + left_idle
            names = " + ".join(self._lines[t].card.name for t in step.things) if step else ""
            rows.append((
                spend, float(self._without @ jobs), left, _any_short(short[self._critical]), names,
                sum(step.things.values()) if step else 0, step.gain if step else 0.0,
            ))  # fmt: skip
        columns = ["spend", "expected_cost", "cost_left", "p_critical_short", "item", "units", "gain"]
        return pd.DataFrame(rows, columns=columns)


class _Part:
    """Items that hang together, apart from all others: their worth as a stock is that of this part alone."""

    def __init__(self, group: Group, demands: Sequence[Floats], modes: Sequence[Mode], left: Floats) -> None:
        self.group = group
        kinds, things = ({int(k): n for n, k in enumerate(numbers)} for numbers in (group.kinds, group.things))
        self.modes = [
            Mode(kinds[m.kind], tuple((things[t], n) for t, n in m.takes), m.saved)
            for m in (modes[int(k)] for k in group.modes)
        ]
        self._demands = [demands[int(k)] for k in group.kinds]
        left = left[group.things]
        self._worth = lru_cache(maxsize=None)(
            lambda stock, courses: carry_program.jobs_worth(self._demands, self.modes, stock, left, courses)
        )

    def worth(self, stock: Wholes, courses: int = COURSES) -> JobsWorth:
        """Worth and shortages with this stock of all."""
        return self._worth(tuple(int(stock[t]) for t in self.group.things), courses)


@dataclass(frozen=True, kw_only=True)
class _Step:
    """One purchase: things by their place, what it is worth, what it costs, how its part stands after it."""

    part: _Part
    things: Mapping[int, int]
    gain: float
    spend: float
    slope: float
    after: JobsWorth


def _steps(part: _Part, have: Wholes, price: Floats, most: Wholes) -> list[_Step]:
    """Purchases for one part, the most worth for its money first: one of a thing, or all that one more job lacks."""
    stock, slope = have.copy(), np.inf
    made: list[_Step] = []
    while True:
        now = part.worth(stock, CURVE_COURSES)
        best: _Step | None = None
        for things in _candidates(part, stock, most - (stock - have)):
            then = stock.copy()
            for t, n in things.items():
                then[t] += n
            after = part.worth(then, CURVE_COURSES)
            gain, spend = after.worth - now.worth, float(sum(price[t] * n for t, n in things.items()))
            steep = gain / spend if spend > 0.0 else np.inf
            if gain > LEAST and (best is None or steep > best.slope):
                best = _Step(part=part, things=things, gain=gain, spend=spend, slope=steep, after=after)
        if best is None:
            return made
        slope = min(slope, best.slope)  # a later purchase of a part never comes before an earlier one
        made.append(replace(best, slope=slope))
        for t, n in best.things.items():
            stock[t] += n


def _candidates(part: _Part, stock: Wholes, room: Wholes) -> list[dict[int, int]]:
    place = part.group.things
    made: dict[tuple[tuple[int, int], ...], dict[int, int]] = {}
    for mode in part.modes:
        jobs = min(int(stock[place[t]]) // n for t, n in mode.takes)
        lacking = {int(place[t]): n * (jobs + 1) - int(stock[place[t]]) for t, n in mode.takes}
        lacking = {t: n for t, n in lacking.items() if n > 0}
        for things in (lacking, *({int(place[t]): 1} for t, _ in mode.takes)):
            if all(n <= room[t] for t, n in things.items()):
                made[tuple(sorted(things.items()))] = things
    return list(made.values())


def _any_short(p_each: Floats) -> float:
    """Chance that at least one of several items is short, whose demands do not hang together."""
    with np.errstate(divide="ignore"):
        return 0.0 + float(-np.expm1(np.log1p(-p_each).sum()))
