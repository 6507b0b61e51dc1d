"""``repairecon import-quotes FOLDER LIST --column "price=Unit price"``."""

from __future__ import annotations

import argparse
from typing import Any

from repairecon.read.quotes_import import ADDED, CHANGED, LEFT_OUT, SAME, QuotesImport, import_quotes, preview

SHOWN = 40
"""Rows told of each sort; a price list has thousands that are of no use to the case."""


def add(jobs: Any) -> None:
    """Add the command to the command line."""
    job = jobs.add_parser("import-quotes", help="bring a supplier's price list into quotes.csv")
    job.add_argument("folder", help="case folder")
    job.add_argument("list", help="the list: .xlsx, .csv, .txt or .tsv")
    job.add_argument(
        "--column",
        action="append",
        type=_column,
        metavar="OURS=THEIRS",
        help='a column of quotes.csv and the heading it has in the list, as in "price=Unit price"; once a column. '
        "price_from_10=... is a price from ten packs on. Left out: as kept in columns.csv for the supplier",
    )
    job.add_argument("--supplier", default="", help="who quotes, as in suppliers.csv")
    job.add_argument("--sheet", default="", help="sheet of a workbook, where there are several")
    job.add_argument("--quoted-on", default="", metavar="DATE", help="day of the list, as in 2026-03-31")
    job.add_argument("--decimal", default="", choices=[",", "."], help="decimal mark, where it is in doubt")
    job.add_argument("--dry-run", action="store_true", help="tell what would be done and write nothing")
    job.add_argument("--keep-columns", action="store_true", help="keep the columns for this supplier in columns.csv")
    job.set_defaults(run=run)


def _column(text: str) -> tuple[str, str]:
    ours, mark, theirs = text.partition("=")
    if not mark or not ours.strip() or not theirs.strip():
        raise argparse.ArgumentTypeError(f'found {text!r}; write OURS=THEIRS, as in "price=Unit price"')
    return theirs.strip(), ours.strip()


def run(args: argparse.Namespace) -> None:
    """Tell, and write unless it is a dry run."""
    columns = dict(args.column) if args.column else None
    words = (args.folder, args.list, columns, args.supplier, args.sheet, args.quoted_on, args.decimal)
    told = preview(*words) if args.dry_run else import_quotes(*words, keep_columns=args.keep_columns)
    print(story(told), end="")


def story(told: QuotesImport) -> str:
    """What the list brings, sort by sort."""
    where = f"{told.file}, sheet {told.sheet}" if told.sheet else told.file
    lines = [where, *(f"  {note}" for note in told.notes)]
    for becomes in (ADDED, CHANGED, SAME, LEFT_OUT):
        rows = told.those(becomes)
        if rows:
            lines.append(f"{becomes}: {len(rows)}")
            lines += [_row(r.row, r.item, r.supplier, r.why) for r in rows[:SHOWN]]
        if len(rows) > SHOWN:
            lines.append(f"  ... and {len(rows) - SHOWN} more")
    lines.append("quotes.csv was written." if told.written else "Nothing was written.")
    return "\n".join(lines) + "\n"


def _row(row: int, item: str, supplier: str, why: str) -> str:
    what = ", ".join(word for word in (item, supplier) if word)
    return f"  row {row}" + (f"  {what}" if what else "") + (f"  ({why})" if why else "")
