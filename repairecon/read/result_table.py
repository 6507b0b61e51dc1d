"""A table to which results come as they are ready; an interrupted run goes on where it stopped."""

from __future__ import annotations

import csv
import hashlib
import io
import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from repairecon.read.files import check_own, csv_text, write_own
from repairecon.read.problems import shown
from repairecon.records import RepaireconError

MARK = "made_of"
"""Column that says of what a row was made: a hash of its files and of what was asked."""

_CHUNK = 1000


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
        marks = set(wanted) - {""}
        kept = [row for row in self._there() if row[MARK] in marks]
        write_own(self.path, csv_text([self.columns, *([row[c] for c in self.columns] for row in kept)], end="\n"))
        self.done = {row[MARK]: {k: v for k, v in row.items() if k != MARK} for row in kept}

    def _there(self) -> Iterator[dict[str, str]]:
        """Rows of the file as it is; a last one that was cut off is none."""
        check_own(self.path, csv_text([self.columns]).encode())
        if not self.path.exists():
            return
        text = self.path.read_text(encoding="utf-8", errors="replace")
        rows = csv.DictReader(io.StringIO(text[: text.rfind("\n") + 1]))
        yield from (row for row in rows if None not in row.values() and None not in row)

    def add(self, row: Mapping[str, Any], mark: str) -> None:
        """Write one result at once."""
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
    for rows in pd.read_csv(path, chunksize=_CHUNK):
        table = pa.Table.from_pandas(rows, schema=writer.schema if writer else None, preserve_index=False)
        writer = writer or pq.ParquetWriter(part, table.schema)
        writer.write_table(table)
    if writer:
        writer.close()
        part.replace(to)
