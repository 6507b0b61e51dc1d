"""``repairecon spares-aboard BOOK``: the answer, or with a further word an act on the book."""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from repairecon.book import lists, own_list
from repairecon.book.csv_folder import book_from_csv, export_papers
from repairecon.book.salvage import check_file, salvage
from repairecon.book.spares_book import SparesBook, begin_book, book_at, passage_for
from repairecon.read.problems import printable
from repairecon.records import BookFileError, Happened, ListError
from repairecon.spares_aboard import act_words, card_commands
from repairecon.spares_aboard.job import spares_aboard

SHOWN = 40
NUMBERS = {
    "passage_days": "days of the passage or season",
    "running_hours": "running hours of the engine in it",
    "resupply_days": "days after it until a part can be had",
    "budget": "money to spend on spares at most",
    "weight_kg": "weight that may be added at most",
    "room_litres": "room that may be taken at most",
}
Act = Callable[[SparesBook, argparse.Namespace], str]


def add(jobs: Any) -> None:
    """Add the job and its acts to the command line."""
    job = jobs.add_parser("spares-aboard", help="look at a spares book, or write an act into it")
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
    _add_takings(acts)
    _add_other_acts(acts)
    _add_lists(acts)
    _add_files(acts)
    card_commands.add(acts)


def run(args: argparse.Namespace) -> None:
    """Work the answer out, then print or write it."""
    numbers = {name: getattr(args, name) for name in NUMBERS}
    if args.report is not None:
        _report(args, numbers)
        return
    answer = spares_aboard(args.book, today=args.today or None, **numbers)
    if args.insurance is not None:
        from repairecon.spares_aboard.json_data import write_insurance

        write_insurance(answer, args.insurance)
        print(f"Wrote {args.insurance}")
    elif args.json:
        from repairecon.spares_aboard.json_data import as_json

        with _solver_words_aside():
            data = as_json(answer)
        print(json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False))
    else:
        from repairecon.spares_aboard.words import summary

        with _solver_words_aside():
            text = summary(answer)
        print(text, end="")


@contextlib.contextmanager
def _solver_words_aside() -> Iterator[None]:
    """The solver's library now and then writes a line of its own to the output: it goes where errors go."""
    sys.stdout.flush()
    try:
        kept = os.dup(1)
        os.dup2(2, 1)
    except OSError:  # no such output: nothing to keep clean
        yield
        return
    try:
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)


def _report(args: argparse.Namespace, numbers: dict[str, float | None]) -> None:
    from repairecon.show.report import write_report

    with book_at(args.book) as book:  # its faults are told before a notebook is started
        passage_for(args.book, book)
    place = Path(args.book).resolve()
    write_report(
        "spares_aboard", args.report, {"book": str(place), "today": args.today, **numbers},
        show_bar=sys.stderr.isatty(), title=f"Spares aboard: {place.stem}",
    )  # fmt: skip
    print(f"Wrote {args.report}")


def _act(acts: Any, name: str, words: str, act: Act, *named: str, reads: bool = False) -> Any:
    """An act with its arguments; one that writes has a date and a note."""
    parser = acts.add_parser(name, help=words)
    for each in named:
        parser.add_argument(each)
    if not reads:
        parser.add_argument("--date", help="day on which it happened, today by default")
        parser.add_argument("--note", default="", help="free words")
    parser.set_defaults(run=_run, act_run=act, reads=reads)
    return parser


def _run(args: argparse.Namespace) -> None:
    with book_at(args.book, writing=not (args.reads or getattr(args, "dry_run", False))) as book:
        print(args.act_run(book, args))


def _say(book: SparesBook, done: Happened) -> str:
    return act_words.happened(done, book.currency)


def _add_takings(acts: Any) -> None:
    """Acts by which something leaves its locker."""

    def taking(name: str, words: str, act: Act, lot: bool = True) -> Any:
        parser = _act(acts, name, words, act, "item")
        parser.add_argument("--quantity", default="1", help="how many (default 1)")
        parser.add_argument("--locker", help="where it was taken from, where that is in doubt")
        if lot:
            parser.add_argument("--lot", default="", help="which lot it was")
        return parser

    def words(a: argparse.Namespace) -> dict[str, Any]:
        more = {"lot": a.lot} if "lot" in a else {}
        return {"quantity": a.quantity, "locker": a.locker, "date": a.date, "note": a.note, **more}

    fit = taking(
        "fit", "take a spare from stock and write it into the unit's history",
        lambda b, a: _say(b, b.fit(a.item, a.unit, a.hours, **words(a))),
    )  # fmt: skip
    fit.add_argument("unit", help="the unit it went into")
    fit.add_argument("--hours", help="hours on the unit's clock")
    taking("use", "use something up without fitting it to a unit", lambda b, a: _say(b, b.use(a.item, **words(a))))
    taking(
        "scrap", "throw away what is perished, seized or out of date", lambda b, a: _say(b, b.scrap(a.item, **words(a)))
    )
    move = taking("move", "put something into another locker", lambda b, a: _say(b, b.move(a.item, a.to, **words(a))))
    move.add_argument("to", metavar="LOCKER", help="the locker it goes into")
    lend = taking(
        "lend", "lend something; it stays yours, but is not aboard",
        lambda b, a: _say(b, b.lend(a.item, a.person, **words(a))), lot=False,
    )  # fmt: skip
    lend.add_argument("person", help="who has it")


