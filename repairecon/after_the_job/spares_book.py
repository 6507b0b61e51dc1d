"""A closed job into the spares book: what was bought comes in, what was fitted goes out, in one act and once.

What has come into the book already is counted once, and what is still open on an order of the job is booked against it.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING, Any

from repairecon.after_the_job.book_items import NO_WISHES, BookItems, BookLine, BookWishes
from repairecon.after_the_job.bridge import days_out, pieces_paid, taken
from repairecon.after_the_job.estimate import Estimate
from repairecon.book.ledger import noting
from repairecon.book.spares_book import JOB, SparesBook
from repairecon.buying.inputs import mean_of
from repairecon.read.closed import Closed
from repairecon.read.problems import shown
from repairecon.read.values import plain
from repairecon.records import BookError, Done, FitLine, JobInBook, ReceiveLine, RepaireconError, StoresMoved

if TYPE_CHECKING:
    from repairecon.after_the_job.job import AfterTheJob

HEAD = "the job was not written:"


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
    found: AfterTheJob, book: SparesBook, write: bool = False, wishes: BookWishes = NO_WISHES
) -> IntoTheBook:
    """Hold the movements of a job against a book, and write them all if asked and if nothing stands in the way.

    Without ``write`` the book stays as it was and the answer shows what would happen. A job that is in the book
    already, known by the seal of its decision, is refused.
    """
    if found.case is None or found.decision is None:
        raise RepaireconError("a job log alone moves no spares: name the folder of a closed job")
    if not found.movements:
        raise RepaireconError("actual.csv names no part and no unit that was bought or fitted: nothing for the book")
    items = BookItems(found.case, book, wishes, found.name, found.decision.decided_on)
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
    received = list(_receive_lines(kept, items, label))
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
        if m.item in booked and m.number > job[-1].number and not m.order_line
    ]
    return None


def _receive_lines(lines: Sequence[BookLine], items: BookItems, label: str) -> Iterator[ReceiveLine]:
    """What was bought and had not come into the book: what is open on an order first, against that order."""
    bought = [x for x in lines if x.moved.movement == "bought"]
    more = _dearer(bought, items)
    for x in bought:
        rest = x.moved.quantity - x.in_book
        own: dict[str, Any] = {
            "cost_unit": None if x.moved.cost_unit is None else x.moved.cost_unit * more,
            "locker": items.locker(x.item), "lot": label, "note": "" if x.item == x.moved.item else x.moved.item,
        }  # fmt: skip
        for number, pieces in x.on_order:
            order, line = items.orders[number]
            quoted = line.quoted_pack * line.packs / line.pieces
            yield ReceiveLine(
                x.item, pieces, order.supplier, currency=order.currency, rate=order.rate, quoted_unit=quoted,
                order_line=number, **own,
            )  # fmt: skip
            rest -= pieces
        if rest > 0:
            yield ReceiveLine(x.item, rest, **own)


def _dearer(bought: Sequence[BookLine], items: BookItems) -> float:
    """By what the rest costs more than the average of the sheet, so that all adds up to what was paid for the job."""
    came = {m.number: m for m in items.deliveries if m.order_line and m.cost_unit is not None}
    left = sum((x.moved.quantity - x.in_book) * (x.moved.cost_unit or 0.0) for x in bought)
    spread = [
        pieces * (float(came[n].cost_unit or 0) - x.moved.cost_unit)
        for x in bought
        for n, pieces in x.received
        if n in came and x.moved.cost_unit
    ]
    return max(left - sum(spread), 0.0) / left if left > 0 and spread else 1.0


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
                    there = {s.locker: float(s.quantity) for s in items.book.stock(m.item)}
                    put = m.locker_to if there.get(m.locker_to, 0.0) >= some else ""  # moved since: wherever it is
                    yield FitLine(x.item, some, locker=put, note=claimed, lot=m.lot)
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
