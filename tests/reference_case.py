"""One invented case in code: 12 parts, 8 tasks, 3 carriages, 6 events with 96 leaves, 5 ways."""

from __future__ import annotations

from dataclasses import replace

from repairecon.records import (
    Branch,
    Case,
    Labour,
    Part,
    Quote,
    Range,
    Source,
    Supplier,
    Task,
    Terms,
    Unit,
    Way,
)

NONE = Range(0.0, 0.0, 0.0)
HERE = Source("reference_case.py")


def span(low: float, likely: float, high: float) -> Range:
    return Range(low, likely, high, source=HERE)


def terms(**changes: object) -> Terms:
    base = Terms(
        currency="EUR",
        vat_rate=0.21,
        exchange={"GBP": 1.17},
        exchange_date="2026-10-01",
        labour={
            "yard": Labour("yard", span(60, 72, 95)),
            "machine shop": Labour("machine shop", span(70, 80, 110)),
        },
        cost_own_hour=18.0,
        cost_lost_day=span(10, 25, 60),
        hours_per_day=6.0,
        hours_correlation=0.5,
        order_parts="after measure",
        give_up_days=30.0,
        near_tie_share=0.05,
        near_tie_chance=0.6,
    )
    return replace(base, **changes)  # type: ignore[arg-type]


def supplier(name: str, currency: str = "EUR", **changes: object) -> Supplier:
    imported = currency != "EUR"
    base = Supplier(
        supplier=name,
        role="stockist",
        currency=currency,
        vat_included=not imported,
        vat_rate=0.20 if imported else 0.21,
        imported=imported,
        duty_rate=0.03 if imported else 0.0,
        cost_handling=12.0 if imported else 0.0,
        carriage=span(6, 9, 18),
        lead_days=span(2, 4, 15),
        source=HERE,
    )
    return replace(base, **changes)  # type: ignore[arg-type]


SUPPLIERS = (supplier("bearing stockist"), supplier("deck gear dealer"), supplier("breaker abroad", "GBP"))


def parts() -> tuple[Part, ...]:
    return tuple(
        Part(
            part=f"part {k}",
            description="",
            quantity=1 + k % 2,
            needed="always" if k < 7 else "damage",
            price=None,
            lead_days=None,
            standard_size="",
            source=HERE,
        )
        for k in range(12)
    )


def quotes() -> tuple[Quote, ...]:
    return tuple(
        Quote(
            item=f"part {k}",
            supplier=SUPPLIERS[k % 3].supplier,
            quoted=span(8.0 + 3 * k, 12.0 + 4 * k, 25.0 + 6 * k),
            pack=1,
            part_class="generic part",
            lead_days=None,
            p_never=0.0,
            quoted_on="",
            source=Source("quotes.csv", k + 2),
        )
        for k in range(12)
    )


def task(name: str, stage: str, by: str = "owner", hours: Range = NONE, cost: Range = NONE) -> Task:
    return Task(task=name, stage=stage, by=by, hours=hours, cost=cost, days=NONE, ways=(), source=HERE)


def tasks() -> tuple[Task, ...]:
    return (
        task("look it over", "outside", hours=span(0.3, 0.5, 1)),
        task("take it off", "removal", hours=span(1, 2, 6)),
        task("strip", "strip", hours=span(1, 2, 5)),
        task("clean and measure", "measure", hours=span(1, 1.5, 3)),
        task("turn the shaft end", "measure", "machine shop", span(0.5, 1, 2)),
        task("press and assemble", "reassembly", hours=span(2, 3, 7)),
        task("fit it", "first run", hours=span(1, 2, 5)),
        task("wire it", "first run", "yard", span(0.5, 1, 2)),
    )


