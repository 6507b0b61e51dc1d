"""The one advice: what to do now, what it comes to, against what, and why."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from repairecon.rebuild_or_buy.answer import Answer

WORTH_HAVING = 0.01


@dataclass(frozen=True)
class Advice:
    """What to do now."""

    do: str
    what: str
    way: str
    basis: str
    years: float | None
    gap: float
    against: str
    near_tie: bool
    day_price_turns: float | None
    hour_price_turns: float | None
    back_by: float | None
    because: tuple[str, ...]


def advise(answer: Answer) -> Advice:
    """The advice of an answer."""
    h, v, b = answer.horizon, answer.verdict, answer.bench
    years = h.years.horizon_years
    way, gap, against, tie = v.best, v.gap, v.second, v.near_tie
    if years > 0:
        costs = h.ways["present_cost"][answer.table["allowed"]].sort_values()
        way, against = str(costs.index[0]), str(costs.index[1]) if len(costs) > 1 else ""
        gap = float(costs.iloc[1] - costs.iloc[0]) if against else 0.0
        tie = bool(against and gap < 0.05 * costs.iloc[0])
    do, what = "take", way
    if years == 0 and b.value_of_stripping is not None and b.value_of_stripping > 0 and b.now == "go on":
        do, what = "strip", ""
        gap, against, tie = b.repair_limit - b.value, b.limit_way, False
    at_hand = [w for w in answer.looks if w.has_look and w.net > WORTH_HAVING * abs(b.value)]
    if at_hand:
        do, what = "look", max(at_hand, key=lambda w: w.net).look
    turns = {f.unit.partition(" ")[2]: f.value_flip for f in answer.flips}
    return Advice(do=do, what=what, way=way, basis="years" if years else "this job", years=years or None, gap=gap,
                  against=against, near_tie=tie, day_price_turns=turns.get("a day"),
                  hour_price_turns=turns.get("an hour"), back_by=None, because=())  # fmt: skip
