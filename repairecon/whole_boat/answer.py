"""A boat: her open jobs, her units before they fail, her spares, what to do next; what boats of one base may share."""

from __future__ import annotations

import os
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from repairecon.book.spares_book import book_at
from repairecon.formulas.demand import best_split
from repairecon.formulas.integer_program import Program
from repairecon.many import Lost, each
from repairecon.read.boat import BoatPapers, book_path, read_boat
from repairecon.read.closed import FOLDER as DECIDED
from repairecon.read.problems import key
from repairecon.read.reading import Defaults, Money
from repairecon.rebuild_or_buy.advice import HOUR_IN_ORDER
from repairecon.rebuild_or_buy.command import CaseLine, case_line
from repairecon.records import DAYS_A_YEAR, RepaireconError
from repairecon.show.answer_tables import plain
from repairecon.show.sheet import Panel, Shown
from repairecon.spares_aboard.job import spares_aboard
from repairecon.whole_boat.units import Season, UnitLine, season, unit_line

JOB, SPARE, RENEW, STOCK = "job", "spare", "renew", "stock"
LEAST, WORTH_DOING = 1.0, 0.05
"""Home money a year, and share of what it costs, that a purchase must save to be named as something to do."""


@dataclass(frozen=True, kw_only=True)
class Step:
    """Something to do next: ``saves`` [home money; a spare, a renewal and stock within a year] for ``money`` and own
    ``hours``; ``critical`` where she cannot sail safely without."""

    kind: str
    what: str
    saves: float
    money: float
    hours: float
    critical: bool
    boat: str = ""
    of: str = ""

    def ratio(self, hour: float) -> float:
        """What it saves a unit of money spent, an own hour counted at ``hour``."""
        return self.saves / max(self.money + self.hours * hour, LEAST)


@dataclass(frozen=True, kw_only=True)
class OnOrder:
    """A part that is still to come: ``pieces`` of it for a job, by when (empty: not promised), how late by now."""

    part: str
    pieces: int
    job: str
    expected_on: str
    late_days: int


