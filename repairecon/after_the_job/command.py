"""``repairecon after-the-job FOLDER``: freeze a decision, look back, log, learn; the job's parts into the book."""

from __future__ import annotations

import argparse
import sys
from dataclasses import asdict
from pathlib import Path
from typing import Any

from repairecon.after_the_job.job import AfterTheJob, after_the_job, decide
from repairecon.after_the_job.learning import STRENGTH
from repairecon.read.boat import LEARNED, LOG, boat_folder
from repairecon.read.case_out import folder_of
from repairecon.read.closed import FOLDER, LOG_FILE, add_to_log, read_closed, read_log
from repairecon.read.files import write_own
from repairecon.read.toml_records import learned_text
from repairecon.read.workbook import is_workbook
from repairecon.records import RepaireconError
from repairecon.show.answer_tables import add_faces, give, keep_tables, plain, print_json


def add(jobs: Any) -> None:
    job = jobs.add_parser("after-the-job", help="estimate against actual, and what a log of jobs teaches")
    job.add_argument("folder", help="folder of a case that was decided, with its actual.csv; or folder of a job log")
    freeze = "freeze the case as decided (default: the best way)"
    job.add_argument("--decide", nargs="?", const="", metavar="WAY", help=freeze)
    job.add_argument("--on", default="", metavar="DATE", help="day of the decision, year-month-day (default today)")
    job.add_argument("--found", default="", metavar="EVENT=OUTCOME", help="findings at the decision, joined by ';'")
    where = "job log (default: that of the boat, else job_log beside)"
    job.add_argument("--log", type=Path, metavar="FOLDER", help=where)
    job.add_argument("--add-to-log", action="store_true", help="add this job to the log")
    teaches = "write what the log teaches, for a next case to use"
    job.add_argument("--learn", type=Path, metavar="FILE", help=teaches)
    other = "what a job on another kind of unit counts for (%(default)s)"
    job.add_argument("--strength", type=float, default=STRENGTH, help=other)
    add_faces(job)
    book = job.add_argument_group("into the spares book", "without --write only shown; written once, all or nothing")
    into = "spares book that the job's parts come into and leave (default: that of the boat)"
    book.add_argument("--book", nargs="?", const="", metavar="FILE", help=into)
    book.add_argument("--write", action="store_true", help="write the job into the book")
    book.add_argument("--unit", default="", metavar="NAME", help="unit of the book (default: as the case calls it)")
    book.add_argument("--clock", type=float, metavar="HOURS", help="hours on the unit's clock")
    moved_on = "day of the movements (default: end of the job)"
    book.add_argument("--moved-on", default="", metavar="DATE", help=moved_on)
    book.add_argument("--locker", default="", metavar="NAME", help="where things without a locker of their own go")
    item = "item of the book for a part or unit of the case; NAME= leaves it out (may be given again)"
    book.add_argument("--item", action="append", default=[], metavar="NAME=ITEM", help=item)
    book.add_argument("--new-cards", action="store_true", help="make cards for what the book does not know")
    job.set_defaults(run=run)


def run(args: argparse.Namespace) -> None:
    """Freeze, or look back; then print or write."""
    if is_workbook(args.folder):  # a decided case is a folder: its files are frozen one by one
        args.folder = str(folder_of(Path(args.folder), write=args.decide is not None))
    if args.decide is not None:
        made = decide(args.folder, args.decide, on=args.on, found=args.found)
        print(f"Froze the decision for {made.way}. Fill in {args.folder}/actual.csv as the work goes on.")
        return
    folder, home = Path(args.folder), boat_folder(args.folder)
    # the log that was named, that is the folder itself, that of the boat or that lies beside the job
    beside = home / LOG if home else folder.resolve().parent / "job_log"
    is_log = (folder / LOG_FILE).is_file() and not (folder / FOLDER).exists()
    at = args.log or (folder if is_log else beside)
    alone = at == folder
    if args.report is not None and alone:
        raise RepaireconError("a report is of a closed job: name its folder, and the log with --log")
    found = after_the_job(None if alone else read_closed(args.folder), read_log(at), args.strength)
    if args.book is not None:
        if args.tables is not None:
            keep_tables(args.tables, args.job, as_json(found))
        _into_the_book(args, found, home)
        return
    if args.write:
        raise RepaireconError("--write needs --book; the log has --add-to-log")
    _refuse_empty(args, found)
    from repairecon.after_the_job import screen

    show = screen.full if args.full else screen.first_screen
    give(args, lambda: as_json(found), lambda: screen.page(found), lambda: show(found))
    out = sys.stderr if args.json else sys.stdout
    if args.add_to_log and not alone:
        print(f"Added {found.name} to {add_to_log(at, found.logged)}", file=out)
        if home is not None and at.resolve() == home / LOG:
            write_own(at / LEARNED, learned_text(found.learned))
            print(f"Wrote {at / LEARNED}, which each job of hers uses from now on", file=out)
    if args.learn is not None:
        write_own(Path(args.learn), learned_text(found.learned))
        print(f"Wrote {args.learn}; a case uses it if case.toml says [learned] use = true", file=out)


