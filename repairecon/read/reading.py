"""What the readers of the several files share: faults, defaults, money and the names of things."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

from repairecon.read.case_toml import LabourBook, Money, ThreeNumbers
from repairecon.read.defaults import Defaults
from repairecon.read.names import Names, key
from repairecon.read.problems import Problems, shown
from repairecon.read.rows import Row
from repairecon.read.tables import Table
from repairecon.read.values import Limits
from repairecon.records import WAY_GROUPS, WAY_KINDS, Range, Source

NOTHING = Range(0.0, 0.0, 0.0, source=Source("blank"))
"""A figure that is left blank where blank means none."""


@dataclass
class Reading:
    """The state of reading one folder."""

    problems: Problems
    defaults: Defaults
    three: ThreeNumbers
    money: Money
    labour: LabourBook
    tables: dict[str, Table]
    toml_whole: bool = True
    ordering: bool = False
    """Quotes alone are compared: what nobody quotes for needs no price of its own."""
    parts: Names = field(default_factory=Names)
    ways: Names = field(default_factory=Names)
    suppliers: Names = field(default_factory=Names)
    quoted: dict[str, bool] = field(default_factory=dict)
    """Key of each item with a quote; True if all its quotes give p_never."""
    notes: dict[str, str] = field(default_factory=dict)

    @cached_property
    def items(self) -> Names:
        """What may be quoted."""
        return Names([*self.parts, *self.ways])

    @cached_property
    def ways_words(self) -> Names:
        """What may stand in a ``ways`` column."""
        return Names([*self.ways, *WAY_KINDS, *WAY_GROUPS])

    @cached_property
    def part_rows(self) -> dict[int, Row]:
        """Rows of parts.csv by their number."""
        return {row.row: row for row in self.tables["parts.csv"].rows}

    @property
    def sellers_known(self) -> bool:
        """True if an unknown supplier is a fault of its own: where quotes.csv lacks them all, that is told once."""
        none = not self.tables["suppliers.csv"].given and self.tables["quotes.csv"].given
        return self.suppliers.whole and not none

    def worker(self, row: Row, column: str) -> str:
        """Who works, owner by default."""
        name = row.text(column)
        if not name:
            return "owner"
        found = self.labour.find(name)
        if not found and self.labour.names.whole:
            row.fault(column, shown(name), self.labour.advice(name))
        return found or name

    def ways_cell(self, row: Row) -> tuple[str, ...]:
        """Way names, kinds and groups of the ``ways`` column."""
        words = []
        for word in row.text("ways").split(";"):
            if not word.strip():
                continue
            name, kind = self.ways.find(word), key(word)
            if name or kind in WAY_KINDS or kind in WAY_GROUPS:
                words.append(name or kind)
            elif self.ways.whole:
                row.fault("ways", shown(word), self.ways_words.advice(row.problems, word))
        return tuple(dict.fromkeys(words))

    def amount(self, row: Row, name: str, limits: Limits) -> Range:
        """A range, nothing when blank."""
        return row.range(name, limits) or NOTHING

    def keep_note(self, row: Row) -> None:
        """Keep the free words about a row."""
        note = row.note()
        if note:
            self.notes[str(row.source)] = note


def named_rows(table: Table, column: str, what: str) -> tuple[list[tuple[Row, str]], Names]:
    """Rows with their names; blank and repeated names are faults."""
    names, rows = Names(whole=table.whole), []
    first: dict[str, int] = {}
    for row in table.rows:
        name = row.required(column, f"name the {what}")
        if not name:
            names.whole = names.whole and not row.has(column)
            rows.append((row, ""))
        elif not names.add(name):
            rows.append((row, ""))
            row.fault(column, f"{shown(name)} again", f"use another name: row {first[key(name)]} has this one")
        else:
            first[key(name)] = row.row
            rows.append((row, name))
    return rows, names
