"""The acts of an owner, each one transaction: receive, fit, use, move, lend, count, undo, a whole job; what it left."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from contextlib import suppress
from typing import Any

from repairecon.book import schema
from repairecon.book.cards import listed
from repairecon.book.ledger import noting
from repairecon.book.schema import Amount, When, amount, day, kept, month_or_day, pieces, words
from repairecon.book.stock import Stock, by_kind
from repairecon.read.problems import key, shown
from repairecon.read.values import plain
from repairecon.records import BookError, Counted, FitLine, Happened, Item, JobInBook, Movement, ReceiveLine, StockError


class _OnlyShown(Exception):
    pass


class Acts(Stock):
    """The side of a spares book that is written to; ``date`` is today by default, a ``lot`` the oldest."""

    def receive(self, lines: Iterable[ReceiveLine], date: When = None, reference: str = "") -> tuple[Happened, ...]:
        """Write a delivery, all its lines or none; what it left of each item, or every fault of it in one go."""
        faults: list[str] = []
        made: dict[int, list[int]] = defaultdict(list)
        with self.ledger.writing():
            on_date = day(date, self.ledger.today())
            for place, line in enumerate(lines, start=1):
                with noting(faults, f"line {place}: "):
                    item = self.item(line.item)
                    self.refuse_other_part(item, line.designation)
                    count, cost = pieces(line.quantity, item.measure), kept(line.cost_unit, schema.MONEY, "cost of one")
                    into, most = self._home(item, line.locker), schema.LARGEST_VALUE
                    if into == schema.LENT_NUMBER:
                        raise BookError(f"{shown(schema.LENT)} is for what is lent: say which locker it goes into")
                    if cost is not None and count * cost > most * 10**9:  # sums of whole numbers hold no more
                        raise BookError(f"quantity times cost is over {plain(most)}: write it as several movements")
                    made[item.number].append(self.ledger.insert("movements", {
                        "kind": "bought", "item": item.number, "quantity": count, "locker_to": into, "cost_unit": cost,
                        "person": words(line.supplier, "supplier"), "lot": words(line.lot, "lot"),
                        "currency": words(line.currency, "currency").upper(),
                        "rate": kept(line.rate, schema.RATE, "rate") or None,
                        "quoted_unit": kept(line.quoted_unit, schema.MONEY, "quoted for one"), "on_date": on_date,
                        "cure_date": month_or_day(line.cure_date), "note": words(line.note, "note"),
                        "reference": words(reference, "reference"), "order_line": line.order_line,
                    }))  # fmt: skip
            if faults:
                raise BookError("the delivery was not written:\n" + "\n".join(faults))
            return tuple(self._happened(number, numbers) for number, numbers in made.items())

    def fit(
        self, item: str, unit: str, hours: Amount | None = None, date: When = None, *, quantity: Amount = 1,
        locker: str | None = None, **more: str,
    ) -> Happened:  # fmt: skip
        """Take a spare from stock for a unit; ``more``, here and below: date, note, lot, reference."""
        card = self.item(item).name
        columns = {"unit": self.find("unit", unit), "hours": kept(hours, schema.HOURS, "hours on the clock")}
        return self._take("fitted", card, quantity, locker, {"date": date, **more}, **columns)

    def use(self, item: str, quantity: Amount = 1, locker: str | None = None, **more: Any) -> Happened:
        return self._take("used", item, quantity, locker, more)

    def scrap(self, item: str, quantity: Amount = 1, locker: str | None = None, **more: Any) -> Happened:
        return self._take("scrapped", item, quantity, locker, more)

    def move(self, item: str, to: str, quantity: Amount = 1, locker: str | None = None, **more: Any) -> Happened:
        into = self.find("locker", to)
        if into == schema.LENT_NUMBER:
            raise BookError("to lend something, say to whom")
        return self._take("moved", item, quantity, locker, more, locker_to=into)

    def lend(self, item: str, borrower: str, quantity: Amount = 1, locker: str | None = None, **more: Any) -> Happened:
        """Lend something; it stays the owner's, but is not aboard."""
        who = words(borrower, "borrower", required=True)
        return self._take("lent", item, quantity, locker, more, locker_to=schema.LENT_NUMBER, person=who)

    def _take(
        self, kind: str, item: str, quantity: Amount, locker: str | None, more: Mapping[str, Any], **columns: Any
    ) -> Happened:
        with self.ledger.writing():
            card = self.item(item)
            count = pieces(quantity, card.measure)
            said = {name: words(text, name) for name, text in more.items() if name != "date"}
            place = self._from_where(card, locker, count, said.get("lot", ""))
            said["on_date"] = day(more.get("date"), self.ledger.today())
            if columns.get("locker_to") == place:
                raise BookError(f"{shown(card.name)} lies in that locker already: nothing was written")
            # "+unit" keeps SQLite to the index by item, as a unit may have years of movements
            where = "item = ? AND locker_from IS NOT NULL AND +unit = ? AND kind = 'fitted'"
            fitted = self.standing(where, (card.number, columns["unit"])) if kind == "fitted" else ()
            before = max(fitted, key=lambda m: (m.on_date, m.number), default=None)
            row = {"kind": kind, "item": card.number, "quantity": count, "locker_from": place, **said, **columns}
            return self._happened(card.number, [self.ledger.insert("movements", row)], before)

    def _from_where(self, card: Item, locker: str | None, quantity: int, lot: str) -> int:
        where, held = self.lockers_by_number(), self.places(card.number)
        asked = f"{shown(card.name)}: {amount(quantity)} asked"
        lying = ", ".join(f"{amount(q)} in {shown(where[k].name)}" for k, q in held.items()) or "none anywhere"
        enough = [where[k] for k, q in held.items() if q >= quantity]
        if locker:
            number = self.find("locker", locker)
            choices = [k for k in enough if k.number == number]
        else:
            preferred = (lambda k: k.name == card.locker, lambda k: k.kind == "aboard", lambda k: k.kind != "lent")
            choices = next((some for better in preferred if (some := list(filter(better, enough)))), [])
        if not choices:
            raise StockError(f"{asked}, {lying} by the book; nothing was written. If there are more, count the locker "
                             "first")  # fmt: skip
        if len(choices) > 1:
            raise StockError(f"{shown(card.name)}: {lying}; say which locker {amount(quantity)} came from")
        (place,) = choices
        there = sum(x.quantity for x in self.lots(card.name) if lot and x.lot == lot and x.locker == place.name)
        if lot and there < amount(quantity):
            raise StockError(f"{asked} of lot {shown(lot)}, {there} left there; nothing was written")
        return place.number

    def give_back(self, item: str, borrower: str, quantity: Amount = 1, to: str | None = None, **more: Any) -> Happened:
        """Take back what was lent, no more than was lent to him, into its own locker by default."""
        with self.ledger.writing():
            card = self.item(item)
            count, out = amount(pieces(quantity, card.measure)), self.lent(card.name)
            who = next((person for person in out if key(person) == key(borrower)), None)
            if who is None or out[who] < count:
                has = ", ".join(f"{shown(p)} has {q}" for p, q in out.items()) or "nobody has any"
                asked = f"{shown(borrower)} has not borrowed {count} ({has})"
                raise StockError(f"{shown(card.name)}: {asked}; nothing was written")
            columns = {"locker_to": self._home(card, to), "person": who}
            return self._take("returned", card.name, quantity, schema.LENT, more, **columns)

    def _home(self, card: Item, locker: str | None) -> int:
        if not locker and not card.locker:
            raise BookError(f"{shown(card.name)} has no locker of its own: say which one it goes into")
        return self.find("locker", locker or card.locker)

    def count(
        self, locker: str, found: Mapping[str, Amount], write: bool = True, *, date: When = None, note: str = "",
        cure_date: When = None, lot: str = "",
    ) -> tuple[Counted, ...]:  # fmt: skip
        """Hold a count against the book, ``write`` differences; ``cure_date``, ``lot``: read on what is beyond it."""
        with self.ledger.writing() if write else self.ledger.reading():
            place = self.find("locker", locker)
            if place == schema.LENT_NUMBER:
                raise BookError(f"{shown(schema.LENT)} is no place to count in: give back what has come back")
            seen: dict[int, tuple[Item, int]] = {}
            for name, quantity in found.items():
                card = self.item(name)
                if card.number in seen:
                    raise BookError(f"{shown(card.name)} is counted twice: add the two up; nothing was written")
                seen[card.number] = (card, pieces(quantity, card.measure, "count", above=False))
            head = {"kind": "counted", "on_date": day(date, self.ledger.today()), "note": words(note, "note")}
            marks = {"cure_date": month_or_day(cure_date or ""), "lot": words(lot, "lot")}
            made = []
            for card, quantity in seen.values():
                in_book = self.places(card.number).get(place, 0)
                more = quantity - in_book
                # marks are of what was found, not of what was missing
                side = {"locker_to": place, **marks} if more > 0 else {"locker_from" if more else "locker_to": place}
                row = {**head, "item": card.number, "quantity": abs(more), **side}
                number = self.ledger.insert("movements", row) if write else 0
                made.append(Counted(
                    item=card.name, locker=self.names("locker", [place])[place], in_book=amount(in_book),
                    counted=amount(quantity), movement=next(iter(self.movements_where(f"movement = {number}")), None),
                ))  # fmt: skip
            return tuple(made)

    def undo(self, movement: int, date: When = None, note: str = "") -> Happened:
        """Take a movement back by its mirror, once, on its own date by default; undone, that lets it stand again."""
        with self.ledger.writing():
            undone_by = self.undone_by()
            columns = ", ".join(schema.MOVEMENT)
            found = self.ledger.rows(f"SELECT {columns} FROM movements WHERE movement = ?", (movement,))
            if not found:
                last = self.ledger.rows("SELECT coalesce(max(movement), 0) FROM movements")[0][0]
                raise BookError(f"there is no movement {movement}: they run from 1 to {last}")
            row = dict(zip(schema.MOVEMENT, found[0], strict=True))
            if movement in undone_by:
                raise BookError(f"movement {movement} is undone already, by movement {undone_by[movement]}")
            if row["kind"] == "corrected":
                raise BookError(f"movement {movement} took back what was corrected: undo what stands instead")
            gone, come = row["locker_to"], row["locker_from"]
            lying = self.places(row["item"]).get(gone, 0)
            if gone and lying < row["quantity"]:
                said = f"{amount(row['quantity'])} of {shown(self.item_by_number(row['item']).name)}"
                raise StockError(
                    f"movement {movement} brought {said} to {shown(self.names('locker')[gone])}, where only "
                    f"{amount(lying)} lie now: undo what took them away first, or count the locker; nothing was written"
                )
            row |= {"locker_from": gone, "locker_to": come, "undoes": movement, "corrects": None, "kind": "undone"}
            row |= {"note": words(note, "note"), **({"on_date": day(date, self.ledger.today())} if date else {})}
            return self._happened(row["item"], [self.ledger.insert("movements", row)])

    def write_job(
        self, reference: str, received: Iterable[ReceiveLine], fitted: Iterable[FitLine], unit: str, *,
        hours: Amount | None = None, date: When = None, new_cards: Iterable[Mapping[str, Any]] | None = None,
        write: bool = True,
    ) -> JobInBook:  # fmt: skip
        """Write all that came and all that was fitted to a unit on one job, or nothing; once for a reference.

        ``new_cards``, even none, are fields of items to add, and let a unit be added that the book does not know.
        ``write=False`` shows what would happen: the same transaction, taken back.
        """
        with suppress(_OnlyShown), self.ledger.writing():
            line = words(reference, "reference", required=True)
            if there := [str(m.number) for m in self.standing("reference = ?", (line,))]:
                raise BookError(
                    f"this job is in the book already (movement{'s' if len(there) > 1 else ''} {', '.join(there)}): "
                    "nothing was written. To write it anew, undo all of them first"
                )
            if new_cards is not None and key(unit) not in map(key, self.names("unit").values()):
                self.add_unit(unit)
            for fields in new_cards or ():
                self.add_item(**fields)
            done = self._job_lines(received, fitted, unit, hours, date, reference)
            job = JobInBook(reference=reference, happened=done, reorder=self.reorder_list(), written=write)
            if not write:
                raise _OnlyShown
        return job

    def _job_lines(
        self, received: Iterable[ReceiveLine], fitted: Iterable[FitLine], unit: str, hours: Amount | None, date: When,
        reference: str,
    ) -> tuple[Happened, ...]:  # fmt: skip
        faults: list[str] = []
        numbers: dict[int, list[int]] = defaultdict(list)
        before: dict[int, Movement | None] = {}
        with noting(faults):  # what came is taken back whole, so that all is held against what lay there before
            numbers |= {h.item.number: [m.number for m in h.movements] for h in self.receive(received, date, reference)}
        faults = [line for fault in faults for line in fault.splitlines()[1:] or [fault]]
        came = not faults
        for line in fitted:
            if line.lot and not came:
                continue  # what did not come cannot be fitted: that is no further fault
            with noting(faults, f"fitting {shown(line.item)}: "):
                done = self.fit(
                    line.item, unit, hours, date, quantity=line.quantity, locker=line.locker or None, note=line.note,
                    lot=line.lot, reference=reference,
                )  # fmt: skip
                numbers[done.item.number] += [m.number for m in done.movements]
                before.setdefault(done.item.number, done.before)
        if faults:
            raise BookError("the job was not written:\n" + "\n".join(dict.fromkeys(faults)))
        return tuple(self._happened(item, listed, before.get(item)) for item, listed in numbers.items())

    def _happened(self, item: int, numbers: Iterable[int], before: Movement | None = None) -> Happened:
        made = self.movements_where(f"movement IN ({listed(numbers)})")
        held, where, few = self.places(item), self.lockers_by_number(), self.reorder_list(item)
        clock, run = next((m.hours for m in made if m.hours is not None), None), None
        if before is not None and before.hours is not None and clock is not None and clock >= before.hours:
            run = clock - before.hours  # a smaller reading tells of another clock
        return Happened(
            item=self.item_by_number(item), movements=made,
            places={where[k].name: amount(q) for k, q in held.items()}, aboard=by_kind(held, where)["aboard"],
            lots=self.lots_taken(made[0]), reorder=few[0] if few else None, before=before, hours_run=run,
        )  # fmt: skip
