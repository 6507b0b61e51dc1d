"""Books for the tests of spares aboard: a published stock account, and a small boat."""

from __future__ import annotations

import csv
import datetime
from pathlib import Path

from repairecon.book.spares_book import SparesBook, open_book
from repairecon.records import Passage, Range, ReceiveLine, SpareWish
from repairecon.spares_aboard.job import SparesAnswer, spares_aboard

TODAY = datetime.date(2026, 6, 1)
OPENSTAX = Path(__file__).parent / "formulas" / "data" / "openstax_gps_july.csv"
DEMO = Path(__file__).resolve().parents[1] / "data" / "spares"


def empty_book(folder: Path, name: str = "boat.spares", today: datetime.date = TODAY) -> SparesBook:
    """Two lockers aboard, one ashore, one unit."""
    book = open_book(folder / name, create=True, today=today, wait_s=0.2)
    book.add_locker("A1", "under the chart table")
    book.add_locker("B2", "engine room")
    book.add_locker("shed", kind="ashore")
    book.add_unit("engine")
    return book


def openstax_book(folder: Path) -> SparesBook:
    """The published account as an owner would keep it: what was there and bought is received, what was sold is used."""
    book = empty_book(folder, "account.spares")
    book.add_item("unit sold", locker="A1")
    with OPENSTAX.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(line for line in file if not line.startswith("#")):
            if row["kind"] == "sale":
                book.use("unit sold", row["units"], date=row["date"])
            else:
                book.receive([ReceiveLine("unit sold", row["units"], "a supplier", row["unit_value"])], row["date"])
    return book


def passage(**said: object) -> Passage:
    """A passage of 30 days, parts to be had at its end."""
    return Passage(**{"days": 30.0, "resupply_days": 0.0, "today": TODAY.isoformat(), **said})  # type: ignore[arg-type]


def small_answer(folder: Path, budget: float = 60.0) -> SparesAnswer:
    """Of a book with something of each: to buy, without a price, out of date, too many, to turn, one for another."""
    cards = {"belt": "A1", "impeller": "B2", "seal": "A1", "kit": "A1", "pump, complete": "B2", "bulb": "A1",
             "anode": "A1", "plug": "A1"}  # fmt: skip
    there = (("belt", 1, 10, ""), ("seal", 2, 3, "2010-01-01"), ("pump, complete", 3, 300, ""))
    often = Range(2.0, 4.0, 9.0)
    prices = {"belt": 10.0, "impeller": 25.0, "seal": 3.0, "anode": 4.0, "plug": 2.0}
    wishes = [SpareWish(item=name, price=price, failures_per_year=often) for name, price in prices.items()]
    wishes.append(SpareWish(item="kit", price=40.0, covers=("seal",), p_useful=0.5))
    with empty_book(folder) as book:
        for name, locker in cards.items():
            book.add_item(name, locker=locker, material="NBR" if name == "seal" else "", critical=name == "belt",
                          minimum=2 if name == "belt" else 0, units=("engine",))  # fmt: skip
        book.receive([ReceiveLine(name, many, "x", cost, cure_date=cured) for name, many, cost, cured in there],
                     "2025-01-01")  # fmt: skip
        return spares_aboard(book, Passage(today=TODAY.isoformat(), items=tuple(wishes)), budget=budget)
