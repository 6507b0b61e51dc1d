"""The safety screen, the verdict with its margin, and the one advice: what to do now, what it comes to, against what,
by what margin, and on what basis."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Literal, NamedTuple

import numpy as np
import pandas as pd

from repairecon.formulas.tree import certainty_equivalent
from repairecon.rebuild_or_buy.bench import STRIP, StopWhen, Worth, looks, places, stop_when
from repairecon.rebuild_or_buy.lives import in_service, life_is_stated
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.outcomes import SIMPLE, TOTAL, Outcomes
from repairecon.rebuild_or_buy.sensitivity import DAY, HOUR, Number, lead_gone
from repairecon.rebuild_or_buy.stages import GO_ON, LEAVE, Decision, decision, rebuilds_here
from repairecon.rebuild_or_buy.tree import Floats
from repairecon.rebuild_or_buy.ways_cost import lasting
from repairecon.rebuild_or_buy.years import Horizon, break_even_life
from repairecon.records import Case, Way

if TYPE_CHECKING:
    from repairecon.rebuild_or_buy.answer import Answer

Kind = Literal["this job", "years"]
Do = Literal["look", "strip", "take", "leave", "carry on"]
MUCH_BETTER = 0.5  # share of the best look's net worth from which an earlier look is taken first
ASK_FIRST = 0.25  # chance that another thing is to blame from which that is asked before anything is taken apart
DEAREST_ASK = 0.05  # share of the total up to which such a look is taken though it saves nothing: somebody has to look
HOUR_IN_ORDER = 18.0
"""An own hour where only the order of steps hangs on it and nobody's hour is priced: a quarter of the default yard's;
figures said are without it."""
DAY_IN_HOURS = 1 / 6  # of such an hour, a day out of use where nobody's day is priced (assumed, no source)
WORTH_HAVING = 0.01  # share of the least total from which on a saving leads the advice
LOOKED_AHEAD = 20.0  # years up to which keeping her is looked at where the owner does not say
LIFE_AHEAD, STRETCHED = 10.0, (0.2, 5.0)
"""Years over which, and factors by which, the life at which it turns is looked for where the owner says neither."""
REACH = 50.0
UNSOURCED = ("assumed", "common practice")
OFFHAND = ("pattern", "second-hand")
SAME = 1e-9  # share of a total by which two ways may differ and still cost the same


def screen(case: Case) -> dict[str, str]:
    """Way -> why it may not be chosen on price alone ('' where it may). Common practice, no source: units that steer,
    keep water out, or hold gas or fuel are never chosen as pattern, second-hand or own rebuild on price alone. A
    written waiver lifts it."""
    return {w.way: "" if w.way in case.waivers else _bar(case, w) for w in case.ways}


def waived(case: Case) -> tuple[str, ...]:
    """A sentence for each way that the owner took past the safety screen, with the written reason."""
    return tuple(
        f"You waived the safety screen for {w.way} ({bar}) because: {case.waivers[w.way].rstrip('.')}."
        for w in case.ways if w.way in case.waivers and (bar := _bar(case, w))
    )  # fmt: skip


def _bar(case: Case, way: Way) -> str:
    if way.never:
        return f"not to be done: {way.not_when or 'it must not be carried on'}"
    kinds = {w.kind for w in case.ways if w.way in (way.way, way.bought)}
    barred = [k for k in OFFHAND if k in kinds] + ["own rebuild"] * (way.traits.rebuilds == "here")
    classes = case.unit.safety
    if not classes and case.unit.own_rebuild == "licensed practice only":
        classes = ("licensed practice only",)
    elif not classes and case.unit.certificate_needed:
        # an owner may rebuild it with care; what is bought without the maker's name needs its certificate
        barred, classes = [k for k in barred if k == "pattern"], ("certificate needed",)
    return f"{' and '.join(classes)}: {' and '.join(barred)} not on price alone" if classes and barred else ""


@dataclass(frozen=True)
class Verdict:
    """The choice with its margin: ``gap`` saved against ``second``; ``ties`` cost the same, less simple or quick."""

    best: str
    second: str
    gap: float
    p_best_below_second: float
    near_tie: bool
    fastest: str
    steadiest: str
    ties: tuple[str, ...]


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
    """A gap under ``near_tie_share`` of the total, or under twice that if best in less than ``near_tie_chance``."""
    share, limit = gap / abs(total) if total else 0.0, case.terms.near_tie_share
    return share < limit or (share < 2.0 * limit and p_below < case.terms.near_tie_chance)


@dataclass(frozen=True)
class Risk:
    """The choice of an owner who minds the bad case. ``frame``: ``certainty_equivalent`` (home money), ``p_over_cap``;
    ``best`` by both, '' where no allowed way meets the cap; ``changes`` whether that differs from the verdict."""

    tolerance: float | None
    cap: float | None
    cap_chance: float
    frame: pd.DataFrame
    best: str
    changes: bool


def risk(case: Case, table: pd.DataFrame, outcomes: Outcomes, chosen: Verdict) -> Risk:
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


# ---- this job and the years side by side ----
class Choice(NamedTuple):
    """The cheapest allowed way on a basis, the next one, and by how much."""

    way: str
    second: str
    total: float
    gap: float


@dataclass(eq=False)
class Basis:
    """The two bases side by side; ``best`` is the verdict's way for this job, ``fitted`` have lives of the owner's."""

    model: Model
    horizon: Horizon
    best: str
    numbers: Collection[Number]
    fitted: Collection[str]

    def _cheapest(self, totals: Floats, best: str = "") -> Choice:
        ways, open_ways = self.model.ways, np.where(self.model.allowed, totals, np.inf)
        order = [int(i) for i in np.argsort(open_ways, kind="stable") if np.isfinite(open_ways[i])]
        first = ways.index(best) if best else order[0]
        second = next((i for i in order if i != first), first)
        gap = float(open_ways[second] - open_ways[first])
        return Choice(ways[first], ways[second] if second != first else "", float(open_ways[first]), gap)

    @cached_property
    def this_job(self) -> Choice:
        return self._cheapest(self.model.totals, self.best)

    @cached_property
    def over_years(self) -> Choice:
        return self._cheapest(self.horizon.ledger.present)

    @cached_property
    def kind(self) -> Kind:
        """The years, where the owner says how long she is kept and the lives of the ways in question are known."""
        years = self.horizon.years
        if years.horizon_years <= 0 or not years.horizon_stated:
            return "this job"
        in_question = {self.this_job.way, self.this_job.second, self.over_years.way, self.over_years.second} - {""}
        return "years" if all(self.life_known(way) for way in in_question) else "this job"

    def life_known(self, way: str) -> bool:
        """Whether the life of a way's unit is stated, fitted to own lives, or a sourced one of its kind."""
        case = self.model.case
        unit = in_service(case, case.ways[self.horizon.ledger.unit_of(self.model.ways.index(way))])
        notes = [r.source.note for r in (unit.life_years, unit.life_hours) if r is not None]
        sourced = any(note and not note.startswith(UNSOURCED) for note in notes)
        return unit.traits.in_service == "none" or unit.way in self.fitted or life_is_stated(unit) or sourced

    @cached_property
    def choice(self) -> Choice:
        return self.over_years if self.kind == "years" else self.this_job

    @cached_property
    def later(self) -> Floats:
        """What each way costs besides this job on the basis that holds (W,): a date missed, and the years to come."""
        if self.kind != "years":
            return self.model.late
        return np.asarray(self.horizon.ledger.present - self.model.expected() @ np.array(self.model.weights))

    # ---- where it turns, each worked out when it is first asked for ----
    def _turns(self, name: str) -> float | None:
        """The nearest value of an own figure at which another way is cheaper by this job; None where it never is."""
        number = next(n for n in self.numbers if n.name == name)
        best = self.model.ways.index(self.this_job.way)
        most = max(REACH * max(number.now, HOUR_IN_ORDER), number.high, abs(self.this_job.total))
        ends = [end for end in (0.0, most) if end != number.now]
        found = [lead_gone(number, best, number.now, end, 1e-9 * max(end, 1.0)) for end in ends]
        return min((x for x in found if x is not None), key=lambda x: abs(x - number.now), default=None)

    @cached_property
    def day_price_turns(self) -> float | None:
        priced = self.model.case.terms.lost_day_stated and self.model.lost_day > 0
        return None if priced else self._turns(DAY)

    @cached_property
    def hour_price_turns(self) -> float | None:
        return None if self.model.case.terms.own_hour_stated else self._turns(HOUR)

    def life_turns(self, way: str) -> float | None:
        """Median life of a way's unit at which another way is as cheap over the years [years]."""
        ahead = self.horizon if self.horizon.years.horizon_years > 0 else self.horizon.over(LIFE_AHEAD)
        return break_even_life(ahead.ledger, self.model.ways.index(way), STRETCHED)

    def beyond(self, way: str) -> tuple[float | None, str]:
        """Where this job alone decides, the years of keeping her beyond which another way is cheaper, and which; of
        those that are not cheaper at once."""
        if self.kind == "years":
            return None, ""
        most = max(LOOKED_AHEAD, self.horizon.years.horizon_years)
        ledger = self.horizon.over(most).ledger
        grid = np.linspace(0.0, most, int(most) * 4 + 1)
        sold = (1.0 + ledger.rate) ** (most - grid)  # a spare fetches its price in the end
        by_year = np.array([ledger.so_far(i, grid) - ledger.resale(i) * sold for i in range(len(self.model.ways))])
        best = self.model.ways.index(way)
        later = self.model.allowed & (by_year[:, 0] >= by_year[best, 0] - 1e-9 * abs(by_year[best, 0]))
        later &= [i == best or lasting(way) for i, way in enumerate(self.model.case.ways)]  # no makeshift for years
        lead = np.where(later[:, None], by_year, np.inf)
        others = np.delete(lead, best, axis=0).min(axis=0, initial=np.inf)
        lost = np.flatnonzero(others < lead[best] - 1e-9 * np.abs(lead[best]))
        if not len(lost):
            return None, ""
        k = int(lost[0])
        return float(grid[k]), self.model.ways[int(lead[:, k].argmin())]


