"""A closed job into the spares book: what was bought comes in, what was fitted goes out, in one act and once.

A part is matched by the line of the order that was received for it, else by its standard size, else by the name of a
card; a card of another size is never taken, whatever it is called. What has come into the book already is counted once.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from math import ceil
from typing import TYPE_CHECKING, Any

from repairecon.after_the_job.bridge import days_out, pieces_paid, taken
from repairecon.after_the_job.estimate import Estimate
from repairecon.book.ledger import noting
from repairecon.book.spares_book import SparesBook
from repairecon.buying.inputs import mean_of
from repairecon.read.closed import Closed
from repairecon.read.problems import Names, Problems, key, shown
from repairecon.read.values import plain
from repairecon.records import (
    BookError,
    Case,
    Done,
    FitLine,
    Item,
    JobInBook,
    Movement,
    Part,
    ReceiveLine,
    RepaireconError,
    StoresMoved,
)
from repairecon.standards.equivalents import equivalent

if TYPE_CHECKING:
    from repairecon.after_the_job.job import AfterTheJob

JOB = "job decided "
"""Begins the reference of whatever a closed job wrote; deliveries have the name of their file, or what was typed."""

HEAD = "the job was not written:"
_CLAIM = re.compile(r"(\d+(?:\.\d+)?) of movement (\d+)\b")
"""Words of a note by which a later job sees that pieces of a delivery are taken."""


@dataclass(frozen=True, kw_only=True)
class BookLine:
    """A movement of the job and the item of the book that it is of.

    ``item`` is empty where the book knows none, or where the owner leaves it out of the book. ``known_by`` is what the
    item was found by; ``new_card`` says that the item is added with this job. ``received`` are the movements by which
    pieces of it had come into the book before, with how many of each are this job's.
    """

    moved: StoresMoved
    item: str
    known_by: str = ""
    new_card: bool = False
    left_out: bool = False
    received: tuple[tuple[int, float], ...] = ()

    @property
    def in_book(self) -> float:
        """Pieces that the book has already."""
        return sum(pieces for _, pieces in self.received)


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


class BookItems:
    """Items by the names of the case; ``problems`` says of each that is not known what to do."""

    def __init__(self, case: Case, book: SparesBook, wishes: BookWishes, decided_on: str) -> None:
        self.case, self.book, self.wishes = case, book, wishes
        self.parts = {p.part: p for p in case.parts}
        self.standing = [m for m in book.movements() if m.undone_by is None and m.undoes is None]
        self.called = {key(name): item for name, item in wishes.called.items()}
        self.deliveries = [m for m in self.standing if _came(m) and m.on_date >= decided_on]
        self.problems: list[str] = []
        self.items: dict[str, Item] = {}
        self.cards: dict[str, dict[str, Any]] = {}
        units = Names(u.name for u in book.units())
        tried = [wishes.unit] if wishes.unit else [case.unit.name, case.unit.kind]
        known = next((found for name in tried if name and (found := units.find(name))), "")
        self.unit = known or tried[0]
        if not known and not wishes.new_cards:
            self.problems.append(f"the book has no unit {shown(tried[0])}: {units.advice(Problems(), tried[0])}")

    def lines(self, moved: tuple[StoresMoved, ...]) -> tuple[BookLine, ...]:
        """Each movement with its item, and with what of it the book has already."""
        names = Names(m.item for m in moved)
        for name in self.wishes.called:
            if name not in names:
                advice = names.advice(Problems(), name)
                self.problems.append(f"{shown(name)} is not among what was bought or fitted: {advice}")
        found = {name: self._found(name) for name in dict.fromkeys(m.item for m in moved)}
        # deliveries since the decision with the pieces that no other job has taken as its own
        left = {m.number: (m.item, float(m.quantity)) for m in self.deliveries}
        notes = [m.note for m in self.standing if m.reference.startswith(JOB)]
        for pieces, number in (claim for note in notes for claim in _CLAIM.findall(note)):
            if int(number) in left:
                item, rest = left[int(number)]
                left[int(number)] = item, rest - float(pieces)
        made = []
        for m in moved:
            of = found[m.item]
            known = m.movement == "bought" and of["item"] and not of.get("new_card")
            taken = tuple(_take(left, of["item"], m.quantity)) if known else ()
            made.append(BookLine(moved=m, received=taken, **of))
        return tuple(made)

    def _found(self, name: str) -> dict[str, Any]:
        """The item of a name of the case, as fields of a line."""
        part = self.parts.get(name)
        if key(name) in self.called:
            word = self.called[key(name)].strip()
            item = self._named(word, must=True) if word else None
            return {"item": item.name if item else "", "known_by": "your word" if word else "", "left_out": not word}
        own = name if part else f"{self.unit}, {name}"
        if (item := self._ordered(name, own)) is not None:
            return {"item": item.name, "known_by": "name" if key(item.name) == key(name) else "the order received"}
        if part and part.standard_size and (item := self._sized(part)) is not None:
            return {"item": item.name, "known_by": part.standard_size}
        item = self._named(name) or self._named(own)
        if item is not None and (part is None or self._fits(part, item)):
            return {"item": item.name, "known_by": "name"}
        if self.wishes.new_cards and item is None:
            # not kept aboard as a rule: it has no minimum and asks for no reordering
            self.cards[own] = {
                "name": own, "designation": part.standard_size if part else "", "units": [self.unit],
                "material": part.material if part else "", "locker": self.wishes.locker, "carried": False,
            }  # fmt: skip
            return {"item": own, "new_card": True}
        if item is None and not any(p.startswith(f"{shown(name)}: ") for p in self.problems):
            names = tuple(i.name for i in self.book.items())
            near = Problems().advice(name, names, "name its item, or make a card for it")
            self.problems.append(f"the book has no item {shown(name)}: {near}")
        return {"item": ""}

    def _ordered(self, name: str, own: str) -> Item | None:
        """The card that a line of an order, named as the part is, came in under since the decision."""
        part = self.parts.get(name)
        for m in self.deliveries:
            if key(name) in (key(m.item), key(m.note)) or key(own) == key(m.item):
                item = self._named(m.item)
                if item is not None and (part is None or self._fits(part, item, quiet=True)):
                    return item
        return None

    def _sized(self, part: Part) -> Item | None:
        """The card of the same standard size; one of the same size in another material is said to be in the way."""
        same = [i for i in self.book.items() if i.designation and _verdict(part, i) == "same"]
        item = same[0] if len(same) == 1 else self._named(part.standard_size)
        if item is None or not self._fits(part, item):
            return None
        self.items[item.name] = item
        return item

    def _fits(self, part: Part, item: Item, quiet: bool = False) -> bool:
        """Whether a card can be the part: of no other size and no other material, as far as either is known."""
        problem = ""
        if part.material and item.material and key(part.material) != key(item.material):
            problem = (
                f"{shown(part.part)}: {shown(item.name)} is of that size but of {shown(item.material)}, not "
                f"{shown(part.material)}: name its item, or make a card for it"
            )
        elif part.standard_size and item.designation and _verdict(part, item) not in ("same", "unknown"):
            problem = (
                f"{shown(part.part)}: {shown(item.name)} of the book is a {item.designation}, the case takes "
                f"{part.standard_size}: name its item, or make a card of another name for it"
            )
        if problem and not quiet and problem not in self.problems:
            self.problems.append(problem)
        return not problem

    def _named(self, word: str, must: bool = False) -> Item | None:
        with noting(self.problems if must else []):
            item = self.book.item(word)
            self.items[item.name] = item
            return item
        return None

    def locker(self, item: str) -> str:
        """Where an item belongs; empty where nobody has said."""
        card = self.items.get(item)
        return (card.locker if card else "") or self.wishes.locker


def _came(m: Movement) -> bool:
    return m.kind == "bought" and not m.reference.startswith(JOB)


def _take(left: dict[int, tuple[str, float]], item: str, pieces: float) -> Iterator[tuple[int, float]]:
    """Pieces of an item out of what has come, the first delivery first."""
    for number, (name, rest) in sorted(left.items()):
        some = min(rest, pieces)
        if name == item and some > 0:
            left[number] = name, rest - some
            pieces -= some
            yield number, some


def _verdict(part: Part, item: Item) -> str:
    """Whether a card's size is that of the part; the same words are the same size."""
    if key(part.standard_size) == key(item.designation):
        return "same"
    materials = {"material_wanted": part.material, "material_offered": item.material}
    return str(equivalent(part.standard_size, item.designation, **materials).verdict)


