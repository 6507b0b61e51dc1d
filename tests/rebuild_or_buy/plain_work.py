"""Prices, the tree and pieces of work of a case in plain Python, written from what the records mean."""

from __future__ import annotations

import itertools
import random
from collections.abc import Callable, Iterator

from plain_numbers import Bill, Numbers, mean

from repairecon.records import (
    ORDER_TIMES,
    STAGES,
    WAY_GROUPS,
    Branch,
    Case,
    Part,
    Quote,
    Range,
    Remedy,
    Supplier,
    Task,
    Way,
)

NO_END = len(STAGES)
REMOVAL, STRIP, MEASURE, REASSEMBLY, FIRST_RUN = range(1, 6)
assert STAGES[1:6] == ("removal", "strip", "measure", "reassembly", "first run")
EVERY_WAY = ("outside", "removal", "first run")
Found = dict[str, Branch]
Paid = Callable[[Branch], bool]


def nothing(_row: Branch) -> bool:
    return False


def at(stage: str) -> int:
    return STAGES.index(stage)


def names(words: tuple[str, ...], way: Way) -> bool:
    return any(way.way == w or way.kind == w or way.kind in WAY_GROUPS.get(w, ()) for w in words)


def touches(row: Branch, way: Way) -> bool:
    """Whether an outcome bears on a way; what concerns only buying is no part of a pair's rebuild."""
    if way.traits.rebuilds:
        words = tuple(w for w in row.ways if w != "buys")
        return names(words, way) if row.ways else True
    return names(row.ways, way)


def lasting(way: Way) -> bool:
    """Whether a way ends with a sound unit in service."""
    return way.kind not in ("carry on", "temporary", "without")


class Offer:
    """What an item costs: home money = factor x price a pack, plus carriage and handling an order."""

    def __init__(self, case: Case, item: str, price: Range | None, lead: Range | None, quote: Quote | None) -> None:
        self.item, self.price, self.lead, self.pack, self.factor = item, price, lead, 1, 1.0
        self.supplier: Supplier | None = None
        self.lead_name, self.p_never = ("lead of", item), 0.0
        if quote is not None:
            s = self.supplier = case.supplier(quote.supplier)
            self.price, self.pack, self.factor, self.p_never = (
                quote.quoted,
                quote.pack,
                landed(case, s),
                quote.p_never,
            )
            if quote.lead_days is not None:
                self.lead, self.lead_name = quote.lead_days, ("quoted lead of", item, s.supplier)
            elif s.lead_days is not None:
                self.lead, self.lead_name = s.lead_days, ("supplier's lead", s.supplier)

    def packs(self, pieces: int) -> int:
        return (pieces + self.pack - 1) // self.pack


def landed(case: Case, s: Supplier) -> float:
    factor = 1.0 if s.currency == case.terms.currency else case.terms.exchange[s.currency]
    if not s.imported:
        return factor if s.vat_included else factor * (1 + s.vat_rate)
    net = factor / (1 + s.vat_rate) if s.vat_included else factor
    return net * (1 + s.duty_rate) * (1 + case.terms.vat_rate)


