"""A case with what the owner's own jobs say, where it asks for that: chances, hours, price drift, lives."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from repairecon.read.problems import key
from repairecon.records import Assumed, Branch, Case, ChanceCount, Learned, Moved, OwnLife, Source, Task, Way, Years
from repairecon.records.base import Range
from repairecon.records.supply import Quote, Supplier

Condition = tuple[str, str]
MOVED = 5e-4
"""A chance or factor that moves less is not listed."""


def condition(branch: Branch) -> Condition:
    """Event and condition of a branch: the group in which its chance stands."""
    return branch.event, "; ".join(f"{e}={o}" for e, o in branch.given)


def kind_of(case: Case) -> str:
    """The kind of unit by which jobs are like each other; its name where the kind is not known."""
    return case.unit.kind or case.unit.name


def same(a: str, b: str) -> bool:
    """Whether two names are the same whatever their case and spacing."""
    return " ".join(a.casefold().split()) == " ".join(b.casefold().split())


def with_learned(case: Case) -> Case:
    """The case after its ``learned``, every figure that moved listed as assumed; itself where nothing was learned."""
    learned = case.learned
    if learned is None or learned.jobs == 0:
        return case
    source = f"learned from {learned.jobs} job{'s' if learned.jobs > 1 else ''}"
    branches, chances = _chances(case, learned, source)
    tasks, hours = _hours(case.tasks, learned, source)
    years, drift = _drift(case, learned, source)
    sellers, quotes, kept = _suppliers(case, learned, source)
    lives = tuple(_lives(case, learned, source))
    known = (Assumed("lives", str(len(lives)), "known lives", source),) if lives else ()
    others = (a for a in case.assumed if a.name not in {d.name for d in drift})
    return replace(
        case, branches=branches, tasks=tasks, years=years, own_lives=(*case.own_lives, *lives), suppliers=sellers,
        quotes=quotes, assumed=(*others, *chances, *hours, *drift, *kept, *known), learned=None,
    )  # fmt: skip


def with_waits_kept(case: Case) -> Case:
    """The case with the waits of suppliers as they kept them so far; an order is written at the prices quoted."""
    if case.learned is None or not case.learned.suppliers:
        return case
    source = f"learned from {case.learned.jobs} job{'s' if case.learned.jobs > 1 else ''}"
    sellers, quotes, moved = _suppliers(case, case.learned, source, prices=False)
    return replace(case, suppliers=sellers, quotes=quotes, assumed=(*case.assumed, *moved))


def counts_for(branches: Sequence[Branch], unit: str, learned: Learned) -> NDArray[np.float64]:
    """Jobs that showed each branch: those on the same kind of unit in full, others for the strength stated."""
    return np.array([sum(_count(b, c, unit, learned.strength) for c in learned.chances) for b in branches])


def _count(b: Branch, c: ChanceCount, unit: str, strength: float) -> float:
    event, given = condition(b)
    if not (same(event, c.event) and same(given, c.given) and same(b.outcome, c.outcome)):
        return 0.0
    return c.count if same(unit, c.unit) else strength * c.count


def groups(branches: Sequence[Branch]) -> dict[Condition, list[int]]:
    """Places of the branches of each event under each condition."""
    found: dict[Condition, list[int]] = {}
    for k, b in enumerate(branches):
        found.setdefault(condition(b), []).append(k)
    return found


def _chances(case: Case, learned: Learned, source: str) -> tuple[tuple[Branch, ...], list[Assumed]]:
    branches = list(case.branches)
    moved: list[Assumed] = []
    counts = counts_for(case.branches, kind_of(case), learned)
    for (event, given), members in groups(case.branches).items():
        if not counts[members].any():
            continue
        prior = np.array([branches[k].weight * branches[k].chance for k in members])
        after = prior + counts[members]  # Dirichlet counts: A. B. Downey, Think Bayes, 2nd ed. (2021), ch. 18
        for k, chance in zip(members, after / after.sum(), strict=True):
            was = branches[k].chance
            branches[k] = replace(branches[k], chance=float(chance))
            if abs(chance - was) > MOVED:
                where = f" given {given}" if given else ""
                name = f"chance: {event}={branches[k].outcome}{where}"
                moved.append(_moved(name, was, float(chance), "", source))
    return tuple(branches), moved


def _moved(name: str, was: float, now: float, unit: str, source: str) -> Moved:
    return Moved(name, str(now), unit, source, was=was, now=now)


def _hours(tasks: tuple[Task, ...], learned: Learned, source: str) -> tuple[tuple[Task, ...], list[Assumed]]:
    made: list[Task] = []
    moved: dict[str, float] = {}
    biases = {b.group.casefold(): b for b in learned.hours if b.first_time == learned.first_time}
    for task in tasks:
        bias = biases.get(task.stage)
        if bias is None or task.by != "owner" or task.hours.high <= 0 or abs(bias.factor - 1.0) <= MOVED:
            made.append(task)
            continue
        note = Source(task.hours.source.file, task.hours.source.row, source)
        made.append(replace(task, hours=replace(task.hours.scaled(bias.factor), source=note)))
        moved[f"own hours, {task.stage}"] = bias.factor
    return tuple(made), [_moved(name, 1.0, now, "times the estimate", source) for name, now in moved.items()]


def _drift(case: Case, learned: Learned, source: str) -> tuple[Years, list[Assumed]]:
    """Prices over the years rise as the owner's own did, where the case only assumes how."""
    taken = any(a.name == "inflation_rate" for a in case.assumed)
    if learned.drift_rate is None or not taken:
        return case.years, []
    was = case.years.inflation_rate
    years = replace(case.years, inflation_rate=learned.drift_rate)
    return years, [_moved("inflation_rate", was, learned.drift_rate, "a year", source)]


