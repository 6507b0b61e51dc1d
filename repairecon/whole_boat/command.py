"""``repairecon whole-boat BOAT...``: every open job, unit and spare of a boat or several; what to do next."""

from __future__ import annotations

import argparse
import sys
from typing import Any

from repairecon.many import cores
from repairecon.show.answer_tables import add_faces, give
from repairecon.whole_boat.answer import BoatLine, as_json, not_read, pools, whole_boats

FAULTY = 2
"""Exit code where something could not be read; all else is answered."""


def add(jobs: Any) -> None:
    job = jobs.add_parser("whole-boat", help="every unit and open job of a boat, or of several, and what to do next")
    job.add_argument("folders", nargs="+", metavar="BOAT", help="folders of boats (repairecon new-boat makes one)")
    job.add_argument("--season-days", type=float, default=365.0, help="how far ahead (%(default)s)")
    job.add_argument("--seed", type=int, default=1, help="the same seed gives the same answer (default %(default)s)")
    job.add_argument("--workers", type=int, default=0, help="processes (default: as many as there are cores)")
    job.add_argument("--scheduler", default="", metavar="ADDRESS", help="a cluster's, as in tcp://host:8786")
    job.add_argument("--budget", type=float, help="to spend at most on spares for all of them")
    add_faces(job)
    job.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Work it out and print; 2 where something could not be read."""
    from tqdm import tqdm

    from repairecon.whole_boat import words

    many = len(args.folders)
    work = whole_boats(
        args.folders, args.season_days, args.seed, workers=min(args.workers or cores(), many), scheduler=args.scheduler
    )
    hidden = not sys.stderr.isatty() or many == 1
    boats = list(tqdm(work, total=many, unit=" boats", leave=False, disable=hidden, file=sys.stderr))
    shared = pools([b for b in boats if isinstance(b, BoatLine)], args.budget) if many > 1 else ()
    give(
        args, lambda: as_json(boats, shared), lambda: words.page(boats, shared),
        lambda: words.first_screen(boats, shared, full=args.full),
    )  # fmt: skip
    return FAULTY if not_read(boats) else 0
