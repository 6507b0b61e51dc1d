"""Do the ranges hold, are the chances honest, and what moves: a log of jobs looked at."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import isfinite

import numpy as np

from repairecon.after_the_job.answer import Calibration, Held, Shift
from repairecon.after_the_job.learning import WIDE, drift, drift_before, failure_rate, pace, pace_before
from repairecon.formulas import scores
from repairecon.formulas.bayes import (
    LinearBelief,
    chance_interval,
    dirichlet_mean,
    dirichlet_update,
    marginal,
    rate_interval,
    t_interval,
)
from repairecon.formulas.fits import fit_weibull, life_interval
from repairecon.read.defaults import Defaults
from repairecon.rebuild_or_buy.learned import counts_for, groups, kind_of
from repairecon.records import QUANTITIES, STAGES, Branch, Case, JobLog, Learned, Logged

CLAIMED = 0.8
LEAST_JOBS = 4
"""Fewer jobs tell nothing; a choice of ours."""

SURE = 0.9
TIGHT = 0.4
"""Width of the exact limits from which on nothing is said for the ranges."""

FINE = 1e-9
EDGES = (0.0, *(x - FINE for x in (0.2, 0.4, 0.6, 0.8)), 1.0)
"""Groups of stated chances; one that was worked out as 0.19999999999999998 falls into the group of 0.2."""

POINTS = ((0.1, "p10"), (0.5, "p50"), (0.9, "p90"))


def held(log: JobLog) -> tuple[Held, ...]:
    """Whether the stated ranges held, by quantity; hours task by task are left out, as those of a job share a pace."""
    rows = [(q, [r for r in log.of("range") if r.name == q]) for q in QUANTITIES]
    rows.append(("prices", [r for r in log.of("price") if r.p10 is not None and r.p90 is not None]))
    return tuple(h for name, some in rows if (h := _held(name, some)) is not None)


def _held(name: str, rows: Sequence[Logged]) -> Held | None:
    wide = [r for r in rows if (r.p10 or 0.0) < (r.p90 or 0.0)]
    if not wide:
        return None
    p10, p50, p90, seen = (
        np.array([getattr(r, c) for r in wide], dtype=float) for c in ("p10", "p50", "p90", "actual")
    )
    inside = int(((p10 <= seen) & (seen <= p90)).sum())
    low, high = scores.share_interval(inside, len(wide), SURE)
    places = scores.places(seen, p10, p50, p90)
    places = places[np.isfinite(places)]
    factor, factor_low, factor_high = (
        scores.spread_interval(places, SURE) if len(places) else (1.0, 0.0, float("inf"))
    )
    loss = np.mean([scores.pinball(seen, q, p) for (p, _), q in zip(POINTS, (p10, p50, p90), strict=True)], axis=0)
    middle = np.where(p50 > 0, p50, 1.0)
    says = _says(inside, len(wide), factor_low, factor_high)
    return Held(
        name, inside, len(wide), low, high, factor, factor_low, factor_high, float(np.mean(loss / middle)), says,
        tuple(float(z) for z in places),
    )  # fmt: skip


def _says(inside: int, of: int, factor_low: float, factor_high: float) -> str:
    """Advice only where the share inside (by its exact limits) and the spread both speak, each beyond its own doubt."""
    low, high = scores.share_interval(inside, of, SURE, "exact")
    if of >= LEAST_JOBS and high < CLAIMED and factor_low > 1.0:
        return "too narrow"
    if of >= LEAST_JOBS and low > CLAIMED and factor_high < 1.0:
        return "too wide"
    return "hold" if high - low < TIGHT and low <= CLAIMED <= high else "cannot tell"


def calibration(log: JobLog) -> Calibration | None:
    """Stated chances against what came."""
    rows = [r for r in log.of("chance") if r.chance is not None and r.happened is not None]
    if not rows:
        return None
    stated = np.array([r.chance for r in rows], dtype=float)
    came = np.array([r.happened for r in rows], dtype=bool)
    return Calibration(
        many=len(rows),
        brier=scores.brier(stated, came),
        brier_plain=scores.brier(np.full(len(rows), came.mean()), came),
        log_score=scores.log_score(stated, came),
        parts=scores.brier_parts(stated, came, EDGES),
        groups=tuple(scores.calibration_groups(stated, came, EDGES, SURE)),
    )


def shifts(case: Case | None, log: JobLog, learned: Learned) -> tuple[Shift, ...]:
    """Figures before and after the log, side by side; chances need the case in which they stand."""
    found = list(_chances(case.branches, kind_of(case), learned)) if case else []
    lives = log.of("life")
    return (*found, *_hours(log.of("hours")), *_drift(log.of("price"), learned), *_rates(lives), *_lives(lives))


def _chances(branches: Sequence[Branch], unit: str, learned: Learned) -> Iterator[Shift]:
    counts = counts_for(branches, unit, learned)
    for (event, given), members in groups(branches).items():
        seen = counts[members]
        if not seen.any():
            continue
        prior = np.array([branches[k].weight * branches[k].chance for k in members])
        after = dirichlet_update(prior, seen)
        before, now = dirichlet_mean(prior) if prior.sum() > 0 else prior, dirichlet_mean(after)
        for n, k in enumerate(members):
            where = f" given {given}" if given else ""
            was = chance_interval(prior[n], prior.sum() - prior[n])
            new = chance_interval(after[n], after.sum() - after[n])
            name = f"{event}={branches[k].outcome}{where}"
            yield Shift("chance", name, float(before[n]), *was, float(now[n]), *new, jobs=float(seen.sum()))


def _hours(rows: Sequence[Logged]) -> Iterator[Shift]:
    before, after = pace_before(), pace(rows)
    for stage in STAGES:
        for first in (True, False):
            told = {r.job for r in rows if r.group == stage and (r.first_time is not False) == first}
            if told:
                name = f"{stage}, {'first time' if first else 'again'}"
                yield Shift("hours", name, *before.factor(stage, first), *after.factor(stage, first), jobs=len(told))


def _drift(rows: Sequence[Logged], learned: Learned) -> Iterator[Shift]:
    if learned.drift_rate is not None:
        aged = sum(r.years is not None for r in rows)
        yield Shift("price", "rise a year", *_yearly(drift_before()), *_yearly(drift(rows)), jobs=aged)


def _yearly(belief: LinearBelief) -> tuple[float, float, float]:
    at = marginal(belief, [0.0, 1.0])
    low, high = t_interval(*at)
    return float(np.expm1(at[0])), float(np.expm1(low)), float(np.expm1(high))


def _rates(rows: Sequence[Logged]) -> Iterator[Shift]:
    before = failure_rate((), "")
    for unit in sorted({r.unit for r in rows if r.years is not None}):
        after = failure_rate(rows, unit)
        many = sum(r.unit == unit for r in rows)
        was, now = ((s / t, *rate_interval(s, t)) for s, t in (before, after))
        if all(map(isfinite, now)):
            yield Shift("failures a year", unit, *was, *now, jobs=many)


def _lives(rows: Sequence[Logged]) -> Iterator[Shift]:
    """Median lives fitted to the years that units served, survivors counted, where the log can tell."""
    for unit, way_kind in sorted({(r.unit, r.group) for r in rows}):
        lives = [r for r in rows if (r.unit, r.group) == (unit, way_kind)]
        years = np.array([r.years for r in lives if r.years])
        failed = [bool(r.happened) for r in lives if r.years]
        try:
            fit = fit_weibull(years, failed)
            low, high = life_interval(years, failed, confidence=WIDE)
        except ValueError:
            continue
        was = Defaults().life_years(unit)
        before = was.likely, was.low, was.high
        yield Shift("median life", f"{unit}, {way_kind}", *before, fit.median, low, high, jobs=len(years))
