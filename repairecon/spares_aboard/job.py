"""The job spares-aboard: what is aboard, where, what it is worth, what expires, what to buy and to carry."""

from __future__ import annotations

import datetime
import math
import os
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from repairecon.book.book_place import book_at, passage_for
from repairecon.book.spares_book import SparesBook
from repairecon.buying.inputs import mean_of
from repairecon.formulas import carry, shelf
from repairecon.read import values
from repairecon.read.passage_toml import PERIOD, PassageDefaults
from repairecon.read.values import Misread
from repairecon.records import Item, Passage, RepaireconError, SpareWish
from repairecon.spares_aboard import carry as aboard_carry
from repairecon.spares_aboard import dates as aboard_dates
from repairecon.spares_aboard import demand as aboard_demand
from repairecon.spares_aboard import value as aboard_value
from repairecon.spares_aboard.answer import CaseWorth, SparesAnswer, Worth
from repairecon.spares_aboard.carry import Line
from repairecon.spares_aboard.case_use import case_worth
from repairecon.spares_aboard.dates import day_number

Day = datetime.date | str | None
SPARE_NUMBERS = 40
"""How many more may be asked for than are there, as far as chances are kept."""


@dataclass(frozen=True)
class _Period:
    """The passage in days, and the longer time until a part can be had."""

    today: datetime.date
    passage: float
    whole: float
    hours: float | None

    @property
    def until(self) -> datetime.date:
        return self.today + datetime.timedelta(days=math.ceil(self.passage))


def spares_aboard(
    book: SparesBook | str | os.PathLike[str],
    passage: Passage | None = None,
    *,
    today: Day = None,
    passage_days: float | None = None,
    running_hours: float | None = None,
    resupply_days: float | None = None,
    budget: float | None = None,
    weight_kg: float | None = None,
    room_litres: float | None = None,
) -> SparesAnswer:
    """Reckon a spares book.

    Parameters
    ----------
    book
        A spares book: open, or the file, or a folder of CSV files. Nothing is written.
    passage
        What the owner says of the passage; by default what passage.toml beside the book says.
    today
        The day of the list; by default that of the passage, else of the clock.
    passage_days, running_hours, resupply_days
        Days of the passage or season, running hours of the engine in it, days after it until a part can be had.
    budget
        Money to spend on spares at most; without one, all that is worth its price.
    weight_kg, room_litres
        Weight that may be added and room that may be taken at most, as far as the cards tell them.

    Returns
    -------
    SparesAnswer
        What is there, its worth, what expires, what to carry.

    Raises
    ------
    RepaireconError
        If a number is none that can be reckoned with; PassageError with every fault of passage.toml.
    """
    numbers = {"passage_days": passage_days, "running_hours": running_hours, "resupply_days": resupply_days,
               "budget": budget, "weight_kg": weight_kg, "room_litres": room_litres}  # fmt: skip
    _check(numbers)
    if not isinstance(book, SparesBook):
        with book_at(book) as opened:
            told = passage_for(book, opened) if passage is None else passage
            return spares_aboard(opened, told, today=today, **numbers)
    told = passage_for(book.ledger.path, book) if passage is None else passage
    defaults = PassageDefaults()
    period = _period(told, numbers, _day(today or told.today, book), defaults)
    items = {i.number: i for i in book.items()}
    wishes = {w.item: w for w in told.items}
    movements = book.movements()
    came = {m.number: m for m in movements}
    table = aboard_dates.shelf_table(book.lots(), items, came, wishes, period.today, period.until)
    valued = aboard_value.value(book, items)
    held = aboard_value.holdings(book, items, valued, aboard_dates.worthless(table))
    cases = tuple(case_worth(w) for w in told.items if w.case)
    record = aboard_demand.record_of(book, movements, _stands(book), period.today)
    money = told.budget if budget is None else budget
    weight = told.weight_kg if weight_kg is None else weight_kg
    room = told.room_litres if room_litres is None else room_litres
    lines = _lines(items, held, told, wishes, cases, record, period, defaults, valued, aboard_dates.out_of_date(table))
    covers = {w.item: (w.covers, _p_useful(w, defaults)) for w in told.items if w.covers}
    assurance = told.assurance if told.assurance is not None else defaults.number("assurance")
    found = aboard_carry.reckon(lines, money, weight, room, covers, assurance)
    insured = aboard_value.insurance(items, held)
    return SparesAnswer(
        boat=book.about.get("boat", "") or book.ledger.path.stem,
        currency=book.about.get("home_currency", "EUR"),
        figures=book.about.get("figures", ""),
        today=period.today,
        until=period.until,
        passage=told,
        passage_days=period.passage,
        period_days=period.whole,
        running_hours=period.hours,
        budget=money,
        worth=_worth(held, insured, valued),
        holdings=held,
        receipts=valued.receipts,
        by_locker=aboard_value.by(held, "locker"),
        by_system=aboard_value.by(held, "system"),
        by_date=aboard_value.by_date(valued.receipts),
        below_minimum=book.reorder_list(),
        shelf=table,
        expiring=table[table["state"] != aboard_dates.FIT].reset_index(drop=True),
        turning=aboard_dates.turning_table(book, items, wishes, defaults, period.until),
        carry=found.carry,
        budget_curve=found.curve,
        missing=found.missing,
        surplus=found.surplus,
        insurance=insured,
        cases=cases,
        spend=found.spend,
        most_lost=found.most_lost,
        risk=found.risk,
        joint=bool(covers) or weight is not None or room is not None,
        assumed=defaults.used,
    )


