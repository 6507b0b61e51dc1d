"""A damaged book: what is wrong with it, and all that is sound into a new one."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from repairecon.book import ledger, proof, schema
from repairecon.book.ledger import Ledger, noting, worded_errors

SECONDS = 300.0
MOST_PROBED = 200_000
Row = dict[str, Any]


@dataclass(frozen=True, kw_only=True)
class Salvaged:
    """What was taken into the new book, by table; what was left behind or mended, in sentences; new numbers."""

    taken: Mapping[str, int]
    lost: tuple[str, ...]
    renumbered: Mapping[int, int] = field(default_factory=dict)


def check_file(path: str | os.PathLike[str]) -> tuple[str, ...]:
    """What is wrong with a book that may be too damaged to open; nothing if it is sound."""
    with _looked_into(Path(path)) as link:
        return proof.check(link)


@contextlib.contextmanager
def _looked_into(path: Path) -> Iterator[sqlite3.Connection]:
    ledger.check_head(path, whole=False)
    with worded_errors(path):
        link, _ = ledger.connection(path, 5.0)
    with contextlib.closing(link):
        ledger.limit_time(link, SECONDS)
        yield link


def salvage(source: str | os.PathLike[str], target: str | os.PathLike[str]) -> Salvaged:
    """Take all that is sound out of a damaged book into a new one, never over another file; the damaged one stays.

    BookFileError if nothing can be read, or the new book cannot be written.
    """
    path = Path(source)
    with _looked_into(path) as link:
        tables, lost = _sound_rows(link)
    if not tables["items"] and not tables["movements"] and not tables["about"]:
        raise ledger.damaged(path, "no row of it can be read")
    said = (*tables["about"].values(), *tables["about_versions"].values())
    about = {str(row["name"]): str(row["value"]) for row in said}
    lent_at = next((r["written_at"] for r in tables["locker_versions"].values() if r["locker"] == 1), "")
    with ledger.new_ledger(Path(target), {"home_currency": "EUR", **about}, str(lent_at)) as new:
        writer = _Writer(new, lost)
        with new.writing():
            for table in ("lockers", "units", "items"):
                writer.things(table, tables)
            writer.orders(tables)
            for number, row in tables["movements"].items():
                writer.movement(number, row)
    moved = {old: new for old, new in writer.numbers.items() if old != new}
    return Salvaged(taken=writer.taken, lost=tuple(lost), renumbered=moved)


def _sound_rows(link: sqlite3.Connection) -> tuple[dict[str, dict[int, Row]], list[str]]:
    """Rows that are as they were written, by table and number, and sentences on the others."""
    lost: list[str] = []
    seals: list[proof.Seal] = []
    try:
        seals = proof.read_seals(link)
    except sqlite3.Error:
        lost.append("the seals cannot be read: whatever fits the rules was taken")
    before = dict(zip(seals, ["", *(seal.chain for seal in seals)], strict=False))
    tables: dict[str, dict[int, Row]] = {}
    for table in schema.TABLES:
        sealed = {seal.number: seal for seal in seals if seal.of == table}
        rows = _rows_of(link, table, sealed)
        tables[table] = {}
        for number, row in sorted(rows.items()):
            seal, digest = sealed.get(number), proof.row_hash(row)
            if seals and seal is None:
                lost.append(f"{proof.name_of_row(table, number)} has no seal")
            # a row holds if its own hash does, or if the chain says that the hash was spoilt
            elif seal and digest != seal.row and proof.chain_hash(before[seal], digest) != seal.chain:
                lost.append(f"{proof.name_of_row(table, number)} is not as it was written")
            else:
                tables[table][number] = row
        lost += [f"{proof.name_of_row(table, number)} cannot be read" for number in sealed if number not in rows]
    return tables, lost


def _rows_of(link: sqlite3.Connection, table: str, wanted: Mapping[int, object]) -> dict[int, Row]:
    """All rows of a table that can be read: from its beginning, from its end, then one by one in the hole between."""
    rows: dict[int, Row] = {}
    for order in ("1 ORDER BY rowid", "1 ORDER BY rowid DESC"):
        try:
            rows |= proof.raw_rows(link, table, order)
            return rows
        except sqlite3.Error:
            continue
    hole = [number for number in wanted if number not in rows and isinstance(number, int)]
    for number in hole[:MOST_PROBED]:
        with contextlib.suppress(sqlite3.Error):
            rows |= proof.raw_rows(link, table, "rowid = ?", (number,))
    return rows


class _Writer:
    """Writes sound rows into the new book; what its rules refuse is left out with the reason."""

    def __init__(self, new: Ledger, lost: list[str]) -> None:
        self._ledger, self._lost = new, lost
        self.taken: dict[str, int] = {}
        self.numbers: dict[int, int] = {}
        self._there: dict[str, set[int]] = {"locker": {schema.LENT_NUMBER}, "unit": set(), "item": set()}

    def _write(self, table: str, row: Row, what: str) -> int:
        """The new number of a row, 0 if the book refuses it."""
        with noting(self._lost, f"{what}: "), self._ledger.writing():
            number = self._ledger.insert(table, row)
            self.taken[table] = self.taken.get(table, 0) + 1
            return number
        return 0

    def things(self, table: str, tables: Mapping[str, Mapping[int, Row]]) -> None:
        """Items, lockers or units with all their cards; one whose cards are lost but that was moved gets a new one."""
        sort, versions = table[:-1], tables[f"{table[:-1]}_versions"]
        sides = ("locker_from", "locker_to") if sort == "locker" else (sort,)
        named = {m[side] for m in tables["movements"].values() for side in sides if isinstance(m.get(side), int)}
        cards: dict[int, list[tuple[int, Row]]] = defaultdict(list, {number: [] for number in named})
        for number, row in versions.items():
            cards[row[sort]].append((number, row))
        for thing, listed in sorted(cards.items()):
            if thing == schema.LENT_NUMBER and sort == "locker":
                continue
            name = f"{sort} {thing}"
            if not self._write(table, {sort: thing}, name):
                continue
            self._there[sort].add(thing)
            if not listed:
                self._lost.append(f"{name}: its card is lost; it is called '{name}' now")
                listed = [(0, {sort: thing, "name": name, "written_at": ""})]
            for number, row in listed:
                self._card(sort, number, row)

    def _card(self, sort: str, number: int, row: Row) -> None:
        made = {name: value for name, value in row.items() if name != "version"}
        what = proof.name_of_row(f"{sort}_versions", number)
        if made.get("locker") is not None and sort == "item" and made["locker"] not in self._there["locker"]:
            self._lost.append(f"{what}: its locker is lost")
            made["locker"] = None
        if sort == "item" and made.get("units"):
            kept = [u for u in made["units"].split(";") if u.isdecimal() and int(u) in self._there["unit"]]
            if kept != made["units"].split(";"):
                self._lost.append(f"{what}: a unit of it is lost")
            made["units"] = ";".join(kept)
        self._write(f"{sort}_versions", made, what)

    def orders(self, tables: Mapping[str, Mapping[int, Row]]) -> None:
        """Orders and their lines under their own numbers."""
        for table in ("orders", "order_lines"):
            self._there[table] = {
                number for number, row in tables[table].items()
                if self._write(table, {**row, schema.KEYS[table]: number}, proof.name_of_row(table, number))
            }  # fmt: skip

    def movement(self, number: int, row: Row) -> None:
        """A movement under the next number; what answers to a lost one cannot stand."""
        made = {name: value for name, value in row.items() if name != "movement"}
        what = proof.name_of_row("movements", number)
        if made["undoes"] is not None and made["undoes"] not in self.numbers:
            self._lost.append(f"{what}: takes back movement {made['undoes']}, which is lost")
            return
        if made.get("order_line") not in (None, *self._there["order_lines"]):
            self._lost.append(f"{what}: its line of an order is lost")
            made["order_line"] = None
        for name in ("undoes", "corrects"):
            made[name] = self.numbers.get(made[name]) if made[name] is not None else None
        new = self._write("movements", made, what)
        if new:
            self.numbers[number] = new
