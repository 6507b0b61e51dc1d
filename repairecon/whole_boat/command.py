"""``repairecon whole-boat BOAT...``: every open job, unit and spare of a boat or several; what to do next."""

from __future__ import annotations

import argparse
import sys
from dataclasses import asdict
from pathlib import Path
from typing import Any

from repairecon.many.work import cores
from repairecon.show.answer_tables import keep_tables, print_json
from repairecon.show.layout import for_terminal
from repairecon.whole_boat.answer import BoatLine, NoBoat, as_json, whole_boats

FAULTY = 2
"""Exit code where something could not be read; all else is answered."""


def add(jobs: Any) -> None:
    """Add the job to the command line."""
    job = jobs.add_parser("whole-boat", help="every unit and open job of a boat, or of several, and what to do next")
    job.add_argument("folders", nargs="+", metavar="BOAT", help="folders of boats (repairecon new-boat makes one)")
    job.add_argument("--season-days", type=float, default=365.0, help="how far ahead (%(default)s)")
    job.add_argument("--seed", type=int, default=1, help="the same seed gives the same answer (default %(default)s)")
    job.add_argument("--workers", type=int, default=0, help="processes (default: as many as there are cores)")
    job.add_argument("--scheduler", default="", metavar="ADDRESS", help="a cluster's, as in tcp://host:8786")
    job.add_argument("--budget", type=float, help="to spend at most on spares for all of them")
    job.add_argument("--tables", type=Path, metavar="FOLDER", help="write every table of the answer: CSV and one .xlsx")
    face = job.add_mutually_exclusive_group()
    face.add_argument("--json", action="store_true", help="plain data for other programs")
    face.add_argument("--report", type=Path, metavar="FILE.html", help="write one offline page with the picture")
    face.add_argument("--full", action="store_true", help="every step, not the first alone")
    job.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Work it out and print; 2 where something could not be read."""
    from repairecon.whole_boat import words
    from repairecon.whole_boat.pooled import pools

    workers = min(args.workers or cores(), len(args.folders))
    boats = _with_a_bar(args, workers)
    found = pools([b for b in boats if isinstance(b, BoatLine)], args.budget) if len(boats) > 1 else ()
    shared = [asdict(p) for p in found]
    data = as_json(boats) | {"pools": shared}
    if args.tables is not None:
        keep_tables(args.tables, args.job, data)
    if args.report is not None:
        from repairecon.show.report import write_page

        write_page(args.report, lambda: words.page(boats, found))
        print(f"Wrote {args.report}")
    elif args.json:
        print_json(data)
    else:
        print(for_terminal(words.first_screen(boats, found, full=args.full)), end="")
    return FAULTY if any(isinstance(b, NoBoat) or b.failed for b in boats) else 0


def _with_a_bar(args: argparse.Namespace, workers: int) -> list[BoatLine | NoBoat]:
    from tqdm import tqdm

    work = whole_boats(args.folders, args.season_days, args.seed, workers=workers, scheduler=args.scheduler)
    hidden = not sys.stderr.isatty() or len(args.folders) == 1
    return list(tqdm(work, total=len(args.folders), unit=" boats", leave=False, disable=hidden, file=sys.stderr))
