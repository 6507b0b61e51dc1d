"""A date by which she must be back: the chance of it and what missing it adds, by hand and against plain draws."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from reference_case import branch, case, terms, way
from scipy import stats
from small_case import days_task, small, sure

from repairecon import rebuild_or_buy
from repairecon.records import Needed, OrderWishes, Range

NEW = way("new", "new", sure(500), lead_days=sure(3))


def test_sure_days_are_counted_leaf_by_leaf() -> None:
    """The rebuild takes 15 days, 5 where the casing is cracked (0.4) and a new one is fitted; ten are left."""
    needed = Needed(within_days=10.0, cost_missed=sure(100), cost_day_after=sure(20))
    table = rebuild_or_buy(replace(small(), needed=needed), 100).table
    bare = rebuild_or_buy(small(), 100).table
    assert table["back_by"].tolist() == pytest.approx([0.4, 1.0])
    assert table["back_by_se"].tolist() == [0.0, 0.0]
    assert table["cost_late_mean"].tolist() == pytest.approx([0.6 * (100 + 5 * 20), 0.0])
    assert (table["total_mean"] - bare["total_mean"]).tolist() == pytest.approx([120.0, 0.0])


def test_back_on_the_day_itself_is_back_in_time() -> None:
    assert rebuild_or_buy(replace(small(), needed=Needed(within_days=15.0)), 100).table["back_by"]["rebuild"] == 1.0


def test_a_date_is_counted_from_today() -> None:
    needed, wishes = Needed(by="2026-07-11"), OrderWishes(today="2026-07-01")
    table = rebuild_or_buy(replace(small(), needed=needed, wishes=wishes), 100).table
    assert table["back_by"]["rebuild"] == pytest.approx(0.4)


def test_a_chance_of_never_coming_is_counted_too() -> None:
    """Three days, or a fifth of the time thirty in vain and nothing: by hand."""
    made = small(ways=(replace(NEW, p_never=0.2),), branches=())
    table = rebuild_or_buy(replace(made, needed=Needed(within_days=10.0, cost_missed=sure(50))), 100).table
    assert table["back_by"]["new"] == pytest.approx(0.8)
    assert table["cost_late_mean"]["new"] == pytest.approx(0.2 * 50)


def test_unsure_days_are_drawn_with_their_error() -> None:
    """A wait that is uniform on 0 to 20: back within 12 in 0.6; a day after costs 10: 10 x 8^2 / 40 on average."""
    made = small(ways=(replace(NEW, lead_days=Range(0, 10, 20, "uniform")),), branches=())
    needed = Needed(within_days=12.0, cost_day_after=sure(10))
    table = rebuild_or_buy(replace(made, needed=needed), 8192).table.loc["new"]
    assert 0.0 < table["back_by_se"] < 0.01
    assert table["back_by"] == pytest.approx(stats.uniform(0, 20).cdf(12), abs=4 * table["back_by_se"] + 1e-3)
    assert table["cost_late_mean"] == pytest.approx(10 * 8**2 / 40, abs=0.2)


def test_the_date_decides_where_money_does_not() -> None:
    """A rebuild at 100 in 15 days against a new one at 500 in 3: missing the date costs 1,000."""
    made = small(branches=(), terms=terms(cost_lost_day=sure(0), cost_own_hour=0.0))
    assert rebuild_or_buy(made, 100).verdict.best == "rebuild"
    needed = Needed(within_days=7.0, cost_missed=sure(1000))
    answer = rebuild_or_buy(replace(made, needed=needed), 100)
    assert answer.verdict.best == "new" == answer.advice.way
    assert answer.advice.back_by == 1.0
    assert answer.bench.best_commit == "new"


def test_no_date_changes_nothing() -> None:
    table = rebuild_or_buy(case(), 100).table
    assert "back_by" not in table
    assert np.isfinite(table["total_mean"]).all()


def test_work_outside_is_spent_where_the_rebuild_ends_there_and_where_it_is_done() -> None:
    """A day outside, for any way; cracked (0.4) shows there: new in 3 days, else 10, 2, 2 and 1 for the rebuild."""
    tasks = (days_task("look", "outside", 1), *small().tasks)
    seen = (branch("casing", "sound", 0.6, "outside"), branch("casing", "cracked", 0.4, "outside", ends_rebuild=True))
    made = small(tasks=tasks, branches=seen)
    days = rebuild_or_buy(made, 100).table["days_mean"]
    assert days.to_list() == pytest.approx([1 + 0.6 * 15 + 0.4 * 3, 1 + 3.0])
    done = rebuild_or_buy(made, 100, stage="outside").table["days_mean"]
    assert done.to_list() == pytest.approx([0.6 * 15 + 0.4 * 3, 3.0])
