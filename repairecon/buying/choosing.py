"""The choice among the quotes: the packs that each order takes, so that it costs least, the wait for it counted."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from itertools import combinations
from math import inf

import numpy as np

from repairecon.buying.basket import price_packs
from repairecon.buying.inputs import mean_of
from repairecon.buying.offers import Offered, border, line_of, parcel_terms, today_of, weigh
from repairecon.buying.other_baskets import frontier
from repairecon.buying.parcel import LandedParcel, price_parcel
from repairecon.buying.terms import Border, Line, Offer, Order, ParcelTerms
from repairecon.records import Case, OrderWishes, Range, RepaireconError

Demand = tuple[tuple[str, int], ...]
"""Items wanted by one order, each with its pieces."""

MOST_TRIED = 10
"""Suppliers up to which every set of them is tried; with more, or where terms are no straight lines, the program
decides. Trying is some hundred times faster for the few suppliers of a rebuild, which asks for many small orders."""

SECONDS = 20.0


class Choosing:
    """The offers of a case for its parts and units, and the packs of them that each demand takes.

    Prices and waits count at their means.
    """

    def __init__(self, case: Case) -> None:
        self.own = {p.part: (p.price, p.lead_days, p.source) for p in case.parts}
        self.own |= {w.way: (w.price, w.lead_days, w.source) for w in case.ways}
        pieces = {p.part: p.quantity for p in case.parts} | {w.way: 1 for w in case.ways}
        weighed = weigh(case, pieces, _undated(case.wishes), take_near=False)
        self.barred = tuple(o for o in weighed if o.left_out)
        self.offers = tuple(o for o in weighed if not o.left_out)
        sellers = dict.fromkeys(o.supplier.supplier for o in self.offers)
        quotes = {name: [o.quote for o in self.offers if o.supplier.supplier == name] for name in sellers}
        self.terms = {name: parcel_terms(case, case.supplier(name), mine) for name, mine in quotes.items()}
        self.border = border(case)
        self.lines = [line_of(o) for o in self.offers]
        self.by_item: dict[str, list[int]] = {}
        for k, o in enumerate(self.offers):
            self.by_item.setdefault(o.quote.item, []).append(k)
        self.days = [mean_of(lead) if (lead := self.lead(o)[0]) is not None else 0.0 for o in self.offers]
        self.cost_day = mean_of(case.terms.cost_lost_day)
        self._packs: dict[tuple[Demand, float], dict[int, int]] = {}

    def lead(self, o: Offered) -> tuple[Range | None, str]:
        """Days to wait for an offer, and the input that they are."""
        q = o.quote
        if q.lead_days is not None:
            return q.lead_days, f"days:{q.item}@{q.supplier}{self.again(o)}"
        if o.supplier.lead_days is not None:
            return o.supplier.lead_days, f"days of supplier:{q.supplier}"
        return self.own[q.item][1], f"days of item:{q.item}"

    def again(self, o: Offered) -> str:
        """What distinguishes a supplier's second quote for an item from the first."""
        mine = [x for x in self.by_item[o.quote.item] if self.offers[x].supplier is o.supplier]
        nth = next(n for n, x in enumerate(mine, 1) if self.offers[x] is o)
        return f", quote {nth}" if nth > 1 else ""

    def packs(self, demand: Demand, anyway: float = 0.0) -> dict[int, int]:
        """Packs by offer; a wait of up to ``anyway`` days [day] costs nothing more."""
        key = (demand, anyway)
        if key not in self._packs:
            self._packs[key] = self.choose(dict(demand), anyway) if demand else {}
        if demand and not self._packs[key]:
            items = ", ".join(item for item, _ in demand)
            raise RepaireconError(f"no order of these quotes can be made for {items}: see minimum orders and weights")
        return self._packs[key]

    def choose(self, wanted: Mapping[str, int], anyway: float = 0.0, barred: int = -1) -> dict[int, int]:
        """Packs by offer, none where no order can be made; ``barred`` is an offer that may not be taken."""
        usable = [k for part in wanted for k in self.by_item[part] if k != barred]
        names = sorted({self.offers[k].supplier.supplier for k in usable})
        # packs that hold a share of what is wanted may be mixed with others
        whole = all(not 1 < self.lines[k].pack < wanted[self.offers[k].quote.item] for k in usable)
        if whole and len(names) <= MOST_TRIED and all(n in self.straight for n in names):
            return self._tried(wanted, usable, names, anyway)
        return self._programmed(wanted, usable, anyway)

    def parcels(self, packs: Mapping[int, int]) -> dict[str, tuple[tuple[int, ...], LandedParcel]]:
        """What a choice comes to, parcel by parcel."""
        wanted = {self.offers[k].quote.item: 1 for k in packs}
        return price_packs(Order(wanted, self._all, self.terms, self.border), packs)

    def worth(self, packs: Mapping[int, int]) -> float:
        """Home money for a choice with its wait."""
        landed = sum(parcel.total for _, parcel in self.parcels(packs).values())
        return landed + self.cost_day * max((self.days[k] for k in packs), default=0.0)

    @cached_property
    def _all(self) -> tuple[Offer, ...]:
        zipped = zip(self.offers, self.lines, self.days, strict=True)
        return tuple(Offer(o.quote.item, o.supplier.supplier, line, days) for o, line, days in zipped)

    @cached_property
    def straight(self) -> dict[str, tuple[float, float]]:
        """Fixed cost a parcel, and home money for one quoted, of suppliers whose terms are straight lines."""
        found = {}
        for name, terms in self.terms.items():
            mine = [line for o, line in zip(self.offers, self.lines, strict=True) if o.supplier.supplier == name]
            rates = {line.duty_rate for line in mine}
            steps = terms.bands or terms.minimum_order or terms.free_above is not None or _limits(terms, self.border)
            if not steps and len(rates) == 1 and not any(len(line.prices) > 1 or line.core for line in mine):
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
        """Every set of suppliers within every deadline: each part from the cheapest of the set."""
        parts = list(wanted)
        packs = {k: self.lines[k].packs_for(wanted[self.offers[k].quote.item]) for k in usable}
        fixed = np.array([self.straight[n][0] for n in names])
        sets = [list(c) for n in range(1, min(len(names), len(parts)) + 1) for c in combinations(range(len(names)), n)]
        best, least = dict[int, int](), inf
        for deadline, waited in self._deadlines(usable, anyway):
            cost = np.full((len(parts), len(names)), inf)
            pick = np.full((len(parts), len(names)), -1)
            for k in usable:
                i, j = parts.index(self.offers[k].quote.item), names.index(self.offers[k].supplier.supplier)
                goods = self.straight[names[j]][1] * packs[k] * self.lines[k].price(packs[k])
                if self.days[k] <= deadline and goods < cost[i, j]:
                    cost[i, j], pick[i, j] = goods, k
            for chosen in sets:
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
