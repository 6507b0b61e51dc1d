"""The basket over all suppliers that covers every part at least landed cost, and the proof of it."""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from math import inf

from repairecon.buying.parcel import Border, LandedParcel, Line, ParcelTerms, price_parcel
from repairecon.buying.parcel_program import Level, ParcelRows
from repairecon.formulas.integer_program import Found, Program

CENT = 0.005
"""Half a cent: two totals nearer than this are the same."""

_ROUNDS = 12

Packs = Mapping[int, int]
"""Packs of each offer bought, by its index in the order."""


@dataclass(frozen=True)
class Offer:
    """One supplier's line for one part; ``makers`` for the maker's own part."""

    part: str
    supplier: str
    line: Line
    days: float = 0.0
    makers: bool = False


@dataclass(frozen=True)
class Order:
    """Pieces wanted of each part, the offers, the suppliers' terms, and the owner's wishes.

    ``makers_only``: parts that must be the maker's own. ``only``: offers (by index) that alone may serve a part.
    A supplier sends one parcel.
    """

    wanted: Mapping[str, int]
    offers: tuple[Offer, ...]
    suppliers: Mapping[str, ParcelTerms]
    border: Border = field(default_factory=Border)
    deadline_days: float = inf
    most_parcels: int | None = None
    without: frozenset[str] = frozenset()
    makers_only: frozenset[str] = frozenset()
    only: Mapping[str, frozenset[int]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        unknown = {o.supplier for o in self.offers} - set(self.suppliers)
        if unknown:
            raise ValueError(f"no terms for {', '.join(sorted(unknown))}")
        if any(pieces < 1 for pieces in self.wanted.values()):
            raise ValueError("want at least 1 piece of each part")

    def usable(self) -> list[int]:
        """The offers that may be bought, by index."""
        return [i for i in range(len(self.offers)) if self.allows(i)]

    def allows(self, index: int) -> bool:
        """Whether an offer may be bought at all."""
        offer = self.offers[index]
        return (
            offer.part in self.wanted
            and offer.supplier not in self.without
            and offer.days <= self.deadline_days
            and (offer.makers or offer.part not in self.makers_only)
            and (offer.part not in self.only or index in self.only[offer.part])
        )


@dataclass(frozen=True)
class Uncovered:
    """A part that cannot be had as asked, and why; ``days`` is the soonest it could come where the deadline is why."""

    part: str
    why: str
    days: float | None = None


@dataclass(frozen=True)
class Basket:
    """What to buy: packs of each offer bought (by its index in the order).

    ``total`` is priced parcel by parcel. No basket costs less than ``least`` as asked; ``gap`` is what lies between,
    ``proven`` that it is under half a cent. ``status``: "proven", "out of time" or "nothing can be had".
    ``uncovered`` parts are left out of the basket.
    """

    order: Order
    packs: Packs
    least: float = -inf
    seconds: float = 0.0
    uncovered: tuple[Uncovered, ...] = ()

    @cached_property
    def parcels(self) -> dict[str, tuple[tuple[int, ...], LandedParcel]]:
        """For each supplier the offers bought there and the parcel they make, line by line in the same order."""
        return price_packs(self.order, self.packs)

    @cached_property
    def total(self) -> float:
        """Landed cost of all parcels; infinite if nothing was found."""
        return sum((parcel.total for _, parcel in self.parcels.values()), 0.0) if self.packs else inf

    @property
    def gap(self) -> float:
        """By how much a cheaper basket could still cost less."""
        return max(0.0, self.total - self.least) if self.packs else inf

    @property
    def proven(self) -> bool:
        """Whether no basket is cheaper by half a cent or more."""
        return bool(self.packs) and self.gap < CENT

    @property
    def status(self) -> str:
        """In one word or two."""
        if not self.packs:
            return "nothing can be had" if self.least == inf else "out of time"
        return "proven" if self.proven else "out of time"

    @property
    def complete(self) -> bool:
        """Whether every part wanted is in it."""
        return bool(self.packs) and not self.uncovered

    @property
    def covered_order(self) -> Order:
        """The order over the parts that are in it."""
        lacking = {u.part for u in self.uncovered}
        return replace(self.order, wanted={p: n for p, n in self.order.wanted.items() if p not in lacking})

    @property
    def suppliers(self) -> tuple[str, ...]:
        """Who sends a parcel."""
        return tuple(self.parcels)

    @property
    def days(self) -> float:
        """Days until the last parcel is there."""
        return max((self.order.offers[i].days for i in self.packs), default=0.0)


def price_packs(order: Order, packs: Packs) -> dict[str, tuple[tuple[int, ...], LandedParcel]]:
    """The parcels of a choice of packs by supplier, each with its offers, priced by :func:`parcel.price_parcel`."""
    by_supplier: dict[str, list[int]] = {}
    for index in sorted(i for i, n in packs.items() if n > 0):
        by_supplier.setdefault(order.offers[index].supplier, []).append(index)
    made = {}
    for name, mine in by_supplier.items():
        lines, counts = [order.offers[i].line for i in mine], [packs[i] for i in mine]
        made[name] = (tuple(mine), price_parcel(order.suppliers[name], lines, counts, order.border))
    return made


@dataclass(frozen=True)
class Extra:
    """What is asked besides: an offer that must be in, one of these left out, a limit of cost."""

    forced: int | None = None
    not_all_of: frozenset[int] = frozenset()
    cost_up_to: float = inf
    may_miss: bool = False
    margin: float = 0.0


NO_MORE = Extra()


@dataclass
class BasketRows:
    """The program of an order over the offers that may be bought, the intervals of value cut as given."""

    order: Order
    usable: Sequence[int]
    extra: Extra = NO_MORE
    cuts: Mapping[str, tuple[float, ...]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.program, order = Program(), self.order
        self.parcels: dict[str, ParcelRows] = {}
        by_supplier: dict[str, list[int]] = {}
        for i in self.usable:
            by_supplier.setdefault(order.offers[i].supplier, []).append(i)
        for name, mine in by_supplier.items():
            lines = {i: (order.offers[i].line, order.wanted[order.offers[i].part]) for i in mine}
            terms, cuts = order.suppliers[name], self.cuts.get(name, ())
            self.parcels[name] = ParcelRows(self.program, terms, order.border, lines, cuts, self.extra.margin)
        self.levels: dict[int, list[Level]] = {}
        for parcel in self.parcels.values():
            for level in parcel.levels:
                self.levels.setdefault(level.offer, []).append(level)
        self._cover()
        self._wishes()

    def _cover(self) -> None:
        program, self.missed = self.program, dict[str, int]()
        by_part: dict[str, list[int]] = {}
        for i in self.usable:
            by_part.setdefault(self.order.offers[i].part, []).append(i)
        for part, offers in by_part.items():
            pieces = self.order.wanted[part]
            # a pack brings no more than what is wanted: so the relaxation cannot cover a part by a third of a pack
            terms = [
                (level.useful, float(min(self.order.offers[i].line.pack, pieces)))
                for i in offers
                for level in self.levels[i]
            ]
            if self.extra.may_miss:
                self.missed[part] = program.column(upper=1.0, whole=True)
                terms.append((self.missed[part], float(pieces)))
            program.row(terms, low=float(pieces))
        if self.extra.may_miss:  # how many are missed counts then, not what the others cost
            program.cost = [0.0] * len(program.cost)
            for column in self.missed.values():
                program.cost[column] = 1.0

    def _wishes(self) -> None:
        program, extra = self.program, self.extra
        used = {name: parcel.used for name, parcel in self.parcels.items()}
        if self.order.most_parcels is not None:
            program.row([(c, 1.0) for c in used.values()], high=float(self.order.most_parcels))
        if extra.forced is not None:
            program.row([t for level in self.levels[extra.forced] for t in level.packs], low=1.0)
        if extra.not_all_of:
            bought = []
            for i in extra.not_all_of & set(self.levels):
                bought.append((program.column(upper=1.0, whole=True), 1.0))
                for level in self.levels[i]:
                    for column, _ in level.packs:
                        program.row([(column, 1.0), (bought[-1][0], -float(level.stop))], high=0.0)
            program.row(bought, high=float(len(extra.not_all_of) - 1))
        if extra.cost_up_to < inf:
            program.row(enumerate(program.cost), high=extra.cost_up_to)

    def solve(self, seconds: float) -> tuple[Found, dict[int, int]]:
        """The point found, and the packs that it means."""
        found = self.program.solve(seconds) if self.usable else Found(None, inf, True)
        if found.point is None:
            return found, {}
        counts = {
            i: sum(int(found.point[c] + 0.5) for level in levels for c, _ in level.packs)
            for i, levels in self.levels.items()
        }
        return found, {i: n for i, n in counts.items() if n > 0}

    def finer(self, packs: Packs, width: float) -> dict[str, tuple[float, ...]]:
        """The cuts with new ones at the value of each parcel of a basket, and on both sides of it."""
        made = {name: set(points) for name, points in self.cuts.items()}
        for name, parcel in self.parcels.items():
            if not parcel.terms.imported or parcel.excess < 0:
                continue
            net, keep = parcel.terms.net, 1.0 - parcel.terms.discount_rate
            value = 0.0
            for i in set(packs) & {level.offer for level in parcel.levels}:
                line = self.order.offers[i].line
                value += net * packs[i] * (line.price(packs[i]) * keep + line.core * line.pack)
            if value > 0.0:
                near = {value / (1.0 + width), value, value * (1.0 + width)}
                made.setdefault(name, set()).update(p for p in near if 1e-6 < p < parcel.most_value - 1e-6)
        return {name: tuple(sorted(points)) for name, points in made.items()}


def cheapest_basket(order: Order, seconds: float = 60.0, extra: Extra = NO_MORE) -> Basket:
    """The basket of least landed cost that covers every part, with proof.

    A mixed-integer program, exact for: fixed carriage or weight bands, free carriage, minimum order, whole packs,
    minimum packs, breaks for all packs of a line, thresholds of duty and VAT by the whole consignment, the traveller's
    allowance, most parcels, deadline. More may be bought than is wanted where that reaches free carriage, a break or a
    minimum order. Duty on carriage shared by value is the one charge that is not linear: it is held from below, and the
    program is refined until the basket priced parcel by parcel lies within half a cent of the bound.

    Parts without a usable offer are left out and named; if the rest cannot be had together (most parcels, weights), as
    many parts as possible are covered, the others named. Past the time allowed [s] the best basket so far is given
    with its gap.

    Nemhauser, Wolsey, Integer and Combinatorial Optimization, 1988, ch. II.1 (strong formulations of fixed charges; the
    chapter from memory); McCormick, Mathematical Programming 10 (1976), pp. 147-175 (product of two variables held from
    below; from memory).

    >>> from repairecon.buying.basket import Offer, Order
    >>> from repairecon.buying.parcel import Line, ParcelTerms
    >>> seal, bearing = Line(((1, 6.0),)), Line(((1, 14.0),))
    >>> offers = (Offer("seal", "stockist", seal), Offer("bearing", "stockist", bearing), Offer("seal", "shop", seal))
    >>> terms = {"stockist": ParcelTerms(carriage=8.5, free_above=25.0), "shop": ParcelTerms()}
    >>> basket = cheapest_basket(Order({"seal": 1, "bearing": 1}, offers, terms))
    >>> basket.total, dict(basket.packs), basket.proven
    (26.0, {0: 2, 1: 1}, True)
    """
    began = time.perf_counter()
    usable = order.usable()
    served = {order.offers[i].part for i in usable}
    absent = tuple(why_not(order, part) for part in order.wanted if part not in served)
    basket = replace(_refined(order, usable, extra, (began, seconds)), uncovered=absent)
    if basket.status != "nothing can be had" or not usable or extra != NO_MORE:
        return basket
    missing = _over_the_limits(order, usable, began + seconds)
    left = [i for i in usable if order.offers[i].part not in {m.part for m in missing}]
    return replace(_refined(order, left, extra, (began, seconds)), uncovered=absent + missing)


def _refined(order: Order, usable: list[int], extra: Extra, clock: tuple[float, float]) -> Basket:
    """The cheapest basket of some offers; intervals of value are cut finer until price and bound meet."""
    began, seconds = clock
    cuts: dict[str, tuple[float, ...]] = {}
    best, least, width = Basket(order, {}), -inf, 0.25
    for _ in range(_ROUNDS):
        rows = BasketRows(order, usable, extra, cuts)
        found, packs = rows.solve(seconds - (time.perf_counter() - began))
        least = max(least, found.bound)
        new = _priced(order, packs)
        if packs and new is None:  # a limit missed by a hair: keep clear of it
            _, packs = BasketRows(order, usable, replace(extra, margin=2e-3), cuts).solve(1.0)
            new = _priced(order, packs)
        if new is not None and new.total < best.total:
            best = new
        finer = rows.finer(packs, width)
        if best.total - least < CENT or finer == cuts or found.impossible or time.perf_counter() - began > seconds:
            break
        cuts, width = finer, width / 3.0
    return replace(best, least=least, seconds=time.perf_counter() - began)


def _priced(order: Order, packs: Packs) -> Basket | None:
    basket = Basket(order, packs)
    try:
        return basket if basket.total < inf else None
    except ValueError:
        return None


def why_not(order: Order, part: str) -> Uncovered:
    """Why a part has no offer that may be bought: the first of the wishes that leaves none, and the soonest [day]."""
    offers = order.offers
    left = [i for i, offer in enumerate(offers) if offer.part == part]
    wishes = {
        "no offer at all": left,
        "all its suppliers are left out": [i for i in left if offers[i].supplier not in order.without],
        "no offer of the maker's part": [i for i in left if offers[i].makers or part not in order.makers_only],
        "none of the offers asked for": [i for i in left if part not in order.only or i in order.only[part]],
    }
    for why, kept in wishes.items():
        left = [i for i in left if i in kept]
        if not left:
            return Uncovered(part, why)
    return Uncovered(part, "none within the deadline", min(offers[i].days for i in left))


def _over_the_limits(order: Order, usable: list[int], until: float) -> tuple[Uncovered, ...]:
    """The fewest parts that must be left out so that the others can be had, and why."""
    rows = BasketRows(order, usable, Extra(may_miss=True))
    found, _ = rows.solve(until - time.perf_counter())
    if found.point is None:
        return tuple(Uncovered(part, "not found in time") for part in rows.missed)
    missed = [part for part, column in rows.missed.items() if found.point[column] > 0.5]
    free = BasketRows(replace(order, most_parcels=None), usable, Extra(may_miss=True))
    without, _ = free.solve(until - time.perf_counter())
    alone = {p for p, c in free.missed.items() if without.point is not None and without.point[c] > 0.5}
    many = "1 parcel" if order.most_parcels == 1 else f"{order.most_parcels} parcels"
    too_many = f"over the limit of {many} together with the others"
    return tuple(Uncovered(p, "too heavy for one parcel" if p in alone else too_many) for p in missed)
