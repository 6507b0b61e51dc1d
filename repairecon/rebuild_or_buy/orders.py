"""Parts wanted, order by order: the cheapest basket for each demand, what it costs, and the longest wait for it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from repairecon.buying.buying import Buying, Demand, Priced
from repairecon.buying.inputs import ONE, LongestWait, Product
from repairecon.formulas.tree import information_sets
from repairecon.rebuild_or_buy.work import Bill, Work

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Floor = tuple[tuple[int, float], ...]


@dataclass
class Wanted:
    """Pieces of a part wanted in each leaf by an order placed at the end of a stage, as often as chances come up."""

    stage: int
    part: str
    pieces: Ints
    often: Product = ONE


class Orders:
    """The orders of a case, each demand priced once."""

    def __init__(self, buying: Buying, work: Work) -> None:
        self.buying, self.work = buying, work
        self._lines: dict[tuple[Demand, bool], tuple[Priced, ...]] = {}

    def add(
        self, bill: Bill, wanted: Iterable[Wanted], waited: Bools, floors: dict[int, Floor], leisure: bool = False
    ) -> None:
        """Write the orders of each stage into a bill.

        ``waited`` leaves in which somebody waits for them; ``floors`` work done while the order of a stage is on its
        way; at leisure the wait costs nothing in choosing from whom to buy.
        """
        orders: dict[tuple[int, tuple[int, ...]], dict[str, Ints]] = {(stage, ()): {} for stage in floors}
        for w in wanted:
            parts = orders.setdefault((w.stage, w.often.inputs), {})
            parts[w.part] = parts[w.part] + w.pieces if w.part in parts else w.pieces
        for (stage, often), parts in sorted(orders.items(), key=lambda order: order[0]):
            floor = () if often else floors.get(stage, ())
            self._one(bill, parts, waited, (floor, Product(often)), leisure)

    def _one(
        self, bill: Bill, parts: dict[str, Ints], waited: Bools, how: tuple[Floor, Product], leisure: bool
    ) -> None:
        """One order; leaves that want the same share the basket that is cheapest for it."""
        floor, often = how
        pieces = np.array(list(parts.values()), dtype=np.int64).reshape(len(parts), len(waited))
        differ = np.flatnonzero((pieces != pieces[:, :1]).any(axis=1))
        which, count = information_sets(pieces.T, differ.tolist())
        first = np.zeros(count, dtype=np.intp)
        first[which] = np.arange(len(waited))
        lines: dict[tuple[str, str, float | None], tuple[Priced, Floats]] = {}
        waits: list[tuple[int, ...]] = []
        names = list(parts)
        for d, leaf in enumerate(first):
            demand = tuple((names[k], int(pieces[k, leaf])) for k in np.flatnonzero(pieces[:, leaf]))
            order = self.lines(demand, leisure)
            for p in order:
                key = p.item, p.lead_key + p.again + (p.supplier.supplier if p.supplier else ""), p.band
                _, row = lines.setdefault(key, (p, np.zeros((3, count))))
                row[:, d] += (p.goods, p.carriage, p.fixed)
            leads = (self.work.lead(p) for p in order)
            waits.append(tuple(dict.fromkeys(lead.inputs[0] for lead in leads if lead is not None)))
        for p, row in lines.values():
            same = (row == row[:, :1]).all()
            goods, carriage, fixed = row[:, 0].tolist() if same else row[:, which]
            self.work.order_line(bill, p, (goods, carriage, fixed), often)
        for longest in dict.fromkeys(waits):
            if longest or floor:
                here = np.array([w == longest for w in waits])[which] & waited
                bill.take(LongestWait(longest, floor, often.inputs), here.astype(float))

    def lines(self, demand: Demand, leisure: bool) -> tuple[Priced, ...]:
        """The lines of an order."""
        key = demand, leisure
        if key not in self._lines:
            self._lines[key] = self.buying.order(demand, leisure)
        return self._lines[key]
