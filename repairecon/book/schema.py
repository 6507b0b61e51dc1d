"""The tables of a spares book: their steps (``schema.sql``), what their cells hold, and the seals of their rows.

Quantities are integer thousandths and clock hours too, money is integer millionths of home money, rates integer
thousand-millionths: sums are exact for ever. Millionths, as a pack that cost 10.00 holds 7 pieces at 1.428571:
multiplied back, that is right to half a cent for packs of up to 10,000 pieces.

A seal is a hash of the row as it was written, chained to the seal before. It finds slips of a disk, of a memory stick
and of a hand; it is no signature: who knows the rule can write new seals.
"""

from __future__ import annotations

import contextlib
import datetime
import hashlib
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal, InvalidOperation
from functools import cache
from pathlib import Path
from typing import Any, Literal, overload

from repairecon.read import values
from repairecon.read.problems import Problems, clean, shown
from repairecon.read.values import Limits, Misread
from repairecon.records import BookError

APPLICATION_ID = int.from_bytes(b"sprB", "big")  # bytes 68 to 71 of the file, SQLite's place for the kind of document
LENT, LENT_NUMBER = "lent out", 1  # the locker that stands for what is lent out
LARGEST_QUANTITY, LARGEST_VALUE = 1_000_000, 1_000_000_000  # pieces, and home money, of one movement

KEYS = {
    "about": "name", "lockers": "locker", "locker_versions": "version", "units": "unit", "unit_versions": "version",
    "items": "item", "item_versions": "version", "orders": "number", "order_lines": "line", "movements": "movement",
}  # fmt: skip
TABLES = (*KEYS, "about_versions")  # tables whose rows are sealed, each after those that it refers to
SEALED_FROM, ORDERS_FROM = 3, 4  # versions of the book from which every row has a seal, and from which it holds orders

Sort = Literal["item", "locker", "unit"]
CARDS: dict[Sort, tuple[str, ...]] = {
    "item": (
        "name", "system", "units", "makers_number", "cross_reference", "designation", "material", "measure", "minimum",
        "locker", "shelf_group", "critical", "needs", "weight_kg", "volume_litres", "resale_rate", "carried", "note",
    ),
    "locker": ("name", "place", "kind", "note"),
    "unit": ("name", "kind", "hours", "hours_on", "note"),
}  # fmt: skip
"""What a card may say, in the order in which it is read and written."""
MOVEMENT = (
    "on_date", "kind", "item", "quantity", "locker_from", "locker_to", "cost_unit", "currency", "rate", "quoted_unit",
    "person", "unit", "hours", "lot", "cure_date", "reference", "note", "undoes", "corrects", "order_line",
)  # fmt: skip
ORDER = ("on_date", "supplier", "job", "for_unit", "currency", "rate", "expected_days")
ORDER_LINE = ("part", "whole_unit", "item", "designation", "material", "pieces", "packs", "quoted_pack", "cost_unit",
              "carriage_unit", "duty_unit")  # fmt: skip

_, *STEPS = (Path(__file__).parent / "schema.sql").read_text("utf-8").split("-- step ")
VERSION = len(STEPS)


def tables(version: int) -> tuple[str, ...]:
    return tuple(t for t in TABLES if version >= ORDERS_FROM or not t.startswith("order"))


# ---- cells: what an owner says, and the whole numbers and plain text that the book keeps for it ----
Amount = Decimal | int | float | str
When = datetime.date | str | None
LONGEST_TEXT = 2_000


@dataclass(frozen=True)
class Scale:
    """How many digits after the point the book keeps of a kind of number, and how large it may be."""

    digits: int
    largest: int
    rounds: bool = False  # further digits are left out, to the nearest (the even one of two); else they are refused


QUANTITY = Scale(3, LARGEST_QUANTITY)
MONEY = Scale(6, 1_000_000_000, rounds=True)
RATE = Scale(9, 1_000_000_000, rounds=True)
HOURS = Scale(3, 1_000_000, rounds=True)
COUNT = Scale(0, 1_000_000_000)
SCALES = {
    "minimum": QUANTITY, "quantity": QUANTITY, "pieces": QUANTITY, "received": QUANTITY, "hours": HOURS, "rate": RATE,
    **dict.fromkeys(("cost_unit", "quoted_unit", "quoted_pack", "carriage_unit", "duty_unit"), MONEY),
}  # fmt: skip
"""How the columns of the book are kept that hold a number of the owner's."""


def scaled(value: Amount, scale: Scale) -> int | Misread:
    """The whole number that the book keeps for an amount."""
    try:
        exact = Decimal(str(value).strip()) if not isinstance(value, bool) else Decimal("NaN")
    except InvalidOperation:
        exact = Decimal("NaN")
    if not exact.is_finite():
        return Misread("write a number such as 2 or 12.50")
    if exact < 0:
        return Misread("write not less than 0")
    if exact > scale.largest:
        return Misread(f"write {scale.largest} at most")
    moved = exact.scaleb(scale.digits)
    whole = moved.to_integral_value(ROUND_HALF_EVEN)
    if whole != moved and not scale.rounds:
        return Misread(f"write no more than {scale.digits} digits after the point")
    return int(whole)


def typed(text: str, scale: Scale) -> int | Misread:
    """The whole number for an amount in a cell, whatever a spreadsheet made of it."""
    read = values.number(text, Limits(0.0, scale.largest))
    return read if isinstance(read, Misread) else scaled(text, scale)


