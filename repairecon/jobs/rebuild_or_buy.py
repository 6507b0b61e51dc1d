"""The main job: what every way out costs, in how many days, and which to choose."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from repairecon.chance.inputs import Priced
from repairecon.chance.model import Model
from repairecon.chance.outcomes import QUANTITIES, Outcomes, sample
from repairecon.chance.sensitivity import Flip, flips
from repairecon.chance.world import NEVER_ENDS, STAGE, branch_touches, grow, with_findings
from repairecon.formulas import ranges, thumb_rules
from repairecon.records import Assumed, Branch, Case, RepaireconError, Way

DRAWS = 20_000
OFFHAND = ("pattern", "second-hand")


@dataclass(frozen=True)
class ThumbRule:
    """A rule in use beside the computed answer; ``limit`` is the most it would spend on a rebuild."""

    rule: str
    source: str
    limit: float | None
    rebuild_cost: float
    says: str
    agrees: bool | None


@dataclass(frozen=True)
class Verdict:
    """The choice with its margin. ``gap`` is the expected total saved against ``second``."""

    best: str
    second: str
    gap: float
    p_best_below_second: float
    near_tie: bool
    fastest: str
    steadiest: str


@dataclass(frozen=True)
class Answer:
    """All that the job found; ``table`` has a row a way.

    Columns of ``table``: kind, allowed, why_not, p_cheapest, expected_regret, p_never, instead,
    p_given_up, p_spare, and for each of cash, own_hours, days, total, total_own_time_free: ``_mean`` (exact),
    ``_p10``, ``_p50``, ``_p90`` (sampled), ``_se`` and ``_p90_se`` (standard errors of a sampled mean
    and of the sampled P90); ``cost_lost_days_mean``.
    """

    case: Case
    table: pd.DataFrame
    verdict: Verdict
    flips: tuple[Flip, ...]
    thumb_rules: tuple[ThumbRule, ...]
    leaves: pd.DataFrame
    lines: pd.DataFrame
    curves: pd.DataFrame
    nodes: pd.DataFrame
    assumed: tuple[Assumed, ...]
    cautions: tuple[str, ...]
    outcomes: Outcomes
    cost_own_hour: float
    found: Mapping[str, str]


def screen(case: Case) -> dict[str, str]:
    """Way -> why it may not be chosen on price alone ('' where it may).

    Common practice, no source: units that steer, keep water out, or hold gas or fuel are never
    chosen as pattern, second-hand or own rebuild on price alone. A written waiver lifts it.
    """
    waived = {w.way for w in case.waivers}
    return {w.way: "" if w.way in waived else _bar(case, w) for w in case.ways}


def _bar(case: Case, way: Way) -> str:
    kinds = {way.kind} | ({case.way(way.bought).kind} if way.bought else set())
    barred = [k for k in OFFHAND if k in kinds]
    if way.traits.rebuilds == "here":
        barred.append("own rebuild")
    if not case.unit.safety or not barred:
        return ""
    return f"{' and '.join(case.unit.safety)}: {' and '.join(barred)} not on price alone"


def rebuild_or_buy(
    case: Case,
    draws: int = DRAWS,
    seed: int = 1,
    *,
    cost_own_hour: float | None = None,
    horizon_years: float = 0.0,
    found: Mapping[str, str] | str = "",
    progress: Callable[[int], None] | None = None,
) -> Answer:
    """Reckon every way of a case.

    ``draws`` joint draws for the ranges (means are exact without any); ``cost_own_hour`` overrides
    the case's worth of an own hour; ``found`` holds findings so far, ``{"shaft": "grooved"}`` or
    ``"shaft=grooved; seal=eaten"``. The same seed gives the same answer, bit for bit.
    """
    if horizon_years != 0:
        raise RepaireconError(
            f"horizon_years: found {horizon_years}; give 0, as only this job is reckoned, not the years after it"
        )
    if draws < 2:
        raise RepaireconError(f"draws: found {draws}; give a whole number of 2 or more")
    if seed < 0:
        raise RepaireconError(f"seed: found {seed}; give a whole number of 0 or more")
    if cost_own_hour is not None and not (np.isfinite(cost_own_hour) and cost_own_hour >= 0):
        raise RepaireconError(f"cost_own_hour: found {cost_own_hour}; give an amount of 0 or more")
    findings = _findings(found)
    why_not = screen(case)
    allowed = {w: not why for w, why in why_not.items()}
    if not any(allowed.values()):
        raise RepaireconError(
            "no way is left after the safety screen: add a new or exchange unit or a specialist's "
            "rebuild to ways.csv, or write a [[waiver]] with its reason into case.toml"
        )
    world = with_findings(grow(case), findings)
    model = Model(case, world, allowed)
    outcomes = sample(model, draws, seed, cost_own_hour, progress)
    hour = case.terms.cost_own_hour if cost_own_hour is None else cost_own_hour
    table = _table(model, outcomes, why_not)
    verdict = _verdict(case, table, outcomes)
    best = model.ways.index(verdict.best)
    leaves = _leaves(model, outcomes, hour)
    return Answer(
        case,
        table,
        verdict,
        tuple(flips(model, hour, best)),
        _thumb_rules(model, table, hour),
        leaves,
        _lines(model),
        _curves(table, outcomes),
        _nodes(model, leaves),
        case.assumed,
        case.unit.cautions,
        outcomes,
        hour,
        findings,
    )


def _findings(found: Mapping[str, str] | str) -> dict[str, str]:
    if not isinstance(found, str):
        return dict(found)
    findings: dict[str, str] = {}
    for piece in filter(None, (p.strip() for p in found.split(";"))):
        event, sign, outcome = (x.strip() for x in piece.partition("="))
        if not (event and sign and outcome):
            raise RepaireconError(f"found: {piece!r} is not a finding; write event=outcome, joined by ;")
        if findings.setdefault(event, outcome) != outcome:
            raise RepaireconError(f"found: {event} is given both as {findings[event]} and as {outcome}")
    return findings


def _table(model: Model, outcomes: Outcomes, why_not: Mapping[str, str]) -> pd.DataFrame:
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
    columns["p_cheapest"] = list(outcomes.p_cheapest)
    columns["expected_regret"] = list(outcomes.regret)
    columns["p_never"] = [_p_never(model, i) for i in range(len(model.ways))]
    columns["instead"] = [_instead(model, i) for i in range(len(model.ways))]
    columns["p_given_up"] = [_p_given_up(model, i) for i in range(len(model.ways))]
    columns["p_spare"] = [_p_spare(model, i) for i in range(len(model.ways))]
    return pd.DataFrame(columns, index=pd.Index(model.ways, name="way"))


def _bought_by(model: Model, i: int) -> int:
    """The way whose unit a pair buys, else the way itself."""
    bought = model.case.ways[i].bought
    return model.ways.index(bought) if bought else i


def _p_never(model: Model, i: int) -> float:
    atom = model.never.get(_bought_by(model, i))
    return 0.0 if atom is None else float(model.atom_means()[atom])


def _instead(model: Model, i: int) -> str:
    i = _bought_by(model, i)
    return model.ways[model.instead[i][0]] if model.instead.get(i) else ""


def _p_spare(model: Model, i: int) -> float:
    """Chance that the way ends with a working spare aboard."""
    way = model.case.ways[i]
    if not (way.traits.buys and way.traits.rebuilds):
        return 0.0
    ends = model.ends[i]
    done = ends == NEVER_ENDS
    if way.traits.in_service == "bought":
        done |= ends > STAGE["reassembly"]
    p = float(model.world.chance[done].sum())
    return p if way.traits.in_service == "bought" else p * (1.0 - _p_never(model, i))


def _p_given_up(model: Model, i: int) -> float:
    """Chance that the way's rebuild ends without a unit."""
    ends = model.ends.get(i)
    return 0.0 if ends is None else float(model.world.chance[ends < NEVER_ENDS].sum())


