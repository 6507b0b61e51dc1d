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
from repairecon.rebuild_or_buy.sensitivity import DAY, HOUR, Number, choice
from repairecon.rebuild_or_buy.tree import Floats
from repairecon.records import STAGES, Case
from repairecon.show.words import days_words, money, tenths

DIALS = 5
"""Numbers that may be moved: more would hide those that matter."""
DRAWS = 64
"""Draws for the sentences of an answer, whose means are exact."""
_REACH = 3.0


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
    _answers: dict[str, Answer] = field(default_factory=dict, init=False, repr=False, compare=False)

    def reset(self) -> None:
        """Everything as the case has it."""
        self.values, self.found, self.off, self.cash_at_most, self.within_days = {}, {}, set(), None, None

    @property
    def answer(self) -> Answer:
        """The answer of the case with what is found."""
        said = [f"{event}={outcome}" for event, outcome in sorted(self.found.items())]
        kept = "; ".join(filter(None, (self.case.found, *said)))
        if kept not in self._answers:
            self._answers[kept] = rebuild_or_buy(self.case, DRAWS, 1, found=kept)
        return self._answers[kept]

    @cached_property
    def dials(self) -> tuple[Number, ...]:
        """Numbers that may be moved from ``low`` to ``high``: the owner's own figures, then those that turn the choice
        soonest, then those that move it most."""
        start = rebuild_or_buy(self.case, DRAWS, 1)
        numbers = {n.name: n for n in start.numbers}
        turns = {f.number: f.value_flip for f in start.flips}
        names = dict.fromkeys([HOUR, DAY, *turns, *(s.number for s in start.swings)])
        return tuple(_dial(numbers[name], turns.get(name)) for name in list(names)[:DIALS])

    @property
    def events(self) -> dict[str, list[str]]:
        """What may be found, by event: of those that show at the bench."""
        made: dict[str, dict[str, None]] = {}
        for b in self.case.branches:
            if b.seen_at in STAGES[:4]:
                made.setdefault(b.event, {})[b.outcome] = None
        return {event: list(outcomes) for event, outcomes in made.items() if len(outcomes) > 1}

    # ---- what comes out ------------------------------------------------------------------------
    @property
    def expected(self) -> Floats:
        """Cash, own hours, days and total of each way (W, 4), exact; ways that may not be taken at infinity."""
        return self.with_values(self.values)

    def with_values(self, values: Mapping[str, float]) -> Floats:
        """The same with other values of the dials."""
        model, dials = self.answer.model, {d.name for d in self.dials}
        moved = [n for n in self.answer.numbers if n.index >= 0 and n.name in dials and n.name in values]
        factors = {n.index: values[n.name] / n.now for n in moved}
        rows = choice(model, factors, hour=values.get(HOUR), day=values.get(DAY))
        closed = np.array([w in self.off for w in model.ways])
        for column, most in ((0, self.cash_at_most), (2, self.within_days)):
            closed |= rows[:, column] > (np.inf if most is None else most)
        rows[closed, 3] = np.inf
        return rows

    @property
    def _moved(self) -> list[Number]:
        return [d for d in self.dials if self.values.get(d.name, d.now) != d.now]

    @property
    def touched(self) -> bool:
        """Whether anything but findings is other than in the case."""
        return bool(self.off or self._moved) or self.cash_at_most is not None or self.within_days is not None

    @property
    def said(self) -> list[str]:
        """What to do: the advice of the case as it stands, else the cheapest way with these figures."""
        if not self.touched:
            return headline.advice(self.answer)[:2]
        rows, ways, currency = self.expected, self.answer.model.ways, self.case.terms.currency
        order = [int(i) for i in np.argsort(rows[:, 3], kind="stable") if np.isfinite(rows[i, 3])]
        if not order:
            return ["No way is left: allow one more, or more money or days."]
        best, others = order[0], order[1:]
        first = f"With these figures take {ways[best]}, chosen for good now."
        comes = f"It comes to {money(rows[best, 3], currency)} all in on average, {days_words(rows[best, 2])}"
        if not others:
            return [first, f"{comes}; no other way is left."]
        gap = money(rows[others[0], 3] - rows[best, 3], currency)
        return [first, f"{comes}, {gap} less than {ways[others[0]]}."]

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

        Returns the copy, and the dials that stand elsewhere, with where, which are not written.
        """
        figures = (("owner", "cost_own_hour", self.values.get(HOUR)), ("owner", "cost_lost_day", self.values.get(DAY)),
                   ("needed", "within_days", self.within_days), ("owner", "cap_cost", self.cash_at_most))  # fmt: skip
        sections: dict[str, dict[str, str | float]] = {"found": dict(self.found), "owner": {}, "needed": {}}
        for section, name, value in figures:
            if value is not None:
                sections[section][name] = value
        others = [d for d in self._moved if d.name not in (HOUR, DAY)]
        elsewhere = [f"{d.name}: {tenths(self.values[d.name])} {d.unit} ({d.source})" for d in others]
        return keep_changes(folder, sections), elsewhere


def _dial(number: Number, turns: float | None) -> Number:
    """Round the number's own range and where it turns, so that both can be reached."""
    ends = [number.low, number.high, number.now]
    if turns is not None and turns <= _REACH * max(number.now, number.high, 1.0):
        ends.append(turns * 1.05)
    high = max(ends) if max(ends) > min(ends) else max(_REACH * number.now, 30.0)
    low = min(*ends, 0.8 * (turns or number.low))
    return replace(number, low=low, high=high)
