"""``repairecon after-the-job FOLDER --book FILE``: the job's parts into and out of the spares book."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

from repairecon.after_the_job.answer import AfterTheJob
from repairecon.records import RepaireconError


def add(job: Any) -> None:
    """Add the options of the book."""
    book = job.add_argument_group("into the spares book", "without --write only shown; written once, all or nothing")
    book.add_argument("--book", type=Path, metavar="FILE", help="spares book that the job's parts come into and leave")
    book.add_argument("--write", action="store_true", help="write the job into the book")
    book.add_argument("--unit", default="", metavar="NAME", help="unit of the book (default: as the case calls it)")
    book.add_argument("--clock", type=float, metavar="HOURS", help="hours on the unit's clock")
    book.add_argument("--moved-on", default="", metavar="DATE", help="day of the movements (default: end of the job)")
    book.add_argument("--locker", default="", metavar="NAME", help="where things without a locker of their own go")
    book.add_argument(
        "--item", action="append", default=[], metavar="NAME=ITEM",
        help="item of the book for a part or unit of the case; NAME= leaves it out (may be given again)",
    )  # fmt: skip
    book.add_argument("--new-cards", action="store_true", help="make cards for what the book does not know")


def refuse_alone(args: argparse.Namespace) -> None:
    """Options of the book without a book are a slip of the pen."""
    if args.write:
        raise RepaireconError("--write needs --book FILE; the log has --add-to-log")


def _called(pairs: list[str]) -> dict[str, str]:
    called = {}
    for pair in pairs:
        name, is_pair, item = pair.partition("=")
        if not is_pair or not name.strip():
            raise RepaireconError(f"--item: found {pair!r}; write NAME=ITEM, or NAME= to leave it out of the book")
        called[name.strip()] = item.strip()
    return called


def run(args: argparse.Namespace, found: AfterTheJob) -> None:
    """Show what the job would do to the book, or do it."""
    from repairecon.after_the_job import book_words as book_told
    from repairecon.after_the_job.book_items import BookWishes
    from repairecon.after_the_job.into_the_book import into_the_book
    from repairecon.book.spares_book import open_book

    if args.report is not None or args.add_to_log or args.learn is not None:
        raise RepaireconError("--book goes by itself: give --report, --add-to-log and --learn in a call of their own")
    wishes = BookWishes(_called(args.item), args.unit, args.clock, args.moved_on, args.locker, args.new_cards)
    with open_book(args.book) as book:
        made = into_the_book(found, book, args.write, wishes)
    if args.json:
        print(json.dumps(book_told.as_json(made), indent=1, ensure_ascii=False, allow_nan=False))
    else:
        print(book_told.summary(found, made), end="")
