"""Shares, hours and prices of a kind where a case does not say: by kind, by its group, by depth of the work."""

from __future__ import annotations

from typing import Literal

from repairecon.kinds.facts import facts
from repairecon.kinds.tables import rows
from repairecon.records import Range, Source

Depth = Literal["seals only", "full rebuild", "specialist"]
Bought = Literal["new", "pattern", "exchange", "second-hand", "own spare"]

PRICES = ("kit", "exchange", "specialist", "second-hand", "pattern", "main part")
"""Prices that the price of new gives a range for."""


def share(kind: str, what: str) -> Range:
    """How often something goes wrong, by the kind's group; the general case where the group has no row of its own.

    Parameters
    ----------
    kind : str
        One of ``kinds()``, or empty for a unit of no known kind.
    what : str
        ``done again: <depth>``, ``given up: <depth>`` (seals only, full rebuild, specialist) or
        ``dead on arrival: <way>`` (new, pattern, exchange, second-hand, own spare).

    Returns
    -------
    Range
        A chance, 0 to 1, with the reason as its source.
    """
    group = facts(kind).group if kind else "any"
    found = {
        row["group"]: Range(
            low=float(row["low"]),
            likely=float(row["likely"]),
            high=float(row["high"]),
            source=Source(file="kinds/shares.csv", row=line, note=f"{row['status']}: {row['why']}"),
        )
        for line, row in enumerate(rows("shares"), 2)
        if row["share"] == what and row["group"] in (group, "any")
    }
    if not found:
        raise KeyError(f"no share is called {what!r}; shares.csv lists them")
    return found.get(group) or found["any"]


def done_again(kind: str, depth: Depth = "full rebuild") -> Range:
    """How often a repair must be done again after the first run."""
    return share(kind, f"done again: {depth}")


def given_up(kind: str, depth: Depth = "full rebuild") -> Range:
    """How often a repair that was begun ends in buying after all."""
    return share(kind, f"given up: {depth}")


def dead_on_arrival(kind: str, bought: Bought) -> Range:
    """How often a bought unit does not work when it is fitted."""
    return share(kind, f"dead on arrival: {bought}")


def wrong_unit(kind: str, symptom: str = "") -> Range:
    """How often another unit is to blame, before any look; without a symptom the mean over the kind's symptoms."""
    known = facts(kind)
    asked = [symptom] if symptom else list(known.symptoms)
    sums = [sum(f.chance.likely for f in known.failures_of(s) if not f.this_unit) for s in asked]
    likely = sum(sums) / len(sums)
    # the rows' own rule: odds times 1/2.5 and 2.5, since each is one trade opinion
    odds = likely / (1 - likely) if likely < 1 else float("inf")
    low, high = (odds * k / (1 + odds * k) for k in (0.4, 2.5))
    note = "sum of the causes that are not this unit; one trade opinion, odds times 1/2.5 and 2.5"
    return Range(low=low, likely=likely, high=high, source=Source(file="kinds/failures.csv", note=note))


def own_hours(kind: str) -> Range:
    """Hours that an owner works on a whole rebuild at home, a first-timer's: tasks that are always needed."""
    tasks = [t for t in facts(kind).tasks if t.needed == "always" and t.by == "owner"]
    low, likely, high = (sum(getattr(t.hours, end) for t in tasks) for end in ("low", "likely", "high"))
    note = "sum of the tasks that are always needed"
    return Range(low=low, likely=likely, high=high, source=Source(file="kinds/tasks.csv", note=note))


def default_prices(kind: str, price_new: float) -> dict[str, Range]:
    """Prices to go on with until they are asked, from the price of a new one.

    Parameters
    ----------
    kind : str
        One of ``kinds()``.
    price_new : float
        What a new unit costs, in any money.

    Returns
    -------
    dict[str, Range]
        By ``PRICES``, in the same money; only what is sold for this kind.
    """
    known = facts(kind)
    found = {key: known.ratio(key) for key in PRICES}
    return {key: ratio.scaled(price_new) for key, ratio in found.items() if ratio is not None}
