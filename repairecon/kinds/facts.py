"""Everything that is known of one kind of unit, as typed records with the row each figure stands in."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from typing import Literal, cast

from repairecon.kinds.names import OwnRebuild
from repairecon.kinds.tables import of_kind, parts, rows, source, spread
from repairecon.records import Range, Source

Needed = Literal["always", "if found", "ashore"]
StillWorks = Literal["yes", "partly", "no"]
Mend = Literal["kit", "remedy", "fix", "end", "elsewhere"]
CarryOnRule = Literal["as long as watched", "until a date", "to the next port", "never"]


@dataclass(frozen=True)
class Task:
    """A piece of work: hours of a first-time amateur, of a professional, who does it, what it takes."""

    name: str
    stage: str
    by: str
    hours: Range
    hours_professional: float
    tools: tuple[str, ...]
    consumables: tuple[str, ...]
    needed: Needed
    source: Source


@dataclass(frozen=True)
class Failure:
    """What may stand behind a symptom; the chances of one symptom add up to 1.

    ``chain`` is what it damages next; ``mend`` how it is met: ``kit`` (the usual rebuild cures it), ``remedy`` (by the
    remedies of its ``findings``, likeliest first), ``fix`` (a small job without a rebuild: ``fix_share`` of the
    price of new and ``fix_hours``), ``end`` (past mending) or ``elsewhere`` (another thing is to blame).
    """

    symptom: str
    cause: str
    outcome: str
    this_unit: bool
    chance: Range
    seen_at: str
    chain: str
    findings: tuple[str, ...]
    mend: Mend
    fix_share: float
    fix_hours: float
    source: Source


@dataclass(frozen=True)
class Look:
    """A look or test, in the order a mechanic takes them; ``p_right`` is how often it shows what is the case."""

    symptom: str
    order: int
    name: str
    hours: float
    costs: str
    tells: str
    p_right: float
    source: Source


@dataclass(frozen=True)
class Remedy:
    """One way to meet a finding. Parts and outside work as shares of the price of new, ``life`` of a new one's."""

    finding: str
    name: str
    parts: str
    own_hours: float
    parts_share: Range
    outside_share: Range
    days: Range
    life: float
    not_allowed_when: str
    source: Source


@dataclass(frozen=True)
class Renewal:
    """A part that is never used again, and whether it is sold by a standard size."""

    part: str
    why: str
    generic: str
    usual_sizes: str
    source: Source


@dataclass(frozen=True)
class Ratio:
    """A price against the price of new (``pattern``: against the dearest of the same part)."""

    key: str
    share: Range
    note: str


@dataclass(frozen=True)
class CarryOn:
    """Whether a unit with a symptom may be nursed on, how long, what more breaks, and how to make it safe."""

    symptom: str
    when: str
    still_works: StillWorks
    may: CarryOnRule
    within_days: float | None
    why: str
    watch_for: str
    chance_fails: Range
    per: str
    chance_is_of: str
    what_more_breaks: str
    more_cost_share: Range
    makes_safe: str
    source: Source


@dataclass(frozen=True)
class Temporary:
    """A repair that gets the boat home; ``possible`` is False where there is none. Show ``said``: it holds the ban."""

    symptom: str
    name: str
    possible: bool
    takes: str
    own_hours: float
    cost_share: Range | None
    holds: Range | None
    holds_unit: str
    chance_holds: float
    not_allowed_when: str
    afterwards: str
    source: Source

    @property
    def said(self) -> str:
        """The repair together with its ban and what must follow."""
        ban = f" Not allowed: {self.not_allowed_when}." if self.not_allowed_when else ""
        after = f" Afterwards: {self.afterwards}." if self.afterwards else ""
        return f"{self.name.rstrip('.')}.{ban}{after}"


