"""Remedies: a finding met in several ways, the best one chosen where it is found; every choice tried by brute force."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from new_ways_case import wider
from plain_loop import PlainCase
from reference_case import HERE, branch, terms, way
from small_case import part, small, sure

from repairecon import rebuild_or_buy
from repairecon.rebuild_or_buy.job import best_model
from repairecon.rebuild_or_buy.tree import grow
from repairecon.records import Case, Range, Remedy, Years

NEW = way("new", "new", sure(500), lead_days=sure(3))
SHAFT = (branch("shaft", "good", 0.6, "measure"), branch("shaft", "grooved", 0.4, "measure"))


def remedy(name: str, cost: float = 0.0, event: str = "shaft", outcome: str = "grooved", **more: object) -> Remedy:
    base = Remedy(event=event, outcome=outcome, remedy=name, source=HERE, outside_cost=sure(cost))
    return replace(base, **more)  # type: ignore[arg-type]


def made(*remedies: Remedy, **changes: object) -> Case:
    base = small(tasks=(), branches=SHAFT, ways=(way("rebuild", "rebuild"), NEW), remedies=remedies)
    return replace(base, **changes)  # type: ignore[arg-type]


def cash(case: Case) -> float:
    return float(best_model(case, grow(case), {}, -1, None).expected()[0, 0])


def test_the_cheaper_remedy_is_taken_and_done_again_by_the_next_if_it_does_not_hold() -> None:
    sleeve, shaft = remedy("sleeve", 60, p_holds=0.8), remedy("new shaft", 150)
    assert cash(made(sleeve, shaft)) == pytest.approx(100 + 0.4 * (60 + 0.2 * 150))
    assert cash(made(replace(sleeve, p_holds=0.3), shaft)) == pytest.approx(100 + 0.4 * 150)  # 60 + 0.7 x 150 is more
    assert cash(made(sleeve)) == pytest.approx(100 + 0.4 * (60 + 0.2 * 60))  # the same once more


def test_what_the_outcome_itself_costs_counts_whichever_is_taken() -> None:
    rows = (SHAFT[0], replace(SHAFT[1], outside_cost=sure(33)))
    assert cash(made(remedy("sleeve", 60), remedy("shaft", 70), branches=rows)) == pytest.approx(100 + 0.4 * 93)


def test_parts_wait_and_hours_of_a_remedy_count() -> None:
    """A shaft of 40 that takes 20 days at 1 a day against a sleeve at 65 at once: 60 against 65, then a day at 2."""
    shaft = remedy("new shaft", parts=(("shaft", 1),))
    sleeve = remedy("sleeve", 65)
    parts = (part("kit", 100, sure(0)), part("shaft", 40, sure(20), "damage"))
    for day, spent in ((1.0, 40.0), (2.0, 65.0)):
        case = made(sleeve, shaft, parts=parts, terms=terms(cost_lost_day=sure(day), cost_own_hour=1.0))
        assert cash(case) == pytest.approx(100 + 0.4 * spent)


@pytest.mark.parametrize(("cost", "welded"), [(250.0, True), (450.0, False)])
def test_an_end_may_be_met_by_a_remedy_if_that_is_less(cost: float, welded: bool) -> None:
    cracked = (branch("casing", "sound", 0.6, "strip"), branch("casing", "cracked", 0.4, "strip", ends_rebuild=True))
    weld = remedy("weld it", cost, "casing", "cracked")
    case = made(weld, branches=cracked)
    # ended at the strip nothing was ordered yet: a new one for 500 at 3 days, against the kit, its 10 days and the weld
    assert cash(case) == pytest.approx(0.6 * 100 + 0.4 * (100 + cost if welded else 500))
    model = best_model(case, grow(case), {}, -1, None)
    assert bool(model.costs.remedied["rebuild", "casing", "cracked"]) == welded


def test_the_order_of_the_rows_decides_nothing() -> None:
    rows = (remedy("sleeve", 60, p_holds=0.8), remedy("new shaft", 150), remedy("weld and turn", 90, p_holds=0.95))
    assert cash(made(*rows)) == pytest.approx(cash(made(*rows[::-1])), rel=1e-12)


def test_a_remedy_that_leaves_a_short_life_is_passed_over_where_years_count() -> None:
    """10 cheaper today, but half the life: over 10 years that is dearer, over none it is not."""
    short, whole = remedy("sleeve", 60, life_share=0.5), remedy("new shaft", 70)
    lived = replace(way("rebuild", "rebuild"), life_years=Range(5, 6, 7, source=HERE))
    for years, taken in ((0.0, "sleeve"), (10.0, "new shaft")):
        case = made(short, whole, ways=(lived, NEW), years=Years(horizon_years=years))
        model = best_model(case, grow(case), {}, -1, None)
        assert model.costs.remedied["rebuild", "shaft", "grooved"][0].remedy == taken
    assert best_model(made(short), grow(made(short)), {}, -1, None).life_shares(0) == pytest.approx(
        {0.5: 0.4, 1.0: 0.6}
    )


@pytest.mark.parametrize("order", ["now", "after measure"])
def test_every_choice_of_remedies_tried_with_the_plain_walk(order: str) -> None:
    case = wider(order)
    case = replace(case, ways=tuple(w for w in case.ways if w.kind in ("rebuild", "new", "exchange", "second-hand")))
    model = best_model(case, grow(case), {}, -1, None)
    hour = case.terms.cost_own_hour
    for name in ("rebuild here", "seals only"):
        i = model.ways.index(name)
        ours = float(model.expected()[i] @ [1.0, hour, model.lost_day])
        rows = {(r.event, r.outcome): [x for x in case.remedies if (x.event, x.outcome) == (r.event, r.outcome)]
                for r in case.remedies}  # fmt: skip
        tried = []
        for taken in product(*(_options(case, key, found) for key, found in rows.items())):
            plain = PlainCase(case)
            plain.met = {(name, *key): t for key, t in zip(rows, taken, strict=True)}
            tried.append(plain.expected()[i][3])
        assert ours == pytest.approx(min(tried), rel=2e-6)


def _options(case: Case, key: tuple[str, str], found: list[Remedy]) -> list[tuple[Remedy, ...]]:
    ends = any(b.ends_rebuild for b in case.branches if (b.event, b.outcome) == key)
    orders = [(a, b) for a in found for b in found if a is not b or len(found) == 1]
    return [*orders, *([()] if ends else [])]


def test_the_answer_tells_how_each_finding_is_met() -> None:
    case = made(remedy("sleeve", 60, p_holds=0.8), remedy("new shaft", 150))
    answer = rebuild_or_buy(case, 200)
    met = answer.model.costs.remedied
    assert [(key[1], *(r.remedy for r in taken)) for key, taken in met.items()] == [("shaft", "sleeve", "new shaft")]
    assert "by sleeve" in set(answer.nodes["note"])
    assert np.isfinite(answer.bench.value)
