"""Part of the job spares-aboard: how many of each item a passage may ask for, and what being without costs."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from repairecon.book.spares_book import SparesBook
from repairecon.formulas import demand, ranges
from repairecon.read.passage_toml import CRITICAL, OTHER, PassageDefaults
from repairecon.records import Item, Movement, Passage, Range, RepaireconError, SpareWish
from repairecon.spares_aboard.answer import CaseWorth

Floats = NDArray[np.float64]
YEAR = 365.25
SMALL = 1e-9
"""Chance of more than the numbers kept that may be left out."""
LONG_ENOUGH_DAYS = 90.0
"""Days between two readings of a clock from which a pace is told."""
WITH_THE_ENGINE = 0.5
"""Share of the fastest clock's pace from which a unit is taken to run with the engine; a windlass is not."""


@dataclass(frozen=True)
class Wanted:
    """What a passage may ask for of one item: chances of 0, 1, 2, ... of so many ``at_a_time``.

    ``seen`` times in ``years`` of the book (or ``hours`` of running, where the period ahead is told in hours).
    """

    chances: Floats
    mean: float
    source: str
    at_a_time: float
    seen: float = 0.0
    years: float = 0.0
    hours: float | None = None


@dataclass(frozen=True)
class Record:
    """What the book's own movements tell of use: times and quantities by item, pace of the clocks by unit."""

    years: float
    used: Mapping[int, list[float]]
    pace: Mapping[str, float]
    """Running hours a year of each unit with a clock."""


def record_of(
    book: SparesBook, movements: tuple[Movement, ...], stands: NDArray[np.bool_], today: datetime.date
) -> Record:
    """Fitted and used, as it stands, over the years of the book."""
    held = [m for m in movements if stands[m.number - 1]]
    first = min((m.on_date for m in held), default=today.isoformat())
    years = max((today - datetime.date.fromisoformat(first)).days, 0) / YEAR
    used: dict[int, list[float]] = {}
    readings: dict[str, list[tuple[str, float]]] = {u.name: [] for u in book.units()}
    for m in held:
        if m.kind in ("fitted", "used"):
            used.setdefault(m.item_number, []).append(float(m.quantity))
        if m.kind == "fitted" and m.hours is not None:
            readings[m.unit].append((m.on_date, float(m.hours)))
    for unit in book.units():
        if unit.hours is not None and unit.hours_on:
            readings[unit.name].append((unit.hours_on, float(unit.hours)))
    paces = {name: pace for name, seen in readings.items() if (pace := _pace(seen)) > 0.0}
    return Record(years, used, paces)


def _pace(seen: list[tuple[str, float]]) -> float:
    if len(seen) < 2:
        return 0.0
    (first, low), (last, high) = min(seen), max(seen)
    days = (datetime.date.fromisoformat(last) - datetime.date.fromisoformat(first)).days
    return (high - low) / days * YEAR if days >= LONG_ENOUGH_DAYS and high > low else 0.0


def at_a_time(card: Item, used: list[float]) -> float:
    """How much goes at a time: a piece; of what is measured, the middle of what went so far."""
    if card.measure == "piece":
        return 1.0
    return float(np.median(used)) if used else 1.0


def wanted(
    card: Item, wish: SpareWish | None, case: CaseWorth | None, record: Record, days: float, hours: float | None,
    defaults: PassageDefaults, top: int,
) -> Wanted:  # fmt: skip
    """Chances of 0, 1, 2, ... wanted until a part can be had: by the case, a guess, or the book's own record."""
    used = record.used.get(card.number, [])
    each = at_a_time(card, used)
    years = days / YEAR
    if case is not None:
        mean = case.failures_a_year * years
        chances = _far_enough(lambda most: demand.poisson_demand(mean, most), top, card)
        return Wanted(chances, mean, "case", each)
    if wish is not None and (wish.failures_per_year or wish.failures_per_1000_hours):
        return _guessed(card, wish, years, hours, each, top)
    return _learned(card, used, each, record, years, hours, defaults, top)


def _far_enough(made: Callable[[int | None], Floats], top: int, card: Item) -> Floats:
    """Chances up to ``top``, or as far as they go."""
    chances = made(top)
    if 1.0 - chances.sum() < SMALL:
        return chances
    try:
        return made(None)
    except ValueError as error:
        raise RepaireconError(
            f"{card.name}: more may be asked for than can be reckoned with: check the days, the running hours and how "
            "often it fails"
        ) from error


def _guessed(card: Item, wish: SpareWish, years: float, hours: float | None, each: float, top: int) -> Wanted:
    chances, mean = np.ones(1), 0.0
    ahead = ((wish.failures_per_year, years), (wish.failures_per_1000_hours, (hours or 0.0) / 1000.0))
    for guess, period in ahead:
        if guess is not None:
            r = guess.scaled(float(wish.like_units))
            more = _far_enough(_guess(r, period), top, card)
            chances = np.convolve(chances, more)
            mean += float(ranges.mean(r.low, r.likely, r.high, r.shape)) * period
    return Wanted(chances, mean, "guess", each)


def _guess(r: Range, period: float) -> Callable[[int | None], Floats]:
    return lambda most: demand.guessed_demand(r.low, r.likely, r.high, period, r.shape, most)


def _learned(
    card: Item, used: list[float], each: float, record: Record, years: float, hours: float | None,
    defaults: PassageDefaults, top: int,
) -> Wanted:  # fmt: skip
    """Gamma view of the rate, sharpened by the book's record; by running hours for what runs with the engine."""
    seen = sum(used) / each
    prior, prior_years = defaults.number("prior_failures"), defaults.number("prior_years")
    known, exposure = demand.learned_rate(seen, record.years, prior, prior_years)
    pace = max((record.pace[u] for u in card.units if u in record.pace), default=0.0)
    engine = max(record.pace.values(), default=0.0)
    by_clock = hours is not None and pace > 0.0 and pace >= WITH_THE_ENGINE * engine
    ahead = (hours or 0.0) / pace if by_clock else years
    chances = _far_enough(lambda most: demand.uncertain_demand(known, exposure, ahead, most), top, card)
    mean = float(known) * ahead / float(exposure)
    return Wanted(chances, mean, "record", each, seen, record.years, record.years * pace if by_clock else None)


def cost_without(
    card: Item, wish: SpareWish | None, case: CaseWorth | None, passage: Passage, defaults: PassageDefaults
) -> tuple[Range, str]:
    """What it costs each time one is wanted and not there, and where that is from."""
    if case is not None:
        return Range(case.saved_each, case.saved_each, case.saved_each), "case"
    if wish is not None and wish.cost_without is not None:
        return wish.cost_without, "item"
    if card.system in passage.cost_without:
        return passage.cost_without[card.system], "system"
    name = CRITICAL if card.critical else OTHER
    if name in passage.cost_without:
        return passage.cost_without[name], name
    return defaults.range(f"cost_without_{name}"), "assumed"
