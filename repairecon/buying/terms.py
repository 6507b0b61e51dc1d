"""What is to be bought and on which terms: supplier, border, line of a quote, offer, order; and the rules of taxing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise
from math import inf

CLOSE = 1e-6
"""Money and kilograms are compared with limits to this much, so that noise in the last digit decides nothing."""
ABOVE = 1e-3
"""What is over a limit is over it by this much money at least."""


@dataclass(frozen=True)
class ParcelTerms:
    """A supplier's terms at point values; money in the supplier's money but for ``cost_handling``.

    ``bands`` are (up to kg, carriage), both rising; with any, they take the place of ``carriage`` and nothing heavier
    than the last goes as one parcel. Give none where a weight is not known.
    """

    exchange: float = 1.0
    vat_included: bool = True
    vat_rate: float = 0.0
    imported: bool = False
    carriage: float = 0.0
    bands: tuple[tuple[float, float], ...] = ()
    free_above: float | None = None
    minimum_order: float = 0.0
    discount_rate: float = 0.0
    card_fee_rate: float = 0.0
    insurance_rate: float = 0.0
    cost_handling: float = 0.0
    by_hand: bool = False

    def __post_init__(self) -> None:
        if not self.exchange > 0.0:
            raise ValueError(f"exchange must be above 0 (home money for one of theirs), not {self.exchange}")
        if min(self.carriage, self.minimum_order, self.cost_handling) < 0.0:
            raise ValueError("carriage, minimum order and handling cannot be below 0")
        if any(b[0] <= a[0] or b[1] < a[1] for a, b in pairwise(((-inf, 0.0), *self.bands))):
            raise ValueError("weight bands must rise in kilograms and in carriage")
        _check_rates(self.vat_rate, self.discount_rate, self.card_fee_rate, self.insurance_rate)

    @property
    def net(self) -> float:
        """Home money for one of the supplier's money as quoted, free of the supplier's VAT."""
        return self.exchange / (1.0 + self.vat_rate) if self.vat_included else self.exchange


@dataclass(frozen=True)
class Border:
    """Tax at home and the rules at the border, in home money; see :func:`price_parcel` for their meaning."""

    home_vat_rate: float = 0.0
    duty_free_up_to: float = 0.0
    vat_free_up_to: float = 0.0
    flat_duty_rate: float | None = None
    flat_duty_up_to: float = 0.0
    hand_allowance: float = 0.0
    vat_back: bool = False

    def __post_init__(self) -> None:
        _check_rates(self.home_vat_rate, self.flat_duty_rate or 0.0)


@dataclass(frozen=True)
class Line:
    """One line of a quote: (from packs, price of a pack) rising from 1 pack, in the supplier's money.

    ``weight_kg`` and ``core`` are of a piece. ``core_refund_rate`` of the core surcharge comes back.
    """

    prices: tuple[tuple[int, float], ...]
    pack: int = 1
    minimum_packs: int = 1
    weight_kg: float = 0.0
    duty_rate: float = 0.0
    core: float = 0.0
    core_refund_rate: float = 1.0

    def __post_init__(self) -> None:
        starts = [start for start, _ in self.prices]
        if not starts or starts[0] != 1 or any(b <= a for a, b in pairwise(starts)):
            raise ValueError("give prices from 1 pack on, then from ever more packs")
        if self.pack < 1 or self.minimum_packs < 1:
            raise ValueError("a pack holds at least 1 piece, and at least 1 pack is sold")
        if min(self.weight_kg, self.core, *(price for _, price in self.prices)) < 0.0:
            raise ValueError("a price, a weight and a core surcharge cannot be below 0")
        _check_rates(self.duty_rate, self.core_refund_rate)

    def price(self, packs: int) -> float:
        """Price of each pack when so many are bought."""
        return [price for start, price in self.prices if start <= max(packs, 1)][-1]

    def packs_for(self, pieces: int) -> int:
        """Fewest packs that are sold and hold so many pieces; a pack cannot be broken."""
        return max(self.minimum_packs, -(-pieces // self.pack))

    def at_factor(self, factor: float) -> Line:
        """The same line with all its prices times a factor."""
        return replace(self, prices=tuple((start, price * factor) for start, price in self.prices))


@dataclass(frozen=True)
class TaxRule:
    """How duty and VAT are taken, and the parcels for which they are taken so.

    ``value_up_to`` limits the goods value of the whole consignment, ``dutiable_up_to`` and ``dutiable_from`` the value
    of what is subject to duty.
    """

    duty_by: str
    vat_free: bool
    value_up_to: float = inf
    dutiable_up_to: float = inf
    dutiable_from: float = 0.0

    def duty_rate(self, own: float, border: Border) -> float:
        """Rate for a line; goods free of duty by their own rate stay free at the flat one."""
        if self.duty_by == "own rates":
            return own
        return (border.flat_duty_rate or 0.0) if self.duty_by == "flat rate" and own > 0.0 else 0.0

    def vat_rate(self, border: Border) -> float:
        """Rate of VAT at the border."""
        return 0.0 if self.vat_free else border.home_vat_rate

    def burden(self, own: float, border: Border) -> float:
        """Duty and VAT that is not given back, a unit of value at the border."""
        duty = self.duty_rate(own, border)
        return duty + (0.0 if border.vat_back else self.vat_rate(border) * (1.0 + duty))


def tax_rules(terms: ParcelTerms, border: Border) -> tuple[TaxRule, ...]:
    """The ways in which a parcel may be taxed at the border, the most lenient first: the first that it keeps holds.

    Without a border, or carried by hand, the thresholds of consignments do not apply. A parcel of no value is at or
    under any threshold, even one of 0. Council Regulation (EC) No 1186/2009, articles 23 and 41; Council Regulation
    (EEC) No 2658/87, annex I, part one, section II D (the flat rate is on goods subject to duty, not on those free of
    it); the numbers from memory.
    """
    if not terms.imported:
        return (TaxRule("no border", False),)
    duties: list[tuple[str, float, float, float]] = []
    if not terms.by_hand:
        duties.append(("none", border.duty_free_up_to, inf, 0.0))
    above = 0.0
    if border.flat_duty_rate is not None:
        duties.append(("flat rate", inf, border.flat_duty_up_to, 0.0))
        above = border.flat_duty_up_to
    duties.append(("own rates", inf, inf, above))
    vats = [(False, inf)] if terms.by_hand else [(True, border.vat_free_up_to), (False, inf)]
    return tuple(
        TaxRule(by, free, value_up_to=min(value, limit), dutiable_up_to=up_to, dutiable_from=start)
        for by, value, up_to, start in duties
        for free, limit in vats
    )


@dataclass(frozen=True)
class Offer:
    """One supplier's line for one part; ``makers`` for the maker's own part."""

    part: str
    supplier: str
    line: Line
    days: float = 0.0
    makers: bool = False


@dataclass(frozen=True)
class Order:
    """Pieces wanted of each part, the offers, the suppliers' terms, and the owner's wishes.

    ``makers_only``: parts that must be the maker's own. ``only``: offers (by index) that alone may serve a part.
    A supplier sends one parcel.
    """

    wanted: Mapping[str, int]
    offers: tuple[Offer, ...]
    suppliers: Mapping[str, ParcelTerms]
    border: Border = field(default_factory=Border)
    deadline_days: float = inf
    most_parcels: int | None = None
    without: frozenset[str] = frozenset()
    makers_only: frozenset[str] = frozenset()
    only: Mapping[str, frozenset[int]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        unknown = {o.supplier for o in self.offers} - set(self.suppliers)
        if unknown:
            raise ValueError(f"no terms for {', '.join(sorted(unknown))}")
        if any(pieces < 1 for pieces in self.wanted.values()):
            raise ValueError("want at least 1 piece of each part")

    def usable(self) -> list[int]:
        """The offers that may be bought, by index."""
        return [i for i in range(len(self.offers)) if self.allows(i)]

    def allows(self, index: int) -> bool:
        """Whether an offer may be bought at all."""
        offer = self.offers[index]
        return (
            offer.part in self.wanted
            and offer.supplier not in self.without
            and offer.days <= self.deadline_days
            and (offer.makers or offer.part not in self.makers_only)
            and (offer.part not in self.only or index in self.only[offer.part])
        )


def _check_rates(*rates: float) -> None:
    for rate in rates:
        if not 0.0 <= rate <= 1.0:
            raise ValueError(f"a rate of {rate} is not in 0..1: give 0.20 for 20 %")
