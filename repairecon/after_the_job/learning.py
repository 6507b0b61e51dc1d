"""What a log of jobs teaches: counts of outcomes, the owner's pace, how prices drift, how long things last."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import ArrayLike, NDArray

from repairecon.formulas import bayes
from repairecon.formulas.bayes import LinearBelief, belief_interval, linear_update
from repairecon.formulas.lives import fit_weibull
from repairecon.read.problems import key
from repairecon.read.reading import Defaults
from repairecon.rebuild_or_buy.learned import counted, kind_of
from repairecon.records import STAGES, Case, ChanceCount, HoursBias, JobLog, Learned, LearnedLife, Logged
from repairecon.records.base import Source
from repairecon.records.done import SupplierKept

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

LEAST_WAIT, LEAST_AGES = 0.5, 3
"""Days that what came at once counts for, as a wait of none has no logarithm; ages of prices, fewest that show a rise.
"""
WIDE, ENDS = 0.8, ("", "_low", "_high")


@dataclass(frozen=True)
class Shift:
    """A figure before and after the log, with an 80 % range of each."""

    kind: str
    name: str
    before: float
    before_low: float
    before_high: float
    after: float
    low: float
    high: float
    jobs: float


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

    def factor(self, stage: str, first_time: bool) -> Floats:
        """Middle of the factor and its range."""
        return np.exp(belief_interval(self.belief, self.row(stage, first_time), 0.0, WIDE))


def pace_before(stages: Sequence[str] = STAGES, jobs: Sequence[str] = (), scale: float = SPREAD_SCALE) -> Pace:
    """The belief in the owner's pace before any job; ``scale`` of the scatter."""
    precision = np.diag([OWNER_JOBS, *(STAGE_JOBS for _ in stages), FIRST_JOBS, *(PACE_JOBS for _ in jobs)])
    belief = LinearBelief(np.zeros(len(precision)), precision, SPREAD_SHAPE, scale)
    return Pace(tuple(stages), tuple(jobs), belief)


def pace(rows: Sequence[Logged], stages: Sequence[str] = STAGES, scale: float = SPREAD_SCALE) -> Pace:
    """The owner's pace after the tasks of a log."""
    known = [r for r in rows if r.actual and r.p50]
    before = pace_before(stages, sorted({r.job for r in known}), scale)
    design = [before.row(r.group, r.first_time is not False, r.job) for r in known]
    return Pace(before.stages, before.jobs, _updated(before.belief, design, known))


def _updated(belief: LinearBelief, design: ArrayLike, rows: Sequence[Logged]) -> LinearBelief:
    """A belief after what rows say of ln(actual / estimate), each with what the coefficients are multiplied by."""
    over = [float(np.log((r.actual or 1.0) / (r.p50 or 1.0))) for r in rows]
    return linear_update(belief, np.asarray(design).reshape(len(rows), len(belief.mean)), over)


def drift_before() -> LinearBelief:
    """Belief in the shift of prices at once and in their rise a year, on logs."""
    mean = np.array([0.0, np.log1p(DRIFT)])
    return LinearBelief(mean, np.diag([PRICE_SHIFT_JOBS, DRIFT_YEARS]), SPREAD_SHAPE, PRICE_SCALE)


def drift(rows: Sequence[Logged]) -> LinearBelief:
    """The same after the prices of a log whose age is known."""
    known = [r for r in rows if r.actual and r.p50 and r.years is not None]
    return _updated(drift_before(), [[1.0, r.years or 0.0] for r in known], known)


def kept(log: JobLog, kind: str) -> Pace:
    """What suppliers keep of what they promise, as the owner's pace is learned: an overall bias, each supplier's own,
    and that of each job; lines of one supplier on one job came in one parcel and count once. Prices are taken at the
    rise a year of all."""
    scale, rise = (SPREAD_SCALE, 0.0) if kind == "days" else (PRICE_SCALE, float(drift(log.of("price")).mean[1]))
    parcels: dict[tuple[str, str], list[float]] = {}
    for r in log.of(kind):
        if r.group and r.p50 and r.actual is not None:
            came = max(r.actual, LEAST_WAIT) if kind == "days" else r.actual
            over = float(np.log(came / r.p50)) - rise * (r.years or 0.0) if came > 0 else 0.0
            parcels.setdefault((r.job, key(r.group)), []).append(over)
    rows = [
        Logged(job=job, closed_on="", unit="", kind=kind, name="", group=supplier, first_time=False, p50=1.0,
               actual=float(np.exp(np.mean(sorted(overs)))), source=Source(""))
        for (job, supplier), overs in sorted(parcels.items())
    ]  # fmt: skip
    return pace(rows, sorted({r.group for r in rows}), scale)


def _suppliers(log: JobLog) -> Iterator[SupplierKept]:
    """Each supplier who delivered something whose wait or price is known, by the name as written first."""
    ways, found = {kind: kept(log, kind) for kind in ("days", "price")}, dict[str, tuple[str, set[str]]]()
    for r in (*log.of("days"), *log.of("price")):
        if r.group:
            found.setdefault(key(r.group), (r.group, set()))[1].add(r.job)
    for name, jobs in sorted(found.values()):
        ends = {kind: np.clip(way.factor(key(name), False), 1.0 / FACTOR, FACTOR) for kind, way in ways.items()}
        figures = {f"{kind}{end}": float(x) for kind, some in ends.items()
                   for end, x in zip(ENDS, some, strict=True)}  # fmt: skip
        yield SupplierKept(supplier=name, parcels=len(jobs), **figures)


