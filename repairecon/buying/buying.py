"""The orders of a rebuild: each line of the cheapest basket as a sum of inputs, and where its price would lose it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from math import inf

from repairecon.buying.choosing import Choosing, Demand, packs_for
from repairecon.buying.inputs import mean_of
from repairecon.buying.parcel import LandedLine, ParcelTerms
from repairecon.records import NOTHING, Case, Quote, Range, RepaireconError, Source, Supplier


@dataclass(frozen=True)
class Priced:
    """An item as an order takes it, as a sum of inputs.

    Home money = ``goods`` x price as quoted + ``carriage`` x carriage as quoted + ``fixed``; at their means that is
    ``landed``. ``band`` is the weight band whose carriage holds (None: the supplier's one carriage). ``offer`` is the
    place of the quote among the offers (-1: none), for ``Buying.takeover``. ``again`` tells a supplier's second quote
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


class Buying(Choosing):
    """The orders of a case as lines to reckon with.

    What nobody quotes for is had at its own price, without carriage.
    """

    def __init__(self, case: Case) -> None:
        super().__init__(case)
        self._takeover: dict[int, float] = {}

    @cached_property
    def plan(self) -> Demand:
        """The parts that are always needed."""
        return tuple((p.part, p.quantity) for p in self.case.parts if p.needed == "always")

    def order(self, demand: Demand, leisure: bool = False) -> tuple[Priced, ...]:
        """The lines of an order; its wait counts as far as it is longer than that for what nobody quotes for."""
        quoted = tuple((item, n) for item, n in demand if item in self.by_item)
        unquoted = [(item, n) for item, n in demand if item not in self.by_item]
        if missing := [self._no_price(item) for item, _ in unquoted if self.own[item][0] is None]:
            raise RepaireconError("\n".join(missing))
        own = tuple(self._own_price(item, n) for item, n in unquoted)
        anyway = max((mean_of(p.lead) for p in own if p.lead is not None), default=0.0)
        return (*self._lines(self._chosen(quoted, inf if leisure else anyway)), *own)

    def alone(self, item: str, pieces: int) -> Priced:
        """An item ordered by itself."""
        return self.order(((item, pieces),))[0]

    def from_supplier(self, item: str, supplier: str, pieces: int) -> Priced:
        """An item ordered by itself from one supplier, whether that is the cheapest or not."""
        k = next(k for k in self.by_item[item] if self.named(k) == supplier)
        return self._lines({k: packs_for(self.lines[k], pieces)})[0]

    def named(self, k: int) -> str:
        """The supplier of an offer as the inputs name it: a second quote for the same item is told apart."""
        return self.offers[k].supplier.supplier + self._again(self.offers[k])

    def _no_price(self, item: str) -> str:
        """What stands against every quote for an item that has no price of its own."""
        why = "; ".join(f"{o.quote.supplier}: {o.left_out}" for o in self.barred if o.quote.item == item)
        return f"{self.own[item][2]}: {item} has neither a price nor a quote that may be taken. {why}".strip()

    def _own_price(self, item: str, pieces: int) -> Priced:
        price, lead, source = self.own[item]
        return Priced(item, price or NOTHING, None, None, lead, f"days of item:{item}", source, pieces, float(pieces))

    def takeover(self, k: int) -> float:
        """Mean price of an offer, as quoted, at which its order would be made without it."""
        if k not in self._takeover:
            self._takeover[k] = self._price_without(k)
        return self._takeover[k]

    def _price_without(self, k: int) -> float:
        item = self.offers[k].quote.item
        if len(self.by_item[item]) == 1:
            return inf
        plan = tuple((i, n) for i, n in self.plan if i in self.by_item)
        demand = plan if k in self._chosen(plan) else ((item, self.offers[k].pieces),)
        packs = self._chosen(demand)
        if k not in packs:
            return inf
        without = self._choose(dict(demand), barred=k)
        if not without:
            return inf
        more = self._worth(without) - self._worth(packs)
        line = next(p for p in self._lines(packs) if p.quote is self.offers[k].quote)
        return mean_of(line.range) + more / line.goods if line.goods > 0.0 else inf

    def _lines(self, packs: Mapping[int, int]) -> tuple[Priced, ...]:
        made = []
        for name, (indexes, parcel) in self._parcels(packs).items():
            terms = self.terms[name]
            band = _band(terms, parcel.weight_kg) if not parcel.carriage_free else None
            for k, line in zip(indexes, parcel.lines, strict=True):
                made.append(self._line(terms, k, line, band))
        return tuple(made)

    def _line(self, terms: ParcelTerms, k: int, line: LandedLine, band: float | None) -> Priced:
        """A landed line taken apart: within the rules that hold for its parcel every charge is a straight line."""
        before = line.goods + line.core + line.carriage
        charged = line.insurance + line.card_fee + line.duty + line.vat + line.vat_back
        factor = 1.0 + charged / before if before > 0.0 else 0.0
        o = self.offers[k]
        goods, fixed = _over(line.goods * factor, mean_of(o.quote.quoted))
        rate = next((quoted for up_to, quoted in terms.bands if up_to == band), terms.carriage)
        carriage, rest = _over(line.carriage * factor, rate)
        fixed += rest + line.core * factor + line.handling + line.core_refund
        lead, key = self._lead(o)
        return Priced(
            o.quote.item, o.quote.quoted, o.supplier, o.quote, lead, key, o.quote.source,
            line.packs, goods, carriage, fixed, band, k, self._again(o),
        )  # fmt: skip


def _over(cost: float, quoted: float) -> tuple[float, float]:
    """A cost as so much for one of what is quoted, and the rest that is fixed."""
    return (cost / quoted, 0.0) if quoted > 0.0 else (0.0, cost)


def _band(terms: ParcelTerms, weight_kg: float) -> float | None:
    return next((up_to for up_to, _ in terms.bands if weight_kg <= up_to + 1e-6), None)
