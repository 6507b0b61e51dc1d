"""What a case says that may be a slip of the pen: remarks, never refusals. The rules are rows of look_again.csv."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, replace

from repairecon.read.look_again_figures import Fact, Looked, case_facts, rules
from repairecon.read.problems import key
from repairecon.read.values import listed, plain
from repairecon.records import Case, Source

_ALIKE = 3
_TO_NEW, _CLOCK = "against new", "today against the clock"


@dataclass(frozen=True)
class Remark:
    """Something worth a second look.

    ``rule`` is the word by which ``checked`` in case.toml acknowledges it, alone or with the name of the row
    (``part price: impeller``); ``could_turn`` tells whether it may turn the advice.
    """

    rule: str
    where: Source
    what: str
    could_turn: bool
    acknowledged: bool


def look_again(case: Case, today: str = "") -> tuple[Remark, ...]:
    """Everything in a case that is worth a second look, what may turn the advice first; acknowledged ones are marked.

    ``today`` is what the clock says, year-month-day, blank for that of this machine. Dates are held against the day
    that the case states for its order, else against this one.
    """
    on = Looked(case, today)
    checked = {key(word) for word in listed(case.checked)}
    found: dict[tuple[str, bool], dict[tuple[Source, str], Remark]] = {}

    def take(alike: str, rule: str, name: str, where: Source, said: str, turns: bool = True) -> None:
        known = not checked.isdisjoint((key(rule), key(f"{rule}: {name}")))
        remark = Remark(rule=rule, where=where, what=said, could_turn=turns, acknowledged=known)
        found.setdefault((alike, known), {}).setdefault((where, said), remark)

    for fact in case_facts(on):
        row = rules()[fact.quantity]
        if said := _said(row, fact, on.clock if fact.quantity == _CLOCK else on.today):
            alike = _TO_NEW if fact.quantity.endswith(_TO_NEW) else fact.quantity
            take(alike, row["rule"], fact.name, fact.where, said, row["turns"] == "yes")
    for file, note in case.notes.items():
        if ":" not in file:  # of a file, not of one of its rows
            take(file, "file", file, Source(file), f"{file}: {note}.")
    folded: list[Remark] = []
    for (_, known), same in found.items():
        first = max(same.values(), key=lambda r: r.could_turn)
        # a slip in one figure that all are compared with makes one remark, not one a row
        one = replace(first, what=f"{first.what} (And {len(same) - 1} more like it.)")
        folded += same.values() if len(same) <= _ALIKE or known else [one]
    return tuple(sorted(folded, key=lambda r: (r.acknowledged, not r.could_turn)))


def _said(row: Mapping[str, str], fact: Fact, today: datetime.date) -> str:
    """The sentence of a rule that the quantity breaks; empty if it keeps it."""
    below = row["below"] and fact.value < float(row["below"])
    above = row["above"] and fact.value > float(row["above"])
    if not below and not above:
        return ""
    shown = fact.value if fact.shown is None else fact.shown
    sentence = row["says_below" if below else "says_above"].format(
        name=fact.name, shown=_figure(shown) if isinstance(shown, float | int) else shown, shown_text=shown,
        against="" if fact.against is None else _figure(fact.against), today=today.isoformat(),
    )  # fmt: skip
    return sentence[:1].upper() + sentence[1:]


def _figure(value: float) -> str:
    """A figure as its owner wrote it; what tax or a rate has made of it is cut, not rounded, to what can be read."""
    text = plain(value)
    whole, _, rest = text.partition(".")
    if not rest or "e" in text:
        return text
    zeros = len(rest) - len(rest.lstrip("0"))
    return whole if abs(value) >= 100 else f"{whole}.{rest[: max(2, zeros + 2 if whole.lstrip('-') == '0' else 0)]}"