@dataclass(frozen=True, kw_only=True)
class SparesLine:
    """The spares book in figures: ``worth`` at cost [home money]; names of what runs out (``due``) and is ``short``.

    ``units`` are units with a whole spare aboard, ``buys`` what is worth buying: item, worth, cost [home money],
    ``on_order`` what is still to come of orders.
    """

    worth: float
    due: tuple[str, ...]
    short: tuple[str, ...]
    units: tuple[str, ...]
    buys: tuple[tuple[str, float, float], ...]
    on_order: tuple[OnOrder, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Serves:
    """A standard part that more than one unit takes: ``failures`` expected within the season in all of them."""

    size: str
    units: tuple[str, ...]
    failures: float


@dataclass(frozen=True, kw_only=True, repr=False)
class BoatLine(Shown):
    """A boat; ``failed`` are folders and files that could not be read, with why."""

    folder: str
    boat: str
    base: str
    figures: str
    currency: str
    today: str
    jobs: tuple[CaseLine, ...]
    units: tuple[UnitLine, ...]
    """Those that work: one with an open job is counted there."""
    season: Season
    spares: SparesLine | None
    serves: tuple[Serves, ...]
    steps: tuple[Step, ...]
    failed: tuple[tuple[str, str], ...]
    euro_as_it_stands: bool = False
    """True where her money is not EUR and boat.toml names no rate for it: amounts assumed in EUR are taken as hers."""

    def said(self) -> Panel:
        """The boat, what to do first and what the season may cost."""
        from repairecon.whole_boat.words import verdict

        return verdict(self)


@dataclass(frozen=True, kw_only=True)
class NoBoat:
    """A folder that holds no boat that can be read."""

    folder: str
    faults: str


def whole_boat(folder: str | os.PathLike[str], season_days: float = 365.0, seed: int = 1) -> BoatLine:
    """Look at a whole boat, in her folder with ``boat.toml``, so far ahead [days].

    A bad case or a broken book of hers is listed and stops nothing else. CaseError has every fault of boat.toml,
    units.csv, suppliers.csv and carriage.csv.
    """
    if not 1.0 <= season_days <= 3650.0:
        raise RepaireconError(f"season_days: found {season_days}; give days from 1 to 3650")
    boat, years = read_boat(folder), season_days / DAYS_A_YEAR
    lines = [case_line(job, seed=seed) for job in boat.jobs if not (Path(job) / DECIDED).exists()]
    spares, failed = _spares(book_path(Path(folder)), boat)
    jobs = tuple(line for line in lines if not line.faults)
    failed_now = Counter(key(line.unit) for line in jobs)
    working = [replace(u, count=u.count - failed_now[key(u.unit)]) for u in boat.units]
    worked = [unit_line(boat, unit, years, seed) for unit in working if unit.count > 0]
    units, there = tuple(unit for unit, _ in worked), frozenset(spares.units if spares else ())
    money, critical = Money(boat.toml, Defaults()), frozenset(key(u.unit) for u in boat.units if u.critical)
    hour = boat.toml.section("owner").number("cost_own_hour") or HOUR_IN_ORDER
    return BoatLine(
        folder=str(folder), boat=boat.name, base=boat.base, figures=boat.figures, currency=boat.currency,
        today=boat.today, jobs=jobs, units=units, season=season(worked, years, there, seed), spares=spares,
        serves=_serves(units), steps=steps(jobs, units, spares, hour, critical),
        euro_as_it_stands=money.currency != "EUR" and "EUR" not in money.exchange,
        failed=(*((line.case, line.faults) for line in lines if line.faults), *failed),
    )  # fmt: skip


def _spares(path: Path | None, boat: BoatPapers) -> tuple[SparesLine | None, tuple[tuple[str, str], ...]]:
    """The spares book, or why it could not be read; neither where there is none."""
    if path is None:
        return None, ()
    try:
        with book_at(path) as book:
            cards, orders = book.items_by_number(), book.orders()
            found = spares_aboard(book, today=boat.today, boat=boat.folder)
        whole = set(found.turning["item"]) if len(found.turning) else set()
        served = {key(u) for card in cards.values() if card.name in whole for u in card.units}
        worth_it = found.carry[found.carry["buy"] > 0].itertuples(index=False)
        return SparesLine(
            worth=found.worth.fifo, short=tuple(line.item.name for line in found.below_minimum),
            due=tuple(dict.fromkeys(found.expiring["item"] if len(found.expiring) else ())),
            units=tuple(u.unit for u in boat.units if key(u.unit) in served),
            buys=tuple((str(r.item), float(r.worth_bought), float(r.price * r.buy)) for r in worth_it),
            on_order=tuple(
                OnOrder(part=line.part, pieces=int(line.open), job=o.job, expected_on=o.expected_on,
                        late_days=o.late_days(boat.today))
                for o in orders for line in o.open
            ),
        ), ()  # fmt: skip
    except RepaireconError as error:
        return None, ((str(path), "; ".join(str(error).splitlines())),)


def _serves(units: Iterable[UnitLine]) -> tuple[Serves, ...]:
    """Standard parts that several units take, the one that is wanted most first."""
    by: dict[str, list[UnitLine]] = defaultdict(list)
    for unit in units:
        for size in unit.sizes:
            by[size].append(unit)
    made = [
        Serves(size=size, units=tuple(u.unit for u in some), failures=sum(u.p_fails for u in some))
        for size, some in by.items()
        if sum(u.count for u in some) > 1
    ]
    return tuple(sorted(made, key=lambda s: -s.failures))


def steps(
    jobs: Sequence[CaseLine], units: Sequence[UnitLine], spares: SparesLine | None, hour: float,
    critical: frozenset[str] = frozenset(),
) -> tuple[Step, ...]:  # fmt: skip
    """What to do next, best first: the jobs of critical units, then by what is saved a unit of money and hours.

    ``hour`` is what an own hour counts [home money], ``critical`` names critical units, those that have failed as well.
    """
    found = [
        Step(kind=JOB, what=f"{line.unit}: {line.what}", saves=max(line.saves or 0.0, 0.0), money=line.cash or 0.0,
             hours=line.own_hours or 0.0, critical=key(line.unit) in critical, of=line.case)
        for line in jobs
    ]  # fmt: skip
    there = set(spares.units) if spares else set()
    for unit in (u for u in units if u.price_new is not None):
        plain: dict[str, Any] = {"hours": 0.0, "critical": unit.critical, "of": unit.unit}
        price, worth = unit.price_new or 0.0, (unit.spare_worth or 0.0) - (unit.spare_cost or 0.0)
        if unit.unit not in there:
            found.append(Step(kind=SPARE, what=f"Buy a spare {unit.unit}", saves=worth, money=price, **plain))
        renew = f"Renew the {unit.unit} before it fails"
        found.append(Step(kind=RENEW, what=renew, saves=unit.renew_saves or 0.0, money=price * unit.count, **plain))
    for item, worth, cost in spares.buys if spares else ():
        found.append(Step(kind=STOCK, what=f"Buy {item}", saves=worth - cost, money=cost, hours=0.0, critical=False))
    return in_order((s for s in found if s.kind == JOB or s.saves >= max(LEAST, WORTH_DOING * s.money)), hour)


def in_order(found: Iterable[Step], hour: float = HOUR_IN_ORDER) -> tuple[Step, ...]:
    """Steps, the best first: jobs of critical units, then by what is saved a unit of money and hours."""
    return tuple(sorted(found, key=lambda s: (not (s.kind == JOB and s.critical), -s.ratio(hour), s.boat, s.what)))


def boat_or_faults(folder: str, season_days: float, seed: int) -> BoatLine | NoBoat:
    """A boat, or why there is none: never an owner's error, so that the others go on."""
    try:
        return whole_boat(folder, season_days, seed)
    except RepaireconError as error:
        return NoBoat(folder=folder, faults="; ".join(str(error).splitlines()))


def whole_boats(
    folders: Iterable[str | os.PathLike[str]], season_days: float = 365.0, seed: int = 1, *, workers: int = 1,
    scheduler: str = "",
) -> Iterator[BoatLine | NoBoat]:  # fmt: skip
    """Look at several boats, in their order; ``workers`` and ``scheduler`` as for many cases."""
    work = partial(boat_or_faults, season_days=season_days, seed=seed)
    for found in each(work, [str(f) for f in folders], workers, scheduler):
        if isinstance(found, Lost):
            yield NoBoat(folder=found.thing, faults="each process that worked on it died: too large for this machine?")
        else:
            yield found


def not_read(boats: Iterable[BoatLine | NoBoat]) -> list[tuple[str, str]]:
    """Folders and files that could not be read, with why; first the folders without a boat."""
    inside = [pair for b in boats if isinstance(b, BoatLine) for pair in b.failed]
    return [(b.folder, b.faults) for b in boats if isinstance(b, NoBoat)] + inside


def as_json(boats: Sequence[BoatLine | NoBoat], shared: Sequence[Pool] = ()) -> dict[str, Any]:
    """Plain data for other programs; home money, chances 0..1, days and years as the names say."""
    names = ("boat", "folder", "base", "currency", "today")
    kept = ("case", "unit", "do", "what", "way", "total", "days")
    made = [
        {
            **{name: getattr(b, name) for name in names},
            "units": b.units, "jobs": [{name: getattr(job, name) for name in kept} for job in b.jobs],
            "season": b.season,
            "spares": {name: x for name, x in vars(b.spares).items() if name != "buys"} if b.spares else {},
            "serves": b.serves, "next": b.steps,
        }
        for b in boats if isinstance(b, BoatLine)
    ]  # fmt: skip
    failed = [{"folder": folder, "faults": why} for folder, why in not_read(boats)]
    data: dict[str, Any] = plain({"boats": made, "failed": failed, "pools": shared})
    return data


# ---- spares for several boats of one base ------------------------------------------------------------
MOST = 6
"""Pieces of one spare for all boats of a base up to which it is thought of."""


@dataclass(frozen=True, kw_only=True)
class Pool:
    """One spare unit that boats of a base share, by its maker's number.

    ``at_base`` and ``aboard`` (a number a boat) are what is worth having, for ``cost`` [home money]; they save
    ``saves`` a year, what they cost a year taken off [home money/year].
    """

    base: str
    unit: str
    maker_number: str
    boats: tuple[str, ...]
    at_base: int
    aboard: tuple[int, ...]
    cost: float
    saves: float


def pools(boats: Sequence[BoatLine], budget: float | None = None) -> tuple[Pool, ...]:
    """Spares worth having at each base and aboard its boats, what saves most first; boats of one base and money share.

    ``budget`` is to spend at most over all [home money]; None: all that is worth its price.
    """
    shared: dict[tuple[str, str, str], list[tuple[BoatLine, UnitLine]]] = defaultdict(list)
    for boat in boats:
        for unit in boat.units:
            if unit.price_new and unit.maker_number and unit.cost_without is not None:
                shared[key(boat.base), boat.currency, key(unit.maker_number)].append((boat, unit))
    ladders = [ladder for some in shared.values() if (ladder := _ladder(some))]
    chosen = _within(ladders, budget)
    return tuple(sorted(chosen, key=lambda p: (-p.saves, p.base, p.unit)))


def _ladder(some: Sequence[tuple[BoatLine, UnitLine]]) -> list[Pool]:
    """0, 1, 2, ... pieces of one spare, each split as well as can be; what each number saves a year."""
    first, one = some[0]
    rates = [-np.log1p(-min(u.p_fails_a_year, 0.999)) for _, u in some]
    order, bring = max(u.order_days for _, u in some) / DAYS_A_YEAR, [u.bring_days / DAYS_A_YEAR for _, u in some]
    lost, without = [u.lost_day * DAYS_A_YEAR for _, u in some], [u.cost_without or 0.0 for _, u in some]
    rows = best_split(MOST, rates, (order, bring), lost, without)
    price, a_year = max(u.price_new or 0.0 for _, u in some), max(u.spare_cost or 0.0 for _, u in some)
    return [
        Pool(base=first.base, unit=one.unit, maker_number=one.maker_number, boats=tuple(b.boat for b, _ in some),
             at_base=at_base, aboard=aboard, cost=n * price, saves=rows[0][2] - cost - n * a_year)
        for n, (at_base, aboard, cost) in enumerate(rows)
    ]  # fmt: skip


def _within(ladders: Sequence[Sequence[Pool]], budget: float | None) -> Iterable[Pool]:
    """One rung of each ladder so that most is saved within the budget, proven by an integer program."""
    program, columns = Program(), list[tuple[int, Pool]]()
    for ladder in ladders:
        rungs = [(program.column(-rung.saves, 1.0, whole=True), rung) for rung in ladder]
        program.row([(c, 1.0) for c, _ in rungs], 1.0, 1.0)
        columns += rungs
    if budget is not None:
        program.row([(c, rung.cost) for c, rung in columns], high=budget)
    point = program.solve(60.0, gap=0.0).point
    return (rung for c, rung in columns if point is not None and point[c] > 0.5 and rung.cost > 0)
