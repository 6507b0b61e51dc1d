"""Ways for a while, a spare aboard, doing without, prices that cover, ways that never come: from their meaning."""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np
import pytest
from new_ways_case import wider
from numpy.testing import assert_allclose
from plain_loop import PlainCase
from reference_case import branch, task, terms, way
from small_case import days_task, small, sure

from repairecon.rebuild_or_buy import parts
from repairecon.rebuild_or_buy.advice import screen
from repairecon.rebuild_or_buy.draws import BLOCK
from repairecon.rebuild_or_buy.job import rebuild_or_buy
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.outcomes import sample
from repairecon.rebuild_or_buy.tree import grow
from repairecon.records import ORDER_TIMES, WAY_KINDS, Case, Labour, Range, Way, Years

REBUILD, NEW = way("rebuild", "rebuild"), way("new", "new", sure(500), lead_days=sure(3))
BARRED = {"second-hand": False}


def remedied(made: Case) -> dict:
    """Remedies as the plain loop takes them by default: the first that is open, then the second."""
    plain = PlainCase(made)
    found = {}
    for w in made.ways:
        for row in made.branches:
            taken = plain.remedies(row, w)
            if taken and w.traits.rebuilds == "here":
                again = len(taken) == 1 and taken[0].p_holds < 1.0  # the same once more
                found[w.way, row.event, row.outcome] = taken * 2 if again else taken
    return found


def of(made: Case, *more: Way, **changes: object) -> dict[str, list[float]]:
    """Expected (cash, own hours, days) by way; the plain walk has to agree."""
    made = replace(made, ways=(*made.ways, *more), **changes)  # type: ignore[arg-type]
    model = Model(made, grow(made), {})
    plain = np.array(PlainCase(made).expected())
    assert_allclose(model.expected(), plain[:, :3], rtol=1e-6, atol=1e-9)
    return dict(zip(model.ways, model.expected().tolist(), strict=True))


# ---- against the plain loop -----------------------------------------------------------------
def test_the_wider_case_has_every_kind_of_way() -> None:
    assert {w.kind for w in wider().ways} == set(WAY_KINDS)


@pytest.mark.parametrize("order", ORDER_TIMES)
@pytest.mark.parametrize("barred", [BARRED, {"exchange": False, "new": False}], ids=["used", "exchange and new"])
def test_exact_means_against_the_plain_walk(order: str, barred: dict[str, bool]) -> None:
    made = wider(order)
    model = Model(made, grow(made), barred, remedied=remedied(made))
    plain = np.array(PlainCase(made, barred).expected())
    assert_allclose(model.expected(), plain[:, :3], rtol=2e-6, atol=1e-7)


def test_draws_against_the_plain_loop() -> None:
    made, loops, draws = wider(), 600, 4 * BLOCK
    model = Model(made, grow(made), BARRED, remedied=remedied(made))
    outcomes = sample(model, draws, 7)
    assert (np.abs(outcomes.sampled_mean - outcomes.mean) < 4.5 * outcomes.sampled_se + 1e-6).all()
    rng, plain = random.Random(11), PlainCase(made, BARRED)
    x = np.array([plain.draw(rng) for _ in range(loops)])
    off = np.abs(x.mean(axis=0) - outcomes.mean[:, :4]) / (x.std(axis=0, ddof=1) / np.sqrt(loops) + 1e-9)
    assert off.max() < 4.5
    smooth = [w.way != "hope" for w in made.ways]  # half of its draws cost nothing
    for p in (0.1, 0.5, 0.9):
        quantile = np.array([float(t[3].quantile(p)) for t in outcomes.tallies])
        share = (x[:, :, 3] <= quantile).mean(axis=0)
        assert (np.abs(share - p) < 4.5 * np.sqrt(p * (1 - p) * (1 / loops + 1 / draws)))[smooth].all()


# ---- carrying on and temporary repairs ------------------------------------------------------
NURSE = way("nurse it", "carry on", until_days=sure(30), p_fails=0.25, more_cost=sure(200), then="new")


def test_if_it_holds_the_lasting_way_costs_no_waiting() -> None:
    cash, hours, days = of(small(), NURSE)["nurse it"]
    assert cash == pytest.approx(0.75 * 500 + 0.25 * (200 + 500))
    assert (hours, days) == pytest.approx((0.0, 0.25 * 3))  # only a failure waits for the new one


