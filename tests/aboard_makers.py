"""Books for the tests of spares aboard: a published stock account, and a small boat."""

from __future__ import annotations

import csv
import datetime
from pathlib import Path

from repairecon.book.spares_book import SparesBook, open_book
from repairecon.records import Passage, ReceiveLine

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