@dataclass(frozen=True)
class KindFacts:
    """All that is known of a kind. Lives are until half have failed, in years and in running hours."""

    kind: str
    other_names: tuple[str, ...]
    group: str
    safety_class: str
    own_rebuild: OwnRebuild
    why: str
    cautions: tuple[str, ...]
    notes: str
    life_years: Range | None
    life_hours: Range | None
    symptoms: tuple[str, ...]
    tasks: tuple[Task, ...]
    failures: tuple[Failure, ...]
    looks: tuple[Look, ...]
    remedies: tuple[Remedy, ...]
    always_renew: tuple[Renewal, ...]
    ratios: tuple[Ratio, ...]
    carry_on: tuple[CarryOn, ...]
    temporary: tuple[Temporary, ...]

    def ratio(self, key: str) -> Range | None:
        """The share of the price of new for kit, exchange, specialist, second-hand, pattern or main part."""
        return next((r.share for r in self.ratios if r.key == key), None)

    def failures_of(self, symptom: str) -> tuple[Failure, ...]:
        """What may stand behind one symptom."""
        return tuple(f for f in self.failures if f.symptom == symptom)

    def remedies_of(self, failure: Failure) -> tuple[Remedy, ...]:
        """The ways to meet a failure."""
        return tuple(r for finding in failure.findings for r in self.remedies if r.finding == finding)

    def looks_of(self, symptom: str) -> tuple[Look, ...]:
        """The looks of one symptom, first one first."""
        return tuple(look for look in self.looks if look.symptom == symptom)

    def carry_on_of(self, symptom: str, when: str = "") -> CarryOn:
        """How far one symptom may be nursed; the strictest row where the condition is not told."""
        found = [c for c in self.carry_on if c.symptom == symptom and (not when or c.when == when)]
        return min(found, key=lambda c: _STRICT.index(c.may))


_STRICT: tuple[CarryOnRule, ...] = ("never", "to the next port", "until a date", "as long as watched")


def kinds() -> tuple[str, ...]:
    """Names of all kinds that are known."""
    return tuple(row["kind"] for row in rows("kinds"))


@cache
def facts(kind: str) -> KindFacts:
    """Everything of a kind, read once.

    Parameters
    ----------
    kind : str
        One of ``kinds()``; a name as people write it goes through ``match_kind`` first.

    Returns
    -------
    KindFacts
        Hours in hours, waits in days, money as shares of the price of a new unit.
    """
    if kind not in kinds():
        raise KeyError(f"{kind!r} is no kind that is known here; kinds() lists them")
    ((line, row),) = of_kind("kinds", kind)
    where = source("kinds", line, row["life_source"])
    return KindFacts(
        kind=kind,
        other_names=parts(row["other_names"]),
        group=row["group"],
        safety_class=row["safety_class"],
        own_rebuild=cast(OwnRebuild, row["own_rebuild"]),
        why=row["why"],
        cautions=parts(row["cautions"]),
        notes=row["notes"],
        life_years=spread(row, "life_years", where),
        life_hours=spread(row, "life_hours", where),
        symptoms=tuple(r["symptom"] for _, r in of_kind("symptoms", kind)),
        tasks=_tasks(kind),
        failures=_failures(kind),
        looks=_looks(kind),
        remedies=_remedies(kind),
        always_renew=_renewals(kind),
        ratios=_ratios(kind),
        carry_on=_carry_on(kind),
        temporary=_temporary(kind),
    )


def _sure(found: Range | None) -> Range:
    assert found is not None, "the tables are complete here; a test holds this"
    return found


def _where(table: str, line: int, said: str, figures: str) -> Source:
    """The row, who was read, and that the figures are from memory where they are."""
    extra = "; figures from memory" if figures == "from memory" and said != "from memory" else ""
    read = source(table, line, said)
    return Source(file=read.file, row=read.row, note=read.note + extra)


def _tasks(kind: str) -> tuple[Task, ...]:
    found = []
    for line, row in of_kind("tasks", kind):
        where = _where("tasks", line, row["source"], "" if row["source_is_for"] == "hours" else "from memory")
        found.append(
            Task(
                name=row["task"],
                stage=row["stage"],
                by=row["by"],
                hours=_sure(spread(row, "hours", where)),
                hours_professional=float(row["hours_pro_likely"]),
                tools=parts(row["special_tools"], ","),
                consumables=parts(row["consumables"], ","),
                needed=cast(Needed, row["needed"]),
                source=where,
            )
        )
    return tuple(found)


