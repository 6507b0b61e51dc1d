"""Bills: cash, own hours and days of some work or of an order, a coefficient for each term, one number or one a leaf.
A term is a product of independent inputs or the longest of several waits (``buying.inputs``): at the means of its terms
a bill is the exact expectation, with drawn inputs it gives the draws."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from functools import partialmethod
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from repairecon.buying.buying import Buying, Priced
from repairecon.buying.inputs import ONE, Inputs, LongestWait, Product, Term
from repairecon.formulas.tree import information_sets
from repairecon.rebuild_or_buy.tree import Bools, Floats, Ints
from repairecon.records import Branch, Range, Remedy, Task, Terms, Way

Floor = tuple[tuple[int, float], ...]
Coef = float | NDArray[Any]
OUTPUTS = ("cash", "hours", "days")
DAYS = OUTPUTS.index("days")
LEAST = 1e-12  # a coefficient below this is what is left of a difference of two like ones


class Bill(dict[tuple[int, Term], Coef]):
    """Coefficients by place of the output and by term."""

    def add(self, output: int, term: Term, times: Coef = 1.0) -> None:
        """So much cash, so many own hours or days out of service."""
        if np.any(times):
            self[output, term] = self[output, term] + times if (output, term) in self else times

    pay = partialmethod(add, OUTPUTS.index("cash"))
    work = partialmethod(add, OUTPUTS.index("hours"))
    take = partialmethod(add, DAYS)

    def minus(self, other: Bill) -> Bill:
        less = {k: self.get(k, 0.0) - np.asarray(other[k]) if k in other else self[k] for k in self | other}
        return Bill({k: coef for k, coef in less.items() if np.any(np.abs(coef) > LEAST)})


def remedy_name(row: Remedy) -> str:
    return f"{row.remedy}, {row.event}={row.outcome}"


def _row(row: Task | Branch | Remedy) -> tuple[str, str, tuple[Range, Range, Range]]:
    """What kind of row of the case it is, its name, its hours, money and days."""
    if isinstance(row, Task):
        return "task", row.task, (row.hours, row.cost, row.days)
    ranges = row.extra_hours, row.outside_cost, row.extra_days
    if isinstance(row, Remedy):
        return "remedy", remedy_name(row), ranges
    return "outcome", f"{row.key} given {row.condition}" if row.given else row.key, ranges


MONEY = {
    "core": "core surcharge", "core carriage": "carriage of the old unit", "more": "what more breaks",
    "old unit": "price got for the old unit", "strip": "strip charge",
}  # fmt: skip
LABELS = {
    "task": ("hours for {}", "cost of {}", "days for {}"),
    "outcome": ("extra hours, {}", "outside work, {}", "extra days, {}"),
    "remedy": ("hours, {}", "outside work, {}", "days, {}"),
}


class Wanted(NamedTuple):
    """Pieces of a part wanted in each leaf by an order placed at the end of a stage, as often as chances come up."""

    stage: int
    part: str
    pieces: Ints
    often: Product = ONE


class Work:
    """Writes prices, tasks, outcomes and orders into bills and registers their inputs."""

    def __init__(self, terms: Terms, buying: Buying) -> None:
        self.terms, self.home, self.inputs, self.lines = terms, terms.currency, Inputs(), buying.ordered

    def price(self, p: Priced) -> Product:
        if p.supplier is None:
            return self.inputs.number(f"price:{p.item}", f"price of {p.item}", self.home, p.range, item=p.item)
        name, money = f"{p.supplier.supplier}{p.again}", p.supplier.currency
        key, label = f"quoted:{p.item}@{name}", f"price of {p.item} at {name}"
        return self.inputs.number(key, label, money, p.range, item=p.item, offer=p.offer)

    def lead(self, p: Priced) -> Product | None:
        if p.lead is None:
            return None
        whose = p.lead_key.partition(":")[2].replace("@", " from ")
        return self.inputs.wait(p.lead_key, f"days to wait for {whose}", p.lead)

    def order_line(self, bill: Bill, p: Priced, lines: tuple[Coef, Coef, Coef], often: Product = ONE) -> None:
        """A line of an order: coefficients of price and of carriage, and the rest, as often as chances have it."""
        goods, carriage, fixed = lines
        bill.pay(self.price(p).times(often), goods)
        if p.supplier is not None and np.any(carriage):
            band = "" if p.band is None else f", up to {p.band} kg"
            name = f"{p.supplier.supplier}{band}"
            label = f"carriage of {name}"
            rate = self.inputs.number(f"carriage:{name}", label, p.supplier.currency, p.carriage_range)
            bill.pay(rate.times(often), carriage)
        bill.pay(often, fixed)

    def unit(self, bill: Bill, p: Priced, bought: Coef = 1.0) -> None:
        """A unit bought or sent away: its carriage and fixed charges even where the work is not done."""
        self.order_line(bill, p, (bought * p.goods, p.carriage, p.fixed))

    def pay(self, bill: Bill, what: str, way: Way, r: Range, times: Coef = 1.0) -> None:
        if r.high > 0:
            bill.pay(self.money(what, way, r), times)

    def money(self, what: str, way: Way, r: Range) -> Product:
        return self.inputs.number(f"{what}:{way.way}", f"{MONEY[what]}, {way.way}", self.home, r)

    def hours(self, bill: Bill, hours: Product, by: str, times: Coef, day_times: Coef | None = None) -> None:
        """Hours of somebody: own hours, or cash at his hour's price; both take days at the boat."""
        if by == "owner":
            bill.work(hours, times)
        else:
            price = self.terms.labour[by].cost_hour
            hour = self.inputs.number(f"hour:{by}", f"an hour of {by}", f"{self.home} an hour", price)
            bill.pay(hours.times(hour), times)
        bill.take(hours, (times if day_times is None else day_times) / self.terms.hours_per_day)

    def do(
        self, bill: Bill, row: Task | Branch | Remedy, times: Coef, day_times: Coef | None = None, *,
        by: str = "", often: Product = ONE,
    ) -> None:  # fmt: skip
        """Hours, money and days of a task, an outcome or a remedy as often as chances have it; by whom the row says
        unless somebody else is named, days at ``day_times`` where they differ."""
        kind, name, (hours, cost, days) = _row(row)
        label = [words.format(name) for words in LABELS[kind]]
        if hours.high > 0:
            worked = self.inputs.hours(f"{kind} hours:{name}", label[0], hours)
            self.hours(bill, worked.times(often), by or row.by, times, day_times)
        if cost.high > 0:
            paid = self.inputs.number(f"{kind} cost:{name}", label[1], self.home, cost)
            bill.pay(paid.times(often), times)
        if days.high > 0:
            out = self.inputs.number(f"{kind} days:{name}", label[2], "days", days)
            bill.take(out.times(often), times if day_times is None else day_times)

    def chance(self, row: Branch | Remedy, p: float) -> Product:
        """One where an outcome of an averaged event comes up, if none before it did, or where a remedy fails."""
        kind, name, _ = _row(row)
        key, what = ("fails", "does not hold") if kind == "remedy" else ("comes up", "comes up")
        return self.inputs.chance(f"{key}:{name}", f"{name} {what}", p, row.source)

    def fitting(self, bill: Bill, way: Way, times: Coef) -> None:
        if way.fitting_hours.high > 0:
            key = f"fitting hours:{way.way}"
            hours = self.inputs.hours(key, f"fitting hours, {way.way}", way.fitting_hours)
            self.hours(bill, hours, way.fitting_by, times)

    def order(
        self, bill: Bill, wanted: Iterable[Wanted], waited: Bools, floors: dict[int, Floor], leisure: bool = False
    ) -> None:
        """Write the orders of each stage into a bill. ``waited`` leaves in which somebody waits for them; ``floors``
        work done while the order of a stage is on its way; at leisure the wait costs nothing in choosing from whom to
        buy."""
        orders: dict[tuple[int, tuple[int, ...]], dict[str, Ints]] = {(stage, ()): {} for stage in floors}
        for w in wanted:
            parts = orders.setdefault((w.stage, w.often.inputs), {})
            parts[w.part] = parts[w.part] + w.pieces if w.part in parts else w.pieces
        for (stage, often), parts in sorted(orders.items(), key=lambda order: order[0]):
            self._order(bill, parts, waited, LongestWait((), () if often else floors.get(stage, ()), often), leisure)

    def _order(self, bill: Bill, parts: dict[str, Ints], waited: Bools, least: LongestWait, leisure: bool) -> None:
        pieces = np.array(list(parts.values()), dtype=np.int64).reshape(len(parts), len(waited))
        differ = np.flatnonzero((pieces != pieces[:, :1]).any(axis=1))
        which, count = information_sets(pieces.T, differ.tolist())
        first = np.zeros(count, dtype=np.intp)
        first[which] = np.arange(len(waited))
        lines: dict[tuple[str, str, float | None], tuple[Priced, Floats]] = {}
        waits: list[tuple[int, ...]] = []
        names = list(parts)
        for d, leaf in enumerate(first):
            demand = tuple((names[k], int(pieces[k, leaf])) for k in np.flatnonzero(pieces[:, leaf]))
            order = self.lines(demand, leisure)
            for p in order:
                key = p.item, p.lead_key + p.again + (p.supplier.supplier if p.supplier else ""), p.band
                _, row = lines.setdefault(key, (p, np.zeros((3, count))))
                row[:, d] += (p.goods, p.carriage, p.fixed)
            leads = (self.lead(p) for p in order)
            waits.append(tuple(dict.fromkeys(lead.inputs[0] for lead in leads if lead is not None)))
        for p, row in lines.values():
            same = (row == row[:, :1]).all()
            goods, carriage, fixed = row[:, 0].tolist() if same else row[:, which]
            self.order_line(bill, p, (goods, carriage, fixed), Product(least.often))
        for longest in dict.fromkeys(waits):
            if longest or least.floor:
                here = np.array([w == longest for w in waits])[which] & waited
                bill.take(replace(least, waits=longest), here.astype(float))
