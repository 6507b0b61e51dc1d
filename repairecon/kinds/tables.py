"""The tables of this room, read when first asked for. The only module here that reads files."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from functools import cache
from importlib import resources
from types import MappingProxyType

from repairecon.records import Range, Source

Row = Mapping[str, str]


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
