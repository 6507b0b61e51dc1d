"""A closed job: the case frozen as decided, with hashes over all of it; actual.csv, what then happened; the job log."""

from __future__ import annotations

import hashlib
import os
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path
from typing import Any

from repairecon.read.boat import FROZEN, frozen_papers
from repairecon.read.case_folder import read_case
from repairecon.read.columns import CASE, FILES
from repairecon.read.files import csv_text, write_all
from repairecon.read.problems import Names, Problems, key, shown
from repairecon.read.tables import Row, read_table
from repairecon.read.toml_file import read_toml, toml_lines, toml_value
from repairecon.read.values import LARGEST, Limits, pieces, plain
from repairecon.read.ways import SERVED
from repairecon.records import Case, RepaireconError, Way, grouped
from repairecon.records.done import DONE_KINDS, LOG_KINDS, QUANTITIES, Actual, Decision, Done, Figures, JobLog, Logged

FOLDER, FILE, ACTUAL_FILE, LOG_FILE = "decided", "decision.toml", "actual.csv", "job_log.csv"
_NOT_FROZEN = (ACTUAL_FILE, FILE)
RULES = 2  # how cases are read today; see ``Decision``
_HEAD = """# The case as it was decided. Nothing in this folder is meant to be changed: what is learned later goes into
# actual.csv beside the case. The hashes show a change that was not meant; they are no proof against one that was.
"""
_LIFE_HOURS = Limits(0.0, 1e7, above=True)
_COLUMNS = tuple(name for name in FILES[ACTUAL_FILE].declared if name not in ("kind", "name", "note", "description"))
LOG_COLUMNS = tuple(f.name for f in fields(Logged) if f.name != "source")
_FIGURES = ("p10", "p50", "p90", "actual")


def _hash(data: bytes) -> str:
    """The same for both kinds of line end, as copies change those."""
    return hashlib.sha256(data.replace(b"\r\n", b"\n")).hexdigest()


def _papers(folder: Path) -> dict[str, bytes]:
    inside = sorted([*folder.glob("[!.]*"), *(folder / FROZEN).glob("[!.]*")])
    ours = (p for p in inside if p.suffix.casefold() in (".csv", ".toml") and p.name.casefold() not in _NOT_FROZEN)
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in ours if path.is_file()}


def freeze(folder: str | os.PathLike[str], decision: Decision, case: Case) -> Path:
    """Seal the decision, with copies of the files, in ``decided``, and write the sheet to fill in; only once."""
    place = Path(folder)
    if os.path.lexists(place / FOLDER):
        once = "a decision is frozen once; take the folder away by hand if it was a mistake"
        raise RepaireconError(f"{shown(str(place / FOLDER))} is there already: {once}")
    papers = _papers(place) | frozen_papers(replace(case, folder=str(place)), decision.decided_on)
    names = ("way", "best", "decided_on", "seed", "draws", "found", "stage", "currency")
    head = {name: getattr(decision, name) for name in names}
    head |= {"cost_own_hour": float(decision.cost_own_hour), "rules": RULES}
    tables: dict[str, Mapping[str, object]] = {"decision": head, "files": {n: _hash(d) for n, d in papers.items()}}
    for way, quantities in decision.figures.items():
        for quantity, figures in quantities.items():
            tables[f"figures.{toml_value(way)}.{toml_value(quantity)}"] = asdict(figures)
    body = _HEAD + "".join("\n" + "\n".join(toml_lines(f"[{name}]", of)) for name, of in tables.items())
    files = {f"{FOLDER}/{name}": data for name, data in papers.items()}
    files[f"{FOLDER}/{FILE}"] = f'{body}\n[seal]\nseal = "{_hash(body.encode())}"\n'.encode()
    if not os.path.lexists(place / ACTUAL_FILE):
        files[ACTUAL_FILE] = sheet(case, decision.way).encode()
    write_all(place, files)
    return place / FOLDER


def read_decision(folder: str | os.PathLike[str]) -> Decision:
    """Read the frozen decision of a case; CaseError names every file of it that was changed, added or taken away."""
    place, problems, called = Path(folder) / FOLDER, Problems(), f"{FOLDER}/{FILE}"
    if not (place / FILE).is_file():
        problems.refuse(called, "no such file", "decide first: after-the-job FOLDER --decide WAY")
    data, read = (place / FILE).read_bytes().replace(b"\r\n", b"\n"), dict[str, Any]()
    body, mark, _ = data.rpartition(b"\n[seal]\n")
    with suppress(ValueError):
        read = tomllib.loads(data.decode())
    if not mark or read.get("seal") != {"seal": _hash(body)}:
        advice = "put back the file as it was written: figures of a decision are not for changing afterwards"
        problems.refuse(called, "a changed file", advice)
    hashes, there = read["files"], {name: _hash(data) for name, data in _papers(place).items()}
    for name in there.keys() - hashes.keys():
        write = "take it out of this folder"
        problems.add(f"{FOLDER}/{name}", None, "", "a file that the decision did not rest on", write)
    for name in (name for name in hashes if there.get(name) != hashes[name]):
        found = "a file changed since the decision" if name in there else "no such file"
        problems.add(f"{FOLDER}/{name}", None, "", found, "put back the copy that was frozen")
    problems.stop_if_any()
    figures = {way: {q: Figures(**f) for q, f in by.items()} for way, by in read.get("figures", {}).items()}
    return Decision(folder=str(place), figures=figures, seal=read["seal"]["seal"], **{"rules": 1, **read["decision"]})


