"""What a way costs: which task, part, unit and outcome is paid, worked or waited for, and in which leaves. Everything
is counted from the beginning of the job; ``after`` is the stage up to which a rebuild has got before the way is taken
(-1: none begun), ``upto`` the stage at whose end one stops counting."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from repairecon.buying.buying import Buying, Priced
from repairecon.buying.inputs import ONE, Product
from repairecon.rebuild_or_buy.work import DAYS, Bill, Wanted, Work
from repairecon.records import Branch, Case, Remedy, Task, Way

from repairecon.rebuild_or_buy.tree import (  # isort: skip
    NEVER_ENDS, STAGE, Bools, Floats, Ints, Tree, branch_touches, end_of, named_in, shares,
)  # fmt: skip

ORDER_STAGE = {"now": -1, **{f"after {stage}": STAGE[stage] for stage in ("removal", "strip", "measure")}}
REBUILD_STARTS = STAGE["reassembly"]
AT_THE_BOAT = (STAGE["outside"], STAGE["removal"], STAGE["first run"])
"""Stages at the boat: a task without ``ways`` is done there whatever the way."""
AT_THE_BENCH = range(STAGE["strip"], REBUILD_STARTS + 1)
SHOPS = ("specialist", "machine shop", "yard")
"""Who does the extra work on a unit that was sent away, the first that the case names."""
OWN_SPARE = "own spare"
Remedied = Mapping[tuple[str, str, str], tuple[Remedy, ...]]
"""Remedies in the order in which they are taken, by way, event and outcome; none of them: the rebuild ends."""


@dataclass(frozen=True, eq=False)
class Seen:
    """An outcome, the leaves in which it holds, the stage at which it shows and, of an averaged event, how often."""

    branch: Branch
    holds: Bools
    stage: int
    times: float = 1.0
    often: Product = ONE


def lasting(way: Way) -> bool:
    """Whether a way ends with a sound unit in service."""
    return way.traits.in_service in ("rebuilt", "bought")


def plain_buys(ways: Sequence[Way]) -> list[int]:
    return [i for i, w in enumerate(ways) if w.traits.buys and not w.traits.rebuilds]


class WaysCost:
    """Writes the bills of a case's ways over the leaves of its tree."""

    def __init__(self, case: Case, tree: Tree, buying: Buying, remedied: Remedied | None = None) -> None:
        self.case, self.tree, self.buying, self.remedied = case, tree, buying, dict(remedied or {})
        self.work = Work(case.terms, buying)
        self.order_stage = ORDER_STAGE[case.terms.order_parts]
        self.seen = list(self._seen())
        met = [key for key, taken in self.remedied.items() if taken]
        self.ends = {w.way: end_of(case, tree, w, {key[1:] for key in met if key[0] == w.way}) for w in case.ways}

    def _seen(self) -> Iterator[Seen]:
        """The outcomes that show at a stage, of averaged events as often as their chances have it."""
        averaged: dict[str, list[Branch]] = {}
        holds = {id(b): holds for b, holds in zip(self.case.branches, self.tree.holds, strict=True) if b.seen_at}
        for b in self.case.branches:
            if b.event in self.tree.averaged:
                averaged.setdefault(b.event, []).append(b)
            elif b.seen_at:
                yield Seen(b, holds[id(b)], STAGE[b.seen_at])
        for rows in averaged.values():
            for b, times, often in shares(rows, self.work.chance):
                yield Seen(b, holds[id(b)], STAGE[b.seen_at], times, often)

    # ---- what bears on a way ----------------------------------------------------------------
    def tasks_of(self, way: Way) -> list[tuple[Task, int]]:
        """Tasks of a way, with stages: those that name it; else those at the boat, and at the bench for a rebuild."""
        found = []
        for task in self.case.tasks:
            stage = STAGE[task.stage]
            by_rule = way.traits.rebuilds == "here" or (stage in AT_THE_BOAT and lasting(way))
            if named_in(task.ways, way) if task.ways else by_rule:
                found.append((task, stage))
        return found

    def price_of(self, way: Way) -> Priced:
        """The price that a bought or sent-away unit takes; a spare aboard that of the unit which replaces it."""
        if way.kind == OWN_SPARE and way.price is None and way.way not in self.buying.by_item:
            others = [w for w in self.case.ways if w.traits.buys and not w.traits.rebuilds and w.kind != OWN_SPARE]
            if others:
                return min((self.price_of(w) for w in others), key=lambda p: p.landed)
        return self.buying.alone(way.way, 1)

    @cached_property
    def prices(self) -> dict[str, tuple[Priced, ...]]:
        """The lines that each part takes: in the planned order as it stands, or by itself where it is not in that. This
        is what the first rebuild here orders at its time for sure: the planned parts, and those of damage that is known
        to be there."""
        way, sure = next((w for w in self.case.ways if w.kind == "rebuild"), None), {p.part: 0 for p in self.case.parts}
        if way is not None:
            end = self.ends[way.way]
            goes_on = end > self.order_stage
            for w in self._wanted(Bill(), way, end) if goes_on.any() else ():
                if w.stage == self.order_stage and w.often == ONE:
                    sure[w.part] += int(w.pieces[goes_on].min())
        planned: dict[str, list[Priced]] = {}
        for p in self.buying.order(tuple((part, n) for part, n in sure.items() if n) or self.buying.plan):
            planned.setdefault(p.item, []).append(p)
        alone = {p.part: ((p.part, p.quantity),) for p in self.case.parts}
        return {part: tuple(planned.get(part, ())) or self.buying.order(order) for part, order in alone.items()}

    def rebuild(self, way: Way, *, at_leisure: bool = False, upto: int = NEVER_ENDS) -> Bill:
        """Rebuilding the old unit at the boat; at leisure: bench work only, the boat is in service meanwhile."""
        bill, end = Bill(), np.minimum(self.ends[way.way], upto)
        # a rebuild that is given up before the unit goes together again does not wait for its parts
        waited = end >= REBUILD_STARTS
        # bench work that runs while early-ordered parts are on their way: a floor under the wait
        work = Bill()
        for task, stage in self.tasks_of(way):
            done, while_waiting = (end >= stage).astype(float), self.order_stage < stage < REBUILD_STARTS
            if not at_leisure or stage in AT_THE_BENCH:
                self.work.do(bill, task, done, done - waited if while_waiting else None)
            if while_waiting:
                self.work.do(work, task, 1.0)
        wanted = self._wanted(bill, way, end, upto, at_leisure)
        days = ((t, c) for (output, t), c in work.items() if output == DAYS and isinstance(t, Product))
        floor = tuple((term.inputs[0], float(np.max(coef))) for term, coef in days)
        self.work.order(bill, wanted, waited, {self.order_stage: floor} if floor else {}, at_leisure)
        return Bill({k: coef for k, coef in bill.items() if k[0] != DAYS}) if at_leisure else bill

    def _wanted(
        self, bill: Bill, way: Way, end: Ints, upto: int = NEVER_ENDS, at_leisure: bool = False
    ) -> list[Wanted]:
        """Parts planned and parts for what is found, whose work goes into the bill; at leisure nothing that shows first
        once it runs, and nothing that bears on the unit bought for service."""
        wanted = self._planned(way, self.order_stage, end)
        for seen in self.seen:
            branch, bought = seen.branch, self.case.way(way.bought) if at_leisure else None
            left_out = bought is not None and (seen.stage > REBUILD_STARTS or branch_touches(branch, bought))
            if branch_touches(branch, way) and not left_out:
                worked = self._worked(seen, way, end, upto)
                self.work.do(bill, branch, worked, often=seen.often)
                wanted += self._parts(seen, branch.parts, end, seen.often)
                # the remedy taken, on top of the outcome's own row; where it does not hold, the next one
                often = ONE
                for remedy in self.remedies_taken(way, branch):
                    self.work.do(bill, remedy, worked, often=often)
                    wanted += self._parts(seen, remedy.parts, end, often)
                    often = often.times(self.work.chance(remedy, 1.0 - remedy.p_holds))
        return wanted

    def _planned(self, way: Way, stage: int, end: Ints) -> list[Wanted]:
        planned = [p for p in self.case.parts if p.needed == "always"]
        parts = [p for p in planned if (named_in(p.ways, way) if p.ways else way.traits.rebuilds == "here")]
        return [Wanted(stage, p.part, np.where(end > stage, p.quantity, 0)) for p in parts]

    def not_done_yet(self, way: Way, begun: Way, upto: int) -> Bill:
        """Work of a depth of rebuild up to a stage before parts are ordered, less what the one begun shares."""
        bill, end = Bill(), np.minimum(self.ends[way.way], upto)
        done = [task for task, _ in self.tasks_of(begun)]
        for task, stage in self.tasks_of(way):
            if task not in done:
                self.work.do(bill, task, (end >= stage).astype(float))
        for seen in self.seen:
            if seen.stage <= upto and branch_touches(seen.branch, way) and not branch_touches(seen.branch, begun):
                worked = self._worked(seen, way, end, upto)
                self.work.do(bill, seen.branch, worked, often=seen.often)
        return bill

    def _worked(self, seen: Seen, way: Way, end: Ints, upto: int = NEVER_ENDS) -> Floats:
        """How often (L,) an outcome is worked on: at the stage where a rebuild ends only the outcome that ends it."""
        branch, stage = seen.branch, seen.stage
        ending = branch.ends_rebuild and bool(way.traits.rebuilds) and not self.remedies_taken(way, branch)
        worked = seen.holds & ((end == stage) & (stage <= upto) if ending else (end > stage))
        return worked * seen.times

    def _parts(self, seen: Seen, parts: Iterable[tuple[str, int]], end: Ints, often: Product) -> list[Wanted]:
        """Parts for an outcome: in the planned order if it is seen by then."""
        order = max(seen.stage, self.order_stage)
        return [Wanted(order, part, np.where(seen.holds & (end > order), n, 0), often) for part, n in parts]

    def remedies_taken(self, way: Way, branch: Branch) -> tuple[Remedy, ...]:
        """The remedy that an outcome is met by, then the one taken if that does not hold."""
        return self.remedied.get((way.way, branch.event, branch.outcome), ())

    def life_share(self, way: Way) -> Floats:
        """Expected share of its life (L,) that the remedies taken leave a rebuilt unit."""
        share = np.ones(len(self.tree.chance))
        for branch, holds in zip(self.case.branches, self.tree.holds, strict=True):
            taken = self.remedies_taken(way, branch)
            if taken and branch_touches(branch, way):
                left, p = 0.0, 1.0
                for remedy in taken[:-1]:
                    left += p * remedy.p_holds * remedy.life_share
                    p *= 1.0 - remedy.p_holds
                share[holds] *= left + p * taken[-1].life_share
        return share

    def send_away(self, way: Way, after: int = -1) -> Bill:
        """A specialist rebuilds the old unit; what the owner has done up to a stage is left out."""
        bill, end = Bill(), self.ends[way.way]
        done = (end == NEVER_ENDS).astype(float)
        self.work.unit(bill, self.price_of(way), done)
        self.work.pay(bill, "strip", way, way.strip_charge, 1.0 - done)  # taken apart for nothing
        self.work.pay(bill, "core carriage", way, way.core_carriage)
        return self._from_elsewhere(bill, way, after, end)

    def buy(self, way: Way, after: int = -1) -> Bill:
        bill = self.purchase(way)
        if way.core_surcharge.high > 0:
            # it comes back for an old unit that is taken; one that was stripped is not sent
            sent = after < STAGE["strip"] or way.core_if_stripped
            accepted = np.full(len(self.tree.chance), float(sent))
            for branch, holds in zip(self.case.branches, self.tree.holds, strict=True):
                if branch.core_refused and (not branch.ways or named_in(branch.ways, way)):
                    accepted[holds] = 0.0
            refund = self.work.inputs.chance(f"refund:{way.way}", f"core accepted, {way.way}", way.p_refund, way.source)
            bill.pay(self.work.money("core", way, way.core_surcharge).times(refund), -accepted)
            if sent:
                self.work.pay(bill, "core carriage", way, way.core_carriage)
        if way.old_unit in ("sold", "scrap"):
            self.work.pay(bill, "old unit", way, way.old_unit_price, -1.0)
        return self._from_elsewhere(bill, way, after, np.full(len(self.tree.chance), NEVER_ENDS, dtype=np.int64))

    def _from_elsewhere(self, bill: Bill, way: Way, after: int, end: Ints) -> Bill:
        """Wait, work that is not done yet, fitting and damage of a unit that comes from elsewhere."""
        away, done = way.traits.rebuilds == "away", (end == NEVER_ENDS).astype(float)
        if (lead := self.work.lead(self.price_of(way))) is not None and way.kind != OWN_SPARE:
            bill.take(lead)
        for task, stage in self.tasks_of(way):
            # a bought one that failed at its first run comes off again, and what follows it goes on
            off_again = not away and after >= STAGE["first run"] and stage in (STAGE["removal"], STAGE["first run"])
            if stage > after or off_again:
                self.work.do(bill, task, (end >= stage).astype(float))
        self.work.fitting(bill, way, done)
        wanted = self._planned(way, STAGE["removal"], end) if away else []
        for seen in self.seen:
            branch = seen.branch
            if not branch_touches(branch, way) or self._paid(seen, after) or (away and self._covered(way, branch)):
                continue
            # a unit sent away is worked on by the shop, but for what shows at the boat
            by = branch.by
            if away and by == "owner" and seen.stage not in (*AT_THE_BOAT, STAGE["later"]):
                by = next((shop for shop in SHOPS if shop in self.case.terms.labour), by)
            self.work.do(bill, branch, self._worked(seen, way, end), by=by, often=seen.often)
            wanted += self._parts(seen, branch.parts, end, seen.often)
        self.work.order(bill, wanted, end >= REBUILD_STARTS, {})
        return bill

    def _paid(self, seen: Seen, after: int) -> bool:
        """Whether a rebuild that got to a stage has paid for an outcome already."""
        spent = seen.stage < after or (seen.stage == after and seen.branch.ends_rebuild)
        return spent and any(w.traits.rebuilds and branch_touches(seen.branch, w) for w in self.case.ways)

    def _covered(self, way: Way, branch: Branch) -> bool:
        """Whether an outcome is in the price of a unit sent away: it shows on the rebuilder's bench, and no row says
        that it comes on top by naming the way. What is found is in the price as the way says, else if the price is a
        range, and where the case names nobody whose hours could be paid on top."""
        on_top = any(w in (way.way, way.kind) for w in branch.ways)
        nobody = not any(by in self.case.terms.labour for by in SHOPS)
        stated = way.price_covers if way.price_covers is not None else not self.price_of(way).range.sure
        return STAGE[branch.seen_at] in AT_THE_BENCH and not on_top and (stated or nobody)

    # ---- as it is, for a while or for good -------------------------------------------------------
    def meanwhile(self, way: Way) -> Bill:
        """Carrying on, a temporary repair or doing without, in itself; days out where it does not work meanwhile."""
        bill = Bill()
        if way.price is not None or way.way in self.buying.by_item:
            self.work.unit(bill, self.price_of(way))
        for task, _ in self.tasks_of(way):
            self.work.do(bill, task, 1.0)
        self.work.fitting(bill, way, 1.0)
        out = way.traits.in_service == "none" or way.works_meanwhile == "no"
        if out and way.until_days is not None:
            bill.take(self.work.inputs.number(f"until:{way.way}", f"days until, {way.way}", "days", way.until_days))
        return bill

    def breaks(self, way: Way) -> Bill:
        bill = Bill()
        self.work.pay(bill, "more", way, way.more_cost)
        return bill

    def away(self) -> Bill:
        bill, years = Bill(), self.case.years
        if years.cost_away.high > 0:
            bill.pay(self.work.inputs.number("away", "failure away from base", self.work.home, years.cost_away))
        if years.days_away.high > 0:
            bill.take(self.work.inputs.number("days away", "days more away from base", "days", years.days_away))
        return bill

    def lost(self, way: Way, instead: Way | None, after: int) -> Bill:
        """What is done for a way that never comes before another is taken, besides waiting: its tasks by then that the
        other does not need as well. A spare that is dead shows at its first run: all its work."""
        bill, dead = Bill(), way.kind == OWN_SPARE
        others = self.tasks_of(instead) if instead else []
        shared = [task for task, stage in others if stage == STAGE["outside"] or not dead]
        for task, stage in self.tasks_of(way):
            by_then = stage <= STAGE["first run" if dead else "removal"]
            if after < stage and by_then and task not in shared:
                self.work.do(bill, task, 1.0)
        if dead:
            self.work.fitting(bill, way, 1.0)
        return bill

    def purchase(self, way: Way) -> Bill:
        """Only the paying for a unit: price, carriage, core surcharge."""
        bill = Bill()
        if way.kind != OWN_SPARE or self.price_of(way).range.high > 0:
            self.work.unit(bill, self.price_of(way))
        self.work.pay(bill, "core", way, way.core_surcharge)
        return bill
