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

from repairecon.chance.inputs import ONE, Atom, Inputs, Priced, choose_price, times
from repairecon.chance.world import NEVER_ENDS, STAGE, World, branch_touches, named_in
from repairecon.formulas import landed
from repairecon.records import Branch, Case, Task, Way

Floor = tuple[tuple[int, float], ...]
OUTPUTS = ("cash", "hours", "days")
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Coef = float | NDArray[Any]
SHARED_STAGES = (STAGE["outside"], STAGE["removal"], STAGE["first run"])
REBUILD_STARTS = STAGE["reassembly"]
BENCH_STAGES = range(STAGE["strip"], REBUILD_STARTS + 1)


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


@dataclass
class Demand:
    """Pieces of a part wanted in each leaf by an order placed at the end of a stage."""

    stage: int
    part: str
    pieces: Ints


class Builder:
    """Writes the forms of a case over a world's leaves."""

    def __init__(self, case: Case, world: World) -> None:
        self.case = case
        self.home = case.terms.currency
        self.world = world
        self.inputs = Inputs()
        self.leaves = len(world.chance)
        self.prices = {p.part: self._price_part(p.part) for p in case.parts}
        self.order_stage = {"now": -1, "after removal": 1, "after strip": 2, "after measure": 3}[case.terms.order_parts]

    # ---- prices ---------------------------------------------------------------------------
    def _price_part(self, name: str) -> Priced:
        part = next(p for p in self.case.parts if p.part == name)
        return choose_price(self.case, name, part.quantity, part.price, part.lead_days, part.source)

    def price_way(self, way: Way) -> Priced:
        """The price a bought or sent-away unit takes."""
        return choose_price(self.case, way.way, 1, way.price, way.lead_days, way.source)

    def price_atom(self, p: Priced) -> Atom:
        """Input atom of a price as quoted."""
        if p.supplier is None:
            return self.inputs.number(f"price:{p.item}", f"price of {p.item}", self.home, p.range)
        s = p.supplier
        label = f"price of {p.item} at {s.supplier}"
        return self.inputs.number(f"quoted:{p.item}@{s.supplier}", label, s.currency, p.range, takeover=p.takeover)

    def lead_atom(self, p: Priced) -> Atom | None:
        """Input atom of the days to wait for an item."""
        if p.lead is None:
            return None
        whose = p.lead_key.partition(":")[2].replace("@", " from ")
        return self.inputs.number(p.lead_key, f"days to wait for {whose}", "days", p.lead)

    def add_carriage(self, form: Form, p: Priced, orders: Coef) -> None:
        """Carriage and handling of a supplier, once an order."""
        if p.supplier is None:
            return
        s = p.supplier
        atom = self.inputs.number(f"carriage:{s.supplier}", f"carriage of {s.supplier}", s.currency, s.carriage)
        form.add("cash", atom, orders * p.factor)
        form.add("cash", ONE, orders * s.cost_handling)

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
    def add_orders(self, form: Form, demands: Iterable[Demand], ends: Ints, floor: Floor = ()) -> None:
        """Parts wanted, order by order: packs, carriage once a supplier, the longest wait.

        A rebuild given up before the unit goes together again does not wait for its parts.
        """
        by_stage: dict[int, dict[str, Ints]] = {}
        if floor:
            by_stage[self.order_stage] = {}
        for d in demands:
            parts = by_stage.setdefault(d.stage, {})
            parts[d.part] = parts.get(d.part, np.zeros(self.leaves, dtype=np.int64)) + d.pieces
        for stage, parts in sorted(by_stage.items()):
            self._add_order(form, parts, ends >= REBUILD_STARTS, floor if stage == self.order_stage else ())

    def _add_order(self, form: Form, parts: dict[str, Ints], waited: NDArray[np.bool_], floor: Floor) -> None:
        suppliers: dict[str, tuple[Priced, NDArray[np.bool_]]] = {}
        waits: dict[int, NDArray[np.bool_]] = {}
        nowhere = np.zeros(self.leaves, dtype=bool)
        for name, pieces in parts.items():
            p = self.prices[name]
            wanted = pieces > 0
            form.add("cash", self.price_atom(p), landed.packs_needed(pieces, p.pack) * p.factor)
            if p.supplier is not None:
                _, before = suppliers.get(p.supplier.supplier, (p, nowhere))
                suppliers[p.supplier.supplier] = (p, before | wanted)
            lead = self.lead_atom(p)
            if lead is not None:
                i = int(str(lead[1]))
                waits[i] = waits.get(i, nowhere) | (wanted & waited)
        for p, used in suppliers.values():
            self.add_carriage(form, p, used.astype(float))
        table = np.array(list(waits.values()), dtype=bool).reshape(len(waits), self.leaves)
        for column in np.unique(table.T, axis=0):
            here = (table == column[:, None]).all(axis=0) & waited
            chosen = tuple(i for i, on in zip(waits, column, strict=True) if on)
            if chosen or floor:
                form.add("days", ("max", chosen, floor), here.astype(float))

    # ---- whole pieces ---------------------------------------------------------------------
    def ends(self, way: Way) -> Ints:
        """Stage at which the rebuild of a way ends in each leaf; NEVER_ENDS where it does not."""
        stage = np.full(self.leaves, NEVER_ENDS, dtype=np.int64)
        for b, holds in zip(self.case.branches, self.world.holds, strict=True):
            if b.ends_rebuild and way.traits.rebuilds and branch_touches(b, way):
                stage[holds] = np.minimum(stage[holds], STAGE[b.seen_at])
        return stage

    def tasks_of(self, way: Way) -> list[tuple[Task, int]]:
        """Tasks that a way needs, with their stages."""
        found = []
        for t in self.case.tasks:
            stage = STAGE[t.stage]
            by_rule = stage in SHARED_STAGES or way.traits.rebuilds == "here"
            if named_in(t.ways, way) if t.ways else by_rule:
                found.append((t, stage))
        return found

    def _overlap(self, way: Way) -> Floor:
        """Days of bench work that run while early-ordered parts are on their way, as means of inputs."""
        work = Form()
        for task, stage in self.tasks_of(way):
            if self.order_stage < stage < REBUILD_STARTS:
                self.add_task(work, task, 1.0)
        return tuple((int(str(atom[1])), float(np.max(coef))) for atom, coef in work.days.items())

    def rebuild_here(self, way: Way, *, at_leisure: bool = False) -> Form:
        """Rebuilding the old unit at the boat; at leisure: bench work only, the boat is in service."""
        form, ends = Form(), self.ends(way)
        overlaps = (ends >= REBUILD_STARTS).astype(float)
        for task, stage in self.tasks_of(way):
            if at_leisure and stage not in BENCH_STAGES:
                continue
            coef = (ends >= stage).astype(float)
            early = self.order_stage < stage < REBUILD_STARTS
            self.add_task(form, task, coef, coef - overlaps if early else None)
        demands = [
            Demand(self.order_stage, p.part, np.where(ends > self.order_stage, p.quantity, 0))
            for p in self.case.parts
            if p.needed == "always"
        ]
        last = REBUILD_STARTS if at_leisure else NEVER_ENDS
        demands += self._damage(form, way, ends, last)
        self.add_orders(form, demands, ends, self._overlap(way))
        if at_leisure:
            form.days.clear()
        return form

    def _damage(self, form: Form, way: Way, ends: Ints, last: int, after: int = -1) -> list[Demand]:
        """Work of the outcomes that bear on a way; those that a rebuild before it has paid are left out."""
        demands = []
        for b, holds in zip(self.case.branches, self.world.holds, strict=True):
            stage = STAGE.get(b.seen_at, NEVER_ENDS)
            if stage > last or b.seen_at == "" or not branch_touches(b, way):
                continue
            if self._paid_before(b, stage, after):
                continue
            if last == REBUILD_STARTS and branch_touches(b, self.case.way(way.bought)):
                continue
            ending = b.ends_rebuild and bool(way.traits.rebuilds)
            counts = holds & ((ends == stage) if ending else (ends > stage))
            self.add_branch(form, b, self._worker(b, way, stage), counts.astype(float))
            order = max(stage, self.order_stage)
            demands += [Demand(order, part, np.where(holds & (ends > order), n, 0)) for part, n in b.parts]
        return demands

    def _paid_before(self, b: Branch, stage: int, after: int) -> bool:
        """Whether a rebuild that got to stage ``after`` has paid for an outcome already."""
        spent = stage < after or (stage == after and b.ends_rebuild)
        return spent and any(w.traits.rebuilds and branch_touches(b, w) for w in self.case.ways)

    def _worker(self, b: Branch, way: Way, stage: int) -> str:
        """Who does the extra work: a unit sent away is worked on by the shop, not by the owner."""
        aboard = stage in SHARED_STAGES or stage == STAGE["later"]
        if way.traits.rebuilds != "away" or aboard or b.by != "owner":
            return b.by
        return next((by for by in ("machine shop", "yard") if by in self.case.terms.labour), "owner")

    def send_away(self, way: Way) -> Form:
        """A specialist rebuilds the old unit."""
        form, ends, p = Form(), self.ends(way), self.price_way(way)
        done = (ends == NEVER_ENDS).astype(float)
        form.add("cash", self.price_atom(p), done * p.factor)
        if way.strip_charge.high > 0:
            atom = self.inputs.number(f"strip:{way.way}", f"strip charge, {way.way}", self.home, way.strip_charge)
            form.add("cash", atom, 1.0 - done)
        self.add_carriage(form, p, 1.0)
        self._add_core_carriage(form, way, 1.0)
        lead = self.lead_atom(p)
        if lead is not None:
            form.add("days", lead, 1.0)
        for task, stage in self.tasks_of(way):
            self.add_task(form, task, (ends >= stage).astype(float))
        self._add_fitting(form, way, done)
        self.add_orders(form, self._damage(form, way, ends, NEVER_ENDS), ends)
        return form

    def _add_core_carriage(self, form: Form, way: Way, coef: Coef) -> None:
        if way.core_carriage.high > 0:
            key = f"core carriage:{way.way}"
            atom = self.inputs.number(key, f"carriage of the old unit, {way.way}", self.home, way.core_carriage)
            form.add("cash", atom, coef)

    def _add_fitting(self, form: Form, way: Way, coef: Coef) -> None:
        if way.fitting_hours.high > 0:
            key = f"fitting hours:{way.way}"
            atom = self.inputs.number(key, f"fitting hours, {way.way}", "hours", way.fitting_hours, hours=True)
            self.add_hours(form, atom, way.fitting_by, coef)

    def core_accepted(self, way: Way, after: int) -> NDArray[np.bool_]:
        """Leaves in which the old unit can still earn its refund after a rebuild that got to a stage."""
        if after >= STAGE["strip"] and not way.core_if_stripped:
            return np.zeros(self.leaves, dtype=bool)
        ok = np.ones(self.leaves, dtype=bool)
        for b, holds in zip(self.case.branches, self.world.holds, strict=True):
            if b.core_refused and (not b.ways or named_in(b.ways, way)):
                ok &= ~holds
        return ok

    def buy(self, way: Way, after: int = -1) -> Form:
        """A bought unit fitted, after a rebuild that got as far as a stage (-1: none begun)."""
        form = self.purchase(way)
        stripped = after >= STAGE["strip"] and not way.core_if_stripped
        if way.core_surcharge.high > 0:
            surcharge = self._surcharge(way)
            refund = self.inputs.chance(f"refund:{way.way}", f"core accepted, {way.way}", way.p_refund, way.source)
            form.add("cash", times(surcharge, refund), -self.core_accepted(way, after).astype(float))
            if not stripped:
                self._add_core_carriage(form, way, 1.0)
        if way.old_unit in ("sold", "scrap") and way.old_unit_price.high > 0:
            key = f"old unit:{way.way}"
            atom = self.inputs.number(key, f"price got for the old unit, {way.way}", self.home, way.old_unit_price)
            form.add("cash", atom, -1.0)
        lead = self.lead_atom(self.price_way(way))
        if lead is not None:
            form.add("days", lead, 1.0)
        for task, stage in self.tasks_of(way):
            off_again = after >= STAGE["first run"] and stage in (STAGE["removal"], STAGE["first run"])
            if stage > after or off_again:
                self.add_task(form, task, 1.0)
        self._add_fitting(form, way, 1.0)
        everywhere = np.full(self.leaves, NEVER_ENDS, dtype=np.int64)
        self.add_orders(form, self._damage(form, way, everywhere, NEVER_ENDS, after), everywhere)
        return form

    def _surcharge(self, way: Way) -> Atom:
        return self.inputs.number(f"core:{way.way}", f"core surcharge, {way.way}", self.home, way.core_surcharge)

    def purchase(self, way: Way) -> Form:
        """Only the paying for a unit: price, carriage, core surcharge."""
        form, p = Form(), self.price_way(way)
        form.add("cash", self.price_atom(p), p.factor)
        self.add_carriage(form, p, 1.0)
        if way.core_surcharge.high > 0:
            form.add("cash", self._surcharge(way), 1.0)
        return form
