"""actual.csv, what happened on a job, to records; and the sheet to fill in, made from the case."""

from __future__ import annotations

import os
from pathlib import Path

from repairecon.read.columns import FILES
from repairecon.read.problems import Names, Problems, key, shown
from repairecon.read.sheet_writing import csv_text
from repairecon.read.tables import Row, read_table
from repairecon.read.values import Limits
from repairecon.records import DONE_KINDS, Actual, Case, Done

FILE = "actual.csv"
_LIFE_HOURS = Limits(0.0, 1e7, above=True)
FIRST_RUNS = ("good", "not good")
_NAMELESS = ("total", "first run")
_TAKES = {
    "way": ("days",),
    "found": ("outcome",),
    "part": ("quantity", "bought", "paid", "vat", "days", "from_spares"),
    "unit": ("paid", "vat", "days", "from_spares"),
    "task": ("paid", "vat", "hours", "days", "by", "first_time"),
    "damage": ("paid", "vat", "hours", "days", "by", "first_time"),
    "carriage": ("paid", "vat"),
    "refund": ("paid",),
    "never came": ("days",),
    "first run": ("outcome",),
    "other": ("quantity", "paid", "vat", "hours", "days", "by"),
    "total": ("paid", "hours", "days"),
    "life": ("years", "hours", "failed"),
}
_COLUMNS = (
    "outcome", "quantity", "bought", "paid", "vat", "hours", "days", "by", "first_time", "from_spares", "years",
    "failed",
)  # fmt: skip


def read_actual(folder: str | os.PathLike[str], case: Case) -> Actual:
    """Read what happened.

    Parameters
    ----------
    folder
        Folder of the case; the file is ``actual.csv``.
    case
        The case as it was decided: its names are the ones that may be used.

    Returns
    -------
    Actual
        The rows; blank ones too.

    Raises
    ------
    CaseError
        With every fault of the file.
    """
    problems = Problems()
    path = Path(folder) / FILE
    if not path.is_file():
        problems.add(FILE, None, "", "no such file", "decide first (that writes the sheet), then fill it in")
    table = read_table(path if path.is_file() else None, FILE, FILES[FILE], problems)
    known = _known(case)
    first: dict[tuple[str, str], int] = {}
    rows = [_done(row, case, known, first) for row in table.rows]
    problems.stop_if_any()
    return Actual(tuple(rows))


def _known(case: Case) -> dict[str, Names]:
    """Names that may be used, by kind of row; a kind that is left out takes any name."""
    ways = Names(w.way for w in case.ways)
    outcomes = Names(b.key for b in case.branches if b.seen_at)
    return {
        "part": Names(p.part for p in case.parts),
        "task": Names([*(t.task for t in case.tasks), *fittings(case)]),
        "found": Names(b.event for b in case.branches),
        "damage": outcomes,
        **dict.fromkeys(("way", "unit", "refund", "never came", "life"), ways),
    }


def fittings(case: Case) -> list[str]:
    """Fitting work of the ways that have some, as rows of kind task name it."""
    return [f"fitting, {w.way}" for w in case.ways if w.fitting_hours.high > 0]


def _done(row: Row, case: Case, known: dict[str, Names], first: dict[tuple[str, str], int]) -> Done:
    kind = row.choice("kind")
    name = _name(row, kind, known)
    if kind:
        at = first.setdefault((kind, key(name)), row.row)
        if at != row.row:
            row.fault("name", f"{shown(name) if name else kind} again", f"add it to row {at}")
        for column in _COLUMNS:
            if row.has(column) and column not in _TAKES[kind]:
                write = f"leave it blank in a row of kind {kind}, or choose another kind"
                row.fault(column, row.shown(column), write)
    paid = row.number("paid")
    done = Done(
        kind=kind,
        name=name,
        outcome=_outcome(row, kind, name, case),
        paid=paid if paid is None or row.choice("vat") == "in" else paid * (1.0 + case.terms.vat_rate),
        hours=row.number("hours", _LIFE_HOURS if kind == "life" else None),
        by=_by(row, case),
        note=row.note(),
        source=row.source,
        **row.these("quantity", "bought", "days", "first_time", "from_spares", "years", "failed"),
    )
    _check_whole(row, done)
    return done


