"""Where the difference came from: a closed job from its estimate to what it came to, step by step."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import ceil

import numpy as np
from numpy.typing import NDArray

from repairecon.after_the_job.answer import Bridge, Step
from repairecon.after_the_job.estimates import CARRIAGE, Estimate, Line
from repairecon.buying.buying import Buying, Priced
from repairecon.buying.inputs import mean_of
from repairecon.rebuild_or_buy.job import read_findings
from repairecon.rebuild_or_buy.tree import STAGE, Finding
from repairecon.records import QUANTITIES, Actual, Case, Decision, Done

Floats = NDArray[np.float64]
SMALL = 1e-9


def found_in_order(case: Case, actual: Actual) -> list[Finding]:
    """What was found, in the order in which it shows; what is never seen comes first."""
    seen = {b.event: STAGE.get(b.seen_at, -1) for b in case.branches}
    places = {event: k for k, event in enumerate(seen)}
    found = [Finding(event, outcome) for event, outcome in actual.found]
    return sorted(found, key=lambda f: (seen[f.event], places[f.event]))


def taken(decision: Decision, actual: Actual) -> str:
    """The way taken in the end."""
    return actual.way or decision.way


def settled(case: Case, decision: Decision, actual: Actual) -> dict[str, float]:
    """Chances that are chances no more: ways that came, and ways that never did."""
    came = {r.name for r in actual.of("unit")} | {taken(decision, actual)}
    never = {r.name for r in actual.rows if r.kind == "never came"}
    names = {w.way for w in case.ways}
    return {f"never:{w}": float(w in never) for w in names & (came | never)}


def bought_after(case: Case, way: str, actual: Actual) -> str:
    """The unit that was bought because the rebuild of a way was given up; empty if none was, or two were."""
    traits = case.way(way).traits
    units = [r.name for r in actual.of("unit") if r.name != way and case.way(r.name).traits.buys]
    return units[0] if len(units) == 1 and traits.rebuilds and not case.way(way).bought else ""


class _Walk:
    """Steps from one total to the next."""

    def __init__(self, hour: float, day: float) -> None:
        self.hour, self.day = hour, day
        self.steps: list[Step] = []

    def worth(self, cash: float, hours: float, days: float) -> float:
        """All in."""
        return cash + self.hour * hours + self.day * days

    def add(self, group: str, name: str, cash: float = 0.0, hours: float = 0.0, days: float = 0.0) -> None:
        """One step; none where nothing differs."""
        if max(abs(cash), abs(hours), abs(days)) > SMALL:
            self.steps.append(Step(group, name, self.worth(cash, hours, days), cash, hours, days))

    def between(self, group: str, name: str, old: Floats, new: Floats) -> None:
        """The step from one expectation to another."""
        self.add(group, name, *(float(x) for x in new - old))


def bridge(
    case: Case, decision: Decision, actual: Actual, allowed: Mapping[str, bool], buying: Buying | None = None
) -> Bridge:
    """From the estimate as it was decided to what the job came to.

    First what was found inside, an outcome at a time in the order in which it shows; then what was bought if the
    rebuild was given up, and whether what was ordered came; then prices and pieces, work, carriage, refunds, days. What
    the owner did not write down is taken to have come as expected. A total that was written down and is not made up by
    the rows is closed by a step of its own.
    """
    known = list(read_findings(decision.found))
    estimate = Estimate(case, known, allowed, decision.cost_own_hour, buying)
    walk = _Walk(decision.cost_own_hour, estimate.model.lost_day)
    stated = {q: f.mean for q, f in decision.figures[decision.way].items()}
    start = np.array([stated["cash"], stated["own hours"], stated["days"]])
    at = estimate.expected()[estimate.model.ways.index(decision.way)]
    walk.between("reckoned anew", "the same case by this version", start, at)
    way = taken(decision, actual)
    i = estimate.model.ways.index(way)
    walk.between("another way", f"{way} instead of {decision.way}", at, estimate.expected()[i])
    at = estimate.expected()[i]
    for finding in found_in_order(case, actual):
        known.append(finding)
        estimate = Estimate(case, known, allowed, decision.cost_own_hour, estimate.model.buying)
        after = estimate.expected()[i]
        walk.between("found inside", str(finding), at, after)
        at = after
    unit = bought_after(case, way, actual)
    if unit:
        estimate.bought_after(way, unit)
        walk.between("given up", f"{unit} bought", at, estimate.expected()[i])
        at = estimate.expected()[i]
    came = settled(case, decision, actual)
    walk.between("whether it came", way, at, estimate.expected(came)[i])
    at = estimate.expected(came)[i]
    lines = _Lines(walk, estimate, actual)
    lines.go(estimate.lines(way, came))
    days = _days(actual)
    if days is None:
        lines.miss("days out of service", days=True)
    else:
        walk.add("days", "days out of service", days=days - float(at[2]))
    _close(walk, start, actual)
    end = start + np.array([[s.cash, s.own_hours, s.days] for s in walk.steps]).reshape(-1, 3).sum(axis=0)
    total = decision.figures[decision.way]["total"]
    return Bridge(
        way=way,
        estimate=_quantities(walk, start),
        actual=_quantities(walk, end),
        p10=total.p10,
        p90=total.p90,
        steps=tuple(walk.steps),
        not_told=tuple(lines.not_told),
        whole=_whole(lines.missing, actual),
    )


def _quantities(walk: _Walk, triple: Floats) -> dict[str, float]:
    cash, hours, days = (float(x) for x in triple)
    return {"cash": cash, "own hours": hours, "days": days, "total": walk.worth(cash, hours, days)}


def _days(actual: Actual) -> float | None:
    told = [r.days for kind in ("way", "total") for r in actual.of(kind) if r.days is not None]
    return told[-1] if told else None


def _whole(missing: set[str], actual: Actual) -> tuple[str, ...]:
    """Quantities that were written down in full, line by line or as a total."""
    totals = actual.of("total")
    given = {q for r in totals for q, x in (("cash", r.paid), ("own hours", r.hours)) if x is not None}
    left = missing - given
    return tuple(q for q in QUANTITIES if (q not in left if q != "total" else not left))


def _close(walk: _Walk, start: Floats, actual: Actual) -> None:
    """The rest up to the totals that the owner wrote down."""
    for row in actual.of("total"):
        cash = 0.0 if row.paid is None else row.paid - start[0] - sum(s.cash for s in walk.steps)
        hours = 0.0 if row.hours is None else row.hours - start[1] - sum(s.own_hours for s in walk.steps)
        walk.add("not told line by line", "up to the totals given", float(cash), float(hours))


@dataclass
class _Lines:
    """What was expected of a way, line by line, against what the owner wrote down."""

    walk: _Walk
    estimate: Estimate
    actual: Actual
    not_told: list[str] = field(default_factory=list)
    missing: set[str] = field(default_factory=set)

    def miss(self, name: str, cash: float = 0.0, hours: float = 0.0, days: bool = False) -> None:
        """Something expected that the owner wrote nothing of."""
        self.not_told.append(name)
        gone = (("cash", abs(cash) > SMALL), ("own hours", abs(hours) > SMALL), ("days", days))
        self.missing |= {q for q, missed in gone if missed}

    def go(self, lines: Sequence[Line]) -> None:
        """Steps line by line; the names of what was expected and not told are kept."""
        expected = {(x.kind, x.name): x for x in lines}
        for kind in ("part", "unit", "task", "damage", CARRIAGE, "refund", "other"):
            told = {"all" if kind == CARRIAGE else r.name: r for r in self.actual.of(kind)}
            for name in dict.fromkeys([*(n for k, n in expected if k == kind), *told]):
                line = expected.get((kind, name), Line(kind, name))
                if name in told:
                    self.told(line, told[name])
                elif kind in ("unit", "refund") and told:
                    self.walk.add("price" if kind == "unit" else "refund", f"{name}: none", -line.cash)
                else:
                    self.miss(name if kind != CARRIAGE else "carriage and handling", line.cash, line.hours)

    def told(self, line: Line, row: Done) -> None:
        """The steps of one row."""
        paid = row.paid or 0.0
        if row.kind == "part":
            self._part(line, row)
        elif row.kind in ("task", "damage"):
            self._work(line, row)
        elif row.kind == "unit":
            self._unit(line, row)
        elif row.kind == CARRIAGE:
            paid = sum(r.paid or 0.0 for r in self.actual.of(CARRIAGE))
            self.walk.add("carriage", "carriage and handling", paid - line.cash)
        elif row.kind == "refund":
            self.walk.add("refund", row.name, -paid - line.cash)
        else:
            own = row.hours or 0.0 if row.by in ("", "owner") else 0.0
            self.walk.add("unforeseen", row.name, paid, own)

    def _part(self, line: Line, row: Done) -> None:
        """Price at the pieces paid for, pieces at the price expected: the two add up."""
        if row.from_spares and not row.paid:
            self.walk.add("price", f"{row.name} from the spares", -line.cash)
            return
        piece = line.piece or self.estimate.mean_price(row.name)
        pieces = line.pieces if row.quantity is None else pieces_paid(self.estimate.prices[row.name], row)
        if row.paid is not None:
            self.walk.add("price", row.name, row.paid - pieces * piece)
        self.walk.add("quantity", row.name, pieces * piece - line.cash)

    def _unit(self, line: Line, row: Done) -> None:
        if row.paid is not None:
            self.walk.add("price", row.name, row.paid - line.cash)
        elif row.from_spares:
            self.walk.add("price", f"{row.name} from the spares", -line.cash)

    def _work(self, line: Line, row: Done) -> None:
        case = self.estimate.case
        by = row.by or worker(case, row)
        self._half_told(line, row, by)
        charges = line.cash - line.rate * line.hired_hours
        if by == "owner":
            own = line.hours if row.hours is None else row.hours
            self.walk.add("hours", row.name, hours=own - line.hours)
            cash = charges
        else:
            self.walk.add("hours", row.name, hours=-line.hours if row.by else 0.0)
            rate = mean_of(case.terms.labour[by].cost_hour)
            cash = line.cash if row.hours is None else charges + rate * row.hours
        self.walk.add("paid for work", row.name, (cash if row.paid is None else row.paid) - line.cash)

    def _half_told(self, line: Line, row: Done, by: str) -> None:
        """Hours without money, or money without hours, where both were expected."""
        if by == "owner" and row.hours is None and abs(line.hours) > SMALL:
            self.miss(f"hours of {row.name}", hours=line.hours)
        charged = line.cash - (line.rate * line.hired_hours if row.hours is not None else 0.0)
        if row.paid is None and abs(charged) > SMALL:
            self.miss(f"what was paid for {row.name}", cash=charged)


def pieces_paid(priced: Priced, row: Done) -> float:
    """Pieces of a part that were bought: as told, else what was fitted in the whole packs of what was to be bought."""
    if row.bought is not None:
        return row.bought
    if row.from_spares or not row.quantity:
        return 0.0
    pack = priced.quote.pack if priced.quote else 1
    least = priced.quote.minimum_packs if priced.quote else 0
    return float(pack * max(least, ceil(row.quantity / pack - SMALL))) if pack > 1 or least > 1 else row.quantity


def worker(case: Case, row: Done) -> str:
    """Who does a piece of work, as the case has it."""
    if row.kind == "damage":
        return next((b.by for b in case.branches if b.key == row.name), "owner")
    whose = row.name.removeprefix("fitting, ")
    fitter = next((w.fitting_by for w in case.ways if w.way == whose), "owner")
    return next((t.by for t in case.tasks if t.task == row.name), fitter)