def movements(closed: Closed, estimate: Estimate) -> tuple[StoresMoved, ...]:
    """What was bought for the job and what was fitted, in the order of the sheet.

    Parts come in whole packs where that is how they were quoted, or as many as the row says; those not fitted stay in
    the stores, and so does a unit bought as a spare. A unit that somebody else rebuilt is no purchase.
    """
    rows = (*closed.actual.of("part"), *closed.actual.of("unit"))
    bought = {r: _bought(closed, estimate, r) for r in rows}
    paid_for = [r for r, pieces in bought.items() if pieces > 0]
    # carriage and handling are shared by what was paid, evenly where all of it was free
    carriage, paid = sum(r.paid or 0.0 for r in closed.actual.of("carriage")), sum(r.paid or 0.0 for r in paid_for)
    made = []
    for r, pieces in bought.items():
        more: dict[str, Any] = {"item": r.name, "paid": r.paid, "on": done_on(closed), "source": r.source}
        if pieces > 0:
            share = carriage * ((r.paid or 0.0) / paid if paid > 0 else 1.0 / len(paid_for))
            cost = None if r.paid is None else (_kept(closed, r) + share) / pieces
            made.append(StoresMoved(movement="bought", quantity=pieces, from_spares=False, cost_unit=cost, **more))
        if (fitted := _fitted(closed, r)) > 0:
            made.append(StoresMoved(movement="fitted", quantity=fitted, from_spares=r.from_spares, **more))
    return tuple(made)