def learn(log: JobLog, strength: float = STRENGTH) -> Learned:
    """What a log teaches, ready for the next case; an empty log teaches nothing."""
    lives = tuple(
        LearnedLife(unit=r.unit, way_kind=r.group, years=r.years, hours=r.hours, failed=bool(r.happened))
        for r in log.of("life")
    )
    worked, priced, biases = log.of("hours"), log.of("price"), list[HoursBias]()
    found = pace(worked)
    for stage, first in product(STAGES, (True, False)) if worked else ():
        jobs = len({r.job for r in worked if r.group == stage})
        middle, low, high = np.clip(found.factor(stage, first), 1.0 / FACTOR, FACTOR).tolist()
        biases.append(HoursBias(group=stage, first_time=first, factor=middle, low=low, high=high, jobs=jobs))
    known = len({r.years for r in priced if r.years is not None}) >= LEAST_AGES
    rise = float(np.clip(np.expm1(drift(priced).mean[1]), *RATES)) if known else None
    sums: dict[tuple[str, str, str, str], list[float]] = {}
    for r in log.of("count"):
        sums.setdefault((r.unit, r.name, r.given, r.outcome), []).append(1.0 if r.actual is None else r.actual)
    # sorted before they are added, so that the order of the jobs does not move the last digit
    chances = tuple(ChanceCount(*of, count=float(sum(sorted(n)))) for of, n in sorted(sums.items()))
    return Learned(
        jobs=len(log.jobs), strength=strength, chances=chances, hours=tuple(biases), drift_rate=rise, lives=lives,
        suppliers=tuple(_suppliers(log)),
    )  # fmt: skip


def shifts(case: Case | None, log: JobLog, learned: Learned) -> tuple[Shift, ...]:
    """Figures before and after the log, side by side; chances need the case in which they stand."""
    found, prices = _chances(case, learned) if case else (), log.of("price")
    was, now = (np.expm1(belief_interval(x, [0.0, 1.0], 0.0, WIDE)) for x in (drift_before(), drift(prices)))
    aged = sum(r.years is not None for r in prices)
    rise = () if learned.drift_rate is None else (_shift("price", "rise a year", was, now, aged),)
    return (*found, *_hours(log.of("hours"), learned), *rise, *_kept(log, learned), *_lives(log.of("life")))


def _shift(kind: str, name: str, before: Iterable[float], after: Iterable[float], jobs: float) -> Shift:
    (was, was_low, was_high), (now, low, high) = map(float, before), map(float, after)
    return Shift(kind, name, was, was_low, was_high, now, low, high, jobs)


def _chances(case: Case, learned: Learned) -> Iterator[Shift]:
    branches = case.branches
    for (event, given), members, prior, seen in counted(branches, kind_of(case), learned):
        after = prior + seen
        before, now = prior / (prior.sum() or 1.0), after / after.sum()
        for n, k in enumerate(members):
            where = f" given {given}" if given else ""
            was = float(before[n]), *bayes.chance_interval(prior[n], prior.sum() - prior[n], WIDE)
            new = float(now[n]), *bayes.chance_interval(after[n], after.sum() - after[n], WIDE)
            yield _shift("chance", f"{event}={branches[k].outcome}{where}", was, new, float(seen.sum()))


def _hours(rows: Sequence[Logged], learned: Learned) -> Iterator[Shift]:
    before = pace_before()
    for b in learned.hours:
        jobs = {r.job for r in rows if r.group == b.group and (r.first_time is not False) == b.first_time}
        if jobs:
            name = f"{b.group}, {'first time' if b.first_time else 'again'}"
            yield _shift("hours", name, before.factor(b.group, b.first_time), (b.factor, b.low, b.high), len(jobs))


def _kept(log: JobLog, learned: Learned) -> Iterator[Shift]:
    for kind, scale in (("days", SPREAD_SCALE), ("price", PRICE_SCALE)):
        before = pace_before(("",), scale=scale).factor("", False)
        for s in learned.suppliers:
            jobs = {r.job for r in log.of(kind) if key(r.group) == key(s.supplier)}
            if jobs:
                now = (getattr(s, f"{kind}{end}") for end in ENDS)
                yield _shift(f"{kind}, supplier", s.supplier, before, now, len(jobs))


def _lives(rows: Sequence[Logged]) -> Iterator[Shift]:
    """Median lives fitted to the years that units served, survivors counted, where the log can tell."""
    for unit, way_kind in sorted({(r.unit, r.group) for r in rows}):
        lives = [r for r in rows if (r.unit, r.group) == (unit, way_kind) and r.years]
        years, failed = np.array([r.years for r in lives]), [bool(r.happened) for r in lives]
        try:
            middle = fit_weibull(years, failed).median
            wide = fit_weibull(years, failed, WIDE, widest=np.inf)
            now = middle, wide.median_low, wide.median_high
        except ValueError:
            continue
        was = Defaults().life_years(unit)
        yield _shift("median life", f"{unit}, {way_kind}", (was.likely, was.low, was.high), now, len(years))
