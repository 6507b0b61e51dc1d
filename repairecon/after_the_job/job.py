"""After the job: a decision frozen; what the closed job came to and why; what a log of jobs teaches."""

from __future__ import annotations

import datetime
import os
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import pandas as pd

from repairecon.after_the_job import hindsight as judging
from repairecon.after_the_job import log as job_log
from repairecon.after_the_job import spares_book
from repairecon.after_the_job.bridge import Bridge, bridge
from repairecon.after_the_job.estimate import Estimate
from repairecon.after_the_job.learning import STRENGTH, Shift, learn, shifts
from repairecon.buying.buying import Buying
from repairecon.read.case_folder import read_case
from repairecon.read.closed import Closed, freeze
from repairecon.rebuild_or_buy.job import DRAWS, rebuild_or_buy
from repairecon.rebuild_or_buy.learned import with_learned
from repairecon.rebuild_or_buy.verdict import screen
from repairecon.records import Case, Decision, Figures, JobLog, Learned, Logged, RepaireconError, StoresMoved

NO_LOG = JobLog()
COLUMNS = {"cash": "cash", "own hours": "own_hours", "days": "days", "total": "total"}


def decide(
    folder: str | os.PathLike[str],
    way: str = "",
    *,
    on: str = "",
    found: str = "",
    draws: int = DRAWS,
    seed: int = 1,
    cost_own_hour: float | None = None,
) -> Decision:
    """Freeze a case as it is decided, with the figures of every way, and write the sheet for what happens.

    ``way`` is the way chosen, by default the best; ``on`` the day (year-month-day, default today); ``found`` what is
    known so far, as for the first job. A frozen decision is never written over.
    """
    case = read_case(folder)
    answer = rebuild_or_buy(case, draws, seed, found=found, cost_own_hour=cost_own_hour)
    chosen = way or answer.verdict.best
    if chosen not in answer.table.index:
        raise RepaireconError(f"way: found {chosen!r}; write one of: {', '.join(answer.table.index)}")
    decision = Decision(
        folder="",
        way=chosen,
        decided_on=_day(on),
        seed=seed,
        draws=draws,
        found=found,
        currency=case.terms.currency,
        cost_own_hour=answer.cost_own_hour,
        figures={str(way): _figures(row) for way, row in answer.table.iterrows()},
        seal="",
        best=answer.verdict.best,
    )
    freeze(folder, decision, case)
    return decision


def _figures(row: pd.Series) -> dict[str, Figures]:
    ends = ("mean", "p10", "p50", "p90")
    return {q: Figures(**{end: float(row[f"{column}_{end}"]) for end in ends}) for q, column in COLUMNS.items()}


def _day(on: str) -> str:
    try:
        return (datetime.date.fromisoformat(on) if on else datetime.date.today()).isoformat()
    except ValueError as error:
        raise RepaireconError(f"on: found {on!r}; write a date as year-month-day, such as 2026-03-31") from error


@dataclass(frozen=True)
class _Setting:
    """What all that is worked out of one closed job shares: its case, the ways allowed, the orders chosen."""

    closed: Closed
    case: Case
    allowed: Mapping[str, bool]
    buying: Buying

    @cached_property
    def before(self) -> Estimate:
        """The estimate with nothing found."""
        return Estimate(self.case, buying=self.buying)


@dataclass(frozen=True)
class AfterTheJob:
    """What the job finds: the bridge at once, all else when it is first asked for.

    What belongs to one closed job is None or empty where only a log was given, or nothing is written down yet.
    """

    name: str
    strength: float
    past: JobLog
    bridge: Bridge | None = None
    setting: _Setting | None = None

    @property
    def case(self) -> Case | None:
        """The case as it was decided."""
        return self.setting.closed.case if self.setting else None

    @property
    def decision(self) -> Decision | None:
        """The decision."""
        return self.setting.closed.decision if self.setting else None

    @property
    def nothing_written(self) -> bool:
        """Whether there is a closed job of which the owner has not written down anything yet."""
        return self.setting is not None and self.bridge is None

    @property
    def first_run(self) -> str:
        """How the first run went."""
        run = self.setting.closed.actual.of("first run") if self.setting else ()
        return run[0].outcome if run else ""

    @cached_property
    def hindsight(self) -> judging.Hindsight | None:
        """The choice, then and now."""
        s = self.setting
        if s is None or self.bridge is None:
            return None
        return judging.hindsight(s.case, s.closed.decision, s.closed.actual, s.allowed, self.bridge, s.buying)

    @cached_property
    def logged(self) -> tuple[Logged, ...]:
        """What the log keeps of this job."""
        s = self.setting
        return job_log.log_rows(s.closed, self.bridge, s.before) if s and self.bridge else ()

    @cached_property
    def log(self) -> JobLog:
        """The past jobs and this one."""
        return job_log.with_job(self.past, self.logged)

    @cached_property
    def held(self) -> tuple[job_log.Held, ...]:
        """Whether the stated ranges held, by quantity."""
        return job_log.held(self.log)

    @cached_property
    def calibration(self) -> job_log.Calibration | None:
        """Whether the stated chances were honest."""
        return job_log.calibration(self.log)

    @cached_property
    def learned(self) -> Learned:
        """What the log teaches the next case."""
        return learn(self.log, self.strength)

    @cached_property
    def shifts(self) -> tuple[Shift, ...]:
        """Every figure before and after the log."""
        return shifts(self.case, self.log, self.learned)

    @cached_property
    def movements(self) -> tuple[StoresMoved, ...]:
        """What the job brought into the boat's stores and took out of them."""
        return spares_book.movements(self.setting.closed, self.setting.before) if self.setting else ()


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
    case = with_learned(closed.case)
    setting = _Setting(closed, case, allowed, Buying(case))
    made = bridge(case, closed.decision, closed.actual, allowed, setting.buying) if _written(closed) else None
    return AfterTheJob(closed.name, strength, log, made, setting)


def _written(closed: Closed) -> bool:
    """Whether the sheet says anything that its blank form does not."""
    way = closed.decision.way
    return any(
        r.filled or r.kind == "never came" or (r.kind == "way" and r.name not in ("", way)) for r in closed.actual.rows
    )