@dataclass(frozen=True)
class Advice:
    """What to do now: look (at ``what``), strip (begin ``way`` and decide by ``stops``), take ``way`` or carry on with
    it, leave this unit. ``way`` is what is taken if nothing is looked at or stripped first; ``total`` what that comes
    to on the ``basis`` over ``years``, ``gap`` less than ``against``; ``value`` the same with the freedom to look,
    strip and stop. ``back_by`` is the chance of being back by the date; ``because`` what decided."""

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
    back_by: float | None
    look: Worth | None
    stops: tuple[StopWhen, ...]
    ties: tuple[str, ...]
    because: tuple[str, ...]


def advice(answer: Answer) -> Advice:
    basis, terms, model, horizon = answer.basis, answer.case.terms, answer.model, answer.horizon
    # with what each way costs besides this job, as far as that counts
    made = answer.decision if basis.kind == "this job" else decision(model, more=basis.later)
    # an own hour that is not priced counts in the order of first steps, else a look and a strip to the last bolt cost
    # alike; the figures that are said stay without it
    (cash, _, day), yard = model.weights, terms.labour.get("yard")
    hour = 0.25 * yard.cost_hour.likely if yard else HOUR_IN_ORDER
    weighed = made if terms.own_hour_stated else decision(model, (cash, hour, day), more=basis.later)
    chosen, because = _choice(answer, hour)
    look = _look(answer, weighed, chosen)
    do, what, more = _first_step(answer, weighed, chosen, look)
    near = answer.verdict.near_tie
    if basis.kind == "years" and chosen.second:
        near = near_tie(answer.case, chosen.gap, chosen.total, 1.0)
    years_gap, best_years = 0.0, ""
    if horizon.years.horizon_years > 0:
        best_years, present = basis.over_years.way, horizon.ledger.present
        years_gap = float(present[model.ways.index(basis.this_job.way)] - present[model.ways.index(best_years)])
    return Advice(
        do=do, what=what, way=chosen.way, basis=basis.kind, years=horizon.years.horizon_years, total=chosen.total,
        gap=chosen.gap, against=chosen.second, near_tie=near, value=made.value(), best_this_job=basis.this_job.way,
        best_years=best_years, years_gap=years_gap,
        back_by=float(answer.table.loc[chosen.way, "back_by"]) if "back_by" in answer.table else None,
        # on what to stop by the rule on the basis, the first step left out
        look=look, stops=tuple(s for s in stop_when(list(places(model, made))) if s.point != model.done),
        ties=answer.verdict.ties, because=more if do == "leave" else (*because, *more),
    )  # fmt: skip


