"""A closed job into the spares book: what was bought comes in, what was fitted goes out, in one act and once."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from math import ceil
from typing import TYPE_CHECKING, Any

from repairecon.after_the_job.bridge import days_out, pieces_paid, taken
from repairecon.after_the_job.estimate import Estimate
from repairecon.book.spares_book import SparesBook
from repairecon.buying.inputs import mean_of
from repairecon.read.closed import Closed
from repairecon.read.problems import Names, Problems, key, shown
from repairecon.records import (
    BookBusyError,
    BookError,
    BookFileError,
    Case,
    Decision,
    Done,
    FitLine,
    Item,
    JobInBook,
    Part,
    ReceiveLine,
    RepaireconError,
    StoresMoved,
)

if TYPE_CHECKING:
    from repairecon.after_the_job.job import AfterTheJob

HEAD = "the job was not written:"


@dataclass(frozen=True, kw_only=True)
class BookLine:
    """A movement of the job and the item of the book that it is of.

    ``item`` is empty where the book knows none, or where the owner leaves it out of the book. ``known_by`` is what the
    item was found by; ``new_card`` says that the item is added with this job.
    """

    moved: StoresMoved
    item: str
    known_by: str = ""
    new_card: bool = False
    left_out: bool = False


@dataclass(frozen=True, kw_only=True)
class IntoTheBook:
    """A job held against the spares book: its movements, what stands in the way, what the book then says.

    ``done`` is None where something stands in the way; nothing is written then. ``spare`` names what else became a
    spare and is for the owner to receive.
    """

    unit: str
    lines: tuple[BookLine, ...]
    problems: tuple[str, ...]
    done: JobInBook | None
    spare: str = ""


@dataclass(frozen=True, kw_only=True)
class BookWishes:
    """What an owner says besides: names of the book for those of the case, and what it does not know yet.

    ``called`` gives the item of the book for a part or unit of the case, an empty name to leave it out. ``unit`` is the
    unit of the book that was worked on (by default the one that is called as in the case), ``hours`` its clock,
    ``on`` the day of the movements (by default that on which the job was done), ``locker`` where things without a
    locker of their own go. ``new_cards`` adds items and a unit that the book does not know.
    """

    called: Mapping[str, str] = field(default_factory=dict)
    unit: str = ""
    hours: float | None = None
    on: str = ""
    locker: str = ""
    new_cards: bool = False


NOTHING_SAID = BookWishes()


def movements(closed: Closed, estimate: Estimate) -> tuple[StoresMoved, ...]:
    """What was bought for the job and what was fitted, in the order of the sheet.

    Parts come in whole packs where that is how they were quoted, or as many as the row says; those not fitted stay in
    the stores, and so does a unit bought as a spare. A unit that somebody else rebuilt is no purchase.
    """
    return tuple(_moved(closed, estimate))


def done_on(closed: Closed) -> str:
    """The day on which the job was done: that of the decision and the days out of service after it."""
    decided = datetime.date.fromisoformat(closed.decision.decided_on)
    left = (datetime.date.max - decided).days
    return (decided + datetime.timedelta(days=min(ceil(days_out(closed.actual) or 0.0), left))).isoformat()


def _moved(closed: Closed, estimate: Estimate) -> Iterator[StoresMoved]:
    rows = (*closed.actual.of("part"), *closed.actual.of("unit"))
    bought = {r: _bought(closed, estimate, r) for r in rows}
    carriage = _carriage(closed, [r for r, n in bought.items() if n > 0])
    for r, pieces in bought.items():
        more = {"item": r.name, "paid": r.paid, "on": done_on(closed), "source": r.source}
        if pieces > 0:
            cost = None if r.paid is None else (_kept(closed, r) + carriage[r]) / pieces
            yield StoresMoved(movement="bought", quantity=pieces, from_spares=False, cost_unit=cost, **more)  # type: ignore[arg-type]
        fitted = _fitted(closed, r)
        if fitted > 0:
            yield StoresMoved(movement="fitted", quantity=fitted, from_spares=r.from_spares, **more)  # type: ignore[arg-type]


def _bought(closed: Closed, estimate: Estimate, r: Done) -> float:
    if r.kind == "part":
        return pieces_paid(estimate.prices[r.name], r)
    return float(closed.case.way(r.name).traits.buys and not r.from_spares)


def _fitted(closed: Closed, r: Done) -> float:
    if r.kind == "part":
        return r.quantity or 0.0
    way = closed.case.way(taken(closed.decision, closed.actual))
    spare = way.bought == r.name and way.traits.in_service == "rebuilt"
    return float(closed.case.way(r.name).traits.buys and not spare)


def _kept(closed: Closed, r: Done) -> float:
    """What was paid less the core refund that came back."""
    paid, back = r.paid or 0.0, closed.actual.row("refund", r.name)
    if r.kind == "part" or back is None or back.paid is None:
        return paid
    return paid - min(back.paid, mean_of(closed.case.way(r.name).core_surcharge), paid)


def _carriage(closed: Closed, bought: list[Done]) -> dict[Done, float]:
    """Carriage and handling shared by what was paid, evenly where all of it was free."""
    whole = sum(r.paid or 0.0 for r in closed.actual.of("carriage"))
    paid = sum(r.paid or 0.0 for r in bought)
    return {r: whole * ((r.paid or 0.0) / paid if paid > 0 else 1.0 / len(bought)) for r in bought}


class _Items:
    """Items by the names of the case; ``problems`` says of each that is not known what to do."""

    def __init__(self, case: Case, book: SparesBook, wishes: BookWishes) -> None:
        self.case, self.book, self.wishes = case, book, wishes
        self.parts = {p.part: p for p in case.parts}
        self.called = {key(name): item for name, item in wishes.called.items()}
        self.problems: list[str] = []
        self.items: dict[str, Item] = {}
        self.cards: dict[str, dict[str, Any]] = {}
        self.unit, self.new_unit = self._unit()

    def _unit(self) -> tuple[str, bool]:
        """The unit of the book that was worked on, and whether it is to be added."""
        wish, unit = self.wishes.unit, self.case.unit
        units = Names(u.name for u in self.book.units())
        tried = [wish] if wish else [unit.name, unit.kind]
        known = next((found for name in tried if name and (found := units.find(name))), "")
        if not known and not self.wishes.new_cards:
            self.problems.append(f"the book has no unit {shown(tried[0])}: {units.advice(Problems(), tried[0])}")
        return known or tried[0], not known

    def lines(self, moved: tuple[StoresMoved, ...]) -> tuple[BookLine, ...]:
        """Each movement with its item."""
        names = Names(m.item for m in moved)
        for name in self.wishes.called:
            if name not in names:
                advice = names.advice(Problems(), name)
                self.problems.append(f"{shown(name)} is not among what was bought or fitted: {advice}")
        found = {name: self._found(name) for name in dict.fromkeys(m.item for m in moved)}
        return tuple(BookLine(moved=m, **found[m.item]) for m in moved)

    def _found(self, name: str) -> dict[str, Any]:
        """The item of a name of the case, as fields of a line."""
        part = self.parts.get(name)
        if key(name) in self.called:
            word = self.called[key(name)]
            item = self._named(word, must=True) if word.strip() else None
            return {"item": item.name if item else "", "known_by": "your word" if word.strip() else "",
                    "left_out": not word.strip()}  # fmt: skip
        own = name if part else f"{self.unit}, {name}"
        item = self._named(name) or self._named(own)
        if item is not None:
            return {"item": item.name, "known_by": "name"}
        if part and part.standard_size and (item := self._named(part.standard_size)) is not None:
            other = self._other_material(part, item)
            return {"item": ""} if other else {"item": item.name, "known_by": part.standard_size}
        if self.wishes.new_cards:
            self.cards[own] = self._card(own, part)
            return {"item": own, "new_card": True}
        near = Names(i.name for i in self.book.items()).advice(Problems(), name, "name its item, or make a card for it")
        self.problems.append(f"the book has no item {shown(name)}: {near}")
        return {"item": ""}

    def _named(self, word: str, must: bool = False) -> Item | None:
        try:
            item = self.book.item(word)
        except (BookFileError, BookBusyError):
            raise
        except BookError as error:
            if must:
                self.problems.append(str(error))
            return None
        self.items[item.name] = item
        return item

    def _other_material(self, part: Part, item: Item) -> bool:
        other = bool(part.material and item.material) and key(part.material) != key(item.material)
        if other:
            self.problems.append(
                f"{shown(part.part)}: {shown(item.name)} is of that size but of {shown(item.material)}, not "
                f"{shown(part.material)}: name its item, or make a card for it"
            )
        return other

    def _card(self, name: str, part: Part | None) -> dict[str, Any]:
        """A card for what is not kept aboard as a rule: it has no minimum and asks for no reordering."""
        size, material = (part.standard_size, part.material) if part else ("", "")
        return {
            "name": name, "designation": size, "material": material, "units": [self.unit],
            "locker": self.wishes.locker, "carried": False,
        }  # fmt: skip

    def locker(self, item: str) -> str:
        """Where an item belongs; empty where nobody has said."""
        card = self.items.get(item)
        return (card.locker if card else "") or self.wishes.locker


def into_the_book(
    found: AfterTheJob, book: SparesBook, write: bool = False, wishes: BookWishes = NOTHING_SAID
) -> IntoTheBook:
    """Hold the movements of a job against a book, and write them all if asked and if nothing stands in the way.

    Without ``write`` the book stays as it was and the answer shows what would happen. A job that is in the book
    already, known by the seal of its decision, is refused.
    """
    if found.case is None or found.decision is None:
        raise RepaireconError("a job log alone moves no spares: name the folder of a closed job")
    if not found.movements:
        raise RepaireconError("actual.csv names no part and no unit that was bought or fitted: nothing for the book")
    items = _Items(found.case, book, wishes)
    lines = items.lines(found.movements)
    problems, done = items.problems, None
    home, theirs = found.case.terms.currency, book.about["home_currency"]
    if home != theirs:
        problems.append(f"the case reckons in {home}, the book in {theirs}: costs cannot be carried over")
    if not problems:
        done = _written(found, items, lines, book, write)
    if write and problems:
        raise BookError("\n".join([HEAD, *problems]))
    return IntoTheBook(unit=items.unit, lines=lines, problems=tuple(problems), done=done, spare=_spare(found))


def _written(
    found: AfterTheJob, items: _Items, lines: Sequence[BookLine], book: SparesBook, write: bool
) -> JobInBook | None:
    """The act itself, or a trial of it; what the book refuses in a trial goes with the problems."""
    assert found.decision is not None
    on, hours = items.wishes.on or found.movements[0].on, items.wishes.hours
    label = f"{found.name}, {found.decision.decided_on}"
    kept = [x for x in lines if x.item]
    received = [_received(x, items, label) for x in kept if x.moved.movement == "bought"]
    fitted = list(_fit_lines(kept, items, label))
    try:
        return book.write_job(
            reference_of(found.decision), received, fitted, items.unit, hours=hours, date=on,
            new_cards=items.cards.values(), new_unit=items.new_unit, write=write,
        )  # fmt: skip
    except (BookFileError, BookBusyError):
        raise
    except BookError as error:
        items.problems += [line for line in str(error).splitlines() if line != HEAD]
        return None


def reference_of(decision: Decision) -> str:
    """By what the book knows the job, whatever its folder is called."""
    return f"job decided {decision.decided_on}, {decision.seal[:16]}"


def _received(x: BookLine, items: _Items, label: str) -> ReceiveLine:
    note = "" if x.item == x.moved.item else x.moved.item
    return ReceiveLine(
        x.item, x.moved.quantity, cost_unit=x.moved.cost_unit, locker=items.locker(x.item), lot=label, note=note
    )


def _fit_lines(lines: Sequence[BookLine], items: _Items, label: str) -> Iterator[FitLine]:
    """What was bought for the job is fitted before what lay in the stores; what was said to be from there is not."""
    bought = {x.moved.item: x.moved.quantity for x in lines if x.moved.movement == "bought"}
    for x in lines:
        if x.moved.movement == "fitted":
            new = 0.0 if x.moved.from_spares else min(bought.get(x.moved.item, 0.0), x.moved.quantity)
            note = label if x.item == x.moved.item else f"{label}: {x.moved.item}"
            if new > 0:
                yield FitLine(x.item, new, locker=items.locker(x.item), note=note, lot=label)
            if x.moved.quantity > new:
                yield FitLine(x.item, x.moved.quantity - new, note=note)


def _spare(found: AfterTheJob) -> str:
    """What else is a spare now: its cost and its locker are for the owner to say."""
    assert found.case is not None
    way = found.case.way(found.bridge.way) if found.bridge else None
    if way is None or not way.traits.rebuilds or way.traits.in_service == "rebuilt":
        return ""
    return f"the old {found.case.unit.name}, rebuilt"
