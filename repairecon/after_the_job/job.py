"""After the job: a decision frozen; what the closed job came to and why; what a log of jobs teaches."""

from __future__ import annotations

import datetime
import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

import numpy as np

from repairecon.after_the_job import log as job_log
from repairecon.after_the_job import spares_book
from repairecon.after_the_job.bridge import Bridge, Estimate, bridge, found_in_order, pieces_paid, settled, worker
from repairecon.after_the_job.learning import STRENGTH, Shift, learn, shifts
from repairecon.book.stock import read_case_aboard
from repairecon.buying.inputs import mean_of
from repairecon.read.boat import boat_folder, book_path
from repairecon.read.case_folder import read_case
from repairecon.read.closed import Closed, freeze, kept_findings
from repairecon.rebuild_or_buy.advice import near_tie, screen
from repairecon.rebuild_or_buy.job import DRAWS, read_findings, rebuild_or_buy
from repairecon.rebuild_or_buy.learned import with_learned
from repairecon.records import Actual, Case, Decision, Figures, JobLog, Learned, Logged, RepaireconError, StoresMoved
from repairecon.show.sheet import Panel, Shown

NO_LOG = JobLog()
ENDS = ("mean", "p10", "p50", "p90")
COLUMNS = {"cash": "cash", "own hours": "own_hours", "days": "days", "total": "total"}


def decide(
    folder: str | os.PathLike[str], way: str = "", *, on: str = "", found: str = "", draws: int = DRAWS, seed: int = 1,
    cost_own_hour: float | None = None,
) -> Decision:  # fmt: skip
    """Freeze a case as it is decided, with the figures of every way, and write the sheet for what happens.

    ``way`` is the way chosen, by default the best; ``on`` the day (year-month-day, default today); ``found`` what is
    known so far, as for the first job. A frozen decision is never written over.
    """
    from repairecon.book.spares_book import book_at
    from repairecon.read.orders import write_receipts

    try:
        day = datetime.date.fromisoformat(on) if on else datetime.date.today()
    except ValueError as error:
        raise RepaireconError(f"on: found {on!r}; write a date as year-month-day, such as 2026-03-31") from error
    case = read_case_aboard(folder)
    answer = rebuild_or_buy(case, draws, seed, found=found, cost_own_hour=cost_own_hour)
    chosen = way or answer.verdict.best
    if chosen not in answer.table.index:
        raise RepaireconError(f"way: found {chosen!r}; write one of: {', '.join(answer.table.index)}")
    figures = {str(way): {q: Figures(*(float(row[f"{c}_{end}"]) for end in ENDS)) for q, c in COLUMNS.items()}
               for way, row in answer.table.iterrows()}  # fmt: skip
    decision = Decision(
        folder="", way=chosen, decided_on=day.isoformat(), seed=seed, draws=draws, found=found,
        currency=case.terms.currency, cost_own_hour=answer.cost_own_hour, figures=figures, seal="",
        best=answer.verdict.best,
    )  # fmt: skip
    freeze(folder, decision, case)
    # what had come by orders before the decision, into the sheet that it wrote
    if (home := boat_folder(folder)) and (path := book_path(home)):
        job = Path(os.path.realpath(folder))
        with book_at(path) as book:
            write_receipts(job, {}, book.came_for_jobs().get(job.name, {}))
    return decision


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


