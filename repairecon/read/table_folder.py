"""The tables of an answer into a folder: each as CSV, all of them in one workbook, and a list of what was written."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Mapping, Sequence
from pathlib import Path

from repairecon.read.files import Value, csv_text, read_data, workbook_bytes, write_all
from repairecon.read.problems import shown
from repairecon.read.sheets import read_csv_sheet, text_of
from repairecon.records import RepaireconError

BOOK, INDEX = "tables.xlsx", "tables.csv"
_HEADINGS = ("job", "file", "rows", "hash")


def write_tables(
    folder: str | os.PathLike[str], job: str, tables: Mapping[str, Sequence[Sequence[Value]]]
) -> tuple[Path, ...]:
    """Write every table as ``<name>.csv``, ``tables.xlsx`` with a sheet each, ``tables.csv`` as the list of them.

    Parameters
    ----------
    folder
        Where they shall stand; made if need be.
    job
        Whose tables they are.
    tables
        Rows by name, the first row the headings.

    Returns
    -------
    tuple of Path
        The files.

    Raises
    ------
    RepaireconError
        If something of these names is there that is no earlier output of this job as it was written, or a file cannot
        be written. Nothing is written then.
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
        if os.path.lexists(place / name) and not (earlier.get(name) == _hash_of(place / name) or name == INDEX):
            raise RepaireconError(f"{name} in {shown(str(place))} {_NOT_OURS}")
    if os.path.lexists(place / INDEX) and not earlier:
        raise RepaireconError(f"{INDEX} in {shown(str(place))} {_NOT_OURS}")
    write_all(place, files, replace=place.exists())
    for name in earlier.keys() - files.keys():  # of an earlier answer, and none of this one
        if earlier[name] == _hash_of(place / name):
            (place / name).unlink()
    return tuple(place / name for name in files)


_NOT_OURS = "is not as an earlier run of this job wrote it: name another folder; nothing was written"


def _hash(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()[:20]


def _hash_of(path: Path) -> str:
    return _hash(path.read_bytes()) if path.is_file() and not path.is_symlink() else ""


def _earlier(place: Path, job: str) -> dict[str, str]:
    """Hashes of an earlier output of the job, by file."""
    path = place / INDEX
    if not path.is_file() or path.is_symlink():
        return {}
    head, *rows = read_csv_sheet(read_data(path), INDEX, _HEADINGS).rows.values()
    if tuple(map(text_of, head)) != _HEADINGS:
        return {}
    cells = [[text_of(c) for c in row] for row in rows]
    return {c[1]: c[3] for c in cells if len(c) == len(_HEADINGS) and c[0] == job}
