"""``repairecon compare-quotes FOLDER`` and ``repairecon import-quotes FOLDER LIST --column "price=Unit price"``."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import Any

from repairecon.book.stock import read_case_aboard
from repairecon.compare_quotes import tables
from repairecon.compare_quotes.job import SECONDS, QuotesAnswer, compare_quotes, together
from repairecon.read.lists_of_others import ADDED, CHANGED, LEFT_OUT, SAME, preview
from repairecon.records import Case, RepaireconError
from repairecon.show.answer_tables import add_faces, column_named, give

SHOWN = 40
"""Rows shown of each sort; a price list has thousands that are of no use to the case."""
WISHES = ("also_damage", "deadline_days", "most_parcels", "take_near", "seconds")


def add(jobs: Any) -> None:
    job = jobs.add_parser("compare-quotes", help="which quotes to take, landed")
    job.add_argument("folder", help="case folder with parts.csv, suppliers.csv and quotes.csv")
    job.add_argument("more", nargs="*", metavar="FOLDER", help="more jobs, of this boat or others, ordered together")
    days, only = "days within which all must be here", "order these parts only"
    job.add_argument("--deadline", type=float, dest="deadline_days", metavar="DAYS", help=days)
    job.add_argument("--most-parcels", type=int, metavar="N", help="parcels at most")
    job.add_argument("--without", action="append", metavar="SUPPLIER", help="leave a supplier out; may be repeated")
    job.add_argument("--want", action="append", type=_wanted, dest="wanted", metavar="PART=PIECES", help=only)
    job.add_argument("--also-damage", action="store_true", help="order the parts that only damage would need, too")
    job.add_argument("--take-near", action="store_true", help="allow quotes whose size is near, not the same")
    job.add_argument("--seconds", type=float, default=SECONDS, help="for all searches together (%(default)s)")
    orders = "write an order to send to each supplier, and own_landed.xlsx to keep"
    job.add_argument("--orders", type=Path, metavar="FOLDER", help=orders)
    job.add_argument("--ship-to", default="", metavar="PLACE", help="where the goods shall go, for the orders")
    face = add_faces(job)
    face.add_argument("--order", action="store_true", help="show what the order puts on record in the boat's book")
    job.add_argument("--write", action="store_true", help="with --order: put it on record and write its files")
    job.add_argument("--again", action="store_true", help="with --order: although parts are on record already")
    job.set_defaults(run=run)
    _add_import(jobs)


def _wanted(text: str) -> tuple[str, int]:
    part, _, pieces = text.rpartition("=")
    if part.strip() and pieces.strip().isdecimal():
        return part.strip(), int(pieces)
    raise argparse.ArgumentTypeError(f"found {text!r}; write PART=PIECES, as in 'shaft seal=2'")


def run(args: argparse.Namespace) -> None:
    if (args.write or args.again) and not args.order:
        raise RepaireconError("--write and --again are for --order: give that too")
    names = [part for part, _ in args.wanted or ()]
    if twice := sorted({name for name in names if names.count(name) > 1}):
        raise RepaireconError(f"--want: {', '.join(twice)} twice; name each part once")
    wishes = {name: getattr(args, name) for name in WISHES}
    wishes |= {"wanted": dict(args.wanted or ()) or None, "without": tuple(args.without or ()) or None}
    if args.more:
        case, shares = _together(args)
        wishes["wanted"] = {part: sum(some.values()) for part, some in shares.items()}
    else:
        case = read_case_aboard(args.folder, order=True)
    answer = compare_quotes(case, **wishes)
    if args.order:
        print(_order(args, answer))
        return
    from repairecon.compare_quotes import summary  # with its words and tables: not for the help

    if args.orders is not None:
        _write_orders(answer, args.orders, args.ship_to)
    show = summary.full if args.full else summary.first_screen
    give(args, lambda: summary.as_json(answer), lambda: summary.page(answer), lambda: show(answer))


def _together(args: argparse.Namespace) -> tuple[Case, dict[str, dict[str, int]]]:
    """Several jobs as one, with who gets what of each part."""
    if args.order or args.wanted:
        why = "--order and --want are for one job: order each by itself, or write files with --orders"
        raise RepaireconError(why)
    case, shares = together([read_case_aboard(f, order=True) for f in (args.folder, *args.more)], args.also_damage)
    if not args.json:
        for part, some in shares.items():
            print(f"{part}: {', '.join(f'{pieces} for {folder}' for folder, pieces in some.items())}")
        print()
    return case, shares


def _order(args: argparse.Namespace, answer: QuotesAnswer) -> str:
    """What goes on record, or went there with a file a supplier."""
    from repairecon.book.spares_book import book_at
    from repairecon.read.boat import boat_folder, today_of
    from repairecon.show.words import order_words

    home = boat_folder(args.folder)
    if home is None:
        raise RepaireconError("--order: this case is in no boat: its folder belongs into the jobs of a boat's folder")
    day = answer.wishes.today or today_of(home).isoformat()
    orders = tables.orders(answer.case, answer.offers, answer.found, day)
    if not orders:
        raise RepaireconError("there is nothing to order")
    with book_at(home, writing=args.write) as book:
        if book.currency != answer.case.terms.currency:
            raise RepaireconError(f"the case is in {answer.case.terms.currency}, the book in {book.currency}")
        if args.write:
            with book.ledger.writing():  # the files are there, or nothing is on record
                orders = book.place(orders, args.again)
                folder = args.orders or Path(args.folder) / "orders" / str(orders[0].number)
                _write_orders(answer, folder, args.ship_to)
        lines = [order_words(o, book.currency) for o in orders]
        there = [] if args.write else book.on_record(orders)
    lines += ["On record already, to be ordered once more with --again:\n  " + "\n  ".join(there)] if there else []
    return "\n".join([*lines, "On record." if args.write else "Nothing was written: --write puts it on record."])


def _write_orders(answer: QuotesAnswer, folder: Path, ship_to: str) -> None:
    from repairecon.read.orders import earlier_orders, write_orders
    from repairecon.show.words import cents

    lines = [{**line, "quoted": cents(line["quoted"])} for line in tables.order_lines(answer.offers, answer.found)]
    money = ("quoted_", "cost_")
    totals = [{name: cents(x) if name.startswith(money) else x for name, x in total.items()}
              for total in tables.order_totals(answer.offers, answer.found)]  # fmt: skip
    written = write_orders(folder, lines, totals, answer.case.terms.currency, ship_to)
    print(f"Wrote {len(written) - 1} orders to {folder}, and {written[-1].name} to keep", file=sys.stderr)
    if old := earlier_orders(folder, written):
        print(f"Not of this basket, but left there by an earlier run: {', '.join(old)}", file=sys.stderr)


def _add_import(jobs: Any) -> None:
    job = jobs.add_parser("import-quotes", help="bring a supplier's price list into quotes.csv")
    job.add_argument("folder", help="case folder")
    job.add_argument("list", help="the list: .xlsx, .csv, .txt or .tsv")
    column = (
        'a column of quotes.csv and the heading it has in the list, as in "price=Unit price"; once a column. '
        "price_from_10=... is a price from ten packs on. Left out: as kept in columns.csv for the supplier"
    )
    job.add_argument("--column", action="append", type=column_named, metavar="OURS=THEIRS", help=column)
    job.add_argument("--supplier", default="", help="who quotes, as in suppliers.csv")
    job.add_argument("--sheet", default="", help="sheet of a workbook, where there are several")
    job.add_argument("--quoted-on", default="", metavar="DATE", help="day of the list, as in 2026-03-31")
    job.add_argument("--decimal", default="", choices=[",", "."], help="decimal mark, where it is in doubt")
    job.add_argument("--dry-run", action="store_true", help="say what would be done and write nothing")
    job.add_argument("--keep-columns", action="store_true", help="keep the columns for this supplier in columns.csv")
    job.set_defaults(run=run_import)


def run_import(args: argparse.Namespace) -> None:
    """Say what the list brings, and write it unless it is a dry run."""
    columns = dict(args.column) if args.column else None
    done = preview(args.folder, args.list, columns, args.supplier, args.sheet, args.quoted_on, args.decimal)
    if not args.dry_run:
        done = done.write(args.keep_columns)
    where = f"{done.file}, sheet {done.sheet}" if done.sheet else done.file
    lines = [where, *(f"  {note}" for note in done.notes)]
    for becomes in (ADDED, CHANGED, SAME, LEFT_OUT):
        rows = done.those(becomes)
        if rows:
            lines.append(f"{becomes}: {len(rows)}")
            for r in rows[:SHOWN]:
                what = ", ".join(filter(None, (r.item, r.supplier)))
                lines.append(f"  row {r.row}" + (f"  {what}" if what else "") + (f"  ({r.why})" if r.why else ""))
        if len(rows) > SHOWN:
            lines.append(f"  ... and {len(rows) - SHOWN} more")
    lines.append("quotes.csv was written." if done.written else "Nothing was written.")
    print("\n".join(lines))