def test_days_out_count_from_now_on_where_it_does_not_work_meanwhile() -> None:
    assert of(small(), replace(NURSE, works_meanwhile="no"))["nurse it"][2] == pytest.approx(30 + 0.25 * 3)
    assert of(small(), replace(NURSE, works_meanwhile="partly"))["nurse it"][2] == pytest.approx(0.25 * 3)


def test_work_on_the_bench_counts_though_the_parts_are_ordered_ahead() -> None:
    # the rebuild: 5 days of work in all, 10 of waiting; where the casing is cracked (0.4) 2 days of strip and then a
    # new one, which nobody ordered ahead: 3 days
    made = small(parts=small().parts)
    held = replace(NURSE, then="rebuild", p_fails=0.0)
    assert of(made, held)["nurse it"][2] == pytest.approx(0.6 * 5 + 0.4 * (2 + 3))


def test_nothing_more_is_due_if_it_holds() -> None:
    cash, _, days = of(small(ways=(NEW,)), replace(NURSE, then="none"))["nurse it"]
    assert (cash, days) == pytest.approx((0.25 * (200 + 500), 0.25 * 3))


def test_a_failure_may_come_away_from_base() -> None:
    years = Years(p_away=0.5, cost_away=sure(100), days_away=sure(4))
    near, far = (of(small(years=y), NURSE)["nurse it"] for y in (Years(), years))
    assert far[0] - near[0] == pytest.approx(0.25 * 0.5 * 100)
    assert far[2] - near[2] == pytest.approx(0.25 * 0.5 * 4)


def test_the_lasting_way_is_the_cheapest_with_and_without_its_wait() -> None:
    """Slow and cheap is taken where it may be ordered ahead, quick and dear after a failure: a day costs 50."""
    slow, quick = (
        way("slow", "pattern", sure(300), lead_days=sure(20)),
        way("quick", "new", sure(500), lead_days=sure(1)),
    )
    made = small(terms=terms(cost_lost_day=sure(50), cost_own_hour=0.0), ways=(slow, quick))
    cash, _, days = of(made, replace(NURSE, then=""))["nurse it"]
    assert cash == pytest.approx(0.75 * 300 + 0.25 * (200 + 500))
    assert days == pytest.approx(0.25 * 1)


def test_a_temporary_repair_costs_its_own_price_and_work_now() -> None:
    patch = way("patch", "temporary", sure(40), lead_days=None, fitting_hours=sure(6), p_fails=0.0, then="new",
                until_days=sure(9))  # fmt: skip
    cash, hours, days = of(small(), patch)["patch"]
    assert (cash, hours, days) == pytest.approx((540, 6, 6 / small().terms.hours_per_day))


def test_where_it_may_not_be_done_it_is_barred_and_says_why() -> None:
    made = small(ways=(*small().ways, replace(NURSE, never=True, not_when="fuel leaks")))
    assert screen(made)["nurse it"] == "not to be done: fuel leaks"


# ---- the spare aboard, doing without --------------------------------------------------------
SPARE = way("spare", "own spare", fitting_hours=sure(6))


def test_a_spare_aboard_is_there_at_once_and_costs_what_replacing_it_costs() -> None:
    assert of(small(), SPARE)["spare"] == pytest.approx([500, 6, 1])  # six hours a day
    assert of(small(), replace(SPARE, price=sure(350)))["spare"] == pytest.approx([350, 6, 1])


def test_a_dead_spare_shows_when_it_is_fitted() -> None:
    # a tenth: its six hours are spent, then the new one in full: 500 and 3 days
    off = days_task("take it off", "removal", 2)
    cash, hours, days = of(small(tasks=(off,)), replace(SPARE, p_dead=0.1, price=sure(350)))["spare"]
    assert (cash, hours) == pytest.approx((0.9 * 350 + 0.1 * 500, 6))
    assert days == pytest.approx(2 + 1 + 0.1 * (3 + 2))  # off again with the dead one


def test_doing_without_costs_its_price_and_the_days() -> None:
    bare = way("without", "without", sure(50), until_days=sure(20))
    assert of(small(), bare)["without"] == pytest.approx([50, 0, 20])
    assert of(small(), replace(bare, until_days=None))["without"] == pytest.approx([50, 0, 0])


