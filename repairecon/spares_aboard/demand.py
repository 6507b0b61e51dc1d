"""How many of each item a passage may ask for, what being without costs, and so what the carry list has to weigh."""

from __future__ import annotations

import datetime
import math
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from repairecon.book.stock import day_number, last_day, whole_unit
from repairecon.formulas import demand, ranges, valuation
from repairecon.read.case_folder import read_case
from repairecon.read.problems import key
from repairecon.read.reading import Defaults
from repairecon.read.toml_records import CRITICAL, OTHER
from repairecon.rebuild_or_buy.job import rebuild_or_buy
from repairecon.records import DAYS_A_YEAR, Item, Movement, Passage, Range, RepaireconError, SpareWish, UnitAboard
from repairecon.spares_aboard.boat_units import UNKNOWN, BoatAround, Renewals, Standing

Floats = NDArray[np.float64]
_SMALL = 1e-9
"""Chance of more than the numbers kept that may be left out."""
_LONG_ENOUGH_DAYS = 90.0
"""Days between two readings of a clock from which a pace is taken."""
_WITH_THE_ENGINE = 0.5
"""Share of the fastest clock's pace from which a unit is taken to run with the engine; a windlass is not."""
_NUMBERS = 40
"""How many more may be asked for than are there, as far as chances are kept."""
_DRAWS = 200
"""The years' averages are exact without any; the draws are for ranges that are not asked for here."""


