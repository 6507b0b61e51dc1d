"""The cheapest basket against published location problems, sums by hand, and plain loops that try everything."""

from __future__ import annotations

import csv
import itertools
from dataclasses import replace
from pathlib import Path
from typing import Any

import plain_basket
import pytest
from basket_makers import MOST_PACKS, orders
from hypothesis import given, settings

from repairecon.buying.basket import Clock, Offer, Order, Uncovered, cheapest_basket, price_packs
from repairecon.buying.other_baskets import line_by_line, one_supplier
from repairecon.buying.parcel import Border, Line, ParcelTerms

DATA = Path(__file__).resolve().parent / "data"
CENT = 0.005


def table(name: str) -> list[list[float]]:
    """The numbers of a file, without its heading and its line of source."""
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(line for line in file if line[0] != "#"))[1:]
    return [[float(x) for x in row] for row in rows]


def flat(price: float, **more: Any) -> Line:
    return Line(((1, price),), **more)


def location(costs: list[list[float]], fixed: list[float]) -> Order:
    """Customers as parts, sites as suppliers with carriage alone: costs by site, then customer."""
    names = [f"site {k}" for k in range(1, len(fixed) + 1)]
    offers = tuple(
        Offer(f"customer {j}", name, flat(cost))
        for name, row in zip(names, costs, strict=True)
        for j, cost in enumerate(row)
    )
    wanted = {f"customer {j}": 1 for j in range(len(costs[0]))}
    return Order(wanted, offers, {n: ParcelTerms(carriage=f) for n, f in zip(names, fixed, strict=True)})


def test_sixteen_suppliers_of_a_public_instance() -> None:
    # OR-Library (Beasley), uncapacitated warehouse location, instance cap71: optimum 932615.750 in file uncapopt.
    # A warehouse is a supplier with a fixed charge a parcel, the cost of serving a customer the price of a part.
    costs = table("orlib_cap71_cost.csv")
    fixed = [row[1] for row in table("orlib_cap71_fixed.csv")]
    assert (len(costs), len(costs[0]), len(fixed)) == (16, 50, 16)
    basket = cheapest_basket(location(costs, fixed))
    assert basket.proven
    assert basket.total == pytest.approx(932615.750, abs=0.0005)


# Plant location worked examples (course handout), "Example for Location problem with fix cost": customers 1-5 by sites
# A-E, fixed costs 3000, 2000, 2000, 3000, 4000.
FIXED = [3000.0, 2000.0, 2000.0, 3000.0, 4000.0]
BY_CUSTOMER = [
    [100, 500, 1800, 1300, 1700],
    [1500, 200, 2600, 1400, 1800],
    [2500, 1200, 1700, 300, 1900],
    [2800, 1800, 700, 800, 800],
    [10000, 12000, 800, 8000, 900],
]
A_TO_E = [[float(row[k]) for row in BY_CUSTOMER] for k in range(5)]


def without(order: Order, *kept: str) -> Order:
    """Only some suppliers left in."""
    return replace(order, without=frozenset(order.suppliers) - set(kept))


def test_single_sites_and_savings_of_the_fixed_cost_example() -> None:
    order = location(A_TO_E, FIXED)
    alone = [one_supplier(without(order, f"site {k}")) for k in range(1, 6)]
    assert [basket.total for basket in alone if basket] == [19900.0, 17700.0, 9600.0, 14800.0, 11100.0]
    best = one_supplier(order)
    assert best is not None
    assert (best.suppliers, best.total) == (("site 3",), 9600.0)
    # gross savings printed when a second site is opened beside C: A 2800, B 4200; net of B's fixed cost 2200
    assert line_by_line(without(order, "site 3", "site 1")).total == 9600.0 - 2800.0 + 3000.0
    assert line_by_line(without(order, "site 3", "site 2")).total == 9600.0 - 4200.0 + 2000.0
    assert cheapest_basket(without(order, "site 3", "site 2")).total == 9600.0 - 2200.0


def test_optimum_of_the_fixed_cost_example_by_enumeration() -> None:
    # the optimum is cut off in the source: every set of sites is tried here
    sets = itertools.chain.from_iterable(itertools.combinations(range(5), k) for k in range(1, 6))
    best = min(sum(FIXED[k] for k in s) + sum(min(row[k] for k in s) for row in BY_CUSTOMER) for s in sets)
    basket = cheapest_basket(location(A_TO_E, FIXED))
    assert (basket.total, basket.proven) == (best, True)