@dataclass(frozen=True)
class Closed:
    """A closed job; ``case`` is the frozen one."""

    name: str
    case: Case
    decision: Decision
    actual: Actual


def read_closed(folder: str | os.PathLike[str]) -> Closed:
    """Read a closed job; CaseError has every fault of its decision, else of the frozen case, else of ``actual.csv``."""
    decision = read_decision(folder)
    case = read_case(decision.folder, as_decided=decision.rules < RULES)
    if decision.way not in {w.way for w in case.ways}:
        Problems().refuse(f"{FOLDER}/{FILE}", shown(decision.way), "name a way of the case", "way")
    name = os.path.basename(os.path.realpath(folder))  # noqa: PTH119
    return Closed(name, case, decision, read_actual(folder, case))


# ---- what happened -----------------------------------------------------------------------------------
def read_actual(folder: str | os.PathLike[str], case: Case) -> Actual:
    """Read actual.csv of a case folder with the names of the case as decided; CaseError has every fault of the file."""
    path, problems = Path(folder) / ACTUAL_FILE, Problems()
    if not path.is_file():
        problems.add(ACTUAL_FILE, None, "", "no such file", "decide first (that writes the sheet), then fill it in")
    table = read_table(path, ACTUAL_FILE, FILES[ACTUAL_FILE], problems)
    ways = Names(w.way for w in case.ways)
    known = {  # names that may be used; a kind that is left out takes any
        "part": Names(p.part for p in case.parts), "task": Names([*(t.task for t in case.tasks), *fittings(case)]),
        "found": Names(b.event for b in case.branches), "damage": Names(b.key for b in case.branches if b.seen_at),
        **dict.fromkeys(("way", "unit", "refund", "never came", "life"), ways),
    }  # fmt: skip
    first: dict[tuple[str, str], int] = {}
    rows = [_done(row, case, known, first) for row in table.rows]
    problems.stop_if_any()
    return Actual(tuple(rows))


def fittings(case: Case) -> list[str]:
    return [f"fitting, {w.way}" for w in case.ways if w.fitting_hours.high > 0]


def _done(row: Row, case: Case, known: dict[str, Names], first: dict[tuple[str, str], int]) -> Done:
    kind = row.choice("kind")
    name = _name(row, kind, known)
    at = first.setdefault((kind, key(name)), row.row) if kind else row.row
    row.check((at != row.row, "name", f"{shown(name) if name else kind} again", f"add it to row {at}"))
    for column in row.misplaced(kind) if kind else ():
        write = f"leave it blank in a row of kind {kind}, or choose another kind"
        row.fault(column.name, row.shown(column.name), write)
    paid, outcomes = row.number("paid"), Names(b.outcome for b in case.branches if key(b.event) == key(name))
    if kind == "first run":
        outcome = row.choice("outcome", ("good", "not good"))
    else:
        outcome = row.named("outcome", outcomes, whole=kind == "found" and len(outcomes) > 0)
    done = row.record(
        Done, name=name, outcome=outcome,
        paid=paid if paid is None or row.choice("vat") == "in" else paid * (1.0 + case.terms.vat_rate),
        hours=row.number("hours", _LIFE_HOURS if kind == "life" else None),
        by=row.named("by", Names(["owner", *case.terms.labour])), note=row.note(), source=row.source,
    )  # fmt: skip
    of_part = done.kind == "part"
    unsaid = of_part and not row.has("quantity") and (row.has("paid") or row.has("bought"))
    none_fitted = of_part and done.paid and done.quantity == 0 and done.bought is None
    write = "write how many pieces were fitted, 0 for none (bought: how many were paid for)"
    row.check(
        (unsaid, "quantity", "nothing", write),
        (none_fitted, "bought", "nothing", "none were fitted: write how many pieces were paid for"),
        (done.bought == 0 and done.paid, "bought", "0", "leave paid blank, or write how many pieces were paid for"),
    )
    if done.kind == "life":
        row.either("years", "hours", SERVED)
        row.required("failed", "write yes if it failed at that age, no if it still worked")
    return done


def _name(row: Row, kind: str, known: dict[str, Names]) -> str:
    if kind in ("", "total", "first run"):
        return row.text("name")
    names = known.get(kind)
    word = row.required("name", "name it as the case does" if names is not None else "name it")
    if names is None or not word:
        return word
    return row.named(
        "name", names, otherwise="" if len(names) else f"the case has none: take kind other instead of {kind}"
    )


