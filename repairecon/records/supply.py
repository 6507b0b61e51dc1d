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
    """Somebody who quotes, by role, as columns.csv says; charges are in the supplier's money, taxed like the goods.

    ``bands`` take the place of ``carriage`` where the weights are known. An order must reach ``minimum_order`` after
    the discount. ``by_hand``: carried in by a traveller.
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
    """A price from a supplier for a pack of a part or for a way, as columns.csv says, in the supplier's money."""

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
class Customs:
    """Terms at the border, as columns.csv says; thresholds are on the goods value of the whole consignment.

    A buyer registered for VAT gets the VAT back, everywhere.
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
    """What the owner asks of an order, as columns.csv says of [order]."""

    today: str = ""
    deadline_days: float | None = None
    deadline_by: Literal["likely", "P90"] = "P90"
    most_parcels: int | None = None
    without: tuple[str, ...] = ()
    price_inflation_rate: float = 0.0
    old_after_days: float = 90.0
