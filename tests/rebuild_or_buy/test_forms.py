"""Pieces of work added up by hand: a kit of 100 and 10 days, a new unit of 500 and 3 days."""

from __future__ import annotations

from dataclasses import replace

import pytest
from numpy.testing import assert_allclose
from reference_case import branch, quotes, supplier, task, terms, way
from small_case import by_outcome, days_task, expected, part, small, sure

from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.tree import grow
from repairecon.records import Range


def test_ends_on_the_bench_before_parts_are_ordered() -> None:
    answer = by_outcome(small(), "rebuild", "casing")
    assert_allclose(answer["sound"], [100, 0, 2 + 2 + 10 + 1])
    assert_allclose(answer["cracked"], [500, 0, 2 + 3])  # no kit was bought, measure not done


def test_parts_ordered_early_are_spent_when_the_rebuild_ends() -> None:
    answer = by_outcome(small("after removal"), "rebuild", "casing")
    assert answer["sound"][0] == 100
    assert answer["cracked"][0] == 100 + 500


def test_bench_work_runs_inside_the_wait() -> None:
    # Wait of 10 days, of bench work 4 after the order; then one day of reassembly.
    for when, days in (
        ("now", 10 + 1),
        ("after removal", 10 + 1),
        ("after strip", 2 + 10 + 1),
        ("after measure", 15),
    ):
        assert by_outcome(small(when), "rebuild", "casing")["sound"][2] == pytest.approx(days), when
    slow = small("now", parts=(part("kit", 100, sure(3)),))
    assert by_outcome(slow, "rebuild", "casing")["sound"][2] == pytest.approx(4 + 1)  # the bench lasts longer


def test_wait_with_a_floor_is_a_closed_form() -> None:
    # E max(U, c) for U uniform on 0..b is c + (b - c)^2 / 2 b: b = 10, c = 4 days of bench work.
    uncertain = small("now", parts=(part("kit", 100, Range(0, 5, 10, "uniform")),))
    days = by_outcome(uncertain, "rebuild", "casing")["sound"][2]
    assert days == pytest.approx(4 + 6**2 / 20 + 1, rel=1e-9)


def test_longest_of_two_waits_is_a_closed_form() -> None:
    # E max of two uniforms on 0..9 is 2/3 of 9.
    two = tuple(part(f"p{k}", 1, Range(0, 4, 9, "uniform")) for k in range(2))
    days = by_outcome(small(parts=two), "rebuild", "casing")["sound"][2]
    assert days == pytest.approx(5 + 6, rel=1e-9)


@pytest.mark.parametrize(("seen_at", "cost"), [("first run", 500), ("strip", 0.5 * 300 + 0.5 * 500)])
def test_the_buy_after_the_end_is_chosen_on_what_is_seen_by_then(seen_at: str, cost: float) -> None:
    used = way("used", "second-hand", sure(300), lead_days=sure(3))
    rows = (
        branch("casing", "cracked", 1.0, "strip", ends_rebuild=True),
        branch("used one", "good", 0.5, seen_at, ways=("second-hand",)),
        branch("used one", "worn", 0.5, seen_at, ways=("second-hand",), outside_cost=sure(500)),
    )
    # Unseen, the used one comes to 550 on average and new at 500 is taken; seen, the better of the two.
    answer = expected(small(branches=rows, ways=(*small().ways, used)))
    assert answer["rebuild"][0] == pytest.approx(cost)


def test_outcome_of_the_stage_that_ends_the_rebuild() -> None:
    rows = (
        branch("casing", "cracked", 1.0, "strip", ends_rebuild=True, outside_cost=sure(7), extra_days=sure(4),
               parts=(("kit", 5),)),
        branch("bolts", "shear", 1.0, "removal", outside_cost=sure(30)),
        branch("shaft", "grooved", 1.0, "strip", outside_cost=sure(1000), parts=(("kit", 9),)),
    )  # fmt: skip
    answer = expected(small("now", branches=rows))
    # The kit ordered before; bolts came earlier; of the strip only the outcome that ends it counts.
    assert answer["rebuild"][0] == pytest.approx(100 + 30 + 7 + 500)


