"""The uncertain inputs of a case by name, and the price that each item takes."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from math import inf

from repairecon.formulas import landed, ranges
from repairecon.records import Case, Quote, Range, RepaireconError, Source, Supplier

ONE = ("1",)
Atom = tuple[object, ...]
"""A product of inputs ``("*", i, j)``, a longest wait ``("max", (i, ...), floor)`` or ``ONE``.

The floor of a wait is a sum of input means: ``((i, coefficient), ...)``."""


@dataclass(frozen=True)
class Input:
    """One uncertain number. ``key`` names its random stream and never changes with other inputs.

    Above ``takeover`` a price is no longer paid: the next cheapest quote is taken.
    """

    key: str
    label: str
    unit: str
    range: Range
    shared_hours: bool = False
    is_chance: bool = False
    takeover: float = inf
    item: str = ""

    @property
    def mean(self) -> float:
        """Expected value [unit of the input]."""
        r = self.range
        return r.likely if self.is_chance else float(ranges.mean(r.low, r.likely, r.high, r.shape))


@dataclass
class Inputs:
    """Register of inputs in order of first use."""

    items: list[Input] = field(default_factory=list)
    index: dict[str, int] = field(default_factory=dict)

    def add(self, item: Input) -> int:
        """Position of the input, added on first use."""
        if item.key not in self.index:
            self.index[item.key] = len(self.items)
            self.items.append(item)
        return self.index[item.key]

    def number(
        self, key: str, label: str, unit: str, range_: Range, *, hours: bool = False,
        takeover: float = inf, item: str = "",
    ) -> Atom:  # fmt: skip
        """Atom for an uncertain number."""
        return ("*", self.add(Input(key, label, unit, range_, hours, False, takeover, item)))

    def chance(self, key: str, label: str, p: float, source: Source) -> Atom:
        """Atom that is one with chance ``p``, else nought."""
        return ("*", self.add(Input(key, label, "1", Range(p, p, p, source=source), is_chance=True)))


def times(a: Atom, b: Atom) -> Atom:
    """Product of two product atoms of independent inputs."""
    return ("*", *a[1:], *b[1:])


@dataclass(frozen=True)
class Priced:
    """An item with the price it takes: home money = ``factor`` times the priced range, per pack.

    ``takeover`` is the mean price at which the next cheapest quote would be taken instead.
    """

    item: str
    range: Range
    factor: float
    pack: int
    supplier: Supplier | None
    quote: Quote | None
    lead: Range | None
    lead_key: str
    source: Source
    takeover: float = inf

    def cost(self, quantity: int) -> float:
        """Expected home money for a quantity, carriage and handling as if ordered alone."""
        r = self.range
        packs = landed.packs_needed(quantity, self.pack)
        goods = self.factor * float(packs) * float(ranges.mean(r.low, r.likely, r.high, r.shape))
        if self.supplier is None:
            return goods
        c = self.supplier.carriage
        carriage = float(ranges.mean(c.low, c.likely, c.high, c.shape))
        return goods + self.factor * carriage + self.supplier.cost_handling


def supplier_factor(case: Case, supplier: Supplier) -> float:
    """Home money paid for each unit of the supplier's money, tax and duty in."""
    home = case.terms.currency
    exchange = 1.0 if supplier.currency == home else case.terms.exchange[supplier.currency]
    return float(
        landed.landed_factor(
            exchange=exchange,
            vat_included=supplier.vat_included,
            vat_rate=supplier.vat_rate,
            home_vat_rate=case.terms.vat_rate,
            imported=supplier.imported,
            duty_rate=supplier.duty_rate,
        )
    )


def _from_quote(case: Case, quote: Quote, fallback_lead: Range | None) -> Priced:
    supplier = case.supplier(quote.supplier)
    lead: Range | None
    if quote.lead_days is not None:
        lead, lead_key = quote.lead_days, f"days:{quote.item}@{quote.supplier}"
    elif supplier.lead_days is not None:
        lead, lead_key = supplier.lead_days, f"days of supplier:{quote.supplier}"
    else:
        lead, lead_key = fallback_lead, f"days of item:{quote.item}"
    return Priced(
        quote.item,
        quote.quoted,
        supplier_factor(case, supplier),
        quote.pack,
        supplier,
        quote,
        lead,
        lead_key,
        quote.source,
    )


def _with_takeover(offers: list[Priced], quantity: int) -> Priced:
    if len(offers) == 1:
        return offers[0]
    best, rival = offers[:2]
    r = best.range
    packs = float(landed.packs_needed(quantity, best.pack))
    spare = rival.cost(quantity) - best.cost(quantity)
    mean = float(ranges.mean(r.low, r.likely, r.high, r.shape))
    return replace(best, takeover=mean + spare / (best.factor * packs))


def choose_price(
    case: Case, item: str, quantity: int, own_price: Range | None, own_lead: Range | None, source: Source
) -> Priced:
    """The cheapest all-in single quote for the item, else its own range of prices."""
    offers = [_from_quote(case, q, own_lead) for q in case.quotes if q.item == item]
    if offers:
        offers.sort(key=lambda o: o.cost(quantity))
        return _with_takeover(offers, quantity)
    if own_price is None:
        raise RepaireconError(f"{source}: {item} has neither a price nor a quote")
    return Priced(item, own_price, 1.0, 1, None, None, own_lead, f"days of item:{item}", source)
