"""A book that can prove itself: every row has a seal, and its tables, rules and views are those of this program.

A seal is a hash of the row as it was written, chained to the seal before. It finds slips of a disk, of a memory stick
and of a hand; it is no signature: who knows the rule can write new seals.
"""

from __future__ import annotations

import contextlib
import hashlib
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from functools import cache
from typing import Any, NamedTuple

from repairecon.book import schema

SHOWN = 12
"""Sentences of one kind that are worth reading."""
_NAMES = {
    "about": "line {} of what the book says of itself", "lockers": "locker {}", "locker_versions": "card {} of lockers",
    "units": "unit {}", "unit_versions": "card {} of units", "items": "item {}", "item_versions": "card {} of items",
    "movements": "movement {}", "about_versions": "change {} of what the book says of itself",
    "orders": "order {}", "order_lines": "line {} of the orders",
}  # fmt: skip
_BARE = ("lockers", "units", "items")
"""Tables of numbers alone."""
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


def name_of_row(table: str, number: int) -> str:
    """A row in an owner's words."""
    return _NAMES[table].format(number)


def run_steps(link: sqlite3.Connection, found: int, upto: int = schema.VERSION) -> None:
    """Bring tables up from a version, inside a transaction: executescript would commit it."""
    strict = sqlite3.sqlite_version_info >= (3, 37)
    for step in range(found + 1, upto + 1):
        statement = ""
        for line in schema.script(step, strict).splitlines(keepends=True):
            statement += line
            if sqlite3.complete_statement(statement):
                link.execute(statement)
                statement = ""
    link.execute(f"PRAGMA user_version = {upto}")
    if found < schema.SEALED_FROM <= upto:
        for table in schema.tables(upto):
            seal(link, table, [number for (number,) in link.execute(f"SELECT rowid FROM {table} ORDER BY rowid")])


def seal(link: sqlite3.Connection, table: str, numbers: Sequence[int]) -> None:
    """Seal rows just written, inside their transaction."""
    last = link.execute("SELECT nth, chain FROM seals ORDER BY nth DESC LIMIT 1").fetchone()
    nth, chain = last or (0, "")
    made, wanted = [], set(numbers)
    span = (min(numbers, default=0), max(numbers, default=-1))
    for number, row in raw_rows(link, table, "rowid BETWEEN ? AND ? ORDER BY rowid", span):
        if number in wanted:
            nth, digest = nth + 1, row_hash(row)
            chain = chain_hash(chain, digest)
            made.append((nth, table, number, digest, chain))
    link.executemany("INSERT INTO seals (nth, of, number, row, chain) VALUES (?, ?, ?, ?, ?)", made)


def row_hash(row: dict[str, Any]) -> str:
    """Hash of a row: of all that it says, so that a column which a later version adds changes no seal of before."""
    said = [(name, value) for name, value in row.items() if value is not None and value != ""]
    return hashlib.sha256(ascii(said).encode("ascii")).hexdigest()[:32]


def chain_hash(before: str, digest: str) -> str:
    """Hash of a row's hash and of the seal before."""
    return hashlib.sha256(f"{before} {digest}".encode("utf-8", "replace")).hexdigest()[:32]


Shape = dict[tuple[str, str], str]


@cache
def _shape_of(version: int) -> Shape:
    with contextlib.closing(sqlite3.connect(":memory:", isolation_level=None)) as link:
        run_steps(link, 0, version)
        return _shape(link)


def _shape(link: sqlite3.Connection) -> Shape:
    """All tables, indexes, triggers and views; whether SQLite checks types hangs on its age where the book was made."""
    rows = link.execute(
        "SELECT type, name, tbl_name, sql, rootpage > 0 FROM sqlite_master WHERE name NOT GLOB 'sqlite_stat*'"
    )
    return {(str(kind), str(name)): f"{of} {root} {sql}".replace(") STRICT", ")") for kind, name, of, sql, root in rows}


def shape_faults(link: sqlite3.Connection, version: int) -> list[str]:
    """Tables, rules and views that are missing, strange or changed."""
    found, right = _shape(link), _shape_of(version)
    said = [f"the {kind} {name!r} is missing" for kind, name in right.keys() - found.keys()]
    said += [f"a {kind} {name[:40]!r} is none of a spares book" for kind, name in found.keys() - right.keys()]
    said += [f"the {kind} {name!r} was changed" for kind, name in right.keys() & found.keys()
             if found[kind, name] != right[kind, name]]  # fmt: skip
    return sorted(said)


