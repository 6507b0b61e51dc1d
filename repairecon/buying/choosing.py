"""The choice among the quotes: the packs that each order takes, so that it costs least, the wait for it counted."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from itertools import combinations
from math import inf

import numpy as np

from repairecon.buying.basket_choices import frontier
from repairecon.buying.basket_terms import Offer, Order, price_packs
from repairecon.buying.inputs import mean_of
from repairecon.buying.landed import packs_needed
from repairecon.buying.offers import Offered, border, line_of, parcel_terms, today_of, weigh
from repairecon.buying.parcel import Border, LandedParcel, Line, ParcelTerms, price_parcel
from repairecon.records import Case, OrderWishes, Quote, Range, RepaireconError

Demand = tuple[tuple[str, int], ...]
"""Items wanted by one order, each with its pieces."""

MOST_TRIED = 10
"""Suppliers up to which every set of them is tried; with more, or with terms that bend, the program decides."""

SECONDS = 20.0


class Choosing:
    """The offers of a case for its parts and units, and the packs of them that each demand takes.

    Prices and waits count at their means.
    """

    def __init__(self, case: Case) -> None:
        self.case = case
        self.parts = {p.part: p for p in case.parts}
        self.own = {p.part: (p.price, p.lead_days, p.source) for p in case.parts}
        self.own |= {w.way: (w.price, w.lead_days, w.source) for w in case.ways}
        pieces = {p.part: p.quantity for p in case.parts} | {w.way: 1 for w in case.ways}
        weighed = weigh(case, pieces, _undated(case.wishes), take_near=False)
        self.barred = tuple(o for o in weighed if o.left_out)
        self.offers = tuple(o for o in weighed if not o.left_out)
        quotes: dict[str, list[Quote]] = {}
        for o in self.offers:
            quotes.setdefault(o.supplier.supplier, []).append(o.quote)
        self.terms = {name: parcel_terms(case, case.supplier(name), mine) for name, mine in quotes.items()}
        self.border = border(case)
        self.lines = [line_of(o) for o in self.offers]
        self.by_item: dict[str, list[int]] = {}
        for k, o in enumerate(self.offers):
            self.by_item.setdefault(o.quote.item, []).append(k)
        self.days = [mean_of(lead) if (lead := self._lead(o)[0]) is not None else 0.0 for o in self.offers]
        self.cost_day = mean_of(case.terms.cost_lost_day)
        self._packs: dict[tuple[Demand, float], dict[int, int]] = {}

    def _lead(self, o: Offered) -> tuple[Range | None, str]:
        """Days to wait for an offer, and the input that they are."""
        q = o.quote
        if q.lead_days is not None:
            return q.lead_days, f"days:{q.item}@{q.supplier}{self._again(o)}"
        if o.supplier.lead_days is not None:
            return o.supplier.lead_days, f"days of supplier:{q.supplier}"
        return self.own[q.item][1], f"days of item:{q.item}"

    def _again(self, o: Offered) -> str:
        """What tells a supplier's second quote for an item from the first."""
        mine = [x for x in self.by_item[o.quote.item] if self.offers[x].supplier is o.supplier]
        nth = next(n for n, x in enumerate(mine, 1) if self.offers[x] is o)
        return f", quote {nth}" if nth > 1 else ""

    def _chosen(self, demand: Demand, anyway: float = 0.0) -> dict[int, int]:
        """Packs by offer; a wait of up to ``anyway`` days costs nothing more."""
        key = (demand, anyway)
        if key not in self._packs:
            self._packs[key] = self._choose(dict(demand), anyway) if demand else {}
        if demand and not self._packs[key]:
            items = ", ".join(item for item, _ in demand)
            raise RepaireconError(f"no order of these quotes can be made for {items}: see minimum orders and weights")
        return self._packs[key]

    def _choose(self, wanted: Mapping[str, int], anyway: float = 0.0, barred: int = -1) -> dict[int, int]:
        """Packs by offer, none where no order can be made."""
        usable = [k for part in wanted for k in self.by_item[part] if k != barred]
        names = sorted({self.offers[k].supplier.supplier for k in usable})
        # packs that hold a share of what is wanted may be mixed with others
        whole = all(not 1 < self.lines[k].pack < wanted[self.offers[k].quote.item] for k in usable)
        if whole and len(names) <= MOST_TRIED and all(n in self._plain for n in names):
            return self._tried(wanted, usable, names, anyway)
        return self._programmed(wanted, usable, anyway)

    # ---- plain terms: every set of suppliers is tried -----------------------------------------
    @cached_property
    def _plain(self) -> dict[str, tuple[float, float]]:
        """Fixed cost a parcel, and home money for one quoted, of suppliers whose terms are straight lines."""
        found = {}
        for name, terms in self.terms.items():
            mine = [line for o, line in zip(self.offers, self.lines, strict=True) if o.supplier.supplier == name]
            rates = {line.duty_rate for line in mine}
            bent = terms.bands or terms.minimum_order or terms.free_above is not None or _limits(terms, self.border)
            bent = bent or len(rates) > 1 or any(len(line.prices) > 1 or line.core for line in mine)
            if not bent:
                rate = rates.pop()
                # not from 0: a parcel of no value passes the border free
                one, two = (
                    price_parcel(terms, [Line(((1, p),), duty_rate=rate)], [1], self.border).total for p in (1.0, 2.0)
                )
                found[name] = (2.0 * one - two, two - one)
        return found

    def _tried(
        self, wanted: Mapping[str, int], usable: Sequence[int], names: list[str], anyway: float
    ) -> dict[int, int]:
        parts = list(wanted)
        packs = {k: packs_for(self.lines[k], wanted[self.offers[k].quote.item]) for k in usable}
        best, least = dict[int, int](), inf
        for deadline, waited in self._deadlines(usable, anyway):
            cost = np.full((len(parts), len(names)), inf)
            pick = np.full((len(parts), len(names)), -1)
            for k in usable:
                i, j = parts.index(self.offers[k].quote.item), names.index(self.offers[k].supplier.supplier)
                goods = self._plain[names[j]][1] * packs[k] * self.lines[k].price(packs[k])
                if self.days[k] <= deadline and goods < cost[i, j]:
                    cost[i, j], pick[i, j] = goods, k
            fixed = np.array([self._plain[n][0] for n in names])
            for chosen in _sets(len(names), len(parts)):
                total = fixed[chosen].sum() + cost[:, chosen].min(axis=1).sum() + waited
                if total < least - 1e-9:
                    at = [chosen[int(j)] for j in cost[:, chosen].argmin(axis=1)]
                    least, best = total, {int(pick[i, j]): packs[int(pick[i, j])] for i, j in enumerate(at)}
        return best

    def _deadlines(self, usable: Sequence[int], anyway: float) -> list[tuple[float, float]]:
        """Deadlines worth trying, each with what waiting for it costs."""
        if self.cost_day <= 0.0 or anyway == inf:
            return [(inf, 0.0)]
        days = {max(self.days[k], anyway) for k in usable}
        return [(d, self.cost_day * (d - anyway)) for d in sorted(days)]

    # ---- terms that bend: the program decides ----------------------------------------------------
    def _programmed(self, wanted: Mapping[str, int], usable: Sequence[int], anyway: float) -> dict[int, int]:
        mine = [self._all[k] for k in usable]
        order = Order(wanted, tuple(mine), {o.supplier: self.terms[o.supplier] for o in mine}, self.border)
        if self.cost_day <= 0.0 or anyway == inf:
            order = replace(order, offers=tuple(replace(o, days=0.0) for o in mine))
        found = [b for b in frontier(order, SECONDS) if b.packs and not b.uncovered]
        if not found:
            return {}
        best = min(found, key=lambda b: b.total + self.cost_day * max(b.days - anyway, 0.0))
        return {usable[k]: n for k, n in best.packs.items()}

    # ---- what a choice comes to ------------------------------------------------------------------
    def _parcels(self, packs: Mapping[int, int]) -> dict[str, tuple[tuple[int, ...], LandedParcel]]:
        wanted = {self.offers[k].quote.item: 1 for k in packs}
        return price_packs(Order(wanted, self._all, self.terms, self.border), packs)

    @cached_property
    def _all(self) -> tuple[Offer, ...]:
        zipped = zip(self.offers, self.lines, self.days, strict=True)
        return tuple(Offer(o.quote.item, o.supplier.supplier, line, days) for o, line, days in zipped)

    def _worth(self, packs: Mapping[int, int]) -> float:
        landed = sum(parcel.total for _, parcel in self._parcels(packs).values())
        return landed + self.cost_day * max((self.days[k] for k in packs), default=0.0)


def _undated(wishes: OrderWishes) -> OrderWishes:
    """The wishes that bear on a rebuild: quotes age only where the case says what day it is."""
    if wishes.today:
        return wishes
    return replace(wishes, price_inflation_rate=0.0, today=today_of(wishes).isoformat())


def _limits(terms: ParcelTerms, rules: Border) -> bool:
    """Whether the border's rules change with what is in the parcel."""
    if not terms.imported:
        return False
    own = rules.hand_allowance > 0.0 if terms.by_hand else rules.duty_free_up_to > 0.0 or rules.vat_free_up_to > 0.0
    return own or rules.flat_duty_rate is not None


def packs_for(line: Line, pieces: int) -> int:
    """Packs of a line that hold so many pieces."""
    return max(line.minimum_packs, packs_needed(pieces, line.pack))


def _sets(suppliers: int, parts: int) -> list[list[int]]:
    """Every set of suppliers that may each have a part of the order."""
    return [list(c) for n in range(1, min(suppliers, parts) + 1) for c in combinations(range(suppliers), n)]
