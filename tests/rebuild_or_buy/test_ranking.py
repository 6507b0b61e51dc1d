"""Chance of being the cheapest by lines in the cost of a lost day, against trying many costs of a day."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from reference_case import case

from repairecon.formulas import ranges
from repairecon.rebuild_or_buy.model import Model
from repairecon.rebuild_or_buy.outcomes import Ranking, Tally, sample
from repairecon.rebuild_or_buy.tree import grow
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


def test_a_way_beats_another_as_often_as_in_the_draws_side_by_side() -> None:
    """Counted draw by draw from the totals of the block that is kept; of two ways one or the other is below."""
    made = case()
    drawn = sample(Model(made, grow(made), {}), 8192, 3)
    totals = drawn.sample
    counted = np.array([[(a < b).mean() + (a == b).mean() / 2 for b in totals] for a in totals])
    apart = ~np.eye(len(totals), dtype=bool)
    assert_allclose((drawn.beats + drawn.beats.T)[apart], 1.0, atol=1e-6)
    assert ((counted > 0.1) & (counted < 0.9)).sum() >= 4  # neither sure nor hopeless
    # the worth of a day is integrated out there and drawn here: the error of a share of so many draws
    assert_allclose(drawn.beats[apart], counted[apart], atol=4 * 0.5 / np.sqrt(totals.shape[1]))


def test_counts_in_bins_against_the_draws_themselves() -> None:
    """Quantiles and chances of a long-tailed draw, later blocks far beyond the first, against numpy."""
    rng = np.random.default_rng(5)
    blocks = [rng.lognormal(6.0, s, 40_000) for s in (0.4, 0.5, 0.4, 0.45)]
    tally, every = Tally(blocks[0]), np.concatenate(blocks)
    for replicate, block in enumerate(blocks):
        tally.add(block, replicate)
    assert (tally.low, tally.high, tally.counts.sum()) == (every.min(), every.max(), len(every))
    shares = np.array([0.01, 0.1, 0.5, 0.9, 0.99])
    exact = np.quantile(every, shares)
    assert_allclose(tally.quantile(shares), exact, atol=tally.width)
    assert_allclose(tally.chance_up_to(exact), shares, atol=2e-4)
    assert tally.chance_up_to(np.array([every.min() * 0.99, every.max()])).tolist() == [0.0, 1.0]
    assert_allclose(
        tally.middles @ tally.counts / tally.counts.sum(), every.clip(max=tally.edges[-1]).mean(), rtol=1e-3
    )
    spread = np.std([np.quantile(b, 0.5) for b in blocks])
    assert 0.0 < tally.quantile_se(0.5) < 10 * spread
