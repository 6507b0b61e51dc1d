"""A case for the bench whose figures can be added up by hand."""

from __future__ import annotations

from dataclasses import replace

import reference_case as rc

from repairecon.rebuild_or_buy.answer import Answer
from repairecon.rebuild_or_buy.job import rebuild_or_buy
from repairecon.records import Case, Part, Range

DRAWS = 512


def sure(x: float) -> Range:
    return Range(x, x, x)


def bench_case(**changes: object) -> Case:
    """A kit of 100 in 10 days; strip 40 and 2 days, measure 2 days, assemble 1 day; new for 500 in 3 days; a day at 1.

    A casing cracked (0.4, seen at the strip) ends the rebuild; a shaft bent (0.5, when measured) costs 700.
    """
    tasks = (("strip", "strip", 2.0, 40.0), ("measure", "measure", 2.0, 0.0), ("assemble", "reassembly", 1.0, 0.0))
    base = rc.case(
        terms=rc.terms(cost_lost_day=sure(1), cost_own_hour=1.0, hours_per_day=6.0),
        parts=(
            Part(
                part="kit",
                description="",
                quantity=1,
                needed="always",
                price=sure(100),
                lead_days=sure(10),
                standard_size="",
                source=rc.HERE,
            ),
        ),
        tasks=tuple(replace(rc.task(n, s, cost=sure(c)), days=sure(d)) for n, s, d, c in tasks),
        branches=(
            rc.branch("casing", "sound", 0.6, "strip"),
            rc.branch("casing", "cracked", 0.4, "strip", ends_rebuild=True),
            rc.branch("shaft", "good", 0.5, "measure"),
            rc.branch("shaft", "bent", 0.5, "measure", outside_cost=sure(700)),
        ),
        ways=(rc.way("rebuild", "rebuild"), rc.way("new", "new", sure(500), lead_days=sure(3))),
        suppliers=(),
        quotes=(),
    )
    return replace(base, **changes)  # type: ignore[arg-type]


def answer(made: Case, **more: object) -> Answer:
    return rebuild_or_buy(made, draws=DRAWS, **more)  # type: ignore[arg-type]
