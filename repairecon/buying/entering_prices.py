"""By how much the price of a quote must fall for it to enter the cheapest basket."""

from __future__ import annotations

import time
from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import pairwise

from repairecon.buying.basket import solve
from repairecon.buying.basket_program import Extra
from repairecon.buying.basket_terms import CENT, Basket, Order
from repairecon.buying.landed import packs_needed
from repairecon.buying.parcel import price_parcel


@dataclass(frozen=True)
class Entry:
    """At which price a quote enters the basket: all its prices times ``factor``.

    It enters at ``quoted`` a pack (the price at the fewest packs) and stays out just above; ``fall`` is how far that is
    under what is asked, 0 for a quote as cheap as those chosen. ``only``: there is no higher price at which it enters.
    ``basket`` is the one it enters, at that price; None with ``proven`` if it does not enter even as a gift.
    """

    offer: int
    factor: float
    quoted: float
    fall: float
    only: bool
    proven: bool
    basket: Basket | None

    @property
    def never(self) -> bool:
        """Whether no price brings it in."""
        return self.proven and self.basket is None


def entering_prices(basket: Basket, offers: Iterable[int] | None = None, seconds: float = 60.0) -> dict[int, Entry]:
    """By how much the price of each quote that was not chosen must fall for it to enter the basket.

    Parameters
    ----------
    basket : Basket
        The cheapest [home money].
    offers : iterable of int or None
        The offers asked about, by index; all that may be bought and were not, if None [-].
    seconds : float
        Time allowed in all [s].

    Returns
    -------
    dict of int to Entry
        By offer [supplier's money a pack].

    Notes
    -----
    The least cost of a basket with a pack or more of the offer rises with its price; the offer enters
    where that cost meets the cheapest total. To begin with the offer is put in the place of those
    chosen for its part, and the price taken at which that basket would cost no more than the cheapest;
    then the program is solved with the offer forced in just above that price (half a cent a pack), and
    again from the basket found, until none with it costs no more. The last step is a proof, so the
    price is one at which the offer enters and just above which it does not. Where its own supplier has
    free carriage, a minimum order or a flat rate dearer than a line's own, a cheaper price can make a
    basket dearer, and a still higher one may do as well (``Entry.only`` is then False); so, too, where
    carriage times duty exceeds the goods. All prices of a line with breaks fall in proportion.

    References
    ----------
    Dinkelbach, Management Science 13 (1967), pp. 492-498 (the root of a least of rising lines, taken
    from the best line each time; from memory).

    Examples
    --------
    >>> from repairecon.buying.basket import Line, Offer, ParcelTerms, cheapest_basket
    >>> offers = (Offer("seal", "stockist", Line(((1, 6.0),))), Offer("seal", "shop", Line(((1, 5.0),))))
    >>> terms = {"stockist": ParcelTerms(), "shop": ParcelTerms(carriage=4.0)}
    >>> abs(entering_prices(cheapest_basket(Order({"seal": 1}, offers, terms)))[1].quoted - 2.0) < 0.005
    True
    """
    began, order = time.perf_counter(), basket.covered_order
    asked = range(len(order.offers)) if offers is None else offers
    found = {}
    for index in asked:
        if order.allows(index) and not basket.packs.get(index):
            found[index] = _entry(basket, order, index, seconds - (time.perf_counter() - began))
    return found


def _at_factor(order: Order, index: int, factor: float) -> Order:
    offer = order.offers[index]
    offers = list(order.offers)
    offers[index] = replace(offer, line=offer.line.at_factor(factor))
    return replace(order, offers=tuple(offers))


def _entry(cheapest: Basket, order: Order, index: int, seconds: float) -> Entry:
    began, offer = time.perf_counter(), order.offers[index]
    asked = offer.line.price(offer.line.minimum_packs)
    step = min(1.0, max(CENT / asked, 1e-3 * CENT)) if asked > 0.0 else 1.0
    target = cheapest.total + 1e-9
    entered = _swapped(cheapest, order, index)
    factor = _highest(entered, order, index, target) if entered else -1.0
    proven = True
    while factor < 1.0:
        trial = 0.0 if factor < 0.0 else min(1.0, factor + step)
        left = seconds - (time.perf_counter() - began)
        # far enough over the target that no noise keeps a basket out
        extra = Extra(forced=index, cost_up_to=target + 1e-5)
        basket = solve(_at_factor(order, index, trial), extra, left)
        proven = basket.proven or basket.status == "nothing can be had"
        root = _highest(basket, order, index, target) if basket.packs and basket.total <= target else -1.0
        if not proven or root <= factor:
            break  # it stays out just above the best factor so far
        factor, entered = root, basket
    entered = replace(entered, order=_at_factor(order, index, factor)) if entered and factor >= 0.0 else None
    factor = max(factor, 0.0)
    return Entry(index, factor, asked * factor, asked * (1.0 - factor), _rises(order, index), proven, entered)


def _swapped(basket: Basket, order: Order, index: int) -> Basket | None:
    """The basket with the part's offers given up for one other, where that is sold."""
    offer = order.offers[index]
    packs = {i: n for i, n in basket.packs.items() if order.offers[i].part != offer.part}
    packs[index] = max(packs_needed(order.wanted[offer.part], offer.line.pack), offer.line.minimum_packs)
    swapped = replace(basket, order=order, packs=packs)
    try:
        parcels = len(swapped.parcels)
    except ValueError:
        return None
    return None if order.most_parcels is not None and parcels > order.most_parcels else swapped


def _rises(order: Order, index: int) -> bool:
    """Whether the cost of any basket with an offer rises with its price throughout."""
    terms, flat = order.suppliers[order.offers[index].supplier], order.border.flat_duty_rate
    mine = [o.line.duty_rate for o in order.offers if o.supplier == order.offers[index].supplier]
    dearer = terms.imported and flat is not None and any(0.0 < rate < flat for rate in mine)
    return terms.free_above is None and terms.minimum_order == 0.0 and not dearer


def _highest(basket: Basket, order: Order, index: int, target: float) -> float:
    """The highest factor up to 1 at which a basket costs no more than the target, or -1; by halving."""
    name = order.offers[index].supplier
    indexes, priced = basket.parcels[name]
    packs = [basket.packs[i] for i in indexes]

    def enters(factor: float) -> bool:
        lines = [order.offers[i].line.at_factor(factor if i == index else 1.0) for i in indexes]
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
