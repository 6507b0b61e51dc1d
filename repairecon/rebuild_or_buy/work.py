"""Bills: cash, own hours and days of a piece of work as sums of inputs, leaf by leaf.

A bill holds for each output a coefficient for each term, one number or one a leaf. A term is a product of independent
inputs or the longest of several waits (``buying.inputs``), so that a bill at the means of its terms is the exact
expectation; with drawn inputs the same bill gives the draws.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from repairecon.buying.buying import Priced
from repairecon.buying.inputs import ONE, Inputs, Product, Term
from repairecon.records import Branch, Range, Remedy, Task, Terms, Way

Coef = float | NDArray[Any]
OUTPUTS = ("cash", "hours", "days")
LEAST = 1e-12
"""A coefficient below this is what is left of a difference of two like ones."""


@dataclass
class Bill:
    """Coefficients by output and term."""

    cash: dict[Term, Coef] = field(default_factory=dict)
    hours: dict[Term, Coef] = field(default_factory=dict)
    days: dict[Term, Coef] = field(default_factory=dict)

    def pay(self, term: Term, times: Coef = 1.0) -> None:
        """So much cash."""
        _add(self.cash, term, times)

    def work(self, term: Term, times: Coef = 1.0) -> None:
        """So many own hours."""
        _add(self.hours, term, times)

    def take(self, term: Term, times: Coef = 1.0) -> None:
        """So many days out of service."""
        _add(self.days, term, times)

    def minus(self, other: Bill) -> Bill:
        """This bill less another one."""
        left = Bill(dict(self.cash), dict(self.hours), dict(self.days))
        for output in OUTPUTS:
            terms = getattr(left, output)
            for term, coef in getattr(other, output).items():
                terms[term] = terms.get(term, 0.0) - np.asarray(coef)
            setattr(left, output, {t: c for t, c in terms.items() if np.any(np.abs(c) > LEAST)})
        return left


def _add(terms: dict[Term, Coef], term: Term, coef: Coef) -> None:
    if np.any(coef):
        terms[term] = terms[term] + coef if term in terms else coef


class Work:
    """Writes prices, tasks and outcomes of a case into bills, and registers the inputs that they take."""

    def __init__(self, terms: Terms) -> None:
        self.terms, self.home, self.inputs = terms, terms.currency, Inputs()

    # ---- prices ---------------------------------------------------------------------------
    def price(self, p: Priced) -> Product:
        """Price of an item as quoted."""
        if p.supplier is None:
            return self.inputs.number(f"price:{p.item}", f"price of {p.item}", self.home, p.range, item=p.item)
        name, label = f"{p.supplier.supplier}{p.again}", f"price of {p.item} at {p.supplier.supplier}{p.again}"
        return self.inputs.number(
            f"quoted:{p.item}@{name}", label, p.supplier.currency, p.range, item=p.item, offer=p.offer
        )

    def lead(self, p: Priced) -> Product | None:
        """Days to wait for an item."""
        if p.lead is None:
            return None
        whose = p.lead_key.partition(":")[2].replace("@", " from ")
        return self.inputs.wait(p.lead_key, f"days to wait for {whose}", p.lead)

    def order_line(self, bill: Bill, p: Priced, lines: tuple[Coef, Coef, Coef], often: Product = ONE) -> None:
        """A line of an order: so much for one of the price quoted, for one of the carriage, and the rest; all of it as
        often as some chances come up."""
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

    def money(self, what: str, label: str, way: Way, r: Range) -> Product:
        """An amount of home money that a way names."""
        return self._money(f"{what}:{way.way}", f"{label}, {way.way}", r)

    def _money(self, key: str, label: str, r: Range) -> Product:
        return self.inputs.number(key, label, self.home, r)

    # ---- work -----------------------------------------------------------------------------
    def hours(self, bill: Bill, hours: Product, by: str, times: Coef, day_times: Coef | None = None) -> None:
        """Hours of somebody: own hours, or cash at his hour's price; both take days at the boat."""
        if by == "owner":
            bill.work(hours, times)
        else:
            price = self.terms.labour[by].cost_hour
            hour = self.inputs.number(f"hour:{by}", f"an hour of {by}", f"{self.home} an hour", price)
            bill.pay(hours.times(hour), times)
        bill.take(hours, (times if day_times is None else day_times) / self.terms.hours_per_day)

    def task(self, bill: Bill, task: Task, times: Coef, day_times: Coef | None = None) -> None:
        """One row of tasks.csv."""
        name = task.task
        if task.hours.high > 0:
            hours = self.inputs.hours(f"task hours:{name}", f"hours for {name}", task.hours)
            self.hours(bill, hours, task.by, times, day_times)
        if task.cost.high > 0:
            bill.pay(self._money(f"task cost:{name}", f"cost of {name}", task.cost), times)
        if task.days.high > 0:
            days = self.inputs.number(f"task days:{name}", f"days for {name}", "days", task.days)
            bill.take(days, times if day_times is None else day_times)

    def outcome(self, bill: Bill, branch: Branch, by: str, times: Coef) -> None:
        """Extra hours, outside work and days of an outcome."""
        given = "; ".join(f"{e}={o}" for e, o in branch.given)
        name = f"{branch.key} given {given}" if given else branch.key
        if branch.extra_hours.high > 0:
            hours = self.inputs.hours(f"outcome hours:{name}", f"extra hours, {name}", branch.extra_hours)
            self.hours(bill, hours, by, times)
        if branch.outside_cost.high > 0:
            bill.pay(self._money(f"outcome cost:{name}", f"outside work, {name}", branch.outside_cost), times)
        if branch.extra_days.high > 0:
            days = self.inputs.number(f"outcome days:{name}", f"extra days, {name}", "days", branch.extra_days)
            bill.take(days, times)

    def remedy(self, bill: Bill, remedy: Remedy, often: Product, times: Coef) -> None:
        """Hours, outside work and days of a remedy, as often as those before it did not hold."""
        name = f"{remedy.remedy}, {remedy.event}={remedy.outcome}"
        if remedy.extra_hours.high > 0:
            hours = self.inputs.hours(f"remedy hours:{name}", f"hours, {name}", remedy.extra_hours)
            self.hours(bill, hours.times(often), remedy.by, times)
        if remedy.outside_cost.high > 0:
            cost = self._money(f"remedy cost:{name}", f"outside work, {name}", remedy.outside_cost)
            bill.pay(cost.times(often), times)
        if remedy.extra_days.high > 0:
            days = self.inputs.number(f"remedy days:{name}", f"days, {name}", "days", remedy.extra_days)
            bill.take(days.times(often), times)

    def fails(self, remedy: Remedy) -> Product:
        """One where a remedy does not hold."""
        name = f"{remedy.remedy}, {remedy.event}={remedy.outcome}"
        return self.inputs.chance(f"fails:{name}", f"{name} does not hold", 1.0 - remedy.p_holds, remedy.source)

    def fitting(self, bill: Bill, way: Way, times: Coef) -> None:
        """Hours to fit the unit of a way."""
        if way.fitting_hours.high > 0:
            key = f"fitting hours:{way.way}"
            hours = self.inputs.hours(key, f"fitting hours, {way.way}", way.fitting_hours)
            self.hours(bill, hours, way.fitting_by, times)
