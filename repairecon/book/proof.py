"""Whether a book is sound, and all that is sound of a damaged one into a new one."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

from repairecon.book import ledger, schema
from repairecon.book.ledger import Ledger, noting, worded_errors

SHOWN = 12  # sentences of one kind that are worth reading
_NAMES = {
    "about": "line {} of what the book says of itself", "lockers": "locker {}", "locker_versions": "card {} of lockers",
    "units": "unit {}", "unit_versions": "card {} of units", "items": "item {}", "item_versions": "card {} of items",
    "movements": "movement {}", "about_versions": "change {} of what the book says of itself",
    "orders": "order {}", "order_lines": "line {} of the orders",
}  # fmt: skip
_RULES = {
    "movements that are not numbered 1, 2, 3 and so on": (
        "SELECT count(*) FROM movements HAVING count(*) <> coalesce(max(movement), 0)"
    ),
    "less than nothing in a locker": "SELECT 1 FROM stock WHERE quantity < 0 LIMIT 1",
    "an item, a locker or a unit without a card": (
        "SELECT 1 FROM items WHERE item NOT IN (SELECT item FROM item_versions) "
        "UNION ALL SELECT 1 FROM lockers WHERE locker NOT IN (SELECT locker FROM locker_versions) "
        "UNION ALL SELECT 1 FROM units WHERE unit NOT IN (SELECT unit FROM unit_versions) LIMIT 1"
    ),
    "more come of an order than was ordered": (
        "SELECT 1 FROM order_lines l WHERE pieces < (SELECT sum(CASE WHEN locker_to IS NULL THEN -quantity ELSE "
        "quantity END) FROM movements m WHERE m.order_line = l.line) LIMIT 1"
    ),
    "a counter-movement that is no mirror": (
        "SELECT 1 FROM movements u JOIN movements m ON m.movement = u.undoes WHERE u.quantity <> m.quantity "
        "OR u.item <> m.item OR u.locker_from IS NOT m.locker_to OR u.locker_to IS NOT m.locker_from LIMIT 1"
    ),
}


def _name_of(table: str, number: int) -> str:
    return _NAMES[table].format(number)


def check(link: sqlite3.Connection) -> tuple[str, ...]:
    """What is wrong, in words; nothing if all is well. Any error of SQLite is itself what is wrong."""
    said, version = list[str](), 0
    try:
        version = int(link.execute("PRAGMA user_version").fetchone()[0])
        known = 1 <= version <= schema.VERSION
        said += (wrong := schema.shape_faults(link, version) if known else [f"no version of a book: {version}"])
        said += [str(row[0]) for row in link.execute("PRAGMA integrity_check(20)") if row[0] != "ok"]
        alone = link.execute("PRAGMA foreign_key_check").fetchmany(SHOWN)
        said += [f"a line of {row[0]} that belongs to nothing" for row in alone]
        if not wrong:  # the rules ask views, and a strange view may never end
            old = version < schema.ORDERS_FROM
            rules = ((what, sql) for what, sql in _RULES.items() if not (old and "order_lines" in sql))
            said += [what for what, sql in rules if link.execute(sql).fetchone()]
    except (sqlite3.Error, UnicodeError, ValueError, OverflowError) as error:
        said.append(" ".join(str(error).split())[:200])
    if version >= schema.SEALED_FROM:
        said += _some(_seal_faults(link, version))
    return tuple(dict.fromkeys(said))


def _some(sentences: Iterable[str]) -> list[str]:
    listed = list(sentences)
    return listed[:SHOWN] + ([f"and {len(listed) - SHOWN} more of this kind"] if len(listed) > SHOWN else [])


def _seal_faults(link: sqlite3.Connection, version: int) -> Iterator[str]:
    try:
        seals = read_seals(link)
    except (sqlite3.Error, UnicodeError) as error:
        yield f"the seals cannot be read: {error}"
        return
    for place, (one, before) in enumerate(zip(seals, ["", *(seal.chain for seal in seals)], strict=False), start=1):
        if one.nth != place or schema.chain_hash(before, one.row) != one.chain:
            yield f"seal {one.nth} does not follow from the one before"
    sealed = {(one.of, one.number): one.row for one in seals}
    for table in schema.tables(version):
        numbers = set()
        try:
            for number, row in schema.raw_rows(link, table):
                numbers.add(number)
                right = sealed.get((table, number))
                if right is None:
                    yield f"{_name_of(table, number)} has no seal: another program wrote it"
                elif schema.row_hash(row) != right:
                    yield f"{_name_of(table, number)} is not as it was written"
        except (sqlite3.Error, UnicodeError) as error:
            yield f"{table}: {error}"
            continue
        for of, number in sealed:
            if of == table and number not in numbers:
                yield f"{_name_of(table, number)} is missing"


class Seal(NamedTuple):
    """One seal as it stands in the file, whatever stands there."""

    nth: Any
    of: str
    number: Any
    row: str
    chain: str


def read_seals(link: sqlite3.Connection) -> list[Seal]:
    with schema.any_text(link):
        rows = link.execute("SELECT nth, of, number, row, chain FROM seals ORDER BY nth")
        return [Seal(nth, str(of), number, str(row), str(chain)) for nth, of, number, row, chain in rows]


# ---- salvage: all that is sound into a new book ----
SECONDS = 300.0
MOST_PROBED = 200_000
Row = dict[str, Any]
_MAY_LACK = {"item_versions": ("locker", "lockers", "its locker"),
             "movements": ("order_line", "order_lines", "its line of an order")}  # fmt: skip
"""Column of a table that is left blank where what it refers to is lost, the table of that, what it is called."""


@dataclass(frozen=True, kw_only=True)
class Salvaged:
    """What was taken into the new book, by table; what was left behind or mended, in sentences; new numbers."""

    taken: Mapping[str, int]
    lost: tuple[str, ...]
    renumbered: Mapping[int, int] = field(default_factory=dict)


def check_file(path: str | os.PathLike[str]) -> tuple[str, ...]:
    with _looked_into(Path(path)) as link:
        return check(link)


@contextlib.contextmanager
def _looked_into(path: Path) -> Iterator[sqlite3.Connection]:
    ledger.check_head(path, whole=False)
    with worded_errors(path):
        link, _ = ledger.connection(path, 5.0)
    with contextlib.closing(link):
        ledger.limit_time(link, SECONDS)
        yield link


def salvage(source: str | os.PathLike[str], target: str | os.PathLike[str]) -> Salvaged:
    """Take all that is sound out of a damaged book into a new one, never over another file; the damaged one stays."""
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
            for table in ("orders", "order_lines"):
                for number, row in tables[table].items():
                    writer.write(table, number, {**row, schema.KEYS[table]: number})
            for number, row in tables["movements"].items():
                writer.movement(number, row)
    moved = {old: new for old, new in writer.numbers["movements"].items() if old != new}
    return Salvaged(taken=writer.taken, lost=tuple(lost), renumbered=moved)


def _sound_rows(link: sqlite3.Connection) -> tuple[dict[str, dict[int, Row]], list[str]]:
    """Rows that are as they were written, by table and number, and sentences on the others."""
    lost, seals = list[str](), list[Seal]()
    try:
        seals = read_seals(link)
    except sqlite3.Error:
        lost.append("the seals cannot be read: whatever fits the rules was taken")
    before = dict(zip(seals, ["", *(seal.chain for seal in seals)], strict=False))
    tables: dict[str, dict[int, Row]] = {}
    for table in schema.TABLES:
        sealed = {seal.number: seal for seal in seals if seal.of == table}
        rows = _rows_of(link, table, sealed)
        tables[table] = {}
        for number, row in sorted(rows.items()):
            seal, digest = sealed.get(number), schema.row_hash(row)
            if seals and seal is None:
                lost.append(f"{_name_of(table, number)} has no seal")
            # a row holds if its own hash does, or if the chain says that the hash was spoilt
            elif seal and digest != seal.row and schema.chain_hash(before[seal], digest) != seal.chain:
                lost.append(f"{_name_of(table, number)} is not as it was written")
            else:
                tables[table][number] = row
        lost += [f"{_name_of(table, number)} cannot be read" for number in sealed if number not in rows]
    return tables, lost


def _rows_of(link: sqlite3.Connection, table: str, wanted: Mapping[int, object]) -> dict[int, Row]:
    """All rows of a table that can be read: from its beginning, from its end, then one by one in the hole between."""
    rows: dict[int, Row] = {}
    for order in ("1 ORDER BY rowid", "1 ORDER BY rowid DESC"):
        try:
            rows |= schema.raw_rows(link, table, order)
            return rows
        except sqlite3.Error:
            continue
    hole = [number for number in wanted if number not in rows and isinstance(number, int)]
    for number in hole[:MOST_PROBED]:
        with contextlib.suppress(sqlite3.Error):
            rows |= schema.raw_rows(link, table, "rowid = ?", (number,))
    return rows


class _Writer:
    """Writes sound rows into the new book; what its rules refuse is left out with the reason."""

    def __init__(self, new: Ledger, lost: list[str]) -> None:
        self._ledger, self._lost = new, lost
        self.taken: Counter[str] = Counter()
        # new numbers of rows that were written, by table and old number
        self.numbers: dict[str, dict[int, int]] = defaultdict(dict, lockers={schema.LENT_NUMBER: schema.LENT_NUMBER})

    def write(self, table: str, number: int, row: Row, what: str = "") -> None:
        what, made = what or _name_of(table, number), dict(row)
        column, other, called = _MAY_LACK.get(table, ("", "", ""))
        if made.get(column) not in (None, *self.numbers[other]):
            self._lost.append(f"{what}: {called} is lost")
            made[column] = None
        with noting(self._lost, f"{what}: "):
            with self._ledger.writing():
                new = self._ledger.insert(table, made)
            self.numbers[table][number] = new
            self.taken[table] += 1

    def things(self, table: str, tables: Mapping[str, Mapping[int, Row]]) -> None:
        """Items, lockers or units with all their cards; one whose cards are lost but that was moved gets a new one."""
        sort = table[:-1]
        versions = f"{sort}_versions"
        sides = ("locker_from", "locker_to") if sort == "locker" else (sort,)
        named = {m[side] for m in tables["movements"].values() for side in sides if isinstance(m.get(side), int)}
        cards: dict[int, list[tuple[int, Row]]] = defaultdict(list, {number: [] for number in named})
        for number, row in tables[versions].items():
            cards[row[sort]].append((number, row))
        for thing, listed in sorted(cards.items()):
            name = f"{sort} {thing}"
            if thing in self.numbers[table]:  # what is lent out is in every new book
                continue
            self.write(table, thing, {sort: thing}, name)
            if thing not in self.numbers[table]:
                continue
            if not listed:
                self._lost.append(f"{name}: its card is lost; it is called '{name}' now")
                listed = [(0, {sort: thing, "name": name, "written_at": ""})]
            for number, row in listed:
                made = {column: value for column, value in row.items() if column != "version"}
                units = made["units"].split(";") if made.get("units") else []
                there = [u for u in units if u.isdecimal() and int(u) in self.numbers["units"]]
                if there != units:
                    self._lost.append(f"{_name_of(versions, number)}: a unit of it is lost")
                    made["units"] = ";".join(there)
                self.write(versions, number, made)

    def movement(self, number: int, row: Row) -> None:
        """A movement under the next number; what answers to a lost one cannot stand."""
        moved = self.numbers["movements"]
        if row["undoes"] is not None and row["undoes"] not in moved:
            lost = f"takes back movement {row['undoes']}, which is lost"
            self._lost.append(f"{_name_of('movements', number)}: {lost}")
            return
        made = {column: value for column, value in row.items() if column != "movement"}
        self.write("movements", number, made | {name: moved.get(row[name]) for name in ("undoes", "corrects")})
