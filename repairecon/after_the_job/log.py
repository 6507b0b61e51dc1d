"""What the log keeps of a job; and a log looked at: do the ranges hold, are the chances honest."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from repairecon.after_the_job.bridge import Bridge, Estimate, found_in_order, pieces_paid, worker
from repairecon.buying.buying import Priced
from repairecon.formulas import ranges, scores
from repairecon.formulas.scores import Group
from repairecon.read.closed import Closed
from repairecon.read.problems import key
from repairecon.rebuild_or_buy.job import read_findings
from repairecon.rebuild_or_buy.learned import kind_of
from repairecon.rebuild_or_buy.tree import grow
from repairecon.records import DAYS_A_YEAR, QUANTITIES, Done, JobLog, Logged, Quote, Range, Source, Supplier

CLAIMED = 0.8
LEAST_JOBS = 8
"""Fewer jobs give no advice, however far off they were; a choice of ours."""

SURE = 0.9
TIGHT = 0.4
"""Width of the exact limits from which on nothing is said for the ranges."""

FINE = 1e-9
EDGES = (0.0, *(x - FINE for x in (0.2, 0.4, 0.6, 0.8)), 1.0)
"""Groups of stated chances; one that was worked out as 0.19999999999999998 falls into the group of 0.2."""

POINTS = np.array([0.1, 0.5, 0.9])
"""Shares of cases below the stated values."""


@dataclass(frozen=True, kw_only=True)
class Held:
    """Whether the ranges of one quantity held: so many of so many inside P10 to P90, which claims 8 in 10.

    ``low`` and ``high`` bound the true share (Jeffreys, 90 %); ``factor`` is how many times as wide the ranges would
    have held 8 in 10, with its 90 % range; ``says`` is "too narrow", "too wide", "hold" or "cannot tell". ``loss`` is
    the mean pinball loss over the three stated values, as a share of the middle. ``places`` are normal scores of what
    came.
    """

    quantity: str
    inside: int
    of: int
    low: float
    high: float
    factor: float
    factor_low: float
    factor_high: float
    loss: float
    says: str
    places: tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class Calibration:
    """Stated chances against what came: Brier score beside that of always stating the overall share, and by groups."""

    many: int
    brier: float
    brier_plain: float
    groups: tuple[Group, ...]


def same_job(past: JobLog, rows: Sequence[Logged]) -> str:
    """Name under which a job stands in a log already, empty if it does not.

    A job is known by its name and the day of its decision; under another name, as after a copy of its folder, by rows
    that are the same but for the name, all of the shorter list among the longer.
    """
    for job in past.jobs:
        there = [r for r in past.rows if r.job == job]
        days = {r.closed_on for r in (*there, *rows)} - {""}
        shorter, longer = sorted((_nameless(rows), _nameless(there)), key=len)
        if (any(key(r.job) == key(job) for r in rows) and len(days) <= 1) or (shorter and shorter <= longer):
            return job
    return ""


def _nameless(rows: Sequence[Logged]) -> set[Logged]:
    """What tells one job from another; its lives come later."""
    return {replace(r, job="", source=Source("")) for r in rows if r.kind != "life"}


def with_job(past: JobLog, rows: Sequence[Logged]) -> JobLog:
    """A log and one more job; as it was where it holds that job already."""
    if not rows or same_job(past, rows):
        return past
    taken_names = {key(job) for job in past.jobs}
    if key(rows[0].job) in taken_names:  # another job of a folder of the same name
        rows = [replace(r, job=f"{r.job}, {r.closed_on}") for r in rows]
    return JobLog((*past.rows, *rows))


class Keeper:
    """What the log keeps of a job whose bridge has been made; ``estimate`` is that of nothing found."""

    def __init__(self, closed: Closed, made: Bridge, estimate: Estimate) -> None:
        self.closed, self.made, self.estimate = closed, made, estimate
        self.case, self.decision, self.actual = estimate.case, closed.decision, closed.actual

    def _row(self, kind: str, name: str, source: Done | None = None, **more: object) -> Logged:
        return Logged(
            job=self.closed.name, closed_on=self.decision.decided_on, unit=kind_of(self.case), kind=kind, name=name,
            source=(source or self.case.ways[0]).source, **more,  # type: ignore[arg-type]
        )  # fmt: skip

    def rows(self) -> Iterator[Logged]:
        """Ranges, chances, counts, hours, prices, days, lives."""
        # a job that went another way than decided says nothing of its ranges, nor does what is not written in full
        ranges_of = self.decision.figures[self.decision.way] if self.made.way == self.decision.way else {}
        for name, f in ranges_of.items():
            if name in self.made.whole:
                yield self._row("range", name, p10=f.p10, p50=f.p50, p90=f.p90, actual=self.made.actual[name])
        yield from (*self._found(), *self._hours(), *self._prices(), *self._days())
        for r in self.actual.of("life"):
            kind = self.case.way(r.name).kind
            yield self._row("life", r.name, r, group=kind, years=r.years, hours=r.hours, happened=bool(r.failed))

    def _found(self) -> Iterator[Logged]:
        """Stated chances as findings came in, and the condition under which each outcome counts."""
        known = list(read_findings(self.decision.found))
        sure = {(f.event, f.outcome) for f in known if f.p_right == 1.0}
        found = found_in_order(self.case, self.actual)
        rows = {r.name: r for r in self.actual.of("found")}
        end = grow(self.case, [*known, *found])
        for f in found:
            if (f.event, f.outcome) not in sure:
                # each outcome but the first, given what was found before it and that the event happens
                tree = grow(self.case, known, keep={f.event})
                e = tree.column(f.event)
                happens = float(tree.chance[tree.states[:, e] >= 0].sum())
                for k, outcome in enumerate(tree.outcomes[e]):
                    p = float(tree.chance[tree.states[:, e] == k].sum()) / happens if happens > 0 else 0.0
                    if k and p < 1.0:
                        stated = {"outcome": outcome, "chance": min(p, 1.0), "happened": outcome == f.outcome}
                        yield self._row("chance", f.event, rows[f.event], **stated)
            known.append(f)
            # the outcome under each condition that may have held, for the chance that it did
            for b, holds in zip(self.case.branches, end.holds, strict=True):
                share = min(float(end.chance[holds].sum()), 1.0)
                if (b.event, b.outcome) == (f.event, f.outcome) and share > 0:
                    where = {"given": b.condition, "outcome": f.outcome}
                    yield self._row("count", f.event, rows[f.event], **where, actual=share)

    def _hours(self) -> Iterator[Logged]:
        """Against the case's own hours, not those learned before: the bias is that of the owner's guesses."""
        tasks = {t.task: t for t in self.closed.case.tasks}
        for r in self.actual.of("task"):
            task = tasks.get(r.name)
            if task and r.hours and task.hours.likely > 0 and worker(self.case, r) == "owner":
                more = {"group": task.stage, "actual": r.hours, "first_time": r.first_time is not False}
                yield self._row("hours", r.name, r, **_ends(task.hours), **more)

    def _orders(self) -> Iterator[tuple[Done, Priced, Quote | None, Supplier | None]]:
        """What was bought, with its quote and supplier as they stood before what was learned was laid over them."""
        was = self.closed.case
        for r in (*self.actual.of("part"), *self.actual.of("unit")):
            priced = self.estimate.priced(r)
            quote = was.quotes[self.case.quotes.index(priced.quote)] if priced.quote else None
            yield r, priced, quote, was.supplier(quote.supplier) if quote else None

    def _days(self) -> Iterator[Logged]:
        """Waits against what the quote or the supplier promised; what is assumed of any part was promised by nobody."""
        for r, _, quote, seller in self._orders():
            if quote and seller and r.days is not None and not r.from_spares:
                promised = quote.lead_days or seller.lead_days
                if promised and promised.likely > 0:
                    yield self._row("days", r.name, r, group=seller.supplier, **_ends(promised), actual=r.days)

    def _prices(self) -> Iterator[Logged]:
        for r, priced, quote, seller in self._orders():
            bought = pieces_paid(priced, r) if r.kind == "part" else float(not r.from_spares)
            if not r.paid or not bought:
                continue
            core = self.case.way(r.name).core_surcharge.likely if r.kind == "unit" else 0.0
            each, stated = (r.paid - core) / bought, (quote.quoted if quote else priced.range).scaled(priced.a_piece)
            if each > 0 and stated.likely > 0:
                name, age = seller.supplier if seller else "", None
                if quote and quote.quoted_on:
                    quoted_on, decided_on = map(
                        datetime.date.fromisoformat, (quote.quoted_on, self.decision.decided_on)
                    )
                    age = max((decided_on - quoted_on).days, 0) / DAYS_A_YEAR
                yield self._row("price", r.name, r, group=name, **_ends(stated), actual=each, years=age)


def _ends(r: Range) -> dict[str, float]:
    ends = ranges.quantile(POINTS, r.low, r.likely, r.high, r.shape).tolist()
    return dict(zip(("p10", "p50", "p90"), ends, strict=True))


def held(log: JobLog) -> tuple[Held, ...]:
    """Whether the stated ranges held, by quantity; hours task by task are left out, as those of a job share a pace."""
    rows = {q: [r for r in log.of("range") if r.name == q] for q in QUANTITIES} | {"prices": [*log.of("price")]}
    made = []
    for quantity, some in rows.items():
        wide = [r for r in some if r.p10 is not None and r.p90 is not None and r.p10 < r.p90]
        made += [_held(quantity, wide)] if wide else []
    return tuple(made)


def _held(name: str, wide: Sequence[Logged]) -> Held:
    p10, p50, p90, seen = np.array([[r.p10, r.p50, r.p90, r.actual] for r in wide], dtype=float).T
    inside, many = int(((p10 <= seen) & (seen <= p90)).sum()), len(wide)
    low, high = scores.share_interval(inside, many, SURE)
    places = scores.places(seen, p10, p50, p90)
    factor, factor_low, factor_high = scores.widening(places, CLAIMED, SURE)
    # the pinball loss: least on average when the true quantile is stated (Gneiting, Raftery, JASA 102 (2007), 6.1)
    misses = [(p, seen - q) for p, q in zip(POINTS, (p10, p50, p90), strict=True)]
    loss = np.mean([np.maximum(p * miss, (p - 1.0) * miss) for p, miss in misses], axis=0)
    # advice only where the factor is beyond its doubt; that they hold only where the share inside is well known
    exact_low, exact_high = scores.share_interval(inside, many, SURE, "exact")
    says = "hold" if exact_high - exact_low < TIGHT and exact_low <= CLAIMED <= exact_high else "cannot tell"
    if many >= LEAST_JOBS:
        says = "too narrow" if factor_low > 1.0 else "too wide" if factor_high < 1.0 else says
    return Held(
        quantity=name, inside=inside, of=many, low=low, high=high, factor=factor, factor_low=factor_low,
        factor_high=factor_high, loss=float(np.mean(loss / np.where(p50 > 0, p50, 1.0))),
        says=says, places=tuple(places[np.isfinite(places)].tolist()),
    )  # fmt: skip


def calibration(log: JobLog) -> Calibration | None:
    """Stated chances against what came."""
    rows = [r for r in log.of("chance") if r.chance is not None and r.happened is not None]
    if not rows:
        return None
    stated = np.array([r.chance for r in rows], dtype=float)
    came = np.array([r.happened for r in rows], dtype=bool)
    return Calibration(
        many=len(rows), brier=scores.brier_score(stated, came),
        brier_plain=scores.brier_score(np.full(len(rows), came.mean()), came),
        groups=tuple(scores.calibration_groups(stated, came, EDGES, SURE)),
    )  # fmt: skip
