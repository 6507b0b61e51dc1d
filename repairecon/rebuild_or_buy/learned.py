"""A case with what the owner's own record says: lives fitted to those in lives.csv, and where the case asks for it
chances, hours, price drift, suppliers and lives out of the jobs done."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product
from math import nan
from typing import Any, Literal

import numpy as np

from repairecon.formulas.lives import fit_weibull
from repairecon.read.problems import key
from repairecon.records import ASSUMED, Assumed, Branch, Case, Learned, Moved, OwnLife, Range, Source, Way

Part = tuple[dict[str, Any], Sequence[Assumed]]  # fields of a case as they are now, and what moved
Condition = tuple[str, str]  # an event and the condition under which it stands: the group in which a chance stands
MOVED = 5e-4  # a chance or factor that moves less is not listed


# ---- out of the jobs done ----
def kind_of(case: Case) -> str:
    """The kind of unit by which jobs are like each other; its name where the kind is not known."""
    return case.unit.kind or case.unit.name


def with_learned(case: Case) -> Case:
    """The case after its ``learned``, every figure that moved listed as assumed; itself where nothing was learned."""
    learned = case.learned
    if learned is None or learned.jobs == 0:
        return case
    made, moved = dict[str, Any](), list[Assumed]()
    for part in (_chances, _hours, _suppliers, _lives):
        changed, said = part(case, learned)
        made |= changed
        moved += said
    # prices over the years rise as the owner's own did, where the case only assumes how
    was, now = case.years.inflation_rate, learned.drift_rate
    if now is not None and any(a.name == "inflation_rate" for a in case.assumed):
        made["years"] = replace(case.years, inflation_rate=now)
        moved.append(_moved("inflation_rate", was, now, "a year", learned))
    others = (a for a in case.assumed if a.name not in {m.name for m in moved})
    return replace(case, **made, assumed=(*others, *moved), learned=None)


def with_waits_kept(case: Case) -> Case:
    """The case with the waits of suppliers as they kept them so far; an order is written at the prices quoted."""
    if case.learned is None or not case.learned.suppliers:
        return case
    made, moved = _suppliers(case, case.learned, prices=False)
    return replace(case, **made, assumed=(*case.assumed, *moved))


def counted(branches: Sequence[Branch], unit: str, learned: Learned) -> Iterator[tuple[Condition, list[int], Any, Any]]:
    """Each event and condition of which jobs tell, the places of its branches, and their counts: those before, and the
    jobs that showed each, those on the same kind of unit in full, others for the strength stated."""

    found, groups = defaultdict[tuple[str, ...], float](float), defaultdict[Condition, list[int]](list)
    for c in learned.chances:
        often = c.count if key(unit) == key(c.unit) else learned.strength * c.count
        found[key(c.event), key(c.given), key(c.outcome)] += often
    for k, b in enumerate(branches):
        groups[b.event, b.condition].append(k)
    for at, members in groups.items():
        rows = [tuple(map(key, (b.event, b.condition, b.outcome))) for b in (branches[k] for k in members)]
        seen = np.array([found[row] for row in rows])
        if seen.any():
            yield at, members, np.array([branches[k].weight * branches[k].chance for k in members]), seen


def _source(learned: Learned) -> str:
    return f"learned from {learned.jobs} job{'s' if learned.jobs > 1 else ''}"


def _moved(name: str, was: float, now: float, unit: str, learned: Learned) -> Moved:
    return Moved(name, str(now), unit, _source(learned), was=was, now=now)


def _times(r: Range, factor: float, learned: Learned) -> Range:
    return replace(r.scaled(factor), source=Source(r.source.file, r.source.row, _source(learned)))


def _chances(case: Case, learned: Learned) -> Part:
    branches, moved = list(case.branches), list[Moved]()
    for (event, given), members, prior, seen in counted(case.branches, kind_of(case), learned):
        after = prior + seen  # Dirichlet counts: A. B. Downey, Think Bayes, 2nd ed. (2021), ch. 18
        for k, chance in zip(members, (after / after.sum()).tolist(), strict=True):
            was, branches[k] = branches[k].chance, replace(branches[k], chance=chance)
            if abs(chance - was) > MOVED:
                where = f" given {given}" if given else ""
                moved.append(_moved(f"chance: {event}={branches[k].outcome}{where}", was, chance, "", learned))
    return {"branches": tuple(branches)}, moved


def _hours(case: Case, learned: Learned) -> Part:
    tasks, moved = list(case.tasks), dict[str, Moved]()
    factors = {b.group.casefold(): b.factor for b in learned.hours if b.first_time == learned.first_time}
    for n, task in enumerate(case.tasks):
        factor, name = factors.get(task.stage, 1.0), f"own hours, {task.stage}"
        if task.by == "owner" and task.hours.high > 0 and abs(factor - 1.0) > MOVED:
            tasks[n] = replace(task, hours=_times(task.hours, factor, learned))
            moved[name] = _moved(name, 1.0, factor, "times the estimate", learned)
    return {"tasks": tuple(tasks)}, [*moved.values()]


def _suppliers(case: Case, learned: Learned, prices: bool = True) -> Part:
    """Waits promised and prices quoted, by what each supplier has kept of them so far."""
    kept = {key(k.supplier): k for k in learned.suppliers}
    sellers, quotes, moved = list(case.suppliers), list(case.quotes), list[Moved]()

    def by(r: Range | None, factor: float) -> Range | None:
        return r if r is None or abs(factor - 1.0) <= MOVED else _times(r, factor, learned)

    for n, s in enumerate(case.suppliers):
        if (k := kept.get(key(s.supplier))) is None:
            continue
        mine = [i for i, q in enumerate(quotes) if q.supplier == s.supplier]
        waits = s.lead_days is not None or any(quotes[i].lead_days for i in mine)
        sellers[n] = replace(s, lead_days=by(s.lead_days, k.days))
        for i in mine:
            q = quotes[i] = replace(quotes[i], lead_days=by(quotes[i].lead_days, k.days))
            if prices:
                breaks = tuple(replace(b, quoted=b.quoted * k.price) for b in q.breaks)
                quotes[i] = replace(q, quoted=by(q.quoted, k.price) or q.quoted, breaks=breaks)
        kept_to = (("wait", k.days, waits, "times what is promised"),
                ("price", k.price, prices and bool(mine), "times what is quoted"))  # fmt: skip
        for name, factor, used, per in kept_to:
            if used and abs(factor - 1.0) > MOVED:
                moved.append(_moved(f"{name}, {s.supplier}", 1.0, factor, per, learned))
    return {"suppliers": tuple(sellers), "quotes": tuple(quotes)}, moved


def _lives(case: Case, learned: Learned) -> Part:
    source = Source(learned.source.file, None, _source(learned))
    ways = [w for w in case.ways if not (w.traits.buys and w.traits.rebuilds)]
    lives = [OwnLife(way=way.way, years=life.years, hours=life.hours, failed=life.failed, source=source)
             for life in learned.lives for way in ways
             if (key(life.unit), key(life.way_kind)) == (key(kind_of(case)), key(way.kind))]  # fmt: skip
    known = [Assumed("lives", str(len(lives)), "known lives", _source(learned))] if lives else []
    return {"own_lives": (*case.own_lives, *lives)}, known


# ---- lives fitted to those that the owner knows ----
Clock = Literal["years", "hours"]
INNER_OF_90 = 1.2815515655446004 / 1.6448536269514722
"""Where the 10 % and 90 % points of a normal lie between its middle and its 5 % and 95 % points."""
LONGER = 1.02
INNER_PERT = 0.62
MOST_SHAPE = 10.0


@dataclass(frozen=True)
class LifeFit:
    """What the lives of one way tell by one clock. ``median_low`` to ``median_high`` and ``shape_low`` to
    ``shape_high`` are 90 % intervals. Where the lives cannot tell, ``refused`` says why and the figures are nan."""

    way: str
    clock: Clock
    failures: int
    survivors: int
    median: float = nan
    median_low: float = nan
    median_high: float = nan
    shape: float = nan
    shape_low: float = nan
    shape_high: float = nan
    refused: str = ""

    @property
    def median_range(self) -> Range:
        """The median life, whose 90 % interval is known: nine in ten lie within, so that its ends are no hard ends. A
        lognormal through the middle, its 10 % and 90 % points drawn in from the interval's 5 % and 95 % points; where
        the upper side is not the longer one, a PERT opened at both ends as far as it takes."""
        low, middle, high = self.median_low, self.median, self.median_high
        source = Source("lives.csv", note=f"fit of {self.failures} failures and {self.survivors} survivors")
        ten, ninety = middle * (low / middle) ** INNER_OF_90, middle * (high / middle) ** INNER_OF_90
        if ninety - middle > (middle - ten) * LONGER > 0.0:
            return Range(ten, middle, ninety, "lognormal", source)
        # a PERT has about nine tenths within the inner 62 % of its range
        least, most = middle - (middle - low) / INNER_PERT, middle + (high - middle) / INNER_PERT
        return Range(max(least, low / 2.0), middle, most, source=source)


def with_own_lives(case: Case) -> tuple[Case, tuple[LifeFit, ...]]:
    """The case with the lives that could be fitted, a pair with that of the way it puts in service; and every fit."""
    fits = tuple(_fits(case))
    # by years where both clocks tell: a failure must not be counted twice
    known = {f.way: f for f in reversed(fits) if not f.refused}
    fitted = {w.way: w for w in case.ways}
    for name, fit in known.items():
        # known lives hold the wear kept and the early failures already
        way = replace(fitted[name], wear_kept=0.0, p_early=0.0, life_shape=fit.shape)
        lives: dict[str, Range | None] = {f"life_{fit.clock}": fit.median_range}
        if fit.clock == "hours" and way.life_years is not None and way.life_years.source.file == ASSUMED:
            lives["life_years"] = None  # no life in years stays assumed beside one in hours that is known
        fitted[name] = replace(way, **lives)  # type: ignore[arg-type]
    ways = tuple(_followed(case, w, fitted) for w in case.ways)
    left = [(a, tuple(way for way in a.ways if way not in known)) for a in case.assumed]
    # an assumed figure is used no more once all ways whose lives hang on it are known
    assumed = tuple(replace(a, ways=ways) for a, ways in left if ways or not a.ways)
    return replace(case, ways=ways, assumed=assumed), fits


def _fits(case: Case) -> Iterator[LifeFit]:
    clocks: tuple[Clock, ...] = ("years", "hours")
    for way, clock in product(case.ways, clocks):
        own = [x for x in case.own_lives if x.way == way.way and getattr(x, clock)]
        failed = [x.failed for x in own]
        if not own:
            continue
        blank = LifeFit(way.way, clock, sum(failed), len(failed) - sum(failed))
        try:
            fit = fit_weibull([getattr(x, clock) for x in own], failed)
        except ValueError as error:
            yield replace(blank, refused=str(error))
            continue
        if fit.shape > MOST_SHAPE:
            yield replace(blank, refused="the lives are too alike to tell a shape: give more of them")
            continue
        names = ("median", "median_low", "median_high", "shape", "shape_low", "shape_high")
        yield replace(blank, **{name: getattr(fit, name) for name in names})


def _followed(case: Case, way: Way, fitted: dict[str, Way]) -> Way:
    """A pair whose life was that of the way that it puts in service, with that way's fitted life."""
    if not way.bought:
        return fitted[way.way]
    bought = way.traits.in_service == "bought"
    base = next((w for w in case.ways if (w.way == way.bought if bought else w.kind == "rebuild")), None)
    if base is None or (way.life_years, way.life_hours) != (base.life_years, base.life_hours):
        return fitted[way.way]
    now = fitted[base.way]
    shape = now.life_shape if way.life_shape == base.life_shape else way.life_shape
    return replace(way, life_years=now.life_years, life_hours=now.life_hours, life_shape=shape)