class PlainWork:
    """Prices and tree of a case, and what each piece of work comes to."""

    def __init__(self, case: Case) -> None:
        self.case, self.terms = case, case.terms
        self.met: dict[tuple[str, str, str], tuple[Remedy, ...]] = {}
        self.touched: dict[tuple[int, str], bool] = {}
        self.tasks: dict[str, list[Task]] = {}
        self.order_stage = {"now": -1, "after removal": 1, "after strip": 2, "after measure": 3}[self.terms.order_parts]
        assert self.terms.order_parts in ORDER_TIMES
        self.rows: dict[str, list[Branch]] = {}
        for row in case.branches:
            self.rows.setdefault(row.event, []).append(row)
        self.everyone = {p.part: self._offers(p.part, p.price, p.lead_days) for p in case.parts}
        self.everyone |= {w.way: self._offers(w.way, w.price, w.lead_days) for w in case.ways}
        self.chosen: dict[tuple[tuple[tuple[str, int], ...], bool], dict[str, Offer]] = {}
        self.offers = {w.way: self.cheapest({w.way: 1}, False)[w.way] for w in case.ways}
        self.order_of_events = self._in_order()
        self.leaves = list(self._enumerate({}, 1.0))

    def _offers(self, item: str, price: Range | None, lead: Range | None) -> list[Offer]:
        quoted = [Offer(self.case, item, price, lead, q) for q in self.case.quotes if q.item == item]
        return quoted or [Offer(self.case, item, price, lead, None)]

    def cheapest(self, parts: dict[str, int], at_leisure: bool) -> dict[str, Offer]:
        """From whom each part of an order comes: every choice is tried, carriage once a supplier, the wait counted."""
        key = tuple(parts.items()), at_leisure
        if key not in self.chosen:
            choices = list(itertools.product(*(self.everyone[part] for part in parts)))
            best = choices[0]
            if len(choices) > 1:
                best = min(choices, key=lambda choice: self._cost(parts, choice, at_leisure))
            self.chosen[key] = dict(zip(parts, best, strict=True))
        return self.chosen[key]

    def _cost(self, parts: dict[str, int], choice: tuple[Offer, ...], at_leisure: bool) -> float:
        cost = sum(o.packs(n) * mean(o.price) * o.factor for o, n in zip(choice, parts.values(), strict=True))
        for o in {o.supplier.supplier: o for o in choice if o.supplier}.values():
            cost += o.factor * mean(o.supplier.carriage) + o.supplier.cost_handling
        days = max((mean(o.lead) for o in choice if o.lead is not None), default=0.0)
        return cost + (0.0 if at_leisure else days * mean(self.terms.cost_lost_day))

    # ---- the tree ----
    def _group(self, event: str, found: Found) -> list[Branch]:
        """Rows of an event under the condition that holds; none where it does not happen."""

        def holds(row: Branch) -> bool:
            return all(self._outcome(found, e) == o for e, o in row.given)

        special = [r for r in self.rows[event] if r.given and holds(r)]
        return special or [r for r in self.rows[event] if not r.given]

    @staticmethod
    def _outcome(found: Found, event: str) -> str:
        row = found.get(event)
        return row.outcome if row is not None else ""

    def _in_order(self) -> list[str]:
        """Events, each after those it depends on."""
        order: list[str] = []
        while len(order) < len(self.rows):
            waiting = (e for e in self.rows if e not in order)
            order.append(next(e for e in waiting if {o for r in self.rows[e] for o, _ in r.given} <= set(order)))
        return order

    def _enumerate(self, found: Found, chance: float, depth: int = 0) -> Iterator[tuple[float, Found]]:
        if depth == len(self.order_of_events):
            yield chance, found
            return
        event = self.order_of_events[depth]
        group = self._group(event, found)
        for row in group:
            if row.chance > 0:
                yield from self._enumerate({**found, event: row}, chance * row.chance, depth + 1)
        if not group:
            yield from self._enumerate(found, chance, depth + 1)

    def walk(self, rng: random.Random) -> Found:
        """One walk down the tree."""
        found: Found = {}
        for event in self.order_of_events:
            group = self._group(event, found)
            if group:
                found[event] = rng.choices(group, [r.chance for r in group])[0]
        return found

    def touches(self, row: Branch, way: Way) -> bool:
        """Whether a row of the case bears on one of its ways, kept once worked out."""
        key = id(row), way.way
        if key not in self.touched:
            self.touched[key] = touches(row, way)
        return self.touched[key]

    def end(self, way: Way, found: Found) -> int:
        rows = (r for r in found.values() if r.ends_rebuild and self.touches(r, way))
        return min((at(r.seen_at) for r in rows if not self.remedies(r, way)), default=NO_END)

    # ---- remedies
    def remedies(self, row: Branch, way: Way) -> tuple[Remedy, ...]:
        """What an outcome is met by: as ``met`` says, else the first remedy open to the way, then the second."""
        open_ones = [r for r in self.case.remedies if (r.event, r.outcome) == (row.event, row.outcome)
                     and (names(r.ways, way) if r.ways else way.traits.rebuilds == "here")]  # fmt: skip
        known = self.met.get((way.way, row.event, row.outcome))
        return tuple(open_ones[:2]) if known is None else known

    def _remedy(self, bill: Bill, n: Numbers, taken: tuple[Remedy, ...]) -> dict[str, int]:
        """The first remedy; where it does not hold the second, whose parts come in an order of their own."""
        first = taken[0]
        self._meet(bill, n, first)
        if first.p_holds < 1.0:

            def again() -> Bill:
                more, second = Bill(), taken[-1]
                self._meet(more, n, second)
                if second.parts:
                    self.order(more, n, dict(second.parts), True)
                return more

            extra = n.either(("fails", first.remedy, first.event, first.outcome), 1.0 - first.p_holds, again, Bill)
            bill.cash, bill.hours, bill.days = bill.cash + extra.cash, bill.hours + extra.hours, bill.days + extra.days
        return dict(first.parts)

    def _meet(self, bill: Bill, n: Numbers, remedy: Remedy) -> None:
        name = f"{remedy.remedy} {remedy.event}={remedy.outcome}"
        self.work(bill, n, name, remedy.by, remedy.extra_hours)
        bill.cash += n.number(("remedy cost", name), remedy.outside_cost)
        bill.days += n.number(("remedy days", name), remedy.extra_days)

    # ---- pieces of work ----
    def work(self, bill: Bill, n: Numbers, name: str, by: str, hours: Range, counts_days: bool = True) -> None:
        h = n.number(("hours", name), hours, True)
        if by == "owner":
            bill.hours += h
        else:
            bill.cash += h * n.number(("hour of", by), self.terms.labour[by].cost_hour)
        bill.days += h / self.terms.hours_per_day if counts_days else 0.0

    def task(self, bill: Bill, n: Numbers, t: Task, counts_days: bool = True) -> None:
        self.work(bill, n, t.task, t.by, t.hours, counts_days)
        bill.cash += n.number(("cost", t.task), t.cost)
        bill.days += n.number(("days", t.task), t.days) if counts_days else 0.0

    def tasks_of(self, way: Way) -> list[Task]:
        def needed(t: Task) -> bool:
            if t.ways:
                return names(t.ways, way)
            return way.traits.rebuilds == "here" or (t.stage in EVERY_WAY and lasting(way))

        if way.way not in self.tasks:
            self.tasks[way.way] = [t for t in self.case.tasks if needed(t)]
        return self.tasks[way.way]

    def freight(self, bill: Bill, n: Numbers, o: Offer) -> None:
        if o.supplier is not None:
            s = o.supplier
            bill.cash += n.number(("carriage", s.supplier), s.carriage) * o.factor + s.cost_handling

    def outcomes(
        self, bill: Bill, n: Numbers, way: Way, found: Found, end: int, last: int, paid: Paid = nothing
    ) -> dict[int, dict[str, int]]:
        """Pay for what is found, unless paid already; gives the pieces to order by stage."""
        orders: dict[int, dict[str, int]] = {}
        for row in found.values():
            if not row.seen_at or not self.touches(row, way) or at(row.seen_at) > last or paid(row):
                continue
            stage, met = at(row.seen_at), self.remedies(row, way)
            if self.in_the_price(row, way):
                continue
            if stage < end or (row.ends_rebuild and not met and stage == end):
                name = f"{row.event}={row.outcome} {row.given}"
                self.work(bill, n, name, self._worker(row, way), row.extra_hours)
                bill.cash += n.number(("outside", name), row.outside_cost)
                bill.days += n.number(("extra days", name), row.extra_days)
            order = max(stage, self.order_stage)
            if order < end:
                more = self._remedy(bill, n, met) if met else {}
                for part, pieces in (*row.parts, *more.items()):
                    wanted = orders.setdefault(order, {})
                    wanted[part] = wanted.get(part, 0) + pieces
        return orders

    def in_the_price(self, row: Branch, way: Way) -> bool:
        """What a rebuilder finds on his bench is in a price that covers it, unless the row names the way."""
        if way.traits.rebuilds != "away" or row.seen_at not in ("strip", "measure", "reassembly"):
            return False
        if any(w in (way.way, way.kind) for w in row.ways):
            return False
        price = self.offers[way.way].price
        covers = way.price_covers if way.price_covers is not None else price is not None and not price.sure
        return covers or not any(by in self.terms.labour for by in ("specialist", "machine shop", "yard"))

    def takes(self, part: Part, way: Way) -> bool:
        """Whether a planned part is for a way."""
        return part.needed == "always" and (names(part.ways, way) if part.ways else way.traits.rebuilds == "here")

    def _worker(self, row: Branch, way: Way) -> str:
        """A shop works on a unit that was sent to it, except on what is done aboard."""
        in_shop = way.traits.rebuilds == "away" and row.seen_at in ("strip", "measure", "reassembly")
        if in_shop and row.by == "owner":
            return next((by for by in ("specialist", "machine shop", "yard") if by in self.terms.labour), "owner")
        return row.by

    def order(
        self, bill: Bill, n: Numbers, parts: dict[str, int], waits: bool, floor: float = 0.0, at_leisure: bool = False
    ) -> None:
        """One order: packs, carriage once a supplier, the longest wait."""
        offers = self.cheapest({part: pieces for part, pieces in parts.items() if pieces}, at_leisure)
        for part, o in offers.items():
            supplier = o.supplier.supplier if o.supplier else ""
            bill.cash += o.packs(parts[part]) * o.factor * n.number(("price", part, supplier), o.price)
        for o in {o.supplier.supplier: o for o in offers.values() if o.supplier}.values():
            self.freight(bill, n, o)
        if waits:
            leads = {o.lead_name: o.lead for o in offers.values() if o.lead is not None}
            bill.days += n.longest(list(leads.items()), floor)
