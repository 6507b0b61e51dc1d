"""An answer as plain data for other programs; every table out of it, with headings in words and units."""

from __future__ import annotations

import argparse
import datetime
import json
import re
import sys
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import asdict, is_dataclass
from decimal import Decimal
from math import isfinite
from pathlib import Path
from typing import Any, TypeAlias

from repairecon.read.files import write_tables
from repairecon.show.layout import for_terminal
from repairecon.show.report import write_page

Rows: TypeAlias = list[list[Any]]
Record: TypeAlias = dict[tuple[str, ...], Any]

ANSWER = "answer"  # the table of what stands in no other: a figure a row
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_WORDS = {
    "p10": "one in ten below", "p50": "half below", "p90": "one in ten above", "se": "standard error of the mean",
    "mean_se_sampled": "standard error of the mean", "p90_se": "standard error of the last", "kg": "",
    "evpi": "worth of knowing for sure", "evsi": "worth of the look", "fifo": "first in, first out",
}  # fmt: skip
_MONEY_WORDS = """cash total saves gap worth net money price cost spend budget value limit landed replacement goods
lost regret charge surcharge carriage difference paid fifo average down alone over core duty vat insurance fee handling
back refund evpi evsi expected each discount fees"""
_MONEY = frozenset(_MONEY_WORDS.split())  # words of a name whose figures are home money
_UNITS = {"hours": "h", "days": "days", "years": "years", "kg": "kg", "litres": "litres"}


def plain(x: Any) -> Any:
    """Records, tables, lists, days and numbers as JSON can hold them; None for what is not finite."""
    if hasattr(x, "to_dict"):  # a frame; its library is not loaded for this, so that help and small acts are quick
        x = x.to_dict(orient="records")
    elif is_dataclass(x) and not isinstance(x, type):
        x = asdict(x)
    if isinstance(x, dict):
        return {str(k): plain(v) for k, v in x.items()}
    if isinstance(x, list | tuple):
        return [plain(v) for v in x]
    if isinstance(x, datetime.date):
        return x.isoformat()
    x = float(x) if isinstance(x, Decimal) else x
    x = x.item() if hasattr(x, "item") else x
    return None if isinstance(x, float) and not isfinite(x) else x


def print_json(data: Any) -> None:
    print(json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False))


def heading(path: Sequence[str], currency: str) -> str:
    """A heading in words, with the unit of its figures.

    >>> heading(("total", "p90"), "EUR"), heading(("p_short",), "EUR"), heading(("mean_days",), "EUR")
    ('total, one in ten above [EUR]', 'chance: short [0 to 1]', 'mean days [days]')
    """
    plain = {name: name.removeprefix("p_").replace("_", " ") for name in path}
    said = [_WORDS.get(name, f"chance: {plain[name]}" if name.startswith("p_") else plain[name]) for name in path]
    unit = next(filter(None, (_unit(name, currency) for name in reversed(path))), "")
    return ", ".join(filter(None, said)) + (f" [{unit}]" if unit else "")


def _unit(name: str, currency: str) -> str:
    words = name.split("_")
    if name.startswith("p_"):
        return "0 to 1"
    if words[0] == "quoted":
        return "" if words[-1] == "on" else "supplier's money"
    if words[-1] in ("rate", "share"):
        return "1"
    if words[-1] in _UNITS and words[0] not in ("cost", "price"):
        return _UNITS[words[-1]]
    return currency if not _MONEY.isdisjoint(words) else ""


def answer_tables(data: Mapping[str, Any]) -> dict[str, Rows]:
    """The tables in an answer's ``as_json``, by name: first row the headings, days as days, unequal rows filled up.
    Every list becomes a table, what is nested stands in one row, what is a list within a row becomes a table of its own
    with the first column of that row. The rest is one table."""
    currency = str(data.get("currency") or "")
    lists: dict[str, list[Record]] = {}
    single = [[_table([{path: x}], currency)[0][0], _cell(x)] for path, x in _flat(data, (), "", lists).items()]
    return {ANSWER: [["what", "is"], *single]} | {name: _table(rows, currency) for name, rows in lists.items()}


