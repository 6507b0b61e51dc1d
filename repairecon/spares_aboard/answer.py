"""What the job spares-aboard finds, as one frozen record."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

import pandas as pd

from repairecon.records import Assumed, Passage, ReorderLine


@dataclass(frozen=True)
class Risk:
    """Being without, with what is aboard now and with what is bought: anything critical short, cost on average."""

    p_critical_now: float
    p_critical_then: float
    cost_now: float
    cost_then: float


@dataclass(frozen=True)
class Worth:
    """What all the spares are worth [home money]: at cost, and less what is out of date.

    ``average`` moves with every purchase; ``average_by_year`` is that of each calendar year's opening stock and
    purchases (nan where a use is dated before its purchase); ``replacement`` is what they would cost at the last
    prices; ``unknown`` pieces came in at no known cost and count as nothing.
    """

    fifo: float
    average: float
    average_by_year: float
    written_down: float
    replacement: float
    unknown: float


@dataclass(frozen=True)
class CaseWorth:
    """A whole unit's worth as spare from its own case, by the reckoning over the years.

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


@dataclass(frozen=True)
class SparesAnswer:
    """All that the job found.

    ``holdings`` has a row an item and locker; ``by_locker``, ``by_system``, ``by_date`` sum the value (first in first
    out, average, written_down); ``receipts`` is what is left of each purchase with its movement. ``shelf`` has a row a
    lot of rubber, ``expiring`` those that are over or run out before the passage ends, ``turning`` the whole units and
    when to turn them. ``carry`` has a row an item: have, buy, carry, p_short before and after, worth, cost.
    ``budget_curve`` a row a purchase in the best order. ``missing`` what is worth having and is not bought, ``surplus``
    what costs more by lying there than it saves, ``insurance`` a list for an insurer.
    """

    boat: str
    currency: str
    figures: str
    today: datetime.date
    until: datetime.date
    passage: Passage
    passage_days: float
    period_days: float
    running_hours: float | None
    budget: float | None
    worth: Worth
    holdings: pd.DataFrame
    receipts: pd.DataFrame
    by_locker: pd.DataFrame
    by_system: pd.DataFrame
    by_date: pd.DataFrame
    below_minimum: tuple[ReorderLine, ...]
    shelf: pd.DataFrame
    expiring: pd.DataFrame
    turning: pd.DataFrame
    carry: pd.DataFrame
    budget_curve: pd.DataFrame
    missing: pd.DataFrame
    surplus: pd.DataFrame
    insurance: pd.DataFrame
    cases: tuple[CaseWorth, ...]
    spend: float
    most_lost: float
    risk: Risk
    joint: bool
    assumed: tuple[Assumed, ...]
