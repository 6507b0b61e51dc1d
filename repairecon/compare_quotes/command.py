"""``repairecon compare-quotes FOLDER``."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

from repairecon.compare_quotes.job import QuotesAnswer, compare_quotes
from repairecon.read.case_folder import read_case
from repairecon.records import OrderTotal, RepaireconError

MONEY = ("quoted_goods", "quoted_discount", "quoted_carriage", "quoted_fees", "quoted_core", "quoted_total",
         "cost_landed")  # fmt: skip


def add(jobs: Any) -> None:
    """Add the job to the command line."""
    job = jobs.add_parser("compare-quotes", help="which quotes to take, landed")
    job.add_argument("folder", help="case folder with parts.csv, suppliers.csv and quotes.csv")
    job.add_argument("--deadline", type=float, metavar="DAYS", help="days within which all must be here")
    job.add_argument("--most-parcels", type=int, metavar="N", help="parcels at most")
    job.add_argument("--without", action="append", metavar="SUPPLIER", help="leave a supplier out; may be repeated")
    job.add_argument("--want", action="append", type=_wanted, metavar="PART=PIECES", help="order these parts only")
    job.add_argument("--also-damage", action="store_true", help="order the parts that only damage would need, too")
    job.add_argument("--take-near", action="store_true", help="allow quotes whose size is near, not the same")
    job.add_argument("--orders", type=Path, metavar="FOLDER", help="write the order to each supplier, CSV and .xlsx")
    face = job.add_mutually_exclusive_group()
    face.add_argument("--json", action="store_true", help="plain data for other programs")
    face.add_argument("--report", type=Path, metavar="FILE.html", help="write one offline page with the pictures")
    job.set_defaults(run=run)


def _wanted(text: str) -> tuple[str, int]:
    """A part and how many pieces."""
    part, _, pieces = text.rpartition("=")
    if part.strip() and pieces.strip().isdecimal():
        return part.strip(), int(pieces)
    raise argparse.ArgumentTypeError(f"found {text!r}; write PART=PIECES, as in 'shaft seal=2'")


def _each_once(wanted: list[tuple[str, int]]) -> dict[str, int]:
    twice = sorted({part for part, _ in wanted if sum(part == other for other, _ in wanted) > 1})
    if twice:
        raise RepaireconError(f"--want: {', '.join(twice)} twice; name each part once")
    return dict(wanted)


def run(args: argparse.Namespace) -> None:
    """Compare, then print or write."""
    wishes = {
        "wanted": _each_once(args.want) if args.want else None,
        "also_damage": args.also_damage,
        "deadline_days": args.deadline,
        "most_parcels": args.most_parcels,
        "without": tuple(args.without) if args.without else None,
        "take_near": args.take_near,
    }
    answer = compare_quotes(read_case(args.folder, order=True), **wishes)
    if args.report is not None:
        from repairecon.show.report import write_report

        names = {"case_folder": str(Path(args.folder).resolve())} | wishes
        write_report("compare_quotes", args.report, names, show_bar=sys.stderr.isatty())
        print(f"Wrote {args.report}")
    _write_orders(answer, args.orders)
    if args.json:
        from repairecon.compare_quotes.json_data import as_json

        print(json.dumps(as_json(answer), indent=1, ensure_ascii=False, allow_nan=False))
    elif args.report is None:
        from repairecon.compare_quotes.summary import summary

        print(summary(answer), end="")


def _in_cents(total: OrderTotal) -> OrderTotal:
    from repairecon.show.words import cents

    amounts: dict[str, Any] = {name: cents(getattr(total, name)) for name in MONEY}
    return replace(total, **amounts)


def _write_orders(answer: QuotesAnswer, folder: Path | None) -> None:
    if folder is None:
        return
    from repairecon.read.orders import write_orders
    from repairecon.show.words import cents

    lines = [replace(line, quoted=cents(line.quoted)) for line in answer.order_lines()]
    totals = [_in_cents(t) for t in answer.order_totals()]
    write_orders(folder, lines, totals, answer.case.terms.currency)
    print(f"Wrote the orders to {folder}", file=sys.stderr)
