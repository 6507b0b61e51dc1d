"""The one advice: what to do now, what it comes to, against what, by what margin, and on what basis."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from repairecon.rebuild_or_buy import looks as looking
from repairecon.rebuild_or_buy import verdict
from repairecon.rebuild_or_buy.basis import Basis, Choice, Kind
from repairecon.rebuild_or_buy.bench import NOW, STRIP, point_name
from repairecon.rebuild_or_buy.looks import Worth
from repairecon.rebuild_or_buy.policy import StopWhen, places, stop_when
from repairecon.rebuild_or_buy.stages import GO_ON, LEAVE, Decision, decision, rebuilds_here

if TYPE_CHECKING:
    from repairecon.rebuild_or_buy.answer import Answer

Do = Literal["look", "strip", "take", "leave", "carry on", "none"]
WORTH_HAVING = 0.01
"""Share of the least total from which on a saving leads the advice."""


@dataclass(frozen=True)
class Advice:
    """What to do now.

    ``do``: look (``what`` is the look), strip (begin ``way`` and decide by ``stops``), take ``way``, leave this unit
    and look elsewhere, carry on (``way``) or none. ``way`` is what is taken if nothing is looked at or stripped first;
    ``total`` what that comes to on the ``basis`` over ``years``, ``gap`` less than ``against``; ``value`` the same with
    the freedom to look, strip and stop. ``best_this_job`` and ``best_years`` where they differ tell both.
    ``day_price_turns``, ``hour_price_turns`` and ``life_turns`` are where another way takes over, ``beyond_years`` from
    how many years of keeping on ``beyond_way`` does. ``back_by`` is the chance of being back by the date. ``because``
    says in plain words what decided.
    """

    do: Do
    what: str
    way: str
    basis: Kind
    years: float
    total: float
    gap: float
    against: str
    near_tie: bool
    value: float
    best_this_job: str
    best_years: str
    years_gap: float
    day_price_turns: float | None
    hour_price_turns: float | None
    life_turns: float | None
    beyond_years: float | None
    beyond_way: str
    back_by: float | None
    look: Worth | None
    stops: tuple[StopWhen, ...]
    ties: tuple[str, ...]
    because: tuple[str, ...]


def advice(answer: Answer) -> Advice:
    """The advice of an answer, the best informed of its parts first."""
    basis = answer.basis
    made = _on_the_basis(answer)
    chosen, because = _choice(answer, basis)
    look = _look(answer, made, chosen)
    do, what, more = _first_step(answer, made, chosen, look)
    turned = basis.beyond_years if basis.kind == "this job" else None
    terms, row = answer.case.terms, answer.table.loc[chosen.way]
    years = basis.over_years if answer.horizon.years.horizon_years > 0 else None
    return Advice(
        do=do,
        what=what,
        way=chosen.way,
        basis=basis.kind,
        years=answer.horizon.years.horizon_years,
        total=chosen.total,
        gap=chosen.gap,
        against=chosen.second,
        near_tie=_near_tie(answer, basis, chosen),
        value=made.value(),
        best_this_job=basis.this_job.way,
        best_years=years.way if years else "",
        years_gap=_years_gap(answer, basis) if years else 0.0,
        day_price_turns=None if terms.lost_day_stated and answer.model.lost_day > 0 else basis.day_price_turns,
        hour_price_turns=None if terms.own_hour_stated else basis.hour_price_turns,
        life_turns=basis.life_turns,
        beyond_years=turned[0] if turned else None,
        beyond_way=turned[1] if turned else "",
        back_by=float(row["back_by"]) if "back_by" in answer.table else None,
        look=look,
        stops=_stops(answer, made),
        ties=answer.verdict.ties,
        because=(*because, *more),
    )


def _on_the_basis(answer: Answer) -> Decision:
    """The staged choice with what each way costs besides this job, as far as that counts."""
    return decision(answer.model, more=answer.basis.later)


def _choice(answer: Answer, basis: Basis) -> tuple[Choice, list[str]]:
    """The way to take on the basis that holds; a near tie of today goes by the years, a tie to the simpler way."""
    chosen, because = basis.choice, []
    if basis.kind == "years":
        if basis.this_job.way != chosen.way:
            because.append(f"{basis.this_job.way} is cheaper today, {chosen.way} over the years")
        return chosen, because
    if answer.verdict.ties:
        because.append("of ways that cost the same the simpler and the quicker")
    by_years = answer.horizon.years.horizon_years > 0 and answer.verdict.near_tie
    if by_years and basis.this_job.second:
        present = answer.horizon.ledger.present
        best, second = (answer.model.ways.index(w) for w in (chosen.way, chosen.second))
        if present[second] < present[best]:
            because.append("a near tie today, decided by the years")
            total = float(answer.model.totals[second])
            return Choice(chosen.second, chosen.way, total, -chosen.gap), because
    return chosen, because


def _near_tie(answer: Answer, basis: Basis, chosen: Choice) -> bool:
    if basis.kind == "this job" or not chosen.second:
        return answer.verdict.near_tie
    return verdict.near_tie(answer.case, chosen.gap, chosen.total, 1.0)


def _years_gap(answer: Answer, basis: Basis) -> float:
    """By how much this job's best way is dearer over the years than the best one there."""
    present = answer.horizon.ledger.present
    here, there = (answer.model.ways.index(w) for w in (basis.this_job.way, basis.over_years.way))
    return float(present[here] - present[there])


def _look(answer: Answer, made: Decision, chosen: Choice) -> Worth | None:
    """The look with the highest net worth, if that is worth having."""
    found = looking.in_order(list(looking.looks_at_hand(answer.model, made, answer.numbers)))
    worth = WORTH_HAVING * abs(chosen.total)
    return found[0] if found and found[0].net > worth else None


def _first_step(answer: Answer, made: Decision, chosen: Choice, look: Worth | None) -> tuple[Do, str, tuple[str, ...]]:
    model, rule = answer.model, made.rule()
    now = {p.choice for p in places(model, made, rule) if p.point == model.done}
    if made.other[made.chance > 0].all():
        return "leave", LEAVE, ("what was found says that another unit is to blame",)
    if look is not None:
        return "look", look.look, ("it costs less than it saves",)
    if now == {LEAVE}:
        return "leave", LEAVE, ("looking elsewhere first costs less, even if it was this unit after all",)
    freedom = float(np.min(_committed(answer, made))) - rule.value
    begins = rebuilds_here(model) and model.done < STRIP and now == {GO_ON}
    if begins and _stops(answer, made) and freedom > WORTH_HAVING * abs(chosen.total):
        return "strip", "strip, then decide", ("stripping first and stopping on what is found saves money",)
    kind = answer.case.way(chosen.way).kind
    return ("carry on" if kind == "carry on" else "take"), chosen.way, ()


def _committed(answer: Answer, made: Decision) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Expected totals of the allowed ways on the basis, chosen for good now."""
    model = answer.model
    more = made.more if made.more is not None else np.zeros(len(model.ways))
    totals = model.expected() @ np.array(model.weights) + more
    return np.asarray(totals[model.allowed], dtype=np.float64)


def _stops(answer: Answer, made: Decision) -> tuple[StopWhen, ...]:
    """On what to stop by the rule on the basis, the first step left out."""
    found = stop_when(list(places(answer.model, made)))
    return tuple(s for s in found if point_name(s.point, answer.model.done) != NOW)
