"""The basket over all suppliers that covers every part at least landed cost, and the proof of it."""

from __future__ import annotations

import time
from collections.abc import Iterable
from dataclasses import replace
from math import inf

from repairecon.buying.basket_program import BasketRows, Extra
from repairecon.buying.basket_terms import CENT, Basket, Offer, Order, Uncovered, price_packs
from repairecon.buying.parcel import Border, Line, ParcelTerms

__all__ = [
    "Basket",
    "Border",
    "Line",
    "Offer",
    "Order",
    "ParcelTerms",
    "Uncovered",
    "cheapest_basket",
    "line_by_line",
    "price_packs",
    "single_suppliers",
    "why_not",
]

_ROUNDS = 12


def cheapest_basket(order: Order, seconds: float = 60.0) -> Basket:
    """The basket of least landed cost that covers every part, with proof.

    Parameters
    ----------
    order : Order
        What is wanted and offered [pieces; supplier's and home money].
    seconds : float
        Time allowed [s].

    Returns
    -------
    Basket
        What to buy, what it costs, and the bound under which no basket lies [home money].

    Notes
    -----
    A mixed-integer program, exact for: fixed carriage or weight bands, free carriage, minimum order, whole
    packs, minimum packs, breaks for all packs of a line, thresholds of duty and VAT by the whole
    consignment, the traveller's allowance, most parcels, deadline. More may be bought than is wanted
    where that reaches free carriage, a break or a minimum order. Duty on carriage shared by value is
    the one charge that is not linear: it is held from below, and the program is refined until the
    basket priced parcel by parcel lies within half a cent of the bound.

    Parts without a usable offer are left out and named; if the rest cannot be had together (most
    parcels, weights), as many parts as possible are covered, the others named. Past the time allowed the
    best basket so far is given with its gap.

    References
    ----------
    Nemhauser, Wolsey, Integer and Combinatorial Optimization, 1988, ch. II.1 (strong formulations of
    fixed charges; the chapter from memory); McCormick, Mathematical Programming 10 (1976), pp. 147-175
    (product of two variables held from below; from memory).

    Examples
    --------
    >>> seal, bearing = Line(((1, 6.0),)), Line(((1, 14.0),))
    >>> offers = (Offer("seal", "stockist", seal), Offer("bearing", "stockist", bearing), Offer("seal", "shop", seal))
    >>> terms = {"stockist": ParcelTerms(carriage=8.5, free_above=25.0), "shop": ParcelTerms()}
    >>> basket = cheapest_basket(Order({"seal": 1, "bearing": 1}, offers, terms))
    >>> basket.total, dict(basket.packs), basket.proven
    (26.0, {0: 2, 1: 1}, True)
    """
    return solve(order, Extra(), seconds)


def solve(order: Order, extra: Extra, seconds: float) -> Basket:
    """The cheapest basket of which something more is asked.

    Parameters
    ----------
    order : Order
        What is wanted and offered [pieces; supplier's and home money].
    extra : Extra
        What is asked besides [-].
    seconds : float
        Time allowed [s].

    Returns
    -------
    Basket
        As :func:`cheapest_basket` [home money].

    Notes
    -----
    See :func:`cheapest_basket`.

    References
    ----------
    As :func:`cheapest_basket`.
    """
    began = time.perf_counter()
    usable = [i for i in range(len(order.offers)) if order.allows(i)]
    absent = tuple(_absent(order, usable))
    basket = _refined(order, usable, extra, began, seconds, absent)
    if basket.status != "nothing can be had" or not usable or extra != Extra():
        return basket
    missing = _over_the_limits(order, usable, began, seconds)
    left = [i for i in usable if order.offers[i].part not in {m.part for m in missing}]
    return _refined(order, left, extra, began, seconds, absent + missing)


def _refined(
    order: Order, usable: list[int], extra: Extra, began: float, seconds: float, absent: tuple[Uncovered, ...]
) -> Basket:
    cuts: dict[str, tuple[float, ...]] = {}
    best, least, width = Basket(order, {}, -inf, 0.0, absent), -inf, 0.25
    for _ in range(_ROUNDS):
        rows = BasketRows(order, usable, extra, cuts)
        found, packs = rows.solve(seconds - (time.perf_counter() - began))
        least = max(least, found.bound)
        new = _priced(order, packs, absent)
        if packs and new is None:  # a limit missed by a hair: keep clear of it
            _, packs = BasketRows(order, usable, replace(extra, margin=2e-3), cuts).solve(1.0)
            new = _priced(order, packs, absent)
        if new is not None and new.total < best.total:
            best = new
        finer = rows.finer(packs, width)
        if best.total - least < CENT or finer == cuts or found.impossible or time.perf_counter() - began > seconds:
            break
        cuts, width = finer, width / 3.0
    return replace(best, least=least, seconds=time.perf_counter() - began)


def _priced(order: Order, packs: dict[int, int], absent: tuple[Uncovered, ...]) -> Basket | None:
    basket = Basket(order, packs, -inf, 0.0, absent)
    try:
        return basket if basket.total < inf else None
    except ValueError:
        return None


def _absent(order: Order, usable: Iterable[int]) -> Iterable[Uncovered]:
    """Parts without a usable offer, and why."""
    served = {order.offers[i].part for i in usable}
    for part in order.wanted:
        if part not in served:
            yield why_not(order, part)


