"""The spares book and other papers: deliveries, the sheet to count by, lists in and out, a book from CSV."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from repairecon.book.book_papers import export_papers, plan_of_list
from repairecon.book.book_place import begin_book, book_at
from repairecon.book.deliveries import read_delivery, receive_delivery
from repairecon.book.spares_csv import book_from_csv
from repairecon.book.spares_import import write_import
from repairecon.book.stock_sheet import reconcile
from repairecon.read.problems import printable
from repairecon.records import ListError
from repairecon.spares_aboard import acts_told, count_sheet

SHOWN = 40


def add(acts: Any) -> None:
    """Add these acts to the command line."""
    receive = _file(acts, "receive", "write a delivery: a list of what came, or the order as it was sent", "list")
    receive.add_argument("--supplier", default="", help="who sent it")
    receive.add_argument("--date", help="day on which it came, today by default")
    receive.add_argument("--new-items", action="store_true", help="write cards for items that the book does not know")
    receive.add_argument("--again", action="store_true", help="although a file of this name was received before")
    receive.set_defaults(run=_receive)
    sheet = acts.add_parser("sheet", help="a sheet to count by, locker by locker")
    sheet.add_argument("--locker", default="", help="one locker alone")
    sheet.add_argument("--blind", action="store_true", help="without what the book says")
    sheet.add_argument("--to", type=Path, metavar="FILE", help="write it to a file: .csv, .html or .txt")
    sheet.set_defaults(run=_sheet)
    counts = _file(acts, "reconcile", "hold a filled-in sheet against the book: differences first", "sheet_file")
    counts.add_argument("--note", default="", help="free words for the movements")
    counts.set_defaults(run=_reconcile)
    own = _file(acts, "import", "bring your own list into the book", "list")
    own.add_argument(
        "--column", action="append", type=_column, metavar="OURS=THEIRS",
        help='a field and the heading it has in the list, as in "item=Part name"; once a field. Left out: guessed',
    )  # fmt: skip
    own.set_defaults(run=_import)
    out = acts.add_parser("export", help="the whole book as CSV, a workbook and plain SQL")
    out.add_argument("folder", help="new folder for the files")
    out.set_defaults(run=_export)
    new = acts.add_parser("new", help="begin a book, empty or from a folder of CSV files")
    new.add_argument("folder", nargs="?", help="with items.csv and lockers.csv, and if there are any units.csv and "
                     "movements.csv; left out: an empty book")  # fmt: skip
    new.add_argument("--currency", default="EUR", help="home money of an empty book (default %(default)s)")
    new.set_defaults(run=_new)
    check = acts.add_parser("check", help="whether the file is sound inside")
    check.set_defaults(run=_check)
    copy = acts.add_parser("backup", help="a copy of the book, read again and found sound")
    copy.add_argument("target", help="the new file")
    copy.set_defaults(run=_backup)


def _file(acts: Any, name: str, words: str, named: str) -> Any:
    parser = acts.add_parser(name, help=words)
    parser.add_argument(named, type=Path, help="the file: .csv, .txt, .tsv or .xlsx")
    parser.add_argument("--sheet", default="", help="sheet of a workbook, where there are several")
    parser.add_argument("--dry-run", action="store_true", help="tell what would be done and write nothing")
    if name != "reconcile":
        parser.add_argument("--locker", default="", help="where things go that have no locker of their own")
    return parser


def _column(text: str) -> tuple[str, str]:
    ours, mark, theirs = text.partition("=")
    if not mark or not ours.strip() or not theirs.strip():
        raise argparse.ArgumentTypeError(f'found {text!r}; write OURS=THEIRS, as in "item=Part name"')
    return {"item": "name"}.get(ours.strip(), ours.strip()), theirs.strip()


def _receive(args: argparse.Namespace) -> None:
    with book_at(args.book, writing=not args.dry_run) as book:
        told = read_delivery(book, args.list, args.supplier, args.locker, args.sheet, args.new_items)
        currency = book.about.get("home_currency", "EUR")
        if args.dry_run:
            print(acts_told.planned_delivery(told.lines, told.new_items, currency))
            return
        print(acts_told.delivery(receive_delivery(book, told, args.date, args.again), currency))


def _sheet(args: argparse.Namespace) -> None:
    with book_at(args.book) as book:
        if args.to is None:
            print(count_sheet.text(book, args.locker, args.blind), end="")
        else:
            count_sheet.write(book, args.to, args.locker, args.blind)
            print(f"Wrote {args.to}")


def _reconcile(args: argparse.Namespace) -> None:
    with book_at(args.book, writing=not args.dry_run) as book:
        told = reconcile(book, args.sheet_file, not args.dry_run, args.sheet, args.note)
        print(acts_told.counted(told.counted, written=not args.dry_run, notes=told.notes))


def _import(args: argparse.Namespace) -> None:
    with book_at(args.book, writing=not args.dry_run) as book:
        plan = plan_of_list(book, args.list, dict(args.column) if args.column else None, args.locker, args.sheet)
        if plan.faults:
            error = ListError(plan.faults)
            error.args = (printable(plan.faults),)
            raise error
        print("\n".join(acts_told.plan(plan.columns, plan.left_out, plan.new_lockers, plan.new_units)))
        for line in plan.lines[:SHOWN]:
            print(acts_told.planned(line.row, line.item, line.new, line.locker, line.difference, tuple(line.changes)))
        if len(plan.lines) > SHOWN:
            print(f"  ... and {len(plan.lines) - SHOWN} more")
        if not args.dry_run:
            write_import(book, plan)
        print("Nothing was written." if args.dry_run else f"Written: {len(plan.new_items)} new items.")


def _export(args: argparse.Namespace) -> None:
    with book_at(args.book) as book:
        for path in export_papers(book, args.folder):
            print(f"Wrote {path}")


def _new(args: argparse.Namespace) -> None:
    if args.folder:
        book_from_csv(args.folder, args.book)
        print(f"Built {args.book} from {args.folder}. Then: repairecon spares-aboard {args.book}")
        return
    with begin_book(args.book, args.currency) as book:
        print(f"Began {book.ledger.path.name}. Bring your list in: repairecon spares-aboard {args.book} import LIST")


def _check(args: argparse.Namespace) -> None:
    with book_at(args.book) as book:
        print("\n".join(book.check()) or "Sound.")


def _backup(args: argparse.Namespace) -> None:
    with book_at(args.book) as book:
        book.backup(args.target)
        print(f"Wrote {args.target}")
