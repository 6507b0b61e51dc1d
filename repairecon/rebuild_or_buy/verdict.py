"""The verdict with its margin, the safety screen, and the thumb rules beside it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from repairecon.buying.inputs import mean_of
from repairecon.formulas.tree import certainty_equivalent
from repairecon.rebuild_or_buy.evaluate import Piece
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.outcomes import SIMPLE, TOTAL, Outcomes
from repairecon.records import Case, Way

OFFHAND = ("pattern", "second-hand")
SAME = 1e-9
"""Share of a total by which two ways may differ and still cost the same."""


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
    way: str = ""
    price_new: float = 0.0


@dataclass(frozen=True)
class Verdict:
    """The choice with its margin. ``gap`` is the expected total saved against ``second``. ``ties`` are ways that cost
    the same as the best; of these it is the simplest, then the quickest."""

    best: str
    second: str
    gap: float
    p_best_below_second: float
    near_tie: bool
    fastest: str
    steadiest: str
    ties: tuple[str, ...] = ()


@dataclass(frozen=True)
class Risk:
    """The choice of an owner who minds the bad case. ``frame`` has a row a way: ``certainty_equivalent`` (home money)
    and ``p_over_cap``; ``best`` the choice by both, '' where no allowed way meets the cap; ``changes`` whether that
    differs from the verdict."""

    tolerance: float | None
    cap: float | None
    cap_chance: float
    frame: pd.DataFrame
    best: str
    changes: bool


def screen(case: Case) -> dict[str, str]:
    """Way -> why it may not be chosen on price alone ('' where it may). Common practice, no source: units that steer,
    keep water out, or hold gas or fuel are never chosen as pattern, second-hand or own rebuild on price alone. A
    written waiver lifts it."""
    return {w.way: "" if w.way in case.waivers else _bar(case, w) for w in case.ways}


def waived(case: Case) -> tuple[str, ...]:
    """A sentence for each way that the owner took past the safety screen, with the written reason."""
    barred = {w.way: _bar(case, w) for w in case.ways if w.way in case.waivers}
    return tuple(
        f"You waived the safety screen for {way} ({bar}) because: {case.waivers[way].rstrip('.')}."
        for way, bar in barred.items() if bar
    )  # fmt: skip


def _bar(case: Case, way: Way) -> str:
    kinds = {way.kind} | ({case.way(way.bought).kind} if way.bought else set())
    barred = [k for k in OFFHAND if k in kinds]
    if way.traits.rebuilds == "here":
        barred.append("own rebuild")
    if way.never:
        return f"not to be done: {way.not_when}" if way.not_when else "not to be done: it must not be carried on"
    licensed = ("licensed practice only",) if case.unit.own_rebuild == "licensed practice only" else ()
    classes = case.unit.safety or licensed
    if not classes and case.unit.certificate_needed:
        # an owner may rebuild it with care; what is bought without the maker's name needs its certificate
        barred, classes = [k for k in barred if k == "pattern"], ("certificate needed",)
    if not classes or not barred:
        return ""
    return f"{' and '.join(classes)}: {' and '.join(barred)} not on price alone"


def verdict(case: Case, table: pd.DataFrame, outcomes: Outcomes) -> Verdict:
    """The choice by this job alone; a tie goes to the simpler way, then to the quicker."""
    open_ways = table[table["allowed"]]
    totals, days = open_ways["total_mean"], open_ways["days_mean"]
    least = float(totals.min())
    ties = [str(w) for w, t in totals.items() if t - least <= SAME * max(abs(least), 1.0)]
    best = min(ties, key=lambda w: (SIMPLE.index(case.way(w).kind), float(days[w]), w))
    others = totals.drop(best).sort_values(kind="stable")
    second, gap, p_below = str(others.index[0]) if len(others) else "", 0.0, 1.0
    if second:
        gap = float(others.iloc[0]) - float(totals[best])
        p_below = float(outcomes.beats[outcomes.ways.index(best), outcomes.ways.index(second)])
    return Verdict(
        best=best, second=second, gap=gap, p_best_below_second=p_below,
        near_tie=bool(second) and near_tie(case, gap, float(totals[best]), p_below), fastest=str(days.idxmin()),
        steadiest=str(open_ways["total_p90"].idxmin()), ties=tuple(w for w in ties if w != best),
    )  # fmt: skip


def near_tie(case: Case, gap: float, total: float, p_below: float) -> bool:
    """Whether the two cheapest ways are too close to call: the gap is under ``near_tie_share`` of the cheapest total,
    or under twice that while the cheapest beats the second in less than ``near_tie_chance``."""
    share, limit = gap / abs(total) if total else 0.0, case.terms.near_tie_share
    return share < limit or (share < 2.0 * limit and p_below < case.terms.near_tie_chance)


def rules_beside(model: Model, table: pd.DataFrame) -> tuple[ThumbRule, ...]:
    """The rules in use for every way that repairs the old unit."""
    unit, new = model.case.unit, next((i for i, w in enumerate(model.case.ways) if w.kind == "new"), None)
    repairs = [w.way for w in model.case.ways if w.kind in ("rebuild", "send away")]
    if not repairs or (new is None and unit.price_new is None):
        return ()
    price = mean_of(unit.price_new) if unit.price_new else 0.0
    if new is not None:  # all in
        price = float(model.plain.at.expected((Piece(model.program.spare[new]),))[0])
    cash = dict(zip(model.ways, model.planned.expected()[:, 0].tolist(), strict=True))
    line = None
    if unit.age_years is not None and unit.expected_life_years:
        line = price * max(1.0 - unit.age_years / unit.expected_life_years, 0.0)
    rules: list[tuple[str, str, float | None]] = [
        ("no more than 50 % of new", "rule of thumb, no derivation", 0.5 * price),
        ("no more than 85 % of list", "US Army TB 43-0154 (small engines and outboards)", 0.85 * price),
        ("price of new x (1 - age / life)", "US Coast Guard CI 11103.1B", line),
    ]
    best = str(table[table["allowed"]]["total_mean"].idxmin())
    computed = "rebuild" if model.case.way(best).traits.in_service == "rebuilt" else "buy"
    found = []
    for way in repairs:
        for name, source, limit in rules:
            says = "" if limit is None else "rebuild" if cash[way] <= limit else "buy"
            agrees = says == computed if says else None
            found.append(ThumbRule(name, source, limit, cash[way], says, agrees, way, price))
    return tuple(found)


def risk(case: Case, table: pd.DataFrame, outcomes: Outcomes, chosen: Verdict) -> Risk:
    """The choice of an owner who minds the bad case: certainty equivalents, and a cap not to be passed often."""
    terms, rows = case.terms, {}
    for way, tallies in zip(outcomes.ways, outcomes.tallies, strict=True):
        tally, sure = tallies[TOTAL], float(table.loc[way, "total_mean"])
        values, weights = tally.middles, tally.counts / tally.counts.sum()
        if terms.risk_tolerance is not None:
            sure = certainty_equivalent(values + (sure - float(values @ weights)), terms.risk_tolerance, weights)
        over = 0.0 if terms.cap_cost is None else 1.0 - float(tally.chance_up_to(np.array(terms.cap_cost)))
        rows[way] = (sure, over)
    frame = pd.DataFrame.from_dict(rows, orient="index", columns=["certainty_equivalent", "p_over_cap"])
    open_ways = table["allowed"] & (frame["p_over_cap"] <= (terms.cap_chance if terms.cap_cost is not None else 1.0))
    best = str(frame["certainty_equivalent"][open_ways].idxmin()) if open_ways.any() else ""
    return Risk(terms.risk_tolerance, terms.cap_cost, terms.cap_chance, frame, best, best != chosen.best)
