"""The orders of a rebuild: the packs of the quotes that cost least, the wait counted, as lines to calculate with."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, cached_property
from itertools import combinations
from math import inf

import numpy as np

from repairecon.buying.basket import Clock, check_size, price_packs
from repairecon.buying.inputs import mean_of
from repairecon.buying.offers import Offered, order_of, weigh
from repairecon.buying.other_baskets import frontier
from repairecon.buying.parcel import CLOSE, Line, price_parcel
from repairecon.records import NOTHING, Case, OrderWishes, Quote, Range, RepaireconError, Source, Supplier, grouped

Demand = tuple[tuple[str, int], ...]
"""Items wanted by one order, each with its pieces."""

MOST_TRIED = 10
"""Suppliers up to which every set of them is tried; with more, or where terms are no straight lines, the program
decides. Trying is some hundred times faster for the few suppliers of a rebuild, which asks for many small orders."""

SECONDS = 20.0


@dataclass(frozen=True)
class Priced:
    """An item as an order takes it, as a sum of inputs.

    Home money = ``goods`` x price as quoted + ``carriage`` x carriage as quoted + ``fixed``; at their means that is
    ``landed``. ``band`` is the weight band whose carriage holds (None: the supplier's one carriage). ``offer`` is the
    place of the quote among the offers (-1: none), for ``Buying.takeover``. ``again`` names a supplier's second quote
    for an item.
    """

    item: str
    range: Range
    supplier: Supplier | None
    quote: Quote | None
    lead: Range | None
    lead_key: str
    source: Source
    packs: int
    goods: float
    carriage: float = 0.0
    fixed: float = 0.0
    band: float | None = None
    offer: int = -1
    again: str = ""

    @property
    def carriage_range(self) -> Range:
        """Carriage as the supplier quotes it."""
        if self.supplier is None:
            return NOTHING
        bands = {b.up_to_kg: b.quoted for b in self.supplier.bands}
        return bands.get(self.band, self.supplier.carriage) if self.band is not None else self.supplier.carriage

    @property
    def a_piece(self) -> float:
        """Home money for a piece, carriage left out, where one is quoted for a pack."""
        return self.goods / self.pieces

    @property
    def pieces(self) -> int:
        """Pieces in all packs."""
        return self.packs * (self.quote.pack if self.quote else 1)

    @property
    def landed(self) -> float:
        """Expected home money for the line in its order."""
        return self.goods * mean_of(self.range) + self.carriage * mean_of(self.carriage_range) + self.fixed


class Buying:
    """The offers of a case for its parts and units, the packs that each demand takes, and its lines to calculate with.

    Prices and waits count at their means. What nobody quotes for is had at its own price, without carriage.
    """

    def __init__(self, case: Case) -> None:
        self.case = case
        self.own = {p.part: (p.price, p.lead_days, p.source) for p in case.parts}
        self.own |= {w.way: (w.price, w.lead_days, w.source) for w in case.ways}
        pieces = {p.part: p.quantity for p in case.parts} | {w.way: 1 for w in case.ways}
        # quotes age only where the case says what day it is
        wishes = case.wishes if case.wishes.today else replace(case.wishes, price_inflation_rate=0.0)
        weighed = weigh(case, pieces, wishes)
        self.barred = tuple(o for o in weighed if o.left_out)
        self.offers = tuple(o for o in weighed if not o.left_out)
        self.by_item = grouped(range(len(self.offers)), lambda k: self.offers[k].quote.item)
        before = Counter[tuple[str, str]]()
        self.again = []
        for o in self.offers:
            before[o.quote.item, o.quote.supplier] += 1
            nth = before[o.quote.item, o.quote.supplier]
            self.again.append(f", quote {nth}" if nth > 1 else "")
        self.leads = [self._lead(o, again) for o, again in zip(self.offers, self.again, strict=True)]
        self.days = [0.0 if lead is None else mean_of(lead) for lead, _ in self.leads]
        whole = order_of(case, pieces, self.offers, OrderWishes())
        with_days = zip(whole.offers, self.days, strict=True)
        self.whole = replace(whole, offers=tuple(replace(offer, days=days) for offer, days in with_days))
        self.lines, self.terms, self.border = [o.line for o in whole.offers], whole.suppliers, whole.border
        self.cost_day = mean_of(case.terms.cost_lost_day)
        self._chosen, self.ordered = cache(self.choose), cache(self.order)  # each demand is priced once
        self.takeover = cache(self._price_without)

    def _lead(self, o: Offered, again: str) -> tuple[Range | None, str]:
        """Days to wait for an offer, and the input that they are; ``again`` names a supplier's second quote."""
        q = o.quote
        if q.lead_days is not None:
            return q.lead_days, f"days:{q.item}@{q.supplier}{again}"
        if o.supplier.lead_days is not None:
            return o.supplier.lead_days, f"days of supplier:{q.supplier}"
        return self.own[q.item][1], f"days of item:{q.item}"

    def packs(self, demand: Demand, anyway: float = 0.0) -> dict[int, int]:
        """Packs by offer; a wait of up to ``anyway`` days [day] costs nothing more."""
        packs = self._chosen(demand, anyway) if demand else {}
        if demand and not packs:
            items = ", ".join(item for item, _ in demand)
            raise RepaireconError(f"no order of these quotes can be made for {items}: see minimum orders and weights")
        return packs

    def choose(self, demand: Demand, anyway: float = 0.0, barred: int = -1) -> dict[int, int]:
        """Packs by offer, none where no order can be made; ``barred`` is an offer that may not be taken."""
        wanted = dict(demand)
        usable = [k for part in wanted for k in self.by_item[part] if k != barred]
        names = sorted(set(map(self.whole.supplier_of, usable)))
        # packs that hold a share of what is wanted may be mixed with others
        whole = all(not 1 < self.lines[k].pack < wanted[self.whole.part_of(k)] for k in usable)
        if whole and len(names) <= MOST_TRIED and all(n in self.straight for n in names):
            return self._tried(wanted, usable, names, anyway)
        return self._programmed(wanted, usable, anyway)

    def worth(self, packs: Mapping[int, int]) -> float:
        """Home money for a choice with its wait."""
        landed = sum(parcel.total for _, parcel in price_packs(self.whole, packs).values())
        return landed + self.cost_day * max((self.days[k] for k in packs), default=0.0)

    @cached_property
    def straight(self) -> dict[str, tuple[float, float]]:
        """Fixed cost a parcel, and home money for one quoted, of suppliers whose terms are straight lines."""
        found, rules = {}, self.border
        changing = rules.duty_free_up_to > 0.0 or rules.vat_free_up_to > 0.0
        for name, some in grouped(self.whole.offers, lambda o: o.supplier).items():
            terms, mine = self.terms[name], [o.line for o in some]
            rates = {line.duty_rate for line in mine}
            steps = terms.bands or terms.minimum_order or terms.free_above is not None
            if terms.imported:  # the border's rules may change with what is in the parcel
                steps = steps or (rules.hand_allowance > 0.0 if terms.by_hand else changing)
                steps = steps or rules.flat_duty_rate is not None
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
        place = {part: i for i, part in enumerate(wanted)}
        packs = {k: self.lines[k].packs_for(wanted[self.whole.part_of(k)]) for k in usable}
        offered = []
        for k in usable:
            j = names.index(self.whole.supplier_of(k))
            goods = self.straight[names[j]][1] * packs[k] * self.lines[k].price(packs[k])
            offered.append((k, place[self.whole.part_of(k)], j, goods))
        fixed = np.array([self.straight[n][0] for n in names])
        sets = [list(c) for n in range(1, min(len(names), len(place)) + 1) for c in combinations(range(len(names)), n)]
        best, least = dict[int, int](), inf
        counts = self.cost_day > 0.0 and anyway < inf
        for deadline in sorted({max(self.days[k], anyway) for k in usable}) if counts else [inf]:
            waited = self.cost_day * (deadline - anyway) if counts else 0.0
            cost, pick = np.full((len(place), len(names)), inf), np.full((len(place), len(names)), -1)
            for k, i, j, goods in offered:
                if self.days[k] <= deadline and goods < cost[i, j]:
                    cost[i, j], pick[i, j] = goods, k
            for chosen in sets:
                total = fixed[chosen].sum() + cost[:, chosen].min(axis=1).sum() + waited
                if total < least - 1e-9:
                    at = [chosen[int(j)] for j in cost[:, chosen].argmin(axis=1)]
                    least, best = total, {k: packs[k] for i, j in enumerate(at) for k in [int(pick[i, j])]}
        return best

    def _programmed(self, wanted: Mapping[str, int], usable: Sequence[int], anyway: float) -> dict[int, int]:
        mine = [self.whole.offers[k] for k in usable]
        if self.cost_day <= 0.0 or anyway == inf:
            mine = [replace(o, days=0.0) for o in mine]
        order = replace(self.whole, wanted=wanted, offers=tuple(mine), only={})
        check_size(order)
        found = [b for b in frontier(order, Clock(SECONDS)) if b.packs and not b.uncovered]
        if not found:
            return {}
        best = min(found, key=lambda b: b.total + self.cost_day * max(b.days - anyway, 0.0))
        return {usable[k]: n for k, n in best.packs.items()}

    @cached_property
    def plan(self) -> Demand:
        """The parts that are always needed."""
        return tuple((p.part, p.quantity) for p in self.case.parts if p.needed == "always")

    @property
    def questions(self) -> tuple[str, ...]:
        """What to ask before an order is sent: quotes left out because the tables cannot tell whether they fit."""
        return tuple(f"{o.quote.item}: {o.ask}" for o in self.barred if o.ask)

    def order(self, demand: Demand, leisure: bool = False) -> tuple[Priced, ...]:
        """The lines of an order; its wait counts as far as it is longer than that for what nobody quotes for."""
        unquoted = [(item, n) for item, n in demand if item not in self.by_item]
        if missing := [self._no_price(item) for item, _ in unquoted if self.own[item][0] is None]:
            raise RepaireconError("\n".join(missing))
        own = tuple(
            Priced(item=item, range=price or NOTHING, supplier=None, quote=None, lead=lead, packs=n, goods=float(n),
                   lead_key=f"days of item:{item}", source=source)
            for item, n in unquoted for price, lead, source in [self.own[item]]
        )  # fmt: skip
        anyway = max((mean_of(p.lead) for p in own if p.lead is not None), default=0.0)
        quoted = tuple((item, n) for item, n in demand if item in self.by_item)
        return (*self._lines(self.packs(quoted, inf if leisure else anyway)), *own)

    def _no_price(self, item: str) -> str:
        why = "; ".join(f"{o.quote.supplier}: {o.left_out}" for o in self.barred if o.quote.item == item)
        return f"{self.own[item][2]}: {item} has neither a price nor a quote that may be taken. {why}".strip()

    def alone(self, item: str, pieces: int) -> Priced:
        return self.ordered(((item, pieces),))[0]

    def from_supplier(self, item: str, supplier: str, pieces: int) -> Priced:
        """An item ordered by itself from one supplier, whether that is the cheapest or not."""
        k = next(k for k in self.by_item[item] if self.whole.supplier_of(k) + self.again[k] == supplier)
        return self._lines({k: self.lines[k].packs_for(pieces)})[0]

    def _price_without(self, k: int) -> float:
        """Mean price of an offer, as quoted, at which its order would be made without it."""
        item = self.offers[k].quote.item
        if len(self.by_item[item]) == 1:
            return inf
        plan = tuple((i, n) for i, n in self.plan if i in self.by_item)
        demand = plan if k in self.packs(plan) else ((item, self.offers[k].pieces),)
        packs = self.packs(demand)
        if k not in packs:
            return inf
        without = self.choose(demand, barred=k)
        if not without:
            return inf
        more = self.worth(without) - self.worth(packs)
        line = next(p for p in self._lines(packs) if p.quote is self.offers[k].quote)
        return mean_of(line.range) + more / line.goods if line.goods > 0.0 else inf

    def _lines(self, packs: Mapping[int, int]) -> tuple[Priced, ...]:
        """Landed lines taken apart: within the rules that hold for its parcel every charge is a straight line."""
        made = []
        for name, (indexes, parcel) in price_packs(self.whole, packs).items():
            terms, weight = self.terms[name], parcel.weight_kg
            # the weight band whose carriage is paid, if any
            fitting = (b for b in terms.bands if weight <= b[0] + CLOSE and not parcel.carriage_free)
            band, rate = next(fitting, (None, terms.carriage))
            for k, line in zip(indexes, parcel.lines, strict=True):
                before = line.goods + line.core + line.carriage
                charged = line.insurance + line.card_fee + line.duty + line.vat + line.vat_back
                factor = 1.0 + charged / before if before > 0.0 else 0.0
                o, (lead, key) = self.offers[k], self.leads[k]
                goods, fixed = _over(line.goods * factor, mean_of(o.quote.quoted))
                carriage, rest = _over(line.carriage * factor, rate)
                made.append(Priced(
                    item=o.quote.item, range=o.quote.quoted, supplier=o.supplier, quote=o.quote, lead=lead,
                    lead_key=key, source=o.quote.source, packs=line.packs, goods=goods, carriage=carriage,
                    fixed=fixed + (rest + line.core * factor + line.handling + line.core_refund),
                    band=band, offer=k, again=self.again[k],
                ))  # fmt: skip
        return tuple(made)


def _over(cost: float, quoted: float) -> tuple[float, float]:
    """A cost as so much for one of what is quoted, and the rest that is fixed."""
    return (cost / quoted, 0.0) if quoted > 0.0 else (0.0, cost)
