"""Around the cheapest basket: the next best, the soonest, and money against days."""

from __future__ import annotations

import time
from dataclasses import replace

from repairecon.buying.basket import solve
from repairecon.buying.basket_program import Extra
from repairecon.buying.basket_terms import CENT, Basket, Order


def second_best(basket: Basket, differ: str = "offers", seconds: float = 60.0) -> Basket:
    """The cheapest basket that is another one.

    Parameters
    ----------
    basket : Basket
        The cheapest [home money].
    differ : str
        "offers": at least one of the offers bought is not bought. "suppliers": another set of suppliers.
    seconds : float
        Time allowed [s].

    Returns
    -------
    Basket
        Its total less that of the cheapest is what it costs more [home money].

    Notes
    -----
    The same program with one more row. With "offers" the cheapest basket with something added is no other basket.

    References
    ----------
    As :func:`basket.cheapest_basket`.

    Examples
    --------
    >>> from repairecon.buying.basket import Line, Offer, ParcelTerms, cheapest_basket
    >>> offers = (Offer("seal", "stockist", Line(((1, 6.0),))), Offer("seal", "shop", Line(((1, 5.0),))))
    >>> best = cheapest_basket(Order({"seal": 1}, offers, {"stockist": ParcelTerms(), "shop": ParcelTerms()}))
    >>> second_best(best).total - best.total
    1.0
    """
    if differ not in ("offers", "suppliers"):
        raise ValueError(f"baskets differ by offers or by suppliers, not by {differ}")
    extra = Extra(not_all_of=frozenset(basket.packs))
    if differ == "suppliers":
        extra = Extra(other_than=frozenset(basket.suppliers))
    return solve(basket.covered_order, extra, seconds)


def frontier(order: Order, seconds: float = 60.0) -> list[Basket]:
    """Money against days: the cheapest basket for each deadline, the dominated ones left out.

    Parameters
    ----------
    order : Order
        What is wanted and offered [pieces; supplier's and home money].
    seconds : float
        Time allowed in all [s].

    Returns
    -------
    list of Basket
        The soonest and dearest first, the cheapest last [days; home money].

    Notes
    -----
    The deadline is set just under the days of the basket before, from the cheapest on, until some part
    can no longer be had; a basket that costs no less than a sooner one is left out. Parts that cannot
    be had at all are left out of all. The first is the soonest basket, at least cost.

    References
    ----------
    Haimes, Lasdon, Wismer, IEEE Transactions on Systems, Man, and Cybernetics SMC-1 (1971), pp. 296-297
    (one aim as a limit, swept; from memory).

    Examples
    --------
    >>> from repairecon.buying.basket import Line, Offer, ParcelTerms
    >>> near = Offer("seal", "shop", Line(((1, 9.0),)), days=1)
    >>> far = Offer("seal", "stockist", Line(((1, 6.0),)), days=5)
    >>> points = frontier(Order({"seal": 1}, (near, far), {"shop": ParcelTerms(), "stockist": ParcelTerms()}))
    >>> [(b.days, b.total) for b in points]
    [(1, 9.0), (5, 6.0)]
    """
    began, found = time.perf_counter(), list[Basket]()
    basket = solve(order, Extra(), seconds)
    lacking = {u.part for u in basket.uncovered}
    wanted = {part: pieces for part, pieces in order.wanted.items() if part not in lacking}
    while basket.packs and {u.part for u in basket.uncovered} <= lacking:
        if found and found[-1].total >= basket.total - CENT:
            found.pop()
        found.append(basket)
        days = [o.days for i, o in enumerate(order.offers) if order.allows(i) and o.days < basket.days]
        left = seconds - (time.perf_counter() - began)
        if not days or left <= 0.0:
            break
        basket = solve(replace(order, wanted=wanted, deadline_days=max(days)), Extra(), left)
        basket = replace(basket, uncovered=(*found[0].uncovered, *basket.uncovered))
    return found[::-1]


def soonest(order: Order, seconds: float = 60.0) -> Basket:
    """The basket that is there soonest, and of these the cheapest.

    Parameters
    ----------
    order : Order
        What is wanted and offered [pieces; supplier's and home money].
    seconds : float
        Time allowed for the search [s].

    Returns
    -------
    Basket
        With every part that can be had at all [days; home money].

    Notes
    -----
    By halving the list of lead times: the least deadline at which as many parts can be had as without
    one; then the cheapest basket within it.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> from repairecon.buying.basket import Line, Offer, ParcelTerms
    >>> near = Offer("seal", "shop", Line(((1, 9.0),)), days=1)
    >>> far = Offer("seal", "stockist", Line(((1, 6.0),)), days=5)
    >>> soonest(Order({"seal": 1}, (near, far), {"shop": ParcelTerms(), "stockist": ParcelTerms()})).total
    9.0
    """
    best = solve(order, Extra(), seconds)
    days = sorted({o.days for i, o in enumerate(order.offers) if order.allows(i) and o.days <= best.days})
    low, high = 0, len(days) - 1
    while low < high:
        middle = (low + high) // 2
        basket = solve(replace(order, deadline_days=days[middle]), Extra(), seconds)
        if basket.packs and len(basket.uncovered) <= len(best.uncovered):
            best, high = basket, middle
        else:
            low = middle + 1
    return best
