"""At the bench: what is spent, what was found, when to stop, when to order."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import reference_case as rc
from bench_case import answer, bench_case, sure

from repairecon.records import ORDER_TIMES, STAGES, Case, FindingError, RepaireconError, Task

NO_EXCHANGE = tuple(w for w in rc.ways() if w.way != "exchange")


# ---- what is spent ------------------------------------------------------------------------------
def test_spent_is_shown_apart_and_no_part_of_the_choice() -> None:
    start, there = answer(bench_case()), answer(bench_case(), stage="strip")
    assert (start.bench.spent["cash"], start.bench.spent["own_hours"], start.bench.spent["days"]) == (0, 0, 0)
    assert (there.bench.spent["cash"], there.bench.spent["own_hours"], there.bench.spent["days"]) == (40, 0, 2)
    # Rebuilt to the end whatever comes: 100 and 13 days, half of the time 700 more; cracked: new.
    assert there.table.loc["rebuild", "total_mean"] == pytest.approx(0.6 * (113 + 350) + 0.4 * 503)
    assert there.table.loc["new", "total_mean"] == pytest.approx(503)
    whole = start.table.loc["rebuild", "total_mean"]
    assert whole == pytest.approx(there.table.loc["rebuild", "total_mean"] + 42)


def dearer_strip(made: Case, by: float) -> Case:
    def more(t: Task) -> Task:
        return replace(t, cost=sure(t.cost.high + by)) if t.stage in ("outside", "strip") else t

    return replace(made, tasks=tuple(more(t) for t in made.tasks))


@pytest.mark.parametrize("stage", ["strip", "measure"])
@pytest.mark.parametrize("made", [rc.case(ways=NO_EXCHANGE), bench_case()], ids=["reference", "bench"])
def test_what_was_spent_before_does_not_change_what_is_best(made: Case, stage: str) -> None:
    one, other = answer(made, stage=stage), answer(dearer_strip(made, 3000.0), stage=stage)
    steps = sum(t.stage in ("outside", "strip") for t in made.tasks)
    assert other.bench.spent["cash"] == pytest.approx(one.bench.spent["cash"] + 3000 * steps)
    np.testing.assert_allclose(other.table["total_mean"], one.table["total_mean"], rtol=1e-12)
    assert (other.verdict.best, other.bench.now) == (one.verdict.best, one.bench.now)
    assert other.bench.value == pytest.approx(one.bench.value)
    assert other.bench.repair_limit == pytest.approx(one.bench.repair_limit)
    pd.testing.assert_frame_equal(other.policy, one.policy, rtol=1e-9)


def test_spent_is_shown_when_what_was_found_ends_it() -> None:
    there = answer(bench_case(), stage="strip", found="casing=cracked")
    assert (there.bench.spent["cash"], there.bench.spent["days"]) == (40, 2)


# ---- findings ------------------------------------------------------------------------------------
def test_what_ends_the_rebuild_bars_it_with_a_reason() -> None:
    cracked = answer(bench_case(), stage="strip", found="casing=cracked")
    row = cracked.table.loc["rebuild"]
    assert not row["allowed"]
    assert row["why_not"] == "what was found ends it"
    assert (cracked.verdict.best, cracked.bench.now) == ("new", "new")
    assert cracked.bench.value == pytest.approx(503)
    assert cracked.bench.value_of_stripping is None
    # Told of it before it is stripped, one may still try; nobody does.
    before = answer(bench_case(), found="casing=cracked")
    assert before.table.loc["rebuild", "allowed"]
    assert before.bench.now == "new"
    sound = answer(bench_case(), stage="strip", found="casing=sound")
    assert sound.table["allowed"].all()


def test_a_finding_moves_the_stop_rule() -> None:
    # Stripped and sound: measured for 2 days; good, the kit and 11 days: 111; bent, new at 503.
    plain = answer(bench_case(), stage="strip")
    assert plain.bench.value == pytest.approx(0.6 * (2 + 0.5 * 111 + 0.5 * 503) + 0.4 * 503)
    sound = answer(bench_case(), stage="strip", found="casing=sound")
    assert sound.bench.now == "go on"
    assert sound.bench.value == pytest.approx(2 + 0.5 * 111 + 0.5 * 503)
    said = {(STAGES[s.point], s.findings): s.action for s in sound.stop_when}
    assert said == {("measure", (("shaft", "bent"),)): "new"}
    bent = answer(bench_case(), stage="measure", found={"casing": "sound", "shaft": "bent"})
    assert (bent.bench.now, bent.bench.value) == ("new", pytest.approx(503))


def test_findings_that_may_be_wrong() -> None:
    # Right 8 times in 10 that it is cracked: 0.32 of 0.44.
    made = answer(bench_case(), found="casing=cracked (0.8)")
    assert made.table.loc["rebuild", "p_given_up"] == pytest.approx(0.32 / 0.44)
    assert made.found[0].p_right == 0.8
    both = "casing=cracked (0.8); shaft=bent (0.7)"
    turned = "shaft=bent (0.7); casing=cracked (0.8)"
    np.testing.assert_allclose(
        answer(bench_case(), found=both).table["total_mean"], answer(bench_case(), found=turned).table["total_mean"]
    )


@pytest.mark.parametrize("found", ["casing=cracked (0)", "casing=cracked (1.5)", "casing=cracked (0.5.5)"])
def test_a_chance_of_being_right_that_is_none_is_said(found: str) -> None:
    with pytest.raises(RepaireconError, match=r"chance of being right|right 8 times in 10"):
        answer(bench_case(), found=found)


def test_findings_that_contradict_each_other_are_said() -> None:
    with pytest.raises(RepaireconError, match="both"):
        answer(bench_case(), found="casing=cracked; casing=sound")
    sure_end = bench_case(branches=tuple(replace(b, chance=float(b.ends_rebuild)) if b.event == "casing" else b
                                         for b in bench_case().branches))  # fmt: skip
    with pytest.raises(FindingError, match="cannot all be true"):
        answer(sure_end, found="casing=sound")


@pytest.mark.parametrize("stage", ["stripped", "Strip", "now"])
def test_a_stage_that_is_none_is_said(stage: str) -> None:
    with pytest.raises(RepaireconError, match=r"stage: found .*strip, measure"):
        answer(bench_case(), stage=stage)


# ---- the bench figures -----------------------------------------------------------------------------
def test_figures_by_hand() -> None:
    b = answer(bench_case()).bench
    # 42 to strip; cracked, new at 503; sound, 2 days to measure, then 111 or new.
    rule = 42 + 0.4 * 503 + 0.6 * (2 + 0.5 * 111 + 0.5 * 503)
    assert b.value == pytest.approx(rule)
    assert b.now == "go on"
    assert (b.best_commit, b.cost_commit) == ("new", pytest.approx(503))
    assert b.value_of_stripping == pytest.approx(503 - rule)
    assert b.wrong_commitment["new"] == pytest.approx(503 - rule)
    assert b.wrong_commitment["rebuild"] == pytest.approx(42 + 0.6 * (113 + 350) + 0.4 * 503 - rule)
    assert (b.repair_limit, b.limit_way) == (pytest.approx(503), "new")


@pytest.mark.parametrize("stage", ["", "removal", "strip", "measure"])
@pytest.mark.parametrize("hour", [0.0, 60.0])
def test_the_repair_limit_is_the_cheapest_buy_from_here(stage: str, hour: float) -> None:
    made = answer(rc.case(), stage=stage, cost_own_hour=hour)
    bought = made.table.loc[[w.way for w in made.case.ways if w.traits.buys and not w.traits.rebuilds]]
    assert made.bench.repair_limit == pytest.approx(bought["total_mean"].min())
    assert made.bench.limit_way == bought["total_mean"].idxmin()
    assert made.bench.repair_limit_cash == pytest.approx(bought["total_own_time_free_mean"].min())


def test_the_repair_limit_leaves_out_what_the_screen_bars() -> None:
    made = answer(rc.case(unit=replace(rc.case().unit, safety=("flooding",))))
    assert made.bench.limit_way in ("exchange", "new")
    assert {"rebuild here", "second-hand"}.isdisjoint(set(made.policy["choice"]) | set(made.policy["limit_way"]))
    assert made.bench.value_of_stripping is None


def test_chances_of_the_stages() -> None:
    made = answer(bench_case())
    table = made.stages.set_index("stage")
    assert table.loc["now", "p_reached"] == 1.0
    assert table.loc["after strip", "p_stop"] == pytest.approx(0.4)
    assert table.loc["after measure", "p_reached"] == pytest.approx(0.6)
    assert table.loc["after measure", "p_stop"] == pytest.approx(0.3)
    assert table.loc["after later", "p_reached"] == pytest.approx(0.3)
    assert table.loc["now", "cost_still_to_come"] == pytest.approx(made.bench.value)
    stops = made.leaves.set_index(made.leaves["outcomes"].map(lambda o: (o["casing"], o["shaft"])))["stop"]
    assert stops.to_dict() == {
        ("sound", "good"): "", ("sound", "bent"): "new", ("cracked", "good"): "new", ("cracked", "bent"): "new"
    }  # fmt: skip


@pytest.mark.parametrize(
    "ways", [(rc.way("rebuild", "rebuild"),), (rc.way("rebuild", "rebuild"), rc.way("used", "second-hand", sure(9)))]
)
def test_a_case_whose_only_open_way_is_a_rebuild(ways: tuple) -> None:  # type: ignore[type-arg]
    unit = replace(rc.case().unit, safety=("fuel",))
    waived = replace(bench_case(ways=ways, branches=()), unit=unit, waivers={"rebuild": "done by a licensed fitter"})
    assert answer(waived).bench.value == pytest.approx(100 + 40 + 15)


def test_stripping_first_where_another_unit_may_be_to_blame() -> None:
    rows = (
        rc.branch("this unit", "to blame", 0.5, ways=("all",)),
        rc.branch("this unit", "is not", 0.5, ways=("all",), not_this_unit=True),
    )
    made = answer(bench_case(branches=rows))
    assert made.bench.now == "leave it: look elsewhere"
    # Rebuilt after all, 155, is the best of the ways; stripped first it is no different.
    assert made.bench.value_of_stripping == pytest.approx(0.0)


# ---- when to order -----------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("made", "stage"),
    [(rc.case(ways=NO_EXCHANGE), ""), (bench_case(), ""), (bench_case(), "strip")],
    ids=["reference", "bench", "bench, stripped"],
)
def test_each_row_of_the_order_times_is_the_rule_of_that_order(made: Case, stage: str) -> None:
    said = {o: answer(replace(made, terms=replace(made.terms, order_parts=o)), stage=stage) for o in ORDER_TIMES}
    still_open = [o for o in ORDER_TIMES if not stage or o in ("after strip", "after measure")]
    for order, one in said.items():
        table = one.order_times.set_index("order")
        assert list(table.index) == still_open
        assert table.index[table["as_in_case"]].tolist() == [order] * (order in still_open)
        for other in still_open:
            assert table.loc[other, "expected_total"] == pytest.approx(said[other].bench.value)


def test_ordering_by_hand() -> None:
    """Days and parts in vain: new at once is 503; the bench lasts 4 days, the kit's wait 10."""
    cheap = tuple(b for b in bench_case().branches if b.event == "casing")
    table = answer(bench_case(branches=cheap)).order_times.set_index("order")
    # Sound 0.6: 1 day to assemble after the wait, and the bench before or inside it. Cracked: 2 days and new.
    days = {"now": 11, "after removal": 11, "after strip": 13, "after measure": 15}
    for order, sound in days.items():
        early = order in ("now", "after removal")
        assert table.loc[order, "p_in_vain"] == pytest.approx(0.4 if early else 0.0), order
        assert table.loc[order, "expected_days"] == pytest.approx(0.6 * sound + 0.4 * 5), order
        vain = 0.4 * 100 if early else 0.0
        assert table.loc[order, "expected_total"] == pytest.approx(0.6 * (140 + sound) + 0.4 * (40 + 2 + 503) + vain), (
            order
        )


def test_expected_days_of_a_stop_late_on() -> None:
    row = answer(bench_case()).order_times.set_index("order").loc["after measure"]
    # Cracked: 2 + 3; bent: 2 + 2 + 3; good: 2 + 2 + 10 + 1.
    assert row["expected_days"] == pytest.approx(0.4 * 5 + 0.3 * 7 + 0.3 * 15)
