"""The verdict with its margin, the safety screen, and the thumb rules beside it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from repairecon.formulas import ranges, thumb_rules
from repairecon.formulas import risk as risk_page
from repairecon.rebuild_or_buy.evaluate import Piece
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.outcomes import Outcomes
from repairecon.records import Case, Way

if TYPE_CHECKING:
    import pandas as pd

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
class Risk:
    """The choice of an owner who minds the bad case.

    ``frame`` has a row a way: ``certainty_equivalent`` (home money) and ``p_over_cap``; ``best`` the choice
    by both, '' where no allowed way meets the cap; ``changes`` whether that differs from the verdict.
    """

    tolerance: float | None
    cap: float | None
    cap_chance: float
    frame: pd.DataFrame
    best: str
    changes: bool


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


def verdict(case: Case, table: pd.DataFrame, outcomes: Outcomes) -> Verdict:
    ranked = table[table["allowed"]].sort_values("total_mean", kind="stable")
    best = str(ranked.index[0])
    second = str(ranked.index[1]) if len(ranked) > 1 else ""
    b = outcomes.ways.index(best)
    gap, p_below = 0.0, 1.0
    if second:
        s = outcomes.ways.index(second)
        gap = float(ranked["total_mean"].iloc[1] - ranked["total_mean"].iloc[0])
        p_below = float(outcomes.beats[b, s])
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
            return float(model.plain.at.expected((Piece(model.program.spare[i]),))[0])
    r = model.case.unit.price_new
    return None if r is None else float(ranges.mean(r.low, r.likely, r.high, r.shape))


def rules_beside(model: Model, table: pd.DataFrame) -> tuple[ThumbRule, ...]:
    rebuild = next((w.way for w in model.case.ways if w.kind in ("rebuild", "send away")), None)
    price, unit = _price_new(model), model.case.unit
    if rebuild is None or price is None:
        return ()
    row = table.loc[rebuild]
    cost = float(row["cash_mean"] + model.own_hour * row["own_hours_mean"])
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
        ThumbRule(name, source, limit, cost, says := _says(cost, limit), None if says == "" else says == computed)
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


def risk(case: Case, table: pd.DataFrame, outcomes: Outcomes, chosen: Verdict) -> Risk:
    """The choice of an owner who minds the bad case: certainty equivalents, and a cap not to be passed often."""
    terms = case.terms
    rows = {}
    for w, way in enumerate(outcomes.ways):
        tally = outcomes.tallies[w][3]
        values, weights = tally.middles, tally.counts / tally.counts.sum()
        shift = float(table.loc[way, "total_mean"] - values @ weights)
        sure = float(table.loc[way, "total_mean"])
        if terms.risk_tolerance is not None:
            sure = risk_page.certainty_equivalent(values + shift, terms.risk_tolerance, weights)
        over = 0.0 if terms.cap_cost is None else 1.0 - float(tally.chance_up_to(np.array(terms.cap_cost)))
        rows[way] = (sure, over)
    import pandas as pd

    frame = pd.DataFrame.from_dict(rows, orient="index", columns=["certainty_equivalent", "p_over_cap"])
    open_ways = table["allowed"] & (frame["p_over_cap"] <= (terms.cap_chance if terms.cap_cost is not None else 1.0))
    best = str(frame["certainty_equivalent"][open_ways].idxmin()) if open_ways.any() else ""
    return Risk(terms.risk_tolerance, terms.cap_cost, terms.cap_chance, frame, best, best != chosen.best)
