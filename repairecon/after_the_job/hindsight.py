"""The choice judged by what was known then, and apart from that by what is known now."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from repairecon.after_the_job.bridge import Bridge, found_in_order, pieces_paid, settled, taken, worker
from repairecon.after_the_job.estimate import Estimate
from repairecon.buying.buying import Buying
from repairecon.buying.inputs import mean_of
from repairecon.read.case_folder import read_case
from repairecon.rebuild_or_buy.job import read_findings, rebuild_or_buy
from repairecon.rebuild_or_buy.verdict import near_tie
from repairecon.records import Actual, Case, Decision


@dataclass(frozen=True, kw_only=True)
class Hindsight:
    """The choice judged twice: by what was known then, and by what is known now.

    ``then`` and ``now`` hold the expected total of each way that could be chosen, by what was known at the decision and
    by what has been found, paid and worked since; ``actual`` is what the way taken came to. ``gap_then`` is what the
    way chosen was expected to cost above the best (0: it was the best), ``gap_now`` what it came to above the least of
    the others. ``good_decision``: the best then, or too near to it to call by the rule of the first job; ``luck`` is
    bad above the stated P90, good below the P10.
    """

    chosen: str
    best_then: str
    gap_then: float
    good_decision: bool
    luck: str
    best_now: str
    gap_now: float
    actual: float
    then: dict[str, float]
    now: dict[str, float]


def hindsight(
    case: Case, decision: Decision, actual: Actual, allowed: Mapping[str, bool], b: Bridge, buying: Buying | None = None
) -> Hindsight:
    """Every way worked out anew with the outcomes found as certain and with prices, hours and waits where known.

    A way that was not taken keeps its own uncertainty: nobody knows what it would have come to.
    """
    known = [*read_findings(decision.found), *found_in_order(case, actual)]
    estimate = Estimate(case, known, allowed, decision.cost_own_hour, buying)
    held = {**settled(case, decision, actual), **_known(estimate, actual)}
    totals = dict(zip(estimate.model.ways, map(estimate.total, estimate.expected(held, anew=True)), strict=True))
    now = {w: total for w, total in totals.items() if allowed.get(w, True)}
    way, then = taken(decision, actual), {w: decision.figures[w]["total"].mean for w in now}
    chosen, came = decision.figures[decision.way]["total"], b.actual["total"]
    best_then = min(then, key=lambda w: then[w])
    gap_then = chosen.mean - then[best_then]
    others = {w: now[w] for w in now if w != way}
    best_other = min(others, key=lambda w: others[w]) if others else way
    gap_now = came - others[best_other] if others else 0.0
    return Hindsight(
        chosen=decision.way,
        best_then=best_then,
        gap_then=gap_then,
        good_decision=gap_then <= 0 or _near_tie(case, decision, best_then, gap_then),
        luck="bad" if came > chosen.p90 else "good" if came < chosen.p10 else "ordinary",
        best_now=best_other if gap_now > 0 else way,
        gap_now=gap_now,
        actual=came,
        then=then,
        now=now,
    )


def _near_tie(case: Case, decision: Decision, best: str, gap: float) -> bool:
    """Whether the first job found the two ways too near to call: by the gap, and by how often one beats the other."""
    total = decision.figures[best]["total"].mean
    by_gap, at_most = near_tie(case, gap, total, 1.0), near_tie(case, gap, total, 0.0)
    if by_gap or not at_most:
        return by_gap
    # only how often one beats the other is left open: the first job is done again, on the same draws
    then = rebuild_or_buy(
        read_case(decision.folder) if decision.folder else case, decision.draws, decision.seed, found=decision.found,
        cost_own_hour=decision.cost_own_hour,
    ).outcomes  # fmt: skip
    return near_tie(case, gap, total, float(then.beats[then.ways.index(best), then.ways.index(decision.way)]))


def _known(estimate: Estimate, actual: Actual) -> dict[str, float]:
    """Inputs of the estimate whose value is known now: prices paid, hours worked, days waited."""
    return {key: value for key, value in _written(estimate, actual) if key in estimate.keys}


def _written(estimate: Estimate, actual: Actual) -> Iterator[tuple[str, float]]:
    case = estimate.case
    for r in (*actual.of("part"), *actual.of("unit")):
        priced = estimate.priced(r)
        if r.days is not None:
            yield priced.lead_key, r.days
        bought = pieces_paid(priced, r) if r.kind == "part" else 1.0
        if r.paid is None or not bought or priced.a_piece <= 0:
            continue
        core = mean_of(case.way(r.name).core_surcharge) if r.kind == "unit" else 0.0
        seller = f"quoted:{r.name}@{priced.supplier.supplier}{priced.again}" if priced.supplier else f"price:{r.name}"
        yield seller, max(r.paid - core, 0.0) / bought / priced.a_piece
    for r in actual.of("task"):
        if r.hours is not None:
            fitting = f"fitting hours:{r.name.removeprefix('fitting, ')}"
            yield (hours if (hours := f"task hours:{r.name}") in estimate.keys else fitting), r.hours
        if r.paid is not None and worker(case, r) == "owner":
            yield f"task cost:{r.name}", r.paid
