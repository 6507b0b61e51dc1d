"""Next best, soonest and money against days, each against plain loops that try everything."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import plain_basket
import pytest
from basket_makers import MOST_PACKS, orders
from hypothesis import given, settings

from repairecon.buying.basket import Line, Offer, Order, ParcelTerms, cheapest_basket
from repairecon.buying.basket_choices import frontier, second_best, soonest

CENT = 0.005


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


@settings(max_examples=40)
@given(orders())
def test_second_best_by_suppliers_is_another_set(order: Order) -> None:
    best = cheapest_basket(order)
    if not best.complete:
        return
    second = second_best(best, "suppliers")
    cheaper = plain_second_set(order, frozenset(best.suppliers))
    if cheaper is None:
        assert second.status == "nothing can be had"
        return
    assert set(second.suppliers) != set(best.suppliers)
    assert second.total == pytest.approx(cheaper, abs=CENT)


def plain_second_set(order: Order, barred: frozenset[str]) -> float | None:
    """The cheapest over all other sets: a supplier of the set left out, or one more that must send something."""
    found = [plain_basket.cheapest(replace(order, without=order.without | {name}), MOST_PACKS) for name in barred]
    for i, offer in enumerate(order.offers):
        if offer.supplier not in barred and plain_basket.usable(order, i):
            found.append(plain_basket.cheapest(order, MOST_PACKS, must=i))
    return min((cost for cost in found if cost is not None), default=None)


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
    first = soonest(order)
    assert (first.days, first.total) == (points[0].days, pytest.approx(points[0].total, abs=CENT))


def test_a_later_basket_that_saves_less_than_half_a_cent_is_no_point() -> None:
    offers = (
        Offer("seal", "stockist", Line(((1, 8.996),)), days=5.0),
        Offer("seal", "shop", Line(((1, 9.0),)), days=2.0),
    )
    points = frontier(Order({"seal": 1}, offers, {"stockist": ParcelTerms(), "shop": ParcelTerms()}))
    assert [(p.days, p.total) for p in points] == [(2.0, 9.0)]
