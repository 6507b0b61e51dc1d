"""A closed job into the spares book: what was bought comes in, what was fitted goes out, in one act and once."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from repairecon.after_the_job.answer import AfterTheJob, BookLine, IntoTheBook
from repairecon.after_the_job.book_items import BookItems, BookWishes
from repairecon.book.spares_book import SparesBook
from repairecon.records import (
    BookBusyError,
    BookError,
    BookFileError,
    Decision,
    FitLine,
    JobInBook,
    ReceiveLine,
    RepaireconError,
)

NOTHING_SAID = BookWishes()
HEAD = "the job was not written:"


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
    items = BookItems(found.case, book, wishes)
    lines = items.lines(found.movements)
    problems, done = items.problems, None
    home, theirs = found.case.terms.currency, book.about["home_currency"]
    if home != theirs:
        problems.append(f"the case reckons in {home}, the book in {theirs}: costs cannot be carried over")
    if not problems:
        done = _written(found, items, lines, book, write)
    if write and problems:
        raise BookError("\n".join([HEAD, *problems]))
    return IntoTheBook(items.unit, lines, tuple(problems), done, _spare(found))


def _written(
    found: AfterTheJob, items: BookItems, lines: Sequence[BookLine], book: SparesBook, write: bool
) -> JobInBook | None:
    """The act itself, or a trial of it; what the book refuses in a trial goes with the problems."""
    assert found.decision is not None
    on, hours = items.wishes.on or found.movements[0].on, items.wishes.hours
    label = f"{found.name}, {found.decision.decided_on}"
    kept = [x for x in lines if x.item]
    received = [_received(x, items, label) for x in kept if x.moved.movement == "bought"]
    fitted = list(_fitted(kept, items, label))
    try:
        return book.write_job(
            reference_of(found.decision), received, fitted, items.unit, hours=hours, date=on,
            new_cards=items.cards.values() if items.wishes.new_cards else None, write=write,
        )  # fmt: skip
    except (BookFileError, BookBusyError):
        raise
    except BookError as error:
        items.problems += [line for line in str(error).splitlines() if line != HEAD]
        return None


def reference_of(decision: Decision) -> str:
    """By what the book knows the job, whatever its folder is called."""
    return f"job decided {decision.decided_on}, {decision.seal[:16]}"


def _received(x: BookLine, items: BookItems, label: str) -> ReceiveLine:
    note = "" if x.item == x.moved.item else x.moved.item
    return ReceiveLine(
        x.item, x.moved.quantity, cost_unit=x.moved.cost_unit, locker=items.locker(x.item), lot=label, note=note
    )


def _fitted(lines: Sequence[BookLine], items: BookItems, label: str) -> Iterator[FitLine]:
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