def _suppliers(
    case: Case, learned: Learned, source: str, prices: bool = True
) -> tuple[tuple[Supplier, ...], tuple[Quote, ...], list[Assumed]]:
    """Waits promised and prices quoted, by what each supplier has kept of them so far."""
    by = {key(k.supplier): k for k in learned.suppliers}
    sellers, quotes = list(case.suppliers), list(case.quotes)
    moved: list[Assumed] = []
    for n, s in enumerate(case.suppliers):
        kept = by.get(key(s.supplier))
        if kept is None:
            continue
        mine = [i for i, q in enumerate(quotes) if q.supplier == s.supplier]
        waits = s.lead_days is not None or any(quotes[i].lead_days for i in mine)
        sellers[n] = replace(s, lead_days=_by(s.lead_days, kept.days, source))
        for i in mine:
            q = quotes[i]
            quotes[i] = replace(q, lead_days=_by(q.lead_days, kept.days, source))
            if prices:
                breaks = tuple(replace(b, quoted=b.quoted * kept.price) for b in q.breaks)
                price = _by(q.quoted, kept.price, source) or q.quoted
                quotes[i] = replace(quotes[i], quoted=price, breaks=breaks)
        for name, factor, used in (("wait", kept.days, waits), ("price", kept.price, prices and bool(mine))):
            if used and abs(factor - 1.0) > MOVED:
                per = "times what is promised" if name == "wait" else "times what is quoted"
                moved.append(_moved(f"{name}, {s.supplier}", 1.0, factor, per, source))
    return tuple(sellers), tuple(quotes), moved


def _by(r: Range | None, factor: float, source: str) -> Range | None:
    if r is None or abs(factor - 1.0) <= MOVED:
        return r
    return replace(r.scaled(factor), source=Source(r.source.file, r.source.row, source))


def _lives(case: Case, learned: Learned, source: str) -> Iterator[OwnLife]:
    """Lives of the same kind of unit, for each way of that kind; a pair has no unit of its own."""
    singles: list[Way] = [w for w in case.ways if not (w.traits.buys and w.traits.rebuilds)]
    for life in learned.lives:
        for way in singles:
            if same(life.unit, kind_of(case)) and same(life.way_kind, way.kind):
                said = Source(learned.source.file, None, source)
                yield OwnLife(way=way.way, years=life.years, hours=life.hours, failed=life.failed, source=said)
