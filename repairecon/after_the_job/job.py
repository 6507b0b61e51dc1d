"""After the job: what a closed job came to and why, and what a log of jobs teaches."""

from __future__ import annotations

from repairecon.after_the_job.answer import AfterTheJob
from repairecon.after_the_job.bridge import bridge
from repairecon.after_the_job.closing import log_rows
from repairecon.after_the_job.hindsight import hindsight
from repairecon.after_the_job.learning import STRENGTH, learn
from repairecon.after_the_job.stores import movements
from repairecon.after_the_job.the_log import calibration, held, shifts
from repairecon.buying.buying import Buying
from repairecon.read.closed import Closed
from repairecon.rebuild_or_buy.learned import with_learned
from repairecon.rebuild_or_buy.verdict import screen
from repairecon.records import JobLog, RepaireconError

NO_LOG = JobLog()


def after_the_job(closed: Closed | None, log: JobLog = NO_LOG, strength: float = STRENGTH) -> AfterTheJob:
    """Estimate against actual, the choice in hindsight, and what the log teaches.

    ``closed`` is a closed job, None for a log alone; ``log`` holds past jobs, this one or not (it is added if it is not
    there); ``strength`` is what a job on another kind of unit counts for, from 0 to 1. The order of the jobs
    does not matter, and an empty log changes nothing.
    """
    if not 0.0 <= strength <= 1.0:
        raise RepaireconError(f"strength: found {strength}; give a fraction from 0 to 1")
    if closed is None and not log.rows:
        raise RepaireconError("no closed job and no job log: nothing to look at")
    if closed is None:
        return _looked_at("job log", None, log, strength)
    allowed = {way: not why for way, why in screen(closed.case).items()}
    case = with_learned(closed.case)
    buying = Buying(case)
    made = bridge(case, closed.decision, closed.actual, allowed, buying)
    logged = log_rows(closed, made, buying)
    if closed.name not in log.jobs:
        log = JobLog((*log.rows, *logged))
    found = _looked_at(closed.name, closed, log, strength)
    run = closed.actual.of("first run")
    return AfterTheJob(
        **{
            **found.__dict__,
            "bridge": made,
            "hindsight": hindsight(case, closed.decision, closed.actual, allowed, made, buying),
            "logged": logged,
            "movements": movements(closed, buying),
            "first_run": run[0].outcome if run else "",
        }
    )


def _looked_at(name: str, closed: Closed | None, log: JobLog, strength: float) -> AfterTheJob:
    learned = learn(log, strength)
    case = closed.case if closed else None
    return AfterTheJob(
        name=name,
        case=case,
        decision=closed.decision if closed else None,
        bridge=None,
        hindsight=None,
        held=held(log),
        calibration=calibration(log),
        learned=learned,
        shifts=shifts(case, log, learned),
        log=log,
        logged=(),
        movements=(),
        first_run="",
    )
