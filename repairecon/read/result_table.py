"""Tables of answers out: those of one answer into a folder, and one that grows as results come."""

from __future__ import annotations

import csv
import hashlib
import io
import os
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from repairecon.read.files import Value, check_own, csv_text, workbook_bytes, write_all, write_own
from repairecon.read.problems import shown
from repairecon.records import RepaireconError

BOOK, INDEX = "tables.xlsx", "tables.csv"
_HEADINGS = ["job", "file", "rows", "hash"]
MARK = "made_of"  # column that says of what a row was made: a hash of its files and of what was asked


def write_tables(
    folder: str | os.PathLike[str], job: str, tables: Mapping[str, Sequence[Sequence[Value]]]
) -> tuple[Path, ...]:
    """Write every table as ``<name>.csv``, ``tables.xlsx`` with a sheet each, ``tables.csv`` as the list of them.

    ``folder`` is made if need be; ``tables`` are rows by name, the first row the headings. RepaireconError, and nothing
    written, if something of these names is there that is not as an earlier run of this job wrote it.
    """
    place = Path(folder)
    files = {f"{name}.csv": csv_text(rows, defuse=True).encode("utf-8-sig") for name, rows in tables.items()}
    counts = {f"{name}.csv": len(rows) - 1 for name, rows in tables.items()}
    files[BOOK] = workbook_bytes(tables, money="General", filters=True)
    listed = [[job, name, counts.get(name), _hash(data)] for name, data in files.items()]
    files[INDEX] = csv_text([_HEADINGS, *listed]).encode("utf-8")
    earlier: dict[str, str] = {}
    if (place / INDEX).is_file() and not (place / INDEX).is_symlink():
        there = csv.reader((place / INDEX).read_text(encoding="utf-8", errors="replace").splitlines())
        if next(there, None) == _HEADINGS:
            earlier = {row[1]: row[3] for row in there if len(row) == len(_HEADINGS) and row[0] == job}
    if place.exists() and not place.is_dir():
        raise RepaireconError(f"{shown(str(place))} is a file: name a folder for the tables; nothing was written")
    for name in files:
        ours = earlier if name == INDEX else earlier.get(name) == _hash_of(place / name)
        if os.path.lexists(place / name) and not ours:
            why = "is not as an earlier run of this job wrote it: name another folder; nothing was written"
            raise RepaireconError(f"{name} in {shown(str(place))} {why}")
    write_all(place, files, replace=place.exists())
    for name in earlier.keys() - files.keys():  # of an earlier answer, and none of this one
        if earlier[name] == _hash_of(place / name):
            (place / name).unlink()
    return tuple(place / name for name in files)


def _hash(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()[:20]


def _hash_of(path: Path) -> str:
    return _hash(path.read_bytes()) if path.is_file() and not path.is_symlink() else ""


# ---- a table that grows --------------------------------------------------------------------------
def mark_of(folder: str | os.PathLike[str], asked: Iterable[object] = ()) -> str:
    """A hash of a file, or of all in a folder but in none within, and of what is asked; "" where there is neither."""
    place, made = Path(folder), hashlib.sha256(repr(tuple(asked)).encode())
    if not place.exists():
        return ""
    for path in sorted(p for p in place.iterdir() if p.is_file()) if place.is_dir() else [place]:
        made.update(path.name.encode() + b"\0")
        made.update(hashlib.sha256(path.read_bytes()).digest())
    return made.hexdigest()[:20]


class ResultTable:
    """A CSV file of results, a row each, the mark in the last column; written row by row.

    A file of these columns is gone on with, any other is refused; rows whose mark is not ``wanted`` are taken out.
    """

    def __init__(self, path: str | os.PathLike[str], columns: Sequence[str], wanted: Iterable[str]) -> None:
        self.path, self.columns = Path(path), (*columns, MARK)
        marks, text = set(wanted) - {""}, ""
        check_own(self.path, csv_text([self.columns]).encode())
        if self.path.exists():
            text = self.path.read_text(encoding="utf-8", errors="replace")
        rows = csv.DictReader(io.StringIO(text[: text.rfind("\n") + 1]))  # a last row that was cut off is none
        whole = [row for row in rows if None not in row.values() and None not in row]
        kept = [row for row in whole if row[MARK] in marks]
        write_own(self.path, csv_text([self.columns, *([row[c] for c in self.columns] for row in kept)], end="\n"))
        self.done = {row[MARK]: {k: v for k, v in row.items() if k != MARK} for row in kept}

    def add(self, row: Mapping[str, Any], mark: str) -> None:
        cells = [*(row[c] for c in self.columns[:-1]), mark]
        with self.path.open("a", encoding="utf-8", newline="") as file:
            file.write(csv_text([cells], end="\n"))


def to_parquet(path: Path, to: Path) -> None:
    """The rows of a CSV table as Parquet, some at a time."""
    try:
        import pandas as pd
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError as error:
        raise RepaireconError("Parquet needs the extra fleet: pip install 'repairecon[fleet]'") from error
    if os.path.lexists(to):
        raise RepaireconError(f"{shown(str(to))} is there already; give another name")
    part = to.with_name(f".{to.name}.part")
    writer = None
    for rows in pd.read_csv(path, chunksize=1000):
        table = pa.Table.from_pandas(rows, schema=writer.schema if writer else None, preserve_index=False)
        writer = writer or pq.ParquetWriter(part, table.schema)
        writer.write_table(table)
    if writer:
        writer.close()
        part.replace(to)
