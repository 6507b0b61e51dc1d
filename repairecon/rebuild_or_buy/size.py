"""How large the work is, known before it is begun: what is averaged where the tree is too large, what is refused.

The measures were taken on cases of one event of 500 to 2,000 outcomes, chains, independent events, 300 to 2,000 parts
and 400,000 draws (``tests/hardness/bombs.py``), on one core of 2024.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Callable, Collection, Iterator, Sequence
from itertools import chain, combinations
from math import sqrt

from repairecon.buying.inputs import Product, mean_of
from repairecon.records import Branch, Case, RepaireconError

MOST_BYTES = 2e9
MOST_SECONDS = 60.0
BYTES_A_HOLD = 48.0
"""For each row of events in each leaf: whether it holds, and what it costs there, in double and in single."""
SECONDS_A_HOLD = 8e-7
"""For each of these and each rebuild."""
BYTES_AN_INPUT = 80_000.0
"""For each uncertain number: its values in a block of draws, their steps, their points."""
SECONDS_A_PAIR = 6e-8
"""For each pair of uncertain numbers: each is moved once, and all costs added up."""
SECONDS_A_DRAW = 1e-8
"""For each draw and each amount in it."""
AMOUNTS_A_WAY = 10
"""What is counted of a way in each draw, whatever it costs."""
MOST_TOGETHER = 3
"""Outcomes with costs that an event may have: each is told from those before it by one chance, so the terms double."""
THIN_OUT = "put outcomes that cost about the same together, or leave out events that change little"


def check_leaves(rows: int, leaves: int, rebuilds: int) -> None:
    """Refuse a tree whose rows and leaves are too many together."""
    holds = float(rows * leaves)
    _check(
        holds * BYTES_A_HOLD, holds * SECONDS_A_HOLD * max(rebuilds, 1),
        f"events.csv: {rows} rows and {leaves} courses of events for {rebuilds} rebuilds",
        THIN_OUT,
    )  # fmt: skip


def check_inputs(inputs: int, ways: int) -> None:
    """Refuse more uncertain numbers than can be drawn and moved."""
    _check(
        inputs * BYTES_AN_INPUT, inputs**2 * SECONDS_A_PAIR,
        f"{inputs} uncertain prices, waits and hours in {ways} ways",
        "write parts that are bought together as one row, or one kit",
    )  # fmt: skip


def check_draws(draws: int, amounts: int, ways: int) -> None:
    """Refuse more draws than a limited time has room for."""
    each = SECONDS_A_DRAW * (amounts + AMOUNTS_A_WAY * ways)
    _check(0.0, draws * each, f"{draws} draws", f"at most {int(MOST_SECONDS / each)} of this case, or auto")


def _check(needs: float, seconds: float, what: str, thin_out: str) -> None:
    if needs > MOST_BYTES:
        raise RepaireconError(
            f"{what} would take about {int(needs / 1e9)} GB of memory (limit {int(MOST_BYTES / 1e9)} GB): {thin_out}"
        )
    if seconds > MOST_SECONDS:
        raise RepaireconError(
            f"{what} would take about {int(seconds / 60)} minutes (limit {int(MOST_SECONDS / 60)}): {thin_out}"
        )


# ---- averaged ------------------------------------------------------------------------------------
# An event on which nothing else depends adds hours, money and days as often as it comes up: a chance among the inputs,
# so that expected costs stay exact and draws go as before. Only the choice at the bench does not look at it. This is
# done where the tree would be too large, with the events that move least.
def costs_something(branch: Branch) -> bool:
    """Whether an outcome takes hours, money, days or parts."""
    return bool(branch.parts) or any(r.high > 0 for r in (branch.extra_hours, branch.outside_cost, branch.extra_days))


def by_condition(rows: Sequence[Branch]) -> list[list[Branch]]:
    """The outcomes of an event that cost something, by the condition under which they stand."""
    groups: dict[object, list[Branch]] = defaultdict(list)
    for b in filter(costs_something, rows):
        groups[frozenset(b.given)].append(b)
    return list(groups.values())


def to_average(case: Case, keep: Collection[str], fits: Callable[[Collection[str]], bool]) -> frozenset[str]:
    """The fewest events to average, those that move least first, until the rest ``fits``; all that can be if none do.

    ``keep`` are events that must stay laid out: what was found of them counts.
    """
    events: dict[str, list[Branch]] = defaultdict(list)
    for b in case.branches:
        events[b.event].append(b)
    depended_on = {event for b in case.branches for event, _ in b.given}
    barred = {*keep, *depended_on, *(look.event for look in case.looks), *(r.event for r in case.remedies)}
    open_to = {e: rows for e, rows in events.items() if e not in barred and _adds_up(case, rows)}
    order = sorted(open_to, key=lambda e: (_moves(case, open_to[e]), e))
    return frozenset(order[: bisect_left(range(len(order)), True, key=lambda n: fits(order[:n]))])


def _adds_up(case: Case, rows: Sequence[Branch]) -> bool:
    """Whether an event only adds costs: it ends and refuses nothing, and its parts come without a wait of their own."""
    if any(b.ends_rebuild or b.core_refused or b.not_this_unit for b in rows):
        return False
    at_once = {p.part for p in case.parts if p.lead_days is None or p.lead_days.high <= 0}
    at_once -= {q.item for q in case.quotes}
    if any(part not in at_once for b in rows for part, _ in b.parts):
        return False
    most = 1 if any(b.parts for b in rows) else MOST_TOGETHER
    return all(len(group) <= most for group in by_condition(rows))


def _moves(case: Case, rows: Sequence[Branch]) -> float:
    """How far an event moves a total: the largest spread that one of its outcomes makes [home money]."""
    prices = {p.part: mean_of(p.price) for p in case.parts if p.price is not None}
    a_day = mean_of(case.terms.cost_lost_day)

    def cost(b: Branch) -> float:
        paid = case.terms.labour.get(b.by)
        hour = case.terms.cost_own_hour if paid is None else mean_of(paid.cost_hour)
        parts = sum(n * prices.get(part, 0.0) for part, n in b.parts)
        hours, days = mean_of(b.extra_hours), mean_of(b.extra_days)
        return parts + mean_of(b.outside_cost) + hours * (hour + a_day / case.terms.hours_per_day) + days * a_day

    return max((sqrt(b.chance * (1.0 - b.chance)) * cost(b) for b in rows), default=0.0)


def shares(
    rows: Sequence[Branch], chance: Callable[[Branch, float], Product]
) -> Iterator[tuple[Branch, float, Product]]:
    """How often each outcome of an averaged event comes up under its condition: a sum of products of chances.

    Of the outcomes that cost something each comes up by a ``chance`` of its own if none before it did; "not the first,
    but the second" is the second less both together.
    """
    for group in by_condition(rows):
        left, before = 1.0, list[Product]()
        for b in group:
            own = chance(b, min(b.chance / left, 1.0) if left > 0 else 0.0)
            for both in chain.from_iterable(combinations(before, n) for n in range(len(before) + 1)):
                product = own
                for other in both:
                    product = other.times(product)
                yield b, (-1.0) ** len(both), product
            before.append(own)
            left -= b.chance
