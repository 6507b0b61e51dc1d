"""Several depths of rebuild: each with its bench, and going over from one to another, by brute force."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from plain_loop import MEANS, PlainCase
from plain_numbers import Bill
from plain_work import NO_END, Found, at
from reference_case import branch, task, terms, way
from small_case import part, small, sure

from repairecon import rebuild_or_buy
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.stages import decision, rebuilds_here
from repairecon.rebuild_or_buy.tree import grow
from repairecon.records import ORDER_TIMES, STAGES, Case, Way

SEALS, WHOLE, NEW = way("seals", "rebuild"), way("whole", "rebuild"), way("new", "new", sure(700), lead_days=sure(3))


def depths(seed: int) -> Case:
    """Two depths whose tasks, parts, findings and ends are partly their own."""
    rng = random.Random(seed)

    def mine(*ways: str, stage: str, hours: float, cost: float = 0.0) -> object:
        name = f"{stage} for {' and '.join(ways) or 'all'}"
        return replace(task(name, stage, hours=sure(hours), cost=sure(cost)), ways=ways)

    tasks = [mine(stage=s, hours=rng.choice((1, 2, 4))) for s in ("removal", "strip", "reassembly")]
    tasks += [mine("whole", stage="strip", hours=rng.choice((0, 3, 6))), mine("seals", stage="measure", hours=1)]
    tasks += [mine("whole", stage="reassembly", hours=rng.choice((2, 5)), cost=rng.choice((0, 80)))]
    rough = rng.uniform(0.2, 0.6)
    rows = [
        branch("bearing", "smooth", 1 - rough, "strip"),
        branch("bearing", "rough", rough, "strip", ways=("seals",), ends_rebuild=True),
        branch("shaft", "good", 0.5, "measure"),
        branch("shaft", "grooved", 0.5, "measure", outside_cost=sure(rng.choice((60, 200)))),
        branch("comes back", "holds", 0.7, "first run"),
        branch("comes back", "leaks", 0.3, "first run", ways=("seals",), outside_cost=sure(rng.choice((50, 400)))),
    ]
    kit = replace(part("kit", 40, sure(4)), ways=("seals",))
    bearings = replace(part("bearings", rng.choice((90, 250)), sure(8)), ways=("whole",))
    return small(
        terms=terms(order_parts=rng.choice(ORDER_TIMES), cost_own_hour=10.0, cost_lost_day=sure(5)),
        tasks=tuple(tasks), branches=tuple(rows), parts=(kit, bearings), ways=(SEALS, WHOLE, NEW),
    )  # fmt: skip


class PlainDepths(PlainCase):
    """The least cost by trying, at each place, to go on, to go over to the other depth, and to stop and buy."""

    cap = NO_END

    def end(self, way: Way, found: Found) -> int:
        return min(super().end(way, found), self.cap)

    def money(self, bill: Bill) -> float:
        return self.total(bill, MEANS)

    def up_to(self, way: Way, point: int, found: Found) -> float:
        if point < 0:
            return 0.0
        self.cap = point
        try:
            return self.money(self.rebuild_here(way, found, MEANS, at_leisure=False))
        finally:
            self.cap = NO_END

    def wasted(self, begun: Way, then: Way, point: int, found: Found) -> float:
        """Work done under one depth up to a stage that another depth has no use for."""
        bill = Bill()
        for t in self.tasks_of(begun):
            if at(t.stage) <= min(point, self.end(begun, found)) and t not in self.tasks_of(then):
                self.task(bill, MEANS, t)
        return self.money(bill)

    def best(self, way: Way, leaves: list, point: int, more: float) -> float:
        """Least cost times chance from the end of a stage on; ``more`` what was wasted before."""
        total = 0.0
        groups: dict[tuple[str, ...], list] = {}
        for p, found in leaves:
            seen = tuple(self._outcome(found, e) for e, r in self.rows.items() if at(r[0].seen_at) <= point)
            groups.setdefault(seen, []).append((p, found))
        for group in groups.values():
            costs = [
                sum(
                    p * (more + self.up_to(way, point, f) + self.money(self.buy(NEW, point, f, MEANS)))
                    for p, f in group
                )
            ]
            if not any(self.end(way, f) <= point for _, f in group):
                last = point + 1 == len(STAGES)
                whole = sum(
                    p * (more + self.money(self.rebuild_here(way, f, MEANS, at_leisure=False))) for p, f in group
                )
                costs.append(whole if last else self.best(way, group, point + 1, more))
            other = WHOLE if way is SEALS else SEALS
            if point <= self.order_stage and not any(self.end(other, f) <= point for _, f in group):
                lost = self.wasted(way, other, point, group[0][1])
                costs.append(self.best(other, group, point + 1, more + lost))
            total += min(costs)
        return total


@pytest.mark.parametrize("seed", range(12))
def test_the_freedom_to_go_over_against_brute_force(seed: int) -> None:
    made = depths(seed)
    model, plain = Model(made, grow(made), {}), PlainDepths(made)
    tried = min(plain.best(w, plain.leaves, -1, 0.0) for w in (SEALS, WHOLE))
    assert decision(model).value() == pytest.approx(tried, rel=1e-6)
    assert decision(model).value() == pytest.approx(tried, rel=1e-6)


@pytest.mark.parametrize("seed", range(4))
def test_swapping_rows_changes_nothing(seed: int) -> None:
    made = depths(seed)
    turned = replace(made, ways=made.ways[::-1], parts=made.parts[::-1], tasks=made.tasks[::-1])
    one, other = (rebuild_or_buy(c, 200) for c in (made, turned))
    assert one.bench.value == pytest.approx(other.bench.value, rel=1e-9)
    assert one.bench.repair_limit == pytest.approx(other.bench.repair_limit, rel=1e-9)
    assert {w: b.value for w, b in one.benches.items()} == pytest.approx({w: b.value for w, b in other.benches.items()})
    assert {(r.way, r.rule): r.rebuild_cost for r in one.thumb_rules} == pytest.approx(
        {(r.way, r.rule): r.rebuild_cost for r in other.thumb_rules}
    )


def test_each_depth_has_a_bench_of_its_own() -> None:
    answer = rebuild_or_buy(depths(1), 200)
    assert set(answer.benches) == {"seals", "whole"} == {answer.model.ways[i] for i in rebuilds_here(answer.model)}


def test_the_deeper_rebuild_is_gone_over_to_where_the_shallow_one_ends() -> None:
    """Seals for 10 end on a rough bearing (half the time); the whole at 100 more goes on, against 700 for a new one."""
    rows = (branch("bearing", "smooth", 0.5, "strip"),
            branch("bearing", "rough", 0.5, "strip", ways=("seals",), ends_rebuild=True))  # fmt: skip
    parts = (replace(part("kit", 10, None), ways=("seals",)), replace(part("all", 110, None), ways=("whole",)))
    made = small(tasks=(), branches=rows, parts=parts, ways=(SEALS, WHOLE, NEW))
    model = Model(made, grow(made), {})
    assert decision(model).value() == pytest.approx(0.5 * 10 + 0.5 * 110)
