"""A spares book that knows the pump of ``done_case``."""

from __future__ import annotations

import datetime
from pathlib import Path

from repairecon.book.spares_book import SparesBook, open_book
from repairecon.records import ReceiveLine

TODAY = datetime.date(2026, 6, 1)


def make_book(path: Path, currency: str = "EUR") -> SparesBook:
    """Two seals aboard at 20, of three to keep; no shaft."""
    book = open_book(path, create=True, home_currency=currency, today=TODAY)
    book.add_locker("B1", "engine room")
    book.add_unit("bilge pump")
    book.add_item("seal", units=["bilge pump"], makers_number="S-1", minimum=3, locker="B1")
    book.add_item("shaft, bilge pump", makers_number="shaft", designation="12x80", locker="B1")
    book.receive([ReceiveLine("seal", 2, "chandler", 20)], "2025-04-01")
    return book