def why_not(order: Order, part: str) -> Uncovered:
    """Why a part has no offer that may be bought.

    Parameters
    ----------
    order : Order
        What is wanted and offered [pieces].
    part : str
        The part.

    Returns
    -------
    Uncovered
        The part and the reason; with the soonest it could come if the deadline is the reason [days].

    Notes
    -----
    The wishes are gone through in turn: the first that leaves no offer is the reason told.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> offer = Offer("seal", "stockist", Line(((1, 6.0),)), days=9.0)
    >>> why_not(Order({"seal": 1}, (offer,), {"stockist": ParcelTerms()}, deadline_days=5.0), "seal")
    Uncovered(part='seal', why='none within the deadline', days=9.0)
    """
    offers = [i for i, offer in enumerate(order.offers) if offer.part == part]
    if not offers:
        return Uncovered(part, "no offer at all")
    offers = [i for i in offers if order.offers[i].supplier not in order.without]
    if not offers:
        return Uncovered(part, "all its suppliers are left out")
    if part in order.makers_only:
        offers = [i for i in offers if order.offers[i].makers]
        if not offers:
            return Uncovered(part, "no offer of the maker's part")
    offers = [i for i in offers if part not in order.only or i in order.only[part]]
    if not offers:
        return Uncovered(part, "none of the offers asked for")
    return Uncovered(part, "none within the deadline", min(order.offers[i].days for i in offers))


def _over_the_limits(order: Order, usable: list[int], began: float, seconds: float) -> tuple[Uncovered, ...]:
    """The fewest parts that must be left out so that the others can be had, and why."""
    rows = BasketRows(order, usable, Extra(may_miss=True))
    found, _ = rows.solve(seconds - (time.perf_counter() - began))
    if found.point is None:
        return tuple(Uncovered(part, "not found in time") for part in rows.missed)
    missed = [part for part, column in rows.missed.items() if found.point[column] > 0.5]
    free = BasketRows(replace(order, most_parcels=None), usable, Extra(may_miss=True))
    without, _ = free.solve(seconds - (time.perf_counter() - began))
    alone = {p for p, c in free.missed.items() if without.point is not None and without.point[c] > 0.5}
    many = "1 parcel" if order.most_parcels == 1 else f"{order.most_parcels} parcels"
    too_many = f"over the limit of {many} together with the others"
    return tuple(Uncovered(p, "too heavy for one parcel" if p in alone else too_many) for p in missed)


def single_suppliers(order: Order, seconds: float = 60.0) -> dict[str, Basket]:
    """The cheapest basket from each supplier alone.

    Parameters
    ----------
    order : Order
        What is wanted and offered [pieces; supplier's and home money].
    seconds : float
        Time allowed for each [s].

    Returns
    -------
    dict of str to Basket
        By supplier, the complete ones first and these by total; the others name what they lack [home money].

    Notes
    -----
    As :func:`cheapest_basket` with all other suppliers left out.

    References
    ----------
    As :func:`cheapest_basket`.

    Examples
    --------
    >>> offers = (Offer("seal", "stockist", Line(((1, 6.0),))), Offer("seal", "shop", Line(((1, 5.0),))))
    >>> order = Order({"seal": 1}, offers, {"stockist": ParcelTerms(), "shop": ParcelTerms(carriage=4.0)})
    >>> [(name, b.total) for name, b in single_suppliers(order).items()]
    [('stockist', 6.0), ('shop', 9.0)]
    """
    names = [name for name in order.suppliers if name not in order.without]
    found = {
        name: cheapest_basket(replace(order, without=frozenset(order.suppliers) - {name}, most_parcels=None), seconds)
        for name in names
        if any(offer.supplier == name for offer in order.offers)
    }
    return dict(sorted(found.items(), key=lambda entry: (not entry[1].complete, entry[1].total)))


def line_by_line(order: Order, seconds: float = 60.0) -> Basket:
    """The basket of each part's cheapest bare price a piece, and what it comes to with all charges.

    Parameters
    ----------
    order : Order
        What is wanted and offered [pieces; supplier's and home money].
    seconds : float
        Time allowed [s].

    Returns
    -------
    Basket
        Those offers alone, in the cheapest packs, any number of parcels [home money].

    Notes
    -----
    Bare price: quoted for the packs needed, after discount, in home money with the supplier's VAT, a
    piece; carriage, duty and all else left out. Of equal ones the first.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> offers = (Offer("seal", "stockist", Line(((1, 6.0),))), Offer("seal", "shop", Line(((1, 5.0),))))
    >>> order = Order({"seal": 1}, offers, {"stockist": ParcelTerms(), "shop": ParcelTerms(carriage=4.0)})
    >>> line_by_line(order).total
    9.0
    """
    best: dict[str, tuple[float, int]] = {}
    for i, offer in enumerate(order.offers):
        if order.allows(i):
            line, terms = offer.line, order.suppliers[offer.supplier]
            packs = max(line.minimum_packs, -(-order.wanted[offer.part] // line.pack))
            bare = line.price(packs) * (1.0 - terms.discount_rate) / line.pack * terms.net
            bare *= 1.0 if order.border.vat_back else 1.0 + terms.vat_rate
            if offer.part not in best or bare < best[offer.part][0]:
                best[offer.part] = (bare, i)
    only = {part: frozenset({i}) for part, (_, i) in best.items()}
    return cheapest_basket(replace(order, only={**order.only, **only}, most_parcels=None), seconds)