# ---- a unit sent away -----------------------------------------------------------------------
SHOP = {"machine shop": Labour("machine shop", sure(80))}
FOUND = (
    branch("shaft", "good", 0.5, "strip"),
    branch("shaft", "grooved", 0.5, "strip", extra_hours=sure(3), outside_cost=sure(100), extra_days=sure(4)),
)


def sent(price: Range, covers: bool | None = None, rows: tuple = FOUND, labour: dict | None = None) -> list[float]:
    made = small(branches=rows, terms=terms(labour=SHOP if labour is None else labour, cost_lost_day=sure(1)))
    return of(made, way("away", "send away", price, lead_days=sure(10), price_covers=covers))["away"]


def test_a_price_given_as_a_range_covers_what_is_found() -> None:
    assert sent(Range(300, 400, 500)) == pytest.approx([400, 0, 10])
    assert sent(sure(400)) == pytest.approx([400 + 0.5 * (100 + 3 * 80), 0, 10 + 0.5 * (4 + 3 / 6)])
    assert sent(Range(300, 400, 500), covers=False)[0] == pytest.approx(400 + 0.5 * (100 + 3 * 80))
    assert sent(sure(400), covers=True) == pytest.approx([400, 0, 10])


def test_a_row_that_names_the_way_comes_on_top_of_a_price_that_covers() -> None:
    named = tuple(replace(b, ways=("send away",)) for b in FOUND)
    assert sent(Range(300, 400, 500), rows=named)[0] == pytest.approx(400 + 0.5 * (100 + 3 * 80))


def test_work_on_a_unit_sent_away_never_falls_on_the_owner() -> None:
    assert sent(sure(400), labour={})[1] == 0.0  # nobody to pay: the price is taken to cover it
    assert sent(sure(400), labour={"specialist": Labour("specialist", sure(100)), **SHOP})[0] == pytest.approx(
        400 + 0.5 * (100 + 3 * 100)
    )


# ---- ways that never come -------------------------------------------------------------------
def test_a_way_that_never_comes_charges_its_own_tasks_done_by_then() -> None:
    crate = replace(task("crate", "removal", cost=sure(40)), ways=("new",))
    later = replace(task("run it in", "first run", cost=sure(70)), ways=("new",))
    lift = task("lift it out", "removal", cost=sure(25))
    used = way("used", "second-hand", sure(300), lead_days=sure(3))
    made = small(tasks=(crate, later, lift), ways=(replace(NEW, p_never=0.2), used))
    cash, _, days = of(made)["new"]
    assert cash == pytest.approx(0.8 * (500 + 40 + 70 + 25) + 0.2 * (40 + 300 + 25))
    assert days == pytest.approx(0.8 * 3 + 0.2 * (30 + 3))


def test_two_that_never_come_are_said_and_not_paid() -> None:
    used = way("used", "second-hand", sure(300), lead_days=sure(3), p_never=0.5)
    made = small(ways=(replace(NEW, p_never=0.1), used))
    cash, _, days = of(made)["new"]
    assert cash == pytest.approx(0.9 * 500 + 0.1 * 0.5 * 300)
    assert days == pytest.approx(0.9 * 3 + 0.1 * (30 + 0.5 * 3 + 0.5 * 30))
    answer = rebuild_or_buy(made, 200)
    assert answer.table["p_nothing"].tolist() == pytest.approx([0.1 * 0.5, 0.5 * 0.1])
    said = [line for panel in parts.rules(answer) for line in panel.lines if "never comes" in line]
    assert "10 in 100 that it never comes; after the wait you take used (5 in 100 that this" in said[0]


def test_parts_belong_to_the_ways_they_name() -> None:
    made = small(branches=(), ways=(way("seals", "rebuild"), way("all of it", "rebuild"), NEW))
    kit, shaft = made.parts[0], replace(made.parts[0], part="shaft", price=sure(250), ways=("all of it",))
    found = of(replace(made, parts=(kit, shaft)))
    assert (found["seals"][0], found["all of it"][0]) == pytest.approx((100, 350))
    turned = of(replace(made, parts=(shaft, kit), ways=made.ways[::-1]))
    assert turned == found
