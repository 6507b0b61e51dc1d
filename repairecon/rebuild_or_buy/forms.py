"""Cash, own hours and days of a piece of work as sums of inputs, leaf by leaf.

A ``Form`` holds for each output a coefficient an atom, a scalar or one number a leaf.
Expectation and simulation both evaluate the same forms, once with the means of the
inputs and once with draws: as every atom is a product of independent inputs, the value
at the means is the exact expectation.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from repairecon.buying.buying import Buying, Priced
from repairecon.buying.inputs import ONE, Atom, Inputs, times
from repairecon.formulas import tree
from repairecon.rebuild_or_buy.world import STAGE, World
from repairecon.records import Branch, Case, Task, Way

Floor = tuple[tuple[int, float], ...]
OUTPUTS = ("cash", "hours", "days")
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Coef = float | NDArray[Any]
REBUILD_STARTS = STAGE["reassembly"]


@dataclass
class Form:
    """Coefficients by output and atom."""

    cash: dict[Atom, Coef] = field(default_factory=dict)
    hours: dict[Atom, Coef] = field(default_factory=dict)
    days: dict[Atom, Coef] = field(default_factory=dict)

    def add(self, output: str, atom: Atom, coef: Coef) -> None:
        """Add ``coef`` times ``atom`` to an output."""
        if np.any(coef):
            terms = getattr(self, output)
            terms[atom] = terms[atom] + coef if atom in terms else coef

    def minus(self, other: Form) -> Form:
        """This form less another one."""
        left = Form(dict(self.cash), dict(self.hours), dict(self.days))
        for output in OUTPUTS:
            terms = getattr(left, output)
            for atom, coef in getattr(other, output).items():
                terms[atom] = terms.get(atom, 0.0) - np.asarray(coef)
            setattr(left, output, {a: c for a, c in terms.items() if np.any(np.abs(c) > 1e-12)})
        return left


@dataclass
class Wanted:
    """Pieces of a part wanted in each leaf by an order placed at the end of a stage."""

    stage: int
    part: str
    pieces: Ints


class Builder:
    """Writes the forms of a case over a world's leaves."""

    def __init__(self, case: Case, world: World, buying: Buying | None = None) -> None:
        self.case = case
        self.buying = buying or Buying(case)
        self.home = case.terms.currency
        self.world = world
        self.inputs = Inputs()
        self.leaves = len(world.chance)
        self.order_stage = {"now": -1, "after removal": 1, "after strip": 2, "after measure": 3}[case.terms.order_parts]

    # ---- prices ---------------------------------------------------------------------------
    def price_way(self, way: Way) -> Priced:
        """The price a bought or sent-away unit takes."""
        return self.buying.alone(way.way, 1)

    @property
    def prices(self) -> dict[str, tuple[Priced, ...]]:
        """The lines that each part takes: in the planned order, or by itself where only damage needs it."""
        planned: dict[str, tuple[Priced, ...]] = {}
        for p in self.buying.order(self.buying.plan):
            planned[p.item] = (*planned.get(p.item, ()), p)
        return {p.part: planned.get(p.part) or self.buying.order(((p.part, p.quantity),)) for p in self.case.parts}

    def price_atom(self, p: Priced) -> Atom:
        """Input atom of a price as quoted."""
        if p.supplier is None:
            return self.inputs.number(f"price:{p.item}", f"price of {p.item}", self.home, p.range, item=p.item)
        s = p.supplier
        label = f"price of {p.item} at {s.supplier}{p.again}"
        return self.inputs.number(
            f"quoted:{p.item}@{s.supplier}{p.again}", label, s.currency, p.range, takeover=p.takeover, item=p.item
        )

    def lead_atom(self, p: Priced) -> Atom | None:
        """Input atom of the days to wait for an item."""
        if p.lead is None:
            return None
        whose = p.lead_key.partition(":")[2].replace("@", " from ")
        return self.inputs.number(p.lead_key, f"days to wait for {whose}", "days", p.lead)

    def add_line(self, form: Form, p: Priced, lines: tuple[Coef, Coef, Coef]) -> None:
        """A line of an order: so much for one of the price quoted, so much for one of the carriage, and the rest."""
        goods, carriage, fixed = lines
        form.add("cash", self.price_atom(p), goods)
        if p.supplier is not None and np.any(carriage):
            s, band = p.supplier, "" if p.band is None else f", up to {p.band} kg"
            label = f"carriage of {s.supplier}{band}"
            atom = self.inputs.number(f"carriage:{s.supplier}{band}", label, s.currency, p.carriage_range)
            form.add("cash", atom, carriage)
        form.add("cash", ONE, fixed)

    def add_unit(self, form: Form, p: Priced, bought: Coef = 1.0) -> None:
        """A unit bought or sent away: its carriage and fixed charges even where the work is not done."""
        self.add_line(form, p, (bought * p.goods, p.carriage, p.fixed))

    # ---- work -----------------------------------------------------------------------------
    def add_hours(self, form: Form, atom: Atom, by: str, coef: Coef, day_coef: Coef | None = None) -> None:
        """Hours of somebody: own hours, or cash at his hour's price; both take days at the boat."""
        if by == "owner":
            form.add("hours", atom, coef)
        else:
            price = self.case.terms.labour[by].cost_hour
            form.add(
                "cash",
                times(atom, self.inputs.number(f"hour:{by}", f"an hour of {by}", f"{self.home} an hour", price)),
                coef,
            )
        form.add("days", atom, (coef if day_coef is None else day_coef) / self.case.terms.hours_per_day)

    def add_task(self, form: Form, task: Task, coef: Coef, day_coef: Coef | None = None) -> None:
        """One row of tasks.csv."""
        number, name = self.inputs.number, task.task
        if task.hours.high > 0:
            atom = number(f"task hours:{name}", f"hours for {name}", "hours", task.hours, hours=True)
            self.add_hours(form, atom, task.by, coef, day_coef)
        if task.cost.high > 0:
            form.add("cash", number(f"task cost:{name}", f"cost of {name}", self.home, task.cost), coef)
        if task.days.high > 0:
            atom = number(f"task days:{name}", f"days for {name}", "days", task.days)
            form.add("days", atom, coef if day_coef is None else day_coef)

    def add_branch(self, form: Form, branch: Branch, by: str, coef: Coef) -> None:
        """Extra hours, outside work and days of an outcome."""
        number = self.inputs.number
        given = "; ".join(f"{e}={o}" for e, o in branch.given)
        name = f"{branch.key} given {given}" if given else branch.key
        if branch.extra_hours.high > 0:
            atom = number(f"outcome hours:{name}", f"extra hours, {name}", "hours", branch.extra_hours, hours=True)
            self.add_hours(form, atom, by, coef)
        if branch.outside_cost.high > 0:
            atom = number(f"outcome cost:{name}", f"outside work, {name}", self.home, branch.outside_cost)
            form.add("cash", atom, coef)
        if branch.extra_days.high > 0:
            form.add("days", number(f"outcome days:{name}", f"extra days, {name}", "days", branch.extra_days), coef)

    # ---- orders ---------------------------------------------------------------------------
    def add_orders(
        self, form: Form, demands: Iterable[Wanted], ends: Ints, floor: Floor = (), leisure: bool = False
    ) -> None:
        """Parts wanted, order by order: the cheapest basket for each demand, and the longest wait.

        A rebuild given up before the unit goes together again does not wait for its parts.
        """
        by_stage: dict[int, dict[str, Ints]] = {}
        if floor:
            by_stage[self.order_stage] = {}
        for d in demands:
            parts = by_stage.setdefault(d.stage, {})
            parts[d.part] = parts.get(d.part, np.zeros(self.leaves, dtype=np.int64)) + d.pieces
        for stage, parts in sorted(by_stage.items()):
            self._add_order(form, parts, ends >= REBUILD_STARTS, (floor if stage == self.order_stage else (), leisure))

    def _add_order(
        self, form: Form, parts: dict[str, Ints], waited: NDArray[np.bool_], how: tuple[Floor, bool]
    ) -> None:
        floor, leisure = how
        pieces = np.array(list(parts.values())).reshape(len(parts), self.leaves)
        which, count = tree.information_sets(pieces.T, range(len(parts)))
        first = np.zeros(count, dtype=np.intp)
        first[which] = np.arange(self.leaves)
        unlike = pieces[:, first]
        table: dict[tuple[Atom, float | None], tuple[Priced, Floats]] = {}
        waits = np.full(unlike.shape[1], None, dtype=object)
        for d, column in enumerate(unlike.T):
            lines = self.buying.order(tuple((p, int(n)) for p, n in zip(parts, column, strict=True) if n), leisure)
            for p in lines:
                _, rows = table.setdefault((self.price_atom(p), p.band), (p, np.zeros((3, unlike.shape[1]))))
                rows[:, d] += (p.goods, p.carriage, p.fixed)
            leads = (self.lead_atom(p) for p in lines)
            waits[d] = tuple(dict.fromkeys(int(str(atom[1])) for atom in leads if atom is not None))
        for p, rows in table.values():
            goods, carriage, fixed = rows[:, which]
            self.add_line(form, p, (goods, carriage, fixed))
        for chosen in dict.fromkeys(waits):
            here = np.array([w == chosen for w in waits])[which] & waited
            if chosen or floor:
                form.add("days", ("max", chosen, floor), here.astype(float))