def kept_findings(case: Case) -> dict[str, str]:
    """Outcomes by event that case.toml says were found; what only the sentence on the symptom lets hear is left out."""
    toml = read_toml(Path(case.folder) / CASE, Problems(), CASE)
    said = {*map(key, toml.section("found").cells), *map(key, pieces(toml.section("unit").text("found")))}
    return {event: outcome for event, outcome in pieces(case.found).items() if key(event) in said}


def sheet(case: Case, way: str) -> str:
    """The text of actual.csv to fill in: a row for all that the case speaks of, with what it says was found."""
    rows: list[dict[str, str]] = []

    def add(kind: str, names: Iterable[str], note: str, **cells: str) -> None:
        rows.extend({"kind": kind, "name": name, "note": note, **cells} for name in dict.fromkeys(names))

    known, taken = kept_findings(case), "if it was taken"
    add("way", [way], DONE_KINDS["way"])
    for event, some in grouped(case.branches, lambda b: b.event).items():
        outcomes = dict.fromkeys(b.outcome for b in some)
        add("found", [event], f"outcome: {' / '.join(outcomes)}", outcome=known.get(event, ""))
    for part in case.parts:
        packs = sorted({q.pack for q in case.quotes if q.item == part.part and q.pack > 1})
        sold = f"; quoted in packs of {' or '.join(map(str, packs))}: bought = all pieces in them" if packs else ""
        planned = f"planned {part.quantity}" if part.needed == "always" else "if damaged"
        add("part", [part.part], planned + sold)
    for task in case.tasks:
        add("task", [task.task], task.stage, by=task.by if task.by != "owner" else "")
    worked = [b.key for b in case.branches if b.extra_hours.high or b.outside_cost.high]
    add("damage", [*worked, *map("{0.event}={0.outcome}".format, case.remedies)], "if it was found")
    add("task", fittings(case), taken)
    add("unit", (w.way for w in case.ways if w.traits.rebuilds != "here"), taken)
    add("refund", (w.way for w in case.ways if _refunds(w)), "if money came back for the old unit")
    add("carriage", ["all"], DONE_KINDS["carriage"])
    add("first run", [""], "outcome: good / not good")
    add("total", [""], DONE_KINDS["total"])
    columns = ["kind", "name", *_COLUMNS, "note"]
    return csv_text([columns, *([row.get(column, "") for column in columns] for row in rows)], end="\n")


def _refunds(way: Way) -> bool:
    return way.core_surcharge.high > 0 or (way.old_unit in ("sold", "scrap") and way.old_unit_price.high > 0)


# ---- the log of jobs -------------------------------------------------------------------------------
def read_log(folder: str | os.PathLike[str]) -> JobLog:
    """Read the log of jobs of a folder, ``job_log.csv``, empty without the file; CaseError has every fault of it."""
    problems, rows = Problems(), []
    for row in read_table(Path(folder) / LOG_FILE, LOG_FILE, FILES[LOG_FILE], problems).rows:
        kind = row.choice("kind")
        of_range = kind == "range"
        name = row.choice("name", QUANTITIES) if of_range else row.text("name")
        if kind == "life":
            row.either("years", "hours", SERVED)
        else:
            row.required("name", "write what the row is of")
        for column in LOG_KINDS.get(kind, ()):
            row.required(column, f"a row of kind {kind} needs it")
        limits = Limits(-LARGEST if of_range else 0.0, LARGEST)
        figures: dict[str, Any] = {column: row.number(column, limits) for column in _FIGURES}
        order = [figures[column] for column in _FIGURES[:3] if figures[column] is not None]
        row.check((len(order) == 3 and order != sorted(order), "p10", ", ".join(map(plain, order)),
                   "write them so that p10 <= p50 <= p90"))  # fmt: skip
        rows.append(row.record(Logged, unit=key(row.text("unit")), kind=kind, name=name, source=row.source, **figures))
    problems.stop_if_any()
    return JobLog(tuple(rows))


def log_text(rows: Sequence[Logged]) -> str:
    cells = [[getattr(row, column) for column in LOG_COLUMNS] for row in rows]
    return csv_text([LOG_COLUMNS, *([plain(c) if isinstance(c, float) else c for c in row] for row in cells)], end="\n")


def add_to_log(folder: str | os.PathLike[str], rows: Sequence[Logged]) -> Path:
    """Add a job to a log, which is begun if there is none; of a job that is in it only its lives are renewed."""
    path, before = Path(folder) / LOG_FILE, read_log(folder)
    known = {key(job) for job in before.jobs}
    new = [r for r in rows if r.kind == "life" or key(r.job) not in known]
    renewed = {key(r.job) for r in new if r.kind == "life"}
    made = log_text([*(r for r in before.rows if r.kind != "life" or key(r.job) not in renewed), *new])
    if rows and sorted(made.splitlines()) == sorted(log_text(before.rows).splitlines()):
        once = "a job is logged once, later only its lives. If this is another job, give its folder another name"
        raise RepaireconError(f"{shown(rows[0].job)} is in {LOG_FILE} already: {once}")
    write_all(Path(folder), {LOG_FILE: made.encode()}, replace=path.exists())
    return path
