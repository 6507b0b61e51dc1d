"""Who quotes, what is quoted, and the terms that turn a quote into money at the door."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from repairecon.records.base import NOTHING, Range, Source

QUOTE_CLASSES = ("maker's part", "original-supplier part", "pattern part", "generic part", "second-hand")


@dataclass(frozen=True)
class WeightBand:
    """Carriage of a parcel of up to so many kilograms, in the supplier's money."""

    up_to_kg: float
    quoted: Range


@dataclass(frozen=True)
class PriceBreak:
    """Price of a pack, in the supplier's money, from so many packs on: for all packs of the line."""

    from_packs: int
    quoted: float


@dataclass(frozen=True, kw_only=True)
class Supplier:
    """Somebody who quotes, named by role.

    ``carriage`` and all other charges of the supplier are in the supplier's money and taxed like the goods.
    ``bands`` take the place of ``carriage`` where the weights are known (empty: one charge whatever the weight);
    nothing is charged from ``free_above`` of goods on. ``discount_rate`` is taken off the goods; an order must reach
    ``minimum_order`` of goods after it. ``card_fee_rate`` and ``insurance_rate`` are on goods and carriage;
    ``cost_handling`` (home money) is the carrier's or agent's charge at the border, once a parcel. ``by_hand``:
    carried in by a traveller.
    """

    supplier: str
    role: str
    currency: str
    vat_included: bool
    vat_rate: float
    imported: bool
    duty_rate: float
    cost_handling: float
    carriage: Range
    lead_days: Range | None
    source: Source
    bands: tuple[WeightBand, ...] = ()
    free_above: float | None = None
    minimum_order: float = 0.0
    discount_rate: float = 0.0
    card_fee_rate: float = 0.0
    insurance_rate: float = 0.0
    by_hand: bool = False


@dataclass(frozen=True, kw_only=True)
class Quote:
    """A price from a supplier for a pack of a part or for a way, in the supplier's money.

    ``breaks`` are lower prices for more packs; at least ``minimum_packs`` are sold. ``weight_kg`` is that of a piece,
    ``duty_rate`` that of this line where it is not the supplier's. ``quoted_core`` is paid with each piece and refunded
    when the old one is handed in. ``valid_until`` is the quote's own last day. ``take_near``: the owner takes it though
    its size is only near the wanted one.
    """

    item: str
    supplier: str
    quoted: Range
    pack: int
    part_class: str
    lead_days: Range | None
    p_never: float
    quoted_on: str
    source: Source
    breaks: tuple[PriceBreak, ...] = ()
    minimum_packs: int = 1
    weight_kg: float | None = None
    duty_rate: float | None = None
    quoted_core: Range = NOTHING
    designation: str = ""
    material: str = ""
    valid_until: str = ""
    take_near: bool = False


@dataclass(frozen=True, kw_only=True)
class OrderLine:
    """A line of an order: packs of one quote at the price that holds for so many, in the supplier's money."""

    supplier: str
    item: str
    designation: str
    part_class: str
    packs: int
    pack: int
    quoted: float
    currency: str
    source: Source
    note: str = ""
    material: str = ""

    @property
    def pieces(self) -> int:
        """Pieces in all the packs."""
        return self.packs * self.pack


@dataclass(frozen=True, kw_only=True)
class OrderTotal:
    """What a supplier's order comes to: in the supplier's money as on the invoice, and landed in home money.

    ``quoted_discount`` is taken off; ``quoted_fees`` are those of card and insurance; ``quoted_core`` is what will be
    refunded. ``note`` says what to mind, such as an old quote.
    """

    supplier: str
    currency: str
    quoted_goods: float
    quoted_discount: float
    quoted_carriage: float
    quoted_fees: float
    quoted_core: float
    quoted_total: float
    cost_landed: float
    lead_days: float | None = None
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class Customs:
    """Terms at the border, dated data of the case; thresholds are on the goods value of the whole consignment.

    ``duty_free_up_to`` and ``vat_free_up_to``: no duty, no VAT on a consignment of no more than that (home money,
    goods without carriage and tax; 0: none). ``flat_duty_rate`` takes the place of the lines' rates up to
    ``flat_duty_up_to``.
    ``hand_allowance`` is the goods value that a traveller may carry in free of both. A buyer registered for VAT gets
    the VAT back, everywhere.
    """

    as_of: str = ""
    duty_free_up_to: float = 0.0
    vat_free_up_to: float = 0.0
    flat_duty_rate: float | None = None
    flat_duty_up_to: float = 0.0
    hand_allowance: float = 0.0
    buyer: Literal["private", "VAT-registered"] = "private"


@dataclass(frozen=True, kw_only=True)
class OrderWishes:
    """What the owner asks of an order: days at most, parcels at most, suppliers left out.

    ``deadline_by`` says whether a lead time counts at its likely value or at the days that nine in ten stay within.
    A quote older than ``old_after_days`` on ``today`` is marked, and its price grows with ``price_inflation_rate``
    a year from the day it was quoted.
    """

    today: str = ""
    deadline_days: float | None = None
    deadline_by: Literal["likely", "P90"] = "P90"
    most_parcels: int | None = None
    without: tuple[str, ...] = ()
    price_inflation_rate: float = 0.0
    old_after_days: float = 90.0