def _failures(kind: str) -> tuple[Failure, ...]:
    found = []
    chain = ""
    for line, row in of_kind("failures", kind):
        where = _where("failures", line, row["source"], row["chance_source"])
        chain = chain if row["chain"] == "as above" else row["chain"]
        found.append(
            Failure(
                symptom=row["symptom"],
                cause=row["cause"],
                outcome=row["outcome"],
                this_unit=row["this_unit"] == "yes",
                chance=_sure(spread(row, "chance", where)),
                seen_at=row["seen_at"],
                chain=chain,
                findings=parts(row["findings"]),
                mend=cast(Mend, row["mend"]),
                fix_share=float(row["fix_share"] or 0),
                fix_hours=float(row["fix_hours"] or 0),
                source=where,
            )
        )
    return tuple(found)


def _looks(kind: str) -> tuple[Look, ...]:
    found = [
        Look(
            symptom=row["symptom"],
            order=int(row["order"]),
            name=row["look"],
            hours=float(row["hours"]),
            costs=row["cost_hint"],
            tells=row["tells"],
            p_right=float(row["p_right"]),
            source=_where("looks", line, row["source"], row["figures_source"]),
        )
        for line, row in of_kind("looks", kind)
    ]
    return tuple(sorted(found, key=lambda look: (look.symptom, look.order)))


def _remedies(kind: str) -> tuple[Remedy, ...]:
    found = []
    for line, row in of_kind("remedies", kind):
        where = _where("remedies", line, row["source"], row["figures_source"])
        found.append(
            Remedy(
                finding=row["finding"],
                name=row["remedy"],
                parts="" if row["parts"] == "-" else row["parts"],
                own_hours=float(row["own_hours"]),
                parts_share=_sure(spread(row, "parts_share", where)),
                outside_share=_sure(spread(row, "outside_share", where)),
                days=_sure(spread(row, "days", where)),
                life=float(row["life_share"]),
                not_allowed_when=row["not_allowed_when"],
                source=where,
            )
        )
    return tuple(found)


def _renewals(kind: str) -> tuple[Renewal, ...]:
    return tuple(
        Renewal(
            part=row["part"],
            why=row["why"],
            generic="" if row["generic"] == "none" else row["generic"],
            usual_sizes=row["usual_sizes"],
            source=source("always_renew", line, row["source"]),
        )
        for line, row in of_kind("always_renew", kind)
    )


def _ratios(kind: str) -> tuple[Ratio, ...]:
    found = []
    for line, row in of_kind("ratios", kind):
        low, likely, high = (float(row[end]) for end in ("low", "likely", "high"))
        share = Range(low=low, likely=likely, high=high, source=source("ratios", line, row["source"]))
        found.append(Ratio(key=row["key"], share=share, note=row["note"]))
    return tuple(found)


def _carry_on(kind: str) -> tuple[CarryOn, ...]:
    found = []
    for line, row in of_kind("carry_on", kind):
        where = _where("carry_on", line, row["source"], row["figures_source"])
        found.append(
            CarryOn(
                symptom=row["symptom"],
                when=row["when"],
                still_works=cast(StillWorks, row["still_works"]),
                may=cast(CarryOnRule, row["may_carry_on"]),
                within_days=float(row["within_days"]) if row["within_days"] else None,
                why=row["why"],
                watch_for=row["watch_for"],
                chance_fails=_sure(spread(row, "chance_fails", where)),
                per="10 running hours" if row["unit"] == "hours10" else row["unit"],
                chance_is_of=row["chance_is_of"],
                what_more_breaks="" if row["what_more_breaks"] == "none" else row["what_more_breaks"],
                more_cost_share=_sure(spread(row, "more_cost_share", where)),
                makes_safe=row["makes_safe"],
                source=where,
            )
        )
    return tuple(found)


def _temporary(kind: str) -> tuple[Temporary, ...]:
    found = []
    for line, row in of_kind("temporary", kind):
        where = _where("temporary", line, row["source"], row["figures_source"])
        found.append(
            Temporary(
                symptom=row["symptom"],
                name=row["temporary_repair"],
                possible=not re.match(r"none\b", row["temporary_repair"]),
                takes=row["parts_and_tools"],
                own_hours=float(row["own_hours"] or 0),
                cost_share=spread(row, "cost_share", where),
                holds=spread(row, "holds_hours", where),
                holds_unit=row["holds_unit"],
                chance_holds=float(row["chance_it_holds"] or 0),
                not_allowed_when=row["not_allowed_when"],
                afterwards=row["afterwards"],
                source=where,
            )
        )
    return tuple(found)
