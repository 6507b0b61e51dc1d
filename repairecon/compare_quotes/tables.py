"""The tables of the quotes job: quotes, what is bought and ordered, other ways, money against days, equivalents."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from functools import partial
from math import ceil, inf, isfinite, nan
from typing import Any

import pandas as pd

from repairecon.buying.basket import Basket, Clock, Order, Uncovered, cheapest_basket
from repairecon.buying.offers import Offered

from repairecon.buying.other_baskets import (  # isort: skip
    entering_prices, few_offers, goods_cost, line_by_line, one_supplier, quick_basket, second_best, soonest_possible,
)  # fmt: skip
from repairecon.buying.parcel import (  # isort: skip
    CHARGES, CLOSE, LandedLine, parcel_carriage, price_parcel,
)  # fmt: skip
from repairecon.records import Case, Ordered, OrderedLine

CHOSEN, MAKERS_ONLY, BY_LINE = "cheapest basket", "maker's parts throughout", "cheapest price line by line"
SOONEST, NEXT, ONE, ALL_FIT = "soonest here", "second best", "all from one supplier", "if what you ask about fits"
BY_DAYS, ENTERS = "money against days", "prices at which others would be bought"
BOUGHT = ("part", "supplier", "quantity", "wanted", "packs", "pack", "quoted", "currency", "part_class", "designation",
          "days", "stale", "source")  # fmt: skip
QUOTED = ["part", "supplier", "part_class", "designation", "fit", "pieces", "pack", "quoted", "currency", "alone",
          "days", "quoted_on", "stale", "packs", "enters_below", "left_out", "source"]  # fmt: skip
OFFERED = ["part", "offered", "supplier", "verdict", "reasons", "caution", "alone", "saves", "tables", "source"]
ASKED, ENTERING = 12, 10.0
"""Quotes for which the price is sought at which they would enter, the nearest first, and seconds at most for that."""
ROUGH = 0.02
"""A basket that may be dearer than need be by more than this share is no answer and is not shown."""


def tells(basket: Basket) -> bool:
    """Whether a basket was searched for long enough to say something."""
    return bool(basket.packs) and basket.gap <= ROUGH * basket.total + CLOSE


def _landed(offers: Sequence[Offered], basket: Basket) -> Iterator[tuple[Offered, LandedLine]]:
    for indexes, parcel in basket.parcels.values():
        yield from zip([offers[k] for k in indexes], parcel.lines, strict=True)


def bought(offers: Sequence[Offered], basket: Basket) -> pd.DataFrame:
    """A row a line bought: every charge, and ``landed``, their sum."""
    rows = [
        (o.quote.item, o.supplier.supplier, line.packs * o.quote.pack, o.pieces, line.packs, o.quote.pack,
         line.quoted_price, o.supplier.currency, o.quote.part_class, o.quote.designation, o.days, o.stale,
         str(o.quote.source), *(getattr(line, name) + 0.0 for name in CHARGES), line.total)
        for o, line in _landed(offers, basket)
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=[*BOUGHT, *CHARGES, "landed"])


def lines(offers: Sequence[Offered], basket: Basket, alone: Sequence[float], enters: dict[int, float]) -> pd.DataFrame:
    """A row a quote for a wanted part."""
    rows, order = [], basket.order
    for k, o in enumerate(offers):
        q = o.quote
        late = "" if order.offers[k].days <= order.deadline_days else "comes after the deadline"
        rows.append((
            q.item, q.supplier, q.part_class, q.designation, o.fit.verdict if o.fit else "", o.pieces, q.pack,
            order.offers[k].line.price(1), o.supplier.currency, alone[k], o.days, q.quoted_on, o.stale,
            basket.packs.get(k, 0), enters.get(k), o.left_out or late, str(q.source),
        ))  # fmt: skip
    return pd.DataFrame(rows, columns=QUOTED)


def entering(basket: Basket, clock: Clock, quick: bool = False) -> dict[int, float]:
    """Prices at which the quotes would enter that are nearest, carriage left out, to what is bought of their part.

    Quickly: beside what is bought, the offers asked about and the one of each part with the cheapest goods alone.
    """
    order = basket.order
    paid = {order.offers[k].part: goods_cost(order, k) for k in basket.packs}
    near = {
        k: goods_cost(order, k) / max(paid[o.part], 0.01)
        for k, o in enumerate(order.offers)
        if order.allows(k) and k not in basket.packs and o.part in paid
    }
    asked = sorted(near, key=near.__getitem__)[:ASKED]
    if quick:
        basket = replace(basket, order=few_offers(order, 1, {*basket.packs, *asked}))
    found = entering_prices(basket, asked, clock) if asked else {}
    # where it was quick, or the time was short, it enters for sure at this price, and might enter sooner
    return {k: entry.quoted for k, entry in found.items() if entry.basket is not None}


def alone(order: Order, k: int) -> float:
    """Landed cost of all pieces wanted of an offer ordered alone, more bought where that pays; nan if not sold so."""
    offer = order.offers[k]
    terms, costs = order.suppliers[offer.supplier], []
    # Packs of a line ordered alone: as few as will do, and those at which a price, a minimum or carriage turns.
    least = offer.line.packs_for(order.wanted[offer.part])
    starts = [least, *(start for start, _ in offer.line.prices if start > least)]
    tried = set(starts)
    for start in starts:
        pack = offer.line.price(start) * (1.0 - terms.discount_rate)
        if pack > 0.0:
            limits = (terms.minimum_order, terms.free_above or 0.0)
            tried |= {max(start, ceil((limit - CLOSE) / pack)) for limit in limits}
    for packs in sorted(tried):
        try:
            costs.append(price_parcel(terms, [offer.line], [packs], order.border).total)
        except ValueError:  # under the minimum order, or too heavy
            continue
    return min(costs, default=nan)


def other_ways(
    basket: Basket, all_fit: Order | None, by_days: Sequence[Basket], clock: Clock, quick: bool
) -> tuple[dict[str, Basket], list[str]]:
    """Other ways of ordering the same parts, the basket chosen first, and those not found in the time.

    ``all_fit`` is the order as if every question asked were answered by yes, where there is any.
    """
    order = basket.order
    makers = {order.part_of(k) for k in order.usable if order.offers[k].makers}
    search = partial(quick_basket, kept=basket.packs) if quick else cheapest_basket
    searches: dict[str, Callable[[Clock], Basket | None] | None] = {
        NEXT: partial(second_best, basket, search=search) if basket.packs else None,
        ONE: partial(one_supplier, order),
        ALL_FIT: partial(search, all_fit) if all_fit else None,
        MAKERS_ONLY: partial(search, replace(order, makers_only=order.makers_only | makers)) if makers else None,
        BY_LINE: partial(line_by_line, order),
    }
    ways, late = {CHOSEN: basket}, []
    asked = [(way, work) for way, work in searches.items() if work]
    for still, (way, work) in zip(range(len(asked), 0, -1), asked, strict=True):
        part = clock.part(1.0 / still)
        found = work(part)
        if found and tells(found):
            ways[way] = found
        elif part.left <= 0.0:
            late.append(way)
    # a few deadlines tried do not prove that there is no sooner basket, the days of the parts do
    if by_days and (not quick or by_days[0].days <= soonest_possible(by_days[0].order)):
        ways[SOONEST] = replace(by_days[0], uncovered=basket.uncovered)
    return {way: b for way, b in ways.items() if b.packs}, late


def alternatives(ways: Mapping[str, Basket], chosen: Basket) -> pd.DataFrame:
    """A row a way of ordering."""
    rows = [
        (way, b.total, b.total - chosen.total, len(b.parcels), b.days, ", ".join(b.suppliers),
         len(set(map(b.order.part_of, b.packs))), [u.part for u in b.uncovered], b.proven)
        for way, b in ways.items()
    ]  # fmt: skip
    columns = ["way", "total", "over", "parcels", "days", "suppliers", "covers", "lacks", "proven"]
    return pd.DataFrame(rows, columns=columns)


def equivalents(offers: Sequence[Offered], alone: Sequence[float]) -> pd.DataFrame:
    """A row a quote whose designation was held against the one wanted, and what it saves against the maker's."""
    makers: dict[str, float] = {}
    for o, cost in zip(offers, alone, strict=True):
        if o.makers and not o.left_out and isfinite(cost):
            makers[o.quote.item] = min(cost, makers.get(o.quote.item, inf))
    rows = [
        (o.quote.item, o.quote.designation, o.quote.supplier, o.fit.verdict, "; ".join(o.fit.reasons),
         " ".join(o.fit.caution), cost, makers.get(o.quote.item, nan) - cost, o.fit.status, str(o.quote.source))
        for o, cost in zip(offers, alone, strict=True)
        if o.fit is not None
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=OFFERED)


