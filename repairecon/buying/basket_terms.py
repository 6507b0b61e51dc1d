"""What is to be bought and from whom it may come: the question put to the basket, and its answer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from math import inf

from repairecon.buying.parcel import Border, LandedParcel, Line, ParcelTerms, price_parcel

CENT = 0.005
"""Half a cent: two totals nearer than this are the same."""


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


@dataclass(frozen=True)
class Uncovered:
    """A part that cannot be had as asked, and why; ``days`` is the soonest it could come where the deadline is why."""

    part: str
    why: str
    days: float | None = None


@dataclass(frozen=True)
class Basket:
    """What to buy: packs of each offer bought (by its index in the order).

    ``total`` is priced parcel by parcel. No basket costs less than ``least`` as asked; ``gap`` is what lies between,
    ``proven`` that it is under half a cent. ``status``: "proven", "out of time" or "nothing can be had".
    ``uncovered`` parts are left out of the basket.
    """

    order: Order
    packs: Mapping[int, int]
    least: float
    seconds: float
    uncovered: tuple[Uncovered, ...] = ()

    @cached_property
    def parcels(self) -> dict[str, tuple[tuple[int, ...], LandedParcel]]:
        """For each supplier the offers bought there and the parcel they make, line by line in the same order."""
        return price_packs(self.order, self.packs)

    @cached_property
    def total(self) -> float:
        """Landed cost of all parcels; infinite if nothing was found."""
        return sum((parcel.total for _, parcel in self.parcels.values()), 0.0) if self.packs else inf

    @property
    def gap(self) -> float:
        """By how much a cheaper basket could still cost less."""
        return max(0.0, self.total - self.least) if self.packs else inf

    @property
    def proven(self) -> bool:
        """Whether no basket is cheaper by half a cent or more."""
        return bool(self.packs) and self.gap < CENT

    @property
    def status(self) -> str:
        """In one word or two."""
        if not self.packs:
            return "nothing can be had" if self.least == inf else "out of time"
        return "proven" if self.proven else "out of time"

    @property
    def complete(self) -> bool:
        """Whether every part wanted is in it."""
        return bool(self.packs) and not self.uncovered

    @property
    def covered_order(self) -> Order:
        """The order over the parts that are in it."""
        lacking = {u.part for u in self.uncovered}
        return replace(self.order, wanted={p: n for p, n in self.order.wanted.items() if p not in lacking})

    @property
    def suppliers(self) -> tuple[str, ...]:
        """Who sends a parcel."""
        return tuple(self.parcels)

    @property
    def days(self) -> float:
        """Days until the last parcel is there."""
        return max((self.order.offers[i].days for i in self.packs), default=0.0)


def price_packs(order: Order, packs: Mapping[int, int]) -> dict[str, tuple[tuple[int, ...], LandedParcel]]:
    """Landed parcels of a choice of packs.

    Parameters
    ----------
    order : Order
        What is wanted and offered [pieces; supplier's and home money].
    packs : mapping of int to int
        Packs of each offer bought, by its index [packs].

    Returns
    -------
    dict of str to (tuple of int, LandedParcel)
        For each supplier the offers bought there, and their parcel [home money].

    Notes
    -----
    One parcel a supplier, priced by :func:`parcel.price_parcel`, whose ValueErrors it lets through.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> order = Order({"seal": 1}, (Offer("seal", "stockist", Line(((1, 6.0),))),), {"stockist": ParcelTerms()})
    >>> price_packs(order, {0: 2})["stockist"][1].total
    12.0
    """
    by_supplier: dict[str, list[int]] = {}
    for index in sorted(i for i, n in packs.items() if n > 0):
        by_supplier.setdefault(order.offers[index].supplier, []).append(index)
    return {
        name: (
            tuple(indexes),
            price_parcel(
                order.suppliers[name],
                [order.offers[i].line for i in indexes],
                [packs[i] for i in indexes],
                order.border,
            ),
        )
        for name, indexes in by_supplier.items()
    }
