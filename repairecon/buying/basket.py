"""The basket over all suppliers that covers every part at least landed cost, and the proof of it."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from math import ceil, inf

from repairecon.buying.parcel import Border, LandedParcel, Line, ParcelTerms, price_parcel
from repairecon.buying.parcel_program import ParcelRows, cells_of
from repairecon.formulas.integer_program import Found, Program
from repairecon.records import RepaireconError, grouped

CENT = 0.005
"""Half a cent: two totals nearer than this are the same."""

_ROUNDS = 12
MOST_BYTES, BYTES_A_CELL = 2e9, 2_500.0
"""Memory that a search may take, and what each number in the rows of its program takes while it is solved: measured on
1,000 to 100,000 quotes of 10 to 100 suppliers (``tests/hardness/bombs.py``)."""
MOST_CELLS = int(MOST_BYTES / BYTES_A_CELL)

Packs = Mapping[int, int]
"""Packs of each offer bought, by its index in the order."""
Cuts = Mapping[str, tuple[float, ...]]
"""Values at which a supplier's parcel is cut into intervals."""


class Clock:
    """The time that all searches of a job share: seconds that run from the beginning on, but for pauses, so that no
    reader's time counts."""

    def __init__(self, seconds: float = 60.0, now: Callable[[], float] = time.perf_counter) -> None:
        self.now, self._ends, self._kept = now, now() + seconds, seconds

    @property
    def left(self) -> float:
        """Until no search is begun any more [s]."""
        return self._ends - self.now()

    def part(self, share: float, most: float = inf) -> Clock:
        """A clock over a share of what is left, running at once; this one runs on."""
        return Clock(min(share * self.left, most), self.now)

    def pause(self) -> None:
        self._kept = self.left

    def go_on(self) -> None:
        self._ends = self.now() + self._kept


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

    @cached_property
    def usable(self) -> list[int]:
        return [i for i in range(len(self.offers)) if self.allows(i)]

    def allows(self, index: int) -> bool:
        """Whether an offer may be bought at all."""
        return self.offers[index].part in self.wanted and all(wish(self, index) for wish in _WISHES.values())

    def supplier_of(self, index: int) -> str:
        return self.offers[index].supplier

    def part_of(self, index: int) -> str:
        return self.offers[index].part


_LATE = "none within the deadline"
_WISHES: dict[str, Callable[[Order, int], bool]] = {
    "all its suppliers are left out": lambda o, i: o.supplier_of(i) not in o.without,
    "no offer of the maker's part": lambda o, i: o.offers[i].makers or o.part_of(i) not in o.makers_only,
    "none of the offers asked for": lambda o, i: i in o.only.get(o.part_of(i), (i,)),
    _LATE: lambda o, i: o.offers[i].days <= o.deadline_days,
}
"""Why a part cannot be had where no offer of it passes one of these after the other."""


@dataclass(frozen=True)
class Uncovered:
    """A part that cannot be had as asked, and why; ``days`` is the soonest it could come where the deadline is why."""

    part: str
    why: str
    days: float | None = None


@dataclass(frozen=True)
class Basket:
    """What to buy: packs of each offer bought (by its index in the order).

    ``total`` is priced parcel by parcel, infinite where nothing was found. No basket costs less than ``least`` as
    asked; ``gap`` is what lies between, ``proven`` that it is under half a cent. ``status``: "proven", "out of time" or
    "nothing can be had". ``uncovered`` parts are left out of the basket.
    """

    order: Order
    packs: Packs
    least: float = -inf
    uncovered: tuple[Uncovered, ...] = ()

    @cached_property
    def parcels(self) -> dict[str, tuple[tuple[int, ...], LandedParcel]]:
        """For each supplier the offers bought there and the parcel they make, line by line in the same order."""
        return price_packs(self.order, self.packs)

    @cached_property
    def total(self) -> float:
        return sum((parcel.total for _, parcel in self.parcels.values()), 0.0) if self.packs else inf

    @property
    def gap(self) -> float:
        return max(0.0, self.total - self.least) if self.packs else inf

    @property
    def proven(self) -> bool:
        return self.gap < CENT

    @property
    def status(self) -> str:
        if not self.packs and self.least == inf:
            return "nothing can be had"
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
        return tuple(self.parcels)

    @property
    def days(self) -> float:
        """Days until the last parcel is there."""
        return max((self.order.offers[i].days for i in self.packs), default=0.0)


