"""The answer's tables: ways, leaves and nodes of the tree, price lines, curves."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from repairecon.buying.buying import Priced
from repairecon.formulas import ranges
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.outcomes import QUANTITIES, Outcomes
from repairecon.rebuild_or_buy.tree import NEVER_ENDS, branch_touches, grow
from repairecon.rebuild_or_buy.years import p_spare_left
from repairecon.records import Branch


def table(model: Model, outcomes: Outcomes, why_not: Mapping[str, str]) -> pd.DataFrame:
    case = model.case
    columns: dict[str, list[object]] = {}
    columns["kind"] = [w.kind for w in case.ways]
    columns["allowed"] = list(model.allowed)
    columns["why_not"] = [why_not[w] for w in model.ways]
    for q, name in enumerate(QUANTITIES):
        columns[f"{name}_mean"] = list(outcomes.mean[:, q])
        for p in (10, 50, 90):
            columns[f"{name}_p{p}"] = [float(t[q].quantile(p / 100)) for t in outcomes.tallies]
        columns[f"{name}_se"] = list(outcomes.sampled_se[:, q])
        columns[f"{name}_p90_se"] = [t[q].quantile_se(0.9) for t in outcomes.tallies]
    columns["cost_lost_days_mean"] = list(outcomes.mean[:, 2] * model.lost_day)
    if outcomes.back_by is not None and outcomes.back_by_se is not None and outcomes.late is not None:
        columns["back_by"], columns["back_by_se"] = list(outcomes.back_by), list(outcomes.back_by_se)
        columns["cost_late_mean"] = list(outcomes.late)
    columns["p_nothing"] = [_p_nothing(model, i) for i in range(len(model.ways))]
    columns["p_cheapest"] = list(outcomes.p_cheapest)
    columns["expected_regret"] = list(outcomes.regret)
    columns["p_never"] = [_p_never(model, i) for i in range(len(model.ways))]
    columns["instead"] = [_instead(model, i) for i in range(len(model.ways))]
    columns["p_given_up"] = [_p_given_up(model, i) for i in range(len(model.ways))]
    columns["p_spare"] = [p_spare_left(model, i) for i in range(len(model.ways))]
    return pd.DataFrame(columns, index=pd.Index(model.ways, name="way"))


def _bought_by(model: Model, i: int) -> int:
    """The way whose unit a pair buys, else the way itself."""
    bought = model.case.ways[i].bought
    return model.ways.index(bought) if bought else i


def _p_never(model: Model, i: int) -> float:
    never = model.never.get(_bought_by(model, i))
    return 0.0 if never is None else float(model.inputs[never].mean)


def _p_nothing(model: Model, i: int) -> float:
    """Chance that nothing comes in the end: neither the way nor what is taken instead."""
    return model.plain.p_nothing(_bought_by(model, i), model.done)


def _instead(model: Model, i: int) -> str:
    i = _bought_by(model, i)
    others = model.plain.instead(i, model.done) if i in model.never else []
    return model.ways[others[0]] if others else ""


def _p_given_up(model: Model, i: int) -> float:
    """Chance that the way's rebuild ends without a unit."""
    ends = model.ends.get(i)
    return 0.0 if ends is None else float(model.tree.chance[ends < NEVER_ENDS].sum())


def leaves(model: Model, stops: list[str]) -> pd.DataFrame:
    """A row a leaf: chance, outcomes, what the damage adds to the planned rebuild, whether it ends it."""
    tree, i = model.tree, _main_rebuild(model)
    columns = ["chance", "outcomes", "expected_extra_cost", "ends_rebuild", "stop"]
    if i is None:
        rows = [(c, tree.words(k), 0.0, False, stops[k]) for k, c in enumerate(tree.chance)]
        return pd.DataFrame(rows, columns=columns)
    allowed = dict(zip(model.ways, model.allowed.tolist(), strict=True))
    bare = grow(model.case, bare=True)
    plan = Model(model.case, bare, allowed, model.done, model.own_hour, model.buying, model.costs.remedied)
    weights = (1.0, model.own_hour, 0.0)
    planned = float(plan.expected()[i] @ np.array(weights))
    extra = model.plain.at.by_leaf(model.plain.way(i), weights) - planned
    ended = model.ends[i] < NEVER_ENDS
    rows = [(tree.chance[k], tree.words(k), extra[k], bool(ended[k]), stops[k]) for k in range(len(tree.chance))]
    return pd.DataFrame(rows, columns=columns).sort_values("chance", ascending=False, ignore_index=True)


def _main_rebuild(model: Model) -> int | None:
    """The rebuild that tree and leaves are shown for: the one with the least total of the first kind there is."""
    expected = model.expected() @ np.array(model.weights)
    for kind in ("rebuild", "rebuild and spare", "send away"):
        of_kind = [i for i, w in enumerate(model.case.ways) if w.kind == kind]
        if of_kind:
            return min(of_kind, key=lambda i: (not model.allowed[i], float(expected[i]), model.ways[i]))
    return None


