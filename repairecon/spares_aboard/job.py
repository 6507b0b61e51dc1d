"""The job spares-aboard: what is aboard, where, what it is worth, what expires, what to buy and to carry."""

from __future__ import annotations

import datetime
import math
import os
from collections.abc import Mapping

from repairecon.book.spares_book import SparesBook, book_at, passage_for
from repairecon.read import values
from repairecon.read.passage_toml import PERIOD, PassageDefaults
from repairecon.read.values import Misread
from repairecon.records import Passage, RepaireconError
from repairecon.spares_aboard.answer import Limits, Period, SparesAnswer, read_all

Day = datetime.date | str | None


def spares_aboard(
    book: SparesBook | str | os.PathLike[str],
    passage: Passage | None = None,
    *,
    today: Day = None,
    **numbers: float | None,
) -> SparesAnswer:
    """Look at a spares book; what the answer holds is worked out when it is asked for.

    Parameters
    ----------
    book
        A spares book: open, or the file, or a folder of CSV files. Nothing is written.
    passage
        What the owner says of the passage; by default what passage.toml beside the book says.
    today
        The day of the list; by default that of the passage, else of the clock.
    numbers
        Before those of the passage: ``passage_days``, ``running_hours`` of the engine in it, ``resupply_days`` after
        it until a part can be had; ``budget``, money to spend at most (without one, all that is worth its price);
        ``weight_kg`` and ``room_litres`` that may be added at most, as far as the cards tell them.

    Returns
    -------
    SparesAnswer
        What is there, its worth, what expires, what to carry.

    Raises
    ------
    RepaireconError
        If a number is none to go by; PassageError with every fault of passage.toml.
    """
    _check(numbers)
    if not isinstance(book, SparesBook):
        with book_at(book) as opened:
            said = passage_for(book, opened) if passage is None else passage
            return spares_aboard(opened, said, today=today, **numbers)
    said = passage_for(book.ledger.path, book) if passage is None else passage
    given = {name: value for name, value in numbers.items() if value is not None}
    period = _period(said, given, _day(today or said.today, book))
    limits = Limits(
        budget=given.get("budget", said.budget), weight_kg=given.get("weight_kg", said.weight_kg),
        room_litres=given.get("room_litres", said.room_litres),
    )  # fmt: skip
    return SparesAnswer(read_all(book), said, period, limits)


NUMBERS = ("passage_days", "running_hours", "resupply_days", "budget", "weight_kg", "room_litres")


def _check(numbers: Mapping[str, float | None]) -> None:
    for name in numbers:
        if name not in NUMBERS:
            raise TypeError(f"spares_aboard() has no number {name!r}: {', '.join(NUMBERS)}")
    wrong = []
    for name, value in numbers.items():
        most = PERIOD.high if name in ("passage_days", "resupply_days") else 1e12
        if value is not None and not (math.isfinite(value) and 0.0 <= value <= most):
            wrong.append(f"{name}: found {value}; write a number of 0 or more")
    if wrong:
        raise RepaireconError("\n".join(wrong))


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


def _period(said: Passage, given: Mapping[str, float], today: datetime.date) -> Period:
    defaults = PassageDefaults()

    def first(name: str, of_passage: float | None) -> float:
        value = given.get(name, of_passage)
        return defaults.number(name) if value is None else value

    days = first("passage_days", said.days)
    whole = days + first("resupply_days", said.resupply_days)
    hours = given.get("running_hours", said.running_hours)
    return Period(today=today, passage=days, whole=whole, hours=hours, assumed=defaults.used)
