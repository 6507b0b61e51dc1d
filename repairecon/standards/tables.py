"""The dimension tables of this room, read when first asked for. The only module here that reads files."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping
from functools import cache
from importlib import resources
from types import MappingProxyType

from repairecon.records import worst_status

Row = Mapping[str, str]

ROOM = resources.files("repairecon.standards")


@cache
def rows(name: str) -> tuple[Row, ...]:
    """All rows of one table, cells as printed."""
    text = ROOM.joinpath(f"{name}.csv").read_text("utf-8")
    return tuple(MappingProxyType(row) for row in csv.DictReader(text.splitlines()))


@cache
def by(name: str, column: str) -> Mapping[str, Row]:
    """Rows of a table by one column; the first row of a key stays."""
    return MappingProxyType({row[column]: row for row in reversed(rows(name)) if row[column]})


@cache
def said_of(kind: str, role: str, table: str = "measured_kinds") -> tuple[Row, ...]:
    """Rows of a kind and role: how it is measured and what else to mind, or by ``writings`` how it is written."""
    return tuple(row for row in rows(table) if (row["kind"], row["role"]) == (kind, role))


def trust(used: Iterable[Row]) -> tuple[str, tuple[str, ...]]:
    """Worst status and the sources of some rows."""
    taken = tuple(used)
    return worst_status(row["status"] for row in taken), tuple(dict.fromkeys(row["source"] for row in taken))
