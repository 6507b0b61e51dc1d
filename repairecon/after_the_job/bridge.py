"""Where the difference came from: a way's estimate taken apart, and the steps from it to what the job came to."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import ceil

import numpy as np
from numpy.typing import NDArray

from repairecon.buying.buying import Buying, Priced
from repairecon.buying.inputs import mean_of
from repairecon.rebuild_or_buy.evaluate import AtMeans
from repairecon.rebuild_or_buy.job import best_model, read_findings
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.tree import STAGE, Finding, grow
from repairecon.rebuild_or_buy.ways_cost import Remedied
from repairecon.rebuild_or_buy.work import remedy_name
from repairecon.records import QUANTITIES, Actual, Case, Decision, Done, Range

Floats = NDArray[np.float64]
SMALL = 1e-9
CARRIAGE = "carriage"
"""The line of all carriage and handling."""

LINE_KINDS = {
    "task hours": "task", "task cost": "task", "fitting hours": "task",
    "outcome hours": "damage", "outcome cost": "damage", "remedy hours": "damage", "remedy cost": "damage",
    "carriage": CARRIAGE, "core carriage": CARRIAGE,
    "core": "unit", "strip": "unit", "refund": "refund", "old unit": "refund",
}  # fmt: skip
"""Line of the estimate that each kind of input belongs to; chances, days and the price of an hour belong to none."""


@dataclass(kw_only=True)
class Line:
    """What was expected of one thing: cash and own hours in all, and of a part the pieces bought, in whole packs."""

    kind: str
    name: str
    cash: float = 0.0
    hours: float = 0.0
    pieces: float = 0.0
    rate: float = 0.0
    hired_hours: float = 0.0


class Estimate:
    """Expected cash, own hours and days of the ways of a case, with the inputs that are known held at a value.

    What is bought after a rebuild has ended is chosen once, on what is expected, and kept unless ``chosen`` is set.
    ``buying`` holds the orders chosen for another estimate of the case, ``remedied`` the remedies taken in it.
    """

    def __init__(
        self, case: Case, found: Sequence[Finding] = (), allowed: Mapping[str, bool] | None = None,
        own_hour: float | None = None, buying: Buying | None = None, remedied: Remedied | None = None,
    ) -> None:  # fmt: skip
        self.case, tree = case, grow(case, found)
        if remedied is None:
            self.model = best_model(case, tree, allowed or {}, -1, own_hour, buying)
        else:
            self.model = Model(case, tree, allowed or {}, -1, own_hour, buying, remedied)
        self.keys = {x.key: i for i, x in enumerate(self.model.inputs)}
        self.chosen = self.model.plain

    def at(self, held: Mapping[str, float]) -> AtMeans:
        """The means with inputs by key held at values."""
        return self.model.at({self.keys[k]: Range(v, v, v) for k, v in held.items() if k in self.keys})

    def expected(self, way: str, held: Mapping[str, float] = {}) -> Floats:
        """Expected (cash, own hours, days) of a way, with inputs by key held at values."""
        return np.asarray(self.at(held).expected(self.chosen.way(self.model.ways.index(way))))

    def lines(self, way: str, came: Mapping[str, float]) -> list[Line]:
        """The way's expected cash and own hours line by line; they add up to the whole.

        ``came`` holds inputs that are settled (whether a way came, a core was taken).
        """
        whole = self.expected(way, came)
        lines: dict[tuple[str, str], Line] = {}
        left = whole[0]
        for key, place in self.keys.items():
            kind, name = self._line_of(key)
            if not kind or key in came:
                continue
            # cash is a sum of products of independent inputs, so holding one at 0 takes its own share out
            held, base = {**came, key: 0.0}, whole
            if key.startswith("core:"):
                refund = f"refund:{name}"
                base, held[refund] = self.expected(way, {**came, refund: 0.0}), 0.0
            cash, hours, _ = base - self.expected(way, held)
            if not cash and not hours:
                continue
            line = lines.setdefault((kind, name), Line(kind=kind, name=name))
            line.cash, line.hours, left = line.cash + cash, line.hours + hours, left - cash
            mean = self.model.inputs[place].mean
            if kind == "part" and (each := self._a_piece(name, key) * mean) > 0:
                line.pieces += cash / each
            if " hours:" in key and cash > 0 and mean > 0:
                line.hired_hours += mean
                line.rate = cash / mean
        if abs(left) > SMALL:
            # what no input explains are fixed charges of suppliers: they go with the carriage
            lines.setdefault((CARRIAGE, "all"), Line(kind=CARRIAGE, name="all")).cash += left
        return list(lines.values())

    def _line_of(self, key: str) -> tuple[str, str]:
        """Kind and name of the line that an input belongs to."""
        kind, _, name = key.partition(":")
        if kind in ("price", "quoted"):
            item = name if kind == "price" else name.rpartition("@")[0]
            return ("part" if item in self.prices else "unit"), item
        line = LINE_KINDS.get(kind, "")
        if kind == "fitting hours":
            return line, f"fitting, {name}"
        if kind.startswith("remedy"):
            return line, next(f"{r.event}={r.outcome}" for r in self.case.remedies if name == remedy_name(r))
        if line == "damage":
            return line, name.partition(" given ")[0]
        return line, ("all" if line == CARRIAGE else name)

    @cached_property
    def prices(self) -> dict[str, Priced]:
        """What each part takes, in the planned order or by itself; of several quotes that it mixes the first."""
        return {part: taken[0] for part, taken in self.model.costs.prices.items()}

    def priced(self, row: Done) -> Priced:
        """What the part or the unit of a row was to be bought by."""
        return self.prices[row.name] if row.kind == "part" else self.model.costs.price_of(self.case.way(row.name))

    def _a_piece(self, part: str, key: str) -> float:
        """Home money for a piece of a part where one is quoted for a pack by the supplier that an input names."""
        supplier, priced = key.rpartition("@")[2], self.prices[part]
        if key.startswith("price:"):
            return 1.0
        if priced.supplier is None or priced.supplier.supplier + priced.again != supplier:
            pieces = next(p.quantity for p in self.case.parts if p.part == part)
            priced = self.model.buying.from_supplier(part, supplier, pieces)
        return priced.a_piece


# ---- from the estimate to what it came to -----------------------------------------------------------
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

    ``way`` is the one taken in the end. ``estimate`` and ``actual`` hold cash, own hours, days, total. ``not_written``
    are things expected of which the owner wrote nothing: they are taken to have come as expected. ``whole`` are the
    quantities of which nothing is missing: only those say whether a range held.
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
    order = sorted(seen, key=lambda event: seen[event])
    return sorted((Finding(*found) for found in actual.found), key=lambda f: order.index(f.event))


def settled(case: Case, decision: Decision, actual: Actual) -> dict[str, float]:
    """Chances that are chances no more: ways that came, and ways that never did."""
    came = {r.name for r in actual.of("unit")} | {actual.way or decision.way}
    never = {r.name for r in actual.rows if r.kind == "never came"}
    return {f"never:{w.way}": float(w.way in never) for w in case.ways if w.way in came | never}


def pieces_paid(priced: Priced, row: Done) -> float:
    """Pieces of a part that were bought: as written, else what was fitted in the whole packs that were quoted."""
    if row.bought is not None:
        return row.bought
    if row.from_spares or not row.quantity:
        return 0.0
    pack, least = (priced.quote.pack, priced.quote.minimum_packs) if priced.quote else (1, 0)
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
    walk = _Walk(decision.cost_own_hour, estimate.model.lost_day, start, actual)
    walk.to("this version", "the same case by this version", estimate.expected(decision.way))
    way = actual.way or decision.way
    walk.to("another way", f"{way} instead of {decision.way}", estimate.expected(way))
    for finding in found_in_order(case, actual):
        known.append(finding)
        before = estimate.model
        estimate = Estimate(case, known, allowed, decision.cost_own_hour, before.buying, before.costs.remedied)
        walk.to("found inside", str(finding), estimate.expected(way))
    # the unit that was bought because the rebuild was given up; where two were, nobody knows which
    units = [r.name for r in actual.of("unit") if r.name != way and case.way(r.name).traits.buys]
    if len(units) == 1 and case.way(way).traits.rebuilds and not case.way(way).bought:
        ways = estimate.model.ways
        estimate.chosen = estimate.model.chooser(always={ways.index(way): ways.index(units[0])})
        walk.to("given up", f"{units[0]} bought", estimate.expected(way))
    came = settled(case, decision, actual)
    walk.to("whether it came", way, estimate.expected(way, came))
    walk.line_by_line(estimate, estimate.lines(way, came))
    total = decision.figures[decision.way]["total"]
    return Bridge(
        way=way, estimate=walk.quantities(*start.tolist()), actual=walk.quantities(*walk.end.tolist()),
        p10=total.p10, p90=total.p90,
        steps=tuple(walk.steps), not_written=tuple(walk.not_written), whole=walk.whole(),
    )  # fmt: skip


class _Walk:
    """Steps from one total to the next; ``at`` is the expectation that has been reached."""

    def __init__(self, hour: float, day: float, start: Floats, actual: Actual) -> None:
        self.hour, self.day, self.start, self.at, self.actual = hour, day, start, start, actual
        self.steps, self.not_written, self.missing = list[Step](), list[str](), set[str]()

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

    def line_by_line(self, estimate: Estimate, lines: Sequence[Line]) -> None:
        """What was expected of a way against what the owner wrote down; then the days, the rest up to the totals."""
        expected = {(x.kind, x.name): x for x in lines}
        for kind in ("part", "unit", "task", "damage", CARRIAGE, "refund", "other"):
            written = {"all" if kind == CARRIAGE else r.name: r for r in self.actual.of(kind)}
            for name in dict.fromkeys([*(n for k, n in expected if k == kind), *written]):
                line = expected.get((kind, name), Line(kind=kind, name=name))
                if name in written:
                    self._row(estimate, line, written[name])
                elif kind in ("unit", "refund") and written:
                    self.add("price" if kind == "unit" else "refund", f"{name}: none", -line.cash)
                else:
                    self._miss(name if kind != CARRIAGE else "carriage and handling", line.cash, line.hours)
        days = days_out(self.actual)
        if days is None:
            self._miss("days out of service", days=True)
        else:
            self.add("days", "days out of service", days=days - float(self.at[2]))
        for row in self.actual.of("total"):
            cash, hours, _ = self.end.tolist()
            more = (0.0 if row.paid is None else row.paid - cash, 0.0 if row.hours is None else row.hours - hours)
            self.add("not line by line", "up to the totals given", *more)

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

    def _row(self, estimate: Estimate, line: Line, row: Done) -> None:
        paid = row.paid or 0.0
        if row.kind == "part":
            self._part(line, row, estimate.prices[row.name])
        elif row.kind in ("task", "damage"):
            self._work(line, row, estimate.case)
        elif row.kind == "unit":
            if row.paid is not None:
                self.add("price", row.name, row.paid - line.cash)
            elif row.from_spares:
                self.add("price", f"{row.name} from the spares", -line.cash)
        elif row.kind == CARRIAGE:
            paid = sum(r.paid or 0.0 for r in self.actual.of(CARRIAGE))
            self.add("carriage", "carriage and handling", paid - line.cash)
        elif row.kind == "refund":
            self.add("refund", row.name, -paid - line.cash)
        else:
            own = row.hours or 0.0 if row.by in ("", "owner") else 0.0
            self.add("unforeseen", row.name, paid, own)

    def _part(self, line: Line, row: Done, priced: Priced) -> None:
        """Price at the pieces paid for, pieces at the price expected: the two add up."""
        if row.from_spares and not row.paid:
            self.add("price", f"{row.name} from the spares", -line.cash)
            return
        expected = line.cash / line.pieces if line.pieces > 0 else 0.0
        piece = expected or priced.a_piece * mean_of(priced.range)
        pieces = line.pieces if row.quantity is None else pieces_paid(priced, row)
        if row.paid is not None:
            self.add("price", row.name, row.paid - pieces * piece)
        self.add("quantity", row.name, pieces * piece - line.cash)

    def _work(self, line: Line, row: Done, case: Case) -> None:
        """Hours of the owner, and what was paid; hours without money, or money without hours, may be missing."""
        by, charges = worker(case, row), line.cash - line.rate * line.hired_hours
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
        self.add("hours", row.name, hours=own - line.hours)
        self.add("paid for work", row.name, (cash if row.paid is None else row.paid) - line.cash)