def _choice(answer: Answer, hour: float) -> tuple[Choice, list[str]]:
    """The way to take on the basis that holds; a near tie of today goes by the years, a tie to the simpler way."""
    basis, model, because = answer.basis, answer.model, list[str]()
    chosen = basis.choice
    if basis.kind == "years":
        if basis.this_job.way != chosen.way:
            because.append(f"{basis.this_job.way} is cheaper today, {chosen.way} over the years")
        return chosen, because
    if answer.verdict.ties:
        because.append("of ways that cost the same the simpler and the quicker")
    if answer.horizon.years.horizon_years > 0 and answer.verdict.near_tie and chosen.second:
        present, second = answer.horizon.ledger.present, model.ways.index(chosen.second)
        if present[second] < present[model.ways.index(chosen.way)]:
            because.append("a near tie today, decided by the years")
            return Choice(chosen.second, chosen.way, float(model.totals[second]), -chosen.gap), because
    taken, why = _spared(answer, chosen, hour)
    return taken, because + why


def _spared(answer: Answer, chosen: Choice, hour: float) -> tuple[Choice, list[str]]:
    """The way that spares hours or days, where they are not priced and the cheapest way pays too little for them, and
    what the cheapest has against it; else that one."""
    model, terms = answer.model, answer.case.terms
    a_day = 0.0 if terms.lost_day_stated else hour * DAY_IN_HOURS
    _, hours, days = model.expected().T
    not_priced = (0.0 if terms.own_hour_stated else hour) * hours, a_day * days
    open_ways = np.flatnonzero(model.allowed)
    weighed = dict(zip(open_ways.tolist(), (model.totals + sum(not_priced))[open_ways].tolist(), strict=True))
    least = min(weighed, key=lambda i: weighed[i])
    ties = [i for i in weighed if near_tie(answer.case, weighed[i] - weighed[least], float(model.totals[i]), 1.0)]
    best, cheapest = min(ties, key=lambda i: (days[i], weighed[i]), default=least), model.ways.index(chosen.way)
    spared = [float(amount[cheapest] - amount[best]) for amount in not_priced]
    if best == cheapest or sum(spared) <= 0:
        return chosen, []
    total = float(model.totals[best])
    why = "pays little for your hours" if spared[0] >= spared[1] else "keeps you waiting"
    return Choice(model.ways[best], chosen.way, total, chosen.total - total), [f"{chosen.way} is cheaper but {why}"]