def _name(row: Row, kind: str, known: dict[str, Names]) -> str:
    if kind in _NAMELESS or not kind:
        return row.text("name")
    word = row.required("name", "name it as the case does" if kind in known else "name it")
    names = known.get(kind)
    if names is None or not word or word in names:
        return names.find(word) if names and word else word
    otherwise = "" if len(names) else f"the case has none: take kind other instead of {kind}"
    row.fault("name", shown(word), names.advice(row.problems, word, otherwise))
    return word


def _outcome(row: Row, kind: str, event: str, case: Case) -> str:
    word = row.text("outcome")
    if kind == "first run":
        return row.choice("outcome", FIRST_RUNS)
    if kind != "found" or not word:
        return word
    names = Names(b.outcome for b in case.branches if key(b.event) == key(event))
    if word not in names and len(names):
        row.fault("outcome", shown(word), names.advice(row.problems, word))
    return names.find(word) or word


def _by(row: Row, case: Case) -> str:
    word = row.text("by")
    names = Names(["owner", *case.terms.labour])
    if word and word not in names:
        row.fault("by", shown(word), names.advice(row.problems, word))
    return names.find(word) or word


def _check_whole(row: Row, done: Done) -> None:
    """What a row that tells something must tell besides."""
    if done.kind == "part" and (row.has("paid") or row.has("bought")) and not row.has("quantity"):
        write = "write how many pieces were fitted, 0 for none (bought: how many were paid for)"
        row.fault("quantity", "nothing", write)
    if done.kind == "part" and done.paid and done.quantity == 0 and done.bought is None:
        row.fault("bought", "nothing", "none were fitted: write how many pieces were paid for")
    if done.bought == 0 and done.paid:
        row.fault("bought", "0", "leave paid blank, or write how many pieces were paid for")
    if done.kind == "life":
        if not row.has("years") and not row.has("hours"):
            row.fault(
                "years", "neither years nor hours", "write the years that it served, the hours that it ran, or both"
            )
        row.required("failed", "write yes if it failed at that age, no if it still worked")


def sheet(case: Case, way: str) -> str:
    """The sheet to fill in: a row for all that the case speaks of, cells left blank where nothing is known.

    Parameters
    ----------
    case
        The case as decided.
    way
        The way chosen.

    Returns
    -------
    str
        Text of ``actual.csv``.
    """
    columns = ["kind", "name", *_COLUMNS, "note"]
    rows = [columns]

    def line(kind: str, name: str = "", **cells: str) -> None:
        filled = {"kind": kind, "name": name, **cells}
        rows.append([filled.get(column, "") for column in columns])

    line("way", way, note=DONE_KINDS["way"])
    for event in dict.fromkeys(b.event for b in case.branches):
        outcomes = dict.fromkeys(b.outcome for b in case.branches if b.event == event)
        line("found", event, note="outcome: " + " / ".join(outcomes))
    for part in case.parts:
        packs = sorted({q.pack for q in case.quotes if q.item == part.part and q.pack > 1})
        sold = f"; quoted in packs of {' or '.join(map(str, packs))}: bought = all pieces in them" if packs else ""
        line("part", part.part, note=(f"planned {part.quantity}" if part.needed == "always" else "if damaged") + sold)
    for task in case.tasks:
        line("task", task.task, by=task.by if task.by != "owner" else "", note=task.stage)
    for outcome in dict.fromkeys(b.key for b in case.branches if b.extra_hours.high > 0 or b.outside_cost.high > 0):
        line("damage", outcome, note="if it was found")
    for name in fittings(case):
        line("task", name, note="if it was taken")
    for w in case.ways:
        if w.traits.rebuilds != "here":
            line("unit", w.way, note="if it was taken")
    for w in case.ways:
        if w.core_surcharge.high > 0 or (w.old_unit in ("sold", "scrap") and w.old_unit_price.high > 0):
            line("refund", w.way, note="if money came back for the old unit")
    line("carriage", "all", note=DONE_KINDS["carriage"])
    line("first run", note="outcome: good / not good")
    line("total", note=DONE_KINDS["total"])
    return csv_text(rows, end="\n")
