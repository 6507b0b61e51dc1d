"""A program that writes to a spares book until it is killed; it tells each kept act on its standard output.

python book_writer.py BOOK FIRST: delivery k has three lines under the reference "delivery k", then one of them is used.
"""

from __future__ import annotations

import sys

from repairecon.book.spares_book import open_book
from repairecon.records import ReceiveLine


def main(path: str, first: int) -> None:
    """Write for ever."""
    with open_book(path) as book:
        names = [item.name for item in book.items()]
        print("open", flush=True)
        k = first
        while True:
            book.receive([ReceiveLine(name, 2, "stockist", k) for name in names], "2026-01-02", f"delivery {k}")
            print(f"delivery {k}", flush=True)
            book.use(names[0], 1, date="2026-01-03", note=f"use {k}")
            print(f"use {k}", flush=True)
            k += 1


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
