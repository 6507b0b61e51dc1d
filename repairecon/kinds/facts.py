"""The tables of this room, read here alone; what is known of a kind as records, with the row each figure stands in."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import Any, Literal, cast

from repairecon.records import Range, Source

Row = Mapping[str, str]
OwnRebuild = Literal["yes", "with care", "licensed practice only"]


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
class KindRow:
    """A row of a kind: its cells by column, with where it stands and who says it."""

    cells: Row
    source: Source

    def __getitem__(self, column: str) -> str:
        return self.cells[column]

    def yes(self, column: str) -> bool:
        return self.cells[column] == "yes"

    def number(self, column: str) -> float:
        return float(self.cells[column] or 0)

    def range(self, name: str) -> Range:
        """Three columns that every row of the table fills."""
        return cast(Range, self.spread(name))

    def spread(self, name: str) -> Range | None:
        return spread(self.cells, name, self.source)

    def several(self, column: str, mark: str = ";") -> tuple[str, ...]:
        return parts(self.cells[column], mark)


@dataclass(frozen=True)
class KindFacts:
    """All that is known of a kind; nothing of one that is not known. Lives are until half have failed, in years.

    Hours are those of a first-time amateur, money is a share of the price of new, waits are in days. The chances of the
    ``failures`` of one symptom add up to 1; of these ``mend`` says what cures it: ``kit`` (the usual rebuild),
    ``remedy`` (those of its ``findings``, likeliest first), ``fix`` (a small job: ``fix_share`` of the price of new,
    ``fix_hours``), ``end`` (past mending), ``elsewhere`` (another thing). ``looks`` come in the order a mechanic takes
    them; ``p_right`` is how often one shows what is the case. ``life_share`` of a remedy is of a new one's life.
    ``ratios`` are shares of the price of new for kit, exchange, specialist, second-hand, main part and pattern.
    """

    kind: str = ""
    other_names: tuple[str, ...] = ()
    group: str = ""
    safety_class: str = ""
    own_rebuild: OwnRebuild = "with care"
    cautions: tuple[str, ...] = ()
    life_years: Range | None = None
    symptoms: tuple[str, ...] = ()
    tasks: tuple[KindRow, ...] = ()
    failures: tuple[KindRow, ...] = ()
    looks: tuple[KindRow, ...] = ()
    remedies: tuple[KindRow, ...] = ()
    always_renew: tuple[KindRow, ...] = ()
    ratios: Mapping[str, Range] = field(default_factory=dict)
    carry_on: tuple[KindRow, ...] = ()
    temporary: tuple[KindRow, ...] = ()

    def failures_of(self, symptom: str) -> tuple[KindRow, ...]:
        return tuple(f for f in self.failures if f["symptom"] == symptom)

    def remedies_of(self, failure: KindRow) -> tuple[KindRow, ...]:
        return tuple(r for finding in failure.several("findings") for r in self.remedies if r["finding"] == finding)

    def looks_of(self, symptom: str) -> tuple[KindRow, ...]:
        """The looks of one symptom, first one first."""
        return tuple(look for look in self.looks if look["symptom"] == symptom)

    def carry_on_of(self, symptom: str) -> KindRow:
        """How far one symptom may be nursed: the strictest row, since a condition that nobody states is not met."""
        mine = (c for c in self.carry_on if c["symptom"] == symptom)
        return min(mine, key=lambda c: _STRICT.index(c["may_carry_on"]))


_STRICT = ("never", "to the next port", "until a date", "as long as watched")
_OF_A_KIND = ("tasks", "failures", "looks", "remedies", "always_renew", "carry_on", "temporary")


def kinds() -> tuple[str, ...]:
    """Names of all kinds that are known."""
    return tuple(row["kind"] for row in rows("kinds"))


@cache
def facts(kind: str) -> KindFacts:
    """Everything of one of ``kinds()``: hours, waits in days, money as shares of the price of a new unit."""
    if kind not in kinds():
        raise KeyError(f"{kind!r} is no kind that is known here; kinds() lists them")
    ((line, row),) = of_kind("kinds", kind)
    tables: dict[str, Any] = {table: tuple(_sourced(table, kind)) for table in _OF_A_KIND}
    return KindFacts(
        kind, parts(row["other_names"]), row["group"], row["safety_class"], cast(OwnRebuild, row["own_rebuild"]),
        parts(row["cautions"]), life_years=spread(row, "life_years", source("kinds", line, row["life_source"])),
        symptoms=tuple(r["symptom"] for _, r in of_kind("symptoms", kind)),
        ratios={r["key"]: r.range("") for r in _sourced("ratios", kind)}, **tables,
    )  # fmt: skip


def _sourced(table: str, kind: str) -> Iterator[KindRow]:
    """The rows of a kind with where they stand and who says it."""
    for line, row in of_kind(table, kind):
        where = source(table, line, row["source"])
        figures = row.get("figures_source", row.get("chance_source", row.get("source_is_for", "hours")))
        if "from memory" in figures and row["source"] != "from memory":
            where = replace(where, note=f"{where.note}; figures from memory")
        yield KindRow(row, where)


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
    mine = (t for t in facts(kind).tasks if t["needed"] == "always" and t["by"] == "owner")
    tasks = [t.range("hours") for t in mine]
    where = Source(file="kinds/tasks.csv", note="sum of the tasks that are always needed")
    low, likely, high = (sum(getattr(hours, end) for hours in tasks) for end in ("low", "likely", "high"))
    return Range(low=low, likely=likely, high=high, source=where)