@dataclass(frozen=True, kw_only=True)
class CaseWorth:
    """A whole unit's worth as spare from its own case over the years.

    ``worth`` over ``horizon_years`` (before the spare's cost) is that of ``combination``; ``failures`` discounted and
    of all like units; ``saved_each`` = worth / failures; ``failures_a_year`` of all like units.
    """

    item: str
    case: str
    combination: str
    worth: float
    horizon_years: float
    failures: float
    saved_each: float
    failures_a_year: float


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """What a passage may ask for: chances of 0, 1, 2, ... jobs that take the item, in ``units`` it serves.

    ``seen`` jobs in ``years`` of the book; ``ages`` are the years since each unit was renewed, as far as known.
    """

    chances: Floats
    mean: float
    source: str
    units: int
    seen: float = 0.0
    years: float = 0.0
    ages: tuple[float, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Record:
    """What the book's own movements show: what each job took of an item, pace of the clocks by unit [hours a year].

    A job is what was fitted to a unit on a day, or one using up; by item and by its mark (unit and day, or movement).
    """

    years: float
    jobs: Mapping[int, Mapping[tuple[str, str], float]]
    pace: Mapping[str, float]
    renewals: Renewals


@dataclass(frozen=True, kw_only=True)
class Line:
    """One item on its way to the carry list; quantities in pieces, or ``measured`` at a time; money in home money.

    A job takes ``pieces`` of it, and one job's worth of each item that is fitted ``together`` with it.
    """

    card: Item
    wanted: Wanted
    pieces: int
    measured: float
    together: tuple[str, ...]
    have: int
    price: float
    """nan where none is known: then none can be bought."""
    price_from: str
    cost_without: Range
    cost_from: str
    cost_left: float
    most: int
    p_useful: float
    tools_missing: tuple[str, ...]
    case: str


@dataclass(frozen=True, kw_only=True)
class Look:
    """What every item is looked at with."""

    items: Mapping[int, Item]
    passage: Passage
    days: float
    hours: float | None
    record: Record
    cases: Mapping[str, CaseWorth]
    defaults: Defaults
    today: datetime.date
    currency: str
    around: BoatAround | None

    def wish(self, card: Item) -> SpareWish:
        """What the owner says of an item."""
        return next((w for w in self.passage.items if w.item == card.name), SpareWish(item=card.name))

    def whole(self, card: Item) -> bool:
        """Whether an item is a unit complete."""
        return whole_unit(card, self.wish(card))

    @cached_property
    def covers(self) -> dict[str, tuple[tuple[str, ...], float]]:
        """What stands in for what, and the chance that it helps: as the owner says, else a whole unit for its parts.

        A part of a unit is an item for it and for no other unit; a belt, a fuse and the like stay when it is changed.
        """
        made, cards = {}, [c for c in self.items.values() if c.carried]
        for card in cards:
            wish = self.wish(card)
            covered, name = wish.covers, "p_useful_kit"
            if not covered and self.whole(card):
                covered, name = self._parts_of(card, cards), "p_useful_whole"
                if covered:
                    self.defaults.text("beside_a_unit")
            if covered:
                made[card.name] = covered, self.defaults.number(name) if wish.p_useful is None else wish.p_useful
        return made

    def _parts_of(self, whole: Item, cards: Sequence[Item]) -> tuple[str, ...]:
        beside = {w.strip() for w in str(self.defaults.peek("beside_a_unit")).split(",")}
        units = {key(u) for u in whole.units}
        parts = (c for c in cards if c.units and {key(u) for u in c.units} <= units and c.measure == "piece")
        names = (c.name for c in parts if not self.whole(c))
        return tuple(name for name in names if not beside & set(name.partition(",")[0].casefold().split()))

    def standing(self, card: Item) -> tuple[Standing, ...]:
        """The units that an item serves, as many as the owner says, with what is known of each."""
        like_units = self.wish(card).like_units
        if like_units or self.around is None or not card.units:
            return (UNKNOWN,) * (like_units or max(len(card.units), 1))
        renewed_by = {n for n, c in self.items.items() if card.name in (c.name, *self.covers.get(c.name, ((), 0))[0])}
        return self.around.standing(card, renewed_by, self.record.renewals)

    def price(self, card: Item, last: Movement | None) -> tuple[float, str]:
        """Price of one, nan where none is known, and where it is from."""
        yours = self.wish(card).price
        if yours is not None:
            return yours, "yours"
        if last and last.cost_unit is not None:
            return float(last.cost_unit), "paid"
        if self.around is None:
            return math.nan, ""
        units = {key(u) for u in card.units}
        kin = [c for c in self.items.values() if {key(u) for u in c.units} & units and not self.whole(c)]
        parts = sum(c.name not in self.covers and c.measure == "piece" for c in kin)
        return self.around.price(card, self.whole(card), parts) or (math.nan, "")


def line_of(look: Look, card: Item, aboard: tuple[float, float], last: Movement | None) -> Line | None:
    """An item as the carry list takes it, None for what is neither carried nor aboard.

    ``aboard``: how many lie there, and how many of them are in date; ``last`` is its last purchase.
    """
    wish = look.wish(card)
    if look.around is not None and any(u.critical for u in look.around.units_of(card)):
        card = replace(card, critical=True)
    if not (card.carried or aboard[0] or wish in look.passage.items):
        return None
    # pieces that a job takes; of what is measured, how much goes at a time, as one piece: the middle of the record
    took = list(look.record.jobs.get(card.number, {}).values())
    middle = float(np.median(took)) if took else 1.0
    pieces, each = (max(int(middle + 0.5), 1), 1.0) if card.measure == "piece" else (1, middle)
    have = math.floor(aboard[1] / each + 1e-9)
    wanted = _wanted(look, card, wish, have + _NUMBERS)
    cost, cost_from = _cost_without(look, card, wish)
    one, price_from = look.price(card, last)
    price, lacking, left = one * each, _tools_missing(look, card), 0.0
    if not math.isnan(price):  # what a new one loses by lying through the period unused: shelf life, money tied up
        start, rate = day_number(look.today), look.defaults.number("worth_lost_rate")
        left = float(valuation.cost_left_over(price, last_day(card, look.today), start, start + look.days, rate))
    useful = wish.p_useful if wish.p_useful is not None and not wish.covers else 1.0
    return Line(
        card=card, wanted=wanted, pieces=wish.at_a_time or pieces, measured=each, together=wish.together, have=have,
        price=price, price_from=price_from, cost_without=cost, cost_from=cost_from, cost_left=left,
        most=int(look.defaults.number("most_to_add")) if wish.most is None else wish.most,
        p_useful=0.0 if lacking else useful, tools_missing=lacking,
        case=look.cases[card.name].case if card.name in look.cases else "",
    )  # fmt: skip


def record_of(held: Sequence[Movement], units: Sequence[UnitAboard], today: datetime.date) -> Record:
    """Fitted and used, as it stands, over the years of the book."""
    first = min((m.on_date for m in held), default=today.isoformat())
    years = max((today - datetime.date.fromisoformat(first)).days, 0) / DAYS_A_YEAR
    jobs: dict[int, dict[tuple[str, str], float]] = defaultdict(lambda: defaultdict(float))
    clock = {u.name: float(u.hours) for u in units if u.hours is not None}
    readings = {u.name: [(u.hours_on, clock[u.name])] if u.name in clock and u.hours_on else [] for u in units}
    renewals: dict[tuple[int, str], list[tuple[str, float | None]]] = defaultdict(list)
    for m in held:
        if m.kind == "used":
            jobs[m.item_number]["", str(m.number)] += float(m.quantity)
        if m.kind == "fitted":
            jobs[m.item_number][m.unit, m.on_date] += float(m.quantity)
            now, then = clock.get(m.unit), None if m.hours is None else float(m.hours)
            run = None if now is None or then is None else max(now - then, 0.0)
            renewals[m.item_number, key(m.unit)].append((m.on_date, run))
            readings[m.unit] += [] if then is None else [(m.on_date, then)]
    paces: dict[str, float] = {}
    for name, seen in readings.items():
        (first, low), (last, high) = min(seen, default=("", 0.0)), max(seen, default=("", 0.0))
        if high > low:
            days = (datetime.date.fromisoformat(last) - datetime.date.fromisoformat(first)).days
            if days >= _LONG_ENOUGH_DAYS:
                paces[name] = (high - low) / days * DAYS_A_YEAR
    return Record(years=years, jobs=jobs, pace=paces, renewals=renewals)


def _wanted(look: Look, card: Item, wish: SpareWish, top: int) -> Wanted:
    """Chances of 0, 1, 2, ... jobs until a part can be had: by the case, a guess, or the book's own record."""
    if (case := look.cases.get(card.name)) is not None:
        mean = case.failures_a_year * (look.days / DAYS_A_YEAR)
        chances = _far_enough(lambda most: demand.poisson_demand(mean, most), top, card)
        return Wanted(chances=chances, mean=mean, source="case", units=1)
    if wish.failures_per_year or wish.failures_per_1000_hours:
        return _guessed(look, card, wish, top)
    return _learned(look, card, top)


def _far_enough(made: Callable[[int | None], Floats], top: int, card: Item) -> Floats:
    try:
        chances = made(top)
        return chances if 1.0 - chances.sum() < _SMALL else made(None)
    except ValueError as error:
        raise RepaireconError(
            f"{card.name}: more may be asked for than can be handled: check the days, the running hours and how "
            "often it fails"
        ) from error


def _guessed(look: Look, card: Item, wish: SpareWish, top: int) -> Wanted:
    chances, mean, units = np.ones(1), 0.0, look.standing(card)
    by_years = wish.failures_per_year, look.days / DAYS_A_YEAR, [1.0] * len(units)
    by_hours = wish.failures_per_1000_hours, (look.hours or 0.0) / 1000.0, [u.hours_a_year / 1000.0 for u in units]
    for guess, period, clock in (by_years, by_hours):
        if guess is None:
            continue
        if any(u.age is not None for u in units):
            ages = [None if u.age is None else u.age * c for u, c in zip(units, clock, strict=True)]
            values, weights = ranges.nodes(guess.low, guess.likely, guess.high, guess.shape)
            each = _worn(card, (values, weights, np.zeros(len(values))), period, ages, units)
            mean += float(np.arange(len(each)) @ each)
        else:
            r = guess.scaled(float(len(units)))
            made = partial(demand.guessed_demand, r.low, r.likely, r.high, period, r.shape)
            each = _far_enough(made, top, card)
            mean += float(ranges.mean(r.low, r.likely, r.high, r.shape)) * period
        chances = np.convolve(chances, each)
    return Wanted(chances=chances, mean=mean, source="guess", units=len(units), ages=_ages(units))


def _ages(units: Sequence[Standing]) -> tuple[float, ...]:
    return tuple(sorted(u.since for u in units if u.since is not None))


def _worn(
    card: Item, rates: tuple[Floats, Floats, Floats], period: float, ages: Sequence[float | None],
    units: Sequence[Standing],
) -> Floats:  # fmt: skip
    """Failures of units as old as they are, by rates with their weights and logarithms of what else weighs on them.

    A rate counts for as much as it is likely that all of them have stood until now.
    """
    values, weights, more = rates
    for age, unit in zip(ages, units, strict=True):
        if age is not None:
            more = more - (values * age * math.gamma(1.0 + 1.0 / unit.shape)) ** unit.shape
    seen = weights * np.exp(more - more.max())
    shapes = [u.shape for u in units]
    return _far_enough(lambda _: demand.worn_demand(values, seen / seen.sum(), period, ages, shapes), 0, card)


def _learned(look: Look, card: Item, top: int) -> Wanted:
    """Gamma view of the rate of one unit, sharpened by the record of all; by hours for what runs with the engine.

    What was fitted on the job of an item that this one is fitted together with is that item's want. Of a unit that was
    renewed on a known day the time since then counts by its wear; that before, as for all, by its failures a year. A
    whole unit is first thought to last as its kind does.
    """
    record, units = look.record, look.standing(card)
    leads = [w.item for w in look.passage.items if card.name in w.together]
    of_others = {mark for c in look.items.values() if c.name in leads for mark in record.jobs.get(c.number, ())}
    seen = len(record.jobs.get(card.number, {}).keys() - of_others)
    prior, prior_years = look.defaults.number("prior_failures"), 0.0
    if look.whole(card):
        prior_years = prior * next((u.life_years for u in units if u.life_years), 0.0)
    prior_years = prior_years or look.defaults.number("prior_years")
    ahead = _years_ahead(look, card)
    wanted = partial(Wanted, source="record", units=len(units), seen=seen, years=record.years, ages=_ages(units))
    ages = [u.age for u in units]
    if set(ages) != {None}:
        before = sum(record.years if u.since is None else max(record.years - u.since, 0.0) for u in units)
        stood = sum(age or 0.0 for age in ages)
        values, weights = demand.gamma_nodes(prior + seen, prior_years + before + stood)
        chances = _worn(card, (values, weights, values * stood), ahead, ages, units)
        return wanted(chances=chances, mean=float(np.arange(len(chances)) @ chances))
    known, exposure, ahead = prior + seen, prior_years + record.years * len(units), ahead * len(units)
    chances = _far_enough(lambda most: demand.uncertain_demand(known, exposure, ahead, most), top, card)
    return wanted(chances=chances, mean=float(known) * ahead / float(exposure))


def _years_ahead(look: Look, card: Item) -> float:
    """The period in years of the record: by the running hours for what runs with the engine, else by the calendar."""
    paces = look.record.pace
    pace = max((paces[u] for u in card.units if u in paces), default=0.0)
    if look.hours is not None and pace > 0.0 and pace >= _WITH_THE_ENGINE * max(paces.values()):
        return look.hours / pace
    return look.days / DAYS_A_YEAR


def _cost_without(look: Look, card: Item, wish: SpareWish) -> tuple[Range, str]:
    said = look.passage.cost_without
    if (case := look.cases.get(card.name)) is not None:
        return Range(case.saved_each, case.saved_each, case.saved_each), "case"
    if wish.cost_without is not None:
        return wish.cost_without, "item"
    if card.system in said:
        return said[card.system], "system"
    name = CRITICAL if card.critical else OTHER
    if name in said:
        return said[name], name
    exchange = look.around.papers.exchange if look.around else {}
    return look.defaults.money(f"cost_without_{name}", "each time", look.currency, exchange), "assumed"


def _tools_missing(look: Look, card: Item) -> tuple[str, ...]:
    """Tools that fitting it takes and that the owner does not name; gaskets and the like are spares, no tools."""
    if look.passage.tools is None:
        return ()
    there = {t.casefold() for t in look.passage.tools}
    names = [i.name.casefold() for i in look.items.values()]
    needs = [n.strip() for n in card.needs.replace(";", ",").split(",") if n.strip()]
    return tuple(n for n in needs if n.casefold() not in there and not any(n.casefold() in name for name in names))


def case_worth(wish: SpareWish) -> CaseWorth:
    """Worth of the spare over the case's years, by the pair of highest net worth; and what it saves at each failure.

    RepaireconError if the case looks no years ahead, or has no way that ends with a spare.
    """
    folder = Path(wish.case)
    horizon = rebuild_or_buy(read_case(folder, years=True), _DRAWS).horizon  # the rest of that job is not worked out
    years, ways = horizon.years, horizon.model.ways
    pairs = [c for c in horizon.spares if c.combination in ways]
    if not pairs:
        raise RepaireconError(
            f"passage.toml: {wish.item}: the case {folder.name} tells no worth of a spare: give it years to look ahead "
            "(horizon_years) and a way that ends with a spare, or write cost_without instead of case"
        )
    best = max(pairs, key=lambda c: c.net)
    of_way = horizon.ledger.failures[ways.index(best.combination)]
    failures = of_way.discounted * years.like_units
    return CaseWorth(
        item=wish.item, case=folder.name, combination=best.combination, worth=best.worth,
        horizon_years=years.horizon_years, failures=failures,
        saved_each=best.worth / failures if failures > 0.0 else 0.0,
        failures_a_year=of_way.expected * years.like_units / years.horizon_years,
    )  # fmt: skip
