"""Many cases at once: a line each, as they are ready; a case with faults is a line like any other."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass, fields
from functools import partial
from pathlib import Path
from typing import Any

from repairecon.book.on_hand import read_case_aboard
from repairecon.many.work import Lost, cores, each
from repairecon.read.boat import boat_folder, home_of
from repairecon.read.result_table import ResultTable, mark_of, to_parquet
from repairecon.rebuild_or_buy import headline
from repairecon.rebuild_or_buy.job import DRAWS, rebuild_or_buy
from repairecon.records import RepaireconError
from repairecon.show.answer_tables import print_json
from repairecon.show.layout import shortened
from repairecon.show.report import version
from repairecon.show.words import days_words, money, whole


@dataclass(frozen=True, kw_only=True)
class CaseLine:
    """One case: what to do in words, what that comes to and against what [home money], days, own hours.

    ``total`` is over so many ``years``, or of this job alone (0). ``faults`` is why there is no answer, else empty.
    """

    case: str
    unit: str = ""
    do: str = ""
    what: str = ""
    way: str = ""
    total: float | None = None
    years: float | None = None
    saves: float | None = None
    against: str = ""
    cash: float | None = None
    own_hours: float | None = None
    days: float | None = None
    bad_case: float | None = None
    currency: str = ""
    faults: str = ""


COLUMNS = tuple(f.name for f in fields(CaseLine))
_NUMBERS = {f.name for f in fields(CaseLine) if f.default is None}


def case_line(folder: str, draws: int | str = DRAWS, seed: int = 1) -> CaseLine:
    """The answer of one case as a line; its faults where it has none."""
    try:
        case = read_case_aboard(folder)
        answer = rebuild_or_buy(case, draws, seed)
        a = answer.advice
        row = answer.table.loc[a.way]
        return CaseLine(
            case=folder, unit=case.unit.name, do=a.do, what=headline.do(answer), way=a.way, total=a.total,
            years=a.years if a.basis == "years" else 0.0, saves=a.gap, against=a.against, cash=float(row["cash_mean"]),
            own_hours=float(row["own_hours_mean"]), days=float(row["days_mean"]), bad_case=float(row["total_p90"]),
            currency=case.terms.currency,
        )  # fmt: skip
    except RepaireconError as error:
        return CaseLine(case=folder, faults="; ".join(str(error).splitlines()))


def case_lines(
    folders: Iterable[str | os.PathLike[str]], draws: int | str = DRAWS, seed: int = 1, *, workers: int = 1,
    scheduler: str = "", table: str | os.PathLike[str] = "",
) -> Iterator[CaseLine]:  # fmt: skip
    """Work out many cases, with draws and seed as for one; a line each in the order of the folders. ``workers`` are
    processes of this machine, ``scheduler`` the address of a cluster's; the figures are the same. To ``table``, a CSV
    file, each line is written at once: what it holds already of the same files, draws and seed is not done again."""
    paths = [str(f) for f in folders]
    marks = {path: _mark(path, draws, seed) for path in paths} if table else {}
    kept = ResultTable(table, COLUMNS, marks.values()) if table else None
    done = {m: _line(row) for m, row in kept.done.items()} if kept else {}
    new = (path for path in paths if marks.get(path) not in done)
    fresh = each(partial(case_line, draws=draws, seed=seed), new, workers, scheduler)
    for path in paths:
        line = done.get(marks.get(path, "")) or next(fresh)
        if isinstance(line, Lost):
            line = CaseLine(case=line.thing, faults="each process that worked on it died: too large for this machine?")
        if kept and marks[path] and marks[path] not in done:
            kept.add(asdict(line), marks[path])
        yield line


def _mark(folder: str, draws: int | str, seed: int) -> str:
    """What a line is made of: the files of the case and of its boat, draws, seed and version."""
    home = boat_folder(folder)
    beneath = (mark_of(home), mark_of(home_of(home) / "log")) if home else ()
    return mark_of(folder, (os.path.abspath(folder), *beneath, draws, seed, version()))  # noqa: PTH100


def _line(row: dict[str, str]) -> CaseLine:
    numbers = {name: float(row[name]) if row[name] else None for name in _NUMBERS}
    return CaseLine(**dict[str, Any](row) | numbers)


def print_lines(folders: Sequence[str], args: argparse.Namespace) -> int:
    """Print a line a case as they are ready, and write them; 2 where a case has no answer."""
    from tqdm import tqdm

    table = Path(args.lines) if args.lines else None
    kept = table.with_suffix(".csv") if table else ""
    lines = case_lines(folders, args.draws, args.seed, workers=min(args.workers or cores(), len(folders)),
                       scheduler=args.scheduler, table=kept)  # fmt: skip
    failed, plain = 0, []
    for line in tqdm(lines, total=len(folders), unit=" cases", disable=not sys.stderr.isatty(), leave=False):
        failed += bool(line.faults)
        if args.json:
            plain.append(asdict(line))
        else:
            tqdm.write(_words(line), file=sys.stdout)
    if args.json:
        print_json(plain)
    if table and table.suffix == ".parquet":
        to_parquet(Path(kept), table)
    if failed and not args.json:
        print(f"{failed} of {len(folders)} cases have no answer.")
    return 2 if failed else 0


def _words(line: CaseLine) -> str:
    """One case as a line of text."""
    if line.faults:
        return f"{line.case}: no answer: {shortened(line.faults, 200)}"
    total, days = money(line.total or 0.0, line.currency), days_words(line.days or 0.0)
    basis = f"over {whole(line.years)} years" if line.years else "all in"
    return f"{line.case}: {total} {basis}, back in {days}. {shortened(line.what, 160)}"
