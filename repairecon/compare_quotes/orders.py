"""The chosen basket as orders to send: lines and totals a supplier, in the supplier's money."""

from __future__ import annotations

from collections.abc import Sequence

from repairecon.buying.basket import Basket
from repairecon.buying.offers import Offered
from repairecon.buying.parcel import LandedParcel, parcel_carriage
from repairecon.buying.terms import ParcelTerms
from repairecon.records import OrderLine, OrderTotal


def order_lines(offers: Sequence[Offered], basket: Basket) -> tuple[OrderLine, ...]:
    """A line a quote bought."""
    made = []
    for supplier, (indexes, parcel) in basket.parcels.items():
        for k, line in zip(indexes, parcel.lines, strict=True):
            o = offers[k]
            made.append(
                OrderLine(
                    supplier=supplier,
                    item=o.quote.item,
                    designation=o.quote.designation,
                    material=o.quote.material,
                    part_class=o.quote.part_class,
                    packs=line.packs,
                    pack=o.quote.pack,
                    quoted=line.quoted_price,
                    currency=o.supplier.currency,
                    source=o.quote.source,
                    note=o.stale,
                )
            )
    return tuple(made)


def order_totals(offers: Sequence[Offered], basket: Basket) -> tuple[OrderTotal, ...]:
    """What each supplier's invoice should say, and the parcel landed."""
    return tuple(
        _total(basket.order.suppliers[name], parcel, [offers[k] for k in indexes])
        for name, (indexes, parcel) in basket.parcels.items()
    )


def _total(terms: ParcelTerms, parcel: LandedParcel, bought: Sequence[Offered]) -> OrderTotal:
    supplier = bought[0].supplier
    before = sum(line.packs * line.quoted_price for line in parcel.lines)
    net = sum(parcel.charge(name) for name in ("goods", "core", "carriage", "insurance", "card_fee"))
    taxed = 1.0 if terms.imported else 1.0 + terms.vat_rate
    return OrderTotal(
        supplier=supplier.supplier,
        currency=supplier.currency,
        quoted_goods=before,
        quoted_discount=before - parcel.quoted_goods,
        quoted_carriage=parcel_carriage(terms, parcel.quoted_goods, parcel.weight_kg),
        quoted_fees=(parcel.charge("insurance") + parcel.charge("card_fee")) / terms.net,
        quoted_core=parcel.charge("core") / terms.net,
        quoted_total=net / terms.exchange * taxed,
        cost_landed=parcel.total,
        lead_days=max(o.days for o in bought),
        note=_tax(terms),
    )


def _tax(terms: ParcelTerms) -> str:
    """What the supplier's own VAT does to the total."""
    if terms.imported:
        return "sold for export: the total is without the supplier's VAT" if terms.vat_included else ""
    return "" if terms.vat_included else "lines are without VAT, the total is with it"
