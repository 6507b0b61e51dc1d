"""Part of the main job: strip it first? what now? when to stop and buy?"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from repairecon.formulas import stopping
from repairecon.rebuild_or_buy.answer import Bench, Spent
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.outcomes import Outcomes
from repairecon.rebuild_or_buy.rows import ALL
from repairecon.rebuild_or_buy.stages import (
    GO_ON,
    LEAVE,
    Decision,
    Place,
    StopWhen,
    decision,
    main_rebuild,
    places,
    stop_when,
)
from repairecon.rebuild_or_buy.world import NEVER_ENDS, STAGE, World
from repairecon.records import ORDER_TIMES, STAGES, Case

STRIP = STAGE["strip"]
NOW = "now"


@dataclass(frozen=True)
class Reckoned:
    """What this part hands to the answer; ``stops`` names the action that ends each leaf, '' if none."""

    bench: Bench
    decision: Decision
    stages: pd.DataFrame
    policy: pd.DataFrame
    stop_when: tuple[StopWhen, ...]
    stops: list[str]


def point_name(point: int, done: int) -> str:
    """Name of a place of choice: now, or after a stage."""
    return NOW if point == done else f"after {STAGES[point]}"


def ended_already(model: Model) -> dict[str, str]:
    """Rebuilds that what was found has ended already."""
    return {
        model.ways[i]: "what was found ends it"
        for i, ends in model.ends.items()
        if model.done >= 0 and (ends <= model.done).all()
    }


def reckon(model: Model, outcomes: Outcomes) -> Reckoned:
    """The staged choice from where the owner stands."""
    made = decision(model, model.own_hour)
    rule = made.rule()
    reached = list(places(model, made, rule))
    return Reckoned(
        _bench(model, made, rule, outcomes),
        made,
        _stage_table(model, reached),
        _policy_table(model, reached),
        tuple(stop_when(reached)),
        _stops(made, rule),
    )


def _bench(model: Model, made: Decision, rule: stopping.StopRule, outcomes: Outcomes) -> Bench:
    totals = np.where(model.allowed, outcomes.mean[:, 3], np.inf)
    best, r = int(totals.argmin()), main_rebuild(model)
    can_strip = r is not None and model.done < STRIP
    strip = made.from_point(STRIP).value() if can_strip else np.nan
    limit, way = _repair_limit(made)
    free, _ = _repair_limit(decision(model, 0.0))
    now = {p.choice for p in places(model, made, rule) if p.point == model.done}
    return Bench(
        rule.value,
        now.pop() if len(now) == 1 else "depends on what is seen",
        model.ways[best],
        float(totals[best]),
        float(totals[best] - strip) if can_strip else None,
        limit,
        free,
        way,
        {w: float(t - rule.value) for w, t in zip(model.ways, totals, strict=True) if np.isfinite(t)},
        _spent(model),
    )


def _repair_limit(made: Decision) -> tuple[float, str]:
    """What the cheapest stop would cost from here, and which it is."""
    ways = [a for a, name in enumerate(made.actions) if name != LEAVE]
    if not ways:
        return np.inf, ""
    expected = made.chance @ made.stop_cost[0][:, ways]
    return float(expected.min()), made.actions[int(expected.argmin())]


def _spent(model: Model) -> Spent:
    r = next((i for i, _ in model.spent), None)
    if r is None or model.done < 0:
        return Spent()
    n = len(model.world.chance)
    triple = model.run(model.spent[r, model.done], model.leaf_rows(), ALL)
    return Spent(*(float(np.broadcast_to(t, (n,)) @ model.world.chance) for t in triple))


def _stage_table(model: Model, reached: list[Place]) -> pd.DataFrame:
    rows = []
    for point in sorted({p.point for p in reached}):
        here = [p for p in reached if p.point == point]
        chance = sum(p.chance for p in here)
        stopping_here = sum(p.chance for p in here if p.choice != GO_ON)
        name = point_name(point, model.done)
        rows.append(
            (name, chance, stopping_here, sum(p.chance * min(p.cost_go_on, p.cost_stop) for p in here) / chance)
        )
    return pd.DataFrame(rows, columns=["stage", "p_reached", "p_stop", "cost_still_to_come"])


def _policy_table(model: Model, reached: list[Place]) -> pd.DataFrame:
    rows = [
        (point_name(p.point, model.done), p.findings, p.chance, p.choice, p.cost_go_on, p.cost_stop, p.best_stop)
        for p in reached
    ]
    columns = ["stage", "findings", "chance", "choice", "cost_go_on", "repair_limit", "limit_way"]
    return pd.DataFrame(rows, columns=columns)


def _stops(made: Decision, rule: stopping.StopRule) -> list[str]:
    on = np.flatnonzero(made.chance > 0)
    followed = stopping.follow(rule, made.ids[:, on], made.stop_cost[:, on], made.go_cost[on])
    names = np.full(len(made.chance), "", dtype=object)
    names[on] = [made.actions[a] if a >= 0 else "" for a in followed.action]
    return [str(n) for n in names]


def order_times(case: Case, world: World, model: Model) -> pd.DataFrame:
    """Parts ordered earlier or later: expected total and days by the best rule, and parts bought in vain."""
    r = main_rebuild(model)
    rows = []
    for order in ORDER_TIMES if r is not None else ():
        other = model
        if order != case.terms.order_parts:
            changed = replace(case, terms=replace(case.terms, order_parts=order))
            allowed = dict(zip(model.ways, model.allowed.tolist(), strict=True))
            other = Model(changed, world, allowed, model.done, model.own_hour, model.buying)
        if other.builder.order_stage >= model.done:
            made = decision(other, other.own_hour)
            made = replace(made, other=np.zeros_like(made.other))
            rule = made.rule()
            rows.append((order, rule.value, *_days_and_vain(other, made, rule), order == case.terms.order_parts))
    return pd.DataFrame(rows, columns=["order", "expected_total", "expected_days", "p_in_vain", "as_in_case"])


def _days_and_vain(model: Model, made: Decision, rule: stopping.StopRule) -> tuple[float, float]:
    """Expected days under the rule, and the chance that parts are ordered for a rebuild that is given up."""
    on = np.flatnonzero(made.chance > 0)
    stop, go = _days(model, made)
    followed = stopping.follow(rule, made.ids[:, on], stop[:, on], go[on])
    at = np.array([*made.points, NEVER_ENDS])[followed.stage]
    vain = (at > model.builder.order_stage) & (at < STAGE["reassembly"])
    return float(made.chance[on] @ followed.cost), float(made.chance[on] @ vain)


def _days(model: Model, made: Decision) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Days instead of money in each stop and in going on to the end."""
    rows, n = model.leaf_rows(), len(made.chance)
    r = main_rebuild(model)
    assert r is not None

    def days(triple: tuple[object, ...]) -> NDArray[np.float64]:
        return np.broadcast_to(np.asarray(triple[2], dtype=float), (n,))

    before = days(model.run(model.spent[r, model.done], rows, ALL))
    stop = np.zeros(made.stop_cost.shape)
    for s, point in enumerate(made.points):
        spent = days(model.run(model.spent[r, point], rows, ALL)) - before
        for a, name in enumerate(made.actions):
            if name in model.ways and np.isfinite(made.stop_cost[s, :, a]).any():
                i = model.ways.index(name)
                bought = model.buy(i, point, rows) if i in model.buys else model.sent_away(i, point, rows)
                stop[s, :, a] = spent + days(bought)
    return stop, np.array(days(model.run(model.main[r], rows, ALL)))
