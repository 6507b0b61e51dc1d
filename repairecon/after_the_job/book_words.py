"""A closed job in the spares book, in words."""

from __future__ import annotations

import pandas as pd

from repairecon.after_the_job.book_items import BookLine
from repairecon.after_the_job.job import AfterTheJob
from repairecon.after_the_job.spares_book import IntoTheBook
from repairecon.records import Happened
from repairecon.show.layout import as_text, capital, section
from repairecon.show.words import number, price
from repairecon.spares_aboard.words import below

TO_GO_ON = {
    "": (
        '--item "NAME=ITEM" says which item of the book a part or unit is; "NAME=" leaves it out.',
        "--new-cards makes a card for each one that the book does not know (no minimum, nothing to reorder).",
    ),
    "has no unit": ("--unit NAME says which unit of the book was worked on (--new-cards adds it).",),
    "no locker of its own": ("--locker NAME says where things without a locker of their own go.",),
}
"""What may be given, by the words of what stands in the way; first where an item is not known."""


def moves_table(found: AfterTheJob, made: IntoTheBook) -> pd.DataFrame:
    """A row a movement: what it is of and what becomes of it."""
    rows = [
        (line.moved.movement, line.moved.item, number(line.moved.quantity),
         "" if line.moved.cost_unit is None else price(line.moved.cost_unit, found.currency), _item(line))
        for line in made.lines
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=["movement", "on the job", "pieces", "cost of one", "in the book"])


def _item(line: BookLine) -> str:
    if line.left_out:
        return "left out"
    if not line.item:
        return "not known"
    if line.received:
        came = ", ".join(f"movement {n}" for n, _ in line.received)
        more = "" if line.in_book >= line.moved.quantity else f"{number(line.in_book)} "
        return f"{line.item}: {more}received already ({came}), counted once"
    if line.on_order:
        return f"{line.item}: {number(sum(n for _, n in line.on_order))} as ordered, open until now"
    how = "a new card" if line.new_card else "" if line.known_by == "name" else f"by {line.known_by}"
    same = line.item == line.moved.item
    return (how or "the same name") if same else f"{line.item}, {how}".rstrip(", ")


def left(happened: Happened) -> str:
    """What the job left of an item, and when it was fitted before."""
    where = ", ".join(f"{number(float(q))} in {name}" for name, q in happened.places.items()) or "none left"
    text = f"{happened.item.name}: {where}."
    if happened.before is None:
        return text
    ago = "" if happened.hours_run is None else f", {number(float(happened.hours_run))} hours ago"
    return f"{text} Fitted before on {happened.before.on_date}{ago}."


def summary(found: AfterTheJob, made: IntoTheBook) -> str:
    """What came in, what went out, what is left and to be reordered; or what stands in the way."""
    done = made.done
    head = "Written into the spares book" if done and done.written else "Into the spares book: a trial, nothing written"
    on = made.lines[0].moved.on
    if done and done.happened:
        on = done.happened[0].movements[0].on_date
    parts = [f"{head}\n{capital(made.unit)}, {on}. Cost of one: as paid, with its share of the carriage."]
    parts.append(as_text(moves_table(found, made)))
    if made.spare:
        parts.append(f"A spare besides: {made.spare}. Receive it by hand, at what it is worth to you.")
    if made.problems:
        parts.append(section("In the way, nothing can be written", list(made.problems)))
        unknown = any(not line.item and not line.left_out for line in made.lines)
        in_the_way = {words for words in TO_GO_ON if any(words in p for p in made.problems) and (words or unknown)}
        parts.append(section("To go on", [o for words, some in TO_GO_ON.items() if words in in_the_way for o in some]))
    if done:
        parts.append(section("Left of each", [left(h) for h in done.happened]))
        lines = [below(r, found.currency) for r in done.reorder] or ["Nothing is under its minimum."]
        parts.append(section("To be reordered", lines))
        if not done.written:
            parts.append("Give --write to write it, all of it or nothing.")
    return "\n\n".join(p for p in parts if p) + "\n"