def why_uncovered(case: Case, offers: Sequence[Offered], missing: Uncovered) -> str:
    """Why a part is not in the basket, with what stands against each of its quotes."""
    barred = [f"{o.quote.supplier}: {o.left_out}" for o in offers if o.quote.item == missing.part and o.left_out]
    if missing.days is not None:
        return f"{missing.why}; the soonest comes in {ceil(missing.days)} days"
    if barred and missing.why in ("none of the offers asked for", "no offer of the maker's part"):
        return f"no quote that may be bought ({'. '.join(barred)})"
    if missing.why != "no offer at all":
        return missing.why
    own = [str(p.source) for p in case.parts if p.part == missing.part and p.price is not None]
    return f"no quote; parts.csv gives a price, but nobody to order from ({own[0]})" if own else "nobody quotes for it"


def charges(b: pd.DataFrame) -> pd.DataFrame:
    """Every line bought, charge by charge, refunds taken off the charge they belong to; they add up to ``landed``."""
    core = b["core"] + b["core_refund"]
    return pd.DataFrame({
        "supplier": b["supplier"], "goods": b["goods"], "carriage": b["carriage"],
        "insurance and fees": b["insurance"] + b["card_fee"], "duty": b["duty"],
        "VAT": b["vat"] + b["vat_back"] + core.clip(upper=0.0),  # the refund brings back its VAT
        "handling": b["handling"], "core kept": core.clip(lower=0.0), "landed": b["landed"],
    })  # fmt: skip


