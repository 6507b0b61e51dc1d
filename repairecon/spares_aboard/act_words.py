"""What an act on the book did, in words; without the answer and its tables, so that an act is quick."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from math import isfinite
from typing import TYPE_CHECKING

from repairecon.book.lists import Delivery
from repairecon.book.own_list import ImportPlan
from repairecon.book.stock import day_of, last_day
from repairecon.records import Counted, Found, Happened, Movement, ReceiveLine, ReorderLine
from repairecon.show.layout import wrapped
from repairecon.show.words import price, quantity

if TYPE_CHECKING:
    from repairecon.spares_aboard.job import ShoppingList

SHOWN = 40
"""Rows of a list that are worth reading."""
_DID = {"bought": "received", "scrapped": "thrown away", "returned": "taken back", "undone": "taken back from the book"}
"""Kinds of movement that are called otherwise in a sentence."""


def each(of: Movement | ReceiveLine, currency: str, said: str = "{}") -> str:
    """What one cost, empty where nobody knows."""
    return "" if of.cost_unit is None else said.format(price(float(of.cost_unit), currency))


def movement(m: Movement, measure: str = "piece", currency: str = "") -> str:
    """One line of the ledger."""
    where = " ".join(filter(None, (
        m.locker_from and f"from {m.locker_from}", m.locker_to and f"to {m.locker_to}", m.unit and f"into {m.unit}",
        f"at {quantity(m.hours)} h" if m.hours is not None else "",
        m.person and f"{'from' if m.kind == 'bought' else 'with'} {m.person}",
        currency and each(m, currency, "at {} each"),
        f"(movement {m.undoes})" if m.undoes else "",
    )))  # fmt: skip
    said = (m.cure_date and f"cured {m.cure_date}", m.lot, m.reference, m.note)
    marks = "; ".join(filter(None, dict.fromkeys(said)))
    line = f"{m.number}  {m.on_date}  {_DID.get(m.kind, m.kind)} {quantity(m.quantity, measure)} {where}".rstrip()
    return line + (f"  ({marks})" if marks else "") + (f" [taken back by {m.undone_by}]" if m.undone_by else "")


def happened(all_done: Sequence[Happened], currency: str, notes: Sequence[str] = ()) -> str:
    """What an act did to each item, and the line to reorder if it is now too few."""
    lines = []
    for done in all_done:
        measure = done.item.measure
        lines += [done.item.name, *(f"  movement {movement(m, measure, currency)}" for m in done.movements)]
        if done.before is not None:
            run = f", {quantity(done.hours_run)} hours ago" if done.hours_run is not None else ""
            lines.append(f"  fitted last on {done.before.on_date}{run}")
        cures = sorted({lot.cure_date for lot in done.lots if lot.cure_date})
        if cures and done.movements[0].kind in ("fitted", "used"):
            lines.append(f"  from the lot cured {', '.join(cures)}")
            last = last_day(done.item, cures[0])
            until = day_of(last).isoformat() if isfinite(last) else ""
            if until and until < done.movements[0].on_date:
                lines.append(f"  PAST ITS SHELF LIFE since {until}: look at it before you trust it")
        places = ", ".join(f"{quantity(q, measure)} in {name}" for name, q in done.places.items())
        lines.append(f"  left aboard: {quantity(done.aboard, measure)}" + (f" ({places})" if places else ""))
        if done.reorder is not None:
            lines.append(f"  REORDER: {below(done.reorder, currency)}")
    return "\n".join([*lines, *notes])


def below(line: ReorderLine, currency: str) -> str:
    """One item under its minimum: whom to ask, and the last price."""
    m, last = line.item.measure, line.last
    short = f"{line.item.name}: {quantity(line.aboard, m)} aboard, {quantity(line.item.minimum, m)} wanted"
    short += "; CRITICAL" if line.item.critical else ""
    short += f"; {quantity(line.ashore, m)} ashore" if line.ashore else ""
    short += f"; {quantity(line.lent, m)} lent out" if line.lent else ""
    many = quantity(line.short, m)
    if last is None:
        return f"{short}; buy {many}, never bought by this book."
    who = f" from {last.person}" if last.person else ""
    return f"{short}; buy {many}, last{who}{each(last, currency, ' at {} each')} on {last.on_date}."


def counted(made: Sequence[Counted], written: bool, notes: Sequence[str] = ()) -> str:
    """Differences first, then how many agreed."""
    differ = [c for c in made if c.difference]
    lines = [
        f"{c.locker}: {c.item}: book {quantity(c.in_book)}, counted {quantity(c.counted)}, "
        f"{'+' if c.difference > 0 else ''}{quantity(c.difference)}"
        + (f"  (movement {c.movement.number})" if c.movement is not None else "")
        for c in differ
    ]
    agreed = len(made) - len(differ)
    lines += [f"{agreed} agreed with the book."] if agreed else []
    lines += list(notes)
    return "\n".join([*lines, "Written." if written else "Nothing was written."])


def found(items: Sequence[Found]) -> str:
    """Where each item lies."""
    if not items:
        return "Nothing in the book has these words."
    lines = []
    for each in items:
        lie = ", ".join(f"{quantity(s.quantity, each.item.measure)} in {s.locker}" for s in each.stock) or "none"
        home = f" (its locker: {each.item.locker})" if each.item.locker and not each.stock else ""
        marks = ", ".join(w for w in (each.item.designation, each.item.makers_number) if w)
        lines.append(f"{each.item.name}{f' [{marks}]' if marks else ''}: {lie}{home}")
    return "\n".join(lines)


def movements(listed: Sequence[Movement], currency: str) -> str:
    """All movements of an item."""
    return "\n".join(movement(m, currency=currency) for m in listed) or "No movement yet."


def planned_delivery(came: Delivery, currency: str) -> str:
    """What a delivery would bring."""
    said = []
    for line in came.lines:
        new = " (new item)" if line.item in came.new_items else ""
        sender = f" from {line.supplier}" if line.supplier else ""
        many = quantity(Decimal(str(line.quantity)))
        said.append(f"{line.item}{new}: {many}{each(line, currency, ' at {} each')}{sender}")
    return "\n".join([*said, "Nothing was written."])


def planned_import(plan: ImportPlan, take_zeros: bool = False) -> str:
    """Which heading of a list is taken for what, what comes new with it, and what each row would do."""
    lines = ["Columns: " + ", ".join(f"{ours} = {theirs}" for ours, theirs in plan.columns.items())]
    listed = (("Left out", plan.left_out), ("New lockers", plan.new_lockers), ("New units", plan.new_units))
    lines += [f"{title}: {', '.join(names)}" for title, names in listed if names]
    for line in plan.lines[:SHOWN]:
        does = ["new item"] if line.new else [f"card changed: {', '.join(line.changes)}"] if line.changes else []
        if line.empties and not take_zeros:
            there = quantity(line.in_book or 0)
            does.append(f"0 in the list, {there} in the book: left as it is (--take-zeros empties it)")
        elif line.difference:
            does.append(f"{'+' if line.difference > 0 else ''}{quantity(line.difference)} in {line.locker}")
        lines.append(f"  row {line.row}  {line.item}: {'; '.join(does) or 'as in the book'}")
    if len(plan.lines) > SHOWN:
        lines.append(f"  ... and {len(plan.lines) - SHOWN} more")
    return "\n".join(lines)


def to_ask_for(found: ShoppingList) -> str:
    """What to ask suppliers for, why, and whom."""
    lines = ["What to ask for"]
    for x in found.lines:
        size = " ".join(filter(None, (x.designation, x.material)))
        what = f"{quantity(x.pieces, x.measure)} {x.item}{f' [{size}]' if size else ''}"
        lines.append(wrapped(f"- {what}: {', '.join(x.why)}. Ask {', '.join(x.suppliers)}."))
    lines += [] if found.lines or found.left_out else ["- Nothing."]
    return "\n".join([*lines, *(wrapped(f"- Left out: {job}: {why}") for job, why in found.left_out)])
