"""The orders of a rebuild: each line of the cheapest basket as a sum of inputs, and where its price would lose it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from math import inf

from repairecon.buying.choosing import Choosing, Demand
from repairecon.buying.inputs import mean_of
from repairecon.buying.parcel import LandedLine
from repairecon.buying.terms import ParcelTerms
from repairecon.records import NOTHING, Case, Quote, Range, RepaireconError, Source, Supplier


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
    """The orders of a case as lines to calculate with.

    What nobody quotes for is had at its own price, without carriage.
    """

    def __init__(self, case: Case) -> None:
        self.case, self.choices = case, Choosing(case)
        self._takeover: dict[int, float] = {}

    @cached_property
    def plan(self) -> Demand:
        """The parts that are always needed."""
        return tuple((p.part, p.quantity) for p in self.case.parts if p.needed == "always")

    @property
    def questions(self) -> tuple[str, ...]:
        """What to ask before an order is sent: quotes left out because the tables cannot tell whether they fit."""
        return tuple(f"{o.quote.item}: {o.ask}" for o in self.choices.barred if o.ask)

    def order(self, demand: Demand, leisure: bool = False) -> tuple[Priced, ...]:
        """The lines of an order; its wait counts as far as it is longer than that for what nobody quotes for."""
        own_prices, by_item = self.choices.own, self.choices.by_item
        unquoted = [(item, n) for item, n in demand if item not in by_item]
        if missing := [self._no_price(item) for item, _ in unquoted if own_prices[item][0] is None]:
            raise RepaireconError("\n".join(missing))
        own = tuple(self._own_price(item, n) for item, n in unquoted)
        anyway = max((mean_of(p.lead) for p in own if p.lead is not None), default=0.0)
        quoted = tuple((item, n) for item, n in demand if item in by_item)
        return (*self._lines(self.choices.packs(quoted, inf if leisure else anyway)), *own)

    def alone(self, item: str, pieces: int) -> Priced:
        """An item ordered by itself."""
        return self.order(((item, pieces),))[0]

    def from_supplier(self, item: str, supplier: str, pieces: int) -> Priced:
        """An item ordered by itself from one supplier, whether that is the cheapest or not."""
        k = next(k for k in self.choices.by_item[item] if self.named(k) == supplier)
        return self._lines({k: self.choices.lines[k].packs_for(pieces)})[0]

    def named(self, k: int) -> str:
        """The supplier of an offer as the inputs name it, a second quote for the same item by its number."""
        offer = self.choices.offers[k]
        return offer.supplier.supplier + self.choices.again(offer)

    def _no_price(self, item: str) -> str:
        """What stands against every quote for an item that has no price of its own."""
        why = "; ".join(f"{o.quote.supplier}: {o.left_out}" for o in self.choices.barred if o.quote.item == item)
        source = self.choices.own[item][2]
        return f"{source}: {item} has neither a price nor a quote that may be taken. {why}".strip()

    def _own_price(self, item: str, pieces: int) -> Priced:
        price, lead, source = self.choices.own[item]
        return Priced(
            item=item, range=price or NOTHING, supplier=None, quote=None, lead=lead, lead_key=f"days of item:{item}",
            source=source, packs=pieces, goods=float(pieces),
        )  # fmt: skip

    def takeover(self, k: int) -> float:
        """Mean price of an offer, as quoted, at which its order would be made without it."""
        if k not in self._takeover:
            self._takeover[k] = self._price_without(k)
        return self._takeover[k]

    def _price_without(self, k: int) -> float:
        choices = self.choices
        item = choices.offers[k].quote.item
        if len(choices.by_item[item]) == 1:
            return inf
        plan = tuple((i, n) for i, n in self.plan if i in choices.by_item)
        demand = plan if k in choices.packs(plan) else ((item, choices.offers[k].pieces),)
        packs = choices.packs(demand)
        if k not in packs:
            return inf
        without = choices.choose(dict(demand), barred=k)
        if not without:
            return inf
        more = choices.worth(without) - choices.worth(packs)
        line = next(p for p in self._lines(packs) if p.quote is choices.offers[k].quote)
        return mean_of(line.range) + more / line.goods if line.goods > 0.0 else inf

    def _lines(self, packs: Mapping[int, int]) -> tuple[Priced, ...]:
        made = []
        for name, (indexes, parcel) in self.choices.parcels(packs).items():
            terms = self.choices.terms[name]
            band = _band(terms, parcel.weight_kg) if not parcel.carriage_free else None
            for k, line in zip(indexes, parcel.lines, strict=True):
                made.append(self._line(terms, k, line, band))
        return tuple(made)

    def _line(self, terms: ParcelTerms, k: int, line: LandedLine, band: float | None) -> Priced:
        """A landed line taken apart: within the rules that hold for its parcel every charge is a straight line."""
        before = line.goods + line.core + line.carriage
        charged = line.insurance + line.card_fee + line.duty + line.vat + line.vat_back
        factor = 1.0 + charged / before if before > 0.0 else 0.0
        o = self.choices.offers[k]
        goods, fixed = _over(line.goods * factor, mean_of(o.quote.quoted))
        rate = next((quoted for up_to, quoted in terms.bands if up_to == band), terms.carriage)
        carriage, rest = _over(line.carriage * factor, rate)
        lead, key = self.choices.lead(o)
        return Priced(
            item=o.quote.item, range=o.quote.quoted, supplier=o.supplier, quote=o.quote, lead=lead, lead_key=key,
            source=o.quote.source, packs=line.packs, goods=goods, carriage=carriage,
            fixed=fixed + (rest + line.core * factor + line.handling + line.core_refund),
            band=band, offer=k, again=self.choices.again(o),
        )  # fmt: skip


def _over(cost: float, quoted: float) -> tuple[float, float]:
    """A cost as so much for one of what is quoted, and the rest that is fixed."""
    return (cost / quoted, 0.0) if quoted > 0.0 else (0.0, cost)


def _band(terms: ParcelTerms, weight_kg: float) -> float | None:
    return next((up_to for up_to, _ in terms.bands if weight_kg <= up_to + 1e-6), None)
