"""Random small orders with every rule, whose cheapest basket plain loops can find."""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as st

from repairecon.buying.basket import Offer, Order
from repairecon.buying.parcel import Border, Line, ParcelTerms

MOST_PACKS = 7
"""Enough for any goal below at the lowest price below."""


def one_of(*values: Any) -> st.SearchStrategy[Any]:
    """One of some values, the plain one first."""
    return st.sampled_from(values)


@st.composite
def terms(draw: Any, goals: bool = True) -> ParcelTerms:
    """A supplier; without goals no free carriage and no minimum order."""
    imported = draw(st.booleans())
    bands = draw(one_of((), (), ((1.0, 3.0), (2.5, 8.0), (9.0, 22.0)), ((0.8, 5.5), (4.0, 14.0))))
    return ParcelTerms(
        exchange=draw(one_of(1.0, 1.17, 0.92)),
        vat_included=draw(st.booleans()),
        vat_rate=draw(one_of(0.0, 0.2, 0.21)),
        imported=imported,
        carriage=draw(one_of(0.0, 7.5, 12.0, 30.0)),
        bands=bands,
        free_above=draw(one_of(None, 40.0, 75.0)) if goals else None,
        minimum_order=draw(one_of(0.0, 0.0, 30.0, 60.0)) if goals else 0.0,
        discount_rate=draw(one_of(0.0, 0.05)),
        card_fee_rate=draw(one_of(0.0, 0.02)),
        insurance_rate=draw(one_of(0.0, 0.01)),
        cost_handling=draw(one_of(0.0, 6.0)) if imported else 0.0,
        by_hand=imported and draw(one_of(False, False, True)),
    )


@st.composite
def lines(draw: Any) -> Line:
    """A line of a quote."""
    price = draw(one_of(18.0, 25.5, 33.0, 47.0, 61.25, 75.0))
    prices = [(1, price)]
    if draw(st.booleans()):
        prices.append((draw(one_of(2, 3, 4)), price * draw(one_of(0.9, 0.8))))
    return Line(
        tuple(prices),
        pack=draw(one_of(1, 1, 2)),
        minimum_packs=draw(one_of(1, 1, 2)),
        weight_kg=draw(one_of(0.2, 0.5, 1.1)),
        duty_rate=draw(one_of(0.0, 0.027, 0.12)),
        core=draw(one_of(0.0, 0.0, 10.0)),
    )


@st.composite
def borders(draw: Any) -> Border:
    """Rules at the border."""
    return Border(
        home_vat_rate=0.21,
        duty_free_up_to=draw(one_of(0.0, 50.0, 100.0)),
        vat_free_up_to=draw(one_of(0.0, 0.0, 22.0, 60.0)),
        flat_duty_rate=draw(one_of(None, 0.025, 0.05)),
        flat_duty_up_to=draw(one_of(30.0, 60.0)),
        hand_allowance=draw(one_of(0.0, 40.0, 90.0)),
        vat_back=draw(one_of(False, False, False, True)),
    )


@st.composite
def orders(draw: Any, goals: bool = True) -> Order:
    """Up to three parts from up to three suppliers."""
    parts = [f"part {k}" for k in range(draw(st.integers(1, 3)))]
    suppliers = {f"supplier {k}": draw(terms(goals)) for k in range(draw(st.integers(1, 3)))}
    offers = [
        Offer(part, name, draw(lines()), draw(one_of(2.0, 5.0, 9.0)), draw(st.booleans()))
        for name in suppliers
        for part in parts
        if draw(one_of(True, True, True, False))
    ]
    if len(parts) < 3 and offers and draw(st.booleans()):
        offers.append(Offer(offers[0].part, offers[0].supplier, draw(lines()), 5.0, True))
    return Order(
        {part: draw(one_of(1, 2, 3)) for part in parts},
        tuple(offers),
        suppliers,
        draw(borders()),
        deadline_days=draw(one_of(99.0, 99.0, 5.0)),
        most_parcels=draw(one_of(None, None, 2, 1)),
    )