def _add_other_acts(acts: Any) -> None:
    back = _act(acts, "give-back", "take back what was lent", _give_back, "item")
    back.add_argument("person", help="who had it")
    back.add_argument("--to", metavar="LOCKER", help="the locker it goes into, its own by default")
    back.add_argument("--quantity", default="1", help="how many (default 1)")
    count = _act(acts, "count", "hold a count of one item against the book", _count, "locker")
    count.add_argument("item")
    count.add_argument("found", help="how many lie there")
    count.add_argument("--dry-run", action="store_true", help="tell the difference and write nothing")
    count.add_argument("--cured", default="", metavar="DATE", help="cure date read on what was found, as in 2Q24")
    undo = _act(
        acts, "undo", "take a movement back, by the number that its act told",
        lambda b, a: _say(b, b.undo(a.movement, a.date, a.note)),
    )  # fmt: skip
    undo.add_argument("movement", type=int)
    find = _act(
        acts, "find", "where something lies: any words of its card",
        lambda b, a: act_words.found(b.search(" ".join(a.words))), reads=True,
    )  # fmt: skip
    find.add_argument("words", nargs="+")
    _act(
        acts, "history", "all movements of an item, with their numbers",
        lambda b, a: act_words.movements(b.movements(a.item), b.currency), "item", reads=True,
    )  # fmt: skip


def _give_back(book: SparesBook, a: argparse.Namespace) -> str:
    return _say(book, book.give_back(a.item, a.person, a.quantity, a.to, date=a.date, note=a.note))


def _count(book: SparesBook, a: argparse.Namespace) -> str:
    write = not a.dry_run
    made = book.count(a.locker, {a.item: a.found}, write=write, date=a.date, note=a.note, cure_date=a.cured)
    return act_words.counted(made, written=write)


def _add_lists(acts: Any) -> None:
    """Acts that take a list of the owner's."""

    def listing(name: str, words: str, act: Act, named: str) -> Any:
        parser = acts.add_parser(name, help=words)
        parser.add_argument(named, type=Path, help="the file: .csv, .txt, .tsv or .xlsx")
        parser.add_argument("--sheet", default="", help="sheet of a workbook, where there are several")
        parser.add_argument("--dry-run", action="store_true", help="tell what would be done and write nothing")
        if name != "reconcile":
            parser.add_argument("--locker", default="", help="where things go that have no locker of their own")
        parser.set_defaults(run=_run, act_run=act, reads=False)
        return parser

    words = "write a delivery: a list of what came, or the order as it was sent"
    receive = listing("receive", words, _receive, "list")
    receive.add_argument("--supplier", default="", help="who sent it")
    receive.add_argument("--date", help="day on which it came, today by default")
    receive.add_argument("--new-items", action="store_true", help="write cards for items that the book does not know")
    receive.add_argument("--again", action="store_true", help="although a file of this name was received before")
    words = "hold a filled-in sheet against the book: differences first"
    counts = listing("reconcile", words, _reconcile, "sheet_file")
    counts.add_argument("--note", default="", help="free words for the movements")
    own = listing("import", "bring your own list into the book", _import, "list")
    own.add_argument("--take-zeros", action="store_true", help="a quantity of 0 says that nothing is left of it")
    own.add_argument(
        "--column", action="append", type=_column, metavar="OURS=THEIRS",
        help='a field and the heading it has in the list, as in "item=Part name"; once a field. Left out: guessed',
    )  # fmt: skip


def _column(text: str) -> tuple[str, str]:
    ours, mark, theirs = text.partition("=")
    if not mark or not ours.strip() or not theirs.strip():
        raise argparse.ArgumentTypeError(f'found {text!r}; write OURS=THEIRS, as in "item=Part name"')
    return {"item": "name"}.get(ours.strip(), ours.strip()), theirs.strip()


