"""The tables of this room, read here alone; what is known of a kind as records, with the row each figure stands in."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, fields, replace
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import Any, Literal, TypeVar, cast

from repairecon.records import Range, Source

Row = Mapping[str, str]
OwnRebuild = Literal["yes", "with care", "licensed practice only"]
T = TypeVar("T")
CarryOnRule = Literal["as long as watched", "until a date", "to the next port", "never"]


@cache
def rows(name: str) -> tuple[Row, ...]:
    """All rows of one table, cells as written."""
    text = resources.files("repairecon.kinds").joinpath("data", f"{name}.csv").read_text("utf-8")
    return tuple(MappingProxyType(row) for row in csv.DictReader(text.splitlines()))


@cache
def of_kind(name: str, kind: str) -> tuple[tuple[int, Row], ...]:
    """Rows of one table that belong to a kind, each with its line in the file (the heading is line 1)."""
    return tuple((line, row) for line, row in enumerate(rows(name), 2) if row["kind"] == kind)


@cache
def by(name: str, column: str) -> Mapping[str, Row]:
    """Rows of one table by the value of a column, in their order."""
    return {row[column]: row for row in rows(name)}


def said_by(codes: str) -> str:
    """Who says it, in words, for codes such as ``S01; P2``."""
    known = by("sources", "code")
    return "; ".join(dict.fromkeys(known[code]["said_by"] for code in parts(codes)))


def source(name: str, line: int, codes: str) -> Source:
    """The row a figure stands in, with who says it."""
    return Source(file=f"kinds/{name}.csv", row=line, note=said_by(codes))


def parts(cell: str, mark: str = ";") -> tuple[str, ...]:
    """The items of a cell that holds several."""
    return tuple(item.strip() for item in cell.split(mark) if item.strip())


def spread(row: Row, name: str, where: Source) -> Range | None:
    """The three columns ``name_low``, ``name_likely``, ``name_high`` (or without a name) as a range; None if empty."""
    cells = [row[f"{name}_{end}".lstrip("_")] for end in ("low", "likely", "high")]
    if not any(cells):
        return None
    low, likely, high = map(float, cells)
    return Range(low=low, likely=likely, high=high, source=where)


@dataclass(frozen=True)
class Task:
    """A piece of work: hours of a first-time amateur, who does it, what it takes."""

    name: str
    stage: str
    by: str
    hours: Range
    tools: tuple[str, ...]
    consumables: tuple[str, ...]
    needed: Literal["always", "if found", "ashore"]
    source: Source


@dataclass(frozen=True)
class Failure:
    """What may stand behind a symptom; the chances of one symptom add up to 1.

    ``mend``: ``kit`` (the usual rebuild cures it), ``remedy`` (those of its ``findings``, likeliest first), ``fix`` (a
    small job: ``fix_share`` of the price of new, ``fix_hours``), ``end`` (past mending), ``elsewhere`` (another thing).
    """

    symptom: str
    cause: str
    this_unit: bool
    chance: Range
    seen_at: str
    findings: tuple[str, ...]
    mend: Literal["kit", "remedy", "fix", "end", "elsewhere"]
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
class CarryOn:
    """Whether a unit with a symptom may be nursed on, how long, what more breaks, and how to make it safe."""

    symptom: str
    when: str
    still_works: Literal["yes", "partly", "no"]
    may: CarryOnRule
    within_days: float | None
    why: str
    watch_for: str
    chance_fails: Range
    per: str
    more_cost_share: Range
    makes_safe: str
    source: Source


@dataclass(frozen=True)
class Temporary:
    """A repair that gets the boat home. Show ``said``: it holds the ban."""

    symptom: str
    name: str
    own_hours: float
    cost_share: Range | None
    holds: Range | None
    holds_unit: str
    chance_holds: float
    not_allowed_when: str
    afterwards: str
    source: Source

    @property
    def possible(self) -> bool:
        """False where the row says that there is none."""
        return not re.match(r"none\b", self.name)

    @property
    def said(self) -> str:
        """The repair together with its ban and what must follow."""
        ban = f" Not allowed: {self.not_allowed_when}." if self.not_allowed_when else ""
        after = f" Afterwards: {self.afterwards}." if self.afterwards else ""
        return f"{self.name.rstrip('.')}.{ban}{after}"


@dataclass(frozen=True)
class KindFacts:
    """All that is known of a kind; nothing of one that is not known. Lives are until half have failed, in years."""

    kind: str = ""
    other_names: tuple[str, ...] = ()
    group: str = ""
    safety_class: str = ""
    own_rebuild: OwnRebuild = "with care"
    why: str = ""
    cautions: tuple[str, ...] = ()
    life_years: Range | None = None
    symptoms: tuple[str, ...] = ()
    tasks: tuple[Task, ...] = ()
    failures: tuple[Failure, ...] = ()
    looks: tuple[Look, ...] = ()
    remedies: tuple[Remedy, ...] = ()
    always_renew: tuple[Renewal, ...] = ()
    ratios: Mapping[str, Range] = field(default_factory=dict)
    carry_on: tuple[CarryOn, ...] = ()
    temporary: tuple[Temporary, ...] = ()

    def ratio(self, key: str) -> Range | None:
        """The share of the price of new for kit, exchange, specialist, second-hand, main part or pattern."""
        return self.ratios.get(key)

    def failures_of(self, symptom: str) -> tuple[Failure, ...]:
        """What may stand behind one symptom."""
        return tuple(f for f in self.failures if f.symptom == symptom)

    def remedies_of(self, failure: Failure) -> tuple[Remedy, ...]:
        """The ways to meet a failure."""
        return tuple(r for finding in failure.findings for r in self.remedies if r.finding == finding)

    def looks_of(self, symptom: str) -> tuple[Look, ...]:
        """The looks of one symptom, first one first."""
        return tuple(look for look in self.looks if look.symptom == symptom)

    def carry_on_of(self, symptom: str) -> CarryOn:
        """How far one symptom may be nursed: the strictest row, since a condition that nobody states is not met."""
        return min((c for c in self.carry_on if c.symptom == symptom), key=lambda c: _STRICT.index(c.may))


_STRICT: tuple[CarryOnRule, ...] = ("never", "to the next port", "until a date", "as long as watched")
_READ: Mapping[str, Callable[[str], object]] = {
    "float": lambda cell: float(cell or 0), "float | None": lambda cell: float(cell) if cell else None, "int": int,
    "bool": lambda cell: cell == "yes",
}  # fmt: skip


def kinds() -> tuple[str, ...]:
    """Names of all kinds that are known."""
    return tuple(row["kind"] for row in rows("kinds"))


@cache
def facts(kind: str) -> KindFacts:
    """Everything of one of ``kinds()``: hours, waits in days, money as shares of the price of a new unit."""
    if kind not in kinds():
        raise KeyError(f"{kind!r} is no kind that is known here; kinds() lists them")
    ((line, row),) = of_kind("kinds", kind)
    return _record(
        KindFacts, row, source("kinds", line, row["life_source"]),
        symptoms=tuple(r["symptom"] for _, r in of_kind("symptoms", kind)),
        tasks=_records(Task, "tasks", kind, name="task", tools="special_tools"),
        failures=_records(Failure, "failures", kind),
        looks=_records(Look, "looks", kind, name="look", costs="cost_hint"),
        remedies=_records(Remedy, "remedies", kind, name="remedy", life="life_share"),
        always_renew=_records(Renewal, "always_renew", kind),
        ratios={row["key"]: cast(Range, spread(row, "", where)) for row, where in _sourced("ratios", kind)},
        carry_on=_records(CarryOn, "carry_on", kind, may="may_carry_on", per="unit"),
        temporary=_records(Temporary, "temporary", kind, name="temporary_repair", holds="holds_hours",
                           chance_holds="chance_it_holds"),
    )  # fmt: skip


def _sourced(table: str, kind: str) -> Iterator[tuple[Row, Source]]:
    """The rows of a kind with where they stand and who says it."""
    for line, row in of_kind(table, kind):
        where = source(table, line, row["source"])
        figures = row.get("figures_source", row.get("chance_source", row.get("source_is_for", "hours")))
        if "from memory" in figures and row["source"] != "from memory":
            where = replace(where, note=f"{where.note}; figures from memory")
        yield row, where


def _records(make: Callable[..., T], table: str, kind: str, **columns: str) -> tuple[T, ...]:
    """The rows of a kind as records; ``columns`` where a field is not called as its column."""
    return tuple(_record(make, row, where, columns, source=where) for row, where in _sourced(table, kind))


def _record(
    make: Callable[..., T], row: Row, where: Source, columns: Mapping[str, str] = MappingProxyType({}), **made: object
) -> T:
    """One row as a record: each field from its column, read as the field's type says."""
    for f in (f for f in fields(cast(Any, make)) if f.name not in made):
        column, kind_of = columns.get(f.name, f.name), f"{f.type}"
        if kind_of.startswith("Range"):
            made[f.name] = spread(row, column, where)
        elif kind_of.startswith("tuple"):
            made[f.name] = parts(row[column], "," if column in ("special_tools", "consumables") else ";")
        else:
            made[f.name] = _READ.get(kind_of, str)(row[column])
    return make(**made)