def test_damage_parts_join_the_order_or_make_a_further_one() -> None:
    shop = supplier("shop", carriage=sure(9), lead_days=sure(5), cost_handling=2.0)
    bare = part("seal", 0, None)
    made = small(
        parts=(replace(bare, price=None), replace(bare, part="shaft", price=None, needed="damage")),
        suppliers=(shop,),
        quotes=(
            replace(quotes()[0], item="seal", supplier="shop", quoted=sure(10)),
            replace(quotes()[0], item="shaft", supplier="shop", quoted=sure(40), pack=2),
        ),
        branches=(branch("shaft", "worn", 1.0, "strip", parts=(("shaft", 3),)),),
    )
    # 10 + two packs of 40, and carriage 9 with handling 2 once or twice; waits 5 or 5 + 5.
    together = expected(made)["rebuild"]
    assert_allclose(together, [10 + 80 + 11, 0, 5 + 5])
    apart = expected(replace(made, terms=replace(made.terms, order_parts="now")))["rebuild"]
    assert_allclose(apart, [10 + 80 + 22, 0, 5 + 5 + 1])  # bench work of 4 inside the first wait
    late = replace(made, branches=(branch("shaft", "worn", 1.0, "first run", parts=(("shaft", 3),)),))
    assert_allclose(expected(late)["rebuild"], [10 + 80 + 22, 0, 5 + 5 + 5])


def test_hours_of_others_are_cash_and_all_hours_are_days() -> None:
    made = small(
        tasks=(task("own", "strip", hours=sure(3)), task("theirs", "strip", "yard", hours=sure(1.5))),
        terms=terms(labour={"yard": replace(terms().labour["yard"], cost_hour=sure(60))}, hours_per_day=6.0),
        parts=(),
        branches=(),
    )
    assert_allclose(expected(made)["rebuild"], [90, 3, 4.5 / 6])


@pytest.mark.parametrize(("stripped_is_taken", "refund"), [(True, 0.9 * 120), (False, 0.0)])
def test_core_after_the_strip(stripped_is_taken: bool, refund: float) -> None:
    swap = way("swap", "exchange", sure(300), core_surcharge=sure(120), core_carriage=sure(20), p_refund=0.9,
               lead_days=sure(3), core_if_stripped=stripped_is_taken)  # fmt: skip
    answer = by_outcome(small(ways=(way("rebuild", "rebuild"), swap)), "rebuild", "casing")
    carriage = 20 if stripped_is_taken else 0
    assert answer["cracked"][0] == pytest.approx(300 + 120 + carriage - refund)
    whole = by_outcome(small(ways=(way("rebuild", "rebuild"), swap)), "swap", "casing")
    assert whole["cracked"][0] == pytest.approx(300 + 120 + 20 - 0.9 * 120)


def test_way_that_never_comes() -> None:
    ways = (
        way("used", "second-hand", sure(100), p_never=0.25, lead_days=sure(6)),
        way("pattern", "pattern", sure(300), p_never=0.5, lead_days=sure(2)),
        way("new", "new", sure(500), lead_days=sure(3)),
    )
    answer = expected(small(ways=ways, branches=()))
    pattern = 0.5 * 300 + 0.5 * (0.75 * 100 + 0.25 * 500)
    # pattern -> used (cheapest not yet tried) -> new; used -> pattern -> new.
    assert answer["pattern"][0] == pytest.approx(pattern)
    assert answer["pattern"][2] == pytest.approx(0.5 * 2 + 0.5 * (30 + 0.75 * 6 + 0.25 * (30 + 3)))
    assert answer["used"][0] == pytest.approx(0.75 * 100 + 0.25 * (0.5 * 300 + 0.5 * 500))
    named = (replace(ways[0], instead="new"), *ways[1:])
    assert expected(small(ways=named, branches=()))["used"][0] == pytest.approx(75 + 0.25 * 500)
    alone = expected(small(ways=ways[:1], branches=()))["used"]
    assert_allclose(alone, [75, 0, 0.75 * 6 + 0.25 * 30])  # nothing else: it is not paid for


