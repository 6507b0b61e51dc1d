"""The whole basket as a mixed-integer program: one parcel a supplier, every part covered."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import inf

from repairecon.buying.basket_terms import Order
from repairecon.buying.parcel_program import Level, ParcelRows
from repairecon.buying.whole_numbers import Found, Program


@dataclass(frozen=True)
class Extra:
    """What is asked besides: an offer that must be in, one of these left out, other suppliers, a limit of cost."""

    forced: int | None = None
    not_all_of: frozenset[int] = frozenset()
    other_than: frozenset[str] = frozenset()
    cost_up_to: float = inf
    may_miss: bool = False
    margin: float = 0.0


@dataclass
class BasketRows:
    """The program of an order over the offers that may be bought, the intervals of value cut as given."""

    order: Order
    usable: Sequence[int]
    extra: Extra = Extra()
    cuts: Mapping[str, tuple[float, ...]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.program = Program()
        self.parcels: dict[str, ParcelRows] = {}
        order = self.order
        for name in dict.fromkeys(order.offers[i].supplier for i in self.usable):
            lines = {
                i: (order.offers[i].line, order.wanted[order.offers[i].part])
                for i in self.usable
                if order.offers[i].supplier == name
            }
            self.parcels[name] = ParcelRows(
                self.program, order.suppliers[name], order.border, lines, self.cuts.get(name, ()), self.extra.margin
            )
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
            terms = [
                (level.useful, float(min(self.order.offers[i].line.pack, pieces)))
                for i in offers
                for level in self.levels[i]
            ]
            if self.extra.may_miss:
                self.missed[part] = program.column(upper=1.0, whole=True)
                terms.append((self.missed[part], float(pieces)))
            program.row(terms, low=float(pieces))
        if self.extra.may_miss:
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
        if extra.other_than:
            terms = [(c, -1.0 if name in extra.other_than else 1.0) for name, c in used.items()]
            program.row(terms, low=1.0 - len(extra.other_than & set(used)))
            for parcel in self.parcels.values():  # an empty parcel is none
                program.row([*(t for level in parcel.levels for t in level.packs), (parcel.used, -1.0)], low=0.0)

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

    def finer(self, packs: Mapping[int, int], width: float) -> dict[str, tuple[float, ...]]:
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
