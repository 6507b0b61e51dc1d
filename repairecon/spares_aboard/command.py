"""``repairecon spares-aboard BOOK``: the answer, or with a further word an act on the book."""

from __future__ import annotations

import argparse
from dataclasses import asdict
from pathlib import Path
from typing import Any

from repairecon.read.files import Value, csv_text, workbook_bytes, write_own
from repairecon.records import ReorderLine, RepaireconError
from repairecon.show.answer_tables import keep_tables, plain, print_json
from repairecon.show.layout import for_terminal
from repairecon.spares_aboard import acts
from repairecon.spares_aboard.carry import SAID
from repairecon.spares_aboard.job import NUMBERS, SparesAnswer, spares_aboard


def add(jobs: Any) -> None:
    """Add the job and its acts to the command line."""
    job = jobs.add_parser("spares-aboard", help="look at a spares book, or write an act into it")
    book = "the book, a file such as boat.spares (or a folder of CSV files, to read only); or the boat's folder"
    job.add_argument("book", help=book)
    for name, (_, words) in NUMBERS.items():
        option = f"--{name.replace('_', '-')}"
        job.add_argument(option, type=float, metavar="N", help=f"{words}, instead of passage.toml's")
    job.add_argument("--today", default="", metavar="DATE", help="day of the list, as in 2026-03-31")
    job.add_argument("--tables", type=Path, metavar="FOLDER", help="write every table of the answer: CSV and one .xlsx")
    face = job.add_mutually_exclusive_group()
    face.add_argument("--json", action="store_true", help="plain data for other programs")
    face.add_argument("--report", type=Path, metavar="FILE.html", help="write one offline page with the pictures")
    face.add_argument("--full", action="store_true", help="print everything, not the first screen alone")
    face.add_argument("--insurance", type=Path, metavar="FILE", help="write the list for an insurer: .csv or .xlsx")
    job.set_defaults(run=run)
    acts.add(job.add_subparsers(dest="act", metavar="ACT", title="acts", description="Without an act: the answer."))


def run(args: argparse.Namespace) -> None:
    """Work the answer out, then print or write it."""
    numbers = {name: getattr(args, name) for name in NUMBERS}
    answer = spares_aboard(args.book, today=args.today or None, **numbers)
    if args.insurance is not None:
        write_insurance(answer, args.insurance)
    from repairecon.show.report import write_page
    from repairecon.spares_aboard import screen

    data = as_json(answer) if args.json or args.tables else {}
    keep_tables(args.tables, args.job, data)
    if args.report is not None:
        write_page(args.report, lambda: screen.page(answer))
        print(f"Wrote {args.report}")
    elif args.json:
        print_json(data)
    elif args.insurance is not None:
        print(f"Wrote {args.insurance}")
    else:
        print(for_terminal(screen.full(answer) if args.full else screen.first_screen(answer)).rstrip("\n"))


def as_json(answer: SparesAnswer) -> dict[str, Any]:
    """The answer as dictionaries, lists, numbers and text; money in home currency, chances 0..1."""
    from repairecon.spares_aboard.words import why

    names = ("boat", "currency", "figures", "passage_days", "period_days", "running_hours", "budget", "spend",
             "most_lost", "today", "until")  # fmt: skip
    by = {f"by_{name}": getattr(answer, f"by_{name}").reset_index() for name in ("locker", "system", "date")}
    made = {
        **{name: getattr(answer, name) for name in names},
        "value": {**asdict(answer.worth), **by},
        "holdings": answer.holdings.drop(columns=["number", "resale_rate"]),
        "receipts": answer.receipts.drop(columns="number"), "expiring": answer.expiring.drop(columns="number"),
        "turning": answer.turning, "budget_curve": answer.budget_curve, "missing": answer.missing,
        "surplus": answer.surplus, "insurance": answer.insurance,
        "below_minimum": [_below(line) for line in answer.below_minimum],
        "carry": answer.carry[list(SAID)].assign(
            why=[why(row, answer.currency) for row in answer.carry.itertuples(index=False)]
        ),
        "risk": answer.risk, "cases": answer.cases, "assumed": answer.assumed,
    }  # fmt: skip
    return {name: plain(x) for name, x in made.items()}


def _below(line: ReorderLine) -> dict[str, Any]:
    last = line.last
    counts = {name: float(getattr(line, name)) for name in ("short", "ashore", "lent")}
    return {
        "item": line.item.name, "critical": line.item.critical, "have": float(line.aboard),
        "minimum": float(line.item.minimum), **counts, "supplier_last": last.person if last else "",
        "price_last": float(last.cost_unit) if last and last.cost_unit is not None else None,
        "bought_last": last.on_date if last else "",
    }  # fmt: skip


def write_insurance(answer: SparesAnswer, path: Path) -> None:
    """Write what is there, how many, where, bought when and from whom, what it cost and what it would cost now.

    Over an earlier list alone; the name ends in .csv or in .xlsx.
    """
    frame = answer.insurance
    sums = {name: float(frame[name].sum()) for name in ("cost", "replacement")}
    total: dict[str, Value] = {"item": f"all, {answer.today.isoformat()}", **sums, "currency": answer.currency}
    names: list[Value] = [*map(str, frame.columns), "currency"]
    rows: list[list[Value]] = [names]
    for row in frame.itertuples(index=False):
        cells = (int(x) if isinstance(x, float) and x.is_integer() else plain(x) for x in row)
        rows.append([*cells, answer.currency])
    rows.append([total.get(str(name)) for name in names])
    form = path.suffix.casefold()
    if form not in (".csv", ".xlsx"):
        raise RepaireconError(f"{path.name}: write a name that ends in .csv or .xlsx")
    data = csv_text(rows, defuse=True).encode("utf-8-sig") if form == ".csv" else workbook_bytes({"spares": rows})
    write_own(path, data)
