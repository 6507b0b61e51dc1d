"""What a log of jobs teaches: counts of outcomes, the owner's pace, how prices drift, how often things fail."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from repairecon.formulas.bayes import LinearBelief, gamma_poisson_update, linear_update, marginal, t_interval
from repairecon.records import STAGES, ChanceCount, HoursBias, JobLog, Learned, LearnedLife, Logged

Floats = NDArray[np.float64]
STRENGTH = 0.3
"""What a job on another kind of unit counts for; assumed, no source."""

OWNER_JOBS, STAGE_JOBS, FIRST_JOBS, PACE_JOBS = 1.0, 4.0, 1.0, 1.0
"""Tasks that stand behind "no bias at all", "all stages alike", "the first time is like the next" and "no job has a
pace of its own"; assumed."""

FACTOR, RATES = 100.0, (-0.9, 10.0)
"""Beyond these a bias of hours or a rise of prices is a slip of the pen in the log, and a next case takes no more."""

SPREAD_SHAPE, SPREAD_SCALE = 2.0, 0.12
"""Belief before any job in the square of the scatter of ln(actual / estimate): about 0.35 either way; assumed."""

DRIFT, DRIFT_YEARS, PRICE_SHIFT_JOBS, PRICE_SCALE = 0.02, 11.0, 4.0, 0.02
"""Prices rise by 2 % a year before any is seen, as firmly as 11 price-years squared would tell; assumed."""

FAILURES, FAILURE_YEARS = 1.0, 10.0
"""One failure in ten unit-years before any life is known; assumed."""

LEAST_AGES = 3
"""Prices of a known age, the least that a drift is told from."""

WIDE = 0.8


@dataclass(frozen=True)
class Pace:
    """The owner's hours over the estimate, on logs: an overall bias, how each stage departs from it, the first time,
    and how each job departs, as the tasks of one job share a pace."""

    stages: tuple[str, ...]
    jobs: tuple[str, ...]
    belief: LinearBelief

    def row(self, stage: str, first_time: bool, job: str = "") -> Floats:
        """What each coefficient is multiplied by for a task; without ``job`` for no job in particular."""
        kinds = (float(s == stage) for s in self.stages)
        return np.array([1.0, *kinds, float(first_time), *(float(j == job) for j in self.jobs)])

    def factor(self, stage: str, first_time: bool, confidence: float = WIDE) -> tuple[float, float, float]:
        """Middle of the factor and its range."""
        return self._told(stage, first_time, 0.0, confidence)

    def next_task(self, stage: str, first_time: bool, confidence: float = WIDE) -> tuple[float, float, float]:
        """Middle and range of actual over estimate of a task of one more job."""
        return self._told(stage, first_time, 1.0 + 1.0 / PACE_JOBS, confidence)

    def _told(self, stage: str, first_time: bool, more: float, confidence: float) -> tuple[float, float, float]:
        at = marginal(self.belief, self.row(stage, first_time), more)
        low, high = t_interval(*at, confidence)
        return float(np.exp(at[0])), float(np.exp(low)), float(np.exp(high))


def pace_before(stages: Sequence[str] = STAGES, jobs: Sequence[str] = ()) -> Pace:
    """The belief in the owner's pace before any job."""
    precision = np.diag([OWNER_JOBS, *(STAGE_JOBS for _ in stages), FIRST_JOBS, *(PACE_JOBS for _ in jobs)])
    belief = LinearBelief(np.zeros(len(precision)), precision, SPREAD_SHAPE, SPREAD_SCALE)
    return Pace(tuple(stages), tuple(jobs), belief)


def pace(rows: Sequence[Logged], stages: Sequence[str] = STAGES) -> Pace:
    """The owner's pace after the tasks of a log."""
    told = [r for r in rows if r.actual and r.p50]
    before = pace_before(stages, sorted({r.job for r in told}))
    design = [before.row(r.group, r.first_time is not False, r.job) for r in told]
    seen = [np.log((r.actual or 1.0) / (r.p50 or 1.0)) for r in told]
    return Pace(before.stages, before.jobs, linear_update(before.belief, _table(design, before.belief), seen))


def _table(design: list[Floats], belief: LinearBelief) -> Floats:
    return np.array(design).reshape(len(design), len(belief.mean))


def drift_before() -> LinearBelief:
    """Belief in the shift of prices at once and in their rise a year, on logs."""
    mean = np.array([0.0, np.log1p(DRIFT)])
    return LinearBelief(mean, np.diag([PRICE_SHIFT_JOBS, DRIFT_YEARS]), SPREAD_SHAPE, PRICE_SCALE)


def drift(rows: Sequence[Logged]) -> LinearBelief:
    """The same after the prices of a log whose age is known."""
    told = [r for r in rows if r.actual and r.p50 and r.years is not None]
    design = np.array([[1.0, r.years or 0.0] for r in told]).reshape(len(told), 2)
    return linear_update(drift_before(), design, [np.log((r.actual or 1.0) / (r.p50 or 1.0)) for r in told])


def failure_rate(rows: Sequence[Logged], unit: str) -> tuple[float, float]:
    """Gamma belief (shape, years) in the failures a year of a kind of unit, from the years that units served."""
    lives = [r for r in rows if r.unit == unit and r.years is not None]
    failed = sum(bool(r.happened) for r in lives)
    return gamma_poisson_update(FAILURES, FAILURE_YEARS, failed, sum(r.years or 0.0 for r in lives))


def learn(log: JobLog, strength: float = STRENGTH) -> Learned:
    """What a log teaches, ready for the next case; an empty log teaches nothing."""
    return Learned(
        jobs=len(log.jobs),
        strength=strength,
        chances=_counts(log.of("count")),
        hours=_hours(log.of("hours")),
        drift_rate=_drift_rate(log.of("price")),
        lives=tuple(LearnedLife(r.unit, r.group, r.years, r.hours, bool(r.happened)) for r in log.of("life")),
    )


def _counts(rows: Sequence[Logged]) -> tuple[ChanceCount, ...]:
    sums: dict[tuple[str, str, str, str], list[float]] = {}
    for r in rows:
        sums.setdefault((r.unit, r.name, r.given, r.outcome), []).append(1.0 if r.actual is None else r.actual)
    return tuple(ChanceCount(*key, float(sum(sorted(n)))) for key, n in sorted(sums.items()))


def _hours(rows: Sequence[Logged]) -> tuple[HoursBias, ...]:
    if not rows:
        return ()
    found = pace(rows)
    seen = {stage: len({r.job for r in rows if r.group == stage}) for stage in STAGES}
    return tuple(
        HoursBias(stage, first, *_believable(found.factor(stage, first)), jobs=seen[stage])
        for stage in STAGES
        for first in (True, False)
    )


def _believable(factors: tuple[float, float, float]) -> tuple[float, float, float]:
    middle, low, high = (min(max(x, 1.0 / FACTOR), FACTOR) for x in factors)
    return middle, low, high


def _drift_rate(rows: Sequence[Logged]) -> float | None:
    if len({r.years for r in rows if r.years is not None}) < LEAST_AGES:
        return None
    return min(max(float(np.expm1(drift(rows).mean[1])), RATES[0]), RATES[1])