def nodes(model: Model, leaves: pd.DataFrame) -> pd.DataFrame:
    """The tree as nodes: each branch with its chance given its parent and expected extra cost."""
    order = sorted(_events_that_matter(model), key=lambda e: _draw_order(model, e))
    seen: dict[tuple[tuple[str, str], ...], list[int]] = {(): list(range(len(leaves)))}
    for k, outcome in enumerate(leaves["outcomes"]):
        path: tuple[tuple[str, str], ...] = ()
        for event in order:
            if event in outcome:
                path = (*path, (event, outcome[event]))
                seen.setdefault(path, []).append(k)
    chance, extra = leaves["chance"].to_numpy(), leaves["expected_extra_cost"].to_numpy()
    ends, stops = leaves["ends_rebuild"].to_numpy(), leaves["stop"].to_numpy()
    ids = {path: n for n, path in enumerate(seen)}
    rows = []
    for path, members in seen.items():
        joint = float(chance[members].sum())
        parent = float(chance[seen[path[:-1]]].sum()) if path else joint
        rows.append(
            (
                ids[path],
                ids[path[:-1]] if path else -1,
                path[-1][1] if path else model.case.unit.name,
                path[-1][0] if path else "",
                joint / parent,
                float(chance[members] @ extra[members] / joint),
                bool(ends[members].all()),
                _note(model, path, _stop_note(stops, members, seen[path[:-1]] if path else [])),
            )
        )
    columns = ["id", "parent", "label", "event", "chance", "extra_cost", "ends_rebuild", "note"]
    return pd.DataFrame(rows, columns=columns)


def _note(model: Model, path: tuple[tuple[str, str], ...], stop: str) -> str:
    """What is done at a branch: how it is met, and whether the best rule stops there."""
    main = _main_rebuild(model)
    if main is None or not path:
        return stop
    taken = model.costs.remedied.get((model.ways[main], *path[-1]), ())
    return "; ".join(filter(None, (stop, f"by {taken[0].remedy}" if taken else "")))


def _stop_note(stops: NDArray[np.object_], members: list[int], siblings: list[int]) -> str:
    """What the best rule does at a branch, told where it is first settled."""
    here, around = set(stops[members]), set(stops[siblings])
    if len(here) != 1 or here == {""} or here == around:
        return ""
    return f"stop: {here.pop()}"


def _events_that_matter(model: Model) -> set[str]:
    """Events that bear on the rebuild, and those that they depend on."""
    main = _main_rebuild(model)
    if main is None:
        return set()
    way = model.case.ways[main]
    met = {(r.event, r.outcome) for r in model.case.remedies}
    bears = [b for b in model.case.branches if b.seen_at and branch_touches(b, way)]
    matter = {b.event for b in bears if not _idle(b) or (b.event, b.outcome) in met}
    while more := {o for b in model.case.branches if b.event in matter for o, _ in b.given} - matter:
        matter |= more
    return matter


def _idle(b: Branch) -> bool:
    """An outcome without consequences for a rebuild."""
    return not (b.parts or b.ends_rebuild or b.extra_hours.high or b.outside_cost.high or b.extra_days.high)


def _draw_order(model: Model, event: str) -> tuple[int, int]:
    e = model.tree.events.index(event)
    return model.tree.seen[e], e


def lines(model: Model) -> pd.DataFrame:
    """Where each price comes from: a row for every part and way that is priced."""
    rows = []
    pieces = {p.part: p.quantity for p in model.case.parts}
    needed = {p.part: p.needed for p in model.case.parts}
    for name, taken in model.costs.prices.items():
        for priced in taken:
            bought = pieces[name] if len(taken) == 1 or priced.quote is None else priced.packs * priced.quote.pack
            rows.append(_line(name, needed[name], bought, priced))
    for i, way in enumerate(model.case.ways):
        if i in model.buys or way.traits.rebuilds == "away":
            rows.append(_line(way.way, "unit", 1, model.costs.price_of(way)))
    columns = ["item", "needed", "pieces", "supplier", "quoted", "currency", "cost_all_in", "source"]
    return pd.DataFrame(rows, columns=columns)


def _line(name: str, needed: str, pieces: int, priced: Priced) -> tuple[object, ...]:
    r = priced.range
    mean = float(ranges.mean(r.low, r.likely, r.high, r.shape))
    supplier = priced.supplier.supplier if priced.supplier else ""
    currency = priced.supplier.currency if priced.supplier else ""
    return name, needed, pieces, supplier, mean, currency, priced.landed, str(priced.source)


def curves(table: pd.DataFrame, outcomes: Outcomes) -> pd.DataFrame:
    """Chance that each way's total is no more than x, on a common grid of x."""
    low = min(float(t[3].quantile(0.005)) for t in outcomes.tallies)
    high = max(float(t[3].quantile(0.99)) for t in outcomes.tallies)
    grid = np.linspace(low - 0.02 * (high - low), high, 240)
    curves = {w: outcomes.tallies[i][3].chance_up_to(grid) for i, w in enumerate(table.index)}
    return pd.DataFrame(curves, index=pd.Index(grid, name="total"))
