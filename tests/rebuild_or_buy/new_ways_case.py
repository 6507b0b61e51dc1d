"""The wide case with every further kind of way, two depths of rebuild and remedies: for the plain loop to check."""

from __future__ import annotations

from dataclasses import replace

from reference_case import HERE, span, task, way
from wide_case import wide

from repairecon.records import Case, Remedy, Way, Years

LIGHT = "seals only"


def wider_ways() -> tuple[Way, ...]:
    return (
        way(LIGHT, "rebuild"),
        way(
            "own spare",
            "own spare",
            p_dead=0.2,
            fitting_hours=span(1, 2, 4),
        ),
        way(
            "carry on",
            "carry on",
            until_days=span(20, 40, 90),
            p_fails=0.3,
            more_cost=span(50, 150, 400),
        ),
        way(
            "patch",
            "temporary",
            span(20, 40, 90),
            until_days=span(10, 30, 60),
            p_fails=0.2,
            more_cost=span(30, 60, 100),
            works_meanwhile="no",
            fitting_hours=span(1, 2, 3),
            then="rebuild here",
        ),
        way("hope", "carry on", until_days=span(5, 9, 20), p_fails=0.5, then="none"),
        way("do without", "without", span(10, 20, 40), until_days=span(20, 30, 60)),
        way("to a shop at a sure price", "send away", span(300, 300, 300), p_never=0.1),
    )


def wider_remedies() -> tuple[Remedy, ...]:
    def remedy(outcome: str, name: str, **more: object) -> Remedy:
        base = Remedy(event=outcome.partition("=")[0], outcome=outcome.partition("=")[2], remedy=name, source=HERE)
        return replace(base, **more)  # type: ignore[arg-type]

    return (
        remedy("shaft=grooved", "sleeve", extra_hours=span(1, 2, 3), outside_cost=span(20, 30, 50), p_holds=0.8),
        remedy("shaft=grooved", "new shaft", parts=(("part 11", 1), ("part 8", 2)), extra_days=span(1, 2, 4)),
        remedy(
            "gear=no longer made", "cut a new one", extra_hours=span(3, 5, 9), by="machine shop", p_holds=0.9,
            outside_cost=span(40, 60, 100),
        ),
    )  # fmt: skip


def wider(order_parts: str = "after measure", **changes: object) -> Case:
    """Every kind of way, seals only beside the whole rebuild, remedies, failures away from base."""
    base = wide(order_parts)
    kept = {"neglect", "shaft", "gear", "on arrival", "casing", "core"}
    parts = tuple(replace(p, ways=("rebuild here", "buy and rebuild", "rebuild and spare")) if k in (1, 2) else p
                  for k, p in enumerate(base.parts))  # fmt: skip
    crate = replace(task("make a crate", "removal", cost=span(10, 20, 30)), ways=("to a shop at a sure price",))
    turn = replace(task("turn the spare", "removal", hours=span(0.5, 1, 2)), ways=("own spare",))
    skim = replace(task("lap the faces", "strip", hours=span(1, 2, 4)), ways=("rebuild here",))
    made = replace(
        base,
        branches=tuple(b for b in base.branches if b.event in kept and all(e in kept for e, _ in b.given)),
        parts=parts,
        tasks=(*base.tasks, crate, turn, skim),
        ways=(*base.ways, *wider_ways()),
        remedies=wider_remedies(),
        years=Years(p_away=0.4, cost_away=span(100, 200, 500), days_away=span(1, 3, 9)),
    )
    return replace(made, **changes)  # type: ignore[arg-type]
