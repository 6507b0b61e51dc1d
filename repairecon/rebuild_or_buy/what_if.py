"""What if: the few numbers that can turn the advice moved by hand, findings set, ways left out, a date and a budget.

All is worked out exactly at the means, in the time of drawing a picture; nothing is written until it is asked for.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path

import numpy as np

from repairecon.read.findings import keep_changes
from repairecon.rebuild_or_buy import headline
from repairecon.rebuild_or_buy.answer import Answer
from repairecon.rebuild_or_buy.job import rebuild_or_buy
from repairecon.rebuild_or_buy.sensitivity import Number
from repairecon.rebuild_or_buy.tree import Floats
from repairecon.records import STAGES, Case
from repairecon.show.words import days_words, money, tenths

DIALS = 5
"""Numbers that may be moved: more would hide those that matter."""

DRAWS = 64
"""Draws for the sentences of an answer, whose means are exact."""

HOUR, DAY = "worth of an own hour", "cost of a day out of service"
_REACH = 3.0


@dataclass(frozen=True)
class Dial:
    """A number that may be moved from ``low`` to ``high``; ``turns`` is where another way takes over, if anywhere."""

    name: str
    unit: str
    now: float
    low: float
    high: float
    source: str
    turns: float | None = None
    number: Number = field(repr=False, compare=False, kw_only=True)


@dataclass
class WhatIf:
    """A case with what the owner tries on it; change the fields, then ask for ``rows`` and ``said``.

    ``values`` by name of a dial, ``found`` an outcome by event, ``off`` ways left out, ``cash_at_most`` [home money]
    and ``within_days`` [days] what a way may take on average.
    """

    case: Case
    values: dict[str, float] = field(default_factory=dict)
    found: dict[str, str] = field(default_factory=dict)
    off: set[str] = field(default_factory=set)
    cash_at_most: float | None = None
    within_days: float | None = None

    def reset(self) -> None:
        """Everything as the case has it."""
        self.values, self.found, self.off, self.cash_at_most, self.within_days = {}, {}, set(), None, None

    @cached_property
    def _answers(self) -> dict[str, Answer]:
        return {}

    @property
    def answer(self) -> Answer:
        """The answer of the case with what is found."""
        said = "; ".join(f"{event}={outcome}" for event, outcome in sorted(self.found.items()))
        kept = "; ".join(filter(None, (self.case.found, said)))
        if kept not in self._answers:
            self._answers[kept] = rebuild_or_buy(self.case, DRAWS, 1, found=kept)
        return self._answers[kept]

    @cached_property
    def dials(self) -> tuple[Dial, ...]:
        """The owner's own figures, then the numbers that turn the choice soonest, then those that move it most."""
        start = rebuild_or_buy(self.case, DRAWS, 1)
        numbers = {n.name: n for n in start.numbers}
        turns = {f.number: f.value_flip for f in start.flips}
        names = dict.fromkeys([HOUR, DAY, *turns, *(s.number for s in start.swings)])
        return tuple(_dial(numbers[name], turns.get(name)) for name in list(names)[:DIALS])

    @property
    def events(self) -> dict[str, list[str]]:
        """What may be found, by event: of those that show at the bench."""
        made: dict[str, list[str]] = {}
        for b in self.case.branches:
            if b.seen_at in STAGES[:4]:
                outcomes = made.setdefault(b.event, [])
                outcomes += [b.outcome] if b.outcome not in outcomes else []
        return {event: outcomes for event, outcomes in made.items() if len(outcomes) > 1}

    # ---- what comes out ------------------------------------------------------------------------
    @property
    def expected(self) -> Floats:
        """Cash, own hours, days and total of each way (W, 4), exact; ways that may not be taken at infinity."""
        return self.with_values(self.values)

    def with_values(self, values: Mapping[str, float]) -> Floats:
        """The same with other values of the dials."""
        model, factors = self.answer.model, {}
        for dial in self.dials:
            x = next((n for n in self.answer.numbers if n.name == dial.name and n.index >= 0), None)
            if x is not None and dial.name in values:
                factors[x.index] = values[dial.name] / x.now
        hour, day = values.get(HOUR), values.get(DAY)
        three = model.expected(factors, hour, day)
        weights = 1.0, model.own_hour if hour is None else hour, model.lost_day if day is None else day
        totals = three @ np.array(weights)
        closed = ~model.allowed | np.array([w in self.off for w in model.ways])
        if self.cash_at_most is not None:
            closed |= three[:, 0] > self.cash_at_most
        if self.within_days is not None:
            closed |= three[:, 2] > self.within_days
        return np.column_stack([three, np.where(closed, np.inf, totals)])

    @property
    def touched(self) -> bool:
        """Whether anything but findings is other than in the case."""
        limited = self.cash_at_most is not None or self.within_days is not None
        return bool(self.off) or limited or any(self.values.get(d.name, d.now) != d.now for d in self.dials)

    @property
    def said(self) -> list[str]:
        """What to do: the advice of the case as it stands, else the cheapest way with these figures."""
        if not self.touched:
            return headline.advice(self.answer)[:2]
        rows, ways, currency = self.expected, self.answer.model.ways, self.case.terms.currency
        order = np.argsort(rows[:, 3], kind="stable")
        best, second = int(order[0]), int(order[1]) if len(order) > 1 else -1
        if not np.isfinite(rows[best, 3]):
            return ["No way is left: allow one more, or more money or days."]
        first = f"With these figures take {ways[best]}, chosen for good now."
        comes = f"It comes to {money(rows[best, 3], currency)} all in on average, {days_words(rows[best, 2])}"
        if second < 0 or not np.isfinite(rows[second, 3]):
            return [first, f"{comes}; no other way is left."]
        gap = money(rows[second, 3] - rows[best, 3], currency)
        return [first, f"{comes}, {gap} less than {ways[second]}."]

    def table(self) -> list[tuple[str, str, str, str, str]]:
        """Rows to be shown: way, cash, own hours, all in, days; the cheapest first, those left out last."""
        rows, currency = self.expected, self.case.terms.currency
        shown = []
        for i in np.argsort(rows[:, 3], kind="stable"):
            cash, hours, days, total = rows[i]
            all_in = money(total, currency) if np.isfinite(total) else "left out"
            shown.append((self.answer.model.ways[i], money(cash, currency), tenths(hours), all_in, tenths(days)))
        return shown

    # ---- on request alone ----------------------------------------------------------------------
    def keep(self, folder: str | os.PathLike[str]) -> tuple[Path, list[str]]:
        """Write what case.toml can hold of this, beside a copy of what was.

        Parameters
        ----------
        folder
            Folder of the case.

        Returns
        -------
        Path, list of str
            The copy; and the dials that stand elsewhere, with where, which are not written.
        """
        sections: dict[str, dict[str, str | float]] = {"found": dict(self.found), "owner": {}, "needed": {}}
        for name, column in ((HOUR, "cost_own_hour"), (DAY, "cost_lost_day")):
            if name in self.values:
                sections["owner"][column] = self.values[name]
        if self.within_days is not None:
            sections["needed"]["within_days"] = self.within_days
        if self.cash_at_most is not None:
            sections["owner"]["cap_cost"] = self.cash_at_most
        elsewhere = [
            f"{d.name}: {tenths(self.values[d.name])} {d.unit} ({d.source})"
            for d in self.dials
            if d.name not in (HOUR, DAY) and self.values.get(d.name, d.now) != d.now
        ]
        return keep_changes(folder, sections), elsewhere


def _dial(number: Number, turns: float | None) -> Dial:
    """Round the number's own range and where it turns, so that both can be reached."""
    ends = [number.low, number.high, number.now]
    if turns is not None and turns <= _REACH * max(number.now, number.high, 1.0):
        ends.append(turns * 1.05)
    high = max(ends) if max(ends) > min(ends) else max(_REACH * number.now, 30.0)
    low = min(*ends, 0.8 * (turns or number.low))
    return Dial(number.name, number.unit, number.now, low, high, number.source, turns, number=replace(number))
