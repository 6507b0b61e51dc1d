"""Part of the main job: strip it first? what now? when to stop and buy? what is a look worth?"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
import pandas as pd

from repairecon.buying.inputs import mean_of
from repairecon.formulas import ranges
from repairecon.formulas import tree as tree_formulas
from repairecon.rebuild_or_buy.evaluate import Piece
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.sensitivity import Number
from repairecon.rebuild_or_buy.stages import GO_ON, LEAVE, Decision, decision, rebuilds_here
from repairecon.rebuild_or_buy.tree import NEVER_ENDS, STAGE, Floats, Tree, end_of
from repairecon.records import ORDER_TIMES, STAGES, Case, Range

STRIP = STAGE["strip"]
NOW = "now"
NOT_COMING_UP = "does not come up"
MOST_TOGETHER = 3  # findings of which a stop may hang on all


@dataclass(frozen=True, kw_only=True)
class Bench:
    """The choice at the bench, from where the owner stands, in home money."""

    value: float  # least expected total with the freedom to stop
    now: str  # the first step of that rule: ``go on`` or a way
    best_commit: str  # the best way if chosen for good now
    cost_commit: float
    value_of_stripping: float | None  # saved by stripping first and then choosing; None: stripped, or no rebuild open
    repair_limit: float  # most still worth spending on the rebuild: what the best buy costs from here, own time in
    repair_limit_cash: float  # with own time at nothing
    limit_way: str  # that buy
    wrong_commitment: dict[str, float]  # way -> expected total above ``value``
    spent: dict[str, float]  # cash, own hours and days that the work so far took, expected: no part of the choice


def point_name(point: int, done: int) -> str:
    return NOW if point == done else f"after {STAGES[point]}"


def closed_already(case: Case, tree: Tree, done: int) -> dict[str, str]:
    """Why a way is open no more: what was found has ended its rebuild, or the unit with which it goes on is off."""
    found = {}
    for way in case.ways:
        if done >= STAGE["removal"] and way.traits.in_service == "old":
            found[way.way] = "the unit is off already"
        if way.traits.rebuilds and done >= 0 and (end_of(case, tree, way) <= done).all():
            found[way.way] = "what was found ends it"
    return found


def bench(model: Model, made: Decision) -> Bench:
    totals, best, value = model.totals, int(model.totals.argmin()), made.value()
    can_strip = bool(rebuilds_here(model)) and model.done < STRIP
    limit, way = _repair_limit(made)
    now = {p.choice for p in places(model, made) if p.point == model.done}
    spent = next(((Piece(bill),) for (_, k), bill in model.program.spent.items() if k == model.done >= 0), ())
    return Bench(
        value=value, now=now.pop() if len(now) == 1 else "depends on what is seen",
        best_commit=model.ways[best], cost_commit=float(totals[best]),
        value_of_stripping=float(totals[best] - made.from_point(STRIP).value()) if can_strip else None,
        repair_limit=limit, repair_limit_cash=_repair_limit(decision(model, (1.0, 0.0, model.lost_day)))[0],
        limit_way=way,
        wrong_commitment={w: float(t - value) for w, t in zip(model.ways, totals, strict=True) if np.isfinite(t)},
        spent=dict(zip(("cash", "own_hours", "days"), model.plain.at.expected(spent).tolist(), strict=True)),
    )  # fmt: skip


def _repair_limit(made: Decision) -> tuple[float, str]:
    """What the cheapest stop would cost from here, and which it is."""
    ways = [a for a, name in enumerate(made.actions) if name != LEAVE and not name.startswith(GO_ON)]
    if not ways:
        return np.inf, ""
    expected = made.chance @ made.stop_cost[0][:, ways]
    return float(expected.min()), made.actions[int(expected.argmin())]


def stops(made: Decision) -> list[str]:
    """What the best rule stops by in each leaf, '' where it goes on to the end."""
    names = [""] * len(made.chance)
    for leaf, a in zip(np.flatnonzero(made.chance > 0), made.rule.action, strict=True):
        names[leaf] = made.actions[a] if a >= 0 else ""
    return names


def order_times(model: Model) -> pd.DataFrame:
    """Parts ordered earlier or later: expected total and days by the best rule, and parts bought in vain."""
    case, rows = model.case, []
    for order in ORDER_TIMES if rebuilds_here(model) else ():
        same = order == case.terms.order_parts
        other = model if same else model.like(case=replace(case, terms=replace(case.terms, order_parts=order)))
        if other.costs.order_stage < model.done:
            continue
        made, days = decision(other), decision(other, (0.0, 0.0, 1.0))
        made = replace(made, other=np.zeros_like(made.other))
        on, rule = np.flatnonzero(made.chance > 0), made.rule
        stopped, took = np.flatnonzero(rule.action >= 0), days.go_cost[on]
        took[stopped] = days.stop_cost[rule.stage[stopped], on[stopped], rule.action[stopped]]
        at, chance = np.array([*made.points, NEVER_ENDS])[rule.stage], made.chance[on]
        vain = (at > other.costs.order_stage) & (at < STAGE["reassembly"])
        rows.append((order, rule.value, float(chance @ took), float(chance @ vain), same))
    return pd.DataFrame(rows, columns=["order", "expected_total", "expected_days", "p_in_vain", "as_in_case"])


# ---- a stop rule in words ----------------------------------------------------------------------------
@dataclass(frozen=True)
class Place:
    """One place of choice that the best rule reaches."""

    point: int
    findings: dict[str, str]
    chance: float
    choice: str
    cost_go_on: float
    cost_stop: float
    best_stop: str


def places(model: Model, made: Decision) -> Iterator[Place]:
    """Every place that the best rule reaches; costs are those still to come from that place."""
    on = np.flatnonzero(made.chance > 0)
    for s, point in enumerate(made.points):
        stage, here = made.rule.stages[s], on[made.rule.stage >= s]
        seen = [event for event, k in zip(model.tree.events, model.tree.seen, strict=True) if 0 <= k <= point]
        for i in np.unique(made.ids[s, here]):
            leaves = here[made.ids[s, here] == i]
            weight, choice, best = made.chance[leaves], int(stage.choice[i]), int(stage.best_stop[i])
            gone = float(weight @ made.spent[s, leaves] / weight.sum())
            words = model.tree.words(int(leaves[0]))
            yield Place(
                point=point, chance=float(weight.sum()),
                findings={event: words.get(event, NOT_COMING_UP) for event in seen},
                choice=GO_ON if choice == tree_formulas.GO_ON else made.actions[choice],
                cost_go_on=float(stage.cost_go_on[i] - gone), cost_stop=float(stage.cost_stop[i] - gone),
                best_stop=made.actions[best] if made.actions else "",
            )  # fmt: skip


@dataclass(frozen=True)
class StopWhen:
    """A finding (or findings together) on which the best rule stops, and what is done then."""

    point: int
    findings: tuple[tuple[str, str], ...]
    action: str
    chance: float


def stop_when(reached: Sequence[Place]) -> list[StopWhen]:
    """The stops of a rule said by as few findings as will do. At each stage the smallest sets of findings are taken
    that occur in stops of one action only and in no place at which one goes on, the most frequent first, until every
    stop is covered."""
    said = list[StopWhen]()
    for point, action in sorted({(p.point, p.choice) for p in reached if p.choice != GO_ON}):
        here = [p for p in reached if p.point == point]
        left, others = ([p for p in here if (p.choice == action) is stops] for stops in (True, False))
        for size in range(MOST_TOGETHER + 1):  # of none where all stop by the same
            for key in _together(left, size):
                covered = [p for p in left if key <= p.findings.items()]
                if covered and not any(key <= p.findings.items() for p in others):
                    said.append(StopWhen(point, tuple(sorted(key)), action, sum(p.chance for p in covered)))
                    left = [p for p in left if p not in covered]
        said += [StopWhen(point, tuple(p.findings.items()), action, p.chance) for p in left]
    return said


def _together(reached: Sequence[Place], size: int) -> list[frozenset[tuple[str, str]]]:
    """The sets of so many findings that occur, those of what comes up first, then the most frequent."""
    found: dict[frozenset[tuple[str, str]], float] = defaultdict(float)
    for p in reached:
        for pairs in combinations(p.findings.items(), size):
            found[frozenset(pairs)] += p.chance
    vague = {key: sum(outcome == NOT_COMING_UP for _, outcome in key) for key in found}
    return sorted(found, key=lambda k: (vague[k], -found[k], sorted(k)))


# ---- what a look is worth before it is paid for: a test, a phone call, an hour's measuring ----------------
# All is worked out against the best rule with the freedom to stop: events exactly, prices by steps through their range
# at the conditional mean of each step.
STEPS, TAIL = 12, 1e-4


@dataclass(frozen=True)
class Worth:
    """What a look brings, in home money."""

    look: str
    about: str  # the event or the price
    evpi: float  # expected value of perfect information on it
    evsi: float  # that of this look, which may be wrong
    cost: float  # own hours and days at their price
    net: float  # ``evsi`` less ``cost``
    error: float = 0.0  # of the steps taken through a price's range


def look_worth(made: Decision, likelihood: Floats) -> float:
    """Expected value of a showing with ``likelihood`` (L, showings), never below 0; buys chosen anew on what shows."""
    joint = made.chance[:, None] * likelihood
    p = joint.sum(axis=0)
    shown = sum(p[k] * made.known(joint[:, k] / p[k]).value() for k in np.flatnonzero(p > 0))
    return max(made.value() - float(shown), 0.0)


def event_worth(model: Model, made: Decision, event: int, p_right: float = 1.0) -> float:
    """Expected value of a look at one event; of perfect information where it is always right."""
    states = model.tree.states[:, event]
    if p_right == 1.0 and np.ptp(states) == 0:
        return 0.0
    return look_worth(made, tree_formulas.look_likelihood(states, len(model.tree.outcomes[event]), p_right))


def price_worth(model: Model, made: Decision, number: Number) -> tuple[float, float]:
    """Expected value of knowing a price before choosing, and the most by which it may be off. The least cost is concave
    in a price: over each step its mean lies between the chord of the step's ends and its value at the step's
    conditional mean, and the middle of the two is taken."""
    r = number.range
    if r.sure:
        return 0.0, 0.0

    def value(x: float) -> float:
        price = min(x, number.most)
        at = model.at({number.index: Range(price, price, price)})
        return decision(model, None, model.chooser(at), more=made.more).value()

    even = np.linspace(0.0, 1.0, STEPS + 1)
    edges = ranges.quantile(np.clip(even, TAIL, 1.0 - TAIL), r.low, r.likely, r.high, r.shape)
    means = ranges.cell_means(even, r.low, r.likely, r.high, r.shape)
    first, half, last = map(value, (edges[0], (edges[0] + edges[-1]) / 2.0, edges[-1]))
    if abs(half - (first + last) / 2.0) < 1e-12 * abs(half):
        return 0.0, 0.0  # no other choice anywhere: concave and on a straight line at three points
    middle, ends = np.array([*map(value, means)]), np.array([first, *map(value, edges[1:-1]), last])
    part = (means - edges[:-1]) / np.diff(edges)
    above, below = float(middle.mean()), float((ends[:-1] + part * np.diff(ends)).mean())
    return max(made.value() - (above + below) / 2, 0.0), abs(above - below) / 2


def looks(model: Model, made: Decision, listed: Sequence[Number]) -> Iterator[Worth]:
    """What each look of the case is worth, in the order of its rows."""
    by_item = {n.item: n for n in listed if n.item}
    # a unit that is off cannot be tested where it sat
    off = {b.event for b in model.case.branches if b.not_this_unit} if model.done >= STAGE["removal"] else set()
    for look in model.case.looks:
        if look.event in off:
            continue
        error, cost = 0.0, float(np.dot(model.weights, [mean_of(r) for r in (look.cost, look.hours, look.days)]))
        if look.event:
            event = model.tree.column(look.event)
            perfect = sample = event_worth(model, made, event)
            if look.p_right < 1.0:
                sample = event_worth(model, made, event, look.p_right)
        else:
            number = by_item.get(look.price_of)
            perfect, error = price_worth(model, made, number) if number else (0.0, 0.0)
            sample = perfect
        about = look.event or f"price of {look.price_of}"
        yield Worth(look.look, about, perfect, sample, cost, sample - cost, error)
