"""The log of past jobs, a CSV row a fact; and learned.toml, what they say, read by a case that asks for it."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import asdict, fields
from pathlib import Path
from typing import Any

from repairecon.read.columns import FILES
from repairecon.read.files import csv_text, write_all, write_own
from repairecon.read.problems import Problems, key, shown
from repairecon.read.tables import Row, read_table
from repairecon.read.toml_file import TomlFile, read_toml, toml_lines
from repairecon.read.values import LARGEST, Limits, plain
from repairecon.records import LOG_KINDS, QUANTITIES, JobLog, Learned, Logged, RepaireconError, Source
from repairecon.records.done import ChanceCount, HoursBias, LearnedLife, SupplierKept

FILE = "job_log.csv"
LEARNED = "learned.toml"
COLUMNS = tuple(f.name for f in fields(Logged) if f.name != "source")
_SEVERAL = {"chance": ("chances", ChanceCount), "hours": ("hours", HoursBias), "supplier": ("suppliers", SupplierKept),
            "life": ("lives", LearnedLife)}  # fmt: skip
"""Field of ``Learned`` by section of learned.toml, and what each of its records is."""
_FIGURES = ("p10", "p50", "p90", "actual")
_HEAD = """# What your own jobs say. In a boat's log each of her jobs uses it; else a case only if case.toml says so:
#     [learned]
#     use = true
# and this file lies beside it. Counts are of your jobs; a job on another kind of unit counts for `strength` of one.
"""


def read_log(folder: str | os.PathLike[str]) -> JobLog:
    """Read the log of jobs of a folder, ``job_log.csv``, empty without the file; CaseError has every fault of it."""
    path, problems = Path(folder) / FILE, Problems()
    table = read_table(path if path.is_file() else None, FILE, FILES[FILE], problems)
    rows = [_logged(row) for row in table.rows]
    problems.stop_if_any()
    return JobLog(tuple(rows))


def _logged(row: Row) -> Logged:
    kind = row.choice("kind")
    name = row.choice("name", QUANTITIES) if kind == "range" else row.text("name")
    if kind != "life":
        row.required("name", "write what the row is of")
    for column in LOG_KINDS.get(kind, ()):
        row.required(column, f"a row of kind {kind} needs it")
    limits = Limits(-LARGEST, LARGEST) if kind == "range" else Limits(0.0, LARGEST)
    figures: dict[str, Any] = {column: row.number(column, limits) for column in _FIGURES}
    p10, p50, p90 = figures["p10"], figures["p50"], figures["p90"]
    if p10 is not None and p50 is not None and p90 is not None and not p10 <= p50 <= p90:
        row.fault("p10", f"{plain(p10)}, {plain(p50)}, {plain(p90)}", "write them so that p10 <= p50 <= p90")
    if kind == "life" and not row.has("years") and not row.has("hours"):
        row.fault("years", "neither years nor hours", "write the years that it served, the hours that it ran, or both")
    return row.record(Logged, unit=key(row.text("unit")), kind=kind, name=name, source=row.source, **figures)


def log_text(rows: Sequence[Logged]) -> str:
    """Rows as the text of the file."""
    cells = ([getattr(row, column) for column in COLUMNS] for row in rows)
    plainly = ([plain(cell) if isinstance(cell, float) else cell for cell in row] for row in cells)
    return csv_text([COLUMNS, *plainly], end="\n")


def add_to_log(folder: str | os.PathLike[str], rows: Sequence[Logged]) -> Path:
    """Add a job to a log, which is begun if there is none.

    Of a job that is there already only its lives are renewed, as those are known later than the rest. RepaireconError
    is raised if the log has faults, holds the job already with the same lives, or cannot be written; it is then as it
    was.
    """
    path, before = Path(folder) / FILE, read_log(folder)
    known = {key(job) for job in before.jobs}
    late = {key(r.job) for r in rows} & known
    lives = [r for r in rows if r.kind == "life" and key(r.job) in late]
    kept = [r for r in before.rows if r.kind != "life" or key(r.job) not in {key(x.job) for x in lives}]
    made = log_text([*kept, *(r for r in rows if key(r.job) not in known), *lives])
    if late and sorted(made.splitlines()) == sorted(log_text(before.rows).splitlines()):
        once = "a job is logged once, later only its lives. If this is another job, give its folder another name"
        raise RepaireconError(f"{shown(rows[0].job)} is in {FILE} already: {once}")
    write_all(Path(folder), {FILE: made.encode()}, replace=path.exists())
    return path


def learned_of(toml: TomlFile, folder: str, log: Path | None = None) -> Learned | None:
    """What was learned: beside the case if it asks for it, else in ``log``, that of its boat, unless it says no."""
    section = toml.section("learned")
    use, first_time = section.yes_if_written("use"), section.yes("first_time")
    path = Path(folder) / LEARNED
    if log is not None and use is not False and not path.is_file() and (log / LEARNED).is_file():
        path, use = log / LEARNED, True
    if use and not path.is_file():
        section.fault("use", "true, and no learned.toml beside case.toml", "put it there, or write false")
        return None
    return read_learned(path, toml.problems, first_time) if use else None


def read_learned(path: Path, problems: Problems, first_time: bool = True) -> Learned:
    """Read what was learned, faults noted."""
    toml = read_toml(path, problems, LEARNED)
    head = toml.section("learned")
    several: dict[str, Any] = {field: tuple(
        section.record(kind, **{"unit": key(section.text("unit"))} if "unit" in section.declared else {})
        for section in toml.sections(name)
    ) for name, (field, kind) in _SEVERAL.items()}  # fmt: skip
    return head.record(
        Learned, jobs=head.whole("jobs") or 0, strength=head.number("strength") or 0.0, first_time=first_time,
        source=Source(LEARNED), **several,
    )  # fmt: skip


def learned_text(learned: Learned) -> str:
    """What was learned as the text of the file."""
    head = {"jobs": learned.jobs, "strength": learned.strength, "drift_rate": learned.drift_rate}
    lines = [_HEAD, *toml_lines("[learned]", head)]
    for name, (field, _) in _SEVERAL.items():
        for record in getattr(learned, field):
            lines += toml_lines(f"[[{name}]]", asdict(record))
    return "\n".join(lines)


def write_learned(path: str | os.PathLike[str], learned: Learned) -> None:
    """Write what was learned, whole or not at all; an earlier one is replaced."""
    write_own(Path(path), learned_text(learned))
