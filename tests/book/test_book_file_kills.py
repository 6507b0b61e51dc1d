"""Killed at any instant, the book keeps every act that was told as done, and holds none by halves.

The promise is SQLite's own: with a write-ahead log and synchronous=FULL a transaction is kept once COMMIT has returned
(sqlite.org, "Write-Ahead Logging" and "PRAGMA synchronous"). SPARES_BOOK_KILLS sets how often; 500 for the long run.
"""

from __future__ import annotations

import itertools
import multiprocessing
import os
import random
import signal
import time
from pathlib import Path

from book_makers import new_book

from repairecon.book.spares_book import SparesBook, open_book
from repairecon.records import ReceiveLine

KILLS = int(os.environ.get("SPARES_BOOK_KILLS", "12"))


def write(path: Path, first: int, out: int) -> None:
    """Write for ever, and tell each kept act: delivery k has three lines, then one of them is used."""
    with open_book(path) as book:
        names = [item.name for item in book.items()]
        os.write(out, b"open\n")
        for k in itertools.count(first):
            book.receive([ReceiveLine(name, 2, "stockist", k) for name in names], "2026-01-02", f"delivery {k}")
            os.write(out, f"delivery {k}\n".encode())
            book.use(names[0], 1, date="2026-01-03", note=f"use {k}")
            os.write(out, f"use {k}\n".encode())


def kept(book: SparesBook) -> dict[str, int]:
    """How many lines each act left in the book."""
    found: dict[str, int] = {}
    for movement in book.movements():
        act = movement.reference or movement.note
        found[act] = found.get(act, 0) + 1
    return found


def write_and_kill(path: Path, first: int, acts: int, wait_s: float) -> list[str]:
    """Start a writer as a process of its own, kill it a moment after so many acts; the acts that it told as done."""
    ours, theirs = os.pipe()
    writer = multiprocessing.get_context("fork").Process(target=write, args=(path, first, theirs))
    writer.start()
    os.close(theirs)
    with os.fdopen(ours, encoding="utf-8") as out:
        assert out.readline() == "open\n"
        said = "".join(out.readline() for _ in range(acts))
        time.sleep(wait_s)
        writer.kill()
        said += out.read()
    writer.join()
    lines = said.split("\n")[:-1]  # what the kill cut short was not told
    assert writer.exitcode == -signal.SIGKILL
    return lines


def test_no_kill_loses_what_was_committed(tmp_path: Path) -> None:
    with new_book(tmp_path) as book:
        path, items = book.ledger.path, len(book.items())
    dice = random.Random(7)
    said: list[str] = []
    lost: set[str] = set()
    halves = 0
    for turn in range(KILLS):
        said += write_and_kill(path, turn * 1_000_000, dice.randrange(4), dice.uniform(0.0, 0.03))
        with open_book(path) as book:
            assert book.check() == ()
            found = kept(book)
        lost |= {act for act in said if act not in found}
        halves += sum(n != (items if act.startswith("delivery") else 1) for act, n in found.items())
        known = set(said)
        more = [act for act in found if act not in known]
        assert len(more) <= turn + 1  # at most the one that each kill caught between the commit and the telling
    print(f"\n{KILLS} kills, {len(said)} acts said to be kept: {len(lost)} lost, {halves} half written")
    assert len(said) > KILLS
    assert (len(lost), halves) == (0, 0)