def check(link: sqlite3.Connection) -> tuple[str, ...]:
    """What is wrong, in words; nothing if all is well. Any error of SQLite is itself what is wrong."""
    said: list[str] = []
    version = 0
    try:
        version = int(link.execute("PRAGMA user_version").fetchone()[0])
        wrong = shape_faults(link, version) if 1 <= version <= schema.VERSION else [f"no version of a book: {version}"]
        said += wrong
        said += [str(row[0]) for row in link.execute("PRAGMA integrity_check(20)") if row[0] != "ok"]
        alone = link.execute("PRAGMA foreign_key_check").fetchmany(SHOWN)
        said += [f"a line of {row[0]} that belongs to nothing" for row in alone]
        said += _some(_head_faults(link))
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
    chain = ""
    for place, one in enumerate(seals, start=1):
        if one.nth != place or chain_hash(chain, one.row) != one.chain:
            yield f"seal {one.nth} does not follow from the one before"
        chain = one.chain
    sealed = {(one.of, one.number): one.row for one in seals}
    for table in schema.tables(version):
        numbers = set()
        try:
            for number, row in raw_rows(link, table):
                numbers.add(number)
                right = sealed.get((table, number))
                if right is None:
                    yield f"{name_of_row(table, number)} has no seal: another program wrote it"
                elif row_hash(row) != right:
                    yield f"{name_of_row(table, number)} is not as it was written"
        except (sqlite3.Error, UnicodeError) as error:
            yield f"{table}: {error}"
            continue
        for of, number in sealed:
            if of == table and number not in numbers:
                yield f"{name_of_row(table, number)} is missing"


def _head_faults(link: sqlite3.Connection) -> Iterator[str]:
    """Bytes before the cells of a row that SQLite passes over, so that no seal tells of them."""
    data = link.serialize()
    size = int.from_bytes(data[16:18], "big")
    size = 65536 if size == 1 else size
    for table in (*schema.TABLES[1:], "seals"):
        root = link.execute("SELECT rootpage FROM sqlite_master WHERE type = 'table' AND name = ?", (table,)).fetchone()
        todo: list[int] = [int(root[0])] if root else []
        seen: set[int] = set()
        while todo:
            number = todo.pop()
            page = data[size * (number - 1) : size * number]
            if number in seen or len(page) < size:
                yield f"{table}: pages that lead nowhere"
                return
            seen.add(number)
            count, leaf = int.from_bytes(page[3:5], "big"), page[0] == 0x0D
            head = 8 if leaf else 12
            starts = [int.from_bytes(page[k : k + 2], "big") for k in range(head, head + 2 * count, 2)]
            if not leaf:
                todo += [int.from_bytes(page[8:12], "big"), *(int.from_bytes(page[k : k + 4], "big") for k in starts)]
            elif any(not _head_is_right(page[start : start + 24], table in _BARE) for start in starts):
                yield f"the head of a row of {table} is not as it was written"


def _head_is_right(cell: bytes, bare: bool) -> bool:
    """Length of the row, its number, length of its head, and nothing for the number, which stands before already."""
    at = 0
    for _ in range(2):
        at = next((k + 1 for k in range(at, min(len(cell), at + 9)) if cell[k] < 0x80 or k == at + 8), len(cell))
    head_ends = next((k + 1 for k in range(at, len(cell)) if cell[k] < 0x80), len(cell))
    return cell[head_ends : head_ends + 1] == b"\x00" and (not bare or (cell[0], cell[at]) == (2, 2))


class Seal(NamedTuple):
    """One seal as it stands in the file, whatever stands there."""

    nth: Any
    of: str
    number: Any
    row: str
    chain: str


def read_seals(link: sqlite3.Connection) -> list[Seal]:
    """All seals in order."""
    with _any_text(link):
        rows = link.execute("SELECT nth, of, number, row, chain FROM seals ORDER BY nth")
        return [Seal(nth, str(of), number, str(row), str(chain)) for nth, of, number, row, chain in rows]


def raw_rows(
    link: sqlite3.Connection, table: str, where: str = "1", values: Sequence[Any] = ()
) -> Iterator[tuple[int, dict[str, Any]]]:
    """Rows by their number, straight from the table."""
    with _any_text(link):
        found = link.execute(f"SELECT rowid, * FROM {table} NOT INDEXED WHERE {where}", values)
        names = [column[0] for column in found.description]
        for number, *cells in found:
            yield number, dict(zip(names[1:], cells, strict=True))


def _decoded(value: bytes) -> str | tuple[str, bytes]:
    """Text of a cell; damaged text must be looked at, not raise, and must not pass for what it was."""
    try:
        return value.decode("utf-8")
    except UnicodeDecodeError:
        return "no text", value


@contextlib.contextmanager
def _any_text(link: sqlite3.Connection) -> Iterator[None]:
    link.text_factory = _decoded
    try:
        yield
    finally:
        link.text_factory = str
