"""``repairecon after-the-job FOLDER``."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

from repairecon.after_the_job import command_after_book as after_book
from repairecon.after_the_job.closing import decide
from repairecon.after_the_job.job import after_the_job
from repairecon.after_the_job.learning import STRENGTH
from repairecon.read.closed import FOLDER, read_closed
from repairecon.read.job_log import FILE, add_to_log, read_log, write_learned
from repairecon.records import RepaireconError


def add(jobs: Any) -> None:
    """Add the job to the command line."""
    job = jobs.add_parser("after-the-job", help="estimate against actual, and what a log of jobs teaches")
    job.add_argument("folder", help="folder of a case that was decided, with its actual.csv; or folder of a job log")
    job.add_argument(
        "--decide", nargs="?", const="", metavar="WAY", help="freeze the case as decided (default: the best way)"
    )
    job.add_argument("--on", default="", metavar="DATE", help="day of the decision, year-month-day (default today)")
    job.add_argument("--found", default="", metavar="EVENT=OUTCOME", help="findings at the decision, joined by ';'")
    job.add_argument("--log", type=Path, metavar="FOLDER", help="job log (default: job_log beside the folder, if any)")
    job.add_argument("--add-to-log", action="store_true", help="add this job to the log")
    job.add_argument("--learn", type=Path, metavar="FILE", help="write what the log teaches, for a next case to use")
    job.add_argument(
        "--strength", type=float, default=STRENGTH, help="what a job on another kind of unit counts for (%(default)s)"
    )
    after_book.add(job)
    face = job.add_mutually_exclusive_group()
    face.add_argument("--json", action="store_true", help="plain data for other programs")
    face.add_argument("--report", type=Path, metavar="FILE.html", help="write one offline page with the pictures")
    job.set_defaults(run=run)


def _log_folder(args: argparse.Namespace) -> Path:
    """The log that was named, that is the folder itself, or that lies beside it."""
    if args.log is not None:
        return Path(args.log)
    folder = Path(args.folder)
    if (folder / FILE).is_file() and not (folder / FOLDER).exists():
        return folder
    return folder.resolve().parent / "job_log"


def run(args: argparse.Namespace) -> None:
    """Freeze, or look back; then print or write."""
    if args.decide is not None:
        made = decide(args.folder, args.decide, on=args.on, found=args.found)
        print(f"Froze the decision for {made.way}. Fill in {args.folder}/actual.csv as the work goes on.")
        return
    at = _log_folder(args)
    alone = at == Path(args.folder)
    if args.report is not None:
        from repairecon.show.report import write_report

        if alone:
            raise RepaireconError("a report is of a closed job: name its folder, and the log with --log")
        parameters = {"folder": str(Path(args.folder).resolve()), "log": str(at.resolve()), "strength": args.strength}
        closed = read_closed(args.folder)
        after_the_job(closed, read_log(at), args.strength)
        title = f"After the job: {closed.name}"
        write_report("after_the_job", args.report, parameters, show_bar=sys.stderr.isatty(), title=title)
        print(f"Wrote {args.report}")
        return
    if args.book is not None:
        found = after_the_job(None if alone else read_closed(args.folder), read_log(at), args.strength)
        after_book.run(args, found)
        return
    after_book.refuse_alone(args)
    found = after_the_job(None if alone else read_closed(args.folder), read_log(at), args.strength)
    if args.json:
        from repairecon.after_the_job.json_data import as_json

        print(json.dumps(as_json(found), indent=1, ensure_ascii=False, allow_nan=False))
    else:
        from repairecon.after_the_job.summary import summary

        print(summary(found), end="")
    told = sys.stderr if args.json else sys.stdout
    if args.add_to_log and not alone:
        print(f"Added {found.name} to {add_to_log(at, found.logged)}", file=told)
    if args.learn is not None:
        write_learned(args.learn, found.learned)
        print(f"Wrote {args.learn}; a case uses it if case.toml says [learned] use = true", file=told)
