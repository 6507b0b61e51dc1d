"""Spares for several boats of one base: how many lie there and aboard, and what one budget is best spent on."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from repairecon.formulas.demand import best_split
from repairecon.formulas.integer_program import Program
from repairecon.read.problems import key
from repairecon.records import DAYS_A_YEAR
from repairecon.whole_boat.answer import BoatLine
from repairecon.whole_boat.units import UnitLine

MOST = 6
"""Pieces of one spare for all boats of a base up to which it is thought of."""



@dataclass(frozen=True, kw_only=True)
class Pool:
    """One spare unit that boats of a base share, by its maker's number.

    ``at_base`` and ``aboard`` (a number a boat) are what is worth having, for ``cost`` [home money]; they save
    ``saves`` a year, what they cost a year taken off [home money/year].
    """

    base: str
    unit: str
    maker_number: str
    boats: tuple[str, ...]
    at_base: int
    aboard: tuple[int, ...]
    cost: float
    saves: float


def pools(boats: Sequence[BoatLine], budget: float | None = None) -> tuple[Pool, ...]:
    """Spares worth having at each base and aboard its boats, what saves most first; boats of one base and money share.

    ``budget`` is to spend at most over all [home money]; None: all that is worth its price.
    """
    shared: dict[tuple[str, str, str], list[tuple[BoatLine, UnitLine]]] = defaultdict(list)
    for boat in boats:
        for unit in boat.units:
            if unit.price_new and unit.maker_number and unit.cost_without is not None:
                shared[key(boat.base), boat.currency, key(unit.maker_number)].append((boat, unit))
    ladders = [ladder for some in shared.values() if (ladder := _ladder(some))]
    chosen = _within(ladders, budget)
    return tuple(sorted(chosen, key=lambda p: (-p.saves, p.base, p.unit)))


def _ladder(some: Sequence[tuple[BoatLine, UnitLine]]) -> list[Pool]:
    """0, 1, 2, ... pieces of one spare, each split as well as can be; what each number saves a year."""
    first, one = some[0]
    rates = [-np.log1p(-min(u.p_fails_a_year, 0.999)) for _, u in some]
    order, bring = max(u.order_days for _, u in some) / DAYS_A_YEAR, [u.bring_days / DAYS_A_YEAR for _, u in some]
    lost, without = [u.lost_day * DAYS_A_YEAR for _, u in some], [u.cost_without or 0.0 for _, u in some]
    rows = best_split(MOST, rates, (order, bring), lost, without)
    price, a_year = max(u.price_new or 0.0 for _, u in some), max(u.spare_cost or 0.0 for _, u in some)
    return [
        Pool(base=first.base, unit=one.unit, maker_number=one.maker_number, boats=tuple(b.boat for b, _ in some),
             at_base=at_base, aboard=aboard, cost=n * price, saves=rows[0][2] - cost - n * a_year)
        for n, (at_base, aboard, cost) in enumerate(rows)
    ]  # fmt: skip


def _within(ladders: Sequence[Sequence[Pool]], budget: float | None) -> Iterable[Pool]:
    """One rung of each ladder so that most is saved within the budget, proven by an integer program."""
    program, columns = Program(), list[tuple[int, Pool]]()
    for ladder in ladders:
        rungs = [(program.column(-rung.saves, 1.0, whole=True), rung) for rung in ladder]
        program.row([(c, 1.0) for c, _ in rungs], 1.0, 1.0)
        columns += rungs
    if budget is not None:
        program.row([(c, rung.cost) for c, rung in columns], high=budget)
    point = program.solve(60.0, gap=0.0).point
    return (rung for c, rung in columns if point is not None and point[c] > 0.5 and rung.cost > 0)
