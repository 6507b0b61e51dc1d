"""Chance of being the cheapest by lines in the cost of a lost day, against trying many costs of a day."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from repairecon.formulas import ranges
from repairecon.rebuild_or_buy.outcomes import Ranking
from repairecon.records import Range

TRIED = 40_000
N = 60


@pytest.mark.parametrize("shape", ["pert", "uniform", "triangular", "lognormal"])
def test_shares_against_many_costs_of_a_day(shape: str) -> None:
    rng, day = np.random.default_rng(2), Range(10, 25, 60, shape)
    money = rng.normal(900, 120, (4, N)).astype(np.float32)
    days = rng.integers(0, 25, (4, N)).astype(np.float32)
    money[3], days[3] = money[2], days[2]  # two ways alike
    days[1, :20] = days[0, :20]  # and two that take as long
    allowed = np.array([True, True, True, True])
    for barred in (False, True):
        allowed[0] = not barred
        p, pairs = Ranking(day, allowed).add_up(list(money), list(days), np.copy)
        cost = ranges.quantile((np.arange(TRIED) + 0.5) / TRIED, day.low, day.likely, day.high, shape)
        total = money[..., None].astype(float) + days[..., None].astype(float) * cost
        below = np.where(allowed[:, None, None], total, np.inf)
        first = below.argmin(axis=0)  # of equal ways the first, which is the simpler
        assert_allclose(p, [(first == w).mean(axis=-1) for w in range(4)], atol=1e-3)
        for (a, b), sooner in pairs.items():
            wanted = ((total[a] < total[b]) + (total[a] == total[b]) / 2).mean(axis=-1)
            assert_allclose(sooner, wanted, atol=1e-3)
        assert_allclose(p.sum(axis=0), 1.0, atol=1e-5)
