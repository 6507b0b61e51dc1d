"""The reference case in straightforward vectorised numpy: whole arrays of all draws, nothing clever.

Written for this one case (parts ordered after measuring, the rebuild ends only on a cracked casing),
with the figures read from its records.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import special

from repairecon.records import Case, Range

Array = NDArray[np.float64]
GRID = np.linspace(0.0, 1.0, 4001)


@dataclass
class Money:
    """Cash, own hours and days of all draws."""

    cash: Any = 0.0
    hours: Any = 0.0
    days: Any = 0.0


class PlainNumpy:
    """All draws at once."""

    def __init__(self, case: Case, draws: int, seed: int) -> None:
        self.case, self.n, self.terms = case, draws, case.terms
        self.rng = np.random.default_rng(seed)
        self.pace = self.rng.standard_normal(draws) * np.sqrt(self.terms.hours_correlation)
        self.day = self.pert(self.terms.cost_lost_day)
        self.hour = {by: self.pert(w.cost_hour) for by, w in self.terms.labour.items()}
        self.carriage = {s.supplier: self.pert(s.carriage) for s in case.suppliers}
        self.lead = {s.supplier: self.pert(s.lead_days) for s in case.suppliers}
        self.price = {q.item: self.pert(q.quoted) for q in case.quotes}
        self.from_ = {q.item: case.supplier(q.supplier) for q in case.quotes}
        self.task_hours = {t.task: self.hours_of(t.hours) for t in case.tasks}
        self.state = self.events()

    def pert(self, r: Range) -> Array:
        if r.sure:
            return np.full(self.n, r.likely)
        a = 1 + 4 * (r.likely - r.low) / (r.high - r.low)
        return r.low + (r.high - r.low) * self.rng.beta(a, 6 - a, self.n)

    def hours_of(self, r: Range) -> Array:
        own = np.sqrt(1 - self.terms.hours_correlation)
        p = special.ndtr(self.pace + own * self.rng.standard_normal(self.n))
        a = 1 + 4 * (r.likely - r.low) / (r.high - r.low)
        table = special.betaincinv(a, 6 - a, GRID)  # solving for each draw would take ten times as long
        return r.low + (r.high - r.low) * np.interp(p, GRID, table)

    def events(self) -> dict[str, NDArray[np.str_]]:
        """Outcome of each event in each draw; those given another come after it."""
        state: dict[str, NDArray[np.str_]] = {}
        rows: dict[str, list[Any]] = {}
        for b in self.case.branches:
            rows.setdefault(b.event, []).append(b)
        for event, own in rows.items():
            names = np.array(list(dict.fromkeys(b.outcome for b in own)))
            u, drawn = self.rng.random(self.n), np.zeros(self.n, dtype=np.intp)
            for given in dict.fromkeys(b.given for b in own):
                here = np.ones(self.n, dtype=bool)
                for e, o in given:
                    here &= state[e] == o
                edges = np.cumsum([b.chance for b in own if b.given == given])[:-1]
                drawn = np.where(here, np.searchsorted(edges, u), drawn)
            state[event] = names[drawn]
        return state

    def work(self, m: Money, hours: Array, by: str, here: Any) -> None:
        if by == "owner":
            m.hours = m.hours + np.where(here, hours, 0)
        else:
            m.cash = m.cash + np.where(here, hours * self.hour[by], 0)
        m.days = m.days + np.where(here, hours / self.terms.hours_per_day, 0)

    def factor(self, part: str) -> float:
        s = self.from_[part]
        rate = (1 + s.duty_rate) * (1 + self.terms.vat_rate) if s.imported else 1.0
        return rate * self.terms.exchange.get(s.currency, 1.0)

    def order(self, m: Money, pieces: dict[str, Any]) -> None:
        wait: Any = 0.0
        for s in self.case.suppliers:
            mine = {part: k for part, k in pieces.items() if self.from_[part] is s}
            if not mine:
                continue
            used = np.any([np.broadcast_to(k, self.n) > 0 for k in mine.values()], axis=0)
            for part, k in mine.items():
                m.cash = m.cash + k * self.price[part] * self.factor(part)
            once = self.carriage[s.supplier] * self.factor(next(iter(mine))) + s.cost_handling
            m.cash = m.cash + np.where(used, once, 0)
            wait = np.maximum(wait, np.where(used, self.lead[s.supplier], 0))
        m.days = m.days + wait

    def is_(self, event: str, outcome: str) -> NDArray[np.bool_]:
        return self.state[event] == outcome

    def rebuild(self, at_leisure: bool) -> Money:
        m, ended = Money(), self.is_("casing", "cracked")
        bench = ("strip", "measure", "reassembly")
        for t in self.case.tasks:
            if not at_leisure or t.stage in bench:
                early = t.stage in ("outside", "removal", "strip")
                self.work(m, self.task_hours[t.task], t.by, True if early else ~ended)
        pieces: dict[str, Any] = {
            p.part: np.where(ended, 0, p.quantity) for p in self.case.parts if p.needed == "always"
        }
        later: dict[str, Any] = {}
        for b in self.case.branches:
            if not b.seen_at or b.ends_rebuild or (at_leisure and b.seen_at == "first run"):
                continue
            here = self.is_(b.event, b.outcome) & (True if b.seen_at == "removal" else ~ended)
            for e, o in b.given:
                here = here & self.is_(e, o)
            if b.extra_hours.high > 0:
                self.work(m, self.branch_hours(b), b.by, here)
            m.cash = m.cash + np.where(here, self.branch_number(b, "outside_cost"), 0)
            m.days = m.days + np.where(here, self.branch_number(b, "extra_days"), 0)
            order = later if b.seen_at == "first run" else pieces
            for part, k in b.parts:
                order[part] = order.get(part, 0) + np.where(here, k, 0)
        self.order(m, pieces)
        if later:
            self.order(m, later)
        return Money(m.cash, m.hours, 0.0) if at_leisure else m

    def branch_hours(self, b: Any) -> Array:
        key = f"{b.key} {b.given}"
        if key not in self.task_hours:
            self.task_hours[key] = self.hours_of(b.extra_hours)
        return self.task_hours[key]

    def branch_number(self, b: Any, name: str) -> Array:
        key = f"{b.key} {b.given} {name}"
        if key not in self.price:
            self.price[key] = self.pert(getattr(b, name))
        return self.price[key]

    def way_number(self, w: Any, name: str) -> Array:
        key = f"{w.way} {name}"
        if key not in self.price:
            r = getattr(w, name)
            self.price[key] = self.hours_of(r) if name == "fitting_hours" and r.high > 0 else self.pert(r)
        return self.price[key]

    def buy(self, name: str, after_strip: bool) -> Money:
        w, m = self.case.way(name), Money()
        m.cash = self.way_number(w, "price") + np.zeros(self.n)
        m.days = self.way_number(w, "lead_days") + np.zeros(self.n)
        if w.core_surcharge.high > 0:
            m.cash = m.cash + self.way_number(w, "core_surcharge")
            if not after_strip:
                kept = self.is_("casing", "cracked") | (self.rng.random(self.n) >= w.p_refund)
                m.cash = m.cash - np.where(kept, 0, self.way_number(w, "core_surcharge"))
                m.cash = m.cash + self.way_number(w, "core_carriage")
        for t in self.case.tasks:
            if t.stage == "first run" or (t.stage in ("outside", "removal") and not after_strip):
                self.work(m, self.task_hours[t.task], t.by, True)
        if w.fitting_hours.high > 0:
            self.work(m, self.way_number(w, "fitting_hours"), w.fitting_by, True)
        if w.p_never > 0:
            never, other = self.rng.random(self.n) < w.p_never, self.buy("exchange", after_strip)
            m.cash = np.where(never, other.cash, m.cash)
            m.hours = np.where(never, other.hours, m.hours)
            m.days = np.where(never, other.days + self.terms.give_up_days, m.days)
        return m

    def total(self, m: Money) -> Array:
        return m.cash + self.terms.cost_own_hour * m.hours + self.day * m.days

    def bills(self) -> dict[str, Money]:
        """What every way comes to."""
        buys = ("exchange", "new", "second-hand")
        whole = {b: self.buy(b, False) for b in buys}
        after = min((self.buy(b, True) for b in buys), key=lambda m: float(self.total(m).mean()))
        here, ended = self.rebuild(at_leisure=False), self.is_("casing", "cracked")
        for name in ("cash", "hours", "days"):
            setattr(here, name, getattr(here, name) + np.where(ended, getattr(after, name), 0))
        bench, new = self.rebuild(at_leisure=True), whole["new"]
        both = Money(bench.cash + new.cash, bench.hours + new.hours, bench.days + new.days)
        return {"rebuild here": here, **whole, "buy new, rebuild the old": both}

    def answer(self) -> dict[str, Any]:
        """Means, quantiles, chance of being cheapest of all ways."""
        bills = self.bills()
        values = np.array([[m.cash, m.hours, m.days, self.total(m)] for m in bills.values()])
        total = values[:, 3]
        best = total.min(axis=0)
        return {
            "ways": list(bills),
            "mean": values.mean(axis=2),
            "se": values.std(axis=2) / np.sqrt(self.n),
            "quantiles": np.quantile(values, [0.1, 0.5, 0.9], axis=2),
            "p_cheapest": np.bincount(total.argmin(axis=0), minlength=len(bills)) / self.n,
            "regret": (total - best).mean(axis=1),
        }
