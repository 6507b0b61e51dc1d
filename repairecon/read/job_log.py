"""The log of past jobs: one CSV file, a row a fact; jobs are added whole or not at all."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Sequence
from dataclasses import fields
from pathlib import Path

from repairecon.read import values
from repairecon.read.headings import JOB_LOG
from repairecon.read.names import key
from repairecon.read.problems import Problems, shown
from repairecon.read.rows import Row
from repairecon.read.tables import read_table
from repairecon.read.values import Limits, plain
from repairecon.read.writing import write_all, write_whole
from repairecon.records import LOG_KINDS, QUANTITIES, JobLog, Logged, RepaireconError

FILE = "job_log.csv"
ANY = Limits(-values.LARGEST, values.LARGEST)
COLUMNS = tuple(f.name for f in fields(Logged) if f.name != "source")
_NEEDS = {
    "range": ("p10", "p50", "p90", "actual"),
    "chance": ("outcome", "chance", "happened"),
    "count": ("outcome",),
    "hours": ("p50", "actual"),
    "price": ("p50", "actual"),
    "life": ("group", "happened"),
}


def read_log(folder: str | os.PathLike[str]) -> JobLog:
    """Read a log of jobs.

    Parameters
    ----------
    folder
        Folder of the log; the file is ``job_log.csv``. Without it the log is empty.

    Returns
    -------
    JobLog
        The rows.

    Raises
    ------
    CaseError
        With every fault of the file.
    """
    path, problems = Path(folder) / FILE, Problems()
    table = read_table(path if path.is_file() else None, FILE, JOB_LOG, problems)
    rows = [_logged(row) for row in table.rows]
    problems.stop_if_any()
    return JobLog(tuple(rows))


def _logged(row: Row) -> Logged:
    job = row.required("job", "name the job")
    unit = row.required("unit", "write the kind of unit")
    row.required("kind", f"write one of: {', '.join(LOG_KINDS)}")
    kind = row.choice("kind", LOG_KINDS, "")
    name = row.choice("name", QUANTITIES, "") if kind == "range" else row.text("name")
    if kind != "life":
        row.required("name", "write what the row is of")
    for column in _NEEDS.get(kind, ()):
        row.required(column, f"a row of kind {kind} needs it")
    limits = ANY if kind == "range" else values.MONEY
    p10, p50, p90, actual = (row.number(c, limits) for c in ("p10", "p50", "p90", "actual"))
    if p10 is not None and p50 is not None and p90 is not None and not p10 <= p50 <= p90:
        row.fault("p10", f"{plain(p10)}, {plain(p50)}, {plain(p90)}", "write them so that p10 <= p50 <= p90")
    years, hours = row.number("years", values.YEARS), row.number("hours", values.LIFE_HOURS)
    if kind == "life" and not row.has("years") and not row.has("hours"):
        row.fault("years", "neither years nor hours", "write the years that it served, the hours that it ran, or both")
    return Logged(
        job=job,
        closed_on=row.date("closed_on"),
        unit=key(unit),
        kind=kind,
        name=name,
        source=row.source,
        group=row.text("group"),
        given=row.text("given"),
        outcome=row.text("outcome"),
        chance=row.number("chance", values.FRACTION),
        p10=p10,
        p50=p50,
        p90=p90,
        actual=actual,
        years=years,
        hours=hours,
        first_time=row.yes("first_time") if row.has("first_time") else None,
        happened=row.yes("happened") if row.has("happened") else None,
    )


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return plain(value) if isinstance(value, float) else str(value)


def log_text(rows: Sequence[Logged]) -> str:
    """Rows as the text of the file.

    Parameters
    ----------
    rows
        What is to be kept.

    Returns
    -------
    str
        CSV with its headings.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows([_cell(getattr(row, column)) for column in COLUMNS] for row in rows)
    return out.getvalue()


def add_to_log(folder: str | os.PathLike[str], rows: Sequence[Logged]) -> Path:
    """Add a job to a log, which is begun if there is none.

    Of a job that is there already only its lives are renewed, as those are known later than the rest.

    Parameters
    ----------
    folder
        Folder of the log.
    rows
        The rows of the job.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    RepaireconError
        If the log has faults, holds the job already with the same lives, or cannot be written; it is then as it was.
    """
    path, before = Path(folder) / FILE, read_log(folder)
    known = {key(job) for job in before.jobs}
    late = {key(r.job) for r in rows} & known
    lives = [r for r in rows if r.kind == "life" and key(r.job) in late]
    kept = [r for r in before.rows if r.kind != "life" or key(r.job) not in {key(x.job) for x in lives}]
    made = log_text([*kept, *(r for r in rows if key(r.job) not in known), *lives])
    if late and sorted(made.splitlines()) == sorted(log_text(before.rows).splitlines()):
        raise RepaireconError(
            f"{shown(rows[0].job)} is in {FILE} already: a job is logged once, later only its lives. If this is "
            "another job, give its folder another name"
        )
    text = made
    if path.exists():
        write_whole(path, text)
    else:
        write_all(Path(folder), {FILE: text.encode()})
    return path
