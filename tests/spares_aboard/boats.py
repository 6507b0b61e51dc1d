"""Small boats with a spares book, for the tests of what the boat's papers say of a spare; figures are invented."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path

from aboard_makers import TODAY

from repairecon.book.spares_book import SparesBook, open_book

BOAT = (
    '[boat]\nname = "Example"\ntoday = 2026-06-01\n[money]\ncurrency = "EUR"\nvat_rate = 0.2\n'
    "exchange_date = 2026-03-31\n[money.exchange]\nGBP = 1.2\n[years]\nhours_a_year = 100\n"
)
UNITS = (
    "unit,kind,count,fitted_on,hours,critical,price_new_likely\n"
    "raw water pump,raw water pump,1,2016-06-01,,yes,500\n"
    "old pump,raw water pump,1,2016-06-01,3000,no,\n"
    "winch,winch,4,2010-06-01,,no,600\n"
    "undated pump,raw water pump,1,,,no,400\n"
)
SUPPLIERS = (
    "supplier,currency,vat,carriage_likely,lead_days_likely\nstockist,EUR,ex,8,2\nby post,GBP,in,14,8\n"
    "chandler,EUR,in,6,3\n"
)
CASE = '[unit]\nname = "raw water pump"\n[three_numbers]\nprice_new = 500\nwait_days = 6\n'
PARTS = (
    "part,quantity,needed,standard_size,material,fluid\nshaft seal,2,always,20x35x7,NBR,seawater\ncover,1,always,,,\n"
)
QUOTES = (
    "item,supplier,designation,material,quoted_likely,pack\nshaft seal,stockist,20x35x7,NBR,6,1\n"
    "shaft seal,by post,20x35x7,NBR,9,2\ncover,by post,,,30,1\n"
)


@contextlib.contextmanager
def boat_book(folder: Path, job: bool = False) -> Iterator[SparesBook]:
    """A boat's folder with an open book that knows her units; with a job whose parts are quoted."""
    for name, text in {"boat.toml": BOAT, "units.csv": UNITS, "suppliers.csv": SUPPLIERS}.items():
        (folder / name).write_text(text, encoding="utf-8")
    if job:
        place = folder / "jobs" / "pump"
        place.mkdir(parents=True)
        for name, text in {"case.toml": CASE, "parts.csv": PARTS, "quotes.csv": QUOTES}.items():
            (place / name).write_text(text, encoding="utf-8")
    with open_book(folder / "spares.book", create=True, today=TODAY, wait_s=0.2) as book:
        book.add_locker("A1")
        for name in ("raw water pump", "old pump", "winch", "undated pump"):
            book.add_unit(name)
        yield book
