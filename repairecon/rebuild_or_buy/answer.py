"""The answer of the job: table and verdict at once, all else when it is first asked for."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from repairecon.buying.buying import Priced
from repairecon.buying.inputs import mean_of
from repairecon.read.look_again import Remark, look_again
from repairecon.rebuild_or_buy import advice as advised
from repairecon.rebuild_or_buy import bench as at_the_bench
from repairecon.rebuild_or_buy import sensitivity
from repairecon.rebuild_or_buy.advice import Advice, Basis, Risk
from repairecon.rebuild_or_buy.bench import Bench, Place, StopWhen, Worth, places, point_name, stop_when
from repairecon.rebuild_or_buy.evaluate import Piece
from repairecon.rebuild_or_buy.learned import LifeFit
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.outcomes import QUANTITIES, Outcomes
from repairecon.rebuild_or_buy.sensitivity import Flip, Number, Swing
from repairecon.rebuild_or_buy.stages import GO_ON, Decision, decision, rebuilds_here
from repairecon.rebuild_or_buy.tree import NEVER_ENDS, Finding, branch_touches, costs_something, grow
from repairecon.rebuild_or_buy.years import Horizon
from repairecon.records import Case, Years
from repairecon.show.sheet import Panel, Shown
from repairecon.show.words import money


@dataclass(frozen=True)
class ThumbRule:
    """A rule in use beside the computed answer: the price of a repair against that of new, as owners mean it.
    ``rebuild_cost`` money for the parts and the outside labour of ``way`` as planned, without own hours and without
    what may be found; ``price_new`` what a new unit costs; ``limit`` the most that the rule would spend on the
    repair."""

    rule: str
    source: str
    limit: float | None
    rebuild_cost: float
    says: str
    agrees: bool | None
    way: str
    price_new: float


@dataclass(eq=False, repr=False)
class Answer(Shown):
    """All that the job finds, each part worked out when it is first asked for, and the same in any order of asking.

    Columns of ``table`` (a row a way): kind, allowed, why_not, p_nothing, p_cheapest, expected_regret, p_never,
    instead, p_given_up, p_spare, and for each of cash, own_hours, days, total, total_own_time_free: ``_mean`` (exact),
    ``_p10``, ``_p50``, ``_p90`` (sampled), ``_se`` and ``_p90_se`` (standard errors of a sampled mean
    and of the sampled P90); ``cost_lost_days_mean``.
    """

    case: Case
    model: Model
    outcomes: Outcomes
    why_not: dict[str, str]
    found: tuple[Finding, ...]
    stage: str
    years: Years
    life_fits: tuple[LifeFit, ...]

    def __post_init__(self) -> None:
        self.verdict = advised.verdict(self.case, self.table, self.outcomes)
        self.horizon = Horizon(self.model, self.outcomes, self.years)
        self.assumed, self.cautions = self.case.assumed, (*self.case.unit.cautions, *advised.waived(self.case))
        self.cost_own_hour = self.model.own_hour

    def said(self) -> Panel:
        from repairecon.rebuild_or_buy.parts import said

        return said(self)

    def money(self, amount: float, se: float = 0.0) -> str:
        return money(amount, self.case.terms.currency, se)

    @cached_property
    def look_again(self) -> list[Remark]:
        """Figures that may be slips, those left out that the owner has said are right."""
        return [r for r in look_again(self.case) if not r.acknowledged]

    @cached_property
    def basis(self) -> Basis:
        """This job and the years side by side, and where the choice turns."""
        fitted = [f.way for f in self.life_fits if not f.refused]
        return Basis(self.model, self.horizon, self.verdict.best, self.numbers, fitted)

    @cached_property
    def advice(self) -> Advice:
        return advised.advice(self)

    # ---- what it hangs on -------------------------------------------------------------------
    @cached_property
    def numbers(self) -> tuple[Number, ...]:
        return tuple(sensitivity.numbers(self.model))

    @cached_property
    def flips(self) -> tuple[Flip, ...]:
        return tuple(sensitivity.flips(self.model, self.model.ways.index(self.verdict.best), self.numbers))

    @cached_property
    def swings(self) -> tuple[Swing, ...]:
        return tuple(sensitivity.swings(self.model, self.model.ways.index(self.verdict.best), self.numbers))

    @cached_property
    def thumb_rules(self) -> tuple[ThumbRule, ...]:
        """The rules in use for every way that repairs the old unit, beside the computed answer."""
        model, unit = self.model, self.case.unit
        new = (Piece(model.program.spare[i]) for i, w in enumerate(model.case.ways) if w.kind == "new")
        prices = [float(model.plain.at.expected((piece,))[0]) for piece in new]  # all in
        prices += [] if unit.price_new is None else [mean_of(unit.price_new)]
        if not prices:
            return ()
        price, repairs = prices[0], [w.way for w in model.case.ways if w.kind in ("rebuild", "send away")]
        planned = model.like(tree=grow(model.case, bare=True), done=-1)
        cash = dict(zip(model.ways, planned.expected()[:, 0].tolist(), strict=True))
        line = None
        if unit.age_years is not None and unit.expected_life_years:
            line = price * max(1.0 - unit.age_years / unit.expected_life_years, 0.0)
        rules: list[tuple[str, str, float | None]] = [
            ("no more than 50 % of new", "rule of thumb, no derivation", 0.5 * price),
            ("no more than 85 % of list", "US Army TB 43-0154 (small engines and outboards)", 0.85 * price),
            ("price of new x (1 - age / life)", "US Coast Guard CI 11103.1B", line),
        ]
        computed = "rebuild" if model.case.way(self.verdict.best).traits.in_service == "rebuilt" else "buy"

        def beside(way: str, name: str, source: str, limit: float | None) -> ThumbRule:
            says = "" if limit is None else "rebuild" if cash[way] <= limit else "buy"
            return ThumbRule(name, source, limit, cash[way], says, says == computed if says else None, way, price)

        return tuple(beside(way, *rule) for way in repairs for rule in rules)

    @cached_property
    def risk(self) -> Risk:
        return advised.risk(self.case, self.table, self.outcomes, self.verdict)

    # ---- at the bench -----------------------------------------------------------------------
    @cached_property
    def decision(self) -> Decision:
        return decision(self.model, more=self.model.late)

    @cached_property
    def _reached(self) -> list[Place]:
        return list(places(self.model, self.decision))

    @cached_property
    def bench(self) -> Bench:
        return at_the_bench.bench(self.model, self.decision)

    @cached_property
    def benches(self) -> dict[str, Bench]:
        made = {i: decision(self.model, depth=i) for i in rebuilds_here(self.model)}
        return {self.model.ways[i]: at_the_bench.bench(self.model, d) for i, d in made.items()}

    @cached_property
    def stages(self) -> pd.DataFrame:
        """A row a stage: chance that it is reached and that one stops there, and the cost still to come."""
        rows = []
        for point in sorted({p.point for p in self._reached}):
            here = [p for p in self._reached if p.point == point]
            chance, stopping = sum(p.chance for p in here), sum(p.chance for p in here if p.choice != GO_ON)
            to_come = sum(p.chance * min(p.cost_go_on, p.cost_stop) for p in here) / chance
            rows.append((point_name(point, self.model.done), chance, stopping, to_come))
        return pd.DataFrame(rows, columns=["stage", "p_reached", "p_stop", "cost_still_to_come"])

    @cached_property
    def policy(self) -> pd.DataFrame:
        rows = [vars(p) | {"point": point_name(p.point, self.model.done)} for p in self._reached]
        called = {"point": "stage", "cost_stop": "repair_limit", "best_stop": "limit_way"}
        return pd.DataFrame(rows).rename(columns=called)

    @cached_property
    def stop_when(self) -> tuple[StopWhen, ...]:
        return tuple(stop_when(self._reached))

    @cached_property
    def order_times(self) -> pd.DataFrame:
        return at_the_bench.order_times(self.model)

    @cached_property
    def looks(self) -> tuple[Worth, ...]:
        """What the looks of the case are worth, best net worth first."""
        found = at_the_bench.looks(self.model, self.decision, self.numbers)
        return tuple(sorted(found, key=lambda w: (-w.net, -w.evpi, w.look)))

    @cached_property
    def table(self) -> pd.DataFrame:
        model, outcomes, tallies = self.model, self.outcomes, self.outcomes.tallies
        columns: dict[str, Any] = {
            "kind": [w.kind for w in model.case.ways], "allowed": list(model.allowed),
            "why_not": [self.why_not[w] for w in model.ways],
        }  # fmt: skip
        for q, name in enumerate(QUANTITIES):
            columns[f"{name}_mean"] = outcomes.mean[:, q]
            columns |= {f"{name}_p{p}": [float(t[q].quantile(p / 100)) for t in tallies] for p in (10, 50, 90)}
            columns[f"{name}_se"] = outcomes.sampled_se[:, q]
            columns[f"{name}_p90_se"] = [t[q].quantile_se(0.9) for t in tallies]
        columns["cost_lost_days_mean"] = outcomes.mean[:, 2] * model.lost_day
        if outcomes.back_by is not None:
            columns["back_by"], columns["back_by_se"] = outcomes.back_by
            columns["cost_late_mean"] = outcomes.late
        bought = [model.ways.index(w.bought or w.way) for w in model.case.ways]  # by a pair, else the way itself
        columns["p_nothing"] = [model.plain.p_nothing(i, model.done) for i in bought]
        columns |= {"p_cheapest": outcomes.p_cheapest, "expected_regret": outcomes.regret}
        columns["p_never"], columns["instead"] = zip(*(model.plain.never(i, model.done) for i in bought), strict=True)
        ends = {i: float(model.tree.chance[stage < NEVER_ENDS].sum()) for i, stage in model.ends.items()}
        columns["p_given_up"] = [ends.get(i, 0.0) for i in range(len(bought))]
        columns["p_spare"] = [model.p_spare_left(i) for i in range(len(bought))]
        return pd.DataFrame(columns, index=pd.Index(model.ways, name="way"))

    @cached_property
    def leaves(self) -> pd.DataFrame:
        """A row a leaf: chance, outcomes, what the damage adds to the planned rebuild, whether it ends it."""
        model, tree, i = self.model, self.model.tree, _main_rebuild(self.model)
        words = [tree.words(k) for k in range(len(tree.chance))]
        stops = at_the_bench.stops(self.decision)
        columns: dict[str, Any] = {"chance": tree.chance, "outcomes": words, "expected_extra_cost": 0.0,
                                   "ends_rebuild": False, "stop": stops}  # fmt: skip
        if i is None:
            return pd.DataFrame(columns)
        weights = (1.0, model.own_hour, 0.0)
        planned = float(model.like(tree=grow(model.case, bare=True)).expected()[i] @ np.array(weights))
        columns["expected_extra_cost"] = model.plain.at.by_leaf(model.plain.way(i), weights) - planned
        columns["ends_rebuild"] = model.ends[i] < NEVER_ENDS
        return pd.DataFrame(columns).sort_values("chance", ascending=False, ignore_index=True)

    @cached_property
    def nodes(self) -> pd.DataFrame:
        """The tree as nodes: each branch, its chance given its parent, expected extra cost, and what is done there."""
        leaves, main = self.leaves, _main_rebuild(self.model)
        rebuild, order = ("", []) if main is None else (self.model.ways[main], _bearing_on(self.model, main))
        seen: dict[tuple[tuple[str, str], ...], list[int]] = {(): list(range(len(leaves)))}
        for k, outcome in enumerate(leaves["outcomes"]):
            path = tuple((event, outcome[event]) for event in order if event in outcome)
            for many in range(1, len(path) + 1):
                seen.setdefault(path[:many], []).append(k)
        columns = ("chance", "expected_extra_cost", "ends_rebuild", "stop")
        chance, extra, ends, stops = (leaves[column].to_numpy() for column in columns)
        ids, rows = {path: n for n, path in enumerate(seen)}, []
        for path, members in seen.items():
            before, joint = seen[path[:-1]], float(chance[members].sum())
            event, label = path[-1] if path else ("", self.case.unit.name)
            # the best rule where it is first settled, and how the branch is met
            here = set(stops[members])
            settled = len(here) == 1 and not (path and here == set(stops[before]))
            does = [f"stop: {stop}" for stop in here if stop and settled]
            does += [f"by {r.remedy}" for r in self.model.costs.remedied.get((rebuild, event, label), ())[:1]]
            rows.append({
                "id": ids[path], "parent": ids[path[:-1]] if path else -1, "label": label, "event": event,
                "chance": joint / float(chance[before].sum()), "note": "; ".join(does),
                "extra_cost": float(chance[members] @ extra[members] / joint),
                "ends_rebuild": bool(ends[members].all()),
            })  # fmt: skip
        return pd.DataFrame(rows)

    @cached_property
    def lines(self) -> pd.DataFrame:
        """Where each price comes from: a row for every part and way that is priced."""
        priced: list[tuple[str, str, int, Priced]] = []
        model, parts = self.model, {p.part: p for p in self.model.case.parts}
        for name, taken in model.costs.prices.items():
            for p in taken:
                pieces = parts[name].quantity if p.quote is None or len(taken) == 1 else p.packs * p.quote.pack
                priced.append((name, parts[name].needed, pieces, p))
        priced += [(way.way, "unit", 1, model.costs.price_of(way)) for i, way in enumerate(model.case.ways)
                   if i in model.buys or way.traits.rebuilds == "away"]  # fmt: skip
        sellers = [(p.supplier.supplier, p.supplier.currency) if p.supplier else ("", "") for *_, p in priced]
        rows = [(*line, seller, mean_of(p.range), currency, p.landed, str(p.source))
                for (*line, p), (seller, currency) in zip(priced, sellers, strict=True)]  # fmt: skip
        columns = ["item", "needed", "pieces", "supplier", "quoted", "currency", "cost_all_in", "source"]
        return pd.DataFrame(rows, columns=columns)


def _bearing_on(model: Model, rebuild: int) -> list[str]:
    """Events that bear on a rebuild, and those that they depend on, in the order in which they are seen."""
    case, events = model.case, model.tree.events
    met = {(r.event, r.outcome) for r in case.remedies}
    bears = [b for b in case.branches if b.seen_at and branch_touches(b, case.ways[rebuild])]
    matter = {b.event for b in bears if b.ends_rebuild or costs_something(b) or (b.event, b.outcome) in met}
    while more := {o for b in case.branches if b.event in matter for o, _ in b.given} - matter:
        matter |= more
    return sorted(matter, key=lambda e: (model.tree.seen[events.index(e)], events.index(e)))


def _main_rebuild(model: Model) -> int | None:
    """The rebuild that tree and leaves are shown for: the one with the least total of the first kind there is."""
    kinds, expected = ("rebuild", "rebuild and spare", "send away"), model.expected() @ np.array(model.weights)
    found = [(kinds.index(w.kind), not model.allowed[i], float(expected[i]), w.way, i)
             for i, w in enumerate(model.case.ways) if w.kind in kinds]  # fmt: skip
    return min(found)[-1] if found else None