def test_pairs() -> None:
    ways = (
        way("new", "new", sure(500), lead_days=sure(3), fitting_hours=sure(6)),
        way("buy and rebuild", "buy and rebuild", bought="new"),
        way("rebuild and spare", "rebuild and spare", bought="new"),
    )
    tasks = (*small().tasks, task("fit", "first run", hours=sure(12)))
    made = small(ways=ways, tasks=tasks)
    both = by_outcome(made, "buy and rebuild", "casing")
    assert_allclose(both["sound"], [600, 18, 3 + 18 / 6])  # bench at leisure: days of the buy alone
    assert_allclose(both["cracked"], [500, 18, 6])
    spare = by_outcome(made, "rebuild and spare", "casing")
    assert_allclose(spare["sound"], [600, 12, 15 + 2])
    assert_allclose(spare["cracked"], [500, 18, 2 + 3 + 3])


def test_send_away() -> None:
    away = way("away", "send away", sure(250), lead_days=sure(14), strip_charge=sure(80), core_carriage=sure(20))
    tasks = (
        task("take off", "removal", hours=sure(3)),
        days_task("strip", "strip", 2),
        task("fit", "first run", hours=sure(6)),
    )
    made = small(ways=(away, way("new", "new", sure(500), lead_days=sure(3))), parts=(), tasks=tasks)
    answer = by_outcome(made, "away", "casing")
    assert_allclose(answer["sound"], [270, 9, 14 + 9 / 6])
    assert_allclose(answer["cracked"], [80 + 20 + 500, 9, 14 + 3 + 9 / 6])


def test_a_given_up_rebuild_does_not_wait_for_its_parts() -> None:
    # Found cracked on the first bench days: no owner waits out the ten days of a kit he has no use for.
    assert by_outcome(small("after removal"), "rebuild", "casing")["cracked"][2] == pytest.approx(2 + 3)


def test_bench_work_takes_its_days_when_no_wait_is_known() -> None:
    made = small("now", parts=(part("kit", 100, None),))
    assert by_outcome(made, "rebuild", "casing")["sound"][2] == pytest.approx(2 + 2 + 1)


def test_a_unit_sent_away_that_never_comes_back_is_replaced_once() -> None:
    away = way("away", "send away", sure(250), lead_days=sure(14), p_never=1.0)
    made = small(ways=(away, way("new", "new", sure(500), lead_days=sure(3))), tasks=())
    assert_allclose(by_outcome(made, "away", "casing")["cracked"], [500, 0, 30 + 3])


def test_a_task_named_like_a_ways_fitting_keeps_its_own_hours() -> None:
    made = small(
        ways=(way("new", "new", sure(500), lead_days=sure(3), fitting_hours=sure(6)),),
        tasks=(task("fitting new", "first run", hours=sure(2)),),
    )
    assert expected(made)["new"][1] == pytest.approx(2 + 6)


def test_a_supplier_named_like_a_part_keeps_its_own_days() -> None:
    named = supplier("pump", lead_days=sure(4), carriage=sure(0))
    made = small(
        parts=(part("pump", 5, sure(20)), replace(part("seal", 5, None), price=None)),
        suppliers=(named,),
        quotes=(replace(quotes()[0], item="seal", supplier="pump", quoted=sure(1)),),
        branches=(),
    )
    assert expected(made)["rebuild"][2] == pytest.approx(5 + 20)
    turned = replace(made, parts=made.parts[::-1])
    assert expected(turned)["rebuild"][2] == pytest.approx(5 + 20)


def test_what_goes_wrong_with_a_bought_unit_is_no_part_of_a_rebuild_with_a_spare() -> None:
    rows = (branch("on arrival", "dead", 1.0, "first run", ways=("buys",), outside_cost=sure(40), extra_days=sure(9)),)
    ways = (
        way("rebuild", "rebuild"),
        way("new", "new", sure(500), lead_days=sure(3)),
        way("spare", "rebuild and spare", bought="new"),
    )
    answer = expected(small(ways=ways, branches=rows))
    assert_allclose(answer["spare"], answer["rebuild"] + [500, 0, 0])


