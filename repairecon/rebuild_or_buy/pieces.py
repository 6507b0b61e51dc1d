"""The forms of whole pieces of work: rebuilding here, sending away, buying."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from repairecon.buying.inputs import Atom, times
from repairecon.rebuild_or_buy.forms import REBUILD_STARTS, Builder, Coef, Floor, Form, Ints, Wanted
from repairecon.rebuild_or_buy.world import NEVER_ENDS, STAGE, branch_touches, named_in
from repairecon.records import Branch, Task, Way

SHARED_STAGES = (STAGE["outside"], STAGE["removal"], STAGE["first run"])
BENCH_STAGES = range(STAGE["strip"], REBUILD_STARTS + 1)


class Pieces(Builder):
    """Writes what each way takes, in full or as far as a stage."""

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

    def rebuild_here(self, way: Way, *, at_leisure: bool = False, upto: int = NEVER_ENDS) -> Form:
        """Rebuilding the old unit at the boat; at leisure: bench work only, the boat is in service.

        ``upto`` leaves out what comes after the end of a stage.
        """
        form, ends = Form(), np.minimum(self.ends(way), upto)
        overlaps = (ends >= REBUILD_STARTS).astype(float)
        for task, stage in self.tasks_of(way):
            if at_leisure and stage not in BENCH_STAGES:
                continue
            coef = (ends >= stage).astype(float)
            early = self.order_stage < stage < REBUILD_STARTS
            self.add_task(form, task, coef, coef - overlaps if early else None)
        demands = [
            Wanted(self.order_stage, p.part, np.where(ends > self.order_stage, p.quantity, 0))
            for p in self.case.parts
            if p.needed == "always"
        ]
        last = REBUILD_STARTS if at_leisure else NEVER_ENDS
        demands += self._damage(form, way, ends, last, upto=upto)
        self.add_orders(form, demands, ends, self._overlap(way), at_leisure)
        if at_leisure:
            form.days.clear()
        return form

    def _damage(
        self, form: Form, way: Way, ends: Ints, last: int, after: int = -1, upto: int = NEVER_ENDS
    ) -> list[Wanted]:
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
            counts = holds & ((ends == stage) & (stage <= upto) if ending else (ends > stage))
            self.add_branch(form, b, self._worker(b, way, stage), counts.astype(float))
            order = max(stage, self.order_stage)
            demands += [Wanted(order, part, np.where(holds & (ends > order), n, 0)) for part, n in b.parts]
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

    def send_away(self, way: Way, after: int = -1) -> Form:
        """A specialist rebuilds the old unit, whatever the owner has done up to a stage left out."""
        form, ends, p = Form(), self.ends(way), self.price_way(way)
        done = (ends == NEVER_ENDS).astype(float)
        self.add_unit(form, p, done)
        if way.strip_charge.high > 0:
            atom = self.inputs.number(f"strip:{way.way}", f"strip charge, {way.way}", self.home, way.strip_charge)
            form.add("cash", atom, 1.0 - done)
        self._add_core_carriage(form, way, 1.0)
        lead = self.lead_atom(p)
        if lead is not None:
            form.add("days", lead, 1.0)
        for task, stage in self.tasks_of(way):
            if stage > after:
                self.add_task(form, task, (ends >= stage).astype(float))
        self._add_fitting(form, way, done)
        self.add_orders(form, self._damage(form, way, ends, NEVER_ENDS, after), ends)
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
        self.add_unit(form, p)
        if way.core_surcharge.high > 0:
            form.add("cash", self._surcharge(way), 1.0)
        return form