def _refuse_empty(args: argparse.Namespace, found: AfterTheJob) -> None:
    """A job of which nothing is written down, or that is there under another name, goes into no log."""
    from repairecon.after_the_job.log import same_job

    if found.nothing_written and (args.add_to_log or (args.learn is not None and not found.past.rows)):
        raise RepaireconError(
            f"{args.folder}/actual.csv: nothing filled in yet; write what was found, paid and worked, then log it and "
            "learn from it"
        )
    there = same_job(found.past, found.logged) if args.add_to_log else ""
    if there and there.casefold() != found.name.casefold():
        raise RepaireconError(
            f"{found.name} is in the log already, as {there!r}: a job is logged once; nothing written"
        )


def _into_the_book(args: argparse.Namespace, found: AfterTheJob, home: Path | None) -> None:
    from repairecon.after_the_job import spares_book
    from repairecon.after_the_job.book_items import BookWishes
    from repairecon.after_the_job.spares_book import into_the_book
    from repairecon.book.spares_book import book_place, open_book

    if args.report is not None or args.add_to_log or args.learn is not None:
        raise RepaireconError("--book goes by itself: give --report, --add-to-log and --learn in a call of their own")
    called = {}
    for pair in args.item:
        name, mark, item = (text.strip() for text in pair.partition("="))
        if not mark or not name:
            raise RepaireconError(f"--item: found {pair!r}; write NAME=ITEM, or NAME= to leave it out of the book")
        called[name] = item
    wishes = BookWishes(
        called=called, unit=args.unit, hours=args.clock, on=args.moved_on, locker=args.locker,
        new_cards=args.new_cards,
    )  # fmt: skip
    if not args.book and home is None:
        raise RepaireconError("--book: this case is in no boat; name the file of the book")
    with open_book(book_place(args.book or home or "")) as book:
        made = into_the_book(found, book, args.write, wishes)
    if args.json:
        data = {**asdict(made), "written": bool(made.done and made.done.written)}
        for line, x in zip(data["lines"], made.lines, strict=True):
            line["moved"]["source"] = str(x.moved.source)
        print_json(plain(data))
    else:
        print(spares_book.summary(found, made), end="")


def as_json(found: AfterTheJob) -> dict[str, Any]:
    """Dictionaries, lists, numbers and text; home money, chances 0..1; None where there is no closed job."""
    from repairecon.after_the_job import screen

    b, h, c, currency = found.bridge, found.hindsight, found.calibration, found.currency
    ranges = [{**asdict(h), "sentence": screen.held(h)} for h in found.held]
    chances = c and {**asdict(c), "groups": [g._asdict() for g in c.groups], "sentence": screen.chances(found)}
    bridge = b and {
        **asdict(b), "difference": b.difference, "groups": b.groups, "not_told": b.not_written,
        "sentence": screen.bridge(b, currency),
    }  # fmt: skip
    if bridge:
        del bridge["not_written"]
    data = {
        "name": found.name,
        "unit": found.case.unit.name if found.case else None,
        "currency": currency or None,
        "decision": found.decision,
        "first_run": found.first_run or None,
        "filled_in": not found.nothing_written,
        "bridge": bridge,
        "hindsight": h and {**asdict(h), "sentences": screen.choice(h, currency)},
        "coverage": {"ranges": ranges, "chances": chances},
        "learned": {**asdict(found.learned), "shifts": found.shifts, "sentences": screen.learned(found)},
        "movements": [{**asdict(m), "source": str(m.source)} for m in found.movements],
        "jobs": list(found.log.jobs),
    }
    made: dict[str, Any] = plain(data)
    return made