def _receive(book: SparesBook, a: argparse.Namespace) -> str:
    came = lists.read_delivery(book, a.list, a.supplier, a.locker, a.sheet, a.new_items)
    if a.dry_run:
        return act_words.planned_delivery(came.lines, tuple(came.new_items), book.currency)
    return "\n".join(_say(book, h) for h in lists.receive_delivery(book, came, a.date, a.again))


def _reconcile(book: SparesBook, a: argparse.Namespace) -> str:
    counted, notes = lists.reconcile(book, a.sheet_file, not a.dry_run, a.sheet, a.note)
    return act_words.counted(counted, written=not a.dry_run, notes=notes)


def _import(book: SparesBook, a: argparse.Namespace) -> str:
    plan = own_list.plan_import(book, a.list, dict(a.column) if a.column else None, a.locker, a.sheet)
    if plan.faults:
        error = ListError(plan.faults)
        error.args = (printable(plan.faults),)
        raise error
    if not a.dry_run:
        own_list.write_import(book, plan, take_zeros=a.take_zeros)
    end = "Nothing was written." if a.dry_run else f"Written: {len(plan.new_items)} new items."
    return f"{act_words.planned_import(plan, SHOWN, a.take_zeros)}\n{end}"


def _add_files(acts: Any) -> None:
    """Acts that write another file, or make the book."""
    sheet = _act(acts, "sheet", "a sheet to count by, locker by locker", _sheet, reads=True)
    sheet.add_argument("--locker", default="", help="one locker alone")
    sheet.add_argument("--blind", action="store_true", help="without what the book says")
    sheet.add_argument("--to", type=Path, metavar="FILE", help="write it to a file: .csv, .html or .txt")
    out = _act(
        acts, "export", "the whole book as CSV, a workbook and plain SQL",
        lambda b, a: "\n".join(f"Wrote {path}" for path in export_papers(b, a.folder)), reads=True,
    )  # fmt: skip
    out.add_argument("folder", help="new folder for the files")
    check = acts.add_parser("check", help="whether the file is sound inside: rows, rules, views, seals, sums")
    check.set_defaults(run=_check)
    rescue = acts.add_parser("salvage", help="take all that is sound out of a damaged book into a new one")
    rescue.add_argument("target", help="the new book")
    rescue.set_defaults(run=_salvage)
    copy = _act(acts, "backup", "a copy of the book, read again and found sound", _backup, reads=True)
    copy.add_argument("target", help="the new file")
    new = acts.add_parser("new", help="begin a book, empty or from a folder of CSV files")
    new.add_argument("folder", nargs="?", help="with items.csv and lockers.csv, and if there are any units.csv and "
                     "movements.csv; left out: an empty book")  # fmt: skip
    new.add_argument("--currency", default="EUR", help="home money of an empty book (default %(default)s)")
    new.set_defaults(run=_new)


def _sheet(book: SparesBook, a: argparse.Namespace) -> str:
    if a.to is None:
        return lists.count_sheet(book, locker=a.locker, blind=a.blind).rstrip("\n")
    lists.write_count_sheet(book, a.to, a.locker, a.blind)
    return f"Wrote {a.to}"


def _backup(book: SparesBook, a: argparse.Namespace) -> str:
    book.backup(a.target)
    return f"Wrote {a.target}"


def _check(args: argparse.Namespace) -> None:
    place = Path(args.book)
    if place.is_dir():
        with book_at(place) as book:
            wrong = book.check()
    else:
        wrong = check_file(place)
    if wrong:
        raise BookFileError("\n".join([f"{place.name} is not sound:", *wrong, "Take what is sound into a new book: "
                                       f"repairecon spares-aboard {place.name} salvage NEW.spares"]))  # fmt: skip
    print("Sound.")


def _salvage(args: argparse.Namespace) -> None:
    done = salvage(args.book, args.target)
    counts = ", ".join(f"{count} {table.replace('_versions', ' cards')}" for table, count in done.taken.items())
    print(f"Wrote {args.target}: {counts}.")
    for line in done.lost:
        print(f"Left behind or mended: {line}")
    for old, new in done.renumbered.items():
        print(f"Movement {old} is movement {new} now.")


def _new(args: argparse.Namespace) -> None:
    if args.folder:
        book_from_csv(args.folder, args.book)
        print(f"Built {args.book} from {args.folder}. Then: repairecon spares-aboard {args.book}")
        return
    with begin_book(args.book, args.currency) as book:
        print(f"Began {book.ledger.path.name}. Bring your list in: repairecon spares-aboard {args.book} import LIST")