def test_two_sources_out_of_five() -> None:
    # Plant location worked examples (course handout), "Example for multifacility plant location (brute force)":
    # totals of all pairs as printed; best 3 & 4 at 700, A and B and C from 3, D and E from 4 (D costs 400 there)
    rows = [[500, 300, 200, 800, 500], [150, 250, 100, 300, 350], [750, 300, 0, 150, 0], [400, 200, 1600, 400, 600],
            [900, 600, 1200, 0, 1200]]  # fmt: skip
    printed = {"1&2": 1550, "1&3": 1600, "1&4": 1200, "1&5": 1950, "2&3": 1100, "2&4": 900, "2&5": 1350, "3&4": 700,
               "3&5": 2100, "4&5": 1200}  # fmt: skip
    order = location([[float(row[k]) for row in rows] for k in range(5)], [0.0] * 5)
    for pair, total in printed.items():
        assert cheapest_basket(without(order, *(f"site {k}" for k in pair.split("&")))).total == total, pair
    best = cheapest_basket(replace(order, most_parcels=2))
    assert (best.total, best.proven) == (700.0, True)
    chosen = {order.offers[i].part: order.offers[i].supplier for i in best.packs}
    assert list(chosen.values()) == ["site 3"] * 3 + ["site 4"] * 2


SEAL, BEARING = "seal", "bearing"


def two_parts(**stockist: Any) -> Order:
    """A seal and a bearing from a stockist, dearer from a shop without carriage."""
    offers = (
        Offer(SEAL, "stockist", flat(6.0, weight_kg=0.1), days=4.0),
        Offer(BEARING, "stockist", flat(14.0, weight_kg=0.9), days=4.0),
        Offer(SEAL, "shop", flat(9.0, weight_kg=0.1), days=1.0, makers=True),
        Offer(BEARING, "shop", flat(21.0, weight_kg=0.9), days=1.0),
    )
    return Order({SEAL: 1, BEARING: 1}, offers, {"stockist": ParcelTerms(**stockist), "shop": ParcelTerms()})


@pytest.mark.parametrize(
    ("stockist", "packs", "total"),
    [
        ({"carriage": 8.5}, {0: 1, 1: 1}, 28.5),  # 20 + 8.50 against 30 in the shop
        ({"carriage": 11.0}, {2: 1, 3: 1}, 30.0),  # 31 against 30
        ({"carriage": 8.5, "free_above": 20.0}, {0: 1, 1: 1}, 20.0),  # free at the limit itself
        ({"carriage": 8.5, "free_above": 26.0}, {0: 2, 1: 1}, 26.0),  # a seal too many saves carriage
        ({"carriage": 8.5, "free_above": 29.0}, {0: 1, 1: 1}, 28.5),  # two too many would cost 32
        ({"minimum_order": 25.0}, {0: 2, 1: 1}, 26.0),
        ({"bands": ((0.5, 2.0), (1.0, 8.5))}, {0: 1, 1: 1}, 28.5),  # the seal alone, 0.1 kg: 8 + 21
        ({"bands": ((0.5, 2.0), (1.0, 9.5))}, {0: 1, 3: 1}, 29.0),
        ({"bands": ((0.9, 2.0), (1.0, 12.5))}, {1: 1, 2: 1}, 25.0),  # the bearing alone goes in the light band
    ],
)
def test_hand_worked_baskets(stockist: dict[str, Any], packs: dict[int, int], total: float) -> None:
    basket = cheapest_basket(two_parts(**stockist))
    assert (dict(basket.packs), basket.proven) == (packs, True)
    assert basket.total == pytest.approx(total)


def test_hand_worked_breaks_and_packs() -> None:
    # 3 wanted: 3 x 10 = 30; 4 at the break 4 x 7 = 28; a pack of five 29; from the shop two and one of it
    offers = (
        Offer(SEAL, "stockist", Line(((1, 10.0), (4, 7.0)))),
        Offer(SEAL, "shop", flat(29.0, pack=5)),
    )
    order = Order({SEAL: 3}, offers, {"stockist": ParcelTerms(), "shop": ParcelTerms()})
    assert dict(cheapest_basket(order).packs) == {0: 4}
    assert dict(cheapest_basket(replace(order, wanted={SEAL: 5})).packs) == {1: 1}