def share(kind: str, what: str) -> Range:
    """How often something goes wrong (0 to 1), by the group of a kind; without a kind or a row of its own, in general.

    ``what`` is ``done again: <depth>``, ``given up: <depth>`` (seals only, full rebuild, specialist) or
    ``dead on arrival: <way>`` (new, pattern, exchange, second-hand, own spare).
    """
    found = {row["group"]: (line, row) for line, row in enumerate(rows("shares"), 2) if row["share"] == what}
    if not found:
        raise KeyError(f"no share is called {what!r}; shares.csv lists them")
    line, row = found.get(facts(kind).group if kind else "any", found["any"])
    where = Source(file="kinds/shares.csv", row=line, note=f"{row['status']}: {row['why']}")
    return cast(Range, spread(row, "", where))


def own_hours(kind: str) -> Range:
    """Hours that an owner works on a whole rebuild at home, a first-timer's: tasks that are always needed."""
    tasks = [t.hours for t in facts(kind).tasks if t.needed == "always" and t.by == "owner"]
    where = Source(file="kinds/tasks.csv", note="sum of the tasks that are always needed")
    low, likely, high = (sum(getattr(hours, end) for hours in tasks) for end in ("low", "likely", "high"))
    return Range(low=low, likely=likely, high=high, source=where)