def _verdict(case: Case, table: pd.DataFrame, outcomes: Outcomes) -> Verdict:
    ranked = table[table["allowed"]].sort_values("total_mean", kind="stable")
    best = str(ranked.index[0])
    second = str(ranked.index[1]) if len(ranked) > 1 else ""
    b = outcomes.ways.index(best)
    gap, p_below = 0.0, 1.0
    if second:
        s = outcomes.ways.index(second)
        gap = float(ranked["total_mean"].iloc[1] - ranked["total_mean"].iloc[0])
        tied = 1.0 - outcomes.beats[b, s] - outcomes.beats[s, b]
        p_below = float(outcomes.beats[b, s] + tied / 2)
    near = bool(second) and near_tie(case, gap, float(ranked["total_mean"].iloc[0]), p_below)
    return Verdict(
        best,
        second,
        gap,
        p_below,
        near,
        str(ranked["days_mean"].idxmin()),
        str(ranked["total_p90"].idxmin()),
    )


def near_tie(case: Case, gap: float, total: float, p_below: float) -> bool:
    """Whether the two cheapest ways are too close to call.

    They are when the gap is under ``near_tie_share`` of the cheapest total, or under twice
    that while the cheapest beats the second in less than ``near_tie_chance``.
    """
    share = gap / abs(total) if total else 0.0
    limit = case.terms.near_tie_share
    return share < limit or (share < 2.0 * limit and p_below < case.terms.near_tie_chance)


