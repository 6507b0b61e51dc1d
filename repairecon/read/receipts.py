"""What has come by orders, in the actual.csv of the job: pieces bought, paid, days waited.

A row counts on from what deliveries wrote before; one that the owner wrote otherwise stays as it is, and is named.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path

from repairecon.read.columns import FILES
from repairecon.read.files import Unreadable, read_data, write_whole
from repairecon.read.problems import key
from repairecon.read.sheets import EMPTY, CsvTable, naming
from repairecon.read.values import Limits, Misread, number, plain

ACTUAL_FILE = "actual.csv"
_NOTHING = Decimal(0)
_ANY = Limits(0.0, 1e12)


@dataclass(frozen=True, kw_only=True)
class Came:
    """What has come of a part by orders [home money, whole cents]: ``paid`` but carriage, ``days`` the longest wait.

    ``booked`` pieces came into the book when the job was closed: its sheet had them already.
    """

    pieces: Decimal = _NOTHING
    paid: Decimal = _NOTHING
    carriage: Decimal = _NOTHING
    days: int | None = None
    booked: Decimal = _NOTHING

    def __add__(self, more: Came) -> Came:
        sums = {n: getattr(self, n) + getattr(more, n) for n in ("pieces", "paid", "carriage", "booked")}
        return Came(days=max((d for d in (self.days, more.days) if d is not None), default=None), **sums)


def write_receipts(folder: Path, before: Mapping[str, Came], after: Mapping[str, Came]) -> list[str]:
    """Bring what has come since ``before``, or was taken back, into the actual.csv of a job if it is there.

    Returns sentences on the rows that were left as the owner wrote them.
    """
    path = folder / ACTUAL_FILE
    changed = [p for p in {**before, **after} if _of_orders(before, p) != _of_orders(after, p)]
    if not path.is_file() or not changed:
        return []
    notes, carriage = [], _NOTHING
    with naming(path):
        table = CsvTable(read_data(path), FILES[ACTUAL_FILE].known)
        if not table.columns:
            raise Unreadable(*EMPTY)
    for part in changed:
        was, now = before.get(part, Came()), after.get(part, Came())
        at = _row_of(table, ("part", "unit"), part)
        row = table.cells(at)
        bought = _bought(row, was, bool(_find(table, ("refund",), part)))
        if bought is None:
            came = now.pieces + now.booked
            notes.append(f"{folder.name}/{ACTUAL_FILE}: {part} stays as you wrote it; by the book {came} came")
            continue
        made = {"paid": _cell((_number(row, "paid") or _NOTHING) + now.paid - was.paid)}
        if row.get("kind", "").casefold() == "part":
            made["bought"] = _cell(bought + now.pieces - was.pieces)
        if row.get("days", "") in ("", str(was.days)):
            made["days"] = "" if now.days is None else str(now.days)
        table.put(at, made)
        carriage += now.carriage - was.carriage
    if carriage:
        at = _row_of(table, ("carriage",), "all")
        paid = _number(table.cells(at), "paid")
        if paid is None:
            notes.append(f"{folder.name}/{ACTUAL_FILE}: carriage stays as you wrote it; by the book {carriage} more")
        else:
            table.put(at, {"paid": _cell(paid + carriage)})
    write_whole(path, table.data())
    return notes


def _find(table: CsvTable, kinds: tuple[str, ...], name: str) -> int:
    rows = ((at, table.cells(at)) for at in table.rows())
    same = (at for at, row in rows if row.get("kind", "").casefold() in kinds and key(row.get("name", "")) == key(name))
    return next(same, 0)


def _row_of(table: CsvTable, kinds: tuple[str, ...], name: str) -> int:
    return _find(table, kinds, name) or table.add({"kind": kinds[0], "name": name})


def _of_orders(came: Mapping[str, Came], part: str) -> Came:
    return replace(came.get(part, Came()), booked=_NOTHING)


def _bought(row: Mapping[str, str], was: Came, core: bool) -> Decimal | None:
    """Pieces that a row says were bought; None where it says other than deliveries and the closing of the job did."""
    said, paid = _number(row, "bought"), _number(row, "paid")
    if row.get("kind", "").casefold() == "unit":  # a core surcharge comes back: what was paid is the owner's to write
        said = was.pieces if paid == was.paid and not core else None
    elif not row.get("bought", "") and (row.get("paid", "") or was.booked):  # as many as were fitted
        said = _number(row, "quantity")
    with_tax = row.get("vat", "").casefold() in ("", "in")
    return said if with_tax and paid is not None and said in (was.pieces, was.pieces + was.booked) else None


def _number(row: Mapping[str, str], column: str) -> Decimal | None:
    read = number(row.get(column, "") or "0", _ANY)
    return None if isinstance(read, Misread) else Decimal(str(read))


def _cell(amount: Decimal) -> str:
    return plain(float(amount)) if amount else ""