def by_supplier(bought: pd.DataFrame) -> pd.DataFrame:
    """What each supplier is paid, charge by charge."""
    table = charges(bought).drop(columns="landed").groupby("supplier", sort=False).sum().clip(lower=0.0)
    table.insert(2, "insurance, fees, handling", table.pop("insurance and fees") + table.pop("handling"))
    return table


def order_lines(offers: Sequence[Offered], basket: Basket) -> list[dict[str, Any]]:
    """A line of an order for each quote bought, in the supplier's money."""
    same = ("item", "supplier", "designation", "material", "part_class", "pack", "source")
    return [
        {name: getattr(o.quote, name) for name in same}
        | {"packs": line.packs, "quoted": line.quoted_price, "currency": o.supplier.currency, "note": o.stale}
        for o, line in _landed(offers, basket)
    ]


def order_totals(offers: Sequence[Offered], basket: Basket) -> list[dict[str, Any]]:
    """What each supplier's invoice should say, and the parcel landed."""
    totals = []
    for name, (indexes, parcel) in basket.parcels.items():
        terms, currency = basket.order.suppliers[name], offers[indexes[0]].supplier.currency
        before = sum(line.packs * line.quoted_price for line in parcel.lines)
        tax = "" if terms.vat_included else "lines are without VAT, the total is with it"
        if terms.imported:
            tax = "sold for export: the total is without the supplier's VAT" if terms.vat_included else ""
        net = sum(parcel.charge(charge) for charge in ("goods", "core", "carriage", "insurance", "card_fee"))
        totals.append({
            "supplier": name, "currency": currency,
            "quoted_goods": before, "quoted_discount": before - parcel.quoted_goods,
            "quoted_carriage": parcel_carriage(terms, parcel.quoted_goods, parcel.weight_kg),
            "quoted_fees": (parcel.charge("insurance") + parcel.charge("card_fee")) / terms.net,
            "quoted_core": parcel.charge("core") / terms.net,
            "quoted_total": net / terms.exchange * (1.0 if terms.imported else 1.0 + terms.vat_rate),
            "cost_landed": parcel.total, "lead_days": max(offers[k].days for k in indexes), "note": tax,
        })  # fmt: skip
    return totals


def orders(case: Case, offers: Sequence[Offered], basket: Basket, day: str) -> tuple[Ordered, ...]:
    """The orders as the spares book keeps them, one a supplier, landed by the piece."""
    made, parts = [], {p.part for p in case.parts}
    for name, (indexes, parcel) in basket.parcels.items():
        terms, bought, lines = basket.order.suppliers[name], [offers[k] for k in indexes], []
        for o, line in zip(bought, parcel.lines, strict=True):
            billed, pieces = line.goods + line.core + line.carriage, line.packs * o.quote.pack
            # all charges but handling go by what is billed
            charged = billed + line.insurance + line.card_fee + line.duty + line.vat + line.vat_back
            carriage = (line.carriage / billed * charged if billed else 0.0) + line.handling
            cost, carried, duty = (Decimal(repr(charge / pieces)) for charge in (line.total, carriage, line.duty))
            lines.append(OrderedLine(
                part=o.quote.item, pieces=Decimal(pieces), packs=line.packs,
                quoted_pack=Decimal(repr(line.quoted_price)), cost_unit=cost, carriage_unit=carried, duty_unit=duty,
                designation=o.quote.designation, material=o.quote.material, whole_unit=o.quote.item not in parts,
            ))  # fmt: skip
        made.append(Ordered(
            on_date=day, supplier=name, job=os.path.basename(os.path.realpath(case.folder)), unit=case.unit.name,  # noqa: PTH119
            currency=bought[0].supplier.currency, rate=Decimal(repr(terms.exchange)),
            expected_days=ceil(max(o.days for o in bought)), lines=tuple(lines),
        ))  # fmt: skip
    return tuple(made)