@dataclass(frozen=True, repr=False)
class AfterTheJob(Shown):
    """What the job finds: the bridge at once, all else when it is first asked for.

    What belongs to one closed job is None or empty where only a log was given, or nothing is written down yet.
    ``estimate`` is that of nothing found, by what the case's own log had taught it.
    """

    name: str
    strength: float
    past: JobLog
    closed: Closed | None = None
    allowed: Mapping[str, bool] = field(default_factory=dict)
    estimate: Estimate | None = None
    bridge: Bridge | None = None

    def said(self) -> Panel:
        """What was done, whether the choice was right and what it came to."""
        from repairecon.after_the_job.screen import verdict

        return verdict(self)

    @property
    def case(self) -> Case | None:
        """The case as it was decided."""
        return self.closed.case if self.closed else None

    @property
    def decision(self) -> Decision | None:
        return self.closed.decision if self.closed else None

    @property
    def currency(self) -> str:
        """The home currency, empty for a log alone."""
        return self.case.terms.currency if self.case else ""

    @property
    def nothing_written(self) -> bool:
        """Whether there is a closed job of which the owner has not written down anything yet."""
        return self.closed is not None and self.bridge is None

    @property
    def first_run(self) -> str:
        """How the first run went."""
        run = self.closed.actual.of("first run") if self.closed else ()
        return run[0].outcome if run else ""

    @cached_property
    def hindsight(self) -> Hindsight | None:
        """Every way worked out anew with the outcomes found as certain and with prices, hours and waits where known.

        A way that was not taken keeps its own uncertainty: nobody knows what it would have come to.
        """
        b, before = self.bridge, self.estimate
        if self.closed is None or b is None or before is None:
            return None
        case, decision, actual = before.case, self.closed.decision, self.closed.actual
        known = [*read_findings(decision.found), *found_in_order(case, actual)]
        estimate = Estimate(case, known, self.allowed, decision.cost_own_hour, before.model.buying)
        held = settled(case, decision, actual) | dict(_known(estimate, actual))
        # what is bought after a rebuild has ended is chosen with these values known
        model, at = estimate.model, estimate.at(held)
        totals = (float(x @ np.array(model.weights)) for x in map(at.expected, model.chooser(at).all_ways()))
        now = {w: total for w, total in zip(model.ways, totals, strict=True) if self.allowed.get(w, True)}
        then = {w: decision.figures[w]["total"].mean for w in now}
        chosen, came = decision.figures[decision.way]["total"], b.actual["total"]
        best_then = min(then, key=lambda w: then[w])
        gap_then = chosen.mean - then[best_then]
        others = [w for w in now if w != b.way]
        best_other = min(others, key=lambda w: now[w], default=b.way)
        gap_now = came - now[best_other] if others else 0.0
        return Hindsight(
            chosen=decision.way, best_then=best_then, gap_then=gap_then,
            good_decision=gap_then <= 0 or _near_tie(case, decision, best_then, gap_then),
            luck="bad" if came > chosen.p90 else "good" if came < chosen.p10 else "ordinary",
            best_now=best_other if gap_now > 0 else b.way, gap_now=gap_now, actual=came, then=then, now=now,
        )  # fmt: skip

    @cached_property
    def logged(self) -> tuple[Logged, ...]:
        """What the log keeps of this job."""
        c, b, before = self.closed, self.bridge, self.estimate
        return tuple(job_log.Keeper(c, b, before).rows()) if c and b and before else ()

    @cached_property
    def log(self) -> JobLog:
        return job_log.with_job(self.past, self.logged)

    @cached_property
    def held(self) -> tuple[job_log.Held, ...]:
        return job_log.held(self.log)

    @cached_property
    def calibration(self) -> job_log.Calibration | None:
        return job_log.calibration(self.log)

    @cached_property
    def learned(self) -> Learned:
        return learn(self.log, self.strength)

    @cached_property
    def shifts(self) -> tuple[Shift, ...]:
        return shifts(self.case, self.log, self.learned)

    @cached_property
    def movements(self) -> tuple[StoresMoved, ...]:
        return spares_book.movements(self.closed, self.estimate) if self.closed and self.estimate else ()


def after_the_job(closed: Closed | None, log: JobLog = NO_LOG, strength: float = STRENGTH) -> AfterTheJob:
    """Estimate against actual, the choice in hindsight, and what the log teaches.

    ``closed`` is a closed job, None for a log alone; ``log`` holds past jobs, this one or not (it is added if it is not
    there); ``strength`` is what a job on another kind of unit counts for, from 0 to 1. The order of the jobs
    does not matter, and an empty log changes nothing.
    """
    if not 0.0 <= strength <= 1.0:
        raise RepaireconError(f"strength: found {strength}; give a fraction from 0 to 1")
    if closed is None:
        if not log.rows:
            raise RepaireconError("no closed job and no job log: nothing to look at")
        return AfterTheJob("job log", strength, log)
    allowed = {way: not why for way, why in screen(closed.case).items()}
    before = Estimate(with_learned(closed.case))
    # whether the sheet says anything that its form did not say when it was made
    kept = kept_findings(closed.case)
    written = any(
        r.kind == "never came" or (r.filled and (r.kind, r.outcome) != ("found", kept.get(r.name)))
        or (r.kind == "way" and r.name not in ("", closed.decision.way)) for r in closed.actual.rows
    )  # fmt: skip
    made = bridge(before.case, closed.decision, closed.actual, allowed, before.model.buying) if written else None
    return AfterTheJob(closed.name, strength, log, closed, allowed, before, made)


def _near_tie(case: Case, decision: Decision, best: str, gap: float) -> bool:
    """Whether the first job found the two ways too near to call: by the gap, and by how often one beats the other."""
    total = decision.figures[best]["total"].mean
    if near_tie(case, gap, total, 1.0) or not near_tie(case, gap, total, 0.0):
        return near_tie(case, gap, total, 1.0)
    # only how often one beats the other is left open: the first job is done again, on the same draws
    then = rebuild_or_buy(
        read_case(decision.folder) if decision.folder else case, decision.draws, decision.seed, found=decision.found,
        cost_own_hour=decision.cost_own_hour,
    ).outcomes  # fmt: skip
    return near_tie(case, gap, total, float(then.beats[then.ways.index(best), then.ways.index(decision.way)]))


def _known(estimate: Estimate, actual: Actual) -> Iterator[tuple[str, float]]:
    """Inputs of the estimate whose value is known now: prices paid, hours worked, days waited."""
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
