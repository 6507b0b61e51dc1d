"""What a way costs: which task, part, unit and outcome is paid, worked or waited for, and in which leaves.

Everything is counted from the beginning of the job; ``after`` is the stage up to which a rebuild has got before the
way is taken (-1: none begun), ``upto`` the stage at whose end one stops counting.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np

from repairecon.buying.buying import Buying, Priced
from repairecon.buying.inputs import Product
from repairecon.rebuild_or_buy.orders import Bools, Floats, Floor, Ints, Orders, Wanted
from repairecon.rebuild_or_buy.tree import NEVER_ENDS, STAGE, Tree, branch_touches, end_of, named_in
from repairecon.rebuild_or_buy.work import Bill, Work
from repairecon.records import Branch, Case, Task, Way

ORDER_STAGE = {"now": -1, "after removal": STAGE["removal"], "after strip": STAGE["strip"],
               "after measure": STAGE["measure"]}  # fmt: skip
REBUILD_STARTS = STAGE["reassembly"]
AT_THE_BOAT = (STAGE["outside"], STAGE["removal"], STAGE["first run"])
"""Stages at the boat: a task without ``ways`` is done there whatever the way."""
AT_THE_BENCH = range(STAGE["strip"], REBUILD_STARTS + 1)
SHOPS = ("machine shop", "yard")
"""Who does the extra work on a unit that was sent away, the first that the case names."""


class WaysCost:
    """Writes the bills of a case's ways over the leaves of its tree."""

    def __init__(self, case: Case, tree: Tree, buying: Buying) -> None:
        self.case, self.tree, self.buying = case, tree, buying
        self.work = Work(case.terms)
        self.orders = Orders(buying, self.work)
        self.order_stage = ORDER_STAGE[case.terms.order_parts]
        self.everywhere = np.ones(len(tree.chance), dtype=bool)
        self.ends = {w.way: end_of(case, tree, w) for w in case.ways}

    # ---- what bears on a way ----------------------------------------------------------------
    def tasks_of(self, way: Way) -> list[tuple[Task, int]]:
        """Tasks that a way needs, with their stages: those that name it; without ``ways`` those at the boat for all
        ways, those at the bench for a rebuild here."""
        found = []
        for task in self.case.tasks:
            stage = STAGE[task.stage]
            by_rule = stage in AT_THE_BOAT or way.traits.rebuilds == "here"
            if named_in(task.ways, way) if task.ways else by_rule:
                found.append((task, stage))
        return found

    def price_of(self, way: Way) -> Priced:
        """The price that a bought or sent-away unit takes."""
        return self.buying.alone(way.way, 1)

    @cached_property
    def prices(self) -> dict[str, tuple[Priced, ...]]:
        """The lines that each part takes: in the planned order, or by itself where only damage needs it."""
        planned: dict[str, tuple[Priced, ...]] = {}
        for p in self.buying.order(self.buying.plan):
            planned[p.item] = (*planned.get(p.item, ()), p)
        return {p.part: planned.get(p.part) or self.buying.order(((p.part, p.quantity),)) for p in self.case.parts}

    # ---- a rebuild here -----------------------------------------------------------------------
    def rebuild(self, way: Way, *, at_leisure: bool = False, upto: int = NEVER_ENDS) -> Bill:
        """Rebuilding the old unit at the boat; at leisure: bench work only, the boat is in service meanwhile."""
        bill, end = Bill(), np.minimum(self.ends[way.way], upto)
        # a rebuild that is given up before the unit goes together again does not wait for its parts
        waited = end >= REBUILD_STARTS
        for task, stage in self.tasks_of(way):
            if at_leisure and stage not in AT_THE_BENCH:
                continue
            done = (end >= stage).astype(float)
            while_waiting = self.order_stage < stage < REBUILD_STARTS
            self.work.task(bill, task, done, done - waited if while_waiting else None)
        wanted = [
            Wanted(self.order_stage, p.part, np.where(end > self.order_stage, p.quantity, 0))
            for p in self.case.parts
            if p.needed == "always"
        ]
        wanted += self._damage_here(bill, way, end, upto, at_leisure)
        floor = self._work_while_waiting(way)
        self.orders.add(bill, wanted, waited, {self.order_stage: floor} if floor else {}, at_leisure)
        if at_leisure:
            bill.days.clear()
        return bill

    def _work_while_waiting(self, way: Way) -> Floor:
        """Days of bench work that run while early-ordered parts are on their way: a floor under the wait."""
        work = Bill()
        for task, stage in self.tasks_of(way):
            if self.order_stage < stage < REBUILD_STARTS:
                self.work.task(work, task, 1.0)
        products = ((t, c) for t, c in work.days.items() if isinstance(t, Product))
        return tuple((term.inputs[0], float(np.max(coef))) for term, coef in products)

    def _damage_here(self, bill: Bill, way: Way, end: Ints, upto: int, at_leisure: bool) -> list[Wanted]:
        """Work of the outcomes that bear on a rebuild here; at leisure none that shows first once it runs, and none
        that bears on the unit bought for service."""
        wanted = []
        for branch, holds in zip(self.case.branches, self.tree.holds, strict=True):
            stage = STAGE.get(branch.seen_at, NEVER_ENDS)
            if branch.seen_at == "" or not branch_touches(branch, way):
                continue
            if at_leisure and (stage > REBUILD_STARTS or branch_touches(branch, self.case.way(way.bought))):
                continue
            wanted += self._damage(bill, branch, branch.by, self._met(branch, holds, way, end, upto), end)
        return wanted

    def _met(self, branch: Branch, holds: Bools, way: Way, end: Ints, upto: int = NEVER_ENDS) -> tuple[Bools, Bools]:
        """Leaves in which an outcome is worked on, and in which it holds.

        At the stage where a rebuild ends only the outcome that ends it is worked on.
        """
        stage = STAGE[branch.seen_at]
        ending = branch.ends_rebuild and bool(way.traits.rebuilds)
        return holds & ((end == stage) & (stage <= upto) if ending else (end > stage)), holds

    def _damage(self, bill: Bill, branch: Branch, by: str, met: tuple[Bools, Bools], end: Ints) -> list[Wanted]:
        """Extra work of an outcome, and the parts that it wants: in the planned order if it is seen by then."""
        worked, holds = met
        self.work.outcome(bill, branch, by, worked.astype(float))
        order = max(STAGE[branch.seen_at], self.order_stage)
        return [Wanted(order, part, np.where(holds & (end > order), n, 0)) for part, n in branch.parts]

    # ---- sent away ----------------------------------------------------------------------------
    def send_away(self, way: Way, after: int = -1) -> Bill:
        """A specialist rebuilds the old unit; what the owner has done up to a stage is left out."""
        bill, end, price = Bill(), self.ends[way.way], self.price_of(way)
        done = (end == NEVER_ENDS).astype(float)
        self.work.unit(bill, price, done)
        if way.strip_charge.high > 0:  # taken apart for nothing
            bill.pay(self.work.money("strip", "strip charge", way, way.strip_charge), 1.0 - done)
        self._core_carriage(bill, way)
        lead = self.work.lead(price)
        if lead is not None:
            bill.take(lead)
        for task, stage in self.tasks_of(way):
            if stage > after:
                self.work.task(bill, task, (end >= stage).astype(float))
        self.work.fitting(bill, way, done)
        wanted = []
        for branch, holds in self._open_damage(way, after):
            met = self._met(branch, holds, way, end)
            wanted += self._damage(bill, branch, self._worker(branch), met, end)
        self.orders.add(bill, wanted, end >= REBUILD_STARTS, {})
        return bill

    def _open_damage(self, way: Way, after: int) -> list[tuple[Branch, Bools]]:
        """Outcomes that bear on a way, those left out that a rebuild which got to stage ``after`` has paid already."""
        found = []
        for branch, holds in zip(self.case.branches, self.tree.holds, strict=True):
            if branch.seen_at == "" or not branch_touches(branch, way):
                continue
            stage = STAGE[branch.seen_at]
            spent = stage < after or (stage == after and branch.ends_rebuild)
            if not (spent and any(w.traits.rebuilds and branch_touches(branch, w) for w in self.case.ways)):
                found.append((branch, holds))
        return found

    def _worker(self, branch: Branch) -> str:
        """Who does the extra work: a unit sent away is worked on by the shop, but for what shows at the boat."""
        at_the_boat = STAGE[branch.seen_at] in (*AT_THE_BOAT, STAGE["later"])
        if at_the_boat or branch.by != "owner":
            return branch.by
        return next((by for by in SHOPS if by in self.case.terms.labour), "owner")

    def _core_carriage(self, bill: Bill, way: Way) -> None:
        if way.core_carriage.high > 0:
            bill.pay(self.work.money("core carriage", "carriage of the old unit", way, way.core_carriage))

    # ---- bought -------------------------------------------------------------------------------
    def purchase(self, way: Way) -> Bill:
        """Only the paying for a unit: price, carriage, core surcharge."""
        bill = Bill()
        self.work.unit(bill, self.price_of(way))
        if way.core_surcharge.high > 0:
            bill.pay(self._surcharge(way))
        return bill

    def buy(self, way: Way, after: int = -1) -> Bill:
        """A bought unit that came, fitted."""
        bill = self.purchase(way)
        self._refund(bill, way, after)
        if way.old_unit in ("sold", "scrap") and way.old_unit_price.high > 0:
            bill.pay(self.work.money("old unit", "price got for the old unit", way, way.old_unit_price), -1.0)
        lead = self.work.lead(self.price_of(way))
        if lead is not None:
            bill.take(lead)
        for task, stage in self.tasks_of(way):
            # a unit that failed at its first run comes off again, and what follows it goes on
            off_again = after >= STAGE["first run"] and stage in (STAGE["removal"], STAGE["first run"])
            if stage > after or off_again:
                self.work.task(bill, task, 1.0)
        self.work.fitting(bill, way, 1.0)
        wanted, never_ends = [], np.full(len(self.everywhere), NEVER_ENDS, dtype=np.int64)
        for branch, holds in self._open_damage(way, after):
            wanted += self._damage(bill, branch, branch.by, self._met(branch, holds, way, never_ends), never_ends)
        self.orders.add(bill, wanted, self.everywhere, {})
        return bill

    def _refund(self, bill: Bill, way: Way, after: int) -> None:
        """The core surcharge comes back for an old unit that is taken; one that was stripped is not sent."""
        if way.core_surcharge.high <= 0:
            return
        refund = self.work.inputs.chance(f"refund:{way.way}", f"core accepted, {way.way}", way.p_refund, way.source)
        bill.pay(self._surcharge(way).times(refund), -self.core_accepted(way, after))
        if after < STAGE["strip"] or way.core_if_stripped:
            self._core_carriage(bill, way)

    def _surcharge(self, way: Way) -> Product:
        return self.work.money("core", "core surcharge", way, way.core_surcharge)

    def core_accepted(self, way: Way, after: int) -> Floats:
        """One in the leaves in which the old unit can still earn its refund after a rebuild that got to a stage."""
        if after >= STAGE["strip"] and not way.core_if_stripped:
            return np.zeros(len(self.everywhere))
        ok = self.everywhere.copy()
        for branch, holds in zip(self.case.branches, self.tree.holds, strict=True):
            if branch.core_refused and (not branch.ways or named_in(branch.ways, way)):
                ok &= ~holds
        return ok.astype(float)
