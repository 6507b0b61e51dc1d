"""What may stand in each file: every column and key is one row of columns.csv, for readers and new cases."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache, cached_property
from types import MappingProxyType

from repairecon import records
from repairecon.read.files import rows_of
from repairecon.read.values import MONEY, Limits

_ROWS = rows_of("columns.csv")
ENDS = ("low", "likely", "high")
NUMBERS = ("number", "whole", "fraction", "range")  # types of columns that hold numbers
SUPPLIERS_MONEY = "supplier's money"  # unit of the columns beside whose figures a currency may stand
CASE = "case.toml"
BOAT = "boat.toml"
BOAT_SECTIONS = ("money", "money.exchange", "owner", "labour", "labour.*", "years", "customs", "order")
"""Sections of case.toml that boat.toml may have too: what stands there holds for each job of the boat."""

ANY = "*"  # a file, section or key that stands for each of its sort
_BETWEEN = {"choice": " / ", "list": " / ", "date": ".."}  # what stands between the options of a column


@dataclass(frozen=True, kw_only=True)
class Column:
    """A column of a CSV file or a key of a TOML section; a range takes a column for each of its ends."""

    name: str
    type: str = "text"
    limits: Limits = MONEY
    options: tuple[str, ...] = ()  # of a date its first and last day
    default: str = ""  # what a blank one means: a value, words, or @ and its name in defaults.toml
    need: str = ""
    unit: str = ""
    meaning: str = ""
    write: str = ""  # what to write where it is blank and may not be
    also: tuple[str, ...] = ()  # other words that people head it with
    only: tuple[str, ...] = ()  # the kinds of row that may fill it, if not all
    examples: tuple[str, ...] = ()

    @property
    def headings(self) -> tuple[str, ...]:
        return tuple(f"{self.name}_{end}" for end in (*ENDS, "shape")) if self.type == "range" else (self.name,)

    @property
    def heading(self) -> str:
        """The column in which a single value stands."""
        return f"{self.name}_likely" if self.type == "range" else self.name


@dataclass(frozen=True)
class Headings:
    """Columns of one CSV file; ``declared`` says how each is read, by its name without the ends of a range."""

    columns: tuple[str, ...]
    required: tuple[str, ...]
    declared: Mapping[str, Column] = field(default_factory=dict)

    @cached_property
    def known(self) -> frozenset[str]:
        return frozenset(self.columns)


def column_of(heading: str, declared: Mapping[str, Column]) -> tuple[Column | None, str]:
    """The column that a heading is of, and which end of a range (or its shape) it holds."""
    for end in (*ENDS, "shape"):
        column = declared.get(heading.removesuffix(f"_{end}"))
        if column and column.type == "range" and column.name != heading:
            return column, end
    return declared.get(heading), ""


def columns_of(file: str, section: str = "") -> Iterator[Column]:
    for row in (r for r in _ROWS if (r["file"], r["section"]) == (file, section) and r["name"]):
        words, kind, limits = row["limits"], row["type"], MONEY
        options = _split(words, _BETWEEN[kind]) if kind in _BETWEEN else ()
        if words.startswith("@"):
            options = tuple(getattr(records, words[1:]))
        elif words and not options:
            low, _, high = words.lstrip(">").partition("..")
            limits = Limits(float(low), float(high), kind == "whole", words.startswith(">"), kind == "fraction")
        choose = f"write one of: {', '.join(options)}" if options and kind != "date" else ""
        yield Column(
            **{name: row[name] for name in ("name", "type", "default", "need", "unit", "meaning")},
            limits=limits, options=options, write=row["write"] or choose, also=_split(row["also"], ","),
            only=_split(row["only"], "/"), examples=_split(row["example"], "|"),
        )  # fmt: skip


def _split(text: str, mark: str) -> tuple[str, ...]:
    return tuple(word.strip() for word in text.split(mark)) if text else ()


@cache
def sections(file: str) -> Mapping[str, Mapping[str, Column]]:
    """Keys of each section of a TOML file; ``*`` stands for keys of any name."""
    named = dict.fromkeys(row["section"] for row in _ROWS if row["file"] == file)
    own = {name: MappingProxyType({c.name: c for c in columns_of(file, name)}) for name in named}
    return MappingProxyType(own | ({name: sections(CASE)[name] for name in BOAT_SECTIONS} if file == BOAT else {}))


@cache
def about(file: str, section: str = "") -> tuple[str, str]:
    """What a row of a file, or a section, is; and an example of the section's header."""
    row = next(r for r in _ROWS if (r["file"], r["section"], r["name"]) == (file, section, ""))
    return row["meaning"], row["example"]


@cache
def headings(file: str, *more: str) -> Headings:
    """Columns of a CSV file, with those of other files after them."""
    declared = {c.name: c for name in (file, *more) for c in columns_of(name)}
    declared |= {c.name: c for c in columns_of(ANY) if c.name not in declared}
    columns = tuple(heading for c in declared.values() for heading in c.headings)
    required = tuple(c.name for c in declared.values() if c.need)
    return Headings(columns, required, MappingProxyType(declared))


FILES: Mapping[str, Headings] = MappingProxyType(
    {file: headings(file) for file in dict.fromkeys(row["file"] for row in _ROWS) if file.endswith(".csv")}
)
"""Every CSV file by name."""
CASE_FILES = tuple(list(FILES)[: list(FILES).index("lives.csv") + 1])  # files of a case folder beside case.toml
