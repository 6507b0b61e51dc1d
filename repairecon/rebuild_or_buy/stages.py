"""The choice at the bench: at each stage, with what has been seen by then, go on or stop and buy. All costs are
expected totals counted from where the owner stands now; what is spent before is kept apart. Every set of leaves that
look alike by the end of a stage is one place of choice."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, partial

import numpy as np
from numpy.typing import NDArray

from repairecon.formulas import tree as tree_formulas
from repairecon.rebuild_or_buy.evaluate import AtMeans, Piece
from repairecon.rebuild_or_buy.model import Chooser, Model
from repairecon.rebuild_or_buy.tree import NEVER_ENDS, STAGE, Floats, Ints
from repairecon.records import STAGES

Weights = tuple[float, float, float]
ByChance = Callable[[Floats], Floats]
LEAVE = "leave it: look elsewhere"
GO_ON = "go on"
SEND_AWAY_UNTIL = STAGE["removal"]


@dataclass(frozen=True, eq=False, kw_only=True)
class Decision:
    """The staged choice as arrays over leaves. If another unit ever is to blame, the last action is leaving this one
    alone, whose cost is filled in here: now at the risk of ``elsewhere_cost`` when that was wrong, later only where it
    has been seen to be right, and not before stage ``first``. Going over to another depth of rebuild is a stop as
    well."""

    chance: Floats
    points: tuple[int, ...]  # stages at whose end one may stop (-1: now, nothing done)
    ids: Ints  # (S, L) leaves alike by then
    stop_cost: Floats  # (S, L, A)
    go_cost: Floats  # (L,) inf where the rebuild must end
    spent: Floats  # (S, L) from now to each point
    actions: tuple[str, ...]
    ends: Ints  # (L,) stage at which the rebuild ends: one stops there at the latest
    other: NDArray[np.bool_]  # (L,) where another unit is to blame
    elsewhere_cost: float = 0.0
    first: int = -1
    go_over: Callable[[Floats], dict[int, Floats]] | None = None  # going over to another depth (S, L), by action
    more: Floats | None = None
    # cost by chance (L,) of each stage and action that sends away, where the rebuilder may give the unit up
    after_away: dict[tuple[int, int], ByChance] = field(default_factory=dict)

    def stops(self) -> Floats:
        """Cost of each stop (S, L, A), with that of leaving this unit alone."""
        if self.go_over is None and not self.other.any():
            return self.stop_cost
        stop = self.stop_cost.copy()
        for a, column in self.go_over(self.chance).items() if self.go_over else ():
            stop[:, :, a] = column
        if not self.other.any():
            return stop
        open_points = np.array(self.points)[:, None] >= self.first
        stop[:, :, -1] = np.where(self.other & open_points, self.spent, np.inf)
        if self.points[0] < self.first:
            return stop
        # looking elsewhere now: nothing if another unit is to blame, else the best way after all, later
        cost, this, sets = np.zeros(len(self.chance)), np.where(self.other, 0.0, self.chance), self.ids[0]
        if this.any():
            first = replace(self, chance=this, other=np.zeros_like(self.other)).rule.stages[0]
            best = np.zeros(int(sets.max()) + 1)
            best[: len(first.p_set)] = np.where(first.p_set > 0, np.minimum(first.cost_go_on, first.cost_stop), 0.0)
            cost[~self.other] = best[sets[~self.other]] + self.elsewhere_cost
        if self.elsewhere_cost <= 0.0:
            # where looking elsewhere is not priced: nobody leaves a unit that is more likely than not to blame
            innocent = np.bincount(sets, np.where(self.other, self.chance, 0.0))
            cost[(2.0 * innocent < np.bincount(sets, self.chance))[sets]] = np.inf
        stop[0, :, -1] = cost
        return stop

    @cached_property
    def rule(self) -> tree_formulas.StopRule:
        on = np.flatnonzero(self.chance > 0)
        chance, stop = self.chance[on] / self.chance[on].sum(), self.stops()[:, on]
        return tree_formulas.optimal_stopping(chance, self.ids[:, on], stop, self.go_cost[on])

    def value(self) -> float:
        """Least expected cost from here with the freedom to stop."""
        return self.rule.value

    def from_point(self, first: int) -> Decision:
        """The same with no stop before the end of stage ``first``, unless the rebuild has ended there."""
        stop = self.stop_cost.copy()
        for s, point in enumerate(self.points):
            if point < first:
                stop[s, self.ends > point] = np.inf
        return replace(self, stop_cost=stop, first=first)

    def known(self, weights: Floats) -> Decision:
        """The same with leaf chances ``weights`` known, what follows a failed sending away chosen anew on them."""
        stop = self.stop_cost.copy()
        for (s, a), column in self.after_away.items():
            stop[s, :, a] = column(weights)
        return replace(self, chance=weights, stop_cost=stop)


def _cheapest(costs: Floats, weights: Floats, ids: Ints) -> Floats:
    """Cost in each leaf of the option (options, L) that is the cheapest for its set of leaves that look alike."""
    with np.errstate(invalid="ignore"):
        weighed = np.where(weights > 0, weights * costs, 0.0)
    sums = np.array([np.bincount(ids, row) for row in weighed])
    return np.asarray(costs[sums.argmin(axis=0)[ids], np.arange(len(ids))])


def rebuilds_here(model: Model) -> list[int]:
    """The depths of rebuild that may be chosen, the one with the least expected total first."""
    found = [i for i, w in enumerate(model.case.ways) if w.kind == "rebuild" and model.allowed[i]]
    return sorted(found, key=lambda i: (float(model.totals[i]), model.ways[i]))


def decision(
    model: Model, weights: Weights | None = None, chooser: Chooser | None = None, depth: int | None = None,
    more: Floats | None = None,
) -> Decision:  # fmt: skip
    """The staged choice of a case from stage ``model.done`` on; ``weights`` of cash, own hours and days in a cost.
    ``depth`` is the rebuild that is begun, by default the one with the least expected total; at each stage up to the
    ordering of parts one may go over to another. ``more`` (W,) is what each way costs besides: a date missed, years to
    come."""
    chosen, weights = chooser or model.plain, weights or model.weights
    more = np.zeros(len(model.ways)) if more is None else more
    ways = sorted(rebuilds_here(model), key=lambda k: k != depth)
    depths: Sequence[int | None] = ways or (None,)
    made = [_one_depth(model, chosen, weights, k, more) for k in depths]
    first, leave = made[0], len(made[0].actions) - int(made[0].other.any())
    if len(ways) < 2:
        return first
    # what going over from one to another at the end of a stage adds to the other's costs (R, R, S, L)
    over = np.full((len(ways), len(ways), *first.spent.shape), np.inf)
    over[range(len(ways)), range(len(ways))] = 0.0
    for (begun, to, point), bill in model.program.over.items():
        if begun in ways and to in ways and point in first.points:
            a, b, s = ways.index(begun), ways.index(to), first.points.index(point)
            over[a, b, s] = made[a].spent[s] + chosen.at.by_leaf((Piece(bill),), weights) - made[b].spent[s]
    names = tuple(f"{GO_ON} as {model.ways[k]}" for k in ways[1:])
    columns = np.full((*first.spent.shape, len(names)), np.inf)
    stop = np.concatenate([first.stop_cost[:, :, :leave], columns, first.stop_cost[:, :, leave:]], axis=2)
    actions = (*first.actions[:leave], *names, *first.actions[leave:])
    return replace(first, stop_cost=stop, actions=actions, go_over=partial(_going_over, made, over, leave))


def _one_depth(model: Model, chosen: Chooser, weights: Weights, r: int | None, more: Floats) -> Decision:
    at = chosen.at
    points, spent, go, ends = _going_on(model, at, weights, r, more)
    buys = [i for i in model.buys if model.allowed[i]]
    aways = [i for (i, after) in model.program.away if after == model.done and model.allowed[i]]
    rest = [i for i, w in enumerate(model.case.ways) if w.traits.in_service in ("old", "none") and model.allowed[i]]
    stop = np.full((*spent.shape, len(buys) + len(aways) + len(rest)), np.inf)
    after = dict[tuple[int, int], ByChance]()
    for s, point in enumerate(points):
        for a, i in enumerate(buys):
            stop[s, :, a] = spent[s] + at.by_leaf(chosen.buy(i, point), weights) + more[i]
        for a, i in enumerate(aways if point <= max(SEND_AWAY_UNTIL, model.done) else (), len(buys)):
            stop[s, :, a] = spent[s] + at.by_leaf(chosen.sent_away(i, point), weights) + more[i]
            if i in model.stops:
                after[s, a] = _after_away(chosen, i, stop[s, :, a], weights)
        stop[s, ends < point] = np.inf
    for a, i in enumerate(rest, len(buys) + len(aways)):
        stop[0, :, a] = at.by_leaf(chosen.way(i), weights) + more[i]
    names = tuple(model.ways[i] for i in (*buys, *aways, *rest))
    other = np.asarray(model.tree.holds[[b.not_this_unit for b in model.case.branches]].any(axis=0))
    if other.any():
        names, stop = (*names, LEAVE), np.concatenate([stop, np.full((*stop.shape[:2], 1), np.inf)], axis=2)
    a_day = model.lost_day + model.case.terms.hours_per_day * model.own_hour
    return Decision(
        chance=model.tree.chance, points=points, ids=np.array([model.alike[point] for point in points]),
        stop_cost=stop, go_cost=go, spent=spent, actions=names, ends=ends, other=other,
        elsewhere_cost=model.case.terms.elsewhere_days * a_day, after_away=after, more=more,
    )  # fmt: skip


def _going_on(
    model: Model, at: AtMeans, weights: Weights, r: int | None, more: Floats
) -> tuple[tuple[int, ...], Floats, Floats, Ints]:
    """Points at which a rebuild may be stopped, what is spent up to each, the cost of the whole, where it ends."""
    if r is None:
        n = len(model.tree.chance)
        return (model.done,), np.zeros((1, n)), np.full(n, np.inf), np.full(n, NEVER_ENDS)
    points, ends = tuple(range(model.done, len(STAGES))), model.ends[r]
    up_to = np.array([at.by_leaf((Piece(model.program.spent[r, k]),), weights) for k in points])
    whole = at.by_leaf((Piece(model.program.main[r]),), weights) + more[r]
    return points, up_to - up_to[0], np.where(ends == NEVER_ENDS, whole, np.inf), np.maximum(ends, model.done)


def _going_over(depths: Sequence[Decision], over: Floats, at: int, weights: Floats) -> dict[int, Floats]:
    """Cost of going over from the first of several depths of rebuild to each other one (S, L), with the best choice
    from there on: at each set of leaves that look alike the cheapest of going on, going over and stopping. Their
    columns stand from action ``at`` on."""
    count, ids = len(depths), depths[0].ids
    ahead = np.array([d.go_cost for d in depths])
    stops = [d.stop_cost.copy() for d in depths]
    for stop, made in zip(stops, depths, strict=True):
        if made.other.any():  # leaving the unit alone once begun: as long as that has been seen to be right
            stop[:, :, -1] = np.where(made.other, made.spent, np.inf)
    columns = np.full((count - 1, *ids.shape), np.inf)
    for s in range(len(ids) - 1, -1, -1):
        columns[:, s] = (over[0, :, s] + ahead)[1:]
        options = [np.concatenate([over[a, :, s] + ahead, stops[a][s].T]) for a in range(count)]
        ahead = np.array([_cheapest(costs, weights, ids[s]) for costs in options])
    return {at + b: columns[b] for b in range(count - 1)}


def _after_away(chosen: Chooser, i: int, cost: Floats, weights: Weights) -> ByChance:
    """Cost of a stop by sending away (L,), what is bought where the rebuilder gives the unit up chosen by the chances:
    the cheapest buy for each set of leaves that look alike at the stage at which it ends them."""
    model, options = chosen.model, chosen.options(i)
    comes = 1.0 - (model.inputs[model.never[i]].mean if i in model.never else 0.0)
    fixed, choices = cost.copy(), []
    for stop in model.stops[i]:
        after = max(stop.stage, model.done)
        by_buy = np.array([chosen.at.by_leaf(chosen.buy(b, after), weights)[stop.at] for b in options])
        choices.append((stop.at, stop.ids, comes * by_buy))
    for _, leaves, b in chosen.after_the_end(i):
        mine = np.flatnonzero(leaves.mask)
        for at, _, added in choices:
            here = np.isin(at, mine)
            fixed[at[here]] -= added[options.index(b), here]

    def column(chance: Floats) -> Floats:
        cost = fixed.copy()
        for at, ids, added in choices:
            cost[at] += _cheapest(added, chance[at], ids)
        return cost

    return column
