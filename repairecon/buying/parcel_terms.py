"""The terms on which a parcel is bought and let in, and the charges that come of them, as plain records."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from math import inf

CLOSE = 1e-6
"""Money and kilograms are compared with limits to this much, so that noise in the last digit decides nothing."""


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
        rates = (self.vat_rate, self.discount_rate, self.card_fee_rate, self.insurance_rate)
        _check_rates(*rates)

    @property
    def net(self) -> float:
        """Home money for one of the supplier's money as quoted, free of the supplier's VAT."""
        return self.exchange / (1.0 + self.vat_rate) if self.vat_included else self.exchange


@dataclass(frozen=True)
class Border:
    """Tax at home and the rules at the border, in home money; see :func:`parcel.price_parcel` for their meaning."""

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

    def at_factor(self, factor: float) -> Line:
        """The same line with all its prices times a factor."""
        return replace(self, prices=tuple((start, price * factor) for start, price in self.prices))


@dataclass(frozen=True)
class LandedLine:
    """What one line costs at the door, each charge as a figure of its own [home money]; they add up to ``total``.

    ``goods`` to ``card_fee`` are free of VAT, ``vat`` is all of it; ``vat_back`` and ``core_refund`` are negative.
    ``free_packs`` went in under the traveller's allowance. ``quoted_price`` is of a pack, before discount.
    """

    packs: int
    quoted_price: float
    goods: float
    core: float
    carriage: float
    insurance: float
    card_fee: float
    duty: float
    vat: float
    handling: float
    vat_back: float
    core_refund: float
    free_packs: int

    @property
    def total(self) -> float:
        """All charges less what comes back."""
        return float(sum(getattr(self, name) for name in CHARGES))


CHARGES = (
    "goods", "core", "carriage", "insurance", "card_fee", "duty", "vat", "handling", "vat_back", "core_refund",
)  # fmt: skip
"""The charges of a line, in the order in which they fall."""


@dataclass(frozen=True)
class LandedParcel:
    """A parcel line by line; ``quoted_goods`` after discount in the supplier's money, ``value`` at the border.

    ``duty_by``: "no border", "none", "flat rate" or "own rates"; ``vat_free``: let in without VAT.
    """

    lines: tuple[LandedLine, ...]
    quoted_goods: float
    weight_kg: float
    value: float
    carriage_free: bool
    duty_by: str
    vat_free: bool

    def charge(self, name: str) -> float:
        """One charge over all lines."""
        return float(sum(getattr(line, name) for line in self.lines))

    @property
    def total(self) -> float:
        """What the parcel costs."""
        return sum(line.total for line in self.lines)


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
    """The ways in which a parcel may be taxed at the border, the most lenient first.

    Parameters
    ----------
    terms : ParcelTerms
        The supplier's terms [supplier's money].
    border : Border
        Rules at the border [home money].

    Returns
    -------
    tuple of TaxRule
        The first of them whose limits the parcel keeps is the one that holds [home money].

    Notes
    -----
    Without a border, or carried by hand, the thresholds of consignments do not apply. A parcel of no
    value is at or under any threshold, even one of 0.

    References
    ----------
    Council Regulation (EC) No 1186/2009, article 23 (consignments of negligible value) and article 41
    (travellers); Council Regulation (EEC) No 2658/87, annex I, part one, section II D (flat rate on the
    goods subject to duty, not on those free of it); the numbers from memory.

    Examples
    --------
    >>> [r.duty_by for r in tax_rules(ParcelTerms(imported=True), Border(duty_free_up_to=150.0))]
    ['none', 'none', 'own rates', 'own rates']
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
        TaxRule(by, free, min(value, limit), up_to, start) for by, value, up_to, start in duties for free, limit in vats
    )


def _check_rates(*rates: float) -> None:
    for rate in rates:
        if not 0.0 <= rate <= 1.0:
            raise ValueError(f"a rate of {rate} is not in 0..1: give 0.20 for 20 %")
