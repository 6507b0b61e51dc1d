"""A case walked event by event and priced draw by draw in plain Python.

Written from what the records mean, without the engine: a cross-check of its figures, and a
benchmark of a plain loop.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from plain_numbers import Bill, Means, Numbers, OneDraw, mean
from plain_work import (
    FIRST_RUN,
    MEASURE,
    NO_END,
    REASSEMBLY,
    REMOVAL,
    STRIP,
    Found,
    Offer,
    PlainWork,
    at,
    lasting,
    names,
)

from repairecon.records import Branch, Case, Range, Way

MEANS = Means()


class Ahead:
    """Numbers with everything ordered while the old unit still works: no wait, only the work under it."""

    def __init__(self, numbers: Numbers) -> None:
        self.numbers = numbers

    def number(self, name: tuple[str, ...], r: Range, hours: bool = False) -> float:
        return 0.0 if "lead" in name[0] else self.numbers.number(name, r, hours)

    def longest(self, waits: list[tuple[tuple[str, ...], Range]], floor: float) -> float:
        del waits
        return floor

    def happens(self, name: tuple[str, ...], p: float) -> float:
        return self.numbers.happens(name, p)

    def either(self, name: tuple[str, ...], p: float, one: Callable[[], Bill], other: Callable[[], Bill]) -> Bill:
        return self.numbers.either(name, p, one, other)


class PlainCase(PlainWork):
    """What each way comes to."""

    def __init__(self, case: Case, allowed: Mapping[str, bool] | None = None) -> None:
        super().__init__(case)
        self.allowed = dict(allowed or {})
        self.buys = [w for w in case.ways if w.traits.buys and not w.traits.rebuilds]
        self.choices: dict[tuple[object, ...], Way] = {}
        self.by_price: dict[int, list[Way]] = {}
        self.thens: dict[str, tuple[Way | None, Way | None]] = {}
        self.leaf = {id(found) for _, found in self.leaves}
        self.bearing: dict[tuple[int, str], tuple[int, ...]] = {}
        self.known: dict[tuple[object, ...], Bill] = {}

    def rebuild_here(self, way: Way, found: Found, n: Numbers, at_leisure: bool) -> Bill:
        end, both = self.end(way, found), [way, *([self.case.way(way.bought)] if at_leisure else [])]
        what = "here", way.way, end, at_leisure
        return self._kept(what, found, n, lambda: self._rebuilt_here(way, found, n, at_leisure, end), both)

    def _rebuilt_here(self, way: Way, found: Found, n: Numbers, at_leisure: bool, end: int) -> Bill:
        bill = Bill()
        waits = end >= REASSEMBLY  # nobody waits for parts of a rebuild that is given up on the bench
        floor = 0.0
        for t in self.tasks_of(way):
            stage = at(t.stage)
            if stage > end or (at_leisure and not STRIP <= stage <= REASSEMBLY):
                continue
            inside = waits and self.order_stage < stage <= MEASURE
            self.task(bill, n, t, counts_days=not inside)
            if inside:
                floor += mean(t.hours) / self.terms.hours_per_day + mean(t.days)
        bought = self.case.way(way.bought) if at_leisure else None
        orders = self.outcomes(
            bill, n, way, found, end, REASSEMBLY if at_leisure else NO_END,
            lambda row: bought is not None and self.touches(row, bought),
        )  # fmt: skip
        if end > self.order_stage:
            planned = orders.setdefault(self.order_stage, {})
            for p in self.case.parts:
                if self.takes(p, way):
                    planned[p.part] = planned.get(p.part, 0) + p.quantity
        for stage, parts in orders.items():
            self.order(bill, n, parts, waits, floor if stage == self.order_stage else 0.0, at_leisure)
        return Bill(bill.cash, bill.hours, 0.0) if at_leisure else bill

    def send_away(self, way: Way, found: Found, n: Numbers) -> Bill:
        bill, end, o = Bill(), self.end(way, found), self.offers[way.way]
        if end == NO_END:
            bill.cash += self._price(o, n)
            self.work(bill, n, f"fitting, {way.way}", way.fitting_by, way.fitting_hours)
        else:
            bill.cash += n.number(("strip charge", way.way), way.strip_charge)
        self.freight(bill, n, o)
        bill.cash += n.number(("core carriage", way.way), way.core_carriage)
        bill.days += n.number(o.lead_name, o.lead) if o.lead else 0.0
        for t in self.tasks_of(way):
            if at(t.stage) <= end:
                self.task(bill, n, t)
        for parts in self.outcomes(bill, n, way, found, end, NO_END).values():
            self.order(bill, n, parts, end >= REASSEMBLY)
        return bill

    def _price(self, o: Offer, n: Numbers) -> float:
        return o.factor * n.number(("price", o.item, o.supplier.supplier if o.supplier else ""), o.price)

    def purchase(self, way: Way, n: Numbers) -> Bill:
        bill, o = Bill(), self.offer(way)
        bill.cash += self._price(o, n) + n.number(("surcharge", way.way), way.core_surcharge)
        self.freight(bill, n, o)
        return bill

    def offer(self, way: Way) -> Offer:
        """What a unit costs; a spare aboard what replacing it by the cheapest unit costs."""
        if way.kind != "own spare" or self.offers[way.way].price is not None:
            return self.offers[way.way]

        def landed_cost(w: Way) -> float:
            bill = self.purchase(replace(w, core_surcharge=Range(0, 0, 0)), MEANS)
            return bill.cash

        return self.offers[min((w for w in self.buys if w.kind != "own spare"), key=landed_cost).way]

    def fitted(self, way: Way, after: int, found: Found, n: Numbers) -> Bill:
        """A bought unit that came, fitted after a rebuild that got as far as a stage; kept where it is expected."""
        return self._kept((way.way, after), found, n, lambda: self._fitted(way, after, found, n), [way])

    def _kept(
        self, what: tuple[object, ...], found: Found, n: Numbers, make: Callable[[], Bill], ways: Sequence[Way] = ()
    ) -> Bill:
        """A bill that is made once for each leaf where it is expected, or for what bears on some ways alone."""
        if n is not MEANS or id(found) not in self.leaf:
            return make()
        key = *what, *([self._bearing(found, w) for w in ways] or [id(found)])
        if key not in self.known:
            self.known[key] = make()
        return self.known[key]

    def _bearing(self, found: Found, way: Way) -> tuple[int, ...]:
        """The rows of a leaf that can change what a way costs."""
        key = id(found), way.way
        if key not in self.bearing:
            rows = (r for r in found.values() if r.core_refused or self.touches(r, way))
            self.bearing[key] = tuple(id(r) for r in rows)
        return self.bearing[key]

    def _fitted(self, way: Way, after: int, found: Found, n: Numbers) -> Bill:
        bill, o = self.purchase(way, n), self.offers[way.way]
        spoilt = after >= STRIP and not way.core_if_stripped
        if way.core_surcharge.high > 0 and not spoilt:
            bill.cash += n.number(("core carriage", way.way), way.core_carriage)
            refusals = [r for r in found.values() if r.core_refused and (not r.ways or names(r.ways, way))]
            if not refusals:
                got = n.happens(("refund", way.way), way.p_refund)
                bill.cash -= got * n.number(("surcharge", way.way), way.core_surcharge)
        if way.old_unit in ("sold", "scrap"):
            bill.cash -= n.number(("old unit", way.way), way.old_unit_price)
        if way.kind != "own spare":
            bill.days += n.number(o.lead_name, o.lead) if o.lead else 0.0
        for t in self.tasks_of(way):
            if at(t.stage) > after or (after >= FIRST_RUN and at(t.stage) in (REMOVAL, FIRST_RUN)):
                self.task(bill, n, t)  # a unit that failed aboard comes off again
        self.work(bill, n, f"fitting, {way.way}", way.fitting_by, way.fitting_hours)
        rebuilds = [w for w in self.case.ways if w.traits.rebuilds]

        def paid(row: Branch) -> bool:
            seen = at(row.seen_at) < after or (row.ends_rebuild and at(row.seen_at) == after)
            return seen and any(self.touches(row, w) for w in rebuilds)

        for parts in self.outcomes(bill, n, way, found, NO_END, NO_END, paid).values():
            self.order(bill, n, parts, True)
        return bill

    def never(self, way: Way) -> float:
        if way.kind == "own spare":
            return way.p_dead
        return self.offers[way.way].p_never or way.p_never

    def _spare(self, way: Way, n: Numbers) -> Bill:
        """A unit bought to lie aboard; one that never comes is not paid for."""
        return n.either(("never", way.way), self.never(way), Bill, lambda: self.purchase(way, n))

    def or_instead(self, way: Way, came: Bill, after: int, found: Found, n: Numbers, tried: tuple[str, ...]) -> Bill:
        p = self.never(way)
        if p == 0:
            return came
        named = [self.case.way(way.instead)] if way.instead else []
        left = [w for w in self._cheapest_first(after) if self.allowed.get(w.way, True)]
        next_ = next((w for w in named + left if w.way not in (*tried, way.way)), None)

        def never() -> Bill:
            spent = self.lost(way, next_, after, n)
            return spent if next_ is None else spent + self.buy(next_, after, found, n, (*tried, way.way))

        return n.either(("never", way.way), p, never, lambda: came)

    def lost(self, way: Way, other: Way | None, after: int, n: Numbers) -> Bill:
        """Waited for in vain, and own tasks done by then; a spare that is dead shows at its first run."""
        dead = way.kind == "own spare"
        bill = Bill(days=0.0 if dead or isinstance(n, Ahead) else self.terms.give_up_days)
        theirs = self.tasks_of(other) if other is not None else []
        for t in self.tasks_of(way):
            both = t in theirs and (not dead or t.stage == "outside")
            if after < at(t.stage) <= (FIRST_RUN if dead else REMOVAL) and not both:
                self.task(bill, n, t)
        if dead:
            self.work(bill, n, f"fitting, {way.way}", way.fitting_by, way.fitting_hours)
        return bill

    def for_a_while(self, way: Way, found: Found, n: Numbers) -> Bill:
        """As it is or patched up until the lasting repair, or do without."""
        bill, o = Bill(), self.offers[way.way]
        if o.price is not None:
            bill.cash += self._price(o, n)
            self.freight(bill, n, o)
        for t in self.tasks_of(way):
            self.task(bill, n, t)
        self.work(bill, n, f"fitting, {way.way}", way.fitting_by, way.fitting_hours)
        if way.until_days and (way.kind == "without" or way.works_meanwhile == "no"):
            bill.days += n.number(("until", way.way), way.until_days)
        if way.kind == "without":
            return bill
        held, failed = self.then(way)
        years = self.case.years

        def holds() -> Bill:
            return self.price(held, found, n, ahead=True) if held is not None else Bill()

        def fails() -> Bill:
            more = Bill(n.number(("more breaks", way.way), way.more_cost))
            far = Bill(n.number(("away",), years.cost_away), 0.0, n.number(("days away",), years.days_away))
            more += n.either(("fails away",), years.p_away, lambda: far, Bill)
            return more + (self.price(failed, found, n) if failed is not None else Bill())

        return bill + n.either(("fails", way.way), way.p_fails, fails, holds)

    def then(self, way: Way) -> tuple[Way | None, Way | None]:
        if way.way not in self.thens:
            ways = [w for w in self.case.ways if lasting(w) and self.allowed.get(w.way, True)]

            def expected(w: Way, ahead: bool) -> float:
                return sum(p * self.total(self.price(w, f, MEANS, ahead), MEANS) for p, f in self.leaves)

            held, failed = (min(ways, key=lambda w: expected(w, ahead), default=None) for ahead in (True, False))
            if way.then and way.then != "none":
                held = failed = self.case.way(way.then)
            self.thens[way.way] = (None if way.then == "none" else held, failed)
        return self.thens[way.way]

    def buy(self, way: Way, after: int, found: Found, n: Numbers, tried: tuple[str, ...] = ()) -> Bill:
        def bought() -> Bill:
            return self.or_instead(way, self.fitted(way, after, found, n), after, found, n, tried)

        return self._kept(("buy", way.way, after, tried), found, n, bought)

    def _cheapest_first(self, after: int) -> list[Way]:
        def expected(way: Way) -> float:
            return sum(p * self.total(self.fitted(way, after, found, MEANS), MEANS) for p, found in self.leaves)

        if after not in self.by_price:
            self.by_price[after] = sorted(self.buys, key=expected)
        return self.by_price[after]

    def total(self, bill: Bill, n: Numbers) -> float:
        day = n.number(("lost day",), self.terms.cost_lost_day)
        return bill.cash + self.terms.cost_own_hour * bill.hours + day * bill.days

    def after_the_end(self, way: Way, found: Found) -> Way:
        """The buy with the least expected total on what has been seen when the rebuild ends."""
        end = self.end(way, found)
        if way.bought:
            return self.case.way(way.bought)
        seen = [e for e, rows in self.rows.items() if rows[0].seen_at and at(rows[0].seen_at) <= end]
        known = tuple(self._outcome(found, e) for e in seen)
        if (way.way, end, known) not in self.choices:
            like = [(p, f) for p, f in self.leaves if tuple(self._outcome(f, e) for e in seen) == known]
            options = [w for w in self.buys if self.allowed.get(w.way, True)] or self.buys

            def expected(w: Way) -> float:
                return sum(p * self.total(self.buy(w, end, f, MEANS), MEANS) for p, f in like)

            self.choices[way.way, end, known] = min(options, key=expected)
        return self.choices[way.way, end, known]

    def price(self, way: Way, found: Found, n: Numbers, ahead: bool = False) -> Bill:
        """Cash, own hours and days of a way once the state of the unit is given; ``ahead``: no wait counts."""
        return self._kept((way.way, "ahead" if ahead else ""), found, n, lambda: self._priced(way, found, n, ahead))

    def _priced(self, way: Way, found: Found, n: Numbers, ahead: bool) -> Bill:
        traits = way.traits
        if not lasting(way):
            return self.for_a_while(way, found, n)
        first = Ahead(n) if ahead else n
        if not traits.rebuilds:
            return self.buy(way, -1, found, first)
        if traits.in_service == "bought":
            work = self.rebuild_here(way, found, first, at_leisure=True)
            return work + self.buy(self.case.way(way.bought), -1, found, first)
        away = traits.rebuilds == "away"
        bill = self.send_away(way, found, first) if away else self.rebuild_here(way, found, first, at_leisure=False)
        end = self.end(way, found)
        if end < NO_END:
            bill += self.buy(self.after_the_end(way, found), end, found, n)
        elif way.bought:
            bill += self._spare(self.case.way(way.bought), n)
        return self.or_instead(way, bill, -1, found, first, ()) if away else bill

    def draw(self, rng: random.Random) -> list[tuple[float, float, float, float]]:
        """(cash, own_hours, days, total) of every way in one draw."""
        n, found = OneDraw(rng, self.terms.hours_correlation), self.walk(rng)
        bills = [self.price(way, found, n) for way in self.case.ways]
        return [(b.cash, b.hours, b.days, self.total(b, n)) for b in bills]

    def expected(self) -> list[tuple[float, float, float, float]]:
        """The same in expectation, leaf by leaf."""
        bills = [sum((self.price(w, f, MEANS).times(p) for p, f in self.leaves), Bill()) for w in self.case.ways]
        return [(b.cash, b.hours, b.days, self.total(b, MEANS)) for b in bills]
