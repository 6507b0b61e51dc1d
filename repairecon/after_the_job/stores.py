"""What a closed job brought into the boat's stores and took out of them, and at what cost."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from math import ceil

from repairecon.after_the_job.bridge import pieces_paid, taken
from repairecon.after_the_job.estimates import Estimate
from repairecon.buying.buying import Buying
from repairecon.buying.inputs import mean_of
from repairecon.read.closed import Closed
from repairecon.records import Done, StoresMoved


def movements(closed: Closed, buying: Buying | None = None) -> tuple[StoresMoved, ...]:
    """What was bought for the job and what was fitted, in the order of the sheet.

    Parts come in whole packs where that is how they were quoted, or as many as the row says; those not fitted stay in
    the stores, and so does a unit bought as a spare. A unit that somebody else rebuilt is no purchase.
    """
    return tuple(_moved(closed, done_on(closed), buying))


def done_on(closed: Closed) -> str:
    """The day on which the job was done: that of the decision and the days out of service after it."""
    days = next((r.days for kind in ("way", "total") for r in closed.actual.of(kind) if r.days is not None), 0.0)
    decided = datetime.date.fromisoformat(closed.decision.decided_on)
    left = (datetime.date.max - decided).days
    return (decided + datetime.timedelta(days=min(ceil(days), left))).isoformat()


def _moved(closed: Closed, on: str, buying: Buying | None) -> Iterator[StoresMoved]:
    rows = (*closed.actual.of("part"), *closed.actual.of("unit"))
    estimate = Estimate(closed.case, (), {}, buying=buying)
    bought = {r: _bought(closed, estimate, r) for r in rows}
    carriage = _carriage(closed, [r for r, n in bought.items() if n > 0])
    for r, pieces in bought.items():
        if pieces > 0:
            cost = None if r.paid is None else (_kept(closed, r) + carriage[r]) / pieces
            yield StoresMoved(
                movement="bought",
                item=r.name,
                quantity=pieces,
                paid=r.paid,
                from_spares=False,
                on=on,
                source=r.source,
                cost_unit=cost,
            )
        fitted = _fitted(closed, r)
        if fitted > 0:
            yield StoresMoved(
                movement="fitted",
                item=r.name,
                quantity=fitted,
                paid=r.paid,
                from_spares=r.from_spares,
                on=on,
                source=r.source,
            )


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
