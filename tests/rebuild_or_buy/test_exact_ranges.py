"""Exact ranges of money through the job: no noise, near the sampled ones, and refused with a reason."""

from __future__ import annotations

import numpy as np
import pytest
import reference_case as rc

from repairecon.rebuild_or_buy import exact_ranges
from repairecon.rebuild_or_buy.exact import exact_distribution
from repairecon.rebuild_or_buy.exact_rows import REFUSAL
from repairecon.rebuild_or_buy.job import rebuild_or_buy
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.summary import summary
from repairecon.records import RepaireconError

ENDS = [f"{q}_p{p}" for q in ("cash", "total") for p in (10, 50, 90)]


def test_exact_ranges_do_not_know_the_seed_and_lie_near_the_sampled_ones():
    one, two = (rebuild_or_buy(rc.case(), 1_000, seed, exact=True) for seed in (1, 2))
    assert set(one.exact_ranges.values()) == {""}
    np.testing.assert_array_equal(one.table[ENDS], two.table[ENDS])
    assert (one.table[["total_p90_se", "cash_p90_se"]] == 0).all(axis=None)
    sampled = rebuild_or_buy(rc.case(), 60_000, 3)
    for q in ("cash", "total"):
        for w, way in enumerate(sampled.table.index):
            tally = sampled.outcomes.tallies[w][("cash", "own_hours", "days", "total").index(q)]
            for p in (10, 50, 90):
                # Four standard errors of the sampled value, and what 2e-4 of chance is worth there.
                slack = 4 * tally.quantile_se(p / 100) + np.ptp(
                    tally.quantile(np.array([p / 100 - 2e-4, p / 100 + 2e-4]))
                )
                assert one.table.loc[way, f"{q}_p{p}"] == pytest.approx(tally.quantile(p / 100), abs=slack)


def test_exact_curves_are_chances_that_rise():
    curves = rebuild_or_buy(rc.case(), 500, exact=True).curves
    assert (curves.diff().iloc[1:] >= -1e-9).all(axis=None)
    assert curves.min(axis=None) >= -1e-9
    assert curves.max(axis=None) <= 1 + 1e-9


def test_a_refused_way_keeps_its_sampled_range_and_says_why(monkeypatch: pytest.MonkeyPatch):
    """Whatever the engine cannot give: here it is made to refuse the first way."""

    def sulking(model: Model, i: int, quantity: str) -> tuple[float, float, np.ndarray]:
        if i == 0 and quantity == "total":
            raise RepaireconError(f"{REFUSAL}three or more orders wait for the same suppliers: one, two")
        return exact_distribution(model, i, quantity)

    monkeypatch.setattr(exact_ranges, "exact_distribution", sulking)
    answer = rebuild_or_buy(rc.case(), 2_000, 1, exact=True)
    refused = {way for way, why in answer.exact_ranges.items() if why}
    assert refused == {answer.table.index[0]}
    assert (answer.table.loc[sorted(refused), "total_p90_se"] > 0).all()
    said = " ".join(summary(answer).split())
    assert all(f"{way} (" in said.partition("Ranges of money are exact")[2] for way in refused)
