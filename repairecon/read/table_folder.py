"""The tables of an answer into a folder: each as CSV, all of them in one workbook, and a list of what was written."""

from __future__ import annotations

import csv
import hashlib
import os
from collections.abc import Mapping, Sequence
from pathlib import Path

from repairecon.read.files import Value, csv_text, workbook_bytes, write_all
from repairecon.read.problems import shown
from repairecon.records import RepaireconError

BOOK, INDEX = "tables.xlsx", "tables.csv"
_HEADINGS = ["job", "file", "rows", "hash"]


def write_tables(
    folder: str | os.PathLike[str], job: str, tables: Mapping[str, Sequence[Sequence[Value]]]
) -> tuple[Path, ...]:
    """Write every table as ``<name>.csv``, ``tables.xlsx`` with a sheet each, ``tables.csv`` as the list of them.

    ``folder`` is made if need be; ``tables`` are rows by name, the first row the headings. RepaireconError is raised,
    and nothing written, if something of these names is there that is no earlier output of this job as it was written,
    or a file cannot be written.
    """
    place = Path(folder)
    files = {f"{name}.csv": csv_text(rows, defuse=True).encode("utf-8-sig") for name, rows in tables.items()}
    counts = {f"{name}.csv": len(rows) - 1 for name, rows in tables.items()}
    files[BOOK] = workbook_bytes(tables, money="General", filters=True)
    listed = [[job, name, counts.get(name), _hash(data)] for name, data in files.items()]
    files[INDEX] = csv_text([_HEADINGS, *listed]).encode("utf-8")
    earlier = _earlier(place, job)
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


def _earlier(place: Path, job: str) -> dict[str, str]:
    """Hashes of an earlier output of the job, by file."""
    path = place / INDEX
    if not path.is_file() or path.is_symlink():
        return {}
    rows = list(csv.reader(path.read_text(encoding="utf-8", errors="replace").splitlines()))
    listed = rows[1:] if rows[:1] == [_HEADINGS] else []
    return {row[1]: row[3] for row in listed if len(row) == len(_HEADINGS) and row[0] == job}