def test_an_outcome_of_every_way_is_paid_once() -> None:
    rows = (
        branch("bolts", "shear", 1.0, "removal", ways=("all",), outside_cost=sure(40)),
        branch("casing", "cracked", 1.0, "strip", ends_rebuild=True),
    )
    ways = (
        way("rebuild", "rebuild"),
        way("new", "new", sure(500), lead_days=sure(3)),
        way("pair", "buy and rebuild", bought="new"),
    )
    answer = expected(small(ways=ways, branches=rows))
    assert answer["new"][0] == pytest.approx(540)
    assert answer["rebuild"][0] == pytest.approx(540)
    assert answer["pair"][0] == pytest.approx(540)


def test_an_outcome_of_every_way_seen_at_the_end_is_left_to_the_buy() -> None:
    rows = (
        branch("bolts", "shear", 1.0, "strip", ways=("all",), outside_cost=sure(40)),
        branch("casing", "cracked", 1.0, "strip", ends_rebuild=True, ways=("all",), outside_cost=sure(7)),
    )
    assert expected(small(branches=rows))["rebuild"][0] == pytest.approx(500 + 40 + 7)


def test_what_the_screen_bars_is_not_bought_instead() -> None:
    ways = (
        way("new", "new", sure(500), p_never=0.5, lead_days=sure(3)),
        way("used", "second-hand", sure(100)),
    )
    made = small(ways=ways, branches=())
    assert_allclose(expected(made, used=False)["new"], [250, 0, 0.5 * 3 + 0.5 * 30])
    named = replace(made, ways=(replace(ways[0], instead="used"), ways[1]))
    assert expected(named, used=False)["new"][0] == pytest.approx(300)  # unless the case itself says so


def test_rebuilding_at_leisure_is_bench_work_only() -> None:
    made = small(
        ways=(way("new", "new", sure(500), lead_days=sure(3)), way("pair", "buy and rebuild", bought="new")),
        tasks=(task("assemble", "reassembly", hours=sure(3)), task("check again", "later", hours=sure(5))),
        branches=(),
    )
    assert expected(made)["pair"][1] == pytest.approx(3)


def test_a_unit_bought_after_a_failed_first_run_is_fitted() -> None:
    made = small(
        tasks=(task("take off", "removal", hours=sure(2)), task("fit", "first run", hours=sure(6))),
        branches=(branch("first run", "fails", 1.0, "first run", ends_rebuild=True),),
    )
    # Off and on for the rebuild, then off and on again for the new one.
    assert expected(made)["rebuild"][1] == pytest.approx(2 * (2 + 6))


def test_what_is_done_instead_after_the_strip_knows_the_core_is_lost() -> None:
    ways = (
        way("rebuild", "rebuild"),
        way("used", "second-hand", sure(50), p_never=0.5, lead_days=sure(3)),
        way("swap", "exchange", sure(450), core_surcharge=sure(120), lead_days=sure(3)),
        way("new", "new", sure(500), lead_days=sure(3)),
    )
    answer = by_outcome(small(ways=ways, tasks=()), "rebuild", "casing")
    # The exchange costs 450 with its refund, 570 once the unit is stripped: then new at 500 is the cheaper.
    assert answer["cracked"][0] == pytest.approx(0.5 * 50 + 0.5 * 500)


def test_what_is_done_instead_follows_the_worth_of_an_hour_asked_for() -> None:
    ways = (
        way("used", "second-hand", sure(50), p_never=1.0, lead_days=sure(3)),
        way("much work", "pattern", sure(300), fitting_hours=sure(10), lead_days=sure(3)),
        way("new", "new", sure(500), lead_days=sure(3)),
    )
    made = small(ways=ways, branches=(), tasks=())
    for hour, price in ((0.0, 300), (100.0, 500)):
        assert Model(made, grow(made), {}, own_hour=hour).expected()[0, 0] == pytest.approx(price)
