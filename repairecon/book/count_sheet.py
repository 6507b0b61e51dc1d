"""A sheet to count by, locker by locker, as text, CSV or a page to print; and the counts that come back on it."""

from __future__ import annotations

import html
from dataclasses import dataclass
from decimal import Decimal
from itertools import groupby
from pathlib import Path

from repairecon.book.deliveries import SheetColumns
from repairecon.book.own_output import begins_with, has_headings, write_own
from repairecon.book.spares_book import SparesBook
from repairecon.read.files import csv_text
from repairecon.read.problems import Names, Problems, key, shown
from repairecon.read.sheets import read_sheet
from repairecon.read.values import Limits
from repairecon.records import BookError, Counted, ListError, RepaireconError

HEADINGS = ("locker", "place", "item", "designation", "makers_number", "measure", "in_book", "counted", "note")
_COUNT = Limits(0.0, 1e6)
_BLANK = "_" * 6
_TITLE = "Spares to count"
_PAGE = """<!doctype html>
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
Rows = list[list[str]]


def sheet_rows(book: SparesBook, locker: str = "", blind: bool = False) -> Rows:
    """Rows of the sheet: what lies or belongs in each locker; ``blind`` leaves out the book's figure."""
    items = {i.number: i for i in book.items()}
    places = [k for k in book.lockers() if k.kind != "lent"]
    if locker:
        known = Names(k.name for k in places)
        if locker not in known:
            raise BookError(f"the book has no locker {shown(locker)}: {known.advice(Problems(), locker)}")
        places = [k for k in places if key(k.name) == key(locker)]
    lying = {(s.locker, s.item_number): s.quantity for s in book.stock()}
    rows = []
    for place in places:
        here = [i for i in items.values() if (place.name, i.number) in lying or (i.locker == place.name and i.carried)]
        for card in sorted(here, key=lambda i: i.name.casefold()):
            there = "" if blind else str(lying.get((place.name, card.number), Decimal(0)))
            numbers = [card.designation, card.makers_number, card.measure]
            rows.append([place.name, place.place, card.name, *numbers, there, "", ""])
    return rows


def write_sheet(
    book: SparesBook, path: Path, locker: str = "", blind: bool = False, source: Path | None = None
) -> None:
    """Write the sheet in the form that the file's name asks for; a CSV sheet comes back by ``reconcile``.

    ``source`` is the folder that the book was built from, if it was.
    """
    forms = {
        ".csv": (as_csv, has_headings(HEADINGS)), ".txt": (as_text, begins_with(_TITLE)),
        ".html": (as_page, begins_with(f"<title>{_TITLE}")),
    }  # fmt: skip
    form, is_ours = forms.get(path.suffix.casefold(), (None, None))
    if form is None or is_ours is None:
        raise RepaireconError(f"{path.name}: write a name that ends in .csv, .html or .txt")
    data = form(book, locker, blind).encode("utf-8")
    write_own(path, data, source or book.ledger.path, is_ours, "sheet to count by")


def as_csv(book: SparesBook, locker: str = "", blind: bool = False) -> str:
    """The sheet as CSV, its column ``counted`` to be filled in."""
    return csv_text([list(HEADINGS), *sheet_rows(book, locker, blind)], defuse=True)


def _title(book: SparesBook) -> str:
    return f"{_TITLE}: {book.about.get('boat', '') or book.ledger.path.stem}, {book.ledger.today().isoformat()}"


def as_text(book: SparesBook, locker: str = "", blind: bool = False) -> str:
    """The sheet as plain text, locker by locker."""
    lines = [_title(book)]
    for (place, where), rows in groupby(sheet_rows(book, locker, blind), lambda r: (r[0], r[1])):
        lines += ["", f"{place}  {where}".rstrip()]
        for _, _, item, size, number, measure, in_book, _, _ in rows:
            marks = ", ".join(w for w in (size, number) if w)
            unit = "" if measure == "piece" else f" {measure}"
            book_says = f"  book {in_book}{unit}" if in_book else ""
            lines.append(f"  {_BLANK}  {item}" + (f" [{marks}]" if marks else "") + book_says)
    return "\n".join(lines) + "\n"


def as_page(book: SparesBook, locker: str = "", blind: bool = False) -> str:
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
    return _PAGE.format(title=html.escape(_title(book)), lead=lead, body="\n".join(parts))


@dataclass(frozen=True)
class Reconciled:
    """Counts against the book, and what to know of them."""

    counted: tuple[Counted, ...]
    notes: tuple[str, ...] = ()


def reconcile(book: SparesBook, path: Path, write: bool = True, sheet: str = "", note: str = "") -> Reconciled:
    """Hold the counts on a sheet against the book, all of them or none; ListError with every fault of the sheet."""
    problems = Problems()
    found = _counts(book, SheetColumns(read_sheet(path, sheet, HEADINGS), problems))
    if not found and not problems:
        problems.add(path.name, None, "counted", "nothing", "write what was counted into this column")
    problems.stop_if_any(ListError)
    with book.ledger.writing() if write else book.ledger.reading():
        made = [
            c
            for place, counts in found.items()
            for c in book.count(place, {n: q for n, (q, _) in counts.items()}, write=write, note=note)
        ]
    moved = [
        f"{c.item} in {c.locker}: the sheet was printed with {then}, the book says {c.in_book} now: look again"
        for c in made
        if (then := found[c.locker][c.item][1]) is not None and then != c.in_book
    ]
    return Reconciled(tuple(made), tuple(moved))


def _counts(book: SparesBook, columns: SheetColumns) -> dict[str, dict[str, tuple[Decimal, Decimal | None]]]:
    """What was counted by locker and item, and what the book said when the sheet was printed."""
    made: dict[str, dict[str, tuple[Decimal, Decimal | None]]] = {}
    cards = {key(i.name): i for i in book.items()}
    items, lockers = Names(i.name for i in cards.values()), Names(k.name for k in book.lockers())
    for row in columns.rows if columns.require("locker", "item", "counted") else []:
        if not columns.text(row, "counted"):
            continue
        locker, item = columns.named(row, "locker", lockers), columns.named(row, "item", items)
        count = columns.number(row, "counted", _COUNT)
        if not locker or not item or count is None:
            continue
        if cards[key(item)].measure == "piece" and count % 1:
            columns.fault(row, "counted", shown(str(count)), "these come in whole pieces")
        if item in made.setdefault(locker, {}):
            columns.fault(row, "item", f"{shown(item)} again in {shown(locker)}", "add the two up")
        made[locker][item] = (count, columns.number(row, "in_book", _COUNT))
    return made