def wrong(what: str, value: object, write: str) -> BookError:
    return BookError(f"{what}: found {shown(str(value))}; {write}")


def kept(value: Amount | None, scale: Scale, what: str) -> int | None:
    """The whole number for an amount, None where nothing is said; a wrong one is refused in a sentence."""
    if value is None or value == "":
        return None
    found = scaled(value, scale)
    if isinstance(found, Misread):
        raise wrong(what, value, found.write)
    return found


def pieces(value: Amount, measure: str, what: str = "quantity", above: bool = True) -> int:
    """A quantity in thousandths; pieces come whole."""
    found = kept(value, QUANTITY, what)
    if found is None:
        raise wrong(what, "", "write a number such as 2 or 12.50")
    if above and not found:
        raise wrong(what, value, "write more than 0")
    if measure == "piece" and found % 1000:
        raise wrong(what, value, "these come in whole pieces: write a whole number")
    return found


@overload
def amount(found: int, scale: Scale = QUANTITY) -> Decimal: ...
@overload
def amount(found: int | None, scale: Scale = QUANTITY) -> Decimal | None: ...
def amount(found: int | None, scale: Scale = QUANTITY) -> Decimal | None:
    """The number that the book means by its whole number, with no needless zeros; None where nothing is known."""
    return None if found is None else Decimal(found) / 10**scale.digits


def as_said(columns: Iterable[str], row: Iterable[Any]) -> dict[str, Any]:
    """A row of the book by column, its whole numbers as the numbers that they mean."""
    cells = zip(columns, row, strict=True)
    return {name: amount(value, SCALES[name]) if name in SCALES else value for name, value in cells}


def words(text: str, what: str = "text", required: bool = False) -> str:
    """Free words on one line, nothing in them that a terminal obeys."""
    line = " ".join(clean(str(text)).split()).encode("utf-8", "replace").decode("utf-8")
    if len(line) > LONGEST_TEXT:
        raise BookError(f"{what}: {len(line)} characters; write {LONGEST_TEXT} at most")
    if required and not line:
        raise wrong(what, "", "write a name")
    return line


def choice(value: str, options: tuple[str, ...], what: str) -> str:
    word = str(value).strip()
    found = next((o for o in options if o.casefold() == word.casefold()), None)
    if found is None:
        raise wrong(what, word, Problems().advice(word, [o for o in options if o]))
    return found


def day(value: When, today: datetime.date, what: str = "date") -> str:
    """A date as year-month-day, today by default; what lies ahead is a slip of the pen."""
    if value is None or value == "":
        return today.isoformat()
    found = values.date(value)
    if isinstance(found, Misread):
        raise wrong(what, value, found.write)
    if found > (today + datetime.timedelta(days=1)).isoformat():
        raise BookError(f"{what}: found {found}, which is still to come; write the day on which it happened")
    return found


def month_or_day(value: datetime.date | str, what: str = "cure date") -> str:
    """A date, or nothing; the quarter that is moulded or printed on rubber ("2Q24") is its first day."""
    if isinstance(value, str):
        text = value.strip().upper()
        if not text:
            return ""
        if len(text) == 4 and text[1] == "Q" and text[0] in "1234" and text[2:].isdecimal():
            value = datetime.date(2000 + int(text[2:]), 3 * int(text[0]) - 2, 1)
    found = values.date(value)
    if isinstance(found, Misread):
        raise wrong(what, value, "write year-month-day, or a quarter such as 2Q24")
    return found


# ---- tables: their steps, their seals, their shape ----
def script(step: int, strict: bool) -> str:
    """The SQL of a step (from 1); tables that check types where SQLite can (from its version 3.37 on)."""
    text = STEPS[step - 1].partition("\n")[2]
    return text if strict else text.replace(") STRICT;", ");")


def run_steps(link: sqlite3.Connection, found: int, upto: int = VERSION) -> None:
    """Bring tables up from a version, inside a transaction: executescript would commit it."""
    strict = sqlite3.sqlite_version_info >= (3, 37)
    for step in range(found + 1, upto + 1):
        statement = ""
        for line in script(step, strict).splitlines(keepends=True):
            statement += line
            if sqlite3.complete_statement(statement):
                link.execute(statement)
                statement = ""
    link.execute(f"PRAGMA user_version = {upto}")
    if found < SEALED_FROM <= upto:
        for table in tables(upto):
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


def raw_rows(
    link: sqlite3.Connection, table: str, where: str = "1", bound: Sequence[Any] = ()
) -> Iterator[tuple[int, dict[str, Any]]]:
    """Rows by their number, straight from the table."""
    with any_text(link):
        found = link.execute(f"SELECT rowid, * FROM {table} NOT INDEXED WHERE {where}", bound)
        names = [column[0] for column in found.description]
        for number, *cells in found:
            yield number, dict(zip(names[1:], cells, strict=True))


@contextlib.contextmanager
def any_text(link: sqlite3.Connection) -> Iterator[None]:
    """Damaged text of a cell must be looked at, not raise, and must not pass for what it was."""

    def decoded(value: bytes) -> str | tuple[str, bytes]:
        try:
            return value.decode("utf-8")
        except UnicodeDecodeError:
            return "no text", value

    link.text_factory = decoded
    try:
        yield
    finally:
        link.text_factory = str