def price_packs(order: Order, packs: Packs) -> dict[str, tuple[tuple[int, ...], LandedParcel]]:
    """The parcels of a choice of packs by supplier, each with its offers, priced by :func:`parcel.price_parcel`."""
    made = {}
    for name, mine in grouped(sorted(i for i, n in packs.items() if n > 0), order.supplier_of).items():
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


class BasketRows:
    """The program of an order over the offers that may be bought, the intervals of value cut as given."""

    def __init__(self, order: Order, extra: Extra = NO_MORE, cuts: Cuts | None = None) -> None:
        self.program, self.order, self.extra, self.cuts = Program(), order, extra, cuts or {}
        self.parcels: dict[str, ParcelRows] = {}
        for name, mine in grouped(order.usable, order.supplier_of).items():
            lines = {i: (order.offers[i].line, order.wanted[order.part_of(i)]) for i in mine}
            terms, cut = order.suppliers[name], self.cuts.get(name, ())
            self.parcels[name] = ParcelRows(self.program, terms, order.border, lines, cut, extra.margin)
        self.levels = grouped((x for p in self.parcels.values() for x in p.levels), lambda level: level.offer)
        program, self.missed = self.program, dict[str, int]()
        for part, offers in grouped(order.usable, order.part_of).items():
            pieces = order.wanted[part]
            # a pack brings no more than what is wanted: so the relaxation cannot cover a part by a third of a pack
            packs = {i: float(min(order.offers[i].line.pack, pieces)) for i in offers}
            covers = [(level.useful, packs[i]) for i in offers for level in self.levels[i]]
            if extra.may_miss:
                self.missed[part] = program.column(upper=1.0, whole=True)
                covers.append((self.missed[part], float(pieces)))
            program.row(covers, low=float(pieces))
        if extra.may_miss:  # how many are missed counts then, not what the others cost
            program.cost = [0.0] * len(program.cost)
            for column in self.missed.values():
                program.cost[column] = 1.0
        self._wishes()

    def _wishes(self) -> None:
        program, extra = self.program, self.extra
        if self.order.most_parcels is not None:
            used = [(parcel.used, 1.0) for parcel in self.parcels.values()]
            program.row(used, high=float(self.order.most_parcels))
        if extra.forced is not None:
            program.row([t for level in self.levels[extra.forced] for t in level.packs], low=1.0)
        if extra.not_all_of:
            left = {i: program.column(upper=1.0, whole=True) for i in extra.not_all_of & set(self.levels)}
            for i, bought in left.items():
                for level in self.levels[i]:
                    for column, _ in level.packs:
                        program.row([(column, 1.0), (bought, -float(level.stop))], high=0.0)
            program.row([(c, 1.0) for c in left.values()], high=float(len(extra.not_all_of) - 1))

    def solve(self, seconds: float) -> tuple[Found, dict[int, int]]:
        """The point found, and the packs that it means; no search is begun without time."""
        if seconds <= 0.0 or not self.order.usable:
            return Found(None, -inf if self.order.usable else inf, not self.order.usable), {}
        found = self.program.solve(seconds, at_most=self.extra.cost_up_to)
        if (point := found.point) is None:
            return found, {}
        counts = {i: [int(point[c] + 0.5) for x in some for c, _ in x.packs] for i, some in self.levels.items()}
        return found, {i: sum(n) for i, n in counts.items() if any(n)}

    def relaxed(self, seconds: float) -> float:
        """A bound under which no basket lies, at once: the least cost if packs could be cut up."""
        return self.program.solve(seconds, whole=False).bound if seconds > 0.0 else -inf

    def finer(self, basket: Basket, width: float) -> Cuts:
        """The cuts with new ones at the value of each parcel of a basket, and on both sides of it."""
        made = dict(self.cuts)
        for name, (_, landed) in basket.parcels.items():
            value, rows = landed.charge("goods") + landed.charge("core"), self.parcels[name]
            if rows.excess >= 0 and value > 0.0:
                near = (value / (1.0 + width), value, value * (1.0 + width))
                inside = {p for p in near if 1e-6 < p < rows.most_value - 1e-6}
                made[name] = tuple(sorted({*made.get(name, ()), *inside}))
        return made


def cells(order: Order, cuts: Cuts) -> int:
    """About how many numbers the rows of an order's program hold, without writing them."""
    lines = grouped((o for o in order.offers if o.part in order.wanted), lambda o: o.supplier)
    return sum(
        cells_of(order.suppliers[name], order.border, [o.line for o in mine], len(cuts.get(name, ())))
        for name, mine in lines.items()
    )