def done_on(closed: Closed) -> str:
    """The day on which the job was done: that of the decision and the days out of service after it."""
    decided = datetime.date.fromisoformat(closed.decision.decided_on)
    left = (datetime.date.max - decided).days
    return (decided + datetime.timedelta(days=min(ceil(days_out(closed.actual) or 0.0), left))).isoformat()


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


def into_the_book(
    found: AfterTheJob, book: SparesBook, write: bool = False, wishes: BookWishes = BookWishes()
) -> IntoTheBook:
    """Hold the movements of a job against a book, and write them all if asked and if nothing stands in the way.

    Without ``write`` the book stays as it was and the answer shows what would happen. A job that is in the book
    already, known by the seal of its decision, is refused.
    """
    if found.case is None or found.decision is None:
        raise RepaireconError("a job log alone moves no spares: name the folder of a closed job")
    if not found.movements:
        raise RepaireconError("actual.csv names no part and no unit that was bought or fitted: nothing for the book")
    items = BookItems(found.case, book, wishes, found.decision.decided_on)
    lines = items.lines(found.movements)
    problems, done = items.problems, None
    home, theirs = found.case.terms.currency, book.about["home_currency"]
    if home != theirs:
        problems.append(f"the case is in {home}, the book in {theirs}: costs cannot be carried over")
    if not problems:
        done = _written(found, items, lines, book, write)
    if write and problems:
        raise BookError("\n".join([HEAD, *problems]))
    return IntoTheBook(unit=items.unit, lines=lines, problems=tuple(problems), done=done, spare=_spare(found))


def _written(
    found: AfterTheJob, items: BookItems, lines: Sequence[BookLine], book: SparesBook, write: bool
) -> JobInBook | None:
    """The act itself, or a trial of it; what the book refuses in a trial goes with the problems."""
    assert found.decision is not None
    decided_on = found.decision.decided_on
    # by what the book knows the job, whatever its folder is called
    reference, label = f"{JOB}{decided_on}, {found.decision.seal[:16]}", f"{found.name}, {decided_on}"
    kept = [x for x in lines if x.item]
    received = [
        ReceiveLine(
            x.item, pieces, cost_unit=x.moved.cost_unit, locker=items.locker(x.item), lot=label,
            note="" if x.item == x.moved.item else x.moved.item,
        )
        for x in kept
        if x.moved.movement == "bought" and (pieces := x.moved.quantity - x.in_book) > 0
    ]  # fmt: skip
    fitted = list(_fit_lines(kept, items, label))
    if not received and not fitted:
        items.problems.append("all that was bought is in the book already and nothing was fitted: nothing to write")
        return None
    refused: list[str] = []
    with noting(refused):
        return book.write_job(
            reference, received, fitted, items.unit, hours=items.wishes.hours,
            date=items.wishes.on or found.movements[0].on,
            new_cards=items.cards.values() if items.wishes.new_cards else None, write=write,
        )  # fmt: skip
    items.problems += [line for text in refused for line in text.splitlines() if line != HEAD]
    job = [m for m in items.standing if m.reference == reference]
    booked = {m.item: m.number for m in job if m.kind == "bought"}
    # deliveries that came after the job had booked the same things as bought: they count twice
    items.problems += [
        f"movement {m.number} ({m.reference or m.on_date}) brought {plain(float(m.quantity))} of {shown(m.item)} that "
        f"the job had booked before (movement {booked[m.item]}): if they are the same pieces, undo movement {m.number}"
        for m in items.deliveries
        if m.item in booked and m.number > job[-1].number
    ]
    return None


def _fit_lines(lines: Sequence[BookLine], items: BookItems, label: str) -> Iterator[FitLine]:
    """What was bought for the job is fitted before what lay in the stores; what was said to be from there is not.

    Pieces that had been received are taken from where they were put, and the note claims them.
    """
    bought = {x.moved.item: x for x in lines if x.moved.movement == "bought"}
    came = {m.number: m for m in items.standing}
    for x in lines:
        if x.moved.movement != "fitted":
            continue
        left, of = x.moved.quantity, bought.get(x.moved.item)
        note = label if x.item == x.moved.item else f"{label}: {x.moved.item}"
        if of is not None and not x.moved.from_spares:
            # lots with a label first: a delivery without one can only be asked for as the oldest there is
            new = min(of.moved.quantity - of.in_book, left)
            if new > 0:
                yield FitLine(x.item, new, locker=items.locker(x.item), note=note, lot=label)
                left -= new
            for number, pieces in of.received:
                if (some := min(pieces, left)) > 0:
                    m = came[number]
                    claimed = f"{note}; {plain(pieces)} of movement {number}"  # see _CLAIM
                    yield FitLine(x.item, some, locker=m.locker_to, note=claimed, lot=m.lot)
                    left -= some
        if left > 0:
            yield FitLine(x.item, left, note=note)


def _spare(found: AfterTheJob) -> str:
    """What else is a spare now: its cost and its locker are for the owner to say."""
    assert found.case is not None
    way = found.case.way(found.bridge.way) if found.bridge else None
    if way is None or not way.traits.rebuilds or way.traits.in_service == "rebuilt":
        return ""
    return f"the old {found.case.unit.name}, rebuilt"