def test_all_packs_of_a_line_bear_one_price() -> None:
    # hand-worked: 10 for up to 2, 7 from 3 on, carriage 25, free from 40: two are 20 + 25 = 45, six at 7 are 42 and
    # free; four would be 40 and free only at the dearer price, which is not theirs
    offers = (Offer(SEAL, "stockist", Line(((1, 10.0), (3, 7.0)))),)
    order = Order({SEAL: 2}, offers, {"stockist": ParcelTerms(carriage=25.0, free_above=40.0)})
    basket = cheapest_basket(order)
    assert (dict(basket.packs), basket.total, basket.proven) == ({0: 6}, 42.0, True)


def test_a_parcel_is_kept_under_the_duty_limit() -> None:
    # hand-worked: 100 + 60 from abroad is over 150: duty 10 % 16, in all 176; the 60 elsewhere for 70: 170
    offers = (
        Offer(SEAL, "abroad", flat(100.0, duty_rate=0.1)),
        Offer(BEARING, "abroad", flat(60.0, duty_rate=0.1)),
        Offer(BEARING, "shop", flat(70.0)),
    )
    terms = {"abroad": ParcelTerms(imported=True), "shop": ParcelTerms()}
    basket = cheapest_basket(Order({SEAL: 1, BEARING: 1}, offers, terms, Border(duty_free_up_to=150.0)))
    assert (dict(basket.packs), basket.total) == ({0: 1, 2: 1}, pytest.approx(170.0))
    over = cheapest_basket(Order({SEAL: 1, BEARING: 1}, offers, terms, Border(duty_free_up_to=99.0)))
    assert over.total == pytest.approx(176.0)


def test_what_cannot_be_had_is_named_with_its_reason() -> None:
    order = two_parts(carriage=1.0)
    late = cheapest_basket(replace(order, deadline_days=3.0, without=frozenset({"shop"})))
    assert late.uncovered == (
        Uncovered(SEAL, "none within the deadline", 4.0),
        Uncovered(BEARING, "none within the deadline", 4.0),
    )
    assert (late.status, late.complete) == ("nothing can be had", False)
    more = replace(order, wanted={**order.wanted, "gasket": 1})
    basket = cheapest_basket(more)
    assert basket.uncovered == (Uncovered("gasket", "no offer at all"),)
    assert (dict(basket.packs), basket.proven, basket.complete) == ({0: 1, 1: 1}, True, False)
    maker = cheapest_basket(replace(order, makers_only=frozenset({SEAL, BEARING})))
    assert maker.uncovered == (Uncovered(BEARING, "no offer of the maker's part"),)
    assert dict(maker.packs) == {2: 1}
    left_out = cheapest_basket(replace(order, without=frozenset({"shop", "stockist"})))
    assert {u.why for u in left_out.uncovered} == {"all its suppliers are left out"}
    none_asked = cheapest_basket(replace(order, only={SEAL: frozenset()}))
    assert none_asked.uncovered == (Uncovered(SEAL, "none of the offers asked for"),)


def test_too_few_parcels_and_too_heavy_a_part() -> None:
    three = tuple(Offer(p, s, flat(5.0)) for p, s in ((SEAL, "a"), (BEARING, "a"), ("gasket", "b")))
    order = Order({SEAL: 1, BEARING: 1, "gasket": 1}, three, {"a": ParcelTerms(), "b": ParcelTerms()}, most_parcels=1)
    basket = cheapest_basket(order)
    assert basket.uncovered == (Uncovered("gasket", "over the limit of 1 parcel together with the others"),)
    assert (dict(basket.packs), basket.proven) == ({0: 1, 1: 1}, True)
    heavy = (Offer(SEAL, "a", flat(5.0, weight_kg=3.0)), Offer(BEARING, "a", flat(5.0)))
    basket = cheapest_basket(Order({SEAL: 1, BEARING: 1}, heavy, {"a": ParcelTerms(bands=((2.0, 4.0),))}))
    assert basket.uncovered == (Uncovered(SEAL, "too heavy for one parcel"),)
    assert basket.total == 9.0


