"""Around the cheapest basket: the next best, one supplier alone, line by line, money against days, entering prices."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from itertools import pairwise
from math import ceil, inf

from repairecon.buying.basket import CENT, NO_MORE, Basket, BasketRows, Clock, Extra, Order, cheapest_basket
from repairecon.buying.parcel import price_parcel
from repairecon.records import grouped

Search = Callable[[Order, Clock | None, Extra], Basket]
"""A way to look for a basket: :func:`cheapest_basket`, or one that is quick."""
_A_PART = 3
"""Offers of each part that a quick basket chooses from."""


def second_best(basket: Basket, clock: Clock | None = None, search: Search = cheapest_basket) -> Basket:
    """The cheapest basket without at least one of the offers bought."""
    return search(basket.covered_order, clock, Extra(not_all_of=frozenset(basket.packs)))


def goods_cost(order: Order, index: int) -> float:
    """The pieces wanted at an offer's price with tax, duty and carriage left out [home money]."""
    offer = order.offers[index]
    line, terms = offer.line, order.suppliers[offer.supplier]
    packs = line.packs_for(order.wanted[offer.part])
    tax = order.border.home_vat_rate if terms.imported else terms.vat_rate
    return packs * line.price(packs) * (1.0 - terms.discount_rate) * terms.net * (1.0 + tax)


def few_offers(order: Order, each: int, kept: Iterable[int] = ()) -> Order:
    """The order with so many offers of each part whose goods cost least, and those ``kept`` whatever they cost."""
    kept, some = frozenset(kept), {}
    for part, mine in grouped(order.usable, order.part_of).items():
        some[part] = frozenset(sorted(mine, key=lambda i: goods_cost(order, i))[:each]) | (kept & frozenset(mine))
    return replace(order, only={**order.only, **some})


def quick_basket(order: Order, clock: Clock | None = None, extra: Extra = NO_MORE, kept: Iterable[int] = ()) -> Basket:
    """A basket of the few offers of each part with the cheapest goods, its gap by the relaxation over all offers.

    It takes about a fifth of the time of the cheapest basket of an order with a dozen offers a part and is seldom more
    than half a per cent dearer; the program without whole numbers gives a bound at once. ``kept`` offers stay in
    whatever they cost.
    """
    clock, some = clock or Clock(), few_offers(order, _A_PART, kept)
    found = cheapest_basket(some, clock, extra)
    if found.packs and len(order.usable) > len(some.usable):
        return replace(found, order=order, least=BasketRows(order, extra).relaxed(clock.left))
    return replace(found, order=order)


def one_supplier(order: Order, clock: Clock | None = None) -> Basket | None:
    """The cheapest basket from one supplier alone, of those that have most of the parts.

    It names what it lacks; None where nobody has anything.
    """
    clock, offered = clock or Clock(), grouped(order.usable, order.supplier_of)
    has = {name: set(map(order.part_of, offered[name])) for name in order.suppliers if name in offered}
    best: Basket | None = None
    for name in sorted(has, key=lambda name: -len(has[name])):
        # what a supplier does not offer it lacks at least: the rest need no search
        if best and len(order.wanted) - len(has[name]) > len(best.uncovered):
            break
        others = frozenset(order.suppliers) - {name}
        found = cheapest_basket(replace(order, without=others, most_parcels=None), clock)
        if best is None or (len(found.uncovered), found.total) < (len(best.uncovered), best.total):
            best = found
    return replace(best, least=-inf) if best and clock.left <= 0.0 else best


def line_by_line(order: Order, clock: Clock | None = None) -> Basket:
    """The basket of each part's cheapest bare price a piece, and what it comes to with all charges.

    Bare price: quoted for the packs needed, after discount, in home money with the supplier's VAT, a piece; carriage,
    duty and all else left out. Of equal ones the first; any number of parcels.
    """

    def bare(i: int) -> float:
        line, terms = order.offers[i].line, order.suppliers[order.supplier_of(i)]
        price = line.price(line.packs_for(order.wanted[order.part_of(i)]))
        tax = 1.0 if order.border.vat_back else 1.0 + terms.vat_rate
        return price * (1.0 - terms.discount_rate) / line.pack * terms.net * tax

    best = {part: frozenset({min(mine, key=bare)}) for part, mine in grouped(order.usable, order.part_of).items()}
    return cheapest_basket(replace(order, only={**order.only, **best}, most_parcels=None), clock)


def frontier(
    order: Order, clock: Clock | None = None, cheapest: Basket | None = None, most: float = inf
) -> list[Basket]:
    """Money against days: the cheapest basket for each deadline, the dominated ones left out.

    The deadline is set just under the days of the basket before, from the cheapest on, until none is left by which each
    part has an offer; a basket that costs no less than a sooner one is left out. Parts that cannot be had at all are
    left out of all. The soonest and dearest comes first; each deadline that is left has an equal share of the time.
    With ``most`` deadlines at most these lie evenly, the soonest among them, and the baskets are quick ones. Haimes,
    Lasdon, Wismer, IEEE Transactions on Systems, Man, and Cybernetics SMC-1 (1971), pp. 296-297 (one aim as a limit,
    swept; from memory).
    """
    clock = clock or Clock()
    basket = cheapest or cheapest_basket(order, clock)
    order, lacking, found = replace(basket, order=order).covered_order, basket.uncovered, list[Basket]()
    basket, soonest, kept = replace(basket, uncovered=()), soonest_possible(order), set[int]()
    while basket.complete:
        if found and found[-1].total >= basket.total - CENT:
            found.pop()
        found.append(replace(basket, uncovered=lacking))
        kept |= set(basket.packs)
        days = sorted({d for i in order.usable if soonest <= (d := order.offers[i].days) < basket.days})
        if not days or most < 1.0 or clock.left <= 0.0:
            break
        searches = min(most, len(days))
        within = replace(order, deadline_days=days[-ceil(len(days) / searches)])
        part = clock.part(1.0 / searches)
        basket = quick_basket(within, part, kept=kept) if most < inf else cheapest_basket(within, part)
        most -= 1.0
    return found[::-1]