def _price_new(model: Model) -> float | None:
    """Expected all-in price of a new unit [home money]."""
    for i, way in enumerate(model.case.ways):
        if way.kind == "new":
            purchase = model._run(model.spare[i], model.leaf_rows(), slice(None))
            return float(np.mean(purchase[0]))
    r = model.case.unit.price_new
    return None if r is None else float(ranges.mean(r.low, r.likely, r.high, r.shape))


def _thumb_rules(model: Model, table: pd.DataFrame, hour: float) -> tuple[ThumbRule, ...]:
    rebuild = next((w.way for w in model.case.ways if w.kind in ("rebuild", "send away")), None)
    price, unit = _price_new(model), model.case.unit
    if rebuild is None or price is None:
        return ()
    row = table.loc[rebuild]
    cost = float(row["cash_mean"] + hour * row["own_hours_mean"])
    computed = _chosen_side(model, table)
    rules: list[tuple[str, str, float | None]] = [
        ("no more than 50 % of new", "rule of thumb, no derivation", float(thumb_rules.half_of_new(price))),
        (
            "no more than 85 % of list",
            "US Army TB 43-0154 (small engines and outboards)",
            float(thumb_rules.flat_share_of_list(price)),
        ),
    ]
    line = None
    if unit.age_years is not None and unit.expected_life_years:
        line = float(thumb_rules.straight_line(price, unit.age_years, unit.expected_life_years))
    rules.append(("price of new x (1 - age / life)", "US Coast Guard CI 11103.1B", line))
    return tuple(
        ThumbRule(
            name, source, limit, cost, says := _says(cost, limit), None if says == "" else says == computed
        )
        for name, source, limit in rules
    )


def _says(cost: float, limit: float | None) -> str:
    if limit is None:
        return ""
    return "rebuild" if cost <= limit else "buy"


def _chosen_side(model: Model, table: pd.DataFrame) -> str:
    """Rebuild or buy: the side of the unit that goes into service by the cheapest allowed way."""
    best = str(table[table["allowed"]]["total_mean"].idxmin())
    return "rebuild" if model.case.way(best).traits.in_service == "rebuilt" else "buy"


