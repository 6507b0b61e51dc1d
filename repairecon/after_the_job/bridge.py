"""Where the difference came from: a closed job from its estimate to what it came to, step by step."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import ceil

import numpy as np
from numpy.typing import NDArray

from repairecon.after_the_job.estimate import CARRIAGE, SMALL, Estimate, Line
from repairecon.buying.buying import Buying, Priced
from repairecon.buying.inputs import mean_of
from repairecon.rebuild_or_buy.job import read_findings
from repairecon.rebuild_or_buy.tree import STAGE, Finding
from repairecon.records import QUANTITIES, Actual, Case, Decision, Done

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Step:
    """One reason why a job came to more or less; ``amount`` = cash + hours and days at their worth."""

    group: str
    name: str
    amount: float
    cash: float
    own_hours: float
    days: float


@dataclass(frozen=True, kw_only=True)
class Bridge:
    """From the estimate to what it came to; the steps add up to the difference.

    ``estimate`` and ``actual`` hold cash, own hours, days, total. ``not_written`` are things expected of which the
    owner wrote nothing: they are taken to have come as expected. ``whole`` are the quantities of which nothing is
    missing: only those say whether a range held.
    """

    way: str
    estimate: dict[str, float]
    actual: dict[str, float]
    p10: float
    p90: float
    steps: tuple[Step, ...]
    not_written: tuple[str, ...]
    whole: tuple[str, ...]

    @property
    def difference(self) -> float:
        """Actual less estimate, all in [home money]."""
        return self.actual["total"] - self.estimate["total"]

    @property
    def groups(self) -> dict[str, float]:
        """Amounts by group, largest first."""
        sums: dict[str, float] = {}
        for s in self.steps:
            sums[s.group] = sums.get(s.group, 0.0) + s.amount
        return dict(sorted(sums.items(), key=lambda item: -abs(item[1])))


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


def _bought_after(case: Case, way: str, actual: Actual) -> str:
    """The unit that was bought because the rebuild of a way was given up; empty if none was, or two were."""
    traits = case.way(way).traits
    units = [r.name for r in actual.of("unit") if r.name != way and case.way(r.name).traits.buys]
    return units[0] if len(units) == 1 and traits.rebuilds and not case.way(way).bought else ""


def pieces_paid(priced: Priced, row: Done) -> float:
    """Pieces of a part that were bought: as written, else what was fitted in the whole packs that were quoted."""
    if row.bought is not None:
        return row.bought
    if row.from_spares or not row.quantity:
        return 0.0
    pack = priced.quote.pack if priced.quote else 1
    least = priced.quote.minimum_packs if priced.quote else 0
    return float(pack * max(least, ceil(row.quantity / pack - SMALL))) if pack > 1 or least > 1 else row.quantity


def worker(case: Case, row: Done) -> str:
    """Who does a piece of work: as written, else as the case has it."""
    if row.by:
        return row.by
    if row.kind == "damage":
        return next((b.by for b in case.branches if b.key == row.name), "owner")
    whose = row.name.removeprefix("fitting, ")
    fitter = next((w.fitting_by for w in case.ways if w.way == whose), "owner")
    return next((t.by for t in case.tasks if t.task == row.name), fitter)


def days_out(actual: Actual) -> float | None:
    """Days out of service in all, as written with the way or as a total; the total goes last and counts."""
    written = [r.days for kind in ("way", "total") for r in actual.of(kind) if r.days is not None]
    return written[-1] if written else None


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
    stated = {q: f.mean for q, f in decision.figures[decision.way].items()}
    start = np.array([stated["cash"], stated["own hours"], stated["days"]])
    walk = _Walk(decision.cost_own_hour, estimate.model.lost_day, start)
    walk.to("this version", "the same case by this version", estimate.expected(decision.way))
    way = taken(decision, actual)
    walk.to("another way", f"{way} instead of {decision.way}", estimate.expected(way))
    for finding in found_in_order(case, actual):
        known.append(finding)
        estimate = Estimate(case, known, allowed, decision.cost_own_hour, estimate.model.buying)
        walk.to("found inside", str(finding), estimate.expected(way))
    if unit := _bought_after(case, way, actual):
        estimate.bought_after(way, unit)
        walk.to("given up", f"{unit} bought", estimate.expected(way))
    came = settled(case, decision, actual)
    walk.to("whether it came", way, estimate.expected(way, came))
    lines = _Lines(walk, estimate, actual)
    lines.go(estimate.lines(way, came))
    total = decision.figures[decision.way]["total"]
    return Bridge(
        way=way, estimate=walk.quantities(*start.tolist()), actual=walk.quantities(*walk.end.tolist()),
        p10=total.p10, p90=total.p90,
        steps=tuple(walk.steps), not_written=tuple(lines.not_written), whole=lines.whole(),
    )  # fmt: skip


class _Walk:
    """Steps from one total to the next; ``at`` is the expectation that has been reached."""

    def __init__(self, hour: float, day: float, start: Floats) -> None:
        self.hour, self.day, self.start, self.at = hour, day, start, start
        self.steps: list[Step] = []

    def add(self, group: str, name: str, cash: float = 0.0, hours: float = 0.0, days: float = 0.0) -> None:
        """One step; none where nothing differs."""
        if max(abs(cash), abs(hours), abs(days)) > SMALL:
            total = self.quantities(cash, hours, days)["total"]
            self.steps.append(Step(group=group, name=name, amount=total, cash=cash, own_hours=hours, days=days))

    def to(self, group: str, name: str, new: Floats) -> None:
        """The step to another expectation."""
        self.add(group, name, *(new - self.at).tolist())
        self.at = new

    @property
    def end(self) -> Floats:
        """Where all steps lead to."""
        return self.start + sum((np.array([s.cash, s.own_hours, s.days]) for s in self.steps), np.zeros(3))

    def quantities(self, cash: float, hours: float, days: float) -> dict[str, float]:
        """Cash, hours, days and all in."""
        total = cash + self.hour * hours + self.day * days
        return {"cash": cash, "own hours": hours, "days": days, "total": total}


@dataclass
class _Lines:
    """What was expected of a way, line by line, against what the owner wrote down."""

    walk: _Walk
    estimate: Estimate
    actual: Actual
    not_written: list[str] = field(default_factory=list)
    missing: set[str] = field(default_factory=set)

    def go(self, lines: Sequence[Line]) -> None:
        """Steps line by line, then the days and the rest up to the totals."""
        expected = {(x.kind, x.name): x for x in lines}
        for kind in ("part", "unit", "task", "damage", CARRIAGE, "refund", "other"):
            written = {"all" if kind == CARRIAGE else r.name: r for r in self.actual.of(kind)}
            for name in dict.fromkeys([*(n for k, n in expected if k == kind), *written]):
                line = expected.get((kind, name), Line(kind=kind, name=name))
                if name in written:
                    self._row(line, written[name])
                elif kind in ("unit", "refund") and written:
                    self.walk.add("price" if kind == "unit" else "refund", f"{name}: none", -line.cash)
                else:
                    self._miss(name if kind != CARRIAGE else "carriage and handling", line.cash, line.hours)
        days = days_out(self.actual)
        if days is None:
            self._miss("days out of service", days=True)
        else:
            self.walk.add("days", "days out of service", days=days - float(self.walk.at[2]))
        for row in self.actual.of("total"):
            cash, hours, _ = self.walk.end.tolist()
            self.walk.add(
                "not line by line", "up to the totals given",
                0.0 if row.paid is None else row.paid - cash, 0.0 if row.hours is None else row.hours - hours,
            )  # fmt: skip

    def whole(self) -> tuple[str, ...]:
        """Quantities that were written down in full, line by line or as a total."""
        totals = self.actual.of("total")
        given = {q for r in totals for q, x in (("cash", r.paid), ("own hours", r.hours)) if x is not None}
        left = self.missing - given
        return tuple(q for q in QUANTITIES if (q not in left if q != "total" else not left))

    def _miss(self, name: str, cash: float = 0.0, hours: float = 0.0, days: bool = False) -> None:
        """Something expected that the owner wrote nothing of."""
        self.not_written.append(name)
        gone = (("cash", abs(cash) > SMALL), ("own hours", abs(hours) > SMALL), ("days", days))
        self.missing |= {q for q, missed in gone if missed}

    def _row(self, line: Line, row: Done) -> None:
        """The steps of one row."""
        paid = row.paid or 0.0
        if row.kind == "part":
            self._part(line, row)
        elif row.kind in ("task", "damage"):
            self._work(line, row)
        elif row.kind == "unit":
            if row.paid is not None:
                self.walk.add("price", row.name, row.paid - line.cash)
            elif row.from_spares:
                self.walk.add("price", f"{row.name} from the spares", -line.cash)
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

    def _work(self, line: Line, row: Done) -> None:
        """Hours of the owner, and what was paid; hours without money, or money without hours, may be missing."""
        case, by = self.estimate.case, worker(self.estimate.case, row)
        charges = line.cash - line.rate * line.hired_hours
        if by == "owner" and row.hours is None and abs(line.hours) > SMALL:
            self._miss(f"hours of {row.name}", hours=line.hours)
        if row.paid is None and abs(charged := charges if row.hours is not None else line.cash) > SMALL:
            self._miss(f"what was paid for {row.name}", cash=charged)
        if by == "owner":
            own, cash = line.hours if row.hours is None else row.hours, charges
        else:
            own = 0.0 if row.by else line.hours
            rate = mean_of(case.terms.labour[by].cost_hour)
            cash = line.cash if row.hours is None else charges + rate * row.hours
        self.walk.add("hours", row.name, hours=own - line.hours)
        self.walk.add("paid for work", row.name, (cash if row.paid is None else row.paid) - line.cash)