def soonest_possible(order: Order) -> float:
    """No basket of all parts is there sooner: the longest of each part's shortest days [day]."""
    soonest: dict[str, float] = {}
    for offer in (order.offers[i] for i in order.usable):
        soonest[offer.part] = min(offer.days, soonest.get(offer.part, inf))
    return max(soonest.values(), default=0.0)


@dataclass(frozen=True)
class Entry:
    """At which price a quote enters the basket: all its prices times ``factor``, 1 for one as cheap as those chosen.

    It enters at ``quoted`` a pack (the price at the fewest packs, supplier's money); with ``proven`` it stays out just
    above. ``basket`` is the one it enters, at that price; None with ``proven`` if it does not enter even as a gift.
    """

    factor: float
    quoted: float
    proven: bool
    basket: Basket | None


def entering_prices(
    basket: Basket, offers: Iterable[int] | None = None, clock: Clock | None = None
) -> dict[int, Entry]:
    """By how much the price of each quote that was not chosen must fall for it to enter the basket.

    The least cost of a basket with a pack or more of the offer rises with its price; the offer enters where that cost
    meets the cheapest total. To begin with each is put in the place of those chosen for its part, and the price taken
    at which that basket would cost no more than the cheapest: there it enters for sure. Then, as far as the time goes,
    the program is solved with the offer forced in just above that price (half a cent a pack), and again from the basket
    found, until none with it costs no more: a proof that it stays out above. Where its own supplier has free carriage,
    a minimum order or a flat rate dearer than a line's own, a cheaper price can make a basket dearer, and a still
    higher one may do as well; so, too, where carriage times duty exceeds the goods. All prices of a line with breaks
    fall in proportion. ``offers`` are asked about, by index, in the order in which they shall be proven (None: all).

    Dinkelbach, Management Science 13 (1967), pp. 492-498 (the root of a least of rising lines, taken from the best line
    each time; from memory).
    """
    clock, order = clock or Clock(), basket.covered_order
    asked = order.usable if offers is None else offers
    open_ = [i for i in asked if order.allows(i) and not basket.packs.get(i)]
    return {i: _entry(replace(basket, order=order), i, clock) for i in open_}


def _entry(chosen: Basket, index: int, clock: Clock) -> Entry:
    order, target = chosen.order, chosen.total + 1e-9
    line = order.offers[index].line
    # to begin with in the place of those chosen for its part; -1 where no basket with it costs no more
    packs = {i: n for i, n in chosen.packs.items() if order.part_of(i) != order.part_of(index)}
    entered = Basket(order, packs | {index: line.packs_for(order.wanted[order.part_of(index)])})
    try:
        few = order.most_parcels is None or len(entered.parcels) <= order.most_parcels
        factor = _highest(entered, order, index, target) if few else -1.0
    except ValueError:  # not sold so
        factor = -1.0
    asked = line.price(line.minimum_packs)
    step = min(1.0, max(CENT / asked, 1e-3 * CENT)) if asked > 0.0 else 1.0
    proven = factor >= 1.0
    while factor < 1.0 and clock.left > 0.0:
        trial = 0.0 if factor < 0.0 else min(1.0, factor + step)
        # far enough over the target that no noise keeps a basket out
        extra = Extra(forced=index, cost_up_to=target + 1e-5)
        basket = cheapest_basket(_at_factor(order, index, trial), clock, extra)
        proven = basket.proven or basket.status == "nothing can be had"
        root = _highest(basket, order, index, target) if basket.packs and basket.total <= target else -1.0
        if not proven or root <= factor:
            break  # it stays out just above the best factor so far
        factor, entered, proven = root, basket, root >= 1.0
    enters = replace(entered, order=_at_factor(order, index, factor)) if factor >= 0.0 else None
    factor = max(factor, 0.0)
    return Entry(factor, asked * factor, proven=proven, basket=enters)


def _at_factor(order: Order, index: int, factor: float) -> Order:
    offer = replace(order.offers[index], line=order.offers[index].line.at_factor(factor))
    return replace(order, offers=(*order.offers[:index], offer, *order.offers[index + 1 :]))


def _highest(basket: Basket, order: Order, index: int, target: float) -> float:
    """The highest factor up to 1 at which a basket costs no more than the target, or -1; by halving."""
    name = order.offers[index].supplier
    indexes, priced = basket.parcels[name]
    lines, packs = [order.offers[i].line for i in indexes], [basket.packs[i] for i in indexes]
    place, own = indexes.index(index), order.offers[index].line

    def enters(factor: float) -> bool:
        lines[place] = own.at_factor(factor)
        try:
            parcel = price_parcel(order.suppliers[name], lines, packs, order.border)
        except ValueError:  # under the minimum order
            return False
        return basket.total - priced.total + parcel.total <= target

    if enters(1.0):
        return 1.0
    # free carriage and the like can be lost as the price falls, so the highest is looked for from the top
    points = [k / 64 for k in range(64, -1, -1)]
    for high, low in pairwise(points):
        if enters(low):
            for _ in range(45):
                middle = 0.5 * (low + high)
                low, high = (middle, high) if enters(middle) else (low, middle)
            return low
    return -1.0