def test_out_of_time_is_said_with_the_bound_so_far() -> None:
    costs = table("orlib_cap71_cost.csv")
    fixed = [row[1] for row in table("orlib_cap71_fixed.csv")]
    basket = cheapest_basket(location(costs, fixed), clock=Clock(0.0))
    # a quick machine may prove it all the same before the clock is looked at
    assert basket.status == ("proven" if basket.proven else "out of time")
    assert basket.least - 0.005 <= 932615.75 <= basket.total + 0.005
    short = replace(basket, least=900000.0)
    assert (short.status, short.proven) == ("out of time", False)
    assert short.gap == pytest.approx(basket.total - 900000.0)


def test_line_by_line_looks_at_bare_prices() -> None:
    # 6.00 ex VAT 25 % is 7.50 with it, dearer than 7.00; the pack of 2 at 13 is 6.50 a piece
    offers = (Offer(SEAL, "ex", flat(6.0)), Offer(SEAL, "in", flat(7.0)), Offer(SEAL, "pack", flat(13.0, pack=2)))
    terms = {
        "ex": ParcelTerms(vat_included=False, vat_rate=0.25),
        "in": ParcelTerms(carriage=9.0),
        "pack": ParcelTerms(),
    }
    order = Order({SEAL: 1}, offers[:2], terms)
    assert (dict(line_by_line(order).packs), line_by_line(order).total) == ({1: 1}, 16.0)
    assert dict(line_by_line(replace(order, offers=offers)).packs) == {2: 1}


@settings(max_examples=150)
@given(orders())
def test_small_baskets_are_as_cheap_as_trying_everything(order: Order) -> None:
    basket, plain = cheapest_basket(order), plain_basket.cheapest(order, MOST_PACKS)
    if plain is None:
        assert not basket.complete
        return
    assert basket.complete
    assert basket.proven
    assert basket.total == pytest.approx(plain, abs=CENT)
    assert plain_basket.basket_cost(order, dict(basket.packs)) == pytest.approx(basket.total, abs=1e-8)
    for part, pieces in order.wanted.items():
        had = sum(n * order.offers[i].line.pack for i, n in basket.packs.items() if order.offers[i].part == part)
        assert had >= pieces
    assert all(plain_basket.usable(order, i) for i in basket.packs)
    assert order.most_parcels is None or len(basket.suppliers) <= order.most_parcels


@settings(max_examples=40)
@given(orders())
def test_relaxing_a_wish_never_costs_more(order: Order) -> None:
    basket = cheapest_basket(order)
    if not basket.complete:
        return
    for relaxed in (replace(order, deadline_days=99.0), replace(order, most_parcels=None)):
        assert cheapest_basket(relaxed).total <= basket.total + CENT
    fewer = {part: max(1, pieces - 1) for part, pieces in order.wanted.items()}
    assert cheapest_basket(replace(order, wanted=fewer)).total <= basket.total + CENT


@settings(max_examples=40)
@given(orders(goals=False))
def test_a_cheaper_quote_never_raises_the_total(order: Order) -> None:
    # where no limit of goods and no dearer flat rate can be missed by it
    order = replace(order, border=replace(order.border, flat_duty_rate=None))
    basket = cheapest_basket(order)
    if not basket.complete:
        return
    for i in range(min(2, len(order.offers))):
        offer = order.offers[i]
        cheaper = (*order.offers[:i], replace(offer, line=offer.line.at_factor(0.9)), *order.offers[i + 1 :])
        assert cheapest_basket(replace(order, offers=cheaper)).total <= basket.total + CENT


@settings(max_examples=40)
@given(orders())
def test_other_ways_to_buy_are_no_cheaper(order: Order) -> None:
    best = cheapest_basket(replace(order, most_parcels=None))
    alone = one_supplier(order)
    each = [cheapest_basket(replace(without(order, name), most_parcels=None)) for name in order.suppliers]
    served = [b for b, n in zip(each, order.suppliers, strict=True) if any(o.supplier == n for o in order.offers)]
    if alone is not None and alone.packs:
        assert alone.total >= best.total - CENT or not alone.complete
        assert len(alone.suppliers) == 1
        assert (len(alone.uncovered), alone.total) == min((len(b.uncovered), b.total) for b in served)
    bare = line_by_line(order)
    if bare.complete:
        assert bare.total >= best.total - CENT
        assert len({order.offers[i].part for i in bare.packs}) == len(bare.packs) == len(order.wanted)


def test_price_packs_refuses_what_is_not_sold() -> None:
    with pytest.raises(ValueError, match="under the minimum order"):
        price_packs(two_parts(minimum_order=25.0), {0: 1})
