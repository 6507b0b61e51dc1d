"""Taking back, correcting, and whole jobs: several movements that belong together, written together or not at all."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from repairecon.book.acts import Acts, check_value
from repairecon.book.amounts import HOURS, MONEY, RATE, Amount, When, amount, day, kept, month_or_day, pieces, words
from repairecon.book.stock import stands
from repairecon.read.problems import Problems, key, shown
from repairecon.records import (
    BookBusyError,
    BookError,
    BookFileError,
    FitLine,
    Happened,
    JobInBook,
    Movement,
    ReceiveLine,
    StockError,
)

_COPIED = (
    "item", "quantity", "locker_from", "locker_to", "cost_unit", "currency", "rate", "quoted_unit", "person", "unit",
    "hours", "lot", "cure_date", "reference",
)  # fmt: skip
_MORE = ("on_date", "kind", "undoes", "note")
CHANGES = ("date", *_COPIED, "note")
"""What ``correct`` may set."""


class _OnlyShown(Exception):
    """Leaves a transaction so that nothing of it is kept."""

    def __init__(self, job: JobInBook) -> None:
        super().__init__()
        self.job = job


class Undoing(Acts):
    """Acts that answer to earlier ones, and acts of several lines."""

    def undo(self, movement: int, date: When = None, note: str = "") -> Happened:
        """Take a movement back by its mirror, once, on its own date by default.

        Undoing an undoing lets the first stand again.
        """
        with self.ledger.writing():
            row = self._mirror(movement, "undone", date, note)
            return self.happened(row["item"], [self.write(**row)])

    def _whole_row(self, number: int) -> dict[str, Any]:
        columns = (*_COPIED, *_MORE)
        rows = self.ledger.rows(f"SELECT {', '.join(columns)} FROM movements WHERE movement = ?", (number,))
        if not rows:
            last = self.ledger.rows("SELECT coalesce(max(movement), 0) FROM movements")[0][0]
            raise BookError(f"there is no movement {number}: they run from 1 to {last}")
        return dict(zip(columns, rows[0], strict=True))

    def _mirror(self, number: int, kind: str, date: When, note: str) -> dict[str, Any]:
        row, undone_by = self._whole_row(number), self.undone_by()
        if number in undone_by:
            raise BookError(f"movement {number} is undone already, by movement {undone_by[number]}")
        if row["kind"] == "corrected":
            instead = self.ledger.rows("SELECT movement FROM movements WHERE corrects = ?", (row["undoes"],))[0][0]
            raise BookError(
                f"movement {number} took back what was corrected: undo or correct movement {instead}, which stands "
                "instead"
            )
        gone, come = row["locker_to"], row["locker_from"]
        lying = self._lying(row["item"], gone)
        if gone and kind == "undone" and lying < row["quantity"]:
            raise StockError(
                f"movement {number} brought {self._said(row)} to {shown(self.names('locker')[gone])}, where only "
                f"{amount(lying)} lie now: undo what took them away first, or count the locker; nothing was written"
            )
        on_date = day(date, self.ledger.today()) if date else row["on_date"]
        changed = {"locker_from": gone, "locker_to": come, "undoes": number, "note": words(note, "note")}
        return {**{name: row[name] for name in _COPIED}, **changed, "kind": kind, "on_date": on_date}

    def _lying(self, item: int, locker: int | None) -> int:
        return self.places(item).get(locker, 0) if locker else 0

    def _said(self, row: Mapping[str, Any]) -> str:
        return f"{amount(row['quantity'])} of {shown(self.item_by_number(row['item']).name)}"

    def correct(self, movement: int, **changes: Any) -> Happened:
        """Take a movement back and write it again otherwise: date, quantity, cost_unit, locker_to, ..."""
        for name in changes:
            if name not in CHANGES:
                raise BookError(f"a movement has no field {shown(name)}; {Problems().advice(name, CHANGES)}")
        with self.ledger.writing():
            before = self._whole_row(movement)
            if before["undoes"] is not None:
                raise BookError(f"movement {movement} is a counter-movement: undo it, or correct what stands")
            back = self._mirror(movement, "corrected", None, changes.get("note", ""))
            kept_fields = {name: before[name] for name in (*_COPIED, "on_date", "kind", "note")}
            after = kept_fields | self._changed(before, changes) | {"corrects": movement}
            check_value(after["quantity"], after["cost_unit"])
            # What was bought and is used up cannot be taken back first: then what takes its place is written first.
            enough = self._lying(before["item"], back["locker_from"]) >= back["quantity"]
            rows = (back, after) if enough or not back["locker_from"] else (after, back)
            return self.happened(after["item"], [self._write_if_enough(movement, row) for row in rows])

    def _write_if_enough(self, number: int, row: Mapping[str, Any]) -> int:
        gone = row["locker_from"]
        lying = self._lying(row["item"], gone)
        if gone and lying < row["quantity"]:
            raise StockError(
                f"movement {number} cannot be corrected like that: it would take {self._said(row)} from "
                f"{shown(self.names('locker')[gone])}, where {amount(lying)} lie. Count the locker first; nothing was "
                "written"
            )
        return self.write(**row)

    def _changed(self, before: Mapping[str, Any], changes: Mapping[str, Any]) -> dict[str, Any]:
        """The fields that are set otherwise, as the book keeps them."""
        made: dict[str, Any] = {"item": before["item"]}
        if "item" in changes:
            made["item"] = self.find("item", changes["item"])
        if "quantity" in changes:
            made["quantity"] = pieces(changes["quantity"], self.item_by_number(made["item"]).measure)
        if "date" in changes:
            made["on_date"] = day(changes["date"], self.ledger.today())
        for name in ("locker_from", "locker_to"):
            if name in changes:
                if before[name] is None:
                    raise BookError(
                        f"movement {name}: a movement that is {before['kind']} has none here; undo it and write another"
                    )
                made[name] = self.find("locker", changes[name])
        if "unit" in changes:
            made["unit"] = self.find("unit", changes["unit"]) if changes["unit"] else None
        scales = {"cost_unit": MONEY, "quoted_unit": MONEY, "rate": RATE, "hours": HOURS}
        made |= {name: kept(changes[name], scale, name) for name, scale in scales.items() if name in changes}
        made |= {n: words(changes[n], n) for n in ("currency", "person", "lot", "reference", "note") if n in changes}
        if "cure_date" in changes:
            made["cure_date"] = month_or_day(changes["cure_date"])
        return made

    def write_job(
        self, reference: str, received: Iterable[ReceiveLine], fitted: Iterable[FitLine], unit: str, *,
        hours: Amount | None = None, date: When = None, new_cards: Iterable[Mapping[str, Any]] | None = None,
        write: bool = True,
    ) -> JobInBook:  # fmt: skip
        """Write all that came and all that was fitted to a unit on one job, or nothing; once for a reference.

        ``new_cards`` are the fields of items that the book does not know yet; with them, were there none to add, a unit
        that it does not know is added too.
        ``write=False`` shows what would happen: the same transaction, taken back.
        """
        try:
            with self.ledger.writing():
                self._refuse_twice(reference)
                if new_cards is not None and key(unit) not in map(key, self.names("unit").values()):
                    self.add_unit(unit)
                for fields in new_cards or ():
                    self.add_item(**fields)
                done = self._job_lines(received, fitted, unit, hours, date, reference)
                job = JobInBook(reference=reference, happened=done, reorder=self.reorder_list(), written=write)
                if not write:
                    raise _OnlyShown(job)
        except _OnlyShown as only:
            return only.job
        return job

    def _refuse_twice(self, reference: str) -> None:
        line = words(reference, "reference", required=True)
        rows = self.ledger.rows("SELECT movement FROM movements WHERE reference = ? AND undoes IS NULL", (line,))
        undone_by = self.undone_by()
        there = [m for (m,) in rows if stands(m, undone_by)]
        if there:
            which = f"movement {there[0]}" if len(there) == 1 else f"movements {', '.join(map(str, there))}"
            raise BookError(
                f"this job is in the book already ({which}): nothing was written. Correct a movement that is wrong, "
                "or undo all of them first"
            )

    def _job_lines(
        self, received: Iterable[ReceiveLine], fitted: Iterable[FitLine], unit: str, hours: Amount | None, date: When,
        reference: str,
    ) -> tuple[Happened, ...]:  # fmt: skip
        """What came first, then what was fitted; every fault of them at once."""
        faults: list[str] = []
        made: list[Happened] = []
        try:
            made += self.receive(received, date, reference)
        except (BookFileError, BookBusyError):
            raise
        except BookError as error:
            faults += str(error).splitlines()[1:] or [str(error)]
        came = not faults
        for line in fitted:
            if line.lot and not came:
                continue  # what did not come cannot be fitted: that is no further fault
            try:
                words_of_line = {"note": line.note, "lot": line.lot, "reference": reference}
                made.append(self.fit(
                    line.item, unit, hours, date, quantity=line.quantity, locker=line.locker or None,
                    **words_of_line,
                ))  # fmt: skip
            except (BookFileError, BookBusyError):
                raise
            except BookError as error:
                faults.append(f"fitting {shown(line.item)}: {error}")
        if faults:
            raise BookError("the job was not written:\n" + "\n".join(dict.fromkeys(faults)))
        return self._by_item(made)

    def _by_item(self, made: Iterable[Happened]) -> tuple[Happened, ...]:
        """One record an item, as things stand at the end of the job."""
        numbers: dict[int, list[int]] = {}
        before: dict[int, Movement | None] = {}
        for done in made:
            numbers.setdefault(done.item.number, []).extend(m.number for m in done.movements)
            if done.movements[0].kind == "fitted":
                before.setdefault(done.item.number, done.before)
        return tuple(self.happened(item, listed, before.get(item)) for item, listed in numbers.items())
