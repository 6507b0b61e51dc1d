"""How long a large spares book takes, as ratios in one run: python tests/benchmarks/spares_book.py

10,000 items and 200,000 movements, then a tenth of both for the growth. Each figure stands beside a plain
SELECT over the same rows in the same run. Times are for comparing on one machine in one run, never a test.
"""

from __future__ import annotations

import contextlib
import datetime
import random
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
sys.path[:0] = [str(ROOT)]

from repairecon.book.spares_book import SparesBook, open_book  # noqa: E402

ITEMS, MOVEMENTS, LOCKERS = 10_000, 200_000, 40
HEADS = ("what", "s", "beside", "s", "ratio", "target")


def fill(book: SparesBook, items: int, movements: int) -> None:
    """A large invented book, written in one transaction as an import writes it."""
    dice, ledger = random.Random(3), book.ledger
    for k in range(LOCKERS):
        book.add_locker(f"locker {k}")
    for k in range(8):
        book.add_unit(f"unit {k}")
    held: dict[int, dict[int, int]] = {}
    first = datetime.date(2016, 1, 1)
    cards = [
        {"item": k, "name": f"item {k}", "minimum": 1000 * dice.randrange(4), "written_at": ""}
        for k in range(1, items + 1)
    ]
    blank = {"locker_from": None, "locker_to": None, "unit": None, "cost_unit": None, "written_at": ""}
    rows: list[dict[str, object]] = []
    for k in range(movements):
        item = dice.randrange(1, items + 1)
        on_date = (first + datetime.timedelta(days=3650 * k // movements)).isoformat()
        full = [locker for locker, quantity in held.setdefault(item, {}).items() if quantity]
        if full and dice.random() < 0.5:
            locker, kind = dice.choice(full), dice.choice(["used", "fitted"])
            quantity = dice.randint(1, held[item][locker])
            more: dict[str, object] = {"kind": kind, "locker_from": locker, "unit": dice.randrange(1, 9)}
            held[item][locker] -= quantity
        else:
            locker, quantity = dice.randrange(2, LOCKERS + 2), dice.randint(1, 3)
            more = {"kind": "bought", "locker_to": locker, "cost_unit": dice.randrange(1, 90_000_000)}
            held[item][locker] = held[item].get(locker, 0) + quantity
        rows.append({**blank, "on_date": on_date, "item": item, "quantity": 1000 * quantity, **more})
    with ledger.writing():
        ledger.insert("items", *({"item": card["item"]} for card in cards))
        ledger.insert("item_versions", *cards)
        ledger.insert("movements", *rows)


def timed(work: Callable[[], object], runs: int = 3) -> float:
    """Best of some runs [s]."""
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def row(what: str, seconds: float, beside: str, other: float, target: float | None = None) -> None:
    """One line of the table."""
    goal = "" if target is None else f"<= {target:g}"
    print(f"{what:<44}{seconds:>10.2e}  {beside:<40}{other:>10.2e}{seconds / other:>9.2g}  {goal}")


def measured(folder: Path, items: int, movements: int) -> dict[str, float]:
    """Times of one size of book [s]."""
    with open_book(folder / f"{items}", create=True) as book:
        start = time.perf_counter()
        fill(book, items, movements)
        filled = time.perf_counter() - start
        every = "SELECT * FROM movements"
        lying = [line for line in book.stock() if line.quantity > 1][-5:]
        return {
            "fill": filled,
            "plain": timed(lambda: book.ledger.rows(every)),
            "stock": timed(book.stock),
            "reorder": timed(book.reorder_list),
            "lots": timed(book.lots, 1),
            "movements": timed(book.movements, 1),
            "one item": timed(lambda: book.stock(lying[0].item)),
            "fit": timed(lambda: book.fit(lying[0].item, "unit 1", locker=lying[0].locker, date="2026-01-01"), 1),
            "check": timed(book.check, 1),
            "bytes": 4096.0 * book.ledger.rows("PRAGMA page_count")[0][0],
        }


def main() -> None:
    """Print the table."""
    print(f"{HEADS[0]:<44}{HEADS[1]:>10}  {HEADS[2]:<40}{HEADS[3]:>10}{HEADS[4]:>9}  {HEADS[5]}")
    with tempfile.TemporaryDirectory() as name, contextlib.suppress(KeyboardInterrupt):
        small = measured(Path(name), ITEMS // 10, MOVEMENTS // 10)
        large = measured(Path(name), ITEMS, MOVEMENTS)
        plain = f"SELECT * of {MOVEMENTS} movements"
        targets = {"stock": 1.0, "reorder": 1.5, "fit": 0.2}
        for what in ("stock", "reorder", "lots", "movements", "one item", "fit", "check", "fill"):
            row(f"{what}, {ITEMS} items", large[what], plain, large["plain"], targets.get(what))
        for what in ("plain", "stock", "reorder", "lots", "one item", "fit", "bytes"):
            row(f"{what}, ten times the book", large[what], "a tenth of the book", small[what])


if __name__ == "__main__":
    main()
