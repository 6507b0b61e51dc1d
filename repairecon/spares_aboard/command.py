"""``repairecon spares-aboard BOOK``: the answer, or with a further word an act on the book."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

from repairecon.book.book_place import book_at, passage_for
from repairecon.spares_aboard import command_spares_acts as spares_acts
from repairecon.spares_aboard import command_spares_lists as spares_lists
from repairecon.spares_aboard.job import spares_aboard

NUMBERS = {
    "passage_days": "days of the passage or season",
    "running_hours": "running hours of the engine in it",
    "resupply_days": "days after it until a part can be had",
    "budget": "money to spend on spares at most",
    "weight_kg": "weight that may be added at most",
    "room_litres": "room that may be taken at most",
}


def add(jobs: Any) -> None:
    """Add the job and its acts to the command line."""
    job = jobs.add_parser("spares-aboard", help="reckon a spares book, or write an act into it")
    job.add_argument("book", help="the book, a file such as boat.spares (or a folder of CSV files, to read only)")
    for name, words in NUMBERS.items():
        option = f"--{name.replace('_', '-')}"
        job.add_argument(option, type=float, metavar="N", help=f"{words}, instead of passage.toml's")
    job.add_argument("--today", default="", metavar="DATE", help="day of the list, as in 2026-03-31")
    face = job.add_mutually_exclusive_group()
    face.add_argument("--json", action="store_true", help="plain data for other programs")
    face.add_argument("--report", type=Path, metavar="FILE.html", help="write one offline page with the pictures")
    face.add_argument("--insurance", type=Path, metavar="FILE", help="write the list for an insurer: .csv or .xlsx")
    job.set_defaults(run=run)
    acts = job.add_subparsers(dest="act", metavar="ACT", title="acts", description="Without an act: the answer.")
    spares_acts.add(acts)
    spares_lists.add(acts)


def run(args: argparse.Namespace) -> None:
    """Reckon, then print or write."""
    numbers = {name: getattr(args, name) for name in NUMBERS}
    if args.report is not None:
        from repairecon.show.report import write_report

        with book_at(args.book) as book:
            passage_for(args.book, book)
        place = Path(args.book).resolve()
        write_report(
            "spares_aboard",
            args.report,
            {"book": str(place), "today": args.today, **numbers},
            show_bar=sys.stderr.isatty(),
            title=f"Spares aboard: {place.stem}",
        )
        print(f"Wrote {args.report}")
        return
    answer = spares_aboard(args.book, today=args.today or None, **numbers)
    if args.insurance is not None:
        from repairecon.spares_aboard.insurance_list import write_insurance

        write_insurance(answer, args.insurance)
        print(f"Wrote {args.insurance}")
    elif args.json:
        from repairecon.spares_aboard.json_data import as_json

        print(json.dumps(as_json(answer), indent=1, ensure_ascii=False, allow_nan=False))
    else:
        from repairecon.spares_aboard.summary import summary

        print(summary(answer), end="")