def branch(event: str, outcome: str, chance: float, seen_at: str = "", given: str = "", **more: object) -> Branch:
    pairs = tuple((p.split("=")[0].strip(), p.split("=")[1].strip()) for p in given.split(";") if p)
    base = Branch(
        event=event,
        given=pairs,
        outcome=outcome,
        chance=chance,
        weight=0.0,
        seen_at=seen_at,
        parts=(),
        extra_hours=NONE,
        by="owner",
        outside_cost=NONE,
        extra_days=NONE,
        ends_rebuild=False,
        core_refused=False,
        ways=(),
        source=HERE,
    )
    return replace(base, **more)  # type: ignore[arg-type]


def branches() -> tuple[Branch, ...]:
    ends = {"ends_rebuild": True}
    rows = [branch("neglect", "light", 0.55), branch("neglect", "heavy", 0.45)]
    for given, bad, cracked in (("neglect=light", 0.3, 0.05), ("neglect=heavy", 0.7, 0.2)):
        rows += [
            branch("bearings", "sound", 1 - bad, "strip", given),
            branch(
                "bearings",
                "rough",
                bad * 0.7,
                "strip",
                given,
                parts=(("part 7", 2), ("part 8", 1)),
                extra_hours=span(0.5, 1, 3),
            ),
            branch(
                "bearings",
                "spun in the casing",
                bad * 0.3,
                "strip",
                given,
                parts=(("part 8", 2),),
                extra_hours=span(1, 2, 4),
                outside_cost=span(60, 110, 260),
                extra_days=span(3, 6, 14),
            ),
            branch("casing", "sound", 1 - cracked, "strip", given),
            branch("casing", "cracked", cracked, "strip", given, core_refused=True, **ends),
            branch("shaft", "good", 1 - bad / 2, "measure", given),
            branch(
                "shaft",
                "grooved",
                bad / 2,
                "measure",
                given,
                parts=(("part 9", 1), ("part 10", 1)),
                outside_cost=span(30, 50, 90),
            ),
        ]
    rows += [
        branch("bolts", "come out", 0.8, "removal"),
        branch("bolts", "shear", 0.2, "removal", extra_hours=span(1, 2, 6)),
        branch("first run", "good", 0.9, "first run"),
        branch("first run", "leaks", 0.1, "first run", parts=(("part 11", 1),), extra_hours=span(2, 4, 9)),
    ]
    return tuple(rows)


def way(name: str, kind: str, price: Range | None = None, **changes: object) -> Way:
    base = Way(
        way=name,
        kind=kind,
        price=price,
        lead_days=span(2, 5, 20) if price else None,
        p_never=0.0,
        instead="",
        fitting_hours=NONE,
        fitting_by="owner",
        core_surcharge=NONE,
        core_carriage=NONE,
        p_refund=1.0,
        core_if_stripped=False,
        strip_charge=NONE,
        bought="",
        life_years=None,
        warranty_months=None,
        old_unit="",
        old_unit_price=NONE,
        note="",
        source=HERE,
    )
    return replace(base, **changes)  # type: ignore[arg-type]


def ways() -> tuple[Way, ...]:
    return (
        way("rebuild here", "rebuild"),
        way(
            "exchange",
            "exchange",
            span(480, 560, 690),
            core_surcharge=span(100, 120, 150),
            core_carriage=span(10, 20, 40),
            p_refund=0.9,
            lead_days=span(3, 7, 25),
        ),
        way("new", "new", span(820, 880, 990), lead_days=span(1, 3, 12)),
        way(
            "second-hand",
            "second-hand",
            span(200, 350, 600),
            p_never=0.3,
            fitting_hours=span(0.5, 1, 4),
            lead_days=span(2, 12, 60),
        ),
        way("buy new, rebuild the old", "buy and rebuild", bought="new", old_unit="spare"),
    )


def case(**changes: object) -> Case:
    """The reference case, any field replaced."""
    base = Case(
        folder="reference",
        unit=Unit(name="reference unit", kind="winch", figures="invented"),
        terms=terms(),
        parts=parts(),
        tasks=tasks(),
        branches=branches(),
        ways=ways(),
        suppliers=SUPPLIERS,
        quotes=quotes(),
    )
    return replace(base, **changes)  # type: ignore[arg-type]
