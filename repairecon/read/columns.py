"""What may stand in each file: every column and key is one row of columns.csv.

The reader, its faults, new cases and the tables of the README all come from there.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from types import MappingProxyType

from repairecon import records
from repairecon.read.values import MONEY, Limits, plain

ENDS = ("low", "likely", "high")
CASE = "case.toml"
BOAT = "boat.toml"
BOAT_SECTIONS = ("money", "money.exchange", "owner", "labour", "labour.*", "years", "customs", "order")
"""Sections of case.toml that boat.toml may have too: what stands there holds for each job of the boat."""

ANY = "*"
"""A file, section or key that stands for each of its sort."""


@dataclass(frozen=True, kw_only=True)
class Column:
    """A column of a CSV file or a key of a TOML section; a range takes a column for each of its ends.

    ``default`` is what a blank one means: a value, words, or @ and its name in defaults.toml. ``write`` is what to
    write where it is blank and may not be; ``also`` holds other words that people head it with. ``options`` of a date
    are its first and last day.
    """

    name: str
    type: str = "text"
    limits: Limits = MONEY
    options: tuple[str, ...] = ()
    default: str = ""
    need: str = ""
    unit: str = ""
    meaning: str = ""
    write: str = ""
    also: tuple[str, ...] = ()
    examples: tuple[str, ...] = ()

    @property
    def headings(self) -> tuple[str, ...]:
        """The columns that it takes."""
        return tuple(f"{self.name}_{end}" for end in (*ENDS, "shape")) if self.type == "range" else (self.name,)


@dataclass(frozen=True)
class Headings:
    """Columns of one CSV file; ``declared`` says how each is read, by its name without the ends of a range."""

    columns: tuple[str, ...]
    required: tuple[str, ...]
    known: frozenset[str]
    declared: Mapping[str, Column] = field(default_factory=dict)


def _limits(words: str, type_: str) -> Limits:
    low, _, high = words.lstrip(">").partition("..")
    return Limits(
        float(low), float(high), whole=type_ == "whole", above=words.startswith(">"), fraction=type_ == "fraction"
    )


def _column(row: Mapping[str, str]) -> Column:
    words, choice = row["limits"], row["type"] in ("choice", "list")
    numbers = words and not choice and row["type"] != "date"
    named = tuple(getattr(records, words[1:])) if words.startswith("@") else tuple(words.split(" / "))
    options = named if choice and words else tuple(words.split("..")) if row["type"] == "date" and words else ()
    return Column(
        name=row["name"],
        type=row["type"],
        limits=_limits(words, row["type"]) if numbers else MONEY,
        options=options,
        default=row["default"],
        need=row["need"],
        unit=row["unit"],
        meaning=row["meaning"],
        write=row["write"] or (f"write one of: {', '.join(options)}" if choice and options else ""),
        also=tuple(word.strip() for word in row["also"].split(",") if word.strip()),
        examples=tuple(word.strip() for word in row["example"].split("|")) if row["example"] else (),
    )


@cache
def _rows() -> tuple[dict[str, str], ...]:
    with Path(__file__).with_name("columns.csv").open(encoding="utf-8", newline="") as file:
        return tuple(csv.DictReader(file))


def _of(file: str, section: str = "") -> Iterator[Column]:
    return (_column(row) for row in _rows() if (row["file"], row["section"]) == (file, section) and row["name"])


@cache
def sections(file: str) -> Mapping[str, Mapping[str, Column]]:
    """Keys of each section of a TOML file; ``*`` stands for keys of any name."""
    named = dict.fromkeys(row["section"] for row in _rows() if row["file"] == file)
    own = {name: MappingProxyType({c.name: c for c in _of(file, name)}) for name in named}
    return MappingProxyType(own | ({name: sections(CASE)[name] for name in BOAT_SECTIONS} if file == BOAT else {}))


@cache
def about(file: str, section: str = "") -> tuple[str, str]:
    """What a row of a file, or a section, is; and an example of the section's header."""
    row = next(r for r in _rows() if (r["file"], r["section"], r["name"]) == (file, section, ""))
    return row["meaning"], row["example"]


def headings(file: str, *more: str, without: tuple[str, ...] = ()) -> Headings:
    """Columns of a CSV file, with those of other files after them."""
    own = {c.name: c for name in (file, *more) for c in _of(name) if c.name not in without}
    declared = {**own, **{c.name: c for c in _of(ANY) if c.name not in own}}
    columns = tuple(heading for c in declared.values() for heading in c.headings)
    required = tuple(c.name for c in declared.values() if c.need)
    return Headings(columns, required, frozenset(columns), MappingProxyType(declared))


FILES: Mapping[str, Headings] = MappingProxyType(
    {file: headings(file) for file in dict.fromkeys(row["file"] for row in _rows()) if file.endswith(".csv")}
)
"""Every CSV file by name."""

CASE_FILES = tuple(list(FILES)[: list(FILES).index("lives.csv") + 1])
"""Files of a case folder beside case.toml."""


_HEAD = """# Every column and key

Made from `repairecon/read/columns.csv`. A range is three columns, `_low`, `_likely`, `_high` (with only `_likely` it is
sure), and `_shape`. A default with @ stands in `repairecon/read/defaults.toml`."""
_TABLE = "| | what | unit | may be | blank means |\n|---|---|---|---|---|"


def table_of_files() -> str:
    """The files of a case as a table for the README, with the columns that may not be missing."""
    lines = ["| file | a row is | needs |", "|---|---|---|"]
    for file in CASE_FILES:
        needed = ", ".join(f"`{name}`" for name in FILES[file].required)
        lines.append(f"| `{file}` | {about(file)[0]} | {needed} |")
    return "\n".join(lines)


def reference() -> str:
    """Every column and key with its meaning, unit, what may be written and what a blank one means."""
    lines = [_HEAD]
    for file, section in dict.fromkeys((row["file"], row["section"]) for row in _rows()):
        declared = tuple(_of(file, section))
        if declared:
            title = "every CSV file" if file == ANY else f"{file} [{section}]" if section else file
            lines.append(f"\n## {title}\n\n{about(file, section)[0]}\n\n{_TABLE}")
            lines += [
                f"| `{c.name}`{' (needed)' if c.need else ''} | {c.meaning} | {c.unit} | {_may_be(c)} | {c.default} |"
                for c in declared
            ]
    return "\n".join(lines) + "\n"


def _may_be(column: Column) -> str:
    if column.options:
        return (" to " if column.type == "date" else ", ").join(column.options)
    if column.type in ("number", "whole", "fraction", "range"):
        low, high = plain(column.limits.low), plain(column.limits.high)
        sort = {"number": "", "range": "range, "}.get(column.type, f"{column.type}, ")
        return f"{sort}{'more than ' if column.limits.above else ''}{low} to {high}"
    return {"yes": "yes or no", "worker": "owner or one of [labour]", "ways": "ways"}.get(column.type, column.type)