def _table(rows: Sequence[Record], currency: str) -> Rows:
    columns = list(dict.fromkeys(path for row in rows for path in row))
    money = {str(row.get(("currency",)) or currency) for row in rows}
    unit = currency if len(money) != 1 else money.pop()
    heads = [heading(c, unit) if any(_is_number(row.get(c)) for row in rows) else heading(c, unit).split(" [")[0]
             for c in columns]  # fmt: skip
    return [heads, *([_cell(row.get(c)) for c in columns] for row in rows)]


def _is_number(x: Any) -> bool:
    return isinstance(x, int | float) and not isinstance(x, bool)


def _flat(x: Mapping[str, Any], path: tuple[str, ...], name: str, lists: dict[str, list[Record]]) -> Record:
    """The single values of a record by their path; its lists go to ``lists``."""
    made: Record = {}
    later: list[tuple[str, list[Mapping[str, Any]]]] = []
    for key, value in x.items():
        here, of = (*path, str(key)), "_".join(filter(None, (name, str(key))))
        if records := _records(str(key), value):
            later.append((of, records))
        elif isinstance(value, Mapping) and name and all(isinstance(v, str) for v in value.values()):
            made[here] = "; ".join(f"{k}={v}" for k, v in value.items())
        elif isinstance(value, Mapping):
            made |= _flat(value, here, name, lists)
        else:
            made[here] = "; ".join(map(str, value)) if isinstance(value, list | tuple) else value
    first: Record = {}
    if name:  # a list within a row has its first column
        first = {("of", *k): v for k, v in list(made.items())[:1]}
        first |= {k: v for k, v in made.items() if k == ("currency",)}
    for of, records in later:
        rows = lists.setdefault(of, [])
        rows += [first | _flat(record, (), of, lists) for record in records]
    return made


def _records(key: str, value: Any) -> list[Mapping[str, Any]]:
    """The rows of what becomes a table of its own: a mapping or a list of records, a list of numbers; else none."""
    if isinstance(value, Mapping) and all(isinstance(v, Mapping) for v in value.values()):
        return [{key: k, **v} for k, v in value.items()]
    if not isinstance(value, list | tuple):
        return []
    if any(isinstance(v, Mapping) for v in value):
        return [v if isinstance(v, Mapping) else {"is": v} for v in value]
    return [{key: v} for v in value] if all(map(_is_number, value)) else []


def _cell(x: Any) -> Any:
    if isinstance(x, str) and _DAY.fullmatch(x):
        with suppress(ValueError):
            return datetime.date.fromisoformat(x)
    return x if x is None or isinstance(x, bool | int | float | datetime.date) else str(x)


def add_faces(job: Any) -> Any:
    """Add to a command how its answer may be had; the group in which only one can be asked for."""
    job.add_argument("--tables", type=Path, metavar="FOLDER", help="write every table of the answer: CSV and one .xlsx")
    face = job.add_mutually_exclusive_group()
    face.add_argument("--json", action="store_true", help="plain data for other programs")
    face.add_argument("--report", type=Path, metavar="FILE.html", help="write one offline page with the pictures")
    face.add_argument("--full", action="store_true", help="print everything, not the first screen alone")
    return face


def column_named(text: str) -> tuple[str, str]:
    """A heading of a list and the field that it is of."""
    ours, mark, theirs = text.partition("=")
    if not mark or not ours.strip() or not theirs.strip():
        raise argparse.ArgumentTypeError(f'found {text!r}; write OURS=THEIRS, as in "item=Part name"')
    return theirs.strip(), ours.strip()


def give(
    args: argparse.Namespace, data: Callable[[], Mapping[str, Any]], page: Callable[[], str], text: Callable[[], str]
) -> None:
    """Write the tables and the page that were asked for; without a page print plain data or the screen."""
    if args.tables is not None:
        keep_tables(args.tables, args.job, data())
    if args.report is not None:
        write_page(args.report, page)
        print(f"Wrote {args.report}")
    elif args.json:
        print_json(data())
    else:
        print(for_terminal(text()).rstrip("\n"))


def keep_tables(folder: Path, job: str, data: Mapping[str, Any]) -> None:
    written = write_tables(folder, job, answer_tables(data))
    print(f"Wrote {len(written)} files of tables to {folder}", file=sys.stderr)
