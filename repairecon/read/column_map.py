"""Which heading of a supplier's list stands for which column of quotes.csv; kept in columns.csv of the case."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path

from repairecon.read.headings import COLUMNS, FILES
from repairecon.read.names import key
from repairecon.read.problems import Problems, shown
from repairecon.read.sheet_writing import csv_text
from repairecon.read.tables import heading, read_table

COLUMNS_FILE = "columns.csv"
_SHORT = {"price": "quoted_likely", "quoted": "quoted_likely", "lead_days": "lead_days_likely"}
_SHORT |= {"quoted_core": "quoted_core_likely", "core": "quoted_core_likely"}
_BREAK = re.compile(r"price_from_([1-9][0-9]{0,5})")
DATES = frozenset({"quoted_on", "valid_until"})
WORDS = frozenset(
    {"item", "supplier", "designation", "material", "breaks", "part_class", "note", "description"}
    | {c for c in FILES["quotes.csv"].columns if c.endswith("_shape")}
)


def break_packs(column: str) -> int:
    """The packs of a column ``price_from_10``, else 0."""
    match = _BREAK.fullmatch(column)
    return int(match[1]) if match else 0


def is_money(column: str) -> bool:
    """True for a column in the supplier's money."""
    return (column.startswith("quoted_") and column not in DATES) or break_packs(column) > 0


def known_columns(columns: Mapping[str, str], file: str, problems: Problems) -> dict[str, str]:
    """Our column by the owner's heading (in plain form); what is unknown or double is a fault."""
    known: dict[str, str] = {}
    for theirs, ours in columns.items():
        column = heading(ours)
        column = _SHORT.get(column, column)
        if column not in FILES["quotes.csv"].known and not break_packs(column):
            options = [*FILES["quotes.csv"].columns, *_SHORT, "price_from_10"]
            problems.add(file, None, theirs, f"an unknown column {shown(ours)}", problems.advice(column, options))
        elif column in known.values():
            problems.add(file, None, theirs, f"a second heading for {column}", "keep one of the two")
        elif not heading(theirs) or heading(theirs) in known:
            problems.add(file, None, theirs, f"a heading {shown(theirs)} twice or blank", "name each heading once")
        else:
            known[heading(theirs)] = column
    if not known and not len(problems):
        problems.add(file, None, "", "no columns", "say which heading is which column, as in price=Unit price")
    return known


def saved_columns(folder: Path, supplier: str, problems: Problems) -> dict[str, str]:
    """Our column by the heading of a supplier's list, as kept in the case folder."""
    path = folder / COLUMNS_FILE
    table = read_table(path if path.exists() else None, COLUMNS_FILE, COLUMNS, problems)
    return {r.text("heading"): r.text("column") for r in table.rows if key(r.text("supplier")) == key(supplier)}


def columns_with(folder: Path, supplier: str, columns: Mapping[str, str], problems: Problems) -> bytes:
    """columns.csv with these headings in place of those that the supplier had."""
    path = folder / COLUMNS_FILE
    table = read_table(path if path.exists() else None, COLUMNS_FILE, COLUMNS, problems)
    rows = [[r.text(c) for c in COLUMNS.columns] for r in table.rows if key(r.text("supplier")) != key(supplier)]
    rows += [[supplier, ours, theirs, "", ""] for theirs, ours in columns.items()]
    return csv_text([list(COLUMNS.columns), *rows]).encode("utf-8")
