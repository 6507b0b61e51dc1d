"""The sheet to count by: plain text, CSV, or one printable page."""

from __future__ import annotations

import html
from itertools import groupby
from pathlib import Path

from repairecon.book.spares_book import SparesBook
from repairecon.book.stock_sheet import HEADINGS, sheet_rows
from repairecon.read.files import write_whole
from repairecon.read.sheet_writing import csv_text
from repairecon.records import RepaireconError

BLANK = "_" * 6
PAGE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<title>{title}</title><style>
body{{font:14px/1.4 system-ui,sans-serif;margin:1em auto;max-width:60em;padding:0 1em}}
h2{{margin:1em 0 .2em;break-after:avoid}} table{{border-collapse:collapse;width:100%}} tr{{break-inside:avoid}}
th,td{{text-align:left;padding:.25em .5em;border-bottom:1px solid #999}} td.n{{text-align:right;width:5em}}
td.c{{width:6em;border:1px solid #333}} td.w{{width:12em}} @media print{{body{{margin:0;max-width:none}}}}
</style></head><body><h1>{title}</h1><p>{lead}</p>
{body}
</body></html>
"""


def write(book: SparesBook, path: Path, locker: str = "", blind: bool = False) -> None:
    """Write the sheet in the form that the file's name asks for; a CSV sheet comes back by ``reconcile``."""
    forms = {".csv": as_csv, ".html": page, ".htm": page, ".txt": text}
    form = forms.get(path.suffix.casefold())
    if form is None:
        raise RepaireconError(f"{path.name}: write a name that ends in .csv, .html or .txt")
    write_whole(path, form(book, locker, blind))


def as_csv(book: SparesBook, locker: str = "", blind: bool = False) -> str:
    """The sheet as CSV, its column ``counted`` to be filled in."""
    return csv_text([list(HEADINGS), *sheet_rows(book, locker, blind)], defuse=True)


def _title(book: SparesBook) -> str:
    return f"Spares to count: {book.about.get('boat', '') or book.ledger.path.stem}, {book.ledger.today().isoformat()}"


def text(book: SparesBook, locker: str = "", blind: bool = False) -> str:
    """The sheet as plain text, locker by locker."""
    lines = [_title(book)]
    for (place, where), rows in groupby(sheet_rows(book, locker, blind), lambda r: (r[0], r[1])):
        lines += ["", f"{place}  {where}".rstrip()]
        for _, _, item, size, number, measure, in_book, _, _ in rows:
            marks = ", ".join(w for w in (size, number) if w)
            unit = "" if measure == "piece" else f" {measure}"
            book_says = f"  book {in_book}{unit}" if in_book else ""
            lines.append(f"  {BLANK}  {item}" + (f" [{marks}]" if marks else "") + book_says)
    return "\n".join(lines) + "\n"


def page(book: SparesBook, locker: str = "", blind: bool = False) -> str:
    """The sheet as one page to print; text from the book is escaped."""
    parts = []
    for (place, where), rows in groupby(sheet_rows(book, locker, blind), lambda r: (r[0], r[1])):
        head = "<tr><th>counted<th>item<th>size, number<th>book<th>note"
        body = "".join(
            f'<tr><td class="c"><td>{html.escape(r[2])}<td>{html.escape(", ".join(w for w in r[3:5] if w))}'
            f'<td class="n">{html.escape(r[6])}{"" if r[5] == "piece" else " " + html.escape(r[5])}<td class="w">'
            for r in rows
        )
        name = html.escape(" ".join(w for w in (place, where) if w))
        parts.append(f"<h2>{name}</h2><table>{head}{body}</table>")
    lead = "Count what lies there, write it in the first column, and type it into the same sheet as CSV."
    return PAGE.format(title=html.escape(_title(book)), lead=lead, body="\n".join(parts))
