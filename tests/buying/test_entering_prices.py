"""Entering prices by hand, and just under and just over by plain loops that try everything."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import plain_basket
import pytest
from basket_makers import MOST_PACKS, orders
from hypothesis import given, settings

from repairecon.buying.basket import Line, Offer, Order, ParcelTerms, cheapest_basket
from repairecon.buying.entering_prices import entering_prices

CENT = 0.005


def flat(price: float, **more: Any) -> Line:
    return Line(((1, price),), **more)


def test_entering_price_by_hand() -> None:
    # 20 and carriage 8.50 from the stockist, 9 + 21 in the shop: the shop's bearing enters when 6 + 8.50 + x, or
    # 9 + x, is no more than 28.50: at 19.50 with its own seal; its seal when 9 is down to 7.50 or so: 7.50 + 21
    offers = (
        Offer("seal", "stockist", flat(6.0)),
        Offer("bearing", "stockist", flat(14.0)),
        Offer("seal", "shop", flat(9.0)),
        Offer("bearing", "shop", flat(21.0)),
    )
    terms = {"stockist": ParcelTerms(carriage=8.5), "shop": ParcelTerms()}
    best = cheapest_basket(Order({"seal": 1, "bearing": 1}, offers, terms))
    assert dict(best.packs) == {0: 1, 1: 1}
    entries = entering_prices(best)
    assert entries[3].quoted == pytest.approx(19.5, abs=CENT)
    assert entries[2].quoted == pytest.approx(7.5, abs=CENT)
    assert entries[2].fall == pytest.approx(1.5, abs=CENT)
    assert entries[2].basket is not None
    assert dict(entries[2].basket.packs) == {2: 1, 3: 1}


def test_a_quote_that_never_enters_and_one_as_cheap() -> None:
    offers = (Offer("seal", "shop", flat(9.0)), Offer("seal", "abroad", flat(2.0)), Offer("seal", "near", flat(9.0)))
    terms = {"shop": ParcelTerms(), "abroad": ParcelTerms(carriage=9.01), "near": ParcelTerms()}
    best = cheapest_basket(Order({"seal": 1}, offers, terms))
    entries = entering_prices(best)
    assert entries[1].never
    other = next(i for i in (0, 2) if i not in best.packs)
    assert (entries[other].fall, entries[other].factor) == (0.0, 1.0)


@settings(max_examples=40)
@given(orders(goals=False))
def test_entering_prices_hold_just_under_and_not_just_over(order: Order) -> None:
    best = cheapest_basket(order)
    if not best.complete:
        return
    for i, entry in list(entering_prices(best).items())[:3]:
        assert entry.proven

        def least(factor: float, i: int = i) -> float:
            offer = order.offers[i]
            at = (*order.offers[:i], replace(offer, line=offer.line.at_factor(factor)), *order.offers[i + 1 :])
            found = plain_basket.cheapest(replace(order, offers=at), MOST_PACKS, must=i)
            return float("inf") if found is None else found

        width = 0.011 / order.offers[i].line.price(order.offers[i].line.minimum_packs)
        if entry.never:
            assert least(0.0) > best.total
            continue
        assert least(entry.factor) <= best.total + 1e-6
        if entry.factor < 1.0:
            assert least(min(1.0, entry.factor + width)) > best.total
        if entry.only:
            for k in range(1, 5):
                factor = entry.factor + width + k / 4 * (1.0 - entry.factor - width)
                assert entry.factor + width >= 1.0 or least(factor) > best.total
