"""A closed job into the spares book: what was bought comes in, what was fitted goes out, in one act and once.

What has come into the book already is counted once, and what is still open on an order of the job is booked against it.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING, Any

import pandas as pd

from repairecon.after_the_job.book_items import NO_WISHES, BookItems, BookLine, BookWishes
from repairecon.after_the_job.bridge import Estimate, days_out, pieces_paid
from repairecon.book.ledger import noting
from repairecon.book.spares_book import JOB, SparesBook
from repairecon.buying.inputs import mean_of
from repairecon.read.closed import Closed
from repairecon.read.problems import shown
from repairecon.read.values import plain
from repairecon.records import BookError, Done, FitLine, Happened, JobInBook, ReceiveLine, RepaireconError, StoresMoved
from repairecon.show.layout import as_text, capital, section
from repairecon.show.words import number, price

if TYPE_CHECKING:
    from repairecon.after_the_job.job import AfterTheJob

HEAD = "the job was not written:"
TO_GO_ON = {
    "": (
        '--item "NAME=ITEM" says which item of the book a part or unit is; "NAME=" leaves it out.',
        "--new-cards makes a card for each one that the book does not know (no minimum, nothing to reorder).",
    ),
    "has no unit": ("--unit NAME says which unit of the book was worked on (--new-cards adds it).",),
    "no locker of its own": ("--locker NAME says where things without a locker of their own go.",),
}
"""What may be given, by the words of what stands in the way; first where an item is not known."""


def movements(closed: Closed, estimate: Estimate) -> tuple[StoresMoved, ...]:
    """What was bought for the job and what was fitted, in the order of the sheet.

    Parts come in whole packs where that is how they were quoted, or as many as the row says; those not fitted stay in
    the stores, and so does a unit bought as a spare. A unit that somebody else rebuilt is no purchase.
    """
    case, actual = closed.case, closed.actual
    decided = datetime.date.fromisoformat(closed.decision.decided_on)
    # done when the days out of service are over, as far as the calendar goes
    days = min(ceil(days_out(actual) or 0.0), (datetime.date.max - decided).days)
    done_on = (decided + datetime.timedelta(days=days)).isoformat()
    taken = case.way(actual.way or closed.decision.way)
    spare = taken.bought if taken.traits.in_service == "rebuilt" else ""
    moved = [(r, pieces_paid(estimate.prices[r.name], r), r.quantity or 0.0) for r in actual.of("part")]
    for r in actual.of("unit"):
        buys = case.way(r.name).traits.buys
        moved.append((r, float(buys and not r.from_spares), float(buys and r.name != spare)))
    paid_for = [r.paid or 0.0 for r, bought, _ in moved if bought > 0]
    # carriage and handling are shared by what was paid, evenly where all of it was free
    carriage, in_all = sum(r.paid or 0.0 for r in actual.of("carriage")), sum(paid_for)
    made = []
    for r, bought, fitted in moved:
        more: dict[str, Any] = {"item": r.name, "paid": r.paid, "on": done_on, "source": r.source}
        if bought > 0:
            paid = r.paid or 0.0
            share = carriage * (paid / in_all if in_all > 0 else 1.0 / len(paid_for))
            cost = None if r.paid is None else (paid - _core_back(closed, r) + share) / bought
            made.append(StoresMoved(movement="bought", quantity=bought, from_spares=False, cost_unit=cost, **more))
        if fitted > 0:
            made.append(StoresMoved(movement="fitted", quantity=fitted, from_spares=r.from_spares, **more))
    return tuple(made)


def _core_back(closed: Closed, row: Done) -> float:
    back = closed.actual.row("refund", row.name) if row.kind == "unit" else None
    if back is None or back.paid is None:
        return 0.0
    return min(back.paid, mean_of(closed.case.way(row.name).core_surcharge), row.paid or 0.0)


@dataclass(frozen=True, kw_only=True)
class IntoTheBook:
    """A job held against the spares book: its movements, what stands in the way, what the book then says.

    ``done`` is None where something stands in the way; nothing is written then. ``spare`` names what else became a
    spare: its cost and its locker are for the owner to say.
    """

    unit: str
    lines: tuple[BookLine, ...]
    problems: tuple[str, ...]
    done: JobInBook | None
    spare: str = ""


def into_the_book(
    found: AfterTheJob, book: SparesBook, write: bool = False, wishes: BookWishes = NO_WISHES
) -> IntoTheBook:
    """Hold the movements of a job against a book, and write them all if asked and if nothing stands in the way.

    Without ``write`` the book stays as it was and the answer shows what would happen. A job that is in the book
    already, known by the seal of its decision, is refused.
    """
    if found.closed is None:
        raise RepaireconError("a job log alone moves no spares: name the folder of a closed job")
    if not found.movements:
        raise RepaireconError("actual.csv names no part and no unit that was bought or fitted: nothing for the book")
    case, decision = found.closed.case, found.closed.decision
    items = BookItems(case, book, wishes, found.name, decision.decided_on)
    lines = items.lines(found.movements)
    problems, done = items.problems, None
    home, theirs = case.terms.currency, book.about["home_currency"]
    if home != theirs:
        problems.append(f"the case is in {home}, the book in {theirs}: costs cannot be carried over")
    if not problems:
        # by what the book knows the job, whatever its folder is called
        reference = f"{JOB}{decision.decided_on}, {decision.seal[:16]}"
        label = f"{found.name}, {decision.decided_on}"
        done = _written(items, [x for x in lines if x.item], reference, label, write)
    if write and problems:
        raise BookError("\n".join([HEAD, *problems]))
    way = case.way(found.bridge.way) if found.bridge else None
    rebuilt = way is not None and way.traits.rebuilds and way.traits.in_service != "rebuilt"
    spare = f"the old {case.unit.name}, rebuilt" if rebuilt else ""
    return IntoTheBook(unit=items.unit, lines=lines, problems=tuple(problems), done=done, spare=spare)


def _written(items: BookItems, lines: Sequence[BookLine], reference: str, label: str, write: bool) -> JobInBook | None:
    """The act itself, or a trial of it; what the book refuses in a trial goes with the problems."""
    received, fitted = list(_receive_lines(lines, items, label)), list(_fit_lines(lines, items, label))
    if not received and not fitted:
        items.problems.append("all that was bought is in the book already and nothing was fitted: nothing to write")
        return None
    refused: list[str] = []
    with noting(refused):
        return items.book.write_job(
            reference, received, fitted, items.unit, hours=items.wishes.hours,
            date=items.wishes.on or lines[0].moved.on,
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
    # by what the rest costs more than the average of the sheet, so that all adds up to what was paid for the job
    came = {m.number: float(m.cost_unit) for m in items.deliveries if m.order_line and m.cost_unit is not None}
    left = sum((x.moved.quantity - x.in_book) * (x.moved.cost_unit or 0.0) for x in bought)
    spread = [pieces * (came[n] - x.moved.cost_unit) for x in bought if x.moved.cost_unit
              for n, pieces in x.received if n in came]  # fmt: skip
    more = max(left - sum(spread), 0.0) / left if left > 0 and spread else 1.0
    for x in bought:
        rest = x.moved.quantity - x.in_book
        own: dict[str, Any] = {
            "cost_unit": None if x.moved.cost_unit is None else x.moved.cost_unit * more,
            "locker": items.locker(x.item), "lot": label, "note": "" if x.item == x.moved.item else x.moved.item,
        }  # fmt: skip
        for order_line, pieces in x.on_order:
            order, line = items.orders[order_line]
            quoted = line.quoted_pack * line.packs / line.pieces
            yield ReceiveLine(
                x.item, pieces, order.supplier, currency=order.currency, rate=order.rate, quoted_unit=quoted,
                order_line=order_line, **own,
            )  # fmt: skip
            rest -= pieces
        if rest > 0:
            yield ReceiveLine(x.item, rest, **own)


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
            for received, pieces in of.received:
                if (some := min(pieces, left)) > 0:
                    m = came[received]
                    claimed = f"{note}; {plain(pieces)} of movement {received}"  # see _CLAIM
                    there = {s.locker: float(s.quantity) for s in items.book.stock(m.item)}
                    put = m.locker_to if there.get(m.locker_to, 0.0) >= some else ""  # moved since: wherever it is
                    yield FitLine(x.item, some, locker=put, note=claimed, lot=m.lot)
                    left -= some
        if left > 0:
            yield FitLine(x.item, left, note=note)


# ---- in words ---------------------------------------------------------------------------------------
def summary(found: AfterTheJob, made: IntoTheBook) -> str:
    """What came in, what went out, what is left and to be reordered; or what stands in the way."""
    from repairecon.spares_aboard.act_words import below

    done, on, head = made.done, made.lines[0].moved.on, "Into the spares book: a trial, nothing written"
    if done and done.written:
        head = "Written into the spares book"
    if done and done.happened:
        on = done.happened[0].movements[0].on_date
    costs = ["" if x.moved.cost_unit is None else price(x.moved.cost_unit, found.currency) for x in made.lines]
    table = pd.DataFrame({
        "movement": [x.moved.movement for x in made.lines], "on the job": [x.moved.item for x in made.lines],
        "pieces": [number(x.moved.quantity) for x in made.lines], "cost of one": costs,
        "in the book": [_in_the_book(x) for x in made.lines],
    })  # fmt: skip
    parts = [
        f"{head}\n{capital(made.unit)}, {on}. Cost of one: as paid, with its share of the carriage.",
        as_text(table),
    ]
    if made.spare:
        parts.append(f"A spare besides: {made.spare}. Receive it by hand, at what it is worth to you.")
    if made.problems:
        parts += [section("In the way, nothing can be written", made.problems), section("To go on", _to_go_on(made))]
    if done:
        lines = [below(r, found.currency) for r in done.reorder] or ["Nothing is under its minimum."]
        parts += [section("Left of each", [_left(h) for h in done.happened]), section("To be reordered", lines)]
        if not done.written:
            parts.append("Give --write to write it, all of it or nothing.")
    return "\n\n".join(p for p in parts if p) + "\n"


def _to_go_on(made: IntoTheBook) -> list[str]:
    unknown = any(not x.item and not x.left_out for x in made.lines)
    in_the_way = [words for words in TO_GO_ON if any(words in p for p in made.problems) and (words or unknown)]
    return [option for words in in_the_way for option in TO_GO_ON[words]]


def _in_the_book(line: BookLine) -> str:
    if not line.item:
        return "left out" if line.left_out else "not known"
    if line.received:
        came = ", ".join(f"movement {n}" for n, _ in line.received)
        more = "" if line.in_book >= line.moved.quantity else f"{number(line.in_book)} "
        return f"{line.item}: {more}received already ({came}), counted once"
    if line.on_order:
        return f"{line.item}: {number(sum(n for _, n in line.on_order))} as ordered, open until now"
    how = "a new card" if line.new_card else "" if line.known_by == "name" else f"by {line.known_by}"
    same = line.item == line.moved.item
    return (how or "the same name") if same else f"{line.item}, {how}".rstrip(", ")


def _left(happened: Happened) -> str:
    """What the job left of an item, and when it was fitted before."""
    where = ", ".join(f"{number(float(q))} in {name}" for name, q in happened.places.items()) or "none left"
    ago = "" if happened.hours_run is None else f", {number(float(happened.hours_run))} hours ago"
    before = f" Fitted before on {happened.before.on_date}{ago}." if happened.before else ""
    return f"{happened.item.name}: {where}.{before}"
