"""The choice judged by what was known then, and apart from that by what is known now."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from repairecon.after_the_job.answer import Bridge, Hindsight
from repairecon.after_the_job.bridge import found_in_order, pieces_paid, settled, taken, worker
from repairecon.after_the_job.estimates import Estimate
from repairecon.buying.buying import Buying
from repairecon.buying.inputs import mean_of
from repairecon.rebuild_or_buy.job import read_findings
from repairecon.records import Actual, Case, Decision


def hindsight(
    case: Case, decision: Decision, actual: Actual, allowed: Mapping[str, bool], b: Bridge, buying: Buying | None = None
) -> Hindsight:
    """Every way reckoned anew with the outcomes found as certain and with prices, hours and waits where known.

    A way that was not taken keeps its own uncertainty: nobody knows what it would have come to.
    """
    known = [*read_findings(decision.found), *found_in_order(case, actual)]
    estimate = Estimate(case, known, allowed, decision.cost_own_hour, buying)
    held = {**settled(case, decision, actual), **known_inputs(estimate, actual)}
    totals = dict(zip(estimate.model.ways, map(estimate.total, estimate.expected(held, anew=True)), strict=True))
    may = [w for w in totals if allowed.get(w, True)]
    way, then = taken(decision, actual), {w: decision.figures[w]["total"].mean for w in may}
    chosen = decision.figures[decision.way]["total"]
    best_then = min(then, key=lambda w: then[w])
    gap_then = chosen.mean - then[best_then]
    others = {w: totals[w] for w in may if w != way}
    best_other = min(others, key=lambda w: others[w]) if others else way
    gap_now = b.actual["total"] - others[best_other] if others else 0.0
    return Hindsight(
        chosen=decision.way,
        best_then=best_then,
        gap_then=gap_then,
        good_decision=gap_then <= case.terms.near_tie_share * then[best_then],
        luck="bad" if b.actual["total"] > chosen.p90 else "good" if b.actual["total"] < chosen.p10 else "ordinary",
        best_now=best_other if gap_now > 0 else way,
        gap_now=gap_now,
        actual=b.actual["total"],
        then=then,
        now={w: totals[w] for w in may},
    )


def known_inputs(estimate: Estimate, actual: Actual) -> dict[str, float]:
    """Inputs of the model whose value is known now: prices paid, hours worked, days waited."""
    held: dict[str, float] = {}
    for key, value in _known(estimate, actual):
        if key in estimate.keys:
            held[key] = value
    return held


def _known(estimate: Estimate, actual: Actual) -> Iterator[tuple[str, float]]:
    case, model = estimate.case, estimate.model
    for r in (*actual.of("part"), *actual.of("unit")):
        priced = estimate.prices[r.name] if r.kind == "part" else model.costs.price_of(case.way(r.name))
        if r.days is not None:
            yield priced.lead_key, r.days
        bought = pieces_paid(priced, r) if r.kind == "part" else 1.0
        if r.paid is None or not bought or priced.a_piece <= 0:
            continue
        core = mean_of(case.way(r.name).core_surcharge) if r.kind == "unit" else 0.0
        each = max(r.paid - core, 0.0) / bought / priced.a_piece
        seller = f"quoted:{r.name}@{priced.supplier.supplier}{priced.again}" if priced.supplier else f"price:{r.name}"
        yield seller, each
    for r in actual.of("task"):
        hours = f"task hours:{r.name}"
        if r.hours is not None:
            yield (
                (f"fitting hours:{r.name.removeprefix('fitting, ')}" if hours not in estimate.keys else hours),
                r.hours,
            )
        if r.paid is not None and (r.by or worker(case, r)) == "owner":
            yield f"task cost:{r.name}", r.paid
