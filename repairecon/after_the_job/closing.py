"""Closing a job: the decision frozen, and what the log keeps of it."""

from __future__ import annotations

import datetime
import os
from collections.abc import Iterator

import numpy as np

from repairecon.after_the_job.answer import Bridge
from repairecon.after_the_job.bridge import found_in_order, pieces_paid, taken, worker
from repairecon.after_the_job.estimates import Estimate
from repairecon.buying.buying import Buying
from repairecon.formulas import ranges
from repairecon.read.case_folder import read_case
from repairecon.read.closed import Closed
from repairecon.read.frozen import freeze
from repairecon.rebuild_or_buy.job import DRAWS, read_findings, rebuild_or_buy
from repairecon.rebuild_or_buy.learned import condition, with_learned
from repairecon.rebuild_or_buy.tree import Finding, Tree, grow, with_findings
from repairecon.records import Decision, Done, Figures, Logged, Range, RepaireconError

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
    known so far, as for the reckoning. A frozen decision is never written over.
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
        figures={
            str(w): {
                q: Figures(*(float(row[f"{column}_{end}"]) for end in ("mean", "p10", "p50", "p90")))
                for q, column in COLUMNS.items()
            }
            for w, row in answer.table.iterrows()
        },
        seal="",
        best=answer.verdict.best,
    )
    freeze(folder, decision, case)
    return decision


def _day(on: str) -> str:
    try:
        return (datetime.date.fromisoformat(on) if on else datetime.date.today()).isoformat()
    except ValueError as error:
        raise RepaireconError(f"on: found {on!r}; write a date as year-month-day, such as 2026-03-31") from error


def log_rows(closed: Closed, made: Bridge, buying: Buying | None = None) -> tuple[Logged, ...]:
    """What the log keeps of a job, whose bridge has been made."""
    return tuple(_Keeper(closed, made, buying).rows())


class _Keeper:
    def __init__(self, closed: Closed, made: Bridge, buying: Buying | None) -> None:
        self.closed, self.made, self.buying = closed, made, buying
        self.case, self.decision, self.actual = with_learned(closed.case), closed.decision, closed.actual

    def row(self, kind: str, name: str, source: Done | None = None, **more: object) -> Logged:
        """One row of the log."""
        at = source.source if source else self.case.ways[0].source
        unit = self.case.unit.kind or self.case.unit.name
        day = self.decision.decided_on
        return Logged(self.closed.name, day, unit, kind, name, at, **more)  # type: ignore[arg-type]

    def rows(self) -> Iterator[Logged]:
        """Ranges, chances, counts, hours, prices, lives."""
        yield from self._ranges()
        yield from self._found()
        yield from self._hours()
        yield from self._prices()
        for r in self.actual.of("life"):
            kind = self.case.way(r.name).kind
            yield self.row("life", r.name, r, group=kind, years=r.years, hours=r.hours, happened=bool(r.failed))

    def _ranges(self) -> Iterator[Logged]:
        """Only of quantities told in full; a job that went another way than decided says nothing of its ranges."""
        if taken(self.decision, self.actual) != self.decision.way:
            return
        for name, f in self.decision.figures[self.decision.way].items():
            if name in self.made.whole:
                yield self.row("range", name, p10=f.p10, p50=f.p50, p90=f.p90, actual=self.made.actual[name])

    def _found(self) -> Iterator[Logged]:
        """Stated chances as findings came in, and the condition under which each outcome counts."""
        known = list(read_findings(self.decision.found))
        sure = {(f.event, f.outcome) for f in known if f.p_right == 1.0}
        found = found_in_order(self.case, self.actual)
        rows = {r.name: r for r in self.actual.of("found")}
        end = with_findings(grow(self.case), [*known, *found])
        for f in found:
            if (f.event, f.outcome) not in sure:
                yield from self._stated(with_findings(grow(self.case), known), f, rows[f.event])
            known.append(f)
            yield from self._counts(end, f, rows[f.event])

    def _stated(self, world: Tree, f: Finding, row: Done) -> Iterator[Logged]:
        """The chance of each outcome but the first, given what was found before it and that the event happens."""
        e = world.column(f.event)
        happens = float(world.chance[world.states[:, e] >= 0].sum())
        for k, outcome in enumerate(world.outcomes[e]):
            p = float(world.chance[world.states[:, e] == k].sum()) / happens if happens > 0 else 0.0
            if k and p < 1.0:
                came = outcome == f.outcome
                yield self.row("chance", f.event, row, outcome=outcome, chance=min(p, 1.0), happened=came)

    def _counts(self, end: Tree, f: Finding, row: Done) -> Iterator[Logged]:
        """The outcome under each condition that may have held, for the chance that it did."""
        for b, holds in zip(self.case.branches, end.holds, strict=True):
            share = float(end.chance[holds].sum())
            if (b.event, b.outcome) == (f.event, f.outcome) and share > 0:
                yield self.row("count", f.event, row, given=condition(b)[1], outcome=f.outcome, actual=min(share, 1.0))

    def _hours(self) -> Iterator[Logged]:
        """Against the case's own hours, not those learned before: the bias is that of the owner's guesses."""
        tasks = {t.task: t for t in self.closed.case.tasks}
        for r in self.actual.of("task"):
            task = tasks.get(r.name)
            if task and r.hours and task.hours.likely > 0 and (r.by or worker(self.case, r)) == "owner":
                ends = _ends(task.hours)
                yield self.row(
                    "hours", r.name, r, group=task.stage, **ends, actual=r.hours, first_time=r.first_time is not False
                )

    def _prices(self) -> Iterator[Logged]:
        estimate = Estimate(self.case, (), {}, buying=self.buying)
        for r in (*self.actual.of("part"), *self.actual.of("unit")):
            way = None if r.kind == "part" else self.case.way(r.name)
            priced = estimate.prices[r.name] if way is None else estimate.model.costs.price_of(way)
            bought = pieces_paid(priced, r) if way is None else float(not r.from_spares)
            if not r.paid or not bought:
                continue
            core = way.core_surcharge.likely if way else 0.0
            each = (r.paid - core) / bought
            stated = priced.range.scaled(priced.a_piece)
            age = _years(priced.quote.quoted_on if priced.quote else "", self.decision.decided_on)
            if each > 0 and stated.likely > 0:
                yield self.row("price", r.name, r, **_ends(stated), actual=each, years=age)


def _years(start: str, end: str) -> float | None:
    if not start or not end:
        return None
    days = (datetime.date.fromisoformat(end) - datetime.date.fromisoformat(start)).days
    return max(days, 0) / 365.25


def _ends(r: Range) -> dict[str, float]:
    p10, p50, p90 = (float(x) for x in ranges.quantile(np.array([0.1, 0.5, 0.9]), r.low, r.likely, r.high, r.shape))
    return {"p10": p10, "p50": p50, "p90": p90}
