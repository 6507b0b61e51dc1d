"""The years after the job through the whole reckoning: what it says, overrides, demos, a pair added."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from lived_case import lived

import repairecon
from repairecon.rebuild_or_buy.answer import Answer
from repairecon.rebuild_or_buy.command import as_json
from repairecon.rebuild_or_buy.job import rebuild_or_buy
from repairecon.rebuild_or_buy.years import Ledger, over_the_years
from repairecon.records import RepaireconError

DATA = Path(__file__).parents[2] / "data"
PAIR = "buy new, rebuild the old"
DRAWS = 500


def as_read(answer: Answer) -> dict:
    """The JSON as a strict reader has it."""

    def refuse(name: str) -> float:
        raise AssertionError(f"{name} is no JSON")

    return json.loads(json.dumps(as_json(answer)), parse_constant=refuse)


@pytest.fixture(scope="module")
def answer() -> Answer:
    return rebuild_or_buy(lived(), draws=DRAWS, seed=2)


@pytest.fixture(scope="module")
def seen(answer: Answer) -> dict:
    return as_read(answer)


def test_json_has_a_horizon_for_each_way(answer, seen):
    assert seen["horizon_years"] == 12.0
    assert [row["way"] for row in seen["horizon"]] == list(answer.table.index)
    for row in seen["horizon"]:
        assert row["present_cost"] == answer.horizon.ways.loc[row["way"], "present_cost"]
        assert row["present_cost"] > row["cost_now"] > 0 or row["with_spare"]
        assert 0 < row["p_failure_away"] < 1
        assert 0 < row["failures_expected"] < 12
        assert row["annual_cost"] > 0
    costs = {row["way"]: row["present_cost"] for row in seen["horizon"]}
    assert seen["best_over_the_years"] == min(costs, key=costs.__getitem__)


def test_json_has_the_worth_of_a_spare(seen):
    spare = seen["spare"]
    by_name = {c["combination"]: c for c in spare["by_combination"]}
    assert list(by_name) == ["no spare", "kit alone", PAIR]
    best = by_name[spare["best"]]
    assert (spare["worth"], spare["net"]) == (best["worth"], best["net"])
    assert best["net"] == max(c["net"] for c in by_name.values())
    present = {row["way"]: row["present_cost"] for row in seen["horizon"]}
    assert by_name[PAIR]["present_cost"] == pytest.approx(present[PAIR])


def test_annual_cost_is_paid_back_with_interest(seen):
    """Paid at each year's end for 12 years, discounted at 1.05 / 1.02 - 1, it is worth the present cost."""
    real = 1.05 / 1.02
    worth = sum(real**-year for year in range(1, 13))
    for row in seen["horizon"]:
        assert row["annual_cost"] * worth == pytest.approx(row["present_cost"], rel=1e-9)


def test_cost_now_is_the_total_of_the_table(answer):
    np.testing.assert_array_equal(answer.horizon.ways["cost_now"], answer.table["total_mean"])


def test_horizon_0_is_the_answer_of_this_job(answer):
    none = rebuild_or_buy(lived(), draws=DRAWS, seed=2, horizon_years=0)
    pd.testing.assert_frame_equal(none.table, answer.table)
    np.testing.assert_array_equal(none.horizon.ways["present_cost"], none.table["total_mean"])
    assert none.basis.over_years.way == none.verdict.best
    said = as_read(none)
    assert {row["annual_cost"] for row in said["horizon"]} == {None}
    assert {row["failures_expected"] for row in said["horizon"]} == {0.0}
    assert said["spare"] == {"best": "", "worth": 0.0, "net": 0.0, "by_combination": []}


def test_horizon_is_overridden(answer):
    other = rebuild_or_buy(lived(), draws=DRAWS, seed=2, horizon_years=5.5)
    assert other.model is not None
    written = Ledger(other.model, lived(horizon_years=5.5).years, other.table["total_mean"].to_numpy())
    assert over_the_years(written)["present_cost"].to_list() == other.horizon.ways["present_cost"].to_list()
    assert other.horizon.years.horizon_years == 5.5
    assert (other.horizon.ways["failures_expected"] < answer.horizon.ways["failures_expected"]).all()
    assert other.case.years.horizon_years == 12.0
    assert other.horizon.fan["year"].max() == 5.5


@pytest.mark.parametrize("years", [-1.0, 60.5, math.nan, math.inf, -math.inf])
def test_a_horizon_that_cannot_be_is_refused(years):
    with pytest.raises(RepaireconError, match="horizon_years"):
        rebuild_or_buy(lived(), draws=DRAWS, horizon_years=years)


@pytest.mark.parametrize("demo", ["windlass", "alternator"])
def test_demos_look_ahead(demo):
    answer = rebuild_or_buy(repairecon.read_case(DATA / demo), draws=DRAWS, seed=1)
    ways = answer.horizon.ways
    assert answer.horizon.years.horizon_years > 0
    always = ["cost_failure", "present_cost", "annual_cost", "failures_expected", "p_failure_away", "median_life"]
    assert np.isfinite(ways[always].to_numpy(float)).all()
    assert (ways["failures_expected"] > 0).all()
    assert ways["p_failure_away"].between(0, 1).all()
    assert ways.loc[answer.basis.over_years.way, "present_cost"] == ways["present_cost"].min()
    assert np.isfinite(answer.horizon.fan.select_dtypes("number").to_numpy()).all()


def test_a_pair_added_leaves_the_others_as_they_are(answer):
    case = lived()
    fewer = rebuild_or_buy(replace(case, ways=case.ways[:-1]), draws=DRAWS, seed=2)
    names = list(fewer.horizon.ways.index)
    assert names == list(answer.horizon.ways.index[:-1])
    columns = ["cost_now", "cost_failure", "present_cost", "annual_cost", "failures_expected", "p_failure_away"]
    pd.testing.assert_frame_equal(fewer.horizon.ways[columns], answer.horizon.ways.loc[names, columns])
    assert [c.combination for c in fewer.horizon.spares] == ["no spare", "kit alone"]


def test_work_done_does_not_make_the_next_failure_cheaper(answer):
    """Stripped already: this job costs less from here, a later one as much as ever."""
    begun = rebuild_or_buy(lived(), draws=DRAWS, seed=2, stage="strip")
    later = [a.horizon.ways["cost_failure"].drop(PAIR) for a in (begun, answer)]
    np.testing.assert_allclose(*later)
    assert begun.horizon.ways.loc["rebuild here", "cost_now"] < answer.horizon.ways.loc["rebuild here", "cost_now"]


def test_units_that_are_all_dead_on_arrival_are_refused_in_words(tmp_path):
    (tmp_path / "case.toml").write_text(
        '[unit]\nname = "pump"\n[three_numbers]\nprice_new = 500\nprice_kit = 100\nwait_days = 5\n'
        "[years]\nhorizon_years = 5\n"
    )
    (tmp_path / "ways.csv").write_text("way,kind,p_early\nhere,rebuild,1\nnew,new,\n")
    with pytest.raises(RepaireconError):
        rebuild_or_buy(repairecon.read_case(tmp_path), draws=DRAWS)