def _check(numbers: Mapping[str, float | None]) -> None:
    wrong = [n for n, v in numbers.items() if v is not None and not (math.isfinite(v) and 0.0 <= v <= 1e12)]
    wrong += [n for n in ("passage_days", "resupply_days") if (numbers[n] or 0.0) > PERIOD.high and n not in wrong]
    if wrong:
        raise RepaireconError("\n".join(f"{n}: found {numbers[n]}; write a number of 0 or more" for n in wrong))


def _day(today: Day, book: SparesBook) -> datetime.date:
    if not today:
        return book.ledger.today()
    read = values.date(today)
    if isinstance(read, Misread):
        raise RepaireconError(f"today: found {str(today)!r}; {read.write}")
    day = datetime.date.fromisoformat(read)
    if not 1950 <= day.year <= 2200:
        raise RepaireconError(f"today: found {read}; write a day between 1950 and 2200")
    return day


def _period(
    told: Passage, given: Mapping[str, float | None], today: datetime.date, defaults: PassageDefaults
) -> _Period:
    def first(name: str, said: float | None) -> float:
        value = given[name] if given[name] is not None else said
        return defaults.number(name) if value is None else value

    days = first("passage_days", told.days)
    hours = given["running_hours"] if given["running_hours"] is not None else told.running_hours
    return _Period(today, days, days + first("resupply_days", told.resupply_days), hours)


def _stands(book: SparesBook) -> Any:
    return book.columns()["stands"]


def _worth(held: pd.DataFrame, insured: pd.DataFrame, valued: aboard_value.Valued) -> Worth:
    fifo, average, down = (float(held[name].sum()) for name in ("fifo", "average", "written_down"))
    unknown = sum(valued.unknown.values())
    return Worth(fifo, average, valued.average_by_year, down, float(insured["replacement"].sum()), unknown)


def _p_useful(wish: SpareWish, defaults: PassageDefaults) -> float:
    return wish.p_useful if wish.p_useful is not None else defaults.number("p_useful_kit")


def _lines(
    items: Mapping[int, Item], held: pd.DataFrame, told: Passage, wishes: Mapping[str, SpareWish],
    cases: tuple[CaseWorth, ...], record: aboard_demand.Record, period: _Period, defaults: PassageDefaults,
    valued: aboard_value.Valued, late: Mapping[tuple[int, str], float],
) -> list[Line]:  # fmt: skip
    """Every item that is still carried, or lies aboard, as the carry list takes it."""
    here = held[held["locker_kind"] == "aboard"]
    aboard = {int(str(k)): float(v) for k, v in here.groupby("number")["quantity"].sum().items()}
    lockers = set(here["locker"])
    stale: dict[int, float] = {}
    for (number, locker), quantity in late.items():
        stale[number] = stale.get(number, 0.0) + (quantity if locker in lockers else 0.0)
    by_case = {c.item: c for c in cases}
    made = []
    for card in items.values():
        wish, lying = wishes.get(card.name), aboard.get(card.number, 0.0)
        if not (card.carried or lying or wish):
            continue
        each = aboard_demand.at_a_time(card, record.used.get(card.number, []))
        have = math.floor(max(lying - stale.get(card.number, 0.0), 0.0) / each + 1e-9)
        case = by_case.get(card.name)
        wanted = aboard_demand.wanted(
            card, wish, case, record, period.whole, period.hours, defaults, have + SPARE_NUMBERS
        )
        cost, cost_from = aboard_demand.cost_without(card, wish, case, told, defaults)
        last = valued.last.get(card.number)
        paid = float(last.cost_unit) if last and last.cost_unit is not None else math.nan
        price = (wish.price if wish and wish.price is not None else paid) * each
        lacking = _tools_missing(card, told, items)
        p_useful = wish.p_useful if wish and wish.p_useful is not None and not wish.covers else 1.0
        made.append(Line(
            card, wanted, have, price, mean_of(cost), cost.low, cost.high, cost_from,
            _cost_left(card, price, period, defaults), _most(wish, defaults), (card.weight_kg or 0.0) * each,
            (card.volume_litres or 0.0) * each,
            0.0 if lacking else p_useful, lacking, case.case if case else "",
        ))  # fmt: skip
    return made


def _most(wish: SpareWish | None, defaults: PassageDefaults) -> int:
    return wish.most if wish and wish.most is not None else int(defaults.number("most_to_add"))


def _cost_left(card: Item, price: float, period: _Period, defaults: PassageDefaults) -> float:
    """What a new one loses by lying through the period unused: shelf life, resale, money tied up."""
    if math.isnan(price):
        return 0.0
    start, (initial, _) = day_number(period.today), aboard_dates.years_of(card)
    end = float(shelf.expiry_day(start, initial))
    lost = float(shelf.share_of_life_lost(end, start, start + period.whole))
    return float(carry.cost_left_over(price, lost, defaults.number("worth_lost_rate"), period.whole))


def _tools_missing(card: Item, told: Passage, items: Mapping[int, Item]) -> tuple[str, ...]:
    """Tools that fitting it takes and that the owner does not name; gaskets and the like are spares, no tools."""
    if told.tools is None:
        return ()
    there = {t.casefold() for t in told.tools}
    names = [i.name.casefold() for i in items.values()]
    needs = [n.strip() for n in card.needs.replace(";", ",").split(",") if n.strip()]
    return tuple(n for n in needs if n.casefold() not in there and not any(n.casefold() in name for name in names))