def _look(answer: Answer, made: Decision, chosen: Choice) -> Worth | None:
    """The look to begin with: of those worth having the first in the mechanic's order, none much better after it; else,
    where another thing is often to blame, the first that tells whether this unit is."""
    found = list(looks(answer.model, made, answer.numbers))
    least = WORTH_HAVING * abs(chosen.total)
    if net := [w.net for w in found if w.net > least]:
        return next(w for w in found if w.net >= MUCH_BETTER * max(net))
    if float(made.chance[made.other].sum()) < ASK_FIRST * float(made.chance.sum()):
        return None
    asks = {b.event for b in answer.case.branches if b.not_this_unit}
    return next((w for w in found if w.about in asks and w.net >= -DEAREST_ASK * abs(chosen.total)), None)


def _first_step(answer: Answer, made: Decision, chosen: Choice, look: Worth | None) -> tuple[Do, str, tuple[str, ...]]:
    model, reached = answer.model, list(places(answer.model, made))
    now = {p.choice for p in reached if p.point == model.done}
    if made.other[made.chance > 0].all() and (answer.found or look is None):
        return "leave", LEAVE, ("what was found says that another unit is to blame",)
    if look is not None:
        return "look", look.look, ("it costs less than it saves",)
    if now == {LEAVE}:
        return "leave", LEAVE, ("it is probably not to blame",)
    committed = model.expected() @ np.array(model.weights) + answer.basis.later  # chosen for good now
    freedom = float(np.min(committed[model.allowed])) - made.value()
    way = answer.case.way(chosen.way)
    begins = way.traits.rebuilds == "here" or answer.case.terms.own_hour_stated
    begins = begins and bool(rebuilds_here(model)) and model.done < STRIP and now == {GO_ON}
    stops = {p.choice for p in reached if p.point != model.done} - {GO_ON}
    if begins and stops and freedom > WORTH_HAVING * abs(chosen.total):
        return "strip", "strip, then decide", ("stripping first and stopping on what is found saves money",)
    return ("carry on" if way.kind == "carry on" else "take"), chosen.way, ()
