"""Next best, money against days and entering prices, by hand and against plain loops that try everything."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import plain_basket
import pytest
from basket_makers import MOST_PACKS, orders
from hypothesis import given, settings

from repairecon.buying.basket import Clock, Offer, Order, cheapest_basket
from repairecon.buying.other_baskets import (
    entering_prices,
    frontier,
    quick_basket,
    second_best,
    soonest_possible,
)
from repairecon.buying.parcel import Line, ParcelTerms

CENT = 0.005


def flat(price: float, **more: Any) -> Line:
    return Line(((1, price),), **more)


def without_offer(order: Order, i: int) -> Order:
    """The order with one offer barred."""
    part = order.offers[i].part
    kept = frozenset(k for k, o in enumerate(order.offers) if o.part == part and k != i)
    return replace(order, only={part: kept})


@settings(max_examples=50)
@given(orders())
def test_second_best_leaves_out_one_of_the_offers_bought(order: Order) -> None:
    best = cheapest_basket(order)
    if not best.complete:
        return
    second = second_best(best)
    plain = [plain_basket.cheapest(without_offer(order, i), MOST_PACKS) for i in best.packs]
    costs = [cost for cost in plain if cost is not None]
    if not costs:
        assert second.status == "nothing can be had"
        return
    assert second.proven
    assert second.total == pytest.approx(min(costs), abs=CENT)


@settings(max_examples=50)
@given(orders())
def test_a_quick_basket_lies_between_its_bound_and_no_answer(order: Order) -> None:
    quick, plain = quick_basket(order), plain_basket.cheapest(order, MOST_PACKS)
    if plain is None or not quick.complete:
        return
    assert quick.least - CENT <= plain <= quick.total + CENT
    assert plain_basket.basket_cost(order, dict(quick.packs)) == pytest.approx(quick.total, abs=1e-8)


@settings(max_examples=40)
@given(orders())
def test_a_quick_frontier_begins_with_the_soonest_and_falls(order: Order) -> None:
    best = cheapest_basket(replace(order, deadline_days=99.0))
    if not best.complete:
        return
    points = frontier(best.order, cheapest=best, most=3)
    # few offers a part: a quick basket has all of them, so that the points are those of the whole frontier
    assert [(p.days, p.total) for p in points] == [
        (p.days, pytest.approx(p.total, abs=CENT)) for p in frontier(best.order)
    ]
    assert points[0].days >= soonest_possible(best.order)


@settings(max_examples=40)
@given(orders())
def test_frontier_falls_and_each_point_is_the_cheapest_in_its_days(order: Order) -> None:
    points = frontier(order)
    best = cheapest_basket(order)
    if not best.complete:
        return
    assert points[-1].total == pytest.approx(best.total, abs=CENT)
    for sooner, later in pairwise(points):
        assert sooner.days < later.days
        assert sooner.total > later.total
    for days in (2.0, 5.0, 9.0):
        within = replace(order, deadline_days=min(days, order.deadline_days))
        plain = plain_basket.cheapest(within, MOST_PACKS)
        on_it = [p.total for p in points if p.days <= days]
        assert (plain is None) == (not on_it)
        if plain is not None:
            assert min(on_it) == pytest.approx(plain, abs=CENT)
    assert [(p.days, p.total) for p in frontier(order, cheapest=best)] == [(p.days, p.total) for p in points]


def test_a_later_basket_that_saves_less_than_half_a_cent_is_no_point() -> None:
    offers = (
        Offer("seal", "stockist", Line(((1, 8.996),)), days=5.0),
        Offer("seal", "shop", Line(((1, 9.0),)), days=2.0),
    )
    points = frontier(Order({"seal": 1}, offers, {"stockist": ParcelTerms(), "shop": ParcelTerms()}))
    assert [(p.days, p.total) for p in points] == [(2.0, 9.0)]


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
    assert all(entry.proven for entry in entries.values())
    assert entries[2].basket is not None
    assert dict(entries[2].basket.packs) == {2: 1, 3: 1}


def test_a_quote_that_never_enters_and_one_as_cheap() -> None:
    offers = (Offer("seal", "shop", flat(9.0)), Offer("seal", "abroad", flat(2.0)), Offer("seal", "near", flat(9.0)))
    terms = {"shop": ParcelTerms(), "abroad": ParcelTerms(carriage=9.01), "near": ParcelTerms()}
    best = cheapest_basket(Order({"seal": 1}, offers, terms))
    entries = entering_prices(best)
    assert entries[1].proven
    assert entries[1].basket is None
    other = next(i for i in (0, 2) if i not in best.packs)
    assert entries[other].factor == 1.0


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
        if entry.basket is None:
            assert least(0.0) > best.total
            continue
        # a hair below: the plain loops compare with the limits of the border to the last digit
        assert least(entry.factor * (1.0 - 1e-6)) <= best.total + 1e-4
        if entry.factor < 1.0:
            assert least(min(1.0, entry.factor + width)) > best.total


def test_without_time_a_price_is_one_at_which_the_quote_enters_for_sure() -> None:
    # alone at 12 against 10 and 5 of carriage: in at 10 - 5 by the swap, whatever a search would add
    offers = (Offer("seal", "shop", flat(10.0)), Offer("seal", "abroad", flat(12.0)))
    best = cheapest_basket(Order({"seal": 1}, offers, {"shop": ParcelTerms(), "abroad": ParcelTerms(carriage=5.0)}))
    entry = entering_prices(best, clock=Clock(0.0))[1]
    assert entry.quoted == pytest.approx(5.0, abs=CENT)
    assert not entry.proven