def check_size(order: Order) -> None:
    """Refuse an order whose program would not go into memory."""
    if (many := cells(order, {})) > MOST_CELLS:
        raise RepaireconError(
            f"quotes.csv: {len(order.offers)} quotes for {len(order.wanted)} parts from {len(order.suppliers)} "
            f"suppliers would take about {ceil(many * BYTES_A_CELL / 1e9)} GB of memory (limit "
            f"{int(MOST_BYTES / 1e9)} GB): take out the dearest quotes of each part, or order fewer parts at a time"
        )


def cheapest_basket(order: Order, clock: Clock | None = None, extra: Extra = NO_MORE) -> Basket:
    """The basket of least landed cost that covers every part, with proof.

    A mixed-integer program, exact for: fixed carriage or weight bands, free carriage, minimum order, whole packs,
    minimum packs, breaks for all packs of a line, thresholds of duty and VAT by the whole consignment, the traveller's
    allowance, most parcels, deadline. More may be bought than is wanted where that reaches free carriage, a break or a
    minimum order. Duty on carriage shared by value is the one charge that is not linear: it is held from below, and the
    program is refined until the basket priced parcel by parcel lies within half a cent of the bound.

    Parts without a usable offer are left out and named; if the rest cannot be had together (most parcels, weights), as
    many parts as possible are covered, the others named. Past the time allowed the best basket so far is given with its
    gap.

    Nemhauser, Wolsey, Integer and Combinatorial Optimization, 1988, ch. II.1 (strong formulations of fixed charges; the
    chapter from memory); McCormick, Mathematical Programming 10 (1976), pp. 147-175 (product of two variables held from
    below; from memory).
    """
    clock = clock or Clock()
    served, offered = set(map(order.part_of, order.usable)), grouped(range(len(order.offers)), order.part_of)
    missing: tuple[Uncovered, ...] = ()
    for part in (part for part in order.wanted if part not in served):
        # the first of the wishes that leaves no offer, and the soonest there is
        left, why, soonest = offered.get(part, []), "no offer at all", None
        for wish, passes in _WISHES.items():
            if left:
                why, soonest = wish, min(order.offers[i].days for i in left) if wish == _LATE else None
                left = [i for i in left if passes(order, i)]
        missing += (Uncovered(part, why, soonest),)
    basket = _refined(order, extra, clock)
    if basket.status == "nothing can be had" and order.usable and extra == NO_MORE:
        missing += _over_the_limits(order, clock)
        basket = _refined(replace(basket, uncovered=missing).covered_order, extra, clock)
    return replace(basket, order=order, uncovered=missing)


def _refined(order: Order, extra: Extra, clock: Clock) -> Basket:
    """The cheapest basket of some offers; intervals of value are cut finer until price and bound meet."""
    cuts: Cuts = {}
    best, least, width = Basket(order, {}), -inf, 0.25
    for _ in range(_ROUNDS):
        if (clock.left <= 0.0 and order.usable) or (cuts and cells(order, cuts) > MOST_CELLS):
            break
        rows = BasketRows(order, extra, cuts)
        found, packs = rows.solve(clock.left)
        least = max(least, found.bound)
        new = _priced(order, packs)
        if packs and new is None:  # a limit missed by a hair: keep clear of it
            _, packs = BasketRows(order, replace(extra, margin=2e-3), cuts).solve(min(1.0, clock.left))
            new = _priced(order, packs)
        if new is not None and new.total < best.total:
            best = new
        finer = rows.finer(new or Basket(order, {}), width)
        if best.total - least < CENT or finer == cuts or found.impossible:
            break
        cuts, width = finer, width / 3.0
    return replace(best, least=least)


def _priced(order: Order, packs: Packs) -> Basket | None:
    basket = Basket(order, packs)
    try:
        return basket if basket.total < inf else None
    except ValueError:
        return None


def _over_the_limits(order: Order, clock: Clock) -> tuple[Uncovered, ...]:
    """The fewest parts that must be left out so that the others can be had, and why."""

    def missed(asked: Order) -> list[str] | None:
        rows = BasketRows(asked, Extra(may_miss=True))
        point = rows.solve(clock.left)[0].point
        return None if point is None else [p for p, c in rows.missed.items() if point[c] > 0.5]

    together, alone = missed(order), missed(replace(order, most_parcels=None))
    if together is None:
        return tuple(Uncovered(part, "not found in time") for part in grouped(order.usable, order.part_of))
    many = "1 parcel" if order.most_parcels == 1 else f"{order.most_parcels} parcels"
    too_many = f"over the limit of {many} together with the others"
    return tuple(Uncovered(p, "too heavy for one parcel" if p in (alone or ()) else too_many) for p in together)