def _leaves(model: Model, outcomes: Outcomes, hour: float) -> pd.DataFrame:
    """A row a leaf: chance, outcomes, what the damage adds to the planned rebuild, whether it ends it."""
    world, i = model.world, _main_rebuild(model)
    columns = ["chance", "outcomes", "expected_extra_cost", "ends_rebuild"]
    if i is None:
        return pd.DataFrame(
            [(c, world.words(k), 0.0, False) for k, c in enumerate(world.chance)], columns=columns
        )
    case = model.case
    plan = Model(case, grow(case, bare=True), dict(zip(model.ways, model.allowed.tolist(), strict=True)))
    cash, hours, _ = outcomes.by_leaf[i]
    planned = plan.expected()[i] @ np.array([1.0, hour, 0.0])
    extra = cash + hour * hours - planned
    ended = model.ends[i] < NEVER_ENDS
    rows = [(world.chance[k], world.words(k), extra[k], bool(ended[k])) for k in range(len(world.chance))]
    return pd.DataFrame(rows, columns=columns).sort_values("chance", ascending=False, ignore_index=True)


def _main_rebuild(model: Model) -> int | None:
    kinds = [w.kind for w in model.case.ways]
    for kind in ("rebuild", "rebuild and spare", "send away"):
        if kind in kinds:
            return kinds.index(kind)
    return None


def _nodes(model: Model, leaves: pd.DataFrame) -> pd.DataFrame:
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
    ends = leaves["ends_rebuild"].to_numpy()
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
            )
        )
    columns = ["id", "parent", "label", "event", "chance", "extra_cost", "ends_rebuild"]
    return pd.DataFrame(rows, columns=columns)


def _events_that_matter(model: Model) -> set[str]:
    """Events that bear on the rebuild, and those that they depend on."""
    main = _main_rebuild(model)
    if main is None:
        return set()
    way = model.case.ways[main]
    matter = {b.event for b in model.case.branches if b.seen_at and branch_touches(b, way) and not _idle(b)}
    while more := {o for b in model.case.branches if b.event in matter for o, _ in b.given} - matter:
        matter |= more
    return matter


def _idle(b: Branch) -> bool:
    """An outcome without consequences for a rebuild."""
    return not (b.parts or b.ends_rebuild or b.extra_hours.high or b.outside_cost.high or b.extra_days.high)


def _draw_order(model: Model, event: str) -> tuple[int, int]:
    e = model.world.events.index(event)
    return model.world.seen[e], e


def _lines(model: Model) -> pd.DataFrame:
    """Where each price comes from: a row for every part and way that is priced."""
    rows = []
    pieces = {p.part: p.quantity for p in model.case.parts}
    needed = {p.part: p.needed for p in model.case.parts}
    for name, priced in model.prices.items():
        rows.append(_line(name, needed[name], pieces[name], priced))
    for i, way in enumerate(model.case.ways):
        if i in model.buys or way.traits.rebuilds == "away":
            rows.append(_line(way.way, "unit", 1, model.builder.price_way(way)))
    columns = ["item", "needed", "pieces", "supplier", "quoted", "currency", "cost_all_in", "source"]
    return pd.DataFrame(rows, columns=columns)


def _line(name: str, needed: str, pieces: int, priced: Priced) -> tuple[object, ...]:
    r = priced.range
    mean = float(ranges.mean(r.low, r.likely, r.high, r.shape))
    supplier = priced.supplier.supplier if priced.supplier else ""
    currency = priced.supplier.currency if priced.supplier else ""
    return name, needed, pieces, supplier, mean, currency, priced.cost(pieces), str(priced.source)


def _curves(table: pd.DataFrame, outcomes: Outcomes) -> pd.DataFrame:
    """Chance that each way's total is no more than x, on a common grid of x."""
    low = min(float(t[3].quantile(0.005)) for t in outcomes.tallies)
    high = max(float(t[3].quantile(0.99)) for t in outcomes.tallies)
    grid = np.linspace(low - 0.02 * (high - low), high, 240)
    curves = {w: outcomes.tallies[i][3].chance_up_to(grid) for i, w in enumerate(table.index)}
    return pd.DataFrame(curves, index=pd.Index(grid, name="total"))
