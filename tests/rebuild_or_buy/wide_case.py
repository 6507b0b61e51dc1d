"""The reference case made wide: every kind of way, every shape, packs, rival quotes, imports, refusals."""

from __future__ import annotations

from dataclasses import replace

from reference_case import branch, branches, case, quotes, span, supplier, task, tasks, terms, way, ways

from repairecon.records import Branch, Case, Quote, Range, Source, Supplier, Task, Way


def quote(item: str, at: str, quoted: Range, **more: object) -> Quote:
    base = Quote(
        item=item,
        supplier=at,
        quoted=quoted,
        pack=1,
        part_class="generic part",
        lead_days=None,
        p_never=0.0,
        quoted_on="",
        source=Source("quotes.csv"),
    )
    return replace(base, **more)  # type: ignore[arg-type]


def wide_suppliers() -> tuple[Supplier, ...]:
    return (
        *case().suppliers,
        supplier("engine dealer", vat_included=False, lead_days=None, carriage=span(12, 14, 20)),
        supplier("dealer abroad", "GBP", vat_included=True, carriage=span(20, 26, 41)),
    )


def wide_quotes() -> tuple[Quote, ...]:
    return (
        *quotes(),
        quote("part 0", "engine dealer", span(5, 6, 8), pack=2),  # dearer by its carriage
        quote("part 3", "engine dealer", span(1, 2, 3), pack=4, lead_days=Range(1, 6, 20, "triangular")),
        quote("part 5", "dealer abroad", span(7, 8, 9)),
        quote("part 9", "engine dealer", span(4, 5, 7), pack=5),
        quote("new", "dealer abroad", span(560, 600, 680), lead_days=span(4, 9, 30), p_never=0.04),
        quote("new", "engine dealer", span(900, 950, 990)),
        quote("send away", "breaker abroad", span(260, 300, 420), lead_days=Range(10, 18, 45, "lognormal")),
    )


def wide_branches() -> tuple[Branch, ...]:
    return (
        *branches(),
        branch("gear", "to be had", 0.8, "measure", "shaft=grooved"),
        branch(
            "gear",
            "no longer made",
            0.2,
            "measure",
            "shaft=grooved",
            ends_rebuild=True,
            extra_hours=span(0.5, 1, 2),
            outside_cost=span(5, 10, 30),
            extra_days=span(1, 2, 5),
        ),
        branch("reassembly", "goes together", 0.9, "reassembly", "bearings=rough"),
        branch(
            "reassembly",
            "cover cracks",
            0.1,
            "reassembly",
            "bearings=rough",
            ends_rebuild=True,
            parts=(("part 11", 3),),
            by="machine shop",
            extra_hours=span(1, 2, 4),
        ),
        branch("reassembly", "goes together", 1.0, "reassembly"),
        branch("on arrival", "works", 0.93, "first run", ways=("new", "second-hand", "pattern")),
        branch(
            "on arrival",
            "dead",
            0.07,
            "first run",
            ways=("new", "second-hand", "pattern"),
            extra_hours=span(2, 3, 6),
            parts=(("part 8", 1), ("part 11", 1)),
            extra_days=span(5, 9, 30),
        ),
        branch("core", "taken", 0.7, "later", "neglect=heavy", ways=("exchange",)),
        branch("core", "refused", 0.3, "later", "neglect=heavy", ways=("exchange",), core_refused=True),
    )


def wide_tasks() -> tuple[Task, ...]:
    charge = replace(task("berth", "removal", cost=Range(20, 45, 90, "uniform")), days=span(0, 0.5, 2))
    skim = replace(task("skim the face", "measure", "machine shop", span(0.5, 1, 2)), days=span(1, 3, 9))
    crate = replace(task("crate it", "removal", hours=span(0.5, 1, 2), cost=span(20, 30, 60)), ways=("send away",))
    later = task("tighten after a week", "later", hours=span(0.2, 0.5, 1))
    return (*tasks(), charge, skim, crate, replace(later, ways=("rebuild", "new", "second-hand", "exchange")))


def wide_ways() -> tuple[Way, ...]:
    keeps_core = way(
        "exchange, stripped too",
        "exchange",
        span(600, 680, 790),
        core_surcharge=span(80, 90, 95),
        core_carriage=span(15, 25, 35),
        p_refund=0.8,
        core_if_stripped=True,
        p_never=0.1,
    )
    return (
        *ways(),
        keeps_core,
        way(
            "pattern",
            "pattern",
            Range(350, 420, 560, "triangular"),
            p_never=0.15,
            instead="second-hand",
            fitting_by="yard",
            fitting_hours=span(2, 4, 9),
            lead_days=Range(3, 8, 30, "lognormal"),
            old_unit="sold",
            old_unit_price=span(20, 50, 120),
        ),
        way(
            "send away",
            "send away",
            strip_charge=span(60, 80, 120),
            core_carriage=span(20, 30, 55),
            fitting_hours=span(0.5, 1, 2),
        ),
        way("rebuild, second-hand aboard", "rebuild and spare", bought="second-hand"),
        way("buy pattern, rebuild the old", "buy and rebuild", bought="pattern", old_unit="spare"),
    )


def wide(order_parts: str = "after measure", **changes: object) -> Case:
    """The wide case; parts without a supplier and part 4 not quoted."""
    parts = tuple(
        replace(p, price=Range(9, 14, 31, "lognormal"), lead_days=span(1, 3, 9)) if p.part == "part 4" else p
        for p in case().parts
    )
    made = case(
        terms=terms(order_parts=order_parts),
        parts=parts,
        tasks=wide_tasks(),
        branches=wide_branches(),
        ways=wide_ways(),
        suppliers=wide_suppliers(),
        quotes=tuple(q for q in wide_quotes() if q.item != "part 4"),
    )
    return replace(made, **changes)  # type: ignore[arg-type]
